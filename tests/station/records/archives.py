"""Small archives, and what the tests of records ask of them."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from station.records.archive import Archive
from station.records.entries import Checked
from station.records.verify import verify
from tests.station.records.sample_job import BENCH, JOB

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
