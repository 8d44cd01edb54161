"""Attempts at a hold: each begins by itself when the line is pulled and ends when it is let off, or by the rule.

Before a pull the last two seconds are kept, so that the trace shows the scale's zero. An attempt that was eased off
before its time is complete is closed and judged as it stands: easing off is the stop. After a verdict the next attempt
can begin only once the line was eased off.

>>> from drivers.events import Reading
>>> from station.measuring.hold import typed_uncertainty
>>> from station.settings.hold import HoldSpecification
>>> spec = HoldSpecification("example", 30_000, 28_000, 45_000, 60_000, duration_us=1_000_000)
>>> watch = HoldWatch(spec, typed_uncertainty(500), None)
>>> def pull(newtons, first, last):
...     return watch.feed([Reading(at, newtons, "N", None, at) for at in range(first, last, 100_000)])
>>> pull(0.0, 0, 3_000_000), watch.phase
([], 'waiting')
>>> [type(fact).__name__ for fact in pull(30.0, 3_000_000, 3_500_000)], watch.phase
(['InBand'], 'pulling')
>>> facts = pull(0.0, 3_500_000, 5_000_000)
>>> facts[-1].judgement.reasons, watch.phase
(('short',), 'waiting')
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Literal

import numpy as np

from drivers.events import LinkLost, Reading
from station.measuring.hold import ScaleUncertainty
from station.measuring.live_hold import HoldFact, LiveHold
from station.measuring.trace import OVERLOAD, Trace
from station.settings.hold import HoldSpecification

Phase = Literal["waiting", "pulling", "complete", "ease off"]

BEFORE_US = 2_000_000  # what of the time before a pull belongs to its trace
EASED_US = 1_000_000  # how long the line must be slack before an attempt counts as ended
PULLED_SHARE = 5  # the line is being pulled above a fifth of the band's lower limit
TIMEOUT_US = 120_000_000  # beyond the duration


class HoldWatch:
    """Watches for pulls and holds each to the specification; see the module's docstring."""

    def __init__(self, spec: HoldSpecification, uncertainty: ScaleUncertainty | None, response_us: int | None) -> None:
        self.spec = spec
        self.uncertainty = uncertainty
        self.response_us = response_us
        self.attempt: LiveHold | None = None
        self.judged: LiveHold | None = None  # the last attempt that ended
        self.pulled_mn = spec.low_mn // PULLED_SHARE
        self._before: deque[Reading] = deque()
        self._slack_since_us: int | None = None
        self._slack_seen = True

    @property
    def phase(self) -> Phase:
        """Tell whether a pull is awaited, under way, complete, or judged and still to be eased off."""
        if self.attempt is None:
            return "waiting" if self._slack_seen else "ease off"
        return "complete" if self.attempt.completed else "pulling"

    def feed(self, readings: Sequence[Reading]) -> list[HoldFact]:
        """Take the next readings and give what they mean."""
        facts: list[HoldFact] = []
        while readings:
            if self.attempt is None:
                readings = self._await_pull(readings)
                continue
            facts += self.attempt.feed(readings)
            self._see_slack(readings)
            at_us = readings[-1].at_us
            slack_us = 0 if self._slack_since_us is None else at_us - self._slack_since_us
            if not self.attempt.closed and not self.attempt.completed and slack_us >= EASED_US:
                facts.append(self.attempt.close(at_us))
            readings = []
            self._end_if_closed()
        return facts

    def tick(self, at_us: int) -> list[HoldFact]:
        """Take note that time has passed: the time-out ends an attempt that gets no readings."""
        facts = self.attempt.tick(at_us) if self.attempt else []
        self._end_if_closed()
        return facts

    def fail(self, at_us: int) -> list[HoldFact]:
        """Void the attempt under way: the program failed while judging."""
        if self.attempt is None:
            return []
        fact = self.attempt.close(at_us, program_fault=True)
        self._end_if_closed()
        return [fact]

    def garbage(self) -> None:
        """Count a garbled frame."""
        if self.attempt:
            self.attempt.garbage += 1

    def link_lost(self, lost: LinkLost) -> None:
        """Note a lost link with the attempt under way."""
        if self.attempt:
            self.attempt.links_lost.append(lost)

    def _await_pull(self, readings: Sequence[Reading]) -> Sequence[Reading]:
        """Keep what comes before a pull; begin an attempt at the first reading that is one, and give what is left."""
        chunk = Trace.of(readings)
        slack = chunk.has_tension & (chunk.tension_mn <= self.pulled_mn)
        if not self._slack_seen:
            if not slack.any():
                return []
            self._slack_seen = True
            readings = readings[int(slack.argmax()) :]
            chunk = chunk[int(slack.argmax()) :]
        pulled = chunk.has_tension & (chunk.tension_mn > self.pulled_mn) | (chunk.status == OVERLOAD)
        first = int(pulled.argmax()) if pulled.any() else len(readings)
        self._before.extend(readings[:first])
        while self._before and self._before[-1].at_us - self._before[0].at_us > BEFORE_US:
            self._before.popleft()
        if first == len(readings):
            return []
        self._slack_since_us = None
        self.attempt = LiveHold(self.spec, self.uncertainty, self.response_us, self.spec.duration_us + TIMEOUT_US)
        before = list(self._before)
        self._before.clear()
        return [*before, *readings[first:]]

    def _see_slack(self, readings: Sequence[Reading]) -> None:
        chunk = Trace.of(readings)
        rows = np.flatnonzero(chunk.has_tension & (chunk.tension_mn > self.pulled_mn))
        if rows.size:
            after = int(rows[-1]) + 1
            self._slack_since_us = readings[after].at_us if after < len(readings) else None
        elif self._slack_since_us is None:
            self._slack_since_us = readings[0].at_us

    def _end_if_closed(self) -> None:
        if self.attempt and self.attempt.closed:
            self.judged, self.attempt = self.attempt, None
            self._slack_seen = self._slack_since_us is not None
