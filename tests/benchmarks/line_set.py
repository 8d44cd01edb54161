"""How fast a line set of 48 lines is checked, and the fewest lines that mend it are found, worst cases too.

The ceiling of a check is filling as many plain dicts with its answers; that of a mending set is the check of the same
set, which is the least that could tell whether a set mends.
"""

from __future__ import annotations

import random
from fractions import Fraction
from typing import Any

from station.linework.line_set import check
from station.settings.line_table import MeasuredSide
from tests.benchmarks.measuring import best_s, figure
from tests.station.linework.line_sets import INCH, drawn

HALF = Fraction(INCH, 2)
FOUR = (12, 12, 12, 12)
# Name -> lines in each group, scatter, drift, share of lines far off, tolerance of tilt.
SETS: dict[str, tuple[tuple[int, ...], float, float, float, Fraction]] = {
    "a worn set": (FOUR, 0.2, 0.1, 0.05, HALF),
    "every line out": (FOUR, 3.0, 0.1, 1.0, HALF * 4),
    "half the lines just over": (FOUR, 0.5, 0.1, 0.0, HALF),
    "one group of 48": ((48,), 0.5, 0.1, 0.1, HALF),
    "24 groups of 2": ((2,) * 24, 0.2, 0.1, 0.05, HALF),
    "tilts out by a little": (FOUR, 0.12, 0.05, 0.0, Fraction(INCH, 64)),
    "no set mends it": (FOUR, 0.3, 1.5, 0.0, HALF),
    "adversarial: tilt of 10 um": ((24, 24), 0.12, 0.02, 0.0, Fraction(10_000)),
    "adversarial: tilt of 1 um": (FOUR, 0.12, 0.02, 0.0, Fraction(1_000)),
}
DRAWS = 5


def figures() -> list[dict[str, Any]]:
    """Measure, and give name, value, unit, what is asked, the ceiling, value over ceiling and whether it is met."""
    return [_check(), *(_mending(name) for name in SETS)]


def _drawn(name: str, seed: int) -> list[MeasuredSide]:
    per_group, scatter, drift, outliers, _ = SETS[name]
    return drawn(random.Random(seed), per_group, scatter, drift, outliers)  # noqa: S311  repeatable sets, no secret


def _check() -> dict[str, Any]:
    sides = _drawn("a worn set", 1)
    found = check(sides, HALF, HALF)
    ceiling_s = best_s(lambda: [dict(vars(each)) for each in (*found.lines, *found.groups, *found.tilts)])
    took_s = best_s(lambda: check(sides, HALF, HALF))
    return figure("a check of a line set of 48 lines", took_s, "s", 0.05, ceiling_s, more_is_better=False)


def _mending(name: str) -> dict[str, Any]:
    """Give the slowest of a few sets of a kind."""
    slowest_s, ceiling_s = 0.0, 0.0
    for seed in range(DRAWS):
        sides, tilt = _drawn(name, seed), SETS[name][4]
        took_s = best_s(lambda sides=sides, tilt=tilt: check(sides, HALF, tilt).mending, 1)
        if took_s >= slowest_s:
            slowest_s, ceiling_s = took_s, best_s(lambda sides=sides, tilt=tilt: check(sides, HALF, tilt))
    words = f"the fewest of 48 lines to remake, {name}, slowest of {DRAWS} sets"
    return figure(words, slowest_s, "s", 2.0, ceiling_s, more_is_better=False)
