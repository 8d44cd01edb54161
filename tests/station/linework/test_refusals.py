"""What nobody could make is refused, with the file, the line, the trap and both numbers."""

import re
from dataclasses import replace

import pytest

from station.linework.line_plan import PlanFault, make_plan
from station.settings.materials import MaterialSettings
from station.settings.plan import (
    CanopyEnd,
    HeightMark,
    Joint,
    LineSettings,
    LinkEnd,
    MidLoop,
    PlanSettings,
    SewingSettings,
    ShrinkageSettings,
)
from station.units import METRIC

INCH = 0.0254
MAIN = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 1 * INCH), 120 * INCH)


def branch(name="B", joins="A", at=48, trap=5, length=75, **changes):
    """Give a cascade; lengths in inches."""
    line = LineSettings(name, Joint(joins, at * INCH, trap * INCH), CanopyEnd(5 * INCH), length * INCH)
    return replace(line, **changes)


def refused(*lines, **changes):
    """Give the words with which a plan of these lines is refused."""
    plan = PlanSettings("plan.toml", "p", 44.5, INCH / 2, lines, shrinkage=ShrinkageSettings(0.0625, 0.01))
    with pytest.raises(PlanFault) as caught:
        make_plan(replace(plan, **changes))
    words = str(caught.value)
    assert words.startswith("plan.toml: ")
    return words


def has(words, *parts):
    """Check that every part is said."""
    assert [part for part in parts if part not in words] == [], words
    return True


def test_two_traps_over_the_same_stretch():
    """A joint that runs down into the link end's trap is refused with both heights."""
    assert has(refused(MAIN, branch(at=8)), "'A'", "'B into A'", "'A link end'", "3 in", "6 1/2 in", "same stretch")
    assert has(refused(MAIN, branch(), branch("C", at=50)), "'B into A'", "'C into A'", "48 in", "45 in")
    assert has(refused(MAIN, branch(at=117)), "'B into A'", "'A canopy end'", "117 in", "114 in")


def test_traps_that_only_touch_are_no_clash():
    """A trap may begin where the next one ends."""
    settings = PlanSettings(
        "plan.toml",
        "p",
        44.5,
        INCH / 2,
        (MAIN, branch(at=11.5), branch("C", at=16.5)),
        shrinkage=ShrinkageSettings(0.1),
    )
    assert len(make_plan(settings).steps) == 6


def test_a_billionth_of_a_metre_beyond_either_end_is_rounding():
    """A trap may reach past its host's top, or down past its lower end, by 1e-9 m itself; by twice that it may not."""
    host, top_m = branch(), 75 * INCH
    for at_m in (0.0, top_m + 1e-9):
        least = replace(branch("C"), link_end=Joint("B", at_m, 1e-9))
        lines = (MAIN, host, least)
        plan = PlanSettings("plan.toml", "p", 44.5, INCH / 2, lines, shrinkage=ShrinkageSettings(0.0625, 0.01))
        assert "C into B" in make_plan(plan).order
    assert has(refused(MAIN, host, replace(least, link_end=Joint("B", 0.0, 2e-9))), "'C into B' reaches down")
    assert has(refused(MAIN, host, replace(least, link_end=Joint("B", top_m + 2e-9, 1e-9))), "'C into B' reaches up")


def test_a_clash_smaller_than_a_sixteenth_is_still_told_apart():
    """Where both heights would read the same in sixteenths they are given in millimetres."""
    assert has(refused(MAIN, branch(at=11.499)), "165.100 mm", "165.075 mm")


def test_a_refusal_speaks_the_units_that_were_asked_for():
    """Asked for metric, every length of a refusal is in millimetres, whatever the refusal."""
    for lines in (
        (MAIN, branch(at=8)),
        (MAIN, branch(at=130)),
        (replace(MAIN, canopy_end=CanopyEnd(5 * INCH, minimum_trap_m=5.5 * INCH)),),
        (replace(MAIN, link_end=LinkEnd(0.0, 5 * INCH)),),
        (replace(MAIN, marks=(HeightMark("toggle", 121 * INCH),)),),
        (looped(("brake loop", 7, 1, 3, "running end")),),
        (replace(MAIN, canopy_end=CanopyEnd(5 * INCH, sewing=SewingSettings("bar-tack", 0.127, 42, None, 0.0, 0.01))),),
    ):
        plan = PlanSettings("plan.toml", "p", 44.5, INCH / 2, lines, shrinkage=ShrinkageSettings(0.0625, 0.01))
        with pytest.raises(PlanFault) as caught:
            make_plan(plan, said=METRIC)
        assert " mm" in str(caught.value)
        assert not re.search(r"\d in\b", str(caught.value))


