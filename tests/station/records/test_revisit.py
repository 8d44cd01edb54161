from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from station.measuring.hold import typed_uncertainty
from station.records.archive import Archive
from station.records.entries import DailyChecked, Entry, Inspected, JobOpened, PieceCut, ScaleChecked, SignedOff
from station.records.register import Asked, find
from station.records.revisit import doubts, in_doubt
from station.records.workers import revisited
from station.settings.hold import HoldSpecification
from station.settings.reline import reline_text
from station.units import force_mn
from tests.station.cli.commands import run
from tests.station.records.archives import AT, altered
from tests.station.records.sample_job import BENCH, OPENED, hold, pulled

SCALE = "/dev/serial/by-id/usb-bench-scale"
SHORT = HoldSpecification(
    name="short",
    target_mn=force_mn("30 lbf"),
    low_mn=force_mn("28 lbf"),
    high_mn=force_mn("45 lbf"),
    ceiling_mn=force_mn("60 lbf"),
    duration_us=400_000,
)
CASCADE, RELINE = "config/jobs/one-cascade.toml", "config/jobs/whole-reline.toml"
CapFd = pytest.CaptureFixture[str]


def daily(agreed: bool, off_mn: int = 0) -> DailyChecked:
    """Give a daily check at 30 lbf, held to 0.2 lbf."""
    known = SHORT.target_mn
    return DailyChecked(scale=SCALE, known_mn=known, indicated_mn=known + off_mn, agreed=agreed, within_mn=890)


def full(expanded_mn: int, error_un: int) -> ScaleChecked:
    """Give a full check at 30 lbf, with its U and the error that it found."""
    return ScaleChecked(
        scale=SCALE,
        target_mn=SHORT.target_mn,
        uncertainty={"expanded_mn": expanded_mn, "standard_un": 100_000, "error_un": error_un},
        scale_class=None,
        points=(),
        by="A. Person",
        weights="",
        latitude=None,
        check_hash="0" * 64,
    )


def file(path: Path, *told: Entry | float) -> Path:
    """File entries; a number is a short hold at that many lbf, of a job of its own."""
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for n, each in enumerate(told, 1):
            if isinstance(each, Entry):
                archive.append(each, AT)
                continue
            trace = pulled(n, (0.5, each, each))
            judged = hold((str(n),), trace, "A: pre-stretch", typed_uncertainty(890), SHORT)
            archive.append(dataclasses.replace(judged, job=f"26-{n:04d}"), AT, [trace])
    return path


def job(number: int, lot: str, thread: str = "", serial: str = "T1", worker: str = "Ansa Velling") -> JobOpened:
    """Give a job as it is opened."""
    return dataclasses.replace(
        OPENED,
        job=f"26-{number:04d}",
        stock={"lot": lot},
        sewing={"thread_lot": thread},
        canopy={"type": "Teasel 190", "serial": serial},
        people={"worker": worker},
    )


def cut(number: int, piece: str, lot: str = "") -> PieceCut:
    """Give a piece cut for a job."""
    return PieceCut(job=f"26-{number:04d}", line="A", piece=piece, length_um=None, lot=lot)


def test_holds_between_the_last_good_check_and_the_next_are_in_doubt(tmp_path: Path) -> None:
    """Of four holds, the two after the good check and before the one that agreed again are in doubt, none of others."""
    path = file(tmp_path / "a.sqlite", 32.0, daily(True), 28.7, daily(False, 4448), 33.0, daily(True), 32.0)
    with Archive.open(path) as archive:
        (doubt,) = doubts(archive, SCALE)
        assert (doubt.after, doubt.before) == (2, 6)
        assert doubt.uncertainty == typed_uncertainty(4448 + 890)
        assert [row.seq for row in in_doubt(archive, SCALE, doubt)] == [3, 5]
        assert doubts(archive, SCALE, "another bench") == doubts(archive, "another scale") == []


@pytest.mark.parametrize("off_mn", [(22_000, 13_000), (13_000, 22_000)])
def test_of_two_checks_that_failed_the_worse_one_counts(tmp_path: Path, off_mn: tuple[int, int]) -> None:
    """Where no good check lies between two that failed, the holds are judged by the larger of what they showed."""
    path = file(tmp_path / "a.sqlite", daily(True), 32.0, daily(False, off_mn[0]), 33.0, daily(False, off_mn[1]))
    with Archive.open(path) as archive:
        (doubt,) = doubts(archive, SCALE)
        assert (doubt.after, doubt.before) == (1, None)
        assert doubt.uncertainty == typed_uncertainty(22_000 + 890)


