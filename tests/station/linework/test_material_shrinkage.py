"""Shortening that comes from a material, from trials, or from both, in a plan."""

from dataclasses import replace

import pytest

from station.linework.braid import shortening_of_braid
from station.linework.line_plan import make_plan
from station.linework.shrinkage import FirstValue, estimate
from station.settings.materials import material_named
from station.settings.plan import (
    CanopyEnd,
    Joint,
    LineSettings,
    LinkEnd,
    PlanSettings,
    SewingSettings,
    ShrinkageSettings,
)
from station.settings.trials import Trial

INCH = 0.0254
HMPE, POLYESTER = material_named("HMPE 725"), material_named("polyester 600")
MAIN = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 120 * INCH)
BRANCH = LineSettings("B", Joint("A", 48 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 75 * INCH)
TRIALS = tuple(Trial(t * INCH, 0.06 * t * INCH + e) for t, e in ((5, 2e-4), (6, -3e-4), (4, 1e-4), (5, 1e-4)))


def planned(shrinkage, *lines, **changes):
    """Work out a plan of these lines."""
    return make_plan(replace(PlanSettings("p", "p", 44.5, INCH / 2, lines, shrinkage=shrinkage), **changes))


def test_a_materials_first_value_is_a_model():
    """From a material alone the shortening is its braid's first value, and a warning calls it a model."""
    plan = planned(ShrinkageSettings(material=HMPE), MAIN)
    braid = shortening_of_braid(HMPE.braid_angle_rad, 1.0)
    step = plan.steps[0]
    assert step.shortening_m == pytest.approx(braid.first_value * 5 * INCH)
    low, high = step.shortening_95_m
    assert (high - low) / 2 == pytest.approx(
        2.7764451052 * ((INCH / 32) ** 2 + (braid.standard_uncertainty * 5 * INCH) ** 2) ** 0.5
    )
    assert any("a model" in warning for warning in plan.warnings)
    assert any("stiffness of A is assumed" in warning for warning in plan.warnings)


def test_a_thicker_guest_shortens_its_host_more():
    """Around a guest of another material the area ratio of the two decides; in its like it is 1."""
    plan = planned(None, replace(MAIN, material=HMPE), replace(BRANCH, material=POLYESTER))
    steps = {step.trap: step.shortening_m / step.trap_m for step in plan.steps}
    ratio = POLYESTER.solid_area_m2 / HMPE.solid_area_m2
    assert ratio > 1.5
    assert steps["B into A"] == pytest.approx(shortening_of_braid(HMPE.braid_angle_rad, ratio).first_value)
    assert steps["A link end"] == pytest.approx(shortening_of_braid(HMPE.braid_angle_rad, 1.0).first_value)
    assert steps["B canopy end"] == pytest.approx(shortening_of_braid(POLYESTER.braid_angle_rad, 1.0).first_value)


def test_a_guest_of_unknown_thickness_is_named():
    """Where nobody knows how thick the guest is it is taken to be its host's like, and a warning names the joint."""
    thin = replace(POLYESTER, line_mass_kg_per_m=None)
    for guest in (replace(BRANCH, material=thin), replace(BRANCH, shrinkage=ShrinkageSettings(0.06, 0.01))):
        plan = planned(None, replace(MAIN, material=HMPE), guest)
        joint = next(step for step in plan.steps if step.end == "joint")
        assert joint.shortening_m == plan.steps[0].shortening_m
        assert any(warning.startswith("B into A: how thick") for warning in plan.warnings)
    known = planned(None, replace(MAIN, material=HMPE), replace(BRANCH, material=POLYESTER))
    assert not any("how thick" in warning for warning in known.warnings)
    alike = planned(ShrinkageSettings(material=thin), MAIN, BRANCH)
    assert not any("how thick" in warning for warning in alike.warnings)
    typed = planned(None, replace(MAIN, material=HMPE, shrinkage=ShrinkageSettings(0.06, 0.01)), guest)
    assert not any("how thick" in warning for warning in typed.warnings)


def test_trials_of_different_lots_are_warned_of():
    """Trials of more than one lot or guest counted together are named; of one they are not."""
    mixed = (replace(TRIALS[0], lot="L1"), *TRIALS[1:])
    for lines in ((MAIN,), (replace(MAIN, shrinkage=ShrinkageSettings(trials=mixed)),)):
        shrinkage = ShrinkageSettings(trials=mixed if lines[0] is MAIN else TRIALS)
        assert any("different lots" in warning for warning in planned(shrinkage, *lines).warnings)
    assert not any("different lots" in warning for warning in planned(ShrinkageSettings(trials=TRIALS), MAIN).warnings)


def test_trials_alone():
    """From trials alone k is least squares', the interval Student's, and the scatter adds per trap in the budget."""
    plan = planned(ShrinkageSettings(trials=TRIALS), MAIN, mark_uncertainty_m=0.0)
    known = estimate(TRIALS).shrinkage
    step, line = plan.steps[0], plan.lines[0]
    assert step.shortening_m == pytest.approx(known.coefficient * 5 * INCH)
    assert step.shortening_95_m == pytest.approx(known.allowance_95_m(5 * INCH))
    u, scatter = known.standard_uncertainty, known.scatter_m
    assert line.standard_uncertainty_m == pytest.approx(((u * 5 * INCH) ** 2 + scatter**2) ** 0.5)
    assert line.standard_uncertainty_closed_first_m == pytest.approx(((u * 10 * INCH) ** 2 + 2 * scatter**2) ** 0.5)
    assert not any("a model" in warning for warning in plan.warnings)


def test_trials_upon_a_material():
    """Trials sharpen the material's first value, and lines that name the same material share them."""
    plan = planned(ShrinkageSettings(material=HMPE, trials=TRIALS), replace(MAIN, material=HMPE))
    braid = shortening_of_braid(HMPE.braid_angle_rad, 1.0)
    known = estimate(TRIALS, FirstValue(braid.first_value, braid.standard_uncertainty)).shrinkage
    assert plan.steps[0].shortening_m == pytest.approx(known.coefficient * 5 * INCH)


def test_one_trial_gives_no_interval():
    """One trial alone gives a shortening without interval, and its uncertainty is left out and named."""
    plan = planned(ShrinkageSettings(trials=TRIALS[:1]), MAIN)
    assert plan.steps[0].shortening_95_m is None
    assert "shortening" not in plan.lines[0].budget_m
    assert any("how sure the shortening of A is" in warning for warning in plan.warnings)
    assert not any("few trials" in warning for warning in plan.warnings)


def test_the_nearer_source_wins():
    """A trap's own shortening outranks its line's, a line's own its material's, and that the plan's."""
    typed = [ShrinkageSettings(k, 0.01) for k in (0.01, 0.02, 0.03)]

    def k_of(line):
        return planned(typed[0], line).steps[0].shortening_m / (5 * INCH)

    assert k_of(MAIN) == pytest.approx(0.01)
    assert k_of(replace(MAIN, material=HMPE)) == pytest.approx(
        shortening_of_braid(HMPE.braid_angle_rad, 1.0).first_value
    )
    assert k_of(replace(MAIN, material=HMPE, shrinkage=typed[1])) == pytest.approx(0.02)
    own = replace(MAIN.link_end, shrinkage=typed[2])
    assert k_of(replace(MAIN, shrinkage=typed[1], link_end=own)) == pytest.approx(0.03)


def test_errors_of_one_source_add_before_they_are_squared():
    """Traps that share a k share its error; a trap with a shortening of its own errs on its own."""
    shared = planned(ShrinkageSettings(0.06, 0.01), MAIN).lines[0]
    assert shared.standard_uncertainty_closed_first_m == pytest.approx(0.01 * 10 * INCH)
    own = replace(MAIN, link_end=replace(MAIN.link_end, shrinkage=ShrinkageSettings(0.06, 0.01)))
    apart = planned(ShrinkageSettings(0.06, 0.01), own).lines[0]
    assert apart.standard_uncertainty_closed_first_m == pytest.approx(0.01 * 5 * INCH * 2**0.5)


def test_the_taper_is_the_materials_flat_width_unless_told():
    """Without a taper the tack must stay clear of the material's flat width."""
    tack = SewingSettings("bar-tack", 1 * INCH, 42, None)
    sewn = replace(MAIN, link_end=replace(MAIN.link_end, sewing=tack))
    assert planned(ShrinkageSettings(material=HMPE), sewn).steps[0].sewing.taper_m == HMPE.flat_width_m
    assert planned(ShrinkageSettings(0.06, 0.01), sewn).steps[0].sewing.taper_m == 0.0
