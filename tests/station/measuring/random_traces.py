"""Random traces that meet gaps, limits and durations exactly, judged by the program and by the slow rule.

Seeded and quick, so that the suite compares thousands of them and the campaign hundreds of thousands.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import numpy as np

from station.measuring.hold import Judgement, ScaleUncertainty, judge
from station.measuring.trace import STATUSES, UNITS, Trace
from station.settings.hold import HoldSpecification

sys.path.insert(0, str(Path(__file__).parent))
import slow_rule

LOW, HIGH, CEILING = 28_000, 45_000, 60_000
RESPONSE_US = 50_000
_EDGES = [LOW - 1, LOW, LOW + 1, LOW + 499, LOW + 500, LOW + 501, HIGH - 501, HIGH - 500, HIGH - 499, HIGH, HIGH + 1]
_ANY = [*_EDGES, 0, 100, 101, -100, 30_000, 30_000, 31_000, 36_500, CEILING, CEILING + 1]
_TENSIONS = [_ANY, [30_000, 30_001], _EDGES, [30_000], [*[30_000] * 8, LOW - 1], [0, 100, *[30_000] * 12], [0, -5_000]]
_GAPS = [
    [100_000, 250_000, 250_000, 250_001, 50_000, 333_333, 0, -100_000, 1_000_000],
    [100_000, 100_000, 100_000, 250_000, 50_000, 125_000],
    [100_000],
]

Rows = list[tuple[int, int, str | None, str]]


def random_rows(chance: random.Random) -> Rows:
    """Give rows of (stamp in us, tension in mN, status, unit): mostly well behaved, with edges and faults mixed in."""
    gaps, tensions = chance.choice(_GAPS), chance.choice(_TENSIONS)
    words = [None] * 8 + chance.choice([[], ["fault"], ["overload"], ["unstable", "stable"]])
    units = chance.choice([["lbf"], ["lbf"], ["lbf"], ["lbf", "N"]])
    at, rows = chance.randrange(10) * 1_000_000, []
    for _ in range(chance.randrange(45)):
        rows.append((at, chance.choice(tensions), chance.choice(words), chance.choice(units)))
        at += chance.choice(gaps)
    return rows


def random_rule(chance: random.Random) -> tuple[HoldSpecification, ScaleUncertainty | None]:
    """Give a specification and a scale's uncertainty, unknown and crossing ones included."""
    spec = HoldSpecification(
        "random",
        30_000,
        LOW,
        HIGH,
        CEILING,
        chance.choice([100_000, 500_000, 1_000_000, 2_000_000]),
        chance.choice([250_000, 250_000, 1_000_000]),
        chance.choice([None, None, 100]),
        chance.choice([None, None, 300_000, 1_000_000]),
        chance.random() < 0.7,
    )
    expanded = chance.choice([None, 0, 500, 500, 1_000, 8_500, 8_501])
    error = chance.choice([0, 0, 120_000, -120_000])
    return spec, None if expanded is None else ScaleUncertainty(expanded, expanded * 500, error)


def columns(rows: Rows) -> Trace:
    """Give rows as a trace."""
    return Trace(
        np.array([at for at, _, _, _ in rows], np.int64),
        np.array([0 if word in {"overload", "fault"} else tension for _, tension, word, _ in rows], np.int64),
        np.array([STATUSES.index(word) for _, _, word, _ in rows], np.int8),
        np.array([UNITS.index(unit) for _, _, _, unit in rows], np.int8),
    )


def slowly(rows: Rows, spec: HoldSpecification, scale: ScaleUncertainty | None) -> dict[str, object]:
    """Judge rows by the slow rule."""
    plain = [
        slow_rule.Row(at, None if word in {"overload", "fault"} else tension, word == "overload", unit)
        for at, tension, word, unit in rows
    ]
    rule = slow_rule.Rule(
        spec.low_mn,
        spec.high_mn,
        spec.ceiling_mn,
        spec.duration_us,
        spec.max_gap_us,
        spec.zero_limit_mn,
        spec.still_limit_us,
        spec.guarded,
        scale.expanded_mn if scale else None,
        scale.standard_un / 1000 if scale else None,
        abs(scale.error_un) / 1000 if scale else 0.0,
    )
    return slow_rule.judge(plain, rule)


def disagreement(rows: Rows, spec: HoldSpecification, scale: ScaleUncertainty | None) -> str | None:
    """Judge rows both ways and name the first figure in which they differ; None where they agree in all."""
    judged, slow = judge(columns(rows), spec, scale, RESPONSE_US), slowly(rows, spec, scale)
    facts = judged.facts()
    wanted = {key: slow[key] for key in facts if key in slow}
    for key, value in wanted.items():
        if facts[key] != value:
            return f"{key}: the program says {facts[key]}, the slow rule {value}"
    return _conformance(judged, slow) or _blind(judged, slow)


def _conformance(judged: Judgement, slow: dict[str, object]) -> str | None:
    expected = slow["conformance"]
    if not isinstance(expected, float):
        return None
    found = (judged.conformance or 0) / 1e9
    return None if abs(found - expected) < 2e-9 else f"conformance: {found} against {expected}"


def _blind(judged: Judgement, slow: dict[str, object]) -> str | None:
    expected = slow["largest_gap_in_span"]
    if judged.figures is None or not isinstance(expected, int):
        return None
    found = judged.blind_to_us
    return None if found == expected + RESPONSE_US else f"blind_to: {found} against {expected + RESPONSE_US}"
