"""A bench for tests: facts are filed into a list, and hands and feet are functions of simulated time."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import cast

from drivers.events import Beside, Event, GaugeReading, LinkLost, LinkUp, PedalEdge, Reading, Status, Tick
from station.bench.bench import READ_US, Bench
from station.bench.bench_settings import BenchSettings
from station.bench.commands import carry_out
from station.bench.cues import Cue
from station.bench.job import JobState, begun, example_opening, fold
from station.bench.showing import Showing
from station.bench.snapshot import Snapshot, Words
from station.measuring.hold import typed_uncertainty
from station.measuring.trace import Trace
from station.records.entries import Entry, HoldJudged
from station.settings.hold import HoldSpecification

LBF_N = 4.4482216152605
MAIN = HoldSpecification("main", 133_447, 124_550, 200_170, 266_893, 30_000_000)
PLAN = """
[plan]
name = "A and B"
pull = "10 lbf"
tolerance = "1/2 in"
spare = "8 in"
minimum_trap = "3 in"
[shrinkage]
coefficient = 0.0625
standard_uncertainty = 0.01
[sewing]
kind = "bar-tack"
length = "1 in"
stitches = 42
taper = "1/2 in"
[[line]]
name = "A"
length = "120 in"
stiffness = "10000 lbf"
link_end = { loop = "1 1/2 in", trap = "5 in" }
canopy_end = { loop = "1 in", trap = "5 in" }
[[line]]
name = "B"
length = "75 in"
link_end = { joins = "A", at = "48 in", trap = "5 in" }
canopy_end = { knot = "1 1/4 in", trap = "5 in" }
"""


class Workbench:
    """A bench with a scale of 80 readings a second and a pedal that does not bounce."""

    def __init__(
        self,
        spec: HoldSpecification = MAIN,
        kind: str = "main",
        measured: bool = True,
        plan: str = PLAN,
        method: str = "",
        gauge: int | None = None,
        at_once: int = 4,
    ) -> None:
        self.at_once = at_once
        self.entries: list[Entry] = []
        self.traces: dict[str, Trace] = {}
        self.cues: list[Cue] = []
        self.at_us = 0
        self.lbf: float | None = None  # what the scale goes on saying
        self.disk_full = False
        opening = example_opening(plan)
        opening = type(opening)(**{**vars_of(opening), "canopy": {"kind": kind, "type": "Teasel 190"}})
        opening = dataclasses.replace(opening, measuring={"comparing": method} if method else {})
        self.entries.append(opening)
        self.settings = BenchSettings(
            pre_stretch=spec,
            uncertainty=typed_uncertainty(890),
            response_us=100_000,
            scale="test scale" if measured else None,
            scale_words=Words("scale known to ±0.20 lbf"),
            next_piece=12,
            gauge=gauge,
        )
        self.bench = Bench(begun(opening), self.settings, self.file)
        self.showing = Showing(self.bench)

    def file(self, entry: Entry, traces: Sequence[Trace] = ()) -> int:
        """File a fact into the list, or fail as a full disk does."""
        if self.disk_full:
            raise RuntimeError("the disk is full: make room, then go on")
        self.entries.append(entry)
        self.traces |= {trace.digest(): trace for trace in traces}
        return len(self.entries)

    def seen(self) -> Snapshot:
        """Give what the bench shows now."""
        return self.showing.snapshot()

    @property
    def step(self) -> str:
        """Give the key of the step to do now."""
        return self.bench.step.key if self.bench.step else ""

    def pull(self, lbf: float, for_s: float, status: str | None = None, unit: str = "lbf") -> None:
        """Pull steadily for a time; readings come `at_once` (four), as from an adapter that holds bytes back."""
        self.lbf = lbf
        end_us = self.at_us + round(for_s * 1e6)
        while self.at_us < end_us:
            stamps = [self.at_us + 12_500 * n for n in range(1, self.at_once + 1)]
            self.at_us = stamps[-1]
            readings = [Reading(at, lbf, unit, status, at) for at in stamps]  # type: ignore[arg-type]  # words of tests
            self.cues += self.bench.take([*readings, Tick(self.at_us)])

    def beside(
        self,
        for_s: float,
        lbf: float | None = None,
        other_lbf: float | None = None,
        mm: float | None = None,
        gauge_status: str | None = None,
    ) -> None:
        """Pull on the first and second scale, with a gauge in place; each says nothing where it is None."""
        self.lbf = None
        for _ in range(round(for_s * 20)):
            self.at_us += 50_000
            at = self.at_us
            events: list[Event] = []
            if lbf is not None:
                events.append(Reading(at, lbf, "lbf", None, at))
            if other_lbf is not None:
                events.append(Beside(at, "second scale", Reading(at, other_lbf, "lbf", None, at)))
            if mm is not None:
                state = cast(Status | None, gauge_status)
                events.append(Beside(at, "gauge", GaugeReading(at, round(mm * 1000), state)))
            self.cues += self.bench.take([*events, Tick(at)])

    def step_on_it(self) -> None:
        """Press and let go at once, so that what hangs there says nothing new meanwhile."""
        self.cues += self.bench.take([PedalEdge(self.at_us + 1000, True)])
        self.at_us += 200_000
        self.cues += self.bench.take([PedalEdge(self.at_us, False)])
        self.at_us += 100_000
        self.cues += self.bench.take([Tick(self.at_us)])

    def wait(self, for_s: float) -> None:
        """Let time pass; the scale goes on saying what it said, unless the cable is out."""
        if self.lbf is not None:
            self.pull(self.lbf, for_s)
            return
        for _ in range(round(for_s * 20)):
            self.at_us += 50_000
            self.cues += self.bench.take([Tick(self.at_us)])

    def press(self, held_s: float = 0.2, reads: bool = True) -> None:
        """Press the pedal and let go; unless the foot bounces, once what is asked can have been read."""
        if reads:
            self.wait((self.bench.asked_since_us + READ_US - self.at_us) / 1e6 - held_s)
        self.cues += self.bench.take([PedalEdge(self.at_us + 1000, True)])
        self.wait(held_s)
        self.cues += self.bench.take([PedalEdge(self.at_us + 1000, False)])
        self.wait(0.1)

    def unplug(self) -> None:
        """Pull the scale's cable."""
        self.lbf = None
        lost = LinkLost(
            self.at_us, "the cable to the scale is unplugged", "plug it in again; reading goes on by itself"
        )
        self.cues += self.bench.take([lost])

    def replug(self) -> None:
        """Put the cable back."""
        self.cues += self.bench.take([LinkUp(self.at_us, "test")])

    def hold(self, lbf: float = 31.0, for_s: float | None = None) -> None:
        """Pull from slack, hold, and ease off; a second longer than asked for unless told how long."""
        self.pull(0.0, 1.0)
        self.pull(lbf, self.settings.pre_stretch.duration_us / 1e6 + 1 if for_s is None else for_s)
        self.pull(0.0, 1.5)

    def work_to(self, key: str) -> None:
        """Do every step, by foot where the foot may, until the step `key` is the one to do."""
        for _ in range(200):
            if self.step == key:
                return
            self.do_step()
        raise AssertionError(f"the step {key!r} was never reached; now {self.step!r}")

    def do_step(self) -> None:
        """Do the step at hand as a rigger would."""
        step = self.bench.step
        assert step is not None
        if step.kind == "pre-stretch":
            self.hold()
        elif step.kind in {"mark", "compare", "set"}:
            self.pull(10.2, 1.0)
            self.press()
            if step.kind == "compare":
                self.pull(0.0, 0.3)
            self.pull(10.2, 0.5)
            if step.kind == "compare":
                self.press()
        elif step.kind in {"sew", "trial tack"}:
            self.press()
            self.wait(2.0)
            self.press()
            self.wait(1.0)
            self.press()
        elif step.kind == "inspect":
            carry_out(self.bench, "inspect", {"by": "Second Person", "finding": "good"})
        elif step.kind == "sign":
            carry_out(self.bench, "sign", {"by": "First Person"})
        else:
            self.wait(2.2)
            self.press()

    def folded(self) -> JobState:
        """Give the job as its entries alone leave it."""
        return fold(enumerate(self.entries, 1))


def vars_of(entry: Entry) -> dict[str, object]:
    """Give the fields of an entry."""
    return {name: getattr(entry, name) for name in entry.__dataclass_fields__}


def last_hold(desk: Workbench) -> HoldJudged:
    """Give the last hold that was judged."""
    return next(entry for entry in reversed(desk.entries) if isinstance(entry, HoldJudged))