def test_a_trap_beyond_its_host():
    """A joint above the end of its host, below its beginning, or in either loop is refused with both heights."""
    assert has(refused(MAIN, branch(at=130)), "'A'", "'B into A'", "130 in", "119 in", "below the canopy end's loop")
    assert has(refused(MAIN, branch(at=119.5)), "119 1/2 in", "119 in")
    assert has(refused(MAIN, branch(at=3)), "'B into A'", "−2 in", "1 1/2 in", "above the link end's loop")
    assert has(refused(MAIN, branch(), branch("C", joins="B", at=4)), "'B'", "'C into B'", "−1 in", "0 in")
    assert has(refused(MAIN, branch(length=4)), "'B'", "'B canopy end'", "−1 in", "0 in")


def test_a_trap_under_its_minimum():
    """A trap shorter than the plan's minimum, or than its own end's, is refused with both lengths."""
    assert has(refused(MAIN, minimum_trap_m=6 * INCH), "'A link end'", "5 in", "6 in", "minimum")
    own = replace(MAIN, canopy_end=CanopyEnd(5 * INCH, minimum_trap_m=5.5 * INCH))
    assert has(refused(own), "'A canopy end'", "5 in", "5 1/2 in")


def test_an_ends_own_minimum_outranks_the_plans():
    """A maker who says 1 in is heard where the plan says 3 in."""
    own = replace(MAIN, canopy_end=CanopyEnd(1 * INCH, minimum_trap_m=1 * INCH))
    settings = PlanSettings(
        "plan.toml", "p", 44.5, INCH / 2, (own,), shrinkage=ShrinkageSettings(0.1), minimum_trap_m=3 * INCH
    )
    assert make_plan(settings).steps[-1].minimum_trap_m == 1 * INCH


def test_a_link_loop_of_no_size():
    """A loop that goes over no link is refused, and so is a trap of no length."""
    assert has(refused(replace(MAIN, link_end=LinkEnd(0.0, 5 * INCH))), "'A'", "'A link end'", "0 in", "no size")
    assert has(refused(replace(MAIN, canopy_end=CanopyEnd(0.0))), "'A canopy end'", "0 in")


def test_a_circle_of_joins():
    """Lines that join in a circle are refused, the circle named from a line in it."""
    circle = branch("B", joins="C"), branch("C", joins="D"), branch("D", joins="B")
    assert has(refused(MAIN, *circle), "'B' to 'C' to 'D' to 'B'", "circle")
    assert has(refused(MAIN, branch("B", joins="B")), "'B' to 'B'")
    assert has(refused(MAIN, branch("E", joins="B"), *circle), "'B' to 'C' to 'D' to 'B'")


def test_an_unknown_host():
    """A line that joins no line of the plan is refused with the nearest name."""
    assert has(refused(replace(MAIN, name="centre A"), branch(joins="center A")), "'B'", "'center A'", "'centre A'")


def test_two_lines_of_one_name():
    """Every line needs a name of its own, and so does every trap."""
    assert has(refused(MAIN, MAIN), "'A'")
    odd = replace(MAIN, name="A into B"), replace(MAIN, name="B into C"), replace(MAIN, name="C")
    lines = *odd, branch("A", joins="B into C"), branch("A into B", joins="C")
    assert has(refused(*lines[1:]), "'A into B into C'")


