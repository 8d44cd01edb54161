import math
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from station.linework.line_plan import PlanFault, adjust, make_plan
from station.settings.plan import (
    CanopyEnd,
    Joint,
    LineSettings,
    LinkEnd,
    PlanSettings,
    SewingSettings,
    ShrinkageSettings,
)
from tests.station.linework.trees import INCH, plans

MAIN = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 1 * INCH), 120 * INCH)
BRANCH = LineSettings("B", Joint("A", 48 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 75 * INCH)
PLAN = PlanSettings(
    "plan.toml",
    "p",
    44.5,
    INCH / 2,
    (MAIN, BRANCH),
    minimum_trap_m=3 * INCH,
    shrinkage=ShrinkageSettings(0.0625, 0.01),
)


def test_too_long_is_taken_in():
    """A line 3/16 in long takes in 3/16 in over 1.0625, and 5 in and that stay trapped."""
    found = adjust(make_plan(PLAN), "A", 3 / 16 * INCH)
    assert found.action == "take-in"
    assert found.move_m == pytest.approx(3 / 16 / 1.0625 * INCH, rel=1e-12)
    assert found.trap_after_m == pytest.approx((5 + 3 / 16 / 1.0625) * INCH, rel=1e-12)
    assert found.words == "take in 3/16 in; 5 3/16 in stays trapped"
    assert (found.in_tolerance, found.warnings) == (True, ())


def test_too_short_is_let_out():
    """A line 1/4 in short lets out 1/4 in over 1.0625, and less stays trapped."""
    found = adjust(PLAN, "A", -INCH / 4)
    assert found.action == "let-out"
    assert found.move_m == pytest.approx(0.25 / 1.0625 * INCH, rel=1e-12)
    assert found.trap_after_m == pytest.approx((5 - 0.25 / 1.0625) * INCH, rel=1e-12)


def test_without_a_length_nothing_below_is_checked():
    """Where the length is not known the trap may be deepened without a warning: nobody knows what lies below."""
    found = adjust(replace(PLAN, lines=(replace(MAIN, length_m=None), BRANCH)), "A", 2 * INCH)
    assert (found.action, found.warnings) == ("take-in", ())


def test_the_lower_end_is_the_bottom():
    """A take-in past a cascade's own lower end is warned about."""
    (warning,) = adjust(replace(PLAN, lines=(MAIN, replace(BRANCH, length_m=6 * INCH))), "B", 3 * INCH).warnings
    assert all(part in warning for part in ("B canopy end", "the lower end of 'B'", "6 in"))


def test_a_take_in_that_ends_just_above_the_lower_end_is_sound():
    """Where no trap lies below, a take-in may reach down to the line's own lower end, however near, without a word."""
    assert adjust(replace(PLAN, lines=(MAIN, replace(BRANCH, length_m=6 * INCH))), "B", INCH).warnings == ()


def test_what_is_trapped_now_counts():
    """After an earlier adjustment the next one starts from what is trapped now."""
    found = adjust(PLAN, "A", -INCH / 4, trapped_m=4 * INCH)
    assert found.trap_after_m == pytest.approx((4 - 0.25 / 1.0625) * INCH)


@pytest.mark.parametrize("sign", [1, -1])
def test_only_under_a_64th_is_left(sign):
    """Below 1/64 in, either way, nothing is moved; 1/64 in itself is."""
    just_under = math.nextafter(INCH / 64, 0)
    left = adjust(PLAN, "A", sign * just_under)
    assert (left.action, left.move_m, left.trap_after_m) == ("leave", 0.0, 5 * INCH)
    assert adjust(PLAN, "A", sign * INCH / 64).action != "leave"
    assert adjust(PLAN, "A", 0.0).action == "leave"
    assert left.words == "leave it: under 1/64 in; 5 in is trapped"


def test_tolerance_is_inclusive():
    """A residual of the tolerance itself is within it; a little more is not."""
    assert adjust(PLAN, "A", INCH / 2).in_tolerance
    assert adjust(PLAN, "A", -INCH / 2).in_tolerance
    assert not adjust(PLAN, "A", math.nextafter(INCH / 2, 1)).in_tolerance


def test_under_the_minimum_says_open_the_trap():
    """What would leave under the minimum is warned about with both lengths, and says what to do instead."""
    warnings = adjust(PLAN, "A", -2.5 * INCH).warnings
    assert len(warnings) == 1
    assert all(part in warnings[0] for part in ("A canopy end", "2 5/8 in", "3 in", "open the trap"))


def test_more_than_is_trapped_opens_the_trap():
    """Past the trap's own length the line only gets longer by what is drawn out: 6 - 5 x 0.0625 in for 6 in."""
    found = adjust(PLAN, "A", -6 * INCH)
    assert found.move_m == pytest.approx((6 - 0.3125) * INCH, rel=1e-12)
    assert found.trap_after_m == 0.0
    assert "opens the trap altogether" in found.warnings[0]


def test_letting_out_just_what_is_trapped_opens_the_trap():
    """Where nothing is left in the trap, the warning says that it is open, not that too little would stay."""
    found = adjust(PLAN, "B", -5 * INCH, at="joint")
    assert (found.move_m, found.trap_after_m) == (5 * INCH, 0.0)
    assert ["opens the trap altogether" in warning for warning in found.warnings] == [True]


def test_a_deeper_trap_may_not_reach_the_next_one():
    """A take-in that would run the tail into the joint below is warned about with what there is room for."""
    short = replace(PLAN, lines=(replace(MAIN, length_m=55 * INCH), BRANCH))
    assert adjust(short, "A", 0.5 * INCH).warnings == ()
    (warning,) = adjust(short, "A", 2 * INCH).warnings
    assert all(part in warning for part in ("A canopy end", "6 7/8 in", "'B into A'", "6 in"))


def test_a_tack_needs_its_trap():
    """Letting out past what the tack and its taper need is warned about."""
    tack = SewingSettings("bar-tack", 3 * INCH, 42, None, 0.0, 0.5 * INCH)
    sewn = replace(PLAN, lines=(replace(MAIN, canopy_end=CanopyEnd(5 * INCH, sewing=tack)), BRANCH))
    (warning,) = adjust(sewn, "A", -1.75 * INCH).warnings
    assert all(part in warning for part in ("A canopy end", "3 3/8 in", "3 1/2 in", "tack", "open the trap"))
    assert adjust(sewn, "A", -INCH).warnings == ()


def test_at_a_joint_both_lines_change():
    """Taking in 1/4 in at the joint shortens the branch by 1/4 in and its host by 1/4 x 0.0625 in."""
    found = adjust(PLAN, "B", INCH / 4, at="joint")
    assert found.move_m == INCH / 4
    assert found.changes_m == {"B": -INCH / 4, "A": pytest.approx(-0.25 * 0.0625 * INCH)}
    assert adjust(PLAN, "B", -INCH / 4, at="joint").changes_m["A"] == pytest.approx(0.25 * 0.0625 * INCH)


def test_unknown_lines_and_ends_are_refused():
    """A line the plan has not, a joint of a main line and a residual that is no length are refused by name."""
    with pytest.raises(PlanFault, match=r"plan\.toml: found no line 'C'; known are 'A', 'B'"):
        adjust(PLAN, "C", 0.01)
    with pytest.raises(PlanFault, match="line 'A' ends at the link"):
        adjust(PLAN, "A", 0.01, at="joint")
    with pytest.raises(PlanFault, match="residual of nan"):
        adjust(PLAN, "A", math.nan)


@settings(max_examples=40, deadline=None)
@given(plans(), st.floats(-0.1, 0.1), st.data())
def test_the_move_brings_the_line_level(plan, residual_m, data):
    """Worked on raw line, the move makes up exactly the residual: what leaves the trap, and what it gives back."""
    assume(abs(residual_m) >= INCH / 64)
    line = data.draw(st.sampled_from(plan.lines))
    found = adjust(plan, line.name, residual_m)
    k = (line.shrinkage or plan.shrinkage).coefficient
    trap_m = line.canopy_end.trap_m

    def stands_m(drawn_in_m):  # raw line up to the attachment, less what the trap swallows
        trapped_m = max(trap_m + drawn_in_m, 0.0)
        return 10.0 - drawn_in_m - k * trapped_m

    drawn_in_m = found.move_m if found.action == "take-in" else -found.move_m
    assert stands_m(drawn_in_m) - stands_m(0.0) == pytest.approx(-residual_m, abs=1e-12)
    assert found.trap_after_m == pytest.approx(max(trap_m + drawn_in_m, 0.0), abs=1e-12)
