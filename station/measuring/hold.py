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

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from station.measuring.hold_state import Band, HoldState, Many, One, ScaleUncertainty, Span, typed_uncertainty
from station.measuring.trace import Row, Trace
from station.measuring.uncertainty import conformance
from station.settings.hold import HoldSpecification

__all__ = [
    "RULE_VERSION",
    "VOID_REASONS",
    "HoldSpecification",
    "HoldState",
    "Judgement",
    "ScaleUncertainty",
    "Span",
    "Verdict",
    "acceptance_limits",
    "answer",
    "begin",
    "conclude",
    "judge",
    "spoilt",
    "step",
    "typed_uncertainty",
]

RULE_VERSION = 1
VOID_REASONS = (
    "clock",
    "overload",
    "over-ceiling",
    "unit-changed",
    "zero-not-seen-before",
    "zero-not-seen-after",
    "program-fault",
)

Verdict = Literal["held", "unproven", "not-held", "void"]


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


def step(state: HoldState, chunk: Trace | Row) -> HoldState:
    """Give the state after the readings of `chunk`, however many they are, or after one row."""
    count = 1 if isinstance(chunk, Row) else len(chunk)
    if count == 0:
        return state
    spec = state.spec
    rows: One | Many
    if isinstance(chunk, Row):
        rows = One(state, chunk)
    else:
        rows = One(state, chunk.row(0)) if count == 1 else Many(state, chunk)
    smallest_gap_us, largest_gap_us = rows.gaps_us
    zeros = rows.zeros() if spec.zero_limit_mn is not None else None
    peaks_mn = [peak for peak in (state.peak_mn, rows.peak_mn) if peak is not None]
    return HoldState(
        spec,
        state.uncertainty,
        _step_band(state.acceptance, spec.duration_us, rows) if state.acceptance else None,
        _step_band(state.tolerance, spec.duration_us, rows),
        state.rows + count,
        rows.last_us,
        max(state.largest_gap_us, largest_gap_us),
        max(peaks_mn, default=None),
        state.clock or smallest_gap_us <= 0,
        state.overload or rows.overload,
        state.units if rows.units <= state.units else state.units | rows.units,
        state.first_zero_row if state.first_zero_row is not None or zeros is None else zeros[0],
        state.last_zero_row if zeros is None else zeros[1],
        rows.stood_mn,
        rows.stood_since_us,
    )


def _step_band(band: Band, duration_us: int, rows: One | Many) -> Band:
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


def spoilt(state: HoldState) -> tuple[str, ...]:
    """Give the reasons for which nothing that is read from here on can save the hold from being void."""
    seen = {
        "clock": state.clock,
        "overload": state.overload,
        "over-ceiling": state.peak_mn is not None and state.peak_mn > state.spec.ceiling_mn,
        "unit-changed": len(state.units) > 1,
    }
    return tuple(reason for reason, applies in seen.items() if applies)


def conclude(state: HoldState, response_us: int | None = None, program_fault: bool = False) -> Judgement:
    """Judge what was read so far.

    `response_us` is the scale's response, None where unknown; `program_fault` says that the program failed while
    judging. Conformance probability by JCGM 106:2012, 7.2.6, at the worst reading of the deciding span.
    """
    spec, uncertainty, deciding = state.spec, state.uncertainty, state.deciding
    applies = {
        "zero-not-seen-before": _no_zero(spec, deciding, state.first_zero_row, after=False),
        "zero-not-seen-after": _no_zero(spec, deciding, state.last_zero_row, after=True),
        "program-fault": program_fault,
        **dict.fromkeys(spoilt(state), True),
    }
    void = tuple(reason for reason in VOID_REASONS if applies.get(reason))
    verdict: Verdict
    if void:
        verdict, reasons = "void", void
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
