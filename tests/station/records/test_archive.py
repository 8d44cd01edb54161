from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from station.measuring.trace import Trace
from station.records.archive import Archive, ArchiveFault
from station.records.chain import digest
from station.records.entries import Checked, JobOpened
from station.records.schema import LAYOUT
from station.records.verify import verify
from tests.station.records.sample_job import BENCH, HELD, JOB, OPENED, file_job, hold, pulled, story

AT = "2026-03-04T05:06:07.000000Z"


def check(n: int, job: str = JOB) -> Checked:
    """Give a small entry."""
    return Checked(job=job, step="checks", check=f"check {n}")


def filled(path: Path, count: int = 3) -> Path:
    """Make an archive with a few entries, closed again."""
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for n in range(count):
            archive.append(check(n), AT)
    return path


def names(folder: Path) -> set[str]:
    """Give the names of the files in a folder."""
    return {each.name for each in folder.iterdir()}


def is_whole(path: Path) -> int:
    """Verify an archive, which must be good, and give the number of its entries."""
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded())
    assert (found.damaged, found.verdicts_changed, found.remarks) == ((), (), ())
    return found.entries


def altered(path: Path, *statements: str) -> Path:
    """Alter an archive as somebody would who takes its guards away first, and puts them back."""
    connection = sqlite3.connect(path, isolation_level=None)
    guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    for _, guard in guards:
        connection.execute(guard)
    connection.close()
    return path


def test_a_filed_job_reads_back_as_it_was_filed(tmp_path: Path) -> None:
    """Every entry and every trace comes back equal, in order, after the archive was closed and opened again."""
    path = file_job(tmp_path / "archive.sqlite")
    told = list(story())
    with Archive.open(path) as archive:
        rows = list(archive.entries(JOB))
        assert [row.entry for row in rows] == [entry for entry, _ in told]
        assert [row.seq for row in rows] == list(range(1, len(told) + 1))
        assert rows == list(archive.entries())
        for _, traces in told:
            for trace in traces:
                assert archive.trace(digest(trace.pack())) == trace
        head = archive.head()
        assert head is not None
        assert head.hash == rows[-1].hash
        assert archive.heads() == {BENCH: head}
        assert archive.jobs() == {JOB: len(told)}
        assert [row.kind for row in archive.of_kind("signed-off", "job-opened")] == ["job-opened", "signed-off"]
    assert is_whole(path) == len(told)


def test_a_url_names_the_same_file(tmp_path: Path) -> None:
    """A path and its sqlite:/// URL open the same archive."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(f"sqlite:///{path}") as archive:
        assert len(list(archive.entries())) == 3


def test_work_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """An archive opened again goes on with the next number, sealed on the last entry."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench=BENCH) as archive:
        assert archive.append(check(4), AT).seq == 4
    assert is_whole(path) == 4


def test_each_bench_has_a_chain_of_its_own(tmp_path: Path) -> None:
    """Two benches that file in turn each number from 1, and the head of both is asked for by name."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench="Bench 2") as archive:
        assert archive.append(check(1), AT).seq == 1
        assert archive.head() == archive.head("Bench 2")
    with Archive.open(path) as archive:
        assert [(row.bench, row.seq) for row in archive.entries()] == [("Bench 2", 1), *((BENCH, n) for n in (1, 2, 3))]
        with pytest.raises(ArchiveFault, match="holds the chains of Bench 2, Grey Gate Loft, bench 1; name one"):
            archive.head()
    assert is_whole(path) == 4


@pytest.mark.parametrize("batch", [1, 2, 3, 4, 5, 100])
def test_more_entries_than_are_read_at_once_come_in_order(
    tmp_path: Path, batch: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entries are read in batches, and none is lost or doubled between two of them."""
    monkeypatch.setattr("station.records.archive._BATCH", batch)
    path = filled(tmp_path / "archive.sqlite", 4)
    with Archive.open(path, bench="Bench 2") as archive:
        archive.append(check(1), AT)
        numbers = [(row.bench, row.seq) for row in archive.entries()]
    assert numbers == [("Bench 2", 1), *((BENCH, n) for n in (1, 2, 3, 4))]


