"""The verdict on a pre-stretch hold: a pure machine over readings, and the heart of the program.

`begin` gives the state of a hold of which nothing was read yet, `step` takes a state and the next readings (one of
them, or a million) and gives the next state, `conclude` gives the judgement of a state. Any way of cutting the same
readings into chunks gives the same judgement. `judge` does all three for a stored trace. The rules:

* Acceptance limits are the tolerance limits moved inward by the scale's expanded uncertainty U when the decision is
  guarded, and the tolerance limits themselves when it is plain. Every limit is inclusive.
* A span is a run of consecutive readings that all carry a tension inside the limits, each later than the one before
  by at most `max_gap`. Its length runs from its first reading to its last, never from the moment before.
* The deciding span is the first to complete inside the acceptance limits, else the first inside the tolerance limits.
* void outranks held, held outranks unproven, unproven outranks not-held.

The decision rule is the non-binary one with a guard band w = U (JCGM 106:2012, 8.3.2; ILAC-G8:09/2019). Only whole
millinewtons and microseconds are compared.

>>> import numpy as np
>>> from station.measuring.trace import Trace
>>> spec = HoldSpecification("example", 30_000, 28_000, 45_000, 60_000, duration_us=1_000_000)
>>> at = np.arange(0, 1_100_000, 100_000)
>>> none = np.zeros(11, np.int8)
>>> judge(Trace(at, np.full(11, 30_000), none, none + 1), spec, typed_uncertainty(500)).verdict
'held'
>>> judge(Trace(at, np.full(11, 28_100), none, none + 1), spec, typed_uncertainty(500)).reasons
('in-doubt',)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

import numpy as np

from station.measuring.trace import OVERLOAD, Int64s, Trace
from station.measuring.uncertainty import conformance
from station.settings.hold import HoldSpecification

RULE_VERSION = 1

Verdict = Literal["held", "unproven", "not-held", "void"]
VOID_REASONS = (
    "clock",
    "overload",
    "over-ceiling",
    "unit-changed",
    "zero-not-seen-before",
    "zero-not-seen-after",
    "program-fault",
)


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


def acceptance_limits(spec: HoldSpecification, uncertainty: ScaleUncertainty | None) -> tuple[int, int] | None:
    """Give the acceptance limits in mN: None where U is unknown, crossed limits as they come out."""
    if not spec.guarded:
        return spec.low_mn, spec.high_mn
    if uncertainty is None:
        return None
    return spec.low_mn + uncertainty.expanded_mn, spec.high_mn - uncertainty.expanded_mn


def begin(spec: HoldSpecification, uncertainty: ScaleUncertainty | None) -> HoldState:
    """Give the state of a hold of which nothing was read yet. `uncertainty` is None where it is unknown."""
    limits = acceptance_limits(spec, uncertainty)
    acceptance = Band(*limits) if limits and limits[0] <= limits[1] else None
    return HoldState(spec, uncertainty, acceptance, Band(spec.low_mn, spec.high_mn))


def step(state: HoldState, chunk: Trace) -> HoldState:
    """Give the state after the readings of `chunk`, however many they are."""
    if len(chunk) == 0:
        return state
    spec = state.spec
    rows = _One(state, chunk) if len(chunk) == 1 else _Many(state, chunk)
    smallest_gap_us, largest_gap_us = rows.gaps_us
    zeros = rows.zeros() if spec.zero_limit_mn is not None else None
    peak_mn = state.peak_mn if rows.peak_mn is None else max(rows.peak_mn, state.peak_mn or rows.peak_mn)
    return HoldState(
        spec,
        state.uncertainty,
        _step_band(state.acceptance, spec.duration_us, rows) if state.acceptance else None,
        _step_band(state.tolerance, spec.duration_us, rows),
        state.rows + len(chunk),
        rows.last_us,
        max(state.largest_gap_us, largest_gap_us),
        peak_mn,
        state.clock or smallest_gap_us <= 0,
        state.overload or rows.overload,
        state.units if rows.units <= state.units else state.units | rows.units,
        state.first_zero_row if state.first_zero_row is not None or zeros is None else zeros[0],
        state.last_zero_row if zeros is None else zeros[1],
        rows.stood_mn,
        rows.stood_since_us,
    )


def _step_band(band: Band, duration_us: int, rows: _One | _Many) -> Band:
    running, completed, longest = band.running, band.completed, band.longest
    runs = rows.runs(band, duration_us)
    if not runs:
        return band if running is None else Band(band.low_mn, band.high_mn, None, completed, longest)
    for start, end in runs:
        before = running if start == 0 and rows.first_linked else None
        running = rows.span(start, end, before)
        if completed is None:
            if running.length_us >= duration_us:
                completed = rows.span(start, rows.row_at(running.start_us + duration_us, start), before)
            elif longest is None or running.length_us > longest.length_us:
                longest = running
    return Band(band.low_mn, band.high_mn, running if runs[-1][1] == rows.last else None, completed, longest)


class _One:
    """One reading as the rule asks for it: what `_Many` answers with arrays, without the cost of them."""

    last = 0

    def __init__(self, state: HoldState, chunk: Trace) -> None:
        self.last_us = int(chunk.at_us[0])
        self._row = state.rows
        since_us = self.last_us - state.last_us if state.rows else None
        self.gaps_us = (1, 0) if since_us is None else (since_us, since_us)
        status = int(chunk.status[0])
        self.overload = status == OVERLOAD
        self.peak_mn = int(chunk.tension_mn[0]) if status < OVERLOAD else None
        unit = int(chunk.unit[0])
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

    def runs(self, band: Band, duration_us: int) -> list[tuple[int, int]]:  # noqa: ARG002 -- the face of `_Many`
        """Give the runs inside the band, as first and last row of the chunk."""
        return [(0, 0)] if self.peak_mn is not None and band.low_mn <= self.peak_mn <= band.high_mn else []

    def row_at(self, at_us: int, start: int) -> int:  # noqa: ARG002 -- the face of `_Many`
        """Give the first row from `start` on whose stamp has reached `at_us`."""
        return 0

    def span(self, start: int, end: int, before: Span | None) -> Span:  # noqa: ARG002 -- the face of `_Many`
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


class _Many:
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


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on a hold with its reasons and figures; times from the trace's own zero.

    `figures` is the span the figures describe: the deciding one, else the longest inside the tolerance limits, else
    None. `conformance` is the conformance probability in parts per thousand million, None where it is unknown.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    figures: Span | None
    decided: bool
    peak_mn: int | None
    largest_gap_us: int
    guard_mn: int | None
    conformance: int | None
    blind_to_us: int | None

    @property
    def held_us(self) -> int:
        """Give how long the span that the figures describe lasted; 0 where none was."""
        return self.figures.length_us if self.figures else 0

    def facts(self) -> dict[str, Any]:
        """Give the judgement as integers and text, as a record keeps it."""
        span = self.figures
        return {
            "verdict": self.verdict,
            "reasons": list(self.reasons),
            "held_us": self.held_us,
            "span_us": [span.start_us, span.end_us] if span else None,
            "min_mn": span.min_mn if span else None,
            "sum_mn": span.sum_mn if span else None,
            "count": span.count if span else 0,
            "max_mn": span.max_mn if span else None,
            "peak_mn": self.peak_mn,
            "largest_gap_us": self.largest_gap_us,
            "guard_mn": self.guard_mn,
            "conformance_ppb": self.conformance,
            "blind_to_us": self.blind_to_us,
        }


def answer(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Give a judgement's facts in SI, with the keys that commands print."""

    def si(value: int | None, per: float) -> float | None:
        return None if value is None else value / per

    span = facts["span_us"]
    return {
        "verdict": facts["verdict"],
        "reasons": list(facts["reasons"]),
        "held_s": facts["held_us"] / 1e6,
        "span": [span[0] / 1e6, span[1] / 1e6] if span else None,
        "min_n": si(facts["min_mn"], 1000),
        "mean_n": facts["sum_mn"] / facts["count"] / 1000 if span else None,
        "max_n": si(facts["max_mn"], 1000),
        "peak_n": si(facts["peak_mn"], 1000),
        "largest_gap_s": facts["largest_gap_us"] / 1e6,
        "guard_n": si(facts["guard_mn"], 1000),
        "conformance_probability": si(facts["conformance_ppb"], 1e9),
        "blind_to_s": si(facts["blind_to_us"], 1e6),
    }


