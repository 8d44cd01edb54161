"""Examining rows of an archive, or judging its holds again, in several processes: both grow with the cores.

Each process opens the archive by itself, to read, and takes one run of consecutive entries after another; what it finds
comes back in the order of the entries, so that `verify_examined` gives just what `verify` would. Nothing is shared, and
nothing is kept but what was found.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Generator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing.context import BaseContext

from station.measuring.hold import ScaleUncertainty
from station.records.archive import Archive, Key
from station.records.examine import Examined, examine
from station.records.revisit import Revisited, revisit
from station.records.rows import Row

RUN = 200  # entries that a process takes at once
WORTH_IT = 1_500  # fewer entries are examined before a second process has started


def cores() -> int:
    """Give how many processors this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def examined(archive: Archive, workers: int | None = None) -> Generator[Examined, None, None]:
    """Give what is found of each row of an archive, by bench and number; `workers` processes, or as many as help.

    What is filed after this was called is not looked at. Closed before its end, it ends the processes. Raises
    `ArchiveFault` where the archive cannot be read.
    """
    keys = archive.keys()
    if workers is None:
        workers = min(cores(), len(keys) // WORTH_IT + 1)
    runs = [(keys[first], keys[min(first + RUN, len(keys)) - 1]) for first in range(0, len(keys), RUN)]
    if workers == 1:
        traces = archive.stored_traces
        for first, last in runs:
            yield from (examine(row, traces) for row in archive.between(first, last))
        return
    with _pool(min(workers, len(runs))) as pool:
        for found in pool.map(partial(_examined_run, archive.where), runs):
            yield from found


def revisited(
    archive: Archive,
    holds: Sequence[Row],
    asked: ScaleUncertainty,
    known_mn: int | None = None,
    workers: int | None = None,
) -> Generator[Revisited, None, None]:
    """Give holds judged again with less trust in their scale (`revisit`), in their order; the rest as `examined`."""
    if workers is None:
        workers = min(cores(), len(holds) // WORTH_IT + 1)
    if workers == 1:
        traces = archive.stored_traces
        yield from (revisit(row, traces, asked, known_mn) for row in holds)
        return
    runs = [holds[first : first + RUN] for first in range(0, len(holds), RUN)]
    with _pool(workers) as pool:
        for found in pool.map(partial(_revisited_run, archive.where, asked, known_mn), runs):
            yield from found


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, _context(), _leave_stopping_to_us)


def _leave_stopping_to_us() -> None:
    """Let Ctrl-C reach the program that is waited for, and not its helpers, which end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _context() -> BaseContext:
    """Give how processes are made: never as a copy of this one, whose threads and open archive a copy would break."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__])  # loaded once, and not by every process
    return context


def _revisited_run(where: str, asked: ScaleUncertainty, known_mn: int | None, holds: Sequence[Row]) -> list[Revisited]:
    with Archive.open(where) as archive:
        traces = archive.stored_traces
        return [revisit(row, traces, asked, known_mn) for row in holds]


def _examined_run(where: str, run: tuple[Key, Key]) -> list[Examined]:
    with Archive.open(where) as archive:
        traces = archive.stored_traces
        return [examine(row, traces) for row in archive.between(*run)]
