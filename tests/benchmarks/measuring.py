"""How fast holds are judged and traces read."""

from __future__ import annotations

import csv
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from drivers.events import Reading
from station.measuring.hold import begin, judge, step, typed_uncertainty
from station.measuring.live_hold import LiveHold
from station.measuring.trace import Trace
from station.measuring.trace_files import read_trace
from station.settings.hold import HoldSpecification

SPEC = HoldSpecification("main", 133_447, 124_550, 200_170, 266_893, 30_000_000)
U = typed_uncertainty(890)
COUNT = 1_000_000


def best_s(work: Callable[[], Any], times: int = 3) -> float:
    """Give the processor time of the best of a few runs."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        work()
        taken.append(time.process_time() - began)
    return min(taken)


def trembling(count: int, every_us: int = 1000) -> Trace:
    """Give a hand's pull that falls below the band for one reading in about a thousand."""
    noise = np.random.default_rng(1).normal(0, 2_900, count)
    codes = np.zeros(count, np.int8)
    return Trace(np.arange(count) * every_us, np.rint(133_447 + noise).astype(np.int64), codes, codes + 2)


def figure(
    name: str, value: float, unit: str, asked: float, ceiling: float | None, more_is_better: bool = True
) -> dict:
    """Give one figure."""
    met = value >= asked if more_is_better else value <= asked
    sign = "at least" if more_is_better else "at most"
    ratio = None if ceiling is None else value / ceiling
    asked_words = f"{sign} {asked:,g}"
    return {
        "name": name,
        "value": value,
        "unit": unit,
        "asked": asked_words,
        "ceiling": ceiling,
        "ratio": ratio,
        "met": met,
    }


def figures() -> list[dict[str, Any]]:
    """Measure."""
    trace = trembling(COUNT)
    judged = COUNT / best_s(lambda: judge(trace, SPEC, U, 100_000))
    bare = COUNT / best_s(
        lambda: ((trace.tension_mn >= 1) & (trace.tension_mn <= 2)).sum() + np.diff(trace.at_us).max()
    )

    singles = [trace[row : row + 1] for row in range(20_000)]

    def one_by_one() -> None:
        state = begin(SPEC, U)
        for single in singles:
            state = step(state, single)

    readings = [Reading(n * 1000, 30.0 + n % 7 / 100, "lbf", None, n * 1000) for n in range(20_000)]

    def live() -> None:
        hold = LiveHold(SPEC, U, None)
        for reading in readings:
            hold.feed([reading])

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "trace.csv")
        rows = 500_000
        lines = (f"{n / 1000:.4f},{29 + n % 100 / 50:.2f},lbf,stable\n" for n in range(rows))
        path.write_text("time_s,force,unit,status\n" + "".join(lines))
        read = rows / best_s(lambda: read_trace(path))
        bare_csv = rows / best_s(lambda: list(csv.reader(path.open(newline=""))))
    return [
        figure("readings judged from memory", judged, "1/s", 1_000_000, bare),
        figure("rows of a trace file read", read, "1/s", 500_000, bare_csv),
        figure("one reading stepped", best_s(one_by_one) / len(singles) * 1e6, "us", 50, None, more_is_better=False),
        figure("one reading through a live hold", best_s(live) / len(readings) * 1e6, "us", 50, None, False),
    ]
