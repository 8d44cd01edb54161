import itertools
import random
import statistics
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.linework.line_set import MOST_LINES, check
from station.linework.set_words import tilt_words
from station.settings.line_table import MeasuredSide
from tests.station.linework.line_sets import INCH, drawn, slow_fewest, slow_in_trim, slow_remade

HALF = Fraction(INCH, 2)


def keyed(sides):
    """Give lengths and charts by line and side."""
    lengths = {(side.line, side.side): side.length_nm for side in sides}
    return lengths, {(side.line, side.side): side.chart_nm for side in sides}


def agrees(sides, tolerance, tilt):
    """Compare a set's verdict and fewest remakes with the slow ones, and give the mending."""
    found = check(sides, tolerance, tilt)
    lengths, charts = keyed(sides)
    assert found.in_trim == slow_in_trim(lengths, charts, tolerance, tilt)
    fewest = slow_fewest(sides, tolerance, tilt)
    remake = found.mending.remake
    assert (None if remake is None else len(remake)) == fewest
    if remake is None:
        assert found.mending.why_none
    else:
        keys = [(side.line, side.side) for side in remake]
        assert slow_in_trim(slow_remade(lengths, charts, keys), charts, tolerance, tilt)
    return found


@pytest.mark.parametrize("seed", range(60))
def test_the_smallest_set_is_that_of_trying_every_set(seed):
    """On small sets, with scatter and tilt about the tolerance, no smaller set mends, and the one named does."""
    chance = random.Random(seed)  # noqa: S311  repeatable sets, no secret
    per_group = chance.choice([(5,), (2, 3), (3, 2), (1, 2, 2), (2, 2), (1, 1, 1, 1)])
    sides = drawn(chance, per_group, chance.choice([0.1, 0.25, 0.5, 1.0]), chance.choice([0.1, 0.4, 0.7]))
    agrees(sides, HALF, chance.choice([HALF, HALF / 4, HALF / 50]))


numbers = st.integers(-6, 6)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(numbers, numbers, st.sampled_from([0, 0, 0, 3])), min_size=1, max_size=4),
    st.integers(1, 4),
    st.integers(1, 3),
    st.sampled_from([5, 4, 2, 1]),
)
def test_small_whole_numbers_agree_too(errors, tolerance, tilt, first):
    """With small whole numbers, where limits are met exactly, verdict and smallest set are those of the slow rule."""
    sides = []
    for number, (left, right, apart) in enumerate(errors):
        line = f"{'A' if number < first else 'B'}{number}"
        sides += [MeasuredSide(line, "L", 100 + apart + left, 100 + apart), MeasuredSide(line, "R", 100 + right, 100)]
    agrees(sides, Fraction(tolerance), Fraction(tilt))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(numbers, numbers, st.booleans()), min_size=1, max_size=4), st.integers(1, 4))
def test_lines_without_a_chart_go_by_their_opposite_number(errors, tolerance):
    """A line without a chart is mended by one side, whatever its group's charted lines need."""
    sides = []
    for number, (left, right, charted) in enumerate(errors):
        chart = 100 if charted else None
        sides += [
            MeasuredSide(f"A{number}", "L", 100 + left, chart),
            MeasuredSide(f"A{number}", "R", 100 + right, chart),
        ]
    agrees(sides, Fraction(tolerance), Fraction(3))


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("per_group", [(12, 12, 12, 12), (48,), (2,) * 24])
def test_what_is_remade_and_measured_again_is_in_trim(per_group, seed):
    """Of 48 lines the named ones, remade to the lengths given, leave a set in trim; with one fewer it is not."""
    chance = random.Random(seed)  # noqa: S311  repeatable sets, no secret
    scatter = chance.choice([0.1, 0.25, 0.4, 1.0])
    sides = drawn(chance, per_group, scatter, 0.1, chance.choice([0.0, 0.2]))
    found = check(sides, HALF, HALF * 2)
    remake = found.mending.remake
    if remake is None:
        assert found.mending.why_none
        return
    assert check(found.remade(remake), HALF + 2, HALF * 2 + 2).in_trim  # 2 nm: lengths made are whole nanometres
    for left_out in itertools.islice(remake, 6):
        assert not check(found.remade(set(remake) - {left_out}), HALF, HALF * 2).in_trim


def test_a_remade_line_gets_chart_and_its_groups_mean_error():
    """A line far off is remade to its chart length and what its group has drifted, itself counted."""
    sides = [MeasuredSide(f"A{n}", side, (100 + 2) * INCH, 100 * INCH) for n in range(4) for side in ("L", "R")]
    sides[3] = MeasuredSide("A1", "R", 110 * INCH, 100 * INCH)
    found = check(sides, HALF * 4, HALF)
    assert [side.name for side in found.mending.remake] == ["A1 R"]
    assert found.target_nm(sides[3]) == (100 + Fraction(7 * 2 + 10, 8)) * INCH


