"""The fewest lines to remake against a general solver of mixed-integer programs: scipy's `milp` (HiGHS)."""

import random
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from station.linework.line_set import check
from tests.station.linework.line_sets import INCH, drawn

HALF = Fraction(INCH, 2)


def fewest_by_solver(sides, tolerance_nm, tilt_nm):
    """Give the fewest remakes by the general solver, the rule written as linear constraints; None where there are none.

    In millimetres. x is 1 for a remade side. The error afterwards is e (1 - x) + m x, linear in x, and so are means,
    differences and tilts. It is asked with tolerances a little wider and a little narrower than ours as well: where all
    three agree, no constraint lies so near its limit that the solver's floating point could decide.
    """
    e = np.array([(side.length_nm - side.chart_nm) / 1e6 for side in sides])
    chart = np.array([side.chart_nm / 1e6 for side in sides])
    groups = [side.line[0] for side in sides]
    order = list(dict.fromkeys(groups))
    n = len(sides)
    share = np.array([[(group == each) / groups.count(each) for group in groups] for each in order])
    m = share @ e
    own = np.array([order.index(group) for group in groups])
    move = np.diag(m[own] - e)  # error afterwards = e + move @ x
    mean_move = share @ move
    counts = set()
    for slack in (-1e-5, 0.0, 1e-5):
        tolerance, tilt = float(tolerance_nm) / 1e6 + slack, float(tilt_nm) / 1e6 + slack
        rows, lows, highs = [], [], []

        def add(row, at, limit, rows=rows, lows=lows, highs=highs):
            rows.append(row)
            lows.append(-limit - at)
            highs.append(limit - at)

        for i in range(n):
            add(move[i] - mean_move[own[i]], e[i] - m[own[i]], tolerance)
        for i in range(0, n, 2):
            add(move[i] - move[i + 1], e[i] + chart[i] - e[i + 1] - chart[i + 1], tolerance)
        for a in range(len(order) - 1):
            add(mean_move[a] - mean_move[a + 1], m[a] - m[a + 1], tilt)
        found = milp(
            np.ones(n),
            integrality=np.ones(n),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(np.array(rows), lows, highs),
        )
        assert found.status in (0, 2), found.message
        counts.add(None if found.status == 2 else round(found.fun))
    return counts


@pytest.mark.parametrize("seed", range(30))
def test_the_solver_finds_no_fewer_and_no_more(seed):
    """On random sets of 48 lines, drifted, scattered and with lines far off, the solver's number is ours."""
    chance = random.Random(seed)  # noqa: S311  repeatable sets, no secret
    per_group = chance.choice([(12, 12, 12, 12), (24, 24), (48,), (16, 16, 16), (10, 14, 14, 10)])
    sides = drawn(
        chance, per_group, chance.choice([0.15, 0.3, 0.5, 0.9]), chance.choice([0.1, 0.3]), chance.choice([0, 0.1])
    )
    tilt = HALF * chance.choice([1, 2])
    remake = check(sides, HALF, tilt).mending.remake
    counts = fewest_by_solver(sides, HALF, tilt)
    assert (None if remake is None else len(remake)) in counts
    assert len(counts) == 1
