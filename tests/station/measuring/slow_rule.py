"""The hold's rule a second time: slow, one reading after another, written from the words of the rule alone.

It shares no code with `station.measuring.hold` and looks at plain tuples, so that the two can be compared.
"""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple


class Row(NamedTuple):
    """One reading: stamp in us, tension in mN or None, 'overload' or not, unit or None."""

    at: int
    tension: int | None
    overload: bool
    unit: str | None


class Rule(NamedTuple):
    """A specification with what is known of the scale: all in mN and us; U, u, e in mN (u and e may be fractions)."""

    low: int
    high: int
    ceiling: int
    duration: int
    max_gap: int
    zero_limit: int | None
    still_limit: int | None
    guarded: bool
    expanded: int | None
    standard: float | None
    error: float


def spans(rows: list[Row], low: int, high: int, rule: Rule) -> list[list[int]]:
    """Cut the trace into spans: lists of row numbers."""
    found: list[list[int]] = []
    for i, row in enumerate(rows):
        if row.tension is None or not low <= row.tension <= high:
            continue
        joins = bool(found) and found[-1][-1] == i - 1 and 0 < row.at - rows[i - 1].at <= rule.max_gap
        if joins and rule.still_limit is not None:
            j = i
            while j > 0 and rows[j - 1].tension == row.tension:
                j -= 1
            joins = row.at - rows[j].at <= rule.still_limit
        if joins:
            found[-1].append(i)
        else:
            found.append([i])
    return found


def first_complete(rows: list[Row], low: int, high: int, rule: Rule) -> list[int] | None:
    """Give the first span to complete, up to the reading at which its length has reached the duration."""
    done = []
    for span in spans(rows, low, high, rule):
        for n, i in enumerate(span):
            if rows[i].at - rows[span[0]].at >= rule.duration:
                done.append(span[: n + 1])
                break
    return min(done, key=lambda span: span[-1], default=None)


def phi(z: float) -> float:
    """Give the standard normal distribution function."""
    return 0.5 * (1 + math.erf(z / math.sqrt(2)))


def judge(rows: list[Row], rule: Rule) -> dict[str, object]:
    """Judge the trace: verdict, reasons and figures, as the rule words them."""
    limits = None
    if not rule.guarded:
        limits = (rule.low, rule.high)
    elif rule.expanded is not None:
        limits = (rule.low + rule.expanded, rule.high - rule.expanded)
    accepted = first_complete(rows, *limits, rule) if limits else None
    tolerated = first_complete(rows, rule.low, rule.high, rule)
    deciding = accepted or tolerated

    def zero(i: int) -> bool:
        tension = rows[i].tension
        return tension is not None and rule.zero_limit is not None and abs(tension) <= rule.zero_limit

    void = []
    if any(later.at <= earlier.at for earlier, later in itertools.pairwise(rows)):
        void.append("clock")
    if any(row.overload for row in rows):
        void.append("overload")
    if any(row.tension is not None and row.tension > rule.ceiling for row in rows):
        void.append("over-ceiling")
    if len({row.unit for row in rows if row.unit}) > 1:
        void.append("unit-changed")
    if rule.zero_limit is not None and deciding:
        if not any(zero(i) for i in range(deciding[0])):
            void.append("zero-not-seen-before")
        if not any(zero(i) for i in range(deciding[-1] + 1, len(rows))):
            void.append("zero-not-seen-after")
    inside = spans(rows, rule.low, rule.high, rule)
    if void:
        verdict, reasons = "void", void
    elif accepted:
        verdict, reasons = "held", []
    elif deciding:
        if rule.expanded is None:
            reasons = ["no-scale-check"]
        elif limits and limits[0] > limits[1]:
            reasons = ["scale-too-coarse"]
        else:
            reasons = ["in-doubt"]
        verdict = "unproven"
    else:
        verdict, reasons = "not-held", ["short" if inside else "never-in-band"]

    def length(span: list[int]) -> int:
        return rows[span[-1]].at - rows[span[0]].at

    figures = deciding
    if figures is None and inside:
        figures = max(inside, key=length)  # max gives the earliest of equals
    tensions = [rows[i].tension or 0 for i in figures] if figures else []
    gaps = [rows[j].at - rows[i].at for i, j in itertools.pairwise(figures)] if figures else []
    conformance = None
    if deciding and rule.standard:
        conformance = 1.0
        for i in deciding:
            tension = float(rows[i].tension or 0)
            toward = rule.error if abs(rule.high - tension) < abs(tension - rule.low) else -rule.error
            moved = tension + toward
            p = phi((rule.high - moved) / rule.standard) - phi((rule.low - moved) / rule.standard)
            conformance = min(conformance, p)
    every_gap = [later.at - earlier.at for earlier, later in itertools.pairwise(rows)]
    return {
        "verdict": verdict,
        "reasons": reasons,
        "held_us": length(figures) if figures else 0,
        "span_us": [rows[figures[0]].at, rows[figures[-1]].at] if figures else None,
        "min_mn": min(tensions, default=None),
        "sum_mn": sum(tensions) if figures else None,
        "count": len(tensions),
        "max_mn": max(tensions, default=None),
        "peak_mn": max((row.tension for row in rows if row.tension is not None), default=None),
        "largest_gap_us": max([0, *every_gap]),
        "largest_gap_in_span": max([0, *gaps]),
        "conformance": conformance,
    }
