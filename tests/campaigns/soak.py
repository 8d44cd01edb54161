"""Whether the bench stays quick and small all day: `python -m tests.campaigns.soak --json [--seed N] [--size HOURS]`.

A window of 1920x1080 works `size` simulated hours (eight unless told) at a scale of a thousand readings a second. Job
after job is worked by pull and foot as on a real day: of three pulls one is let go too soon, one sinks out of the band
and one holds; a line is marked, trapped, compared and sewn; now and then the cable comes out. What is judged is filed
with its trace into an archive on disk; a signed job's window is closed, and the next job opened on the same archive.

The bench takes the readings thirty times a second. So that a day passes in minutes, one frame of each second is drawn
(`frames_drawn` of `frames`); a minute's frames are drawn whole, and measured, at the beginning and at the end, in a
hold with a full trace.

The median frame is to be 16 ms or less before and after, and memory the same within 10 MB. Every verdict shown is to be
in the archive, opened anew, and all of it to verify: `tried` counts the verdicts, `lost` those that are not there (all,
where it does not verify).
"""

from __future__ import annotations

import ctypes
import datetime
import gc
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import cycle
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtCore import QCoreApplication, QEvent
from PyQt6.QtWidgets import QApplication

from drivers.events import Event, LinkLost, LinkUp, PedalEdge, Reading, Tick
from station.at_window import AtWindow
from station.bench.bench import Bench
from station.bench.commands import carry_out
from station.display import give_back_large_blocks
from station.filing import Filer, job_state, next_piece
from station.records.archive import Archive
from station.records.entries import HoldJudged
from tests.campaigns.bench_work import Verdict, verified
from tests.campaigns.campaign import Finding, run
from tests.station.bench.workbench import Workbench

RATE, FRAMES_PER_S, DRAWN = 1000, 30, 30
FRAME_US = 1_000_000 // FRAMES_PER_S
MOST_FRAME_MS, MOST_GROWN_MB = 16.0, 10.0
MORNING = datetime.datetime(2026, 6, 12, 6, tzinfo=datetime.UTC)
CABLE_OUT_EVERY = 20  # pulls


def memory_mb() -> float:
    """Give the memory this process has in use, after what was freed has been given back to the system."""
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