def test_entries_are_filed_from_several_threads(tmp_path: Path) -> None:
    """What is filed from several threads at once is one chain without holes."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        threads = [threading.Thread(target=lambda: [archive.append(check(n), AT) for n in range(20)]) for _ in range(4)]
        for thread in threads:
            thread.start()
        assert len(list(archive.entries())) <= 80
        for thread in threads:
            thread.join()
    assert is_whole(path) == 80


def test_a_trace_named_twice_is_stored_once(tmp_path: Path) -> None:
    """The trace of a hold that closed when it was complete is stored once for both of its entries."""
    path = tmp_path / "archive.sqlite"
    trace = pulled(2, *HELD)
    judged = hold(("12",), trace, "A: pre-stretch")
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(judged, AT, [trace])
        archive.append(judged, AT, [trace])
        assert len(archive.stored_traces) == 1
    assert is_whole(path) == 2


def test_an_entry_whose_trace_is_not_handed_in_is_refused_whole(tmp_path: Path) -> None:
    """An entry that names a trace which is nowhere is an error of the program, and leaves nothing behind."""
    path = filled(tmp_path / "archive.sqlite")
    trace = pulled(2, *HELD)
    with Archive.open(path, bench=BENCH) as archive, pytest.raises(ValueError, match="which was not handed in"):
        archive.append(hold(("12",), trace, "A: pre-stretch"), AT, [pulled(3, *HELD)])
    with Archive.open(path) as archive:
        assert len(archive.stored_traces) == 0
    assert is_whole(path) == 3


def test_job_ids_count_up_within_a_year(tmp_path: Path) -> None:
    """A new job has the first number after the highest of its year, whatever else the IDs are."""
    with Archive.open(tmp_path / "archive.sqlite", bench=BENCH, create=True) as archive:
        assert archive.new_job_id(2026) == "26-0001"
        for job in ("26-0001", "26-0009", "25-0123", "reline Teasel", "26-x"):
            archive.append(check(1, job), AT)
        assert (archive.new_job_id(2026), archive.new_job_id(2025)) == ("26-0010", "25-0124")
        assert archive.new_job_id(2027) == "27-0001"
        archive.append(check(1, "26-9999"), AT)
        assert archive.new_job_id(2026) == "26-10000"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET job = 'x' WHERE seq = 2",
        "UPDATE entries SET seq = 9 WHERE seq = 2",
        "DELETE FROM entries WHERE seq = 3",
        "DELETE FROM entries",
        "REPLACE INTO entries SELECT bench, seq, 'x', kind, hash, body, names, signature FROM entries WHERE seq = 2",
        "INSERT OR IGNORE INTO entries SELECT bench, 9, job, kind, hash, body, names, signature FROM entries",
        "INSERT INTO entries SELECT bench, 0, job, kind, hash, body, names, signature FROM entries WHERE seq = 2",
        "UPDATE traces SET blob = x'00'",
        "DELETE FROM traces",
        "REPLACE INTO traces SELECT hash, x'00', blob_hash FROM traces",
        "UPDATE OR REPLACE traces SET hash = 'x'",
    ],
)
def test_a_statement_that_would_alter_or_take_out_is_refused(tmp_path: Path, statement: str) -> None:
    """The guards refuse, also a tool that opens the file by itself with its own settings, and nothing changes."""
    path = file_job(tmp_path / "archive.sqlite")
    before = path.read_bytes()
    connection = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match=r"never|without holes|once"):
        connection.execute(statement)
    connection.close()
    assert path.read_bytes() == before


@pytest.mark.parametrize("value", ["17", "x'3137'", "1.5"])
def test_a_column_takes_only_its_own_type(tmp_path: Path, value: str) -> None:
    """A tool that writes another type into the archive is refused, or its value becomes the column's type."""
    path = filled(tmp_path / "archive.sqlite")
    connection = sqlite3.connect(path)
    statement = (
        f"INSERT INTO entries SELECT bench, 4, job, kind, hash, {value}, names, signature FROM entries WHERE seq = 2"  # noqa: S608 -- a test's own text
    )
    try:
        connection.execute(statement)
    except sqlite3.IntegrityError as refused:
        assert "cannot store BLOB value in TEXT column" in str(refused)  # noqa: PT017 -- one of two allowed outcomes
    else:
        assert connection.execute("SELECT typeof(body) FROM entries WHERE seq = 4").fetchone() == ("text",)
    connection.close()


