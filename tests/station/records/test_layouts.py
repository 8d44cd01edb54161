from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from station.records import file_store
from station.records.archive import Archive, ArchiveFault
from station.records.entries import SignedOff
from station.records.schema import LAYOUT
from tests.station.records.archives import check, is_whole, names
from tests.station.records.sample_job import BENCH, JOB, story

# The sample job, filed by the program when its archives had layout 1 (before names and signatures stood beside bodies).
LAYOUT_1 = Path(__file__).parents[2] / "captures" / "archive-layout-1.sqlite"
HEAD_1 = "6032c3b8131f63c3425df6d54f61561144c880ce0f57d2a3860f9de3eb5322ec"

LATER = "2026-03-05T05:06:07.000000Z"  # after the last entry of the old archive


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """Give a copy of the old file."""
    return Path(shutil.copy(LAYOUT_1, tmp_path / "archive.sqlite"))


def layout_of(path: Path) -> tuple[int, list[str]]:
    """Give a file's layout, and the columns of its entries, without a program of ours."""
    with closing(sqlite3.connect(path)) as connection:
        columns = [name for _, name, *_ in connection.execute("PRAGMA table_info(entries)")]
        return connection.execute("PRAGMA user_version").fetchone()[0], columns


def test_an_old_archive_is_read_as_it_is_and_verifies(old: Path) -> None:
    """A file of the first layout reads and verifies with the head it had, and is not touched by that."""
    before = old.read_bytes()
    assert layout_of(old) == (1, ["bench", "seq", "job", "kind", "hash", "body"])
    assert is_whole(old) == 30
    with Archive.open(old) as archive:
        assert [row.entry for row in archive.entries(JOB)] == [entry for entry, _ in story()]
        head = archive.head()
        assert head is not None
        assert head.hash == HEAD_1
    assert old.read_bytes() == before
    assert names(old.parent) == {"archive.sqlite"}


def test_an_old_archive_is_taken_to_the_new_layout_by_a_bench(old: Path) -> None:
    """A bench that opens an old file goes on with its chain in the new layout, and every hash stays."""
    with Archive.open(old, bench=BENCH) as archive:
        assert archive.append(SignedOff(job=JOB, by="Ansa Velling", certificate="", statement=""), LATER).seq == 31
    version, columns = layout_of(old)
    assert (version, columns[-2:]) == (LAYOUT, ["names", "signature"])
    assert is_whole(old) == 31
    with Archive.open(old) as archive:
        rows = list(archive.entries())
    assert rows[29].hash == HEAD_1
    assert [row.entry for row in rows[:30]] == [entry for entry, _ in story()]
    with Archive.open(old, bench=BENCH) as archive:
        assert archive.append(check(1), LATER).seq == 32


def test_a_change_of_layout_that_fails_leaves_the_old_one(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the change of layout does not go through, the file is what it was before, and still reads."""
    broken = {1: (file_store.MIGRATIONS[1][0], "ALTER TABLE nowhere ADD COLUMN x")}
    monkeypatch.setattr(file_store, "MIGRATIONS", broken)
    with pytest.raises(ArchiveFault, match="SQLite refuses"):
        Archive.open(old, bench=BENCH)
    assert layout_of(old)[0] == 1
    assert len(layout_of(old)[1]) == 6
    assert is_whole(old) == 30


def test_a_backup_of_an_old_archive_is_an_old_archive(old: Path) -> None:
    """A backup copies what is there, in the layout it has, and verifies."""
    with Archive.open(old) as archive:
        heads = archive.backup(old.parent / "copy.sqlite")
    assert heads[BENCH].hash == HEAD_1
    assert layout_of(old.parent / "copy.sqlite")[0] == 1
    assert is_whole(old.parent / "copy.sqlite") == 30


def test_an_old_archive_read_beside_its_writer_is_read_on(old: Path) -> None:
    """A reader from before the change of layout is told to read again, not given half of each."""
    with Archive.open(old) as reader:
        assert len(list(reader.entries())) == 30
        with Archive.open(old, bench=BENCH) as writer:
            writer.append(check(1), LATER)
        with pytest.raises(ArchiveFault, match="was written to while it was read; do it again"):
            list(reader.entries())
    assert is_whole(old) == 31
