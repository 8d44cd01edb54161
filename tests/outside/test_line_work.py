"""Line work against published values: finger-trap marks, the braid's geometry, least squares, handbook figures."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from station.linework.braid import shortening_of_braid
from station.linework.line_plan import make_plan
from station.linework.shrinkage import Trial, estimate
from station.settings.plan import (
    CanopyEnd,
    LineSettings,
    LinkEnd,
    PlanSettings,
    SewingSettings,
    ShrinkageSettings,
    load_plan,
)

INCH = 0.0254

# US Army technical manuals (public domain), finger-trap loops in coreless nylon line: marks in inches from the tapered
# end. The first two marks are brought together; the middle of the line between them lies on the link.
ARMY_MARKS = [
    ("TM 10-1670-278-23&P p. 103, upper loop of a replacement suspension line", 6, 9, 7.5),
    ("TM 10-1670-278-23&P p. 104, lower loop at the connector link", 6, 8, 7),
    ("TM 10-1670-279-23&P p. 130, retainer line loop", 4, 9, None),
]


@pytest.mark.parametrize(("source", "first", "second", "passed_through"), ARMY_MARKS)
def test_army_finger_trap_marks(source, first, second, passed_through):  # noqa: ARG001 the source names the case
    """The manuals' first two marks are ours: the trap, then trap and line in the loop, its middle on the link."""
    height = (second - first) / 2  # the line in the loop goes up and comes down
    line = LineSettings("A", LinkEnd(height * INCH, first * INCH), CanopyEnd(first * INCH), 100 * INCH)
    plan = PlanSettings("tm", "tm", 90.0, 0.01, (line,), shrinkage=ShrinkageSettings(0.0, 0.0))
    step = make_plan(plan).steps[0]
    assert [mark / INCH for mark in step.running_end_marks_m] == pytest.approx([first, second])
    if passed_through is not None:
        assert (step.trap_m + step.loop_m) / INCH == pytest.approx(passed_through)


def test_a_braid_holds_most_at_54_7356_degrees():
    """Just below the angle of greatest volume a braid is not locked, at it it is (Chou and Hannaford 1996)."""
    swelling = math.sqrt(2)
    for after, locked in ((54.7355, False), (54.7357, True)):
        before = math.asin(math.sin(math.radians(after)) / swelling)
        assert shortening_of_braid(before, 1.0).thin_tube.locked is locked


@given(st.floats(math.radians(5), math.radians(50)), st.floats(0.0, 0.4))
def test_widening_by_shortening_as_published(angle, contraction):
    """The published D = D0 sqrt(1 - (1 - k)^2 cos^2)/sin gives back the contraction (Chou and Hannaford's geometry)."""
    cosine = (1 - contraction) * math.cos(angle)
    swelling = math.sqrt(1 - cosine * cosine) / math.sin(angle)
    ratio = swelling**2 - 1
    if ratio <= 1e-9:
        return
    found = shortening_of_braid(angle, ratio).thin_tube
    if not found.locked:
        assert 1 / (1 + found.shortening) == pytest.approx(1 - contraction, rel=1e-9)


@pytest.mark.parametrize(
    ("angle", "after", "left"),
    [(15, 21.4707, 0.963433), (20, 28.9266, 0.931411), (25, 36.7034, 0.884623), (30, 45.0, 0.816497)],
)
def test_derived_table_of_a_line_in_its_like(angle, after, left):
    """A line inside an equal one, areas added: angle after and length left, as derived by hand to six figures."""
    found = shortening_of_braid(math.radians(angle), 1.0).thin_tube
    assert math.degrees(found.angle_after_rad) == pytest.approx(after, abs=1e-4)
    assert 1 / (1 + found.shortening) == pytest.approx(left, abs=1e-6)


def test_nist_noint1():
    """NIST StRD NoInt1 (a line through the origin): slope, its standard deviation and the residual's, as certified."""
    found = estimate([Trial(x, y) for x, y in zip(range(60, 71), range(130, 141), strict=True)])
    assert found.shrinkage.coefficient == pytest.approx(2.07438016528926, rel=1e-14)
    assert found.shrinkage.standard_uncertainty == pytest.approx(0.0165289256198347, rel=1e-12)
    assert found.shrinkage.scatter_m == pytest.approx(3.56753034006338, rel=1e-12)
    assert found.shrinkage.degrees_of_freedom == 10


# NIST StRD Norris, y and x.
NORRIS = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6
778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6
557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1
888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""


