"""The foot: from edges of a contact, or bytes of a text pedal, to taps and long presses.

- The first edge counts at once. What follows within `lockout_us` is bounce; where the contact has settled on the other
  side by then, that counts as an edge at the end of the lockout.
- A press is over at its release: shorter than `long_us` it was a tap, else a long press. The moment a press becomes
  long is told as well, and stamped exactly, however late anybody asks.
- A press of `stuck_us` is a pedal that is stuck, or has something standing on it; its release is no press.
- A press that began while the link was away, or was cut by its loss, never counts; one that lasts on is stuck all the
  same, `stuck_us` after the link came.

>>> pedal = Pedal()
>>> edges = [(0, True), (900, False), (1_400, True), (180_000, False), (180_700, True), (181_000, False)]
>>> [event for at_us, down in edges for event in pedal.feed(PedalEdge(at_us, down))]
[Tap(at_us=180000)]
>>> pedal.feed(PedalEdge(2_000_000, True)), pedal.feed(Tick(3_100_000)), pedal.feed(PedalEdge(3_200_000, False))
([], [LongReached(at_us=3000000)], [LongPress(at_us=3200000)])
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from drivers.events import PedalEdge, Tick


@dataclass(frozen=True)
class Tap:
    """A short press, at its release."""

    at_us: int


@dataclass(frozen=True)
class LongPress:
    """A long press, at its release."""

    at_us: int


@dataclass(frozen=True)
class LongReached:
    """A press has become long: from here on its release is a long press."""

    at_us: int


@dataclass(frozen=True)
class Stuck:
    """The pedal has been down for so long that nobody means it."""

    at_us: int


@dataclass(frozen=True)
class Released:
    """The pedal that was stuck came up."""

    at_us: int


PedalEvent = Tap | LongPress | LongReached | Stuck | Released


class Pedal:
    """Debounce edges and give what the foot did; see the module's docstring. Any ticks in between change nothing."""

    def __init__(self, lockout_us: int = 30_000, long_us: int = 1_000_000, stuck_us: int = 10_000_000) -> None:
        if not 0 <= lockout_us < long_us < stuck_us:
            raise ValueError(
                f"found a lockout of {lockout_us} us, a long press of {long_us} us and a stuck pedal at {stuck_us} us; "
                "expected each to be longer than the one before"
            )
        self._lockout_us = lockout_us
        self._long_us = long_us
        self._stuck_us = stuck_us
        self._contact = False  # as the last edge left it
        self._down = False  # debounced
        self._since_us = 0  # when `_down` became what it is
        self._locked_until_us: int | None = None
        self._told: type[PedalEvent] | None = None  # the last thing told of this press
        self._counts = True  # this press began while the link was up

    def feed(self, event: PedalEdge | Tick) -> list[PedalEvent]:
        """Take an edge, or the time, and give what the foot did up to it, in order."""
        events = self._settle(event.at_us)
        if isinstance(event, PedalEdge):
            self._contact = event.down
            if self._locked_until_us is None:
                events += self._turn(event.at_us)
        return events

    def link_lost(self) -> None:
        """Forget a press that has begun: with the link went the knowledge of when it ended."""
        self._contact = self._down = False
        self._locked_until_us = self._told = None

    def link_up(self, at_us: int, down: bool) -> None:
        """Begin with the pedal as it stands: a press that is under way already is none that counts."""
        self.link_lost()
        self._contact = self._down = down
        self._since_us, self._counts = at_us, not down

    def _settle(self, now_us: int) -> list[PedalEvent]:
        """Do what falls due up to `now_us`: the ends of lockouts, and what a press has become by then."""
        events: list[PedalEvent] = []
        while self._locked_until_us is not None and self._locked_until_us <= now_us:
            ended_us, self._locked_until_us = self._locked_until_us, None
            events += self._turn(ended_us)
        return events + self._held(now_us)

    def _turn(self, at_us: int) -> list[PedalEvent]:
        """Accept the side on which the contact is at `at_us`, and lock out what bounces after it."""
        if self._contact == self._down:
            return []
        events = self._held(at_us)
        if self._down and (self._counts or self._told is Stuck):
            ends: dict[type[PedalEvent] | None, type[PedalEvent]] = {LongReached: LongPress, Stuck: Released}
            events.append(ends.get(self._told, Tap)(at_us))
        self._down, self._since_us, self._told, self._counts = self._contact, at_us, None, True
        self._locked_until_us = at_us + self._lockout_us
        return events

    def _held(self, now_us: int) -> list[PedalEvent]:
        events: list[PedalEvent] = []
        if self._down and self._counts and self._told is None and now_us >= self._since_us + self._long_us:
            events.append(LongReached(self._since_us + self._long_us))
        if self._down and self._told is not Stuck and now_us >= self._since_us + self._stuck_us:
            events.append(Stuck(self._since_us + self._stuck_us))
        if events:
            self._told = type(events[-1])
        return events


class PedalText:
    r"""Read a text pedal: give True for each `down` in its bytes and False for each `up`; all else is passed over.

    Any chunking of the same bytes gives the same list. A byte or text that repeats while the pedal is held is given
    once. Raises `ValueError` where the two texts cannot be told apart.

    >>> pedal = PedalText(down=b"D", up=b"U")
    >>> pedal.feed(b"D"), pedal.feed(b"D\r\nU"), pedal.feed(b"??D")
    ([True], [False], [True])
    """

    def __init__(self, down: bytes, up: bytes) -> None:
        if not down or not up or down in up or up in down:
            raise ValueError(f"found {down!r} for down and {up!r} for up, expected two texts, neither within the other")
        self._down = down
        self._words = re.compile(b"|".join(map(re.escape, (down, up))))
        self._longest = max(len(down), len(up))
        self._waiting = b""
        self._last: bool | None = None

    def feed(self, chunk: bytes) -> list[bool]:
        """Take the bytes that came and give the levels they tell, in order."""
        self._waiting += chunk
        levels = []
        end = 0
        for match in self._words.finditer(self._waiting):
            end = match.end()
            down = match[0] == self._down
            if down is not self._last:
                levels.append(down)
                self._last = down
        self._waiting = self._waiting[max(end, len(self._waiting) - self._longest + 1) :]
        return levels

    def rejoin(self) -> None:
        """Say that bytes may be missing from here on: the side the pedal was on is not known any more."""
        self._waiting = b""
        self._last = None