def conclude(state: HoldState, response_us: int | None = None, program_fault: bool = False) -> Judgement:
    """Judge what was read so far.

    `response_us` is the scale's response, None where unknown; `program_fault` says that the program failed while
    judging. Conformance probability by JCGM 106:2012, 7.2.6, at the worst reading of the deciding span.
    """
    spec, uncertainty, deciding = state.spec, state.uncertainty, state.deciding
    void = [
        reason
        for reason, applies in zip(
            VOID_REASONS,
            (
                state.clock,
                state.overload,
                state.peak_mn is not None and state.peak_mn > spec.ceiling_mn,
                len(state.units) > 1,
                _no_zero(spec, deciding, state.first_zero_row, after=False),
                _no_zero(spec, deciding, state.last_zero_row, after=True),
                program_fault,
            ),
            strict=True,
        )
        if applies
    ]
    verdict: Verdict
    if void:
        verdict, reasons = "void", tuple(void)
    elif state.acceptance and state.acceptance.completed:
        verdict, reasons = "held", ()
    elif deciding:
        verdict, reasons = "unproven", (_why_unproven(state),)
    else:
        seen = state.tolerance.longest is not None
        verdict, reasons = "not-held", ("short" if seen else "never-in-band",)
    figures = deciding or state.tolerance.longest
    guard_mn = (uncertainty.expanded_mn if uncertainty else None) if spec.guarded else 0
    return Judgement(
        verdict,
        reasons,
        figures,
        deciding is not None,
        state.peak_mn,
        state.largest_gap_us,
        guard_mn,
        _conformance_ppb(spec, deciding, uncertainty) if deciding and uncertainty else None,
        figures.largest_gap_us + response_us if figures and response_us is not None else None,
    )


def judge(
    trace: Trace,
    spec: HoldSpecification,
    uncertainty: ScaleUncertainty | None,
    response_us: int | None = None,
    program_fault: bool = False,
) -> Judgement:
    """Judge a stored trace whole."""
    return conclude(step(begin(spec, uncertainty), trace), response_us, program_fault)


def _no_zero(spec: HoldSpecification, deciding: Span | None, zero_row: int | None, *, after: bool) -> bool:
    if spec.zero_limit_mn is None or deciding is None:
        return False
    if zero_row is None:
        return True
    return zero_row <= deciding.end_row if after else zero_row >= deciding.start_row


def _why_unproven(state: HoldState) -> str:
    if state.uncertainty is None:
        return "no-scale-check"
    return "scale-too-coarse" if state.acceptance is None else "in-doubt"


def _conformance_ppb(spec: HoldSpecification, span: Span, uncertainty: ScaleUncertainty) -> int:
    """Give the lowest conformance probability of the span's readings: it falls with distance from mid-band."""
    middle = (spec.low_mn + spec.high_mn) / 2
    worst = max(abs(span.min_mn - middle), abs(span.max_mn - middle)) + abs(uncertainty.error_un) / 1000
    return round(1e9 * conformance(middle + worst, uncertainty.standard_un / 1000, spec.low_mn, spec.high_mn))