def test_exactly_at_the_tolerance_is_within_it():
    """A difference and a tilt of just the tolerance are in trim; one nanometre more is not."""

    def pair(line, left, right, chart=None):
        return [MeasuredSide(line, "L", left, chart), MeasuredSide(line, "R", right, chart)]

    assert check(pair("A1", 100 * INCH + INCH // 2, 100 * INCH), HALF, HALF).in_trim
    assert not check(pair("A1", 100 * INCH + INCH // 2 + 1, 100 * INCH), HALF, HALF).in_trim
    tilted = pair("A1", 101 * INCH, 101 * INCH, 101 * INCH) + pair("B1", 100 * INCH, 100 * INCH, 100 * INCH + INCH // 2)
    assert check(tilted, HALF, HALF).in_trim
    assert not check(tilted, HALF, HALF - 1).in_trim


def test_a_line_measured_on_one_side_is_not_known_to_be_good():
    """Without its opposite number a line has no difference, the set is not in trim, and no set is offered."""
    sides = [
        MeasuredSide("A1", "L", 100 * INCH),
        MeasuredSide("A2", "L", 100 * INCH),
        MeasuredSide("A2", "R", 100 * INCH),
    ]
    found = check(sides, HALF, HALF)
    assert not found.in_trim
    assert found.lines[0].difference_nm is None
    assert found.lines[0].flags == ("no right",)
    assert found.out_of_tolerance == ()
    assert found.mending.remake is None
    assert "A1" in found.mending.why_none


def test_a_tilt_that_no_remaking_mends_is_said():
    """Where two groups have drifted apart as one, every line remade keeps the tilt: none is offered, and why."""
    sides = [
        MeasuredSide(f"{group}{n}", side, 100 * INCH + error, 100 * INCH)
        for group, error in (("A", INCH), ("B", 0))
        for n in (1, 2)
        for side in ("L", "R")
    ]
    found = check(sides, HALF, HALF)
    assert found.mending.remake is None
    assert "A against B" in found.mending.why_none
    apart = [MeasuredSide("A1", "L", 102 * INCH, 102 * INCH), MeasuredSide("A1", "R", 100 * INCH, 100 * INCH)]
    assert "the chart itself" in check(apart, HALF, HALF).mending.why_none


def test_a_tilt_is_said_as_one_group_against_the_next():
    """It is said which group stands long or short against which, and what is out never reads as the tolerance."""
    for tilt_nm, said in (
        (0, "A is level with B"),
        (-INCH // 4, "A is 1/4 in short against B"),
        (INCH // 2, "A is 1/2 in long against B"),
        (INCH // 2 + 1, "A is over 1/2 in long against B, out of tolerance"),
        (-INCH, "A is 1 in short against B, out of tolerance"),
    ):
        lengths = {"A1": 100 * INCH + tilt_nm, "B1": 100 * INCH}
        sides = [MeasuredSide(line, side, lengths[line], 100 * INCH) for line in lengths for side in ("L", "R")]
        (tilt,) = check(sides, HALF, HALF).tilts
        assert tilt_words(tilt, HALF) == said


def test_groups_tilt_to_the_next_in_the_order_they_appear():
    """Tilts stand between neighbours in the table's order, and none over a group without a chart."""

    def lines(group, error, chart=True):
        chart_nm = 100 * INCH if chart else None
        return [MeasuredSide(f"{group}1", side, 100 * INCH + error, chart_nm) for side in ("L", "R")]

    found = check(lines("C", 3) + lines("A", 1) + lines("B", 0, chart=False) + lines("D", 5), HALF, HALF)
    assert [(tilt.first, tilt.second, tilt.tilt_nm) for tilt in found.tilts] == [("C", "A", 2)]
    assert [group.mean_error_nm for group in found.groups] == [3, 1, None, 5]


def test_mean_and_scatter_are_those_of_the_statistics_module():
    """A group's mean error and scatter agree with the library's mean and standard deviation."""
    sides = drawn(random.Random(3), (6, 5))  # noqa: S311  repeatable, no secret
    for group in check(sides, HALF, HALF).groups:
        errors = [side.length_nm - side.chart_nm for side in sides if side.line[0] == group.group]
        assert group.mean_error_nm == pytest.approx(statistics.fmean(errors))
        assert group.scatter_nm == pytest.approx(statistics.stdev(errors))


def test_the_same_table_gives_the_same_set():
    """A set in which many smallest sets would do names the same one each time."""
    sides = drawn(random.Random(9), (12, 12, 12, 12), 0.3)  # noqa: S311  repeatable, no secret
    names = [side.name for side in check(sides, HALF, HALF * 2).mending.remake or ()]
    assert names
    assert names == [side.name for side in check(list(sides), HALF, HALF * 2).mending.remake]


def test_what_cannot_be_a_set_is_refused():
    """A tolerance of no size, a side twice, a chart on one side: a ValueError; too many lines: no set, and why."""
    one = MeasuredSide("A1", "L", 100 * INCH)
    for sides, tolerance in (([one], Fraction(0)), ([one, one], HALF), ([one, MeasuredSide("A1", "R", 1, 1)], HALF)):
        with pytest.raises(ValueError, match="found"):
            check(sides, tolerance, HALF)
    many = drawn(random.Random(1), (MOST_LINES + 1,), 1.0)  # noqa: S311  repeatable, no secret
    assert f"at most {MOST_LINES}" in check(many, HALF, HALF).mending.why_none