@pytest.mark.parametrize("instead", ["", "CREATE TRIGGER entries_kept BEFORE DELETE ON entries BEGIN SELECT 1; END"])
def test_guards_that_were_taken_away_or_altered_are_told_and_put_back(tmp_path: Path, instead: str) -> None:
    """An archive without its guards, or with one that guards nothing, says so; the next bench puts it right."""
    path = filled(tmp_path / "archive.sqlite")
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER entries_kept")
    connection.execute(instead)
    connection.close()
    with Archive.open(path) as archive:
        assert archive.unguarded() == ["the guard 'entries_kept' against altering was taken away or altered"]
    Archive.open(path, bench=BENCH).close()
    with Archive.open(path) as archive:
        assert archive.unguarded() == []


def test_reading_leaves_the_folder_as_it_was(tmp_path: Path) -> None:
    """Listing, verifying and closing leave no file behind, and alter none."""
    path = file_job(tmp_path / "archive.sqlite")
    before = path.read_bytes()
    assert names(tmp_path) == {"archive.sqlite"}
    is_whole(path)
    assert names(tmp_path) == {"archive.sqlite"}
    assert path.read_bytes() == before


def test_an_archive_is_read_while_it_is_written(tmp_path: Path) -> None:
    """A reader sees each entry as soon as it was filed, and leaves the writer's files alone."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as writer:
        writer.append(check(1), AT)
        with Archive.open(path) as reader:
            assert len(list(reader.entries())) == 1
            writer.append(check(2), AT)
            assert len(list(reader.entries())) == 2
        assert len(names(tmp_path)) == 3
        writer.append(check(3), AT)
    assert names(tmp_path) == {"archive.sqlite"}
    assert is_whole(path) == 3


def test_a_file_written_to_while_it_was_taken_for_unwritten_is_not_believed(tmp_path: Path) -> None:
    """What a reader got from a file that a bench then wrote to is refused, rather than told half old and half new."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path) as reader:
        assert len(list(reader.entries())) == 3
        with Archive.open(path, bench=BENCH) as writer:
            writer.append(check(4), AT)
        with pytest.raises(ArchiveFault, match="was written to while it was read; do it again"):
            list(reader.entries())
    assert is_whole(path) == 4


def test_a_reader_never_makes_an_archive(tmp_path: Path) -> None:
    """Reading what is not there says so, and makes nothing."""
    with pytest.raises(ArchiveFault, match=r"nowhere\.sqlite: there is no archive here; see whether the name is right"):
        Archive.open(tmp_path / "nowhere.sqlite")
    with pytest.raises(ArchiveFault, match="there is no archive here"):
        Archive.open(tmp_path / "nowhere.sqlite", bench=BENCH)
    with pytest.raises(ArchiveFault, match="there is no folder"):
        Archive.open(tmp_path / "nowhere" / "archive.sqlite", bench=BENCH, create=True)
    assert names(tmp_path) == set()


def test_a_reader_does_not_write(tmp_path: Path) -> None:
    """An archive opened to read refuses an entry."""
    with Archive.open(filled(tmp_path / "archive.sqlite")) as archive, pytest.raises(ArchiveFault, match="for reading"):
        archive.append(check(1), AT)


def test_a_closed_archive_says_so(tmp_path: Path) -> None:
    """A closed archive is closed for good, and closing it again does nothing."""
    archive = Archive.open(filled(tmp_path / "archive.sqlite"))
    archive.close()
    archive.close()
    with pytest.raises(ArchiveFault, match="is closed"):
        archive.heads()