class Day:
    """A bench, its window, and hands and a foot that work job after job."""

    def __init__(self, seed: int, folder: Path) -> None:
        give_back_large_blocks()  # as whoever opens windows does
        self.app = QApplication.instance() or QApplication([])
        self.path = folder / "a.sqlite"
        self.archive = Archive.open(self.path, bench="Bench 1", create=True)
        self.file = Filer(self.archive, lambda: MORNING + datetime.timedelta(microseconds=self.at_us))
        desk = Workbench()
        self.opening, self.settings = desk.entries[0], desk.settings
        chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
        self.noise_lbf = cycle([chance.gauss(0.0, 0.03) for _ in range(9973)])
        self.waiting: list[Event] = []
        self.begun_us = self.at_us = 0
        self.readings = self.frames = self.drawn = self.pulls = self.cables_out = 0
        self.jobs: list[str] = []
        self.shown: list[Verdict] = []
        self.last_hold: HoldJudged | None = None
        self.last_words = ""
        self.is_out = False
        self.open_job()
        self.hands = self._work()

    def open_job(self) -> None:
        """Open the next job, and its window, on the same archive."""
        self.jobs.append(self.archive.new_job_id(MORNING.year))
        self.file(replace(self.opening, job=self.jobs[-1]))
        settings = replace(self.settings, next_piece=next_piece(self.archive))
        self.bench = Bench(job_state(self.archive, self.jobs[-1]), settings, self.file)
        self.window = AtWindow(self.bench, self.taken, "dark").window
        self.window.resize(1920, 1080)
        self.window.show()

    def close_job(self) -> None:
        """Close the window and let Qt take it away."""
        self.last_words = self.last_words or self.window.last_words
        self.window.close()
        self.window.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
        self.app.processEvents()

    def taken(self) -> list[Event]:
        """Give what came since it was last asked."""
        came, self.waiting = self.waiting, []
        return came

    def frame(self, *, is_drawn: bool) -> float:
        """Let a thirtieth of a second pass; give what taking and drawing it cost, in milliseconds of processor."""
        self.frames += 1
        until_us = self.begun_us + self.frames * FRAME_US
        level = next(self.hands)
        while self.at_us < until_us:
            self.at_us += 1_000_000 // RATE
            if not self.is_out:
                self.waiting.append(
                    Reading(self.at_us, round(level + next(self.noise_lbf), 2), "lbf", None, self.at_us)
                )
                self.readings += 1
        self.waiting.append(Tick(self.at_us))
        before = time.process_time()
        if is_drawn:
            self.drawn += 1
            self.window.frame()
            QCoreApplication.sendPostedEvents()
            self.app.processEvents()
        else:
            self.bench.take(self.taken())
        took_s = time.process_time() - before
        last = self.bench.state.last_hold
        if last is not None and last is not self.last_hold:
            self.last_hold = last
            self.shown.append((last.trace, dict(last.judgement)))
        return took_s * 1000

    def _work(self) -> Iterator[float]:
        """Give the pull in lbf for each frame, for ever; press the foot, type names and open jobs on the way."""
        while True:
            step = self.bench.step
            if step is None:
                self.close_job()
                self.open_job()
            elif step.kind == "pre-stretch":
                yield from self._pull_and_ease()
            elif step.kind in {"mark", "compare", "set"}:
                yield from self._steady(10.2, 1.5)
                yield from self._tap(10.2)
                if step.kind == "compare":
                    yield from self._steady(0.0, 0.5)
                yield from self._steady(10.2, 1.0)
                if step.kind == "compare":
                    yield from self._tap(10.2)
            elif step.kind in {"sew", "trial tack"}:
                for _ in range(3):
                    yield from self._steady(0.0, 2.0)
                    yield from self._tap(0.0)
            elif step.kind == "inspect":
                carry_out(self.bench, "inspect", {"by": "Second Person", "finding": "good"})
            elif step.kind == "sign":
                yield from self._steady(0.0, 20.0)
                carry_out(self.bench, "sign", {"by": "First Person"})
            else:
                yield from self._steady(0.0, 20.0)  # to cut, route and trap takes its time
                yield from self._tap(0.0)

    def _pull_and_ease(self) -> Iterator[float]:
        """Pull once: two of three do not hold; once in a while the cable comes out on the way."""
        self.pulls += 1
        kind = self.pulls % 3
        sinks_lbf_per_s = 0.2 if kind == 2 else 0.0
        yield from self._steady(0.0, 4.0)
        for frame in range(round((20 if kind == 1 else 32) * FRAMES_PER_S)):
            since_s = frame / FRAMES_PER_S
            if self.pulls % CABLE_OUT_EVERY == 0 and frame in {15 * FRAMES_PER_S, 18 * FRAMES_PER_S}:
                self._plug(out=frame == 15 * FRAMES_PER_S)
            yield min(31.5, since_s * 25) - sinks_lbf_per_s * since_s
        yield from self._steady(0.0, 3.0)

    def _plug(self, *, out: bool) -> None:
        self.is_out = out
        self.cables_out += out
        if out:
            self.waiting.append(LinkLost(self.at_us, "the cable to the scale is out", "plug it in again"))
        else:
            self.waiting.append(LinkUp(self.at_us, "the scale"))

    def _steady(self, lbf: float, for_s: float) -> Iterator[float]:
        for _ in range(round(for_s * FRAMES_PER_S)):
            yield lbf

    def _tap(self, lbf: float) -> Iterator[float]:
        self.waiting.append(PedalEdge(self.at_us + 1, True))
        yield from self._steady(lbf, 0.2)
        self.waiting.append(PedalEdge(self.at_us + 1, False))
        yield from self._steady(lbf, 0.3)

    def measured_minute(self) -> float:
        """Give the median of a minute of frames, all drawn, under a pull with a minute of trace behind it."""
        working, self.hands = self.hands, cycle([29.5, 31.0])
        for _ in range(60 * FRAMES_PER_S):
            self.frame(is_drawn=self.frames % DRAWN == 0)
        found = statistics.median(self.frame(is_drawn=True) for _ in range(60 * FRAMES_PER_S))
        self.hands = self._steady(0.0, 3.0)
        for _ in range(3 * FRAMES_PER_S):
            self.frame(is_drawn=False)
        self.hands = working
        return found

    def to_a_hold(self) -> None:
        """Work until a pre-stretch is the step to do, so that what is measured is the same each time."""
        while self.bench.step is None or self.bench.step.kind != "pre-stretch" or self.bench.watch.attempt:
            self.frame(is_drawn=self.frames % DRAWN == 0)


