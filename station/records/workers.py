"""Examining the rows of an archive in several processes, which is how a verification grows with the cores.

Each process opens the archive by itself, to read, and takes one run of consecutive entries after another; what it finds
comes back in the order of the entries, so that `verify_examined` gives just what `verify` would. Nothing is shared, and
nothing is kept but what was found.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Generator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing.context import BaseContext

from station.records.archive import Archive, Key
from station.records.examine import Examined, examine

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
    with ProcessPoolExecutor(min(workers, len(runs)), _context(), _leave_stopping_to_us) as pool:
        for found in pool.map(partial(_examined_run, archive.where), runs):
            yield from found


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


def _examined_run(where: str, run: tuple[Key, Key]) -> list[Examined]:
    with Archive.open(where) as archive:
        traces = archive.stored_traces
        return [examine(row, traces) for row in archive.between(*run)]
