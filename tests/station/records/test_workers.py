from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from station.records.archive import Archive, ArchiveFault
from station.records.entries import Checked
from station.records.examine import Examined
from station.records.verify import Verification, verify, verify_examined
from station.records.workers import RUN, cores, examined
from tests.station.cli.commands import run
from tests.station.records.archives import AT, altered
from tests.station.records.sample_job import BENCH, JOB, file_job, hold, pulled


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive of the sample job and three runs of checks, with damage in it; no test alters it."""
    path = file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")
    for bench, count in ((BENCH, RUN + 40), ("Another bench", RUN)):
        with Archive.open(path, bench=bench) as archive:
            for n in range(count):
                archive.append(Checked(job=JOB, check=f"check {n}"), AT)
    return altered(
        path,
        """UPDATE entries SET body = replace(body, '"held_us":30000000', '"held_us":31000000') WHERE seq = 7""",
        "DELETE FROM entries WHERE seq IN (9, 199, 200)",  # one in a run, and one on each side of where two meet
        "DELETE FROM traces WHERE hash = (SELECT min(hash) FROM traces)",
    )


def found(path: Path, workers: int) -> Verification:
    """Verify an archive with so many processes."""
    with Archive.open(path) as archive:
        return verify_examined(examined(archive, workers), archive.stored_traces)


@pytest.mark.parametrize("workers", [1, 2])
def test_several_processes_find_what_one_finds(filed: Path, workers: int) -> None:
    """However many processes examine an archive, what is found of it is the same, to the word."""
    with Archive.open(filed) as archive:
        alone = verify(archive.entries(), archive.stored_traces)
    assert len(alone.damaged) == 4
    assert found(filed, workers) == alone


def test_an_archive_altered_under_several_processes_is_refused(filed: Path) -> None:
    """What goes wrong in another process is said as if it had gone wrong in this one."""
    with Archive.open(filed) as archive:
        rows = examined(archive, 2)
        archive.where = str(filed.with_name("nowhere.sqlite"))
        with pytest.raises(ArchiveFault, match="there is no archive here"):
            list(rows)


def test_the_command_takes_as_many_processes_as_it_is_given(capfd: pytest.CaptureFixture[str], filed: Path) -> None:
    """With two processes the command answers as with one."""
    answers = [
        run(capfd, "records", "verify", "--archive", filed, "--json", "--workers", str(workers)) for workers in (1, 2)
    ]
    assert answers[0] == answers[1]
    assert answers[0].status == 1
    assert cores() >= 1


def test_what_is_filed_meanwhile_is_no_damage(tmp_path: Path) -> None:
    """A hold filed while an archive is verified is not looked at, and its trace is not called superfluous."""
    path = file_job(tmp_path / "archive.sqlite")
    trace = pulled(9, (0.5, 30, 31))
    with Archive.open(path, bench=BENCH) as writer, Archive.open(path) as reader:

        def while_a_bench_files() -> Iterator[Examined]:
            for n, row in enumerate(examined(reader)):
                if n == 0:
                    writer.append(hold(("12",), trace, "A: pre-stretch"), AT, [trace])
                yield row

        whole = verify_examined(while_a_bench_files(), reader.stored_traces)
        assert (whole.damaged, whole.entries, reader.count()) == ((), 30, 31)
