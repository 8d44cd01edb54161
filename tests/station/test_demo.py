from __future__ import annotations

import shlex
import shutil
import sys
from pathlib import Path

import pytest

from station.bench.job import fold
from station.demo import Demo
from station.demo_run import run as run_demo
from station.demo_run import tells_most
from station.filing import facts_of
from station.measuring.hold import HoldSpecification, ScaleUncertainty, judge
from station.measuring.trace_files import read_trace
from station.records.archive import Archive
from station.records.entries import Adjusted, HoldJudged, LineCompared
from station.records.verify import verify
from station.units import in_unit

sys.path.insert(0, str(Path(__file__).parent / "cli"))
from commands import run


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """Run the whole demo once, headless, and keep what it left and said."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    said: list[str] = []
    assert run_demo(str(folder), 1, True, said.append, "") == 0
    return folder, said


def test_it_leaves_what_it_promises(played: tuple[Path, list[str]]) -> None:
    """Archive, record, picture and traces are there, and nothing else."""
    folder, _ = played
    assert sorted(path.name for path in folder.iterdir()) == ["archive.sqlite", "bench.png", "record.pdf", "traces"]
    assert (folder / "record.pdf").read_bytes().startswith(b"%PDF")
    assert (folder / "bench.png").read_bytes().startswith(b"\x89PNG")


def test_its_picture_is_taken_whatever_the_seed(tmp_path: Path) -> None:
    """A seed whose forecast has nothing to say has its moment for the picture too, before the hold completes."""
    with Archive.open(tmp_path / "a.sqlite", bench="Demo bench", create=True) as archive:
        demo = Demo(archive, 2, "test", lambda _: None)
        while not tells_most(demo.bench):
            demo.advance()
            assert not demo.finished
        assert demo.bench.forecast is None
        assert [entry.judgement["verdict"] for _, entry in facts_of(archive) if isinstance(entry, HoldJudged)] == [
            "not-held"
        ]


def test_it_makes_its_point(played: tuple[Path, list[str]]) -> None:
    """The first hold is not held, the second and the cascade's are; 3/16 long is taken in and lands level."""
    folder, said = played
    with Archive.open(folder / "archive.sqlite") as archive:
        facts = [entry for _, entry in facts_of(archive)]
    holds = [entry for entry in facts if isinstance(entry, HoldJudged)]
    assert [entry.judgement["verdict"] for entry in holds] == ["not-held", "held", "held"]
    assert holds[0].judgement["peak_mn"] == pytest.approx(22 * 4448.22, rel=0.03)
    compared = [entry for entry in facts if isinstance(entry, LineCompared) and entry.line == "B"]
    assert [round(entry.difference_um / 25_400 * 16) for entry in compared] == [3, 0, 0]
    moved = next(entry for entry in facts if isinstance(entry, Adjusted))
    assert moved.action == "take-in"
    assert moved.move_um == round(3 / 16 * 25_400 / 1.0625)
    assert any("you fall below in" in line for line in said)
    assert any("found: entry" in line for line in said)


def test_its_traces_judge_to_its_verdicts(played: tuple[Path, list[str]]) -> None:
    """Each exported trace, judged again, gives the verdict that the archive holds."""
    folder, _ = played
    with Archive.open(folder / "archive.sqlite") as archive:
        holds = [entry for _, entry in facts_of(archive) if isinstance(entry, HoldJudged)]
    for number, entry in enumerate(holds, 1):
        trace = read_trace(folder / "traces" / f"hold-{number}.csv")
        spec = HoldSpecification.of_facts(entry.specification)
        scale = ScaleUncertainty.of_facts(entry.uncertainty or {})
        assert judge(trace, spec, scale, entry.response_us).facts() == entry.judgement


def test_the_guide_judges_the_second_hold_as_it_says(
    capfd: pytest.CaptureFixture[str], played: tuple[Path, list[str]]
) -> None:
    """The command on the hold's page gives what the archive holds; with the wider uncertainty it is unproven."""
    page = Path("docs/hold.md").read_text(encoding="utf-8")
    words = shlex.split(next(line for line in page.splitlines() if "bin/fidbench judge" in line))[1:]
    words[1] = str(played[0] / words[1].removeprefix("out/"))
    with Archive.open(played[0] / "archive.sqlite") as archive:
        filed = [entry for _, entry in facts_of(archive) if isinstance(entry, HoldJudged)][1]
    again = run(capfd, *words, "--json").json
    assert (again["verdict"], round(1000 * again["guard_n"])) == (
        filed.judgement["verdict"],
        filed.judgement["guard_mn"],
    )
    words[words.index("--uncertainty") + 1] = "0.2 lbf"
    wider = run(capfd, *words, "--json").json
    assert wider["verdict"] == "unproven"
    assert f"pull was {in_unit(wider['min_n'], 'lbf'):.1f} lbf" in " ".join(page.split())


def test_records_verify_reports_its_holds(capfd: pytest.CaptureFixture[str], played: tuple[Path, list[str]]) -> None:
    """`records verify --json` finds three holds and nothing damaged."""
    folder, _ = played
    checked = run(capfd, "records", "verify", "--archive", folder / "archive.sqlite", "--json")
    assert (checked.status, checked.json["holds"], checked.json["damaged"]) == (0, 3, [])


def test_the_job_folds_at_every_entry(played: tuple[Path, list[str]]) -> None:
    """Whichever entry is the last, the job's state can be told from the entries alone."""
    folder, _ = played
    with Archive.open(folder / "archive.sqlite") as archive:
        facts = facts_of(archive, *archive.jobs())  # the scale's check before them is no entry of the job
    indices = [fold(facts[:count]).index for count in range(1, len(facts) + 1)]
    assert indices[0] == 0
    assert fold(facts).now is None


def test_the_same_seed_gives_the_same_readings(tmp_path: Path, played: tuple[Path, list[str]]) -> None:
    """Two demos of one seed leave the same traces, to the byte; another seed leaves others.

    The chains differ all the same: a name is sealed with a salt drawn by chance.
    """
    folder, _ = played
    with Archive.open(folder / "archive.sqlite") as archive:
        first = set(archive.stored_traces)
    for seed in (1, 2):
        with Archive.open(tmp_path / f"{seed}.sqlite", bench="Demo bench", create=True) as archive:
            demo = Demo(archive, seed, "test", lambda _: None)
            while not demo.finished and demo.bench.state.last_hold is None:
                demo.advance()
            assert (set(archive.stored_traces) <= first) is (seed == 1)


def test_a_second_demo_in_the_same_folder_adds_a_job(tmp_path: Path, played: tuple[Path, list[str]]) -> None:
    """Nothing of the first is lost: the archive holds two jobs in one chain, with nothing damaged."""
    again = tmp_path / "out"
    shutil.copytree(played[0], again)
    assert run_demo(str(again), 1, True, lambda _: None, "") == 0
    with Archive.open(again / "archive.sqlite") as archive:
        assert list(archive.jobs()) == ["26-0001", "26-0002"]
        assert verify(archive.entries(), archive.stored_traces).good