def foreign(path: Path, *statements: str) -> Path:
    """Make a database of somebody else's."""
    connection = sqlite3.connect(path)
    for statement in statements:
        connection.execute(statement)
    connection.close()
    return path


@pytest.mark.parametrize("where", ["", ".", "/", "sqlite:///.", "sqlite:////"])
@pytest.mark.parametrize("bench", [None, BENCH])
def test_an_archive_has_a_name(where: str, bench: str | None) -> None:
    """What names no file is refused in words, whoever opens it."""
    with pytest.raises(ArchiveFault, match="expected the name of its file"):
        Archive.open(where, bench=bench, create=True)


@pytest.mark.parametrize("bench", [None, BENCH])
def test_a_file_that_is_not_ours_is_refused_and_not_touched(tmp_path: Path, bench: str | None) -> None:
    """A letter, somebody's database and a folder are refused by name, and stay as they are."""
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ansa, " * 200)
    theirs = foreign(tmp_path / "theirs.sqlite", "CREATE TABLE entries (bench, seq)", "PRAGMA application_id = 7")
    before = theirs.read_bytes()
    for path in (letter, theirs):
        with pytest.raises(ArchiveFault, match=f"{path.name}: is not an archive of this program; name the archive"):
            Archive.open(path, bench=bench, create=True)
    with pytest.raises(ArchiveFault, match="is not a file"):
        Archive.open(tmp_path, bench=bench, create=True)
    assert (letter.read_text()[:10], theirs.read_bytes()) == ("Dear Ansa,", before)
    assert names(tmp_path) == {"letter.txt", "theirs.sqlite"}


@pytest.mark.parametrize("bench", [None, BENCH])
def test_an_archive_of_a_newer_layout_is_refused_and_not_touched(tmp_path: Path, bench: str | None) -> None:
    """An archive of a later program says which layout it has and which are known, and stays as it is."""
    path = filled(tmp_path / "archive.sqlite")
    foreign(path, f"PRAGMA user_version = {LAYOUT + 1}")
    before = path.read_bytes()
    with pytest.raises(ArchiveFault, match=f"of layout {LAYOUT + 1}, and this program knows layouts up to {LAYOUT}"):
        Archive.open(path, bench=bench)
    assert path.read_bytes() == before


def test_an_archive_whose_table_is_gone_is_refused(tmp_path: Path) -> None:
    """An archive without one of its tables is damaged, and says so."""
    path = foreign(filled(tmp_path / "archive.sqlite"), "DROP TABLE traces")
    with pytest.raises(ArchiveFault, match="its table traces is gone; go back to a backup"):
        Archive.open(path)


def test_an_empty_file_of_any_name_is_no_archive(tmp_path: Path) -> None:
    """Somebody's empty file or empty database is not taken for a new archive, and is left as it is."""
    for path in (tmp_path / "notes.txt", tmp_path / "begun.sqlite"):
        path.touch()
        if path.stem == "begun":
            foreign(path, "PRAGMA journal_mode = WAL")
        before = path.read_bytes()
        for asked in ({}, {"bench": BENCH}, {"bench": BENCH, "create": True}):
            with pytest.raises(ArchiveFault, match="is empty, and so not an archive"):
                Archive.open(path, **asked)  # type: ignore[arg-type] -- each set of words is one that open takes
        assert path.read_bytes() == before


