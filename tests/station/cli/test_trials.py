from __future__ import annotations

from pathlib import Path

import pytest

from station.bench.job import example_opening
from station.records.archive import Archive
from station.records.entries import Checked
from station.records.gather import gather
from station.settings.trials import load_trials
from tests.station.cli.commands import run
from tests.station.test_learned import KNOWN, compared, trapped


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """Give an archive with one job whose trap shortened its line by 5 mm."""
    path = tmp_path / "a.sqlite"
    with Archive.open(path, bench="Bench 1", create=True) as ours:
        for fact in (example_opening(KNOWN), *trapped(), compared(1, 3_000)):
            ours.append(fact, "2026-06-12T09:00:00.000000Z")
    return path


def test_trials_are_listed_and_written_for_a_plan(
    archive: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each trial says whence it came; the CSV reads back as the same trial, with where it was made."""
    sheet = tmp_path / "trials.csv"
    ran = run(capfd, "trials", "--archive", archive, "--csv", sheet, "--json")
    assert ran.status == 0
    [one] = ran.json["trials"]
    assert (one["shortening_m"], one["entries"]) == (0.005, {"mark": 2, "trap": 3, "compared": 5})
    [read] = load_trials(sheet)
    assert (read.shortening_m, read.trap_m, read.lot) == (0.005, 0.127, "L-7")
    assert read.standard_uncertainty_m == one["standard_uncertainty_m"]
    assert read.made == "job 26-0001, A canopy end, entries 2, 3, 5 of Bench 1"
    assert run(capfd, "shrinkage", sheet, "--json").json["coefficient"] == pytest.approx(0.005 / 0.127)


def test_a_lot_without_trials_is_not_an_archive_without_them(archive: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Where no trial is of the lot asked for, those that are there are named; the status is 1."""
    ran = run(capfd, "trials", "--archive", archive, "--lot", "L-77")
    assert ran.status == 1
    assert ran.out.startswith("No trial here is of such a material and lot; those here are of: ")
    assert "lot L-7." in ran.out


def test_leaving_out_asks_who_and_why(archive: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A trial is left out by name and reason alone, once, by its trap's entry; with none left the status is 1."""
    why = ("--by", "Ansa Velling", "--reason", "the tape slipped")
    assert run(capfd, "trials", "--archive", archive, "--leave-out", "3").status == 2
    wrong = run(capfd, "trials", "--archive", archive, "--leave-out", "4", *why)
    assert wrong.status == 2
    assert "entry 4 is no trap of a trial; the traps' entries are 3" in wrong.err
    ran = run(capfd, "trials", "--archive", archive, "--leave-out", "3", *why)
    assert ran.status == 1
    assert "left out by Ansa Velling: the tape slipped" in ran.out
    assert "left out already" in run(capfd, "trials", "--archive", archive, "--leave-out", "3", *why).err
    assert run(capfd, "trials", "--archive", archive, "--count-again", "3", *why).status == 0
    assert run(capfd, "trials", "--archive", archive, "--count-again", "3", *why).status == 2
    assert run(capfd, "records", "verify", "--archive", archive).status == 0


def test_what_is_said_in_a_gathered_archive_does_not_part_its_chains(
    archive: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Of two benches' archives gathered into one, a trial is left out in a chain of its own; both benches go on."""
    other, shop = tmp_path / "b.sqlite", tmp_path / "shop.sqlite"
    with Archive.open(other, bench="Bench 2", create=True) as theirs:
        for fact in (example_opening(KNOWN), *trapped(), compared(1, 1_000)):
            theirs.append(fact, "2026-06-12T10:00:00.000000Z")
    for own in (archive, other):
        gather(str(own), str(shop), create=True)
    words = ("trials", "--archive", shop, "--leave-out", "3", "--by", "Ansa Velling", "--reason", "the tape slipped")
    assert "entry 3 is a trap at Bench 1, Bench 2: name one with --bench" in run(capfd, *words).err
    nowhere = run(capfd, *words, "--bench", "Bench 9").err
    assert "no trial was made at 'Bench 9'; those here are of Bench 1, Bench 2" in nowhere
    assert "say --as 'Office'" in run(capfd, *words, "--bench", "Bench 2").err
    assert run(capfd, *words, "--bench", "Bench 2", "--as", "Office").status == 0
    listed = run(capfd, "trials", "--archive", shop, "--json").json["trials"]
    assert [(each["bench"], each["counts"]) for each in listed] == [("Bench 1", True), ("Bench 2", False)]
    ran = run(capfd, "trials", "--archive", shop)
    assert "\n26-0001 of Bench 2  A canopy end" in ran.out
    for own, bench in ((archive, "Bench 1"), (other, "Bench 2")):
        with Archive.open(own, bench=bench) as theirs:
            theirs.append(Checked(job="26-0001", check="no twist"), "2026-06-13T09:00:00.000000Z")
        assert gather(str(own), str(shop))[bench] == (5, 6)
    again = ("--count-again", "3", *words[5:], "--bench", "Bench 2", "--as", "Office")
    assert run(capfd, *words[:3], *again).status == 0
    assert all(each["counts"] for each in run(capfd, "trials", "--archive", shop, "--json").json["trials"])
    assert run(capfd, "records", "verify", "--archive", shop).status == 0


def test_an_archive_without_such_a_trap_says_so(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Nothing learned is said in words, with status 1; no archive is status 2."""
    path = tmp_path / "a.sqlite"
    with Archive.open(path, bench="Bench 1", create=True) as ours:
        ours.append(example_opening(), "2026-06-12T09:00:00.000000Z")
    ran = run(capfd, "trials", "--archive", path)
    assert ran.status == 1
    assert ran.out.startswith("No job here has a trap at a canopy end")
    assert run(capfd, "trials", "--archive", tmp_path / "none.sqlite").status == 2
