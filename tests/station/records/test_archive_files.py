from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from station.records.archive import Archive, ArchiveFault
from station.records.schema import LAYOUT
from tests.station.records.archives import AT, check, filled, is_whole, names
from tests.station.records.sample_job import BENCH


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