def test_an_archive_is_made_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where its making ends halfway nothing stands under its name, and the next bench makes it."""
    path = tmp_path / "archive.sqlite"
    with monkeypatch.context() as patched:
        patched.setattr("station.records.file_store.GUARDS", {"broken": "THIS IS NO TRIGGER"})
        with pytest.raises(ArchiveFault):
            Archive.open(path, bench=BENCH, create=True)
    assert names(tmp_path) == set()
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(check(1), AT)
    assert is_whole(path) == 1


@pytest.mark.parametrize("when", ["before it has its name", "just after"])
def test_a_bench_killed_while_it_makes_its_archive_leaves_nothing_that_harms(tmp_path: Path, when: str) -> None:
    """Killed before or after the file got its name, the next bench works, and what was left is taken away."""
    path = tmp_path / "archive.sqlite"
    after = "real(*a); " if when == "just after" else ""
    program = (
        "import os, signal, sys; from station.records.archive import Archive; real = os.link;"
        f"os.link = lambda *a: ({after.replace(';', ',')} os.kill(os.getpid(), signal.SIGKILL));"
        "Archive.open(sys.argv[1], bench='Bench 1', create=True)"
    )
    ran = subprocess.run([sys.executable, "-c", program, str(path)], check=False, timeout=60)
    assert ran.returncode == -signal.SIGKILL
    assert path.exists() == bool(after)
    assert any(name.endswith(".part") for name in names(tmp_path))
    mine = tmp_path / f".archive.sqlite.{os.getppid()}.part"  # of a program that lives
    mine.touch()
    assert is_whole(filled(path)) == 3
    assert names(tmp_path) == {"archive.sqlite", mine.name}


def test_a_second_writer_is_refused(tmp_path: Path) -> None:
    """One program writes at a time; the second is told what to do, and may write when the first is done."""
    path = filled(tmp_path / "archive.sqlite")
    with (
        Archive.open(path, bench=BENCH) as first,
        pytest.raises(ArchiveFault, match="is in use by another program; close the bench window"),
    ):
        Archive.open(path, bench="Bench 2")
    assert first.path == str(path)
    Archive.open(path, bench="Bench 2").close()


def test_a_file_that_another_tool_has_locked_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where another tool writes to the file itself, the bench is told, and nothing of its entry is kept."""
    monkeypatch.setattr("station.records.sqlite_file.BUSY_S", 0.01)
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench=BENCH) as archive:
        tool = sqlite3.connect(path, isolation_level=None)
        tool.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveFault, match="is in use by another program"):
            archive.append(check(4), AT)
        tool.close()
        assert archive.append(check(4), AT).seq == 4
    assert is_whole(path) == 4


@pytest.mark.parametrize("where", ["postgresql://bench/archive", "mysql://x/y", "sqlite://", "sqlite:///"])
def test_a_url_that_cannot_be_opened_is_refused(where: str) -> None:
    """A URL that names no file is refused, saying what to give."""
    with pytest.raises(ArchiveFault, match="sqlite:///FILE"):
        Archive.open(where)


def test_a_bench_without_a_name_is_refused(tmp_path: Path) -> None:
    """Every entry belongs to a bench."""
    with pytest.raises(ArchiveFault, match="no name of a bench"):
        Archive.open(tmp_path / "archive.sqlite", bench="", create=True)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of a quarter of a megabyte; skip where this machine does not let us make one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)]
    made = subprocess.run(mount, capture_output=True, text=True, check=False)
    if made.returncode:
        pytest.skip(f"a small disk can be mounted by root alone: {made.stderr.strip()}")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def filed_until_full(archive: Archive) -> int:
    """File holds until there is no room, and give how many were filed before."""
    for filed in range(1_000):
        trace = pulled(filed, *HELD)
        judged = hold(("12",), trace, "A: pre-stretch")
        try:
            archive.append(judged, AT, [trace])
        except ArchiveFault as fault:
            assert "the disk is full; nothing of what was being written was kept" in str(fault)  # noqa: PT017 -- counted
            assert judged.trace not in archive.stored_traces
            return filed
    pytest.fail("the disk was never full")


def test_a_full_disk_is_told_and_loses_nothing(small_disk: Path) -> None:
    """On a full disk the entry is refused whole, all before it stands, and work goes on once there is room."""
    path = small_disk / "archive.sqlite"
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(40_000))
    with Archive.open(path, bench=BENCH, create=True) as archive:
        filed = filed_until_full(archive)
        assert len(list(archive.entries())) == filed > 0
        ballast.unlink()
        archive.append(check(1), AT)
    assert is_whole(path) == filed + 1