def test_a_full_check_beyond_the_one_before_is_a_failed_check(tmp_path: Path) -> None:
    """Where a full check finds more error than was allowed for, the holds before it are in doubt, by its own U."""
    path = file(tmp_path / "a.sqlite", full(890, 100_000), daily(True), 32.0, full(2_000, -900_000))
    with Archive.open(path) as archive:
        (doubt,) = doubts(archive, SCALE)
        assert (doubt.after, doubt.before, doubt.uncertainty) == (2, None, typed_uncertainty(2_000))
    fine = file(tmp_path / "b.sqlite", full(890, 100_000), daily(True), 32.0, full(2_000, -890_000))
    with Archive.open(fine) as archive:
        assert doubts(archive, SCALE)[0].uncertainty is None


@pytest.mark.parametrize(("expanded_mn", "shown_mn"), [(9_000, 9_000), (1_000, 4_448 + 890)])
def test_a_full_check_made_because_of_a_failed_one_says_no_less_of_it(
    tmp_path: Path, expanded_mn: int, shown_mn: int
) -> None:
    """Its U counts where it is greater than what the failed daily check showed, and nothing is taken off by it."""
    path = file(tmp_path / "a.sqlite", daily(True), 32.0, daily(False, 4_448), full(expanded_mn, 0))
    with Archive.open(path) as archive:
        (doubt,) = doubts(archive, SCALE)
        assert doubt.uncertainty == typed_uncertainty(shown_mn)


