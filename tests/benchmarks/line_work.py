"""How fast a plan and an estimate are worked out, and how true the stated probability is: measured against asked.

Each figure stands beside its ceiling, measured in the same run: what the same machine needs for the least that could
be called the same work. A ratio of 1 would be that ceiling.
"""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np

from simulators.line_work import compare_m, work
from station.distributions import normal_quantile
from station.linework.line_plan import make_plan
from station.linework.shrinkage import Trial, estimate
from station.settings.plan import PlanSettings, ShrinkageSettings
from tests.benchmarks.measuring import best_s, figure
from tests.station.linework.test_line_plan import many_lines, one_cascade
from tests.station.linework.trees import INCH, described

LINES, TRIALS, DRAWS = 500, 100_000, 20_000


def figures() -> list[dict[str, Any]]:
    """Measure, and give name, value, unit, what is asked, the ceiling, value over ceiling and whether it is met."""
    return [
        *(_plan(shape) for shape in ("many on one", "each on the last")),
        _estimate(),
        *_first_tries(),
    ]


def _plan(shape: str) -> dict[str, Any]:
    """Time a plan of 500 lines against filling as many plain dicts with the same answers."""
    settings: PlanSettings = many_lines(LINES, shape)
    answers = make_plan(settings)

    def filled() -> list[dict[str, Any]]:
        return [dict(vars(each)) for each in (*answers.steps, *answers.lines)]

    took_s = best_s(lambda: make_plan(settings))
    return figure(f"a plan of {LINES} lines, {shape}", took_s, "s", 1.0, best_s(filled), more_is_better=False)


def _estimate() -> dict[str, Any]:
    """Time an estimate, suspects and all, against least squares of the same data in numpy, arrays made from it."""
    chance = random.Random(7)  # noqa: S311  repeatable data, no secret
    traps_m = [chance.uniform(0.05, 0.2) for _ in range(TRIALS)]
    trials = [Trial(trap_m, 0.06 * trap_m + chance.gauss(0, 5e-4)) for trap_m in traps_m]

    def least_squares() -> Any:
        x = np.array([each.trap_m for each in trials])
        y = np.array([each.shortening_m for each in trials])
        return np.linalg.lstsq(x[:, None], y, rcond=None)

    assert math.isclose(least_squares()[0][0], estimate(trials).shrinkage.coefficient, rel_tol=1e-12)
    took_s = best_s(lambda: estimate(trials))
    return figure(f"an estimate from {TRIALS} trials", took_s, "s", 1.0, best_s(least_squares), more_is_better=False)


def _first_tries() -> list[dict[str, Any]]:
    """Work 20 000 first tries with drawn errors, and give how far the share in tolerance is from the one stated.

    The ceiling is one standard deviation of such a share, which is what the number of draws alone makes uncertain.
    """
    tolerance_m, k, k_error = INCH / 16, 0.0625, 0.012
    plan = make_plan(one_cascade(tolerance_m=tolerance_m, shrinkage=ShrinkageSettings(k, k_error)))
    lengths_m = {line.name: line.length_m for line in plan.lines if line.length_m is not None}
    cuts, steps = described(plan)
    others_m = {
        line.name: math.hypot(*(term_m for term, term_m in line.budget_m.items() if term != "shortening"))
        for line in plan.lines
    }
    chance = random.Random(2206)  # noqa: S311  repeatable draws, no secret
    within = dict.fromkeys(lengths_m, 0)
    for _ in range(DRAWS):
        drawn_k = chance.gauss(k, k_error)
        errors_m = {name: chance.gauss(0, others_m[name]) for name in lengths_m}
        pieces, _made = work(cuts, steps, lambda _trap, k=drawn_k: k, errors_m)
        for name, difference_m in compare_m(pieces, lengths_m).items():
            within[name] += abs(difference_m) <= tolerance_m
    found = []
    for line in plan.lines:
        p = line.probability_in_tolerance
        deviation = math.sqrt(p * (1 - p) / DRAWS)
        name = f"{DRAWS} first tries worked, line {line.name}: share in tolerance off the stated {p:.4f}"
        asked = normal_quantile(1 - 0.001 / 4) * deviation  # of both lines of a true plan, 1 in 1000 would fail
        found.append(
            figure(name, abs(within[line.name] / DRAWS - p), "of all tries", asked, deviation, more_is_better=False)
        )
    return found