def test_a_disk_without_room_for_an_archive_is_told(small_disk: Path) -> None:
    """Where not even an empty archive fits, that is told, and one is made once there is room."""
    ballast = small_disk / "ballast"
    with ballast.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(4096))
    with pytest.raises(ArchiveFault, match=r"the disk is full|the disk failed"):
        Archive.open(small_disk / "archive.sqlite", bench=BENCH, create=True)
    ballast.unlink()
    with Archive.open(small_disk / "archive.sqlite", bench=BENCH, create=True) as archive:
        archive.append(check(1), AT)
    assert is_whole(small_disk / "archive.sqlite") == 1


def test_an_old_sqlite_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system's SQLite is too old for the archive's tables, both versions are named."""
    path = filled(tmp_path / "archive.sqlite")
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 36, 0))
    for bench in (None, BENCH):
        with pytest.raises(ArchiveFault, match=r"found SQLite .*, expected 3\.37 or later; update it"):
            Archive.open(path, bench=bench)


def test_elsewhere_two_writers_are_kept_apart_by_the_file_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On another system a second writer is let in, and the chain stays whole."""
    monkeypatch.setattr(sys, "platform", "elsewhere")
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as one, Archive.open(path, bench=BENCH) as two:
        for n in range(6):
            (one, two)[n % 2].append(check(n), AT)
    assert is_whole(path) == 6


def test_a_file_that_may_not_grow_is_told_and_loses_nothing(tmp_path: Path) -> None:
    """Where SQLite itself is given no more room, the entry is refused whole and all before it stands."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench=BENCH) as archive:
        archive._store._file.connection.execute("PRAGMA max_page_count = 20")
        filed = filed_until_full(archive)
        archive._store._file.connection.execute("PRAGMA max_page_count = 1000")
        archive.append(check(4), AT)
    assert is_whole(path) == 3 + filed + 1


def test_a_read_only_disk_is_read_and_not_written(small_disk: Path) -> None:
    """From a read-only disk an archive is read, also one whose bench was killed; to write to it is refused in words."""
    path = filled(small_disk / "archive.sqlite")
    killed(small_disk / "killed.sqlite", after=2)
    (small_disk / "killed.sqlite-shm").unlink()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert is_whole(path) == 3
    assert is_whole(small_disk / "killed.sqlite") >= 2
    with pytest.raises(ArchiveFault, match=r"read-only|cannot be opened"):
        Archive.open(path, bench=BENCH)
    with pytest.raises(ArchiveFault, match="cannot be opened"):
        Archive.open(small_disk / "new.sqlite", bench=BENCH, create=True)


@pytest.mark.skipif(
    os.geteuid() == 0, reason="root may write to a read-only file; the read-only disk is tested instead"
)
def test_a_read_only_file_is_read_and_not_written(tmp_path: Path) -> None:
    """A file without the right to write is read; to write to it is refused in words."""
    path = filled(tmp_path / "archive.sqlite")
    path.chmod(0o444)
    assert is_whole(path) == 3
    with pytest.raises(ArchiveFault, match="read-only"):
        Archive.open(path, bench=BENCH)


BENCH_THAT_FILES = """
    import sys
    from station.records.archive import Archive
    from tests.station.records.sample_job import BENCH, HELD, hold, pulled

    trace = pulled(7, (0.5, 30, 31))
    with Archive.open(sys.argv[1], bench=BENCH, create=True) as archive:
        print("open", flush=True)
        for n in range(100_000):
            trace = pulled(n, (0.5, 30, 31))
            archive.append(hold(("12",), trace, "A: pre-stretch"), "2026-03-04T05:06:07.000000Z", [trace])
            print(n + 1, flush=True)