def test_nist_norris():
    """NIST StRD Norris has an intercept: taken from the means, slope and residual come out as certified."""
    numbers = [float(each) for each in NORRIS.split()]
    ys, xs = numbers[::2], numbers[1::2]
    assert len(xs) == 36
    mean_x, mean_y = math.fsum(xs) / 36, math.fsum(ys) / 36
    found = estimate([Trial(x - mean_x, y - mean_y) for x, y in zip(xs, ys, strict=True)]).shrinkage
    # The means took one more degree of freedom than a line through the origin counts.
    lost = math.sqrt(35 / 34)
    assert found.coefficient == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.scatter_m * lost == pytest.approx(0.884796396144373, rel=1e-10)
    assert found.standard_uncertainty * lost == pytest.approx(0.429796848199937e-3, rel=1e-10)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(16, 160), st.integers(-40, 40)), min_size=3, max_size=25),
    st.integers(0, 24),
    st.integers(-400, 400),
)
def test_suspects_by_leaving_each_trial_out(rows, which, shift):
    """A trial is suspect where, against the fit of the others, it lies beyond Student's t of the library."""
    rows = [(trap / 1000, 0.06 * trap / 1000 + error / 1e5) for trap, error in rows]
    which %= len(rows)
    rows[which] = rows[which][0], rows[which][1] + shift / 1e5
    n = len(rows)
    limit = stats.t.ppf(1 - 0.025 / n, n - 2)
    expected, unclear = [], []
    for row, (trap, shortening) in enumerate(rows, 1):
        others = [each for number, each in enumerate(rows, 1) if number != row]
        sum_tt = sum(t * t for t, _ in others)
        k = sum(t * s for t, s in others) / sum_tt
        spread = sum((s - k * t) ** 2 for t, s in others) / (n - 2)
        if spread < 1e-22:
            unclear.append(row)  # the others fit perfectly: a ratio of roundings
            continue
        studentised = abs(shortening - k * trap) / math.sqrt(spread * (1 + trap * trap / sum_tt))
        if abs(studentised - limit) < 1e-6 * limit:
            unclear.append(row)
        elif studentised > limit:
            expected.append(row)
    found = estimate([Trial(trap, shortening) for trap, shortening in rows]).suspects
    assert [row for row in found if row not in unclear] == expected


def test_spare_lengths_of_the_handbook():
    """The example's cut lengths lie by the handbook's: about 24 in over for a main line, about 18 in for a cascade.

    FAA-H-8083-17 (2005), procedure 7.1.9, steps 2.1 and 2.7. The handbook says "approximately"; ours leave 3 in.
    """
    a, b = make_plan(load_plan("config/jobs/one-cascade.toml")).lines
    assert a.cut_longer_than_old_m / INCH == pytest.approx(24, abs=3)
    assert b.cut_longer_than_old_m / INCH == pytest.approx(18, abs=3)


def test_tacks_of_the_handbook():
    """A zigzag of 3 in at 7 to 11 stitches per inch takes 21 to 33 stitches; a bar tack has the 42 it is given.

    TM 10-1670-278-23&P (zigzag 3 in long, 7 to 11 per inch); FAA-H-8083-17 (2005), 7.1.9 (1 in, 42 stitches).
    """
    counts = []
    for sewing in (
        SewingSettings("zigzag", 3 * INCH, None, 7.0),
        SewingSettings("zigzag", 3 * INCH, None, 11.0),
        SewingSettings("bar-tack", 1 * INCH, 42, None),
    ):
        line = LineSettings("A", LinkEnd(INCH, 6 * INCH, sewing=sewing), CanopyEnd(6 * INCH), 100 * INCH)
        plan = PlanSettings("p", "p", 90.0, 0.01, (line,), shrinkage=ShrinkageSettings(0.0, 0.0))
        counts.append(make_plan(plan).steps[0].sewing.stitches)
    assert counts == [21, 33, 42]


@pytest.mark.parametrize(("trap", "angle"), [(4, 17.21), (5, 15.71), (6, 14.54)])
def test_three_eighths_for_one_trap(trap, angle):
    """The 3/8 in of common practice (no source) is the first value of a 4, 5 or 6 in trap at 17.2, 15.7 or 14.5 deg."""
    found = shortening_of_braid(math.radians(angle), 1.0)
    assert found.first_value * trap == pytest.approx(3 / 8, abs=0.0005)


@pytest.mark.parametrize(("trap", "angle", "inches"), [(5, 12, 0.202), (5, 10, 0.137), (6, 18, 0.630), (3, 12, 0.121)])
def test_where_three_eighths_does_not_fit(trap, angle, inches):
    """For a braid of 12 deg or less, or one of 18 deg, the first value is nowhere near 3/8 in for one trap."""
    found = shortening_of_braid(math.radians(angle), 1.0)
    assert found.first_value * trap == pytest.approx(inches, abs=0.001)
    assert abs(found.first_value * trap - 3 / 8) > 1 / 8