def test_a_tack_that_reaches_into_the_taper():
    """A tack must end before the taper begins: both distances from the entry are given."""
    tack = SewingSettings("bar-tack", 4.75 * INCH, 42, None, 0.0, 0.5 * INCH)
    sewn = replace(MAIN, canopy_end=CanopyEnd(5 * INCH, sewing=tack))
    assert has(refused(sewn), "'A canopy end'", "4 3/4 in", "4 1/2 in", "taper")
    folded = replace(looped(("a", 6.5, 1, 5, "running end")), link_end=LinkEnd(1.5 * INCH, 5 * INCH, sewing=tack))
    plan = PlanSettings("p", "p", 44.5, INCH / 2, (folded,), shrinkage=ShrinkageSettings(0.1))
    assert make_plan(plan).steps[0].sewing.taper_m == 0.0  # there it comes out again, and has no taper
    moved = replace(tack, length_m=4 * INCH, from_entry_m=1 * INCH)
    assert has(refused(replace(MAIN, canopy_end=CanopyEnd(5 * INCH, sewing=moved))), "5 in", "4 1/2 in")


def looped(*loops, **changes):
    """Give the main line with loops in mid-line: name, height, loop and trap in inches, and what makes the leg."""
    made = (MidLoop(name, at * INCH, loop * INCH, trap * INCH, leg) for name, at, loop, trap, leg in loops)
    return replace(MAIN, loops=tuple(made), **changes)


def test_a_loop_in_mid_line_that_nobody_could_make():
    """A loop of no size, over a trap, beyond the line, or whose leg does not come out there, is refused by numbers."""
    own = "own piece"
    assert has(refused(looped(("brake loop", 40, 0, 3, own))), "'A'", "'brake loop'", "0 in", "no size")
    assert has(refused(looped(("brake loop", 48, 1, 3, own)), branch(at=50)), "'B into A'", "48 in", "45 in", "stretch")
    assert has(
        refused(looped(("brake loop", 42, 4, 1, own)), branch()), "loop 'brake loop'", "46 in", "43 in", "itself"
    )
    assert has(refused(looped(("brake loop", 130, 1, 3, own))), "'A brake loop below'", "130 in", "119 in")
    assert has(refused(looped(("brake loop", 40, 1, 0, own))), "'A brake loop below'", "0 in")
    assert has(refused(looped(("a", 40, 1, 3, own), ("a", 60, 1, 3, own))), "'A a below'")
    assert has(refused(looped(("a", 40, 1, 3, own)), minimum_trap_m=4 * INCH), "'A a below'", "3 in", "4 in", "minimum")
    out = refused(looped(("brake loop", 7, 1, 3, "running end")))
    assert has(out, "'A'", "'brake loop'", "'A link end'", "6 1/2 in", "7 in", "meet")
    joined = replace(branch(), loops=(MidLoop("a", 20 * INCH, INCH, 3 * INCH, "running end"),))
    assert has(refused(MAIN, joined), "'B'", "'a'", "inside 'A'", "own piece")


def test_a_mark_beyond_its_line():
    """A plain mark past the end of its line is refused with both heights, and so are two of one name."""
    marked = replace(MAIN, marks=(HeightMark("toggle", 121 * INCH),))
    assert has(refused(marked), "'A'", "'toggle'", "121 in", "120 in")
    twice = replace(MAIN, marks=(HeightMark("toggle", 20 * INCH), HeightMark("toggle", 21 * INCH)))
    assert has(refused(twice), "'A'", "'toggle'", "a name of its own")


def test_no_shortening_known():
    """Without any source of shortening nothing can be marked, and the plan says what to give."""
    assert has(refused(MAIN, shrinkage=None), "'A'", "'A link end'", "no shortening is known", "trials")


def material(**figures):
    """Give a material of which nothing is known but these figures."""
    nothing = dict.fromkeys(
        (
            "rated_strength_n",
            "line_mass_kg_per_m",
            "fibre_density_kg_per_m3",
            "fibre_modulus_n_per_tex",
            "stiffness_n",
            "braid_angle_rad",
            "carriers",
            "picks_per_m",
            "flat_width_m",
        )
    )
    return MaterialSettings("stock", "HMPE", sources={}, assumed=(), **{**nothing, **figures})


def test_a_locked_braid():
    """A braid that locks before it can swell around its guest has no first value: make trials."""
    locked = ShrinkageSettings(material=material(braid_angle_rad=0.5236))
    assert has(refused(MAIN, shrinkage=locked), "'A'", "'A link end'", "'stock'", "30.0 deg", "1.83", "trials")


def test_a_material_without_braid_angle():
    """A material that gives no braid angle gives no shortening."""
    assert has(refused(MAIN, shrinkage=ShrinkageSettings(material=material())), "'stock'", "no braid angle")
