"""Attempts at a hold: each begins by itself when the line is pulled and ends when it is let off, or by the rule.

A pull begins above half of the band's lower limit, so that handling a line is no attempt; the two seconds before it
belong to its trace, which shows the scale's zero. An attempt eased off to a fifth of the lower limit, for a second,
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

from drivers.events import LinkLost, Reading
from station.measuring.hold import ScaleUncertainty
from station.measuring.live_hold import HoldFact, LiveHold
from station.measuring.trace import NO_TENSION, mn_per
from station.settings.hold import HoldSpecification

Phase = Literal["waiting", "pulling", "complete", "ease off"]

BEFORE_US = 2_000_000  # what of the time before a pull belongs to its trace
EASED_US = 1_000_000  # how long the line must be slack before an attempt counts as ended
TIMEOUT_US = 120_000_000  # beyond the duration


class HoldWatch:
    """Watches for pulls and holds each to the specification; see the module's docstring."""

    def __init__(self, spec: HoldSpecification, uncertainty: ScaleUncertainty | None, response_us: int | None) -> None:
        self.spec = spec
        self.uncertainty = uncertainty
        self.response_us = response_us
        self.attempt: LiveHold | None = None
        self.judged: LiveHold | None = None  # the last attempt that ended
        self.pulled_mn = spec.low_mn // 2
        self.slack_mn = spec.low_mn // 5
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
        """Take the next readings and give what they mean, in whatever batches they come."""
        facts: list[HoldFact] = []
        at = 0
        while at < len(readings):
            if self.attempt is None:
                at = self._await_pull(readings, at)
                continue
            end = self._to_slack(readings, at)
            rows = self.attempt.state.rows
            facts += self.attempt.feed(readings[at:end])
            at += self.attempt.state.rows - rows
            if not self.attempt.closed and at == end and self._is_slack_long(readings[end - 1].at_us):
                facts.append(self.attempt.close(readings[end - 1].at_us))
            if self.attempt.closed:  # by the rule, perhaps before `end`: slack is judged anew from its last reading
                last = _pull_mn(readings[at - 1])
                self._slack_since_us = readings[at - 1].at_us if last is not None and last <= self.slack_mn else None
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

    def _await_pull(self, readings: Sequence[Reading], at: int) -> int:
        """Keep what comes before a pull; begin an attempt with it at the first reading that is one.

        Gives the place of the first reading that is not used up.
        """
        for place in range(at, len(readings)):
            reading = readings[place]
            pull_mn = _pull_mn(reading)
            if not self._slack_seen:
                self._slack_seen = pull_mn is not None and pull_mn <= self.slack_mn
                if not self._slack_seen:
                    continue
            if reading.status == "overload" or (pull_mn is not None and pull_mn > self.pulled_mn):
                self.attempt = LiveHold(
                    self.spec, self.uncertainty, self.response_us, self.spec.duration_us + TIMEOUT_US
                )
                self._slack_since_us = None
                self.attempt.feed([*self._before])
                self._before.clear()
                return place
            self._before.append(reading)
            while self._before[-1].at_us - self._before[0].at_us > BEFORE_US:
                self._before.popleft()
        return len(readings)

    def _to_slack(self, readings: Sequence[Reading], at: int) -> int:
        """Give the place after the reading at which the line has been slack for long enough, or the batch's end."""
        for place in range(at, len(readings)):
            pull_mn = _pull_mn(readings[place])
            if readings[place].status == "overload" or (pull_mn is not None and pull_mn > self.slack_mn):
                self._slack_since_us = None
            elif pull_mn is not None and self._slack_since_us is None:
                self._slack_since_us = readings[place].at_us
            if self._is_slack_long(readings[place].at_us):
                return place + 1
        return len(readings)

    def _is_slack_long(self, at_us: int) -> bool:
        """Tell whether the line has been slack for so long that an attempt not yet complete is over."""
        waiting = self.attempt is None or self.attempt.completed is not None
        return not waiting and self._slack_since_us is not None and at_us - self._slack_since_us >= EASED_US

    def _end_if_closed(self) -> None:
        if self.attempt and self.attempt.closed:
            self.judged, self.attempt = self.attempt, None
            self._slack_seen = self._slack_since_us is not None


def _pull_mn(reading: Reading) -> float | None:
    """Give a reading's pull; None where it carries none."""
    if reading.force is None or reading.unit is None or reading.status in NO_TENSION:
        return None
    return reading.force * mn_per(reading.unit)
