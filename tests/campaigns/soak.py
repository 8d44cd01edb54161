"""`python -m tests.campaigns.soak --json [--seed N] [--size N]`: whether the bench stays quick and small all day.

A window of 1920x1080 works `size` simulated hours (eight unless told) at a scale of a thousand readings a second: pulls
that hold short of their time and are eased off, pulls that fall, a cable that comes out, nothing on the scale. The
bench takes the readings thirty times a second, and one frame of each second is drawn, so
that a day passes in minutes; before and after that, a minute is drawn whole and measured. Facts that are judged on the
way are counted and dropped: keeping them is the archive's, not the bench's.

The median frame is to be 16 ms or less before and after, and memory the same within 10 MB.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import importlib.util
import json
import os
import random
import statistics
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtCore import QCoreApplication
from PyQt6.QtWidgets import QApplication

from drivers.events import Event, LinkLost, LinkUp, Reading, Tick
from station.bench_app import AtWindow

RATE, FRAMES_PER_S, DRAWN = 1000, 30, 30
FRAME_US = 1_000_000 // FRAMES_PER_S
CYCLE_S = 40
MOST_FRAME_MS, MOST_GROWN_MB = 16.0, 10.0


def workbench() -> Any:
    """Give the tests' bench, which keeps no facts, at its first pre-stretch."""
    spec = importlib.util.spec_from_file_location(
        "workbench", Path(__file__).parent.parent / "station" / "bench" / "workbench.py"
    )
    if spec is None or spec.loader is None:
        raise ImportError("workbench.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["workbench"] = module
    spec.loader.exec_module(module)

    class Forgetful(module.Workbench):  # type: ignore[name-defined,misc]  # loaded from its file
        """A bench whose facts are counted and dropped."""

        filed = 0

        def file(self, entry: Any, traces: Sequence[Any] = ()) -> int:  # noqa: ARG002
            """Count a fact."""
            self.filed += 1
            return self.filed

    desk = Forgetful()
    desk.work_to("A: pre-stretch")
    return desk


def memory_mb() -> float:
    """Give the memory this process has in use, after what was freed has been given back to the system."""
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


class Day:
    """A bench, its window, and hands that pull, tire and rest."""

    def __init__(self, seed: int) -> None:
        self.app = QApplication.instance() or QApplication([])
        self.desk = workbench()
        self.chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
        self.waiting: list[Event] = []
        self.at_window = AtWindow(self.desk.bench, self.taken, "dark")
        self.window = self.at_window.window
        self.window.resize(1920, 1080)
        self.window.show()
        self.begun_us = self.at_us = self.desk.at_us
        self.readings = self.frames = self.drawn = 0
        self.level, self.is_out = 0.0, False

    def taken(self) -> list[Event]:
        """Give what came since it was last asked."""
        came, self.waiting = self.waiting, []
        return came

    def frame(self, *, is_drawn: bool) -> float:
        """Let a thirtieth of a second pass; give what taking and drawing it cost, in milliseconds of processor."""
        self.frames += 1
        until_us = self.begun_us + self.frames * FRAME_US
        self._hands()
        while self.at_us < until_us:
            self.at_us += 1_000_000 // RATE
            if not self.is_out:
                force = round(self.level + self.chance.gauss(0.0, 0.03), 2)
                self.waiting.append(Reading(self.at_us, force, "lbf", None, self.at_us))
                self.readings += 1
        self.waiting.append(Tick(self.at_us))
        before = time.process_time()
        if is_drawn:
            self.drawn += 1
            self.window.frame()
            QCoreApplication.sendPostedEvents()
            self.app.processEvents()
        else:
            self.desk.bench.take(self.taken())
        return (time.process_time() - before) * 1000

    def _hands(self) -> None:
        """Pull for half of each cycle, now well, now falling; once in a while the cable comes out."""
        cycle, within_s = divmod(self.frames / FRAMES_PER_S, CYCLE_S)
        pulls = 5 <= within_s < 32
        self.level = 0.0
        if pulls:
            tired = (0.0, 0.15, 0.3)[int(cycle) % 3] * (within_s - 5)
            self.level = min(31.5, (within_s - 5) * 25) - tired
        is_out = int(cycle) % 20 == 19 and 20 <= within_s < 24
        if is_out and not self.is_out:
            self.waiting.append(LinkLost(self.at_us, "the cable to the scale is out", "plug it in again"))
        if self.is_out and not is_out:
            self.waiting.append(LinkUp(self.at_us, "the scale"))
        self.is_out = is_out

    def measured_minute(self) -> float:
        """Draw every frame of a minute, so that the trace is full, and a minute more; give the median of that one."""
        for _ in range(60 * FRAMES_PER_S):
            self.frame(is_drawn=self.frames % DRAWN == 0)
        return statistics.median(self.frame(is_drawn=True) for _ in range(60 * FRAMES_PER_S))


def main() -> int:
    """Work a day and print what came out; status 1 where a frame takes too long or memory has grown."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", action="store_true")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--size", type=float, default=8, help="simulated hours")
    asked = options.parse_args()
    began = time.monotonic()
    day = Day(asked.seed)
    frame_before_ms = day.measured_minute()
    memory_before_mb = memory_mb()
    last = round(asked.size * 3600 * FRAMES_PER_S)
    while day.frames < last:
        day.frame(is_drawn=day.frames % DRAWN == 0)
        if day.frames % (1800 * FRAMES_PER_S) == 0:
            hours = day.frames / 3600 / FRAMES_PER_S
            print(f"{hours:.1f} h of {asked.size:g} h, {memory_mb():.1f} MB", file=sys.stderr, flush=True)
    frame_after_ms = day.measured_minute()
    memory_after_mb = memory_mb()
    found = {
        "simulated_h": (day.at_us - day.begun_us) / 3.6e9,
        "readings": day.readings,
        "frames": day.frames,
        "frames_drawn": day.drawn,
        "facts_filed": day.desk.filed,
        "frame_median_before_ms": round(frame_before_ms, 2),
        "frame_median_after_ms": round(frame_after_ms, 2),
        "memory_before_mb": round(memory_before_mb, 1),
        "memory_after_mb": round(memory_after_mb, 1),
        "memory_grown_mb": round(memory_after_mb - memory_before_mb, 1),
        "last_words": day.window.last_words,
        "took_s": round(time.monotonic() - began, 1),
    }
    print(json.dumps(found) if asked.json else found)
    day.window.close()
    quick = max(frame_before_ms, frame_after_ms) <= MOST_FRAME_MS
    small = memory_after_mb - memory_before_mb <= MOST_GROWN_MB
    return 0 if quick and small and not day.window.last_words else 1


if __name__ == "__main__":
    sys.exit(main())