"""


def killed(path: Path, after: int) -> int:
    """Let a bench file holds in a process of its own, kill it `after` so many were told, and give the last told."""
    root = Path(__file__).parents[3]
    command = [sys.executable, "-c", textwrap.dedent(BENCH_THAT_FILES), str(path)]
    bench = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=root)
    assert bench.stdout is not None
    last = 0
    for line in bench.stdout:
        last = int(line) if line.strip().isdigit() else 0
        if last >= after:
            bench.send_signal(signal.SIGKILL)
            break
    last = max([last, *(int(line) for line in bench.stdout.read().split() if line.isdigit())])
    bench.stdout.close()
    bench.wait()
    return last


def test_a_killed_bench_loses_no_hold_whose_verdict_was_told(tmp_path: Path) -> None:
    """Killed at any moment, again and again, the archive holds all that was told, verifies, and is gone on with."""
    path = tmp_path / "archive.sqlite"
    filed = 0
    for after in (1, 5, 2, 9):
        told = killed(path, after)
        whole = is_whole(path)
        assert filed + told <= whole <= filed + told + 1
        filed = whole
    with Archive.open(path, bench=BENCH) as archive:
        assert archive.append(check(1), AT).seq == filed + 1
    assert is_whole(path) == filed + 1


def test_reading_after_a_killed_bench_leaves_the_folder_as_it_was(tmp_path: Path) -> None:
    """What a killed bench left is read where it is, or, without its index, from a copy; no file comes or goes."""
    path = tmp_path / "archive.sqlite"
    killed(path, after=3)
    left = names(tmp_path)
    assert left == {"archive.sqlite", "archive.sqlite-wal", "archive.sqlite-shm"}
    count = is_whole(path)
    assert names(tmp_path) == left
    (tmp_path / "archive.sqlite-shm").unlink()
    assert is_whole(path) == count >= 3
    assert names(tmp_path) == {"archive.sqlite", "archive.sqlite-wal"}


def test_a_torn_tail_recovers_to_the_last_whole_entry(tmp_path: Path) -> None:
    """However much of the log's end is lost, what is left is a whole chain, and never longer than before."""
    killed(tmp_path / "archive.sqlite", after=3)
    log = (tmp_path / "archive.sqlite-wal").read_bytes()
    before = 0
    for cut in [*range(0, len(log), 1 + len(log) // 40), len(log)]:
        torn = tmp_path / f"torn {cut}"
        torn.mkdir()
        shutil.copy(tmp_path / "archive.sqlite", torn / "archive.sqlite")
        (torn / "archive.sqlite-wal").write_bytes(log[:cut] + b"\x5a" * (cut % 7))
        count = is_whole(torn / "archive.sqlite")
        assert count >= before
        before = count
    assert before >= 3


def test_a_backup_is_whole_and_alone(tmp_path: Path) -> None:
    """A backup made while a bench writes is a whole archive with the same head, in one file."""
    path = tmp_path / "archive.sqlite"
    copies = tmp_path / "copies"
    copies.mkdir()
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for entry, traces in story():
            archive.append(entry, AT, traces)
        with Archive.open(path) as reader:
            heads = reader.backup(copies / "copy.sqlite")
        assert heads == archive.heads()
        archive.append(check(1), AT)
    assert names(copies) == {"copy.sqlite"}
    assert is_whole(copies / "copy.sqlite") == len(list(story()))


def test_a_backup_replaces_nothing(tmp_path: Path) -> None:
    """A backup is refused where a file is already, and where there is no folder."""
    with Archive.open(filled(tmp_path / "archive.sqlite")) as archive:
        with pytest.raises(ArchiveFault, match="is there already; name a file that is not"):
            archive.backup(tmp_path / "archive.sqlite")
        with pytest.raises(ArchiveFault, match="there is no folder"):
            archive.backup(tmp_path / "nowhere" / "copy.sqlite")
    assert names(tmp_path) == {"archive.sqlite"}


def test_a_backup_onto_a_full_disk_is_told_and_leaves_nothing(tmp_path: Path, small_disk: Path) -> None:
    """A backup that does not fit is refused in words, and its beginning is taken away again."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for n in range(60):
            trace = pulled(n, *HELD)
            archive.append(hold(("12",), trace, "A: pre-stretch"), AT, [trace])
        with pytest.raises(ArchiveFault, match="the disk is full"):
            archive.backup(small_disk / "copy.sqlite")
    assert names(small_disk) == set()


def test_a_digit_altered_by_another_tool_is_found(tmp_path: Path) -> None:
    """One digit altered in one entry, with any tool, is found and named."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE entries SET body = replace(body, '\"difference_um\":4763', '\"difference_um\":1763') WHERE seq = 15",
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded())
    assert [(damage.seq, damage.what) for damage in found.damaged] == [(15, "its text was altered after it was sealed")]


@pytest.mark.parametrize("column", ["bench", "job", "kind", "hash", "body"])
def test_text_that_is_no_unicode_is_found_and_stops_nothing(tmp_path: Path, column: str) -> None:
    """A byte altered so that a text is no Unicode any more is read, found and named; the rest is read as well."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        f"UPDATE entries SET {column} = CAST(x'ff' || substr(CAST({column} AS BLOB), 2) AS TEXT) WHERE seq = 7",  # noqa: S608 -- a test's own text
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound())
        assert sum(archive.jobs().values()) == len(list(story()))
    assert found.entries == len(list(story()))
    assert 7 in [damage.seq for damage in found.damaged]


def test_a_trace_hash_that_is_no_unicode_is_found_and_stops_nothing(tmp_path: Path) -> None:
    """A byte altered in the name of a trace is found at the hold, also where the name is no text any more."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE traces SET hash = CAST(x'ff' || substr(CAST(hash AS BLOB), 2) AS TEXT) "
        "WHERE hash = (SELECT json_extract(body, '$.entry.trace') FROM entries WHERE seq = 7)",
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound())
    ((seq, what),) = [(damage.seq, damage.what) for damage in found.damaged]
    assert seq == 7
    assert what.endswith("stands under a hash that was altered")


