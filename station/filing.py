"""Filing facts as they happen: the one place where the bench meets the archive and the wall clock.

>>> from station.bench.job import example_opening
>>> import tempfile
>>> with tempfile.TemporaryDirectory() as folder:
...     with Archive.open(f"{folder}/a.sqlite", bench="Bench 1", create=True) as archive:
...         file = Filer(archive, lambda: datetime.datetime(2026, 6, 12, tzinfo=datetime.timezone.utc))
...         file(example_opening()), job_state(archive, "26-0001").now.key
(1, 'cause')
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path

from station.bench.job import JobState, fold
from station.measuring.trace import Trace
from station.records.archive import Archive, ArchiveFault
from station.records.chain import utc_text
from station.records.entries import Entry
from station.records.store import is_server
from station.settings.preferences import data_folder, load_preferences

WallClock = Callable[[], datetime.datetime]


def wall_clock() -> datetime.datetime:
    """Give the time of day, in UTC."""
    return datetime.datetime.now(datetime.UTC)


class Filer:
    """Files facts into an open archive, each stamped with the time of day."""

    def __init__(self, archive: Archive, clock: WallClock = wall_clock) -> None:
        self._archive = archive
        self._clock = clock

    def __call__(self, entry: Entry, traces: Sequence[Trace] = ()) -> int:
        """File one fact with its traces; give its number. Raises `ArchiveFault` where it cannot be kept."""
        return self._archive.append(entry, utc_text(self._clock()), traces).seq


def facts_of(archive: Archive, job: str | None = None) -> list[tuple[int, Entry]]:
    """Give the facts of one job, or of all, with their numbers."""
    return [(row.seq, row.entry) for row in archive.entries(job)]


def job_state(archive: Archive, job: str) -> JobState:
    """Give a job as its entries leave it. Raises `ArchiveFault` where there is no such job."""
    facts = facts_of(archive, job)
    if not facts:
        raise ArchiveFault(f"{archive.path}: holds no job {job!r}; it holds {', '.join(archive.jobs()) or 'none'}")
    return fold(facts)


def next_piece(archive: Archive) -> int:
    """Give the number after the highest that any piece here has."""
    numbers = (each.told[0] for each in archive.said("piece-cut", ("entry.piece",)))
    return max((int(each) for each in numbers if each.isdecimal()), default=0) + 1


def default_archive() -> str:
    """Give where the archive lies unless one is named: where the settings say, else in the user's own data folder."""
    named = load_preferences().archive
    if named is None:
        return str(data_folder() / "archive.sqlite")
    return named if is_server(named) else str(Path(named).expanduser())
