"""A scale that is checked in tests: bytes of a virtual scale through the real decoder, a pedal that bounces."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from drivers.events import Event, LinkLost, LinkUp, Reading, Tick
from drivers.stamps import Stamper
from drivers.text_frames import TextDecoder
from simulators.pedal import FootPedal
from simulators.scale import ScaleModel, VirtualScale
from simulators.scenarios import WORDED
from station.bench.cues import Cue
from station.bench.snapshot import Snapshot, Words
from station.bench.weighing import DailyCheck, FullCheck, WeighingSettings
from station.bench.weighing_showing import weighing_snapshot
from station.bench.weights import Load, Place, load_of, read_weights
from station.records.entries import DailyChecked, Entry

LBF_N = 4.4482216152605
MODEL = ScaleModel(WORDED, "lbf")
PLACE = Place("47.5 deg", 300.0)
WEIGHTS = "5 kg, 10 kg, 15 kg, 20 kg"
TARGET_MN = 133_447
SETTINGS = WeighingSettings(
    scale="test scale",
    station="Bench 1",
    capacity_mn=444_822,
    resolution_mn=89,
    scale_words=Words("scale not checked: nothing is proven", "warn"),
)
BEFORE = Words("scale not checked today: hang the daily weight", "warn")
TICK_US = 50_000


class Files:
    """Where a check is filed in tests: into lists, or not at all, as on a full disk."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.files: list[tuple[str, str]] = []
        self.unfinished: list[str] = []
        self.full = False

    def __call__(self, entry: Entry, check_csv: str = "", set_aside_csv: str = "") -> int:
        """File a fact into the list, or fail."""
        if self.full:
            raise OSError("the disk is full: make room, then go on")
        self.entries.append(entry)
        self.files.append((check_csv, set_aside_csv))
        return len(self.entries)

    def known(self) -> Words:
        """Say how well the scale is known by what was filed last."""
        last = self.entries[-1]
        if isinstance(last, DailyChecked) and not last.agreed:
            return Words("scale did not agree: nothing is proven", "warn")
        return Words("scale checked today, ±0.12 lbf", "quiet") if isinstance(last, DailyChecked) else BEFORE

    def keep_unfinished(self, check_csv: str) -> None:
        """Keep what was read."""
        self.unfinished.append(check_csv)


class Weighbench:
    """A check under way; weights hang and swing a little, `gain` and `offset_n` are what is wrong with the scale."""

    def __init__(self, model: ScaleModel = MODEL, gain: float = 1.0, offset_n: float = 0.0, seed: int = 1) -> None:
        self.file = Files()
        self.cues: list[Cue] = []
        self.at_us = 0
        self.plugged = True
        self.gain = gain
        self._scale = VirtualScale(seed, replace(model, zero_offset_n=offset_n))
        self._decoder = TextDecoder(model.format)
        self._stamper = Stamper(model.period_us)
        self._pedal = FootPedal(seed)
        self._edges: list[Event] = []
        self._hung_n, self._hung_us = 0.0, 0
        self.work: FullCheck | DailyCheck

    def full(self, weights: str = WEIGHTS, place: Place = PLACE, **changes: object) -> Weighbench:
        """Begin a full check."""
        settings = replace(SETTINGS, known=self.file.known, **changes)  # type: ignore[arg-type]  # words of tests
        self.work = FullCheck(settings, read_weights(weights, place), place, TARGET_MN, None, self.file)
        return self

    def daily(self, weight: str = "15 kg", within_mn: int = 534, revisit: Sequence[str] = ()) -> Weighbench:
        """Begin a daily check."""
        settings = replace(SETTINGS, scale_words=BEFORE, known=self.file.known)
        self.work = DailyCheck(settings, load_of(weight, PLACE), TARGET_MN, within_mn, revisit, self.file)
        return self

    def seen(self) -> Snapshot:
        """Give what the bench shows now."""
        return weighing_snapshot(self.work)

    def hang(self, force_n: float) -> None:
        """Hang weights of so much force in all; they swing for a while."""
        self._hung_n, self._hung_us = force_n, self.at_us

    def hang_asked(self) -> None:
        """Hang what is asked for."""
        load = self.work.load
        assert isinstance(load, Load)
        self.hang(load.applied_n)
        self.wait(0.2)

    def wait(self, for_s: float) -> None:
        """Let time pass, the scale sending bytes."""
        end_us = self.at_us + round(for_s * 1e6)
        while self.at_us < end_us:
            self.at_us += TICK_US
            sent = self._scale.bytes_until(self.at_us, self._force_n)
            events: list[Event] = []
            if self.plugged and sent:
                frames = self._decoder.feed(b"".join(each.raw for each in sent))
                stamps = self._stamper.stamp(len(frames), self.at_us)
                for frame, stamp in zip(frames, stamps, strict=True):
                    events.append(Reading(stamp, frame.force, frame.unit, frame.status, self.at_us))
            edges = [edge for edge in self._edges if edge.at_us <= self.at_us]
            self._edges = self._edges[len(edges) :]
            self.cues += self.work.take([*events, *edges, Tick(self.at_us)])

    def press(self, held_us: int = 150_000) -> None:
        """Press the pedal, which bounces, and let go."""
        self._edges += self._pedal.press(self.at_us + 10_000, held_us)
        self.wait(held_us / 1e6 + 0.1)

    def wait_until_steady(self, at_most_s: float = 20.0) -> float:
        """Wait until the bench says that a tap would count; give how long that took."""
        began_us = self.at_us
        while not self.work.is_ready:
            assert self.at_us - began_us < at_most_s * 1e6, self.seen().sentence
            self.wait(0.05)
        return (self.at_us - began_us) / 1e6

    def weigh(self, count: int | None = None) -> None:
        """Hang, wait and tap, for so many weights or for all that are left."""
        while self.work.load is not None and count != 0:
            self.hang_asked()
            self.wait_until_steady()
            self.press()
            count = None if count is None else count - 1

    def unplug(self) -> None:
        """Pull the scale's cable."""
        self.plugged = False
        lost = LinkLost(self.at_us, "the cable to the scale is unplugged", "plug it in again")
        self.cues += self.work.take([lost])

    def replug(self) -> None:
        """Put the cable back."""
        self.plugged = True
        self.cues += self.work.take([LinkUp(self.at_us, "test")])

    def _force_n(self, at_us: int) -> float:
        since_s = max(0, at_us - self._hung_us) / 1e6
        swing = 0.04 * math.exp(-since_s / 0.5) * math.cos(2 * math.pi * 1.1 * since_s)
        return self._hung_n * (1 + swing) * self.gain