def test_a_damaged_or_missing_trace_is_not_handed_out(tmp_path: Path) -> None:
    """A trace that is not what was recorded is never given as if it were."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE traces SET blob = (SELECT blob FROM traces ORDER BY hash LIMIT 1), "
        "blob_hash = (SELECT blob_hash FROM traces ORDER BY hash LIMIT 1)",
    )
    with Archive.open(path) as archive:
        good, *rest = list(archive.stored_traces)
        assert isinstance(archive.trace(good), Trace)
        for name in rest:
            with pytest.raises(ArchiveFault, match="its readings are not the ones that were recorded"):
                archive.trace(name)
        with pytest.raises(ArchiveFault, match="the trace nothing is missing"):
            archive.trace("nothing")


def test_no_altered_byte_of_the_file_is_taken_for_another_record(tmp_path: Path) -> None:
    """A byte altered anywhere in the file is told as damage or refused, or what is read is what was filed."""
    path = filled(tmp_path / "archive.sqlite")
    content = path.read_bytes()
    with Archive.open(path) as archive:
        filed = list(archive.entries())
    other = tmp_path / "other.sqlite"
    told = 0
    for place in range(3, len(content), 211):
        flipped = bytearray(content)
        flipped[place] ^= 0x11
        other.write_bytes(flipped)
        try:
            with Archive.open(other) as archive:
                rows = list(archive.entries())
                found = verify(rows, archive.stored_traces, None, archive.unsound())
        except ArchiveFault:
            told += 1
            continue
        told += not found.good
        assert not found.good or rows == filed
    assert told > 0


def test_a_whole_body_is_read_by_the_shell_of_the_database(tmp_path: Path) -> None:
    """The distribution's own tool for such files reads the entries, as text, with no program of ours."""
    shell = shutil.which("sqlite3")
    if shell is None:
        pytest.skip("the sqlite3 shell is not installed here")
    path = file_job(tmp_path / "archive.sqlite")
    query = "SELECT json_extract(body, '$.entry.canopy.type') FROM entries WHERE seq = 1"
    read = subprocess.run([shell, "-readonly", str(path), query], capture_output=True, text=True, check=True)
    assert read.stdout.strip() == OPENED.canopy["type"]
    assert isinstance(OPENED, JobOpened)
