"""What a hold's readings leave behind, and how a chunk of them is looked at: the parts of the rule in `hold`.

`One` answers for a single reading what `Many` answers with arrays, without their cost; the rule itself is written once
and asks either.

>>> typed_uncertainty(890).standard_un
445000
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from station.measuring.trace import OVERLOAD, Int64s, Row, Trace
from station.settings.hold import HoldSpecification


@dataclass(frozen=True, slots=True)
class ScaleUncertainty:
    """What is known of the scale at the target: U in mN; u and the mean error e in micronewtons, for probability."""

    expanded_mn: int
    standard_un: int
    error_un: int = 0

    def facts(self) -> dict[str, int]:
        """Give the uncertainty as integers, as a record keeps it."""
        return dataclasses.asdict(self)

    @classmethod
    def of_facts(cls, facts: Mapping[str, Any]) -> ScaleUncertainty:
        """Give the uncertainty a record kept."""
        return cls(**facts)


def typed_uncertainty(expanded_mn: int, exact_n: Fraction | None = None) -> ScaleUncertainty:
    """Give what a typed expanded uncertainty means: u = U/2 and no known error."""
    exact_un = exact_n * 1_000_000 if exact_n is not None else Fraction(expanded_mn * 1000)
    return ScaleUncertainty(expanded_mn, round(exact_un / 2))


@dataclass(frozen=True, slots=True)
class Span:
    """A run of consecutive readings inside limits; rows count from 0 at the trace's first reading."""

    start_us: int
    end_us: int
    start_row: int
    end_row: int
    min_mn: int
    max_mn: int
    sum_mn: int
    largest_gap_us: int

    @property
    def length_us(self) -> int:
        """Give the time from the first reading to the last."""
        return self.end_us - self.start_us

    @property
    def count(self) -> int:
        """Give the number of readings."""
        return self.end_row - self.start_row + 1

    def and_then(self, later: Span) -> Span:
        """Give the one span that this one and the run right after it make."""
        return Span(
            self.start_us,
            later.end_us,
            self.start_row,
            later.end_row,
            min(self.min_mn, later.min_mn),
            max(self.max_mn, later.max_mn),
            self.sum_mn + later.sum_mn,
            max(self.largest_gap_us, later.start_us - self.end_us, later.largest_gap_us),
        )


@dataclass(frozen=True, slots=True)
class Band:
    """What was seen between two limits: the span still running, the first to complete, the longest until then."""

    low_mn: int
    high_mn: int
    running: Span | None = None
    completed: Span | None = None
    longest: Span | None = None


@dataclass(frozen=True, slots=True)
class HoldState:
    """All that the readings so far leave behind. Made by `begin` and `step` alone."""

    spec: HoldSpecification
    uncertainty: ScaleUncertainty | None
    acceptance: Band | None  # None where U is unknown or the limits have crossed
    tolerance: Band
    rows: int = 0
    last_us: int = 0
    largest_gap_us: int = 0
    peak_mn: int | None = None
    clock: bool = False
    overload: bool = False
    units: frozenset[int] = frozenset()
    first_zero_row: int | None = None
    last_zero_row: int | None = None
    stood_mn: int | None = None  # the value that stands now, and since when; None after a row without a tension
    stood_since_us: int = 0

    @property
    def deciding(self) -> Span | None:
        """Give the span that decides, if one has completed yet."""
        proven = self.acceptance.completed if self.acceptance else None
        return proven or self.tolerance.completed

    @property
    def watched(self) -> Band:
        """Give the band whose completion ends a live hold: the acceptance limits where they exist."""
        return self.acceptance or self.tolerance


class One:
    """One reading as the rule asks for it: what `Many` answers with arrays, without the cost of them."""

    last = 0

    def __init__(self, state: HoldState, row: Row) -> None:
        self.last_us, value_mn, status, unit = row
        self._row = state.rows
        since_us = self.last_us - state.last_us if state.rows else None
        self.gaps_us = (1, 0) if since_us is None else (since_us, since_us)
        self.overload = status == OVERLOAD
        self.peak_mn = value_mn if status < OVERLOAD else None
        self.units = frozenset((unit,)) if unit else frozenset()
        self.stood_mn = self.peak_mn
        same = self.peak_mn is not None and self.peak_mn == state.stood_mn
        self.stood_since_us = state.stood_since_us if same else self.last_us
        spec = state.spec
        self.first_linked = since_us is not None and 0 < since_us <= spec.max_gap_us and self.moves(spec)
        self._since_us = since_us or 0
        self._zero_limit_mn = spec.zero_limit_mn

    def moves(self, spec: HoldSpecification) -> bool:
        """Tell whether the value has not stood for longer than the still limit."""
        return spec.still_limit_us is None or self.last_us - self.stood_since_us <= spec.still_limit_us

    def zeros(self) -> tuple[int, int] | None:
        """Give the first and the last row within the zero limit."""
        if self.peak_mn is None or self._zero_limit_mn is None or abs(self.peak_mn) > self._zero_limit_mn:
            return None
        return self._row, self._row

    def runs(self, band: Band, duration_us: int) -> list[tuple[int, int]]:  # noqa: ARG002 -- the face of `Many`
        """Give the runs inside the band, as first and last row of the chunk."""
        return [(0, 0)] if self.peak_mn is not None and band.low_mn <= self.peak_mn <= band.high_mn else []

    def row_at(self, at_us: int, start: int) -> int:  # noqa: ARG002 -- the face of `Many`
        """Give the first row from `start` on whose stamp has reached `at_us`."""
        return 0

    def span(self, start: int, end: int, before: Span | None) -> Span:  # noqa: ARG002 -- the face of `Many`
        """Give the span of the rows from `start` to `end`, going on from `before` where there is one."""
        value, at_us, row = self.peak_mn or 0, self.last_us, self._row
        if before is None:
            return Span(at_us, at_us, row, row, value, value, value, 0)
        return Span(
            before.start_us,
            at_us,
            before.start_row,
            row,
            min(before.min_mn, value),
            max(before.max_mn, value),
            before.sum_mn + value,
            max(before.largest_gap_us, self._since_us),
        )