def test_a_hold_near_its_limit_gets_worse_and_one_in_mid_band_stands(tmp_path: Path) -> None:
    """At 28.7 lbf a scale 1.2 lbf uncertain proves nothing above 28 lbf, at 33 lbf it does; several processes agree."""
    path = file(tmp_path / "a.sqlite", daily(True), 28.7, 33.0, 20.0, daily(False, 4448))
    with Archive.open(path) as archive:
        (doubt,) = doubts(archive, SCALE)
        rows = in_doubt(archive, SCALE, doubt)
        assert doubt.uncertainty is not None
        again = list(revisited(archive, rows, doubt.uncertainty, doubt.known_mn))
        assert [(each.recorded, each.now, each.worse) for each in again] == [
            ("held", "unproven", True),
            ("held", "held", False),
            ("not-held", "not-held", False),
        ]
        assert list(revisited(archive, rows, doubt.uncertainty, doubt.known_mn, workers=2)) == again
        less = list(revisited(archive, rows, typed_uncertainty(1)))
        assert [each.now for each in less] == ["held", "held", "not-held"]
        far = list(revisited(archive, rows, doubt.uncertainty, SHORT.target_mn // 2))
        assert [each.now for each in far] == ["unproven", "unproven", "not-held"]


def test_a_hold_whose_trace_is_gone_is_never_called_good(tmp_path: Path, capfd: CapFd) -> None:
    """What cannot be judged again is among the holds to revisit, with why."""
    path = altered(file(tmp_path / "a.sqlite", daily(True), 33.0, daily(False, 4448)), "DELETE FROM traces")
    ran = run(capfd, "records", "revisit", "--archive", path, "--scale", SCALE)
    assert ran.status == 1
    assert "cannot be judged: its trace is missing" in ran.out


def test_the_command_names_the_holds_to_revisit(tmp_path: Path, capfd: CapFd) -> None:
    """It ends with 1 where a verdict gets worse, 0 where none does, 2 where nothing says how far to trust it."""
    path = file(tmp_path / "a.sqlite", job(3, "H-2231", serial="T190"), daily(True), 28.7, 33.0, daily(False, 4448))
    ran = run(capfd, "records", "revisit", "--archive", path, "--scale", SCALE)
    assert ran.status == 1
    assert "1 of 2 holds to revisit" in ran.out
    assert "26-0003" in ran.out
    assert "T190" in ran.out
    assert "26-0004" not in ran.out
    ran = run(capfd, "records", "revisit", "--archive", path, "--scale", SCALE, "--json")
    assert (ran.status, ran.json["worse"]) == (1, 1)
    assert [each["now"] for each in ran.json["benches"][0]["holds"]] == ["unproven", "held"]
    some = ("records", "revisit", "--archive", path, "--scale")
    assert run(capfd, *some, SCALE, "--uncertainty", "0.3 lbf").status == 0
    ran = run(capfd, *some, SCALE, "--since", "2026-03-05")
    assert (ran.status, "No hold was made with it in that time." in ran.out) == (0, True)
    assert len(run(capfd, *some, SCALE, "--since", "2026-03-04", "--json").json["benches"][0]["holds"]) == 2
    for words in (("nothing",), (SCALE, "--uncertainty", "0 lbf"), (SCALE, "--since", "soon"), (SCALE, "--bench", "x")):
        ran = run(capfd, *some, *words)
        assert (ran.status, ran.out) == (2, "")
    unfailed = file(tmp_path / "b.sqlite", daily(True), 33.0)
    ran = run(capfd, "records", "revisit", "--archive", unfailed, "--scale", SCALE)
    assert ran.status == 2
    assert "say how well it is known now" in ran.err


def test_everything_made_from_a_lot_is_found(tmp_path: Path) -> None:
    """Jobs by stock, piece and thread, in any letters; a piece cut from another lot is not among a job's pieces."""
    path = file(
        tmp_path / "a.sqlite",
        job(1, "H-1"), cut(1, "11"), cut(1, "12", "H-2"),
        job(2, "H-2"), cut(2, "13"),
        job(3, "H-3", thread="H-1"), cut(3, "14"),
        job(4, "H-1"), cut(4, "15", "H-3"),
    )  # fmt: skip
    with Archive.open(path) as archive:

        def of(lot: str) -> list[tuple[str, tuple[str, ...], bool]]:
            return [(each.line.job, each.pieces, each.thread) for each in find(archive, Asked(lot=lot))]

        assert of(" h-1 ") == [("26-0001", ("11",), False), ("26-0003", (), True), ("26-0004", (), False)]
        assert of("H-2") == [("26-0001", ("12",), False), ("26-0002", ("13",), False)]
        assert of("H") == []


def test_jobs_are_found_by_all_that_is_asked(tmp_path: Path, capfd: CapFd) -> None:
    """By canopy, serial number, line, name and day, each alone and together; a near lot is named, nothing refused."""
    path = file(
        tmp_path / "a.sqlite",
        job(1, "H-1", serial="T1"),
        job(2, "H-2", serial="T2", worker="Tobin Hask"),
        Inspected(job="26-0001", by="Ilse Marrow", certificate="", finding="good"),
        SignedOff(job="26-0002", by="Odo Brandt", certificate="", statement="done"),
    )

    def found(*words: str) -> list[str]:
        ran = run(capfd, "records", "find", "--archive", path, *words, "--json")
        assert ran.status == 0, ran.err
        return [each["job"] for each in ran.json["jobs"]]

    both = ["26-0001", "26-0002"]
    assert found("--canopy", "teasel") == found("--line", "left b2") == found("--from", "2026-03-04") == both
    assert found("--from", "2026-03-04", "--to", "2026-03-04") == both  # both days are included
    assert found("--serial", "t2") == found("--rigger", "hask") == ["26-0002"]
    assert (found("--rigger", "marrow"), found("--rigger", "brandt")) == (["26-0001"], ["26-0002"])
    assert found("--serial", "T2", "--rigger", "Velling") == found("--to", "2026-03-03") == found("--line", "C") == []
    ran = run(capfd, "records", "find", "--archive", path, "--lot", "H-11")
    assert "Lots that read nearly the same: H-1" in ran.out
    assert run(capfd, "records", "find", "--archive", path).status == 2
    assert run(capfd, "records", "find", "--archive", path, "--lot", " ").status == 2


def test_great_and_small_letters_of_every_alphabet_are_one(tmp_path: Path, capfd: CapFd) -> None:
    """A lot, serial number, canopy or name is found however its letters and accents are typed; so are near lots."""
    opened = job(1, "Müller-7", thread="Strauß", serial="ÅÉ-9", worker="Łucja Ørsted")
    opened = dataclasses.replace(opened, canopy={**opened.canopy, "type": "Ährenfeld 190"}, owner={"name": "Jürgen Ö."})
    path = file(tmp_path / "a.sqlite", opened, cut(1, "11", "Γαλήνη-Σ"), job(2, "H-2"))
    asked = {
        "--lot": ("MÜLLER-7", "mu\u0308ller-7", "STRAUSS", " γαλήνη-ς "),
        "--serial": ("åé-9", "A\u030aE\u0301-9"),
        "--canopy": ("ÄHREN",),
        "--owner": ("JÜRGEN",),
        "--rigger": ("łucja", "ØRSTED"),
    }
    for option, words in asked.items():
        for word in words:
            ran = run(capfd, "records", "find", "--archive", path, option, word, "--json")
            assert [each["job"] for each in ran.json["jobs"]] == ["26-0001"], (option, word)
    assert run(capfd, "records", "find", "--archive", path, "--lot", "MULLER-7", "--json").json == {
        "jobs": [], "near_lots": ["Müller-7"]
    }  # fmt: skip


def test_a_line_is_found_inside_a_job_of_several(tmp_path: Path, capfd: CapFd) -> None:
    """Each line of a cascade, and each of a whole set by group, number and side, finds its job; no other does."""
    cascade = dataclasses.replace(job(1, "H-1"), number="", side="left", plan_toml=Path(CASCADE).read_text())
    whole = dataclasses.replace(job(2, "H-1"), number="", side="left and right", plan_toml=reline_text(RELINE))
    broken = dataclasses.replace(job(3, "H-1"), number="", plan_toml="[[line]]\nname = ")
    path = file(tmp_path / "a.sqlite", cascade, whole, broken)

    def found(line: str) -> list[str]:
        ran = run(capfd, "records", "find", "--archive", path, "--line", line, "--json")
        return [each["job"] for each in ran.json["jobs"]]

    assert found("B") == ["26-0001", "26-0002"]
    assert found("left B") == ["26-0001", "26-0002"]
    assert found("A3") == found("a 3") == found("right A3") == found("B 3 right") == found("control 1") == ["26-0002"]
    assert found("A7") == found("D") == found("right B9") == found("E2") == found(",") == []


def test_benches_without_a_failed_check_do_not_hide_those_with_one(tmp_path: Path, capfd: CapFd) -> None:
    """Holds of the bench whose check failed are judged again; of the others it is said that none failed there."""
    shop = file(tmp_path / "shop.sqlite", daily(True), 28.7, daily(False, 4448))
    with Archive.open(shop, bench="Bench 9") as archive:
        archive.append(daily(True), AT)
    words = ("records", "revisit", "--archive", shop, "--scale", SCALE)
    ran = run(capfd, *words)
    assert (ran.status, ran.err) == (1, "")
    assert f"{SCALE}, Bench 9: no check failed there, and no hold was judged again." in ran.out
    answer = run(capfd, *words, "--json").json
    assert [each["bench"] for each in answer["benches"]] == [BENCH]
    assert (answer["worse"], answer["no_failed_check"]) == (1, ["Bench 9"])
    assert run(capfd, *words, "--bench", BENCH, "--json").json["no_failed_check"] == []
    ran = run(capfd, *words, "--bench", "Bench 9")
    assert ran.status == 2
    assert "no check of this scale failed at Bench 9; say how well it is known now: --uncertainty '0.5 lbf'" in ran.err
    answer = run(capfd, *words, "--uncertainty", "1 lbf", "--json").json
    assert [each["bench"] for each in answer["benches"]] == sorted([BENCH, "Bench 9"])


def test_an_index_that_was_altered_is_found(tmp_path: Path) -> None:
    """A lot altered in the index alone, as a flipped byte would leave it, is damage to the file."""
    path = file(tmp_path / "a.sqlite", job(1, "Q-7731"), cut(1, "11"))
    content = path.read_bytes()
    with Archive.open(path) as archive:
        assert archive.unsound() == []
    assert content.count(b"q-7731") == 1  # small letters stand in the index alone
    path.write_bytes(content.replace(b"q-7731", b"q-7732"))
    with Archive.open(path) as archive:
        assert any("jobs_of_a_lot" in what for what in archive.unsound())
