from __future__ import annotations

import contextlib
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pytest

from station.records.archive import Archive, ArchiveFault
from tests.station.records.archives import AT, check, filled, is_whole, names
from tests.station.records.sample_job import BENCH, HELD, hold, pulled, story


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