class Many:
    """A chunk of readings as the rule asks for it; rows of the chunk count from 0."""

    def __init__(self, state: HoldState, chunk: Trace) -> None:
        spec = state.spec
        self._at_us, self._tension_mn, self._carries = chunk.at_us, chunk.tension_mn, chunk.has_tension
        self._row = state.rows
        self._zero_limit_mn = spec.zero_limit_mn
        self.last = len(chunk) - 1
        self.last_us = int(chunk.at_us[-1])
        self._since_us = np.empty(len(chunk), np.int64)
        self._since_us[1:] = chunk.at_us[1:] - chunk.at_us[:-1]
        self._since_us[0] = int(chunk.at_us[0]) - state.last_us if state.rows else 0
        gaps_us = self._since_us if state.rows else self._since_us[1:]
        self.gaps_us = (int(gaps_us.min()), int(gaps_us.max()))
        self.overload = bool((chunk.status == OVERLOAD).any())
        carried = self._tension_mn if self._carries.all() else self._tension_mn[self._carries]
        self.peak_mn = int(carried.max()) if carried.size else None
        self.units = frozenset(np.flatnonzero(np.bincount(chunk.unit)).tolist()) - {0}
        self._linked = (self._since_us > 0) & (self._since_us <= spec.max_gap_us)
        self.stood_mn: int | None = None
        self.stood_since_us = 0
        if spec.still_limit_us is not None:
            stood_us = self._stood_since(state)
            self._linked &= self._at_us - stood_us <= spec.still_limit_us
            self.stood_mn = int(self._tension_mn[-1]) if self._carries[-1] else None
            self.stood_since_us = int(stood_us[-1])
        self.first_linked = bool(self._linked[0])

    def _stood_since(self, state: HoldState) -> Int64s:
        """Give for each row the stamp since which its value has stood, reading after reading."""
        fresh = np.ones(self.last + 1, np.bool_)
        fresh[1:] = (self._tension_mn[1:] != self._tension_mn[:-1]) | ~self._carries[:-1]
        fresh[0] = state.stood_mn is None or int(self._tension_mn[0]) != state.stood_mn
        fresh |= ~self._carries
        starts = np.where(fresh, np.arange(self.last + 1), -1)
        np.maximum.accumulate(starts, out=starts)
        return np.where(starts < 0, state.stood_since_us, self._at_us[np.maximum(starts, 0)])

    def zeros(self) -> tuple[int, int] | None:
        """Give the first and the last row within the zero limit, as rows of the trace."""
        rows = np.flatnonzero(self._carries & (np.abs(self._tension_mn) <= self._zero_limit_mn))
        return (self._row + int(rows[0]), self._row + int(rows[-1])) if rows.size else None

    def runs(self, band: Band, duration_us: int) -> list[tuple[int, int]]:
        """Give the runs inside the band that can matter, as first and last rows, in their order.

        They are the first (it may go on from before), the first to complete, the longest (the earliest of equals) and
        the last (it may go on). All others are as if they had not been.
        """
        inside = self._carries & (self._tension_mn >= band.low_mn) & (self._tension_mn <= band.high_mn)
        goes_on = np.zeros(self.last + 2, np.bool_)
        goes_on[1:-1] = inside[1:] & inside[:-1] & self._linked[1:]
        starts = np.flatnonzero(inside & ~goes_on[:-1])
        if not starts.size:
            return []
        ends = np.flatnonzero(inside & ~goes_on[1:])
        lengths_us = self._at_us[ends] - self._at_us[starts]
        longest = int(lengths_us.argmax())
        matter = {0, longest, len(starts) - 1}
        if lengths_us[longest] >= duration_us:
            matter.add(int((lengths_us >= duration_us).argmax()))
        return [(int(starts[run]), int(ends[run])) for run in sorted(matter)]

    def row_at(self, at_us: int, start: int) -> int:
        """Give the first row from `start` on whose stamp has reached `at_us`; stamps rise within a run."""
        return start + int(np.argmax(self._at_us[start:] >= at_us))

    def span(self, start: int, end: int, before: Span | None) -> Span:
        """Give the span of the rows from `start` to `end`, going on from `before` where there is one."""
        values, gaps_us = self._tension_mn[start : end + 1], self._since_us[start + 1 : end + 1]
        here = Span(
            int(self._at_us[start]),
            int(self._at_us[end]),
            self._row + start,
            self._row + end,
            int(values.min()),
            int(values.max()),
            int(values.sum()),
            int(gaps_us.max()) if gaps_us.size else 0,
        )
        return before.and_then(here) if before else here
