"""One hold as it happens: readings and silence in, facts out, until the trace closes and the verdict falls.

The trace begins at the first reading; its stamps count from there. At completion the time is complete and the rigger
may ease off. The trace closes at completion where no zero limit is set, else at the first zero after completion, and
always at the time-out, or when the bench says that the rigger has stopped. The trace ends exactly at the reading that
closes it, so that judging the stored trace gives the same verdict.

>>> from station.measuring.hold import typed_uncertainty
>>> spec = HoldSpecification("example", 30_000, 28_000, 45_000, 60_000, duration_us=1_000_000)
>>> hold = LiveHold(spec, typed_uncertainty(500), response_us=None)
>>> facts = hold.feed([Reading(at, 30.0, "N", None, at) for at in range(5_000_000, 6_200_000, 100_000)])
>>> [type(fact).__name__ for fact in facts]
['InBand', 'Completed', 'Closed']
>>> facts[-1].judgement.verdict, len(facts[-1].trace)
('held', 11)
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from drivers.events import LinkLost, Reading
from station.measuring.hold import HoldState, Judgement, ScaleUncertainty, Span, begin, conclude, spoilt, step
from station.measuring.trace import OVERLOAD, Row, Trace
from station.settings.hold import HoldSpecification

Why = Literal["below", "above", "gap", "fault", "overload", "clock", "still"]


class ZeroSeen(NamedTuple):
    """The pull is zero: before the hold, or after its completion."""

    at_us: int


class InBand(NamedTuple):
    """A span began inside the limits that count."""

    at_us: int


class Broken(NamedTuple):
    """The running span ended, at the first reading that is not part of it (or at the gap's end)."""

    at_us: int
    why: Why
    held_us: int


class Completed(NamedTuple):
    """The span has reached the duration: ease off to finish."""

    at_us: int


class Closed(NamedTuple):
    """The trace closed and was judged."""

    at_us: int
    judgement: Judgement
    trace: Trace


HoldFact = ZeroSeen | InBand | Broken | Completed | Closed


class LiveHold:
    """A hold under way; see the module's docstring. `timeout_us` counts from the first reading; None never ends it."""

    def __init__(
        self,
        spec: HoldSpecification,
        uncertainty: ScaleUncertainty | None,
        response_us: int | None,
        timeout_us: int | None = None,
    ) -> None:
        self.state = begin(spec, uncertainty)
        self.closed: Closed | None = None
        self.garbage = 0
        self.links_lost: list[LinkLost] = []
        self.first_us: int | None = None
        self.response_us = response_us
        self._timeout_us = timeout_us
        self._chunks: list[Trace] = []
        self._rows: list[Row] = []  # those after the last chunk that came one by one
        self._saw_zero = False

    @property
    def spec(self) -> HoldSpecification:
        """Give what the hold must be."""
        return self.state.spec

    @property
    def completed(self) -> Span | None:
        """Give the span that completed inside the limits that count."""
        return self.state.watched.completed

    @property
    def running(self) -> Span | None:
        """Give the span running inside the limits that count."""
        return self.state.watched.running

    @property
    def spoilt(self) -> tuple[str, ...]:
        """Give why the hold is void already, whatever comes."""
        return spoilt(self.state)

    @property
    def trace(self) -> Trace:
        """Give the trace so far; stamps count from its first reading."""
        self._gather_rows()
        return Trace.joined(self._chunks)

    def feed(self, readings: Sequence[Reading]) -> list[HoldFact]:
        """Take the next readings and give what they mean; readings after the trace closed are not part of it."""
        if self.closed or not readings:
            return []
        if self.first_us is None:
            self.first_us = readings[0].at_us
        if len(readings) == 1:
            row = Row.of(readings[0], self.first_us)
            return self._take(row, step(self.state, row))
        chunk = Trace.of(readings, origin_us=self.first_us)
        facts: list[HoldFact] = []
        while len(chunk) and not self.closed:
            rows, after = self._until_it_matters(chunk)
            facts += self._take(chunk[:rows], after)
            chunk = chunk[rows:]
        return facts

    def tick(self, at_us: int) -> list[HoldFact]:
        """Take note that time has passed; the time-out closes the trace."""
        if self.closed or self._timeout_us is None or self.first_us is None:
            return []
        return [self.close(at_us)] if at_us - self.first_us >= self._timeout_us else []

    def close(self, at_us: int, program_fault: bool = False) -> Closed:
        """Close the trace now and judge it."""
        if self.closed is None:
            judgement = conclude(self.state, self.response_us, program_fault)
            self.closed = Closed(at_us, judgement, self.trace)
        return self.closed

    def _until_it_matters(self, chunk: Trace) -> tuple[int, HoldState]:
        """Give how many rows of `chunk` to take next, so that the trace closes where it must, and the state then."""
        if self._timeout_us is not None:
            late = chunk.at_us >= self._timeout_us
            chunk = chunk[: int(late.argmax()) + 1] if late.any() else chunk
        after = step(self.state, chunk)
        rows = len(chunk)
        if self.completed is None:
            completed = after.watched.completed
            rows = rows if completed is None else completed.end_row + 1 - self.state.rows
        elif after.last_zero_row is not None and after.last_zero_row >= self.state.rows:
            zeros = chunk.has_tension & (abs(chunk.tension_mn) <= (self.spec.zero_limit_mn or 0))
            rows = int(zeros.argmax()) + 1
        return rows, after if rows == len(chunk) else step(self.state, chunk[:rows])

    def _take(self, chunk: Trace | Row, after: HoldState) -> list[HoldFact]:
        before, self.state = self.state, after
        if isinstance(chunk, Row):
            self._rows.append(chunk)
        else:
            self._gather_rows()
            self._chunks.append(chunk)
        origin_us = self.first_us or 0
        now_us = origin_us + after.last_us
        facts: list[HoldFact] = []
        if before.watched.completed is None:
            facts += _span_facts(before, after, chunk, origin_us)
            if after.last_zero_row is not None and not self._saw_zero:
                self._saw_zero = True
                facts.insert(0, ZeroSeen(now_us))
            if after.watched.completed is not None:
                facts += [] if spoilt(after) else [Completed(now_us)]
                if self.spec.zero_limit_mn is None:
                    facts.append(self.close(now_us))
        elif after.last_zero_row is not None and after.last_zero_row >= before.rows:
            facts += [ZeroSeen(now_us), self.close(now_us)]
        if not self.closed and self._timeout_us is not None and after.last_us >= self._timeout_us:
            facts.append(self.close(now_us))
        return facts

    def _gather_rows(self) -> None:
        if self._rows:
            self._chunks.append(Trace.of_rows(self._rows))
            self._rows = []


def _span_facts(before: HoldState, after: HoldState, chunk: Trace | Row, origin_us: int) -> list[HoldFact]:
    was, runs = before.watched.running, after.watched.running or after.watched.completed
    facts: list[HoldFact] = []
    if was is not None and (runs is None or runs.start_row != was.start_row):
        facts.append(_why_broken(before, was, Trace.of_rows([chunk]) if isinstance(chunk, Row) else chunk, origin_us))
    if runs is not None and (was is None or runs.start_row != was.start_row):
        facts.append(InBand(origin_us + runs.start_us))
    return facts


def _why_broken(before: HoldState, was: Span, chunk: Trace, origin_us: int) -> Broken:
    """Find the first row of `chunk` that does not go on with the running span, and say why."""
    band, spec, state = before.watched, before.spec, before
    for row in range(len(chunk)):
        later = step(state, chunk[row : row + 1])
        running = later.watched.running
        if running is not None and running.start_row == was.start_row:
            state, was = later, running
            continue
        at_us, since_us = int(chunk.at_us[row]), int(chunk.at_us[row]) - state.last_us
        why: Why
        if not chunk.has_tension[row]:
            why = "overload" if chunk.status[row] == OVERLOAD else "fault"
        elif since_us <= 0:
            why = "clock"
        elif since_us > spec.max_gap_us:
            why = "gap"
        elif chunk.tension_mn[row] < band.low_mn:
            why = "below"
        elif chunk.tension_mn[row] > band.high_mn:
            why = "above"
        else:
            why = "still"
        return Broken(origin_us + at_us, why, was.length_us)
    raise AssertionError("the running span went on to the end of the chunk")