def soak(seed: int, hours: float) -> Finding:
    """Work a day; good where no frame takes too long, memory has not grown, and nothing failed."""
    with tempfile.TemporaryDirectory() as folder:
        found = worked(Day(seed, Path(folder)), hours)
    quick = max(found["frame_median_before_ms"], found["frame_median_after_ms"]) <= MOST_FRAME_MS
    small = found["memory_grown_mb"] <= MOST_GROWN_MB
    words = (
        f"In {hours:g} simulated hours, {found['readings']:,} readings and {found['jobs_opened']} jobs a frame took "
        f"{found['frame_median_before_ms']} ms before and {found['frame_median_after_ms']} ms after, and memory grew "
        f"by {found['memory_grown_mb']} MB. Of {found['tried']} verdicts shown {found['lost']} were lost. "
        f"{found['last_words']}"
    )
    return Finding(found, words.strip(), quick and small and not found["last_words"] and not found["lost"])


def worked(day: Day, hours: float) -> dict[str, Any]:
    """Work so many hours and give what was found."""
    day.to_a_hold()
    frame_before_ms = day.measured_minute()
    memory_before_mb = memory_mb()
    said, last = 1, round(hours * 3600 * FRAMES_PER_S)
    while day.frames < last:
        day.frame(is_drawn=day.frames % DRAWN == 0)
        if day.frames >= said * 900 * FRAMES_PER_S:
            print(
                f"{said / 4:g} h of {hours:g} h, {len(day.jobs)} jobs, {memory_mb():.1f} MB",
                file=sys.stderr,
                flush=True,
            )
            said += 1
    day.to_a_hold()
    frame_after_ms = day.measured_minute()
    memory_after_mb = memory_mb()
    day.close_job()
    facts, traces = day.archive.count(), len(day.archive.stored_traces)
    day.archive.close()
    whole, kept = verified(day.path)
    lost = sum(each not in kept for each in day.shown) if whole.good else len(day.shown)
    return {
        "tried": len(day.shown),
        "survived": len(day.shown) - lost,
        "lost": lost,
        "simulated_h": round((day.at_us - day.begun_us) / 3.6e9, 3),
        "readings": day.readings,
        "frames": day.frames,
        "frames_drawn": day.drawn,
        "jobs_opened": len(day.jobs),
        "pulls": day.pulls,
        "cables_out": day.cables_out,
        "facts_filed": facts,
        "traces_filed": traces,
        "frame_median_before_ms": round(frame_before_ms, 2),
        "frame_median_after_ms": round(frame_after_ms, 2),
        "memory_before_mb": round(memory_before_mb, 1),
        "memory_after_mb": round(memory_after_mb, 1),
        "memory_grown_mb": round(memory_after_mb - memory_before_mb, 1),
        "last_words": day.last_words,
    }


if __name__ == "__main__":
    sys.exit(run(__doc__, 8.0, "hours", soak))
