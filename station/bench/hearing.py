"""What stands at a bench hears a scale and a foot: events in their order, lost links said, edges made taps.

A model says what a run of readings, a tap or a long press means to it; that a cable is out, that a press under way when
the pedal went never counts, and that a pedal is stuck is the same for all.

>>> from drivers.events import PedalEdge, Reading, Tick
>>> class Counting(Hearing):
...     heard = taps = 0
...     def _hear(self, readings): self.heard += len(readings)
...     def _tapped(self, at_us): self.taps += 1
...     def _pressed_long(self, at_us): pass
>>> desk = Counting()
>>> _ = desk.take([Reading(0, 1.0, "lbf", None, 0), PedalEdge(1, True), PedalEdge(200_000, False), Tick(300_000)])
>>> desk.heard, desk.taps
(1, 1)
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from typing import NamedTuple

from drivers.events import Event, Garbage, LinkLost, LinkUp, PedalEdge, PedalLost, PedalUp, Reading, Tick
from drivers.pedal import LongPress, LongReached, Pedal, Released, Stuck, Tap
from drivers.unread import Unread
from station.bench.cues import Cue
from station.bench.snapshot import Words

STUCK = "The pedal is stuck down: look what lies on it. If nothing does, its switch opens where it should close."
NOT_COUNTED_US = 8_000_000  # for how long it is said that what was done did not count
LARGE_US = 4_000_000  # for how long that is the sentence itself


class Refused(NamedTuple):
    """What did not count: what is said of it, since when, if it only came too soon, and if it still would not count."""

    words: Words
    at_us: int
    too_soon: bool
    still: Callable[[], bool]


class Hearing(ABC):
    """A model fed with stamped events; see the module's docstring."""

    def __init__(self) -> None:
        self.now_us = 0
        self.notice: Words | None = None
        self.link_lost: LinkLost | None = None
        self.pedal_lost: PedalLost | None = None
        self.pedal_watched = True  # False where nobody could tell that its server hangs
        self.pedal_stuck = False
        self._pedal = Pedal()
        self._unread = Unread()
        self._cues: list[Cue] = []
        self._refused: Refused | None = None

    @property
    def back_words(self) -> str:
        """Give what is said when the scale is heard again."""
        return "The scale is back."

    def foot_standing(self, has_pedal: bool) -> Words:
        """Give how the foot stands, for the top line."""
        if self.pedal_lost:
            return Words("no pedal", "warn")
        if self.pedal_stuck:
            return Words("foot stuck down", "warn")
        if not has_pedal:
            return Words("no pedal: use the space bar", "quiet")
        return Words("foot ready" if self.pedal_watched else "foot ready, not watched", "quiet")

    def take(self, events: Sequence[Event]) -> list[Cue]:
        """Take the next events in their order; give the cues they call for."""
        self._cues = []
        run: list[Reading] = []
        for event in events:
            self.now_us = max(self.now_us, event.at_us)
            if isinstance(event, Reading):
                run.append(event)
                continue
            self._hear_run(run)
            run = []
            self._take_other(event)
        self._hear_run(run)
        return self._cues

    @abstractmethod
    def _hear(self, readings: Sequence[Reading]) -> None:
        """Take a run of readings, at least one."""

    @abstractmethod
    def _tapped(self, at_us: int) -> None:
        """Take a tap of the foot."""

    @abstractmethod
    def _pressed_long(self, at_us: int) -> None:
        """Take a long press of the foot."""

    def _hear_run(self, readings: Sequence[Reading]) -> None:
        if readings:
            self.link_lost = None
            if self._unread.is_told:
                self.notice = Words("The scale is read again.", "plain")
            self._unread.begin()
            self._hear(readings)

    def _take_other(self, event: Event) -> None:
        """Take an event that is no reading; a model adds what else it means."""
        if isinstance(event, LinkLost):
            self.link_lost = event
            self.notice = Words(f"{event.why}: {event.advice}", "warn")
        elif isinstance(event, LinkUp):
            if self.link_lost:
                self.notice = Words(self.back_words, "plain")
            self.link_lost = None
            self._unread.begin()
        elif isinstance(event, Garbage):
            if told := self._unread.garbled(event):
                self.notice = Words(f"{told.why}: {told.advice}", "warn")
        elif isinstance(event, PedalLost):
            self._pedal.link_lost()
            self.pedal_lost, self.pedal_stuck = event, False
            self.notice = Words(f"{event.why}: {event.advice}", "warn")
        elif isinstance(event, PedalUp):
            if self.pedal_lost:
                self.notice = Words("The pedal is back.", "plain")
            self._pedal.link_up(event.at_us, event.down)
            self.pedal_lost, self.pedal_stuck = None, False
            self.pedal_watched = event.watched
            if not event.watched:
                hangs = "Nothing would show that the pedal's server hangs: see that each tap counts."
                self.notice = Words(hangs, "plain")
        elif isinstance(event, PedalEdge | Tick):
            self._foot(event)

    def _foot(self, event: PedalEdge | Tick) -> None:
        refused = self._refused
        if refused is not None and (self.now_us - refused.at_us >= NOT_COUNTED_US or not refused.still()):
            self.counted()
        for felt in self._pedal.feed(event):
            if isinstance(felt, Tap):
                self._tapped(felt.at_us)
            elif isinstance(felt, LongPress):
                self._pressed_long(felt.at_us)
            elif isinstance(felt, LongReached):
                self._cues.append("long press")
            elif isinstance(felt, Stuck):
                self.pedal_stuck = True
                self.notice = Words(STUCK, "warn")
            elif isinstance(felt, Released):
                self.pedal_stuck = False
                self.notice = Words("The pedal is free again.", "plain")

    def not_counted(self, why: str, too_soon: bool = False, still: Callable[[], bool] = lambda: True) -> None:
        """Say that what was done did not count, and why."""
        self.notice = Words(f"Not counted: {why}{'' if why.endswith('?') else '.'}", "warn")
        self._refused = Refused(self.notice, self.now_us, too_soon, still)
        self._cues.append("not counted")

    def sentence(self, asked: Words) -> Words:
        """Give what is asked; for a few seconds, to be read from afar, why what was done did not count."""
        refused = self._refused
        if refused is None or self.notice is not refused.words or asked.tone == "stop":
            return asked
        if self.now_us - refused.at_us >= LARGE_US:
            return asked
        return Words(f"Too soon. {asked.text}", "warn") if refused.too_soon else refused.words

    def said_beside(self, sentence: Words) -> Words | None:
        """Give the notice to show beside a sentence; none where the sentence says it already."""
        return None if self.notice is sentence else self.notice

    def counted(self) -> None:
        """Say no longer that something did not count: it is long ago, or what was done after it did."""
        if self._refused is not None:
            self.notice = None if self.notice is self._refused.words else self.notice
            self._refused = None
