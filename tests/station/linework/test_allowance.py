"""Which trials speak of a trap: by host material, lot and guest."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.linework.braid import braid_angle_rad, shortening_of_braid
from station.linework.line_plan import PlanFault, make_plan
from station.linework.shrinkage import FirstValue, doubts_of, estimate, first_value_of, impossible_words
from station.settings.materials import material_named
from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
from station.settings.trials import Trial
from tests.station.linework.trees import INCH

HMPE, POLYESTER, LCP = material_named("HMPE 725"), material_named("polyester 600"), material_named("LCP 1000")
MAIN = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 120 * INCH)
BRANCH = LineSettings("B", Joint("A", 48 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 75 * INCH)

# Each kind of trial has a shortening of its own, so that what was counted can be told from the result.
KINDS = {
    ("", "L1", ""): 0.050,
    ("", "L2", ""): 0.060,
    ("", "L1", "polyester 600"): 0.090,
    ("HMPE 725", "L1", ""): 0.055,
    ("LCP 1000", "L1", ""): 0.070,
}


def trials(*kinds, error_m=2e-5):
    """Give ten trials of each kind, of five lengths, that scatter evenly about the kind's shortening."""
    return tuple(
        Trial(trap * INCH, KINDS[kind] * trap * INCH + sign * error_m, kind[1], kind[2], kind[0])
        for kind in kinds
        for trap in (3, 4, 5, 6, 7)
        for sign in (1, -1)
    )


def planned(shrinkage, *lines):
    """Work out a plan of these lines."""
    return make_plan(PlanSettings("p.toml", "p", 44.5, INCH / 2, lines, shrinkage=shrinkage))


def allowed(plan):
    """Give each trap's shortening per unit of its length, rounded past the scatter, with the words for its source."""
    return {step.trap: (round(step.shortening_m / step.trap_m, 4), step.source) for step in plan.steps}


LIKE = trials(("", "L1", ""), ("", "L2", ""))


@pytest.mark.parametrize(("lot", "k"), [("L1", 0.05), ("L2", 0.06)])
def test_a_lines_lot_chooses_its_trials(lot, k):
    """A line that names its lot is allowed for by the trials of that lot alone, and each trap says so."""
    plan = planned(ShrinkageSettings(trials=LIKE, trials_file="shop.csv"), replace(MAIN, lot=lot))
    assert set(allowed(plan).values()) == {(k, f"10 trials of lot {lot} in shop.csv")}
    assert not any("different lots" in warning for warning in plan.warnings)


def test_without_a_lot_every_trial_counts_and_the_mixture_is_named():
    """A line that names no lot is allowed for by all, and the plan warns of it with the kinds there are."""
    plan = planned(ShrinkageSettings(trials=LIKE), MAIN)
    assert set(allowed(plan).values()) == {(0.055, "20 trials")}
    (warning,) = (each for each in plan.warnings if "different lots" in each)
    assert "lot L1 around its like; lot L2 around its like" in warning


def test_lines_of_two_lots_in_one_plan():
    """Each line of a plan takes the trials of its own lot, and their errors are apart."""
    plan = planned(ShrinkageSettings(trials=LIKE), replace(MAIN, lot="L1"), replace(BRANCH, lot="L2"))
    assert {name: k for name, (k, _) in allowed(plan).items()} == {
        "A link end": 0.05,
        "B into A": 0.05,  # the host is what gets shorter
        "B canopy end": 0.06,
        "A canopy end": 0.05,
    }


def test_a_joint_takes_the_trials_around_its_guest():
    """Around a guest of another material only trials around that material count; around its like, only those."""
    plan = planned(
        ShrinkageSettings(trials=trials(("", "L1", ""), ("", "L1", "polyester 600"))),
        replace(MAIN, material=HMPE),
        replace(BRANCH, material=POLYESTER),
    )
    found = allowed(plan)
    model = "upon a model of the braid of HMPE 725"
    assert found["B into A"][1] == f"10 trials around polyester 600, {model}"
    assert found["A link end"][1] == f"10 trials, {model}"
    assert found["B into A"][0] > 0.08
    assert found["A link end"][0] < 0.06


def test_trials_that_name_their_host():
    """A trial that names its host's material speaks of that material alone."""
    every = trials(("HMPE 725", "L1", ""), ("LCP 1000", "L1", ""))
    lines = replace(MAIN, material=HMPE), replace(BRANCH, link_end=LinkEnd(INCH, 5 * INCH), material=LCP)
    found = allowed(planned(ShrinkageSettings(trials=every), *lines))
    assert found["A link end"][1] == "10 trials of HMPE 725, upon a model of the braid of HMPE 725"
    assert found["B link end"][1] == "10 trials of LCP 1000, upon a model of the braid of LCP 1000"
    assert found["A link end"][0] < 0.06 < found["B link end"][0]


def test_the_plans_own_trials_are_not_those_of_another_material():
    """Trials that name no material are of the material the plan names, and not of a line's other one."""
    plan = planned(
        ShrinkageSettings(trials=LIKE, material=HMPE),
        MAIN,
        replace(BRANCH, link_end=LinkEnd(INCH, 5 * INCH), material=LCP),
    )
    found = allowed(plan)
    assert found["A link end"][1].startswith("20 trials, upon")
    assert found["B link end"] == (round(first_value_of(LCP).coefficient, 4), "a model of the braid of LCP 1000")
    assert [warning for warning in plan.warnings if warning.startswith("B link end: none of the 20 trials")]


def test_where_no_trial_speaks_the_model_stands_in_and_it_is_said():
    """A lot nobody has tried falls back on the material's model, with a warning that names what was found."""
    plan = planned(ShrinkageSettings(trials=LIKE, material=HMPE), replace(MAIN, lot="L9"))
    assert set(allowed(plan).values()) == {
        (round(first_value_of(HMPE).coefficient, 4), "a model of the braid of HMPE 725")
    }
    (warning,) = (each for each in plan.warnings if "none of the 20 trials" in each)
    assert all(part in warning for part in ("A link end", "of lot L9", "lot L1 around its like", "stands in"))


def test_a_first_value_is_called_a_model_and_no_other_source_is() -> None:
    """A plan whose shortening comes from the braid's angle asks for trials; one that rests on trials does not."""
    asked = "worked out from the braid's angle, a model: make trials on scrap of the same lot first"
    by_angle = planned(ShrinkageSettings(), replace(MAIN, material=HMPE))
    by_trials = planned(ShrinkageSettings(trials=LIKE, trials_file="shop.csv"), replace(MAIN, lot="L1"))
    assert any(asked in warning for warning in by_angle.warnings)
    assert not any(asked in warning for warning in by_trials.warnings)


def test_where_nothing_speaks_the_plan_is_refused():
    """Without a model a lot nobody has tried is refused with line, trap, lot and what was found."""
    with pytest.raises(PlanFault) as caught:
        planned(ShrinkageSettings(trials=LIKE), replace(MAIN, lot="L9"))
    parts = ("p.toml: line 'A', trap 'A link end'", "none of the 20 trials is of lot L9", "lot L2", "make trials")
    assert [part for part in parts if part not in str(caught.value)] == []
    with pytest.raises(PlanFault, match="'A link end': there is no trial yet; make trials"):
        planned(ShrinkageSettings(), MAIN)
    around = trials(("", "L1", "polyester 600"))
    with pytest.raises(PlanFault, match="none of the 10 trials is around its like; found lot L1 around polyester 600"):
        planned(ShrinkageSettings(trials=around, material=replace(HMPE, braid_angle_rad=None)), MAIN)


def test_trials_that_all_name_a_guest_speak_of_a_line_without_a_name():
    """Where neither plan nor line names a material, trials that all name one guest are taken for its like's."""
    around = trials(("", "L1", "polyester 600"))
    assert set(allowed(planned(ShrinkageSettings(trials=around), MAIN)).values()) == {(0.09, "10 trials")}


def test_a_guest_of_no_known_material_is_named():
    """A joint whose guest's material is not known takes the trials of its host's like, and the plan says so."""
    settings = ShrinkageSettings(trials=trials(("", "L1", ""), ("", "L1", "polyester 600")))
    plan = planned(settings, replace(MAIN, material=HMPE), BRANCH)
    assert allowed(plan)["B into A"][1].startswith("10 trials, upon")
    assert any(warning.startswith("B into A: how thick the guest is") for warning in plan.warnings)


def test_a_guest_with_a_name_in_a_host_without_one():
    """Trials around a guest that is named are found even where the host has no name."""
    every = trials(("", "L1", ""), ("", "L1", "polyester 600"))
    found = allowed(planned(ShrinkageSettings(trials=every), MAIN, replace(BRANCH, material=POLYESTER)))
    assert found["B into A"] == (0.09, "10 trials around polyester 600")
    assert found["A link end"] == (0.05, "10 trials")


def test_a_trial_that_is_off_is_named_by_its_row():
    """A plan names the rows of its trials that look wrong, and counts them."""
    rows = [replace(trial, row=number) for number, trial in enumerate(LIKE, 1)]
    rows[12] = replace(rows[12], shortening_m=rows[12].shortening_m + 2e-3)
    plan = planned(ShrinkageSettings(trials=tuple(rows), trials_file="shop.csv"), replace(MAIN, lot="L2"))
    assert [w for w in plan.warnings if "trial 13 in shop.csv is far from the others, and still counted" in w]
    assert plan.steps[0].shortening_m == pytest.approx(estimate(rows[10:]).shrinkage.allowance_m(5 * INCH))


def test_few_trials_are_said_to_be_few():
    """From one degree of freedom up to eight the plan says that its probability is rather lower; from eight on not."""

    def few(n):
        plan = planned(ShrinkageSettings(trials=LIKE[:n]), MAIN)
        return any("rests on few trials" in warning for warning in plan.warnings)

    assert [few(2), few(3), few(8), few(9)] == [True, True, True, False]


def test_errors_of_different_trials_do_not_add_before_they_are_squared():
    """Traps allowed for by the same trials err together; by different ones, apart; scatter always adds trap by trap."""

    def known(*kinds):
        return estimate(trials(*kinds)).shrinkage

    first, second = ("", "L1", ""), ("", "L2", "")
    main = replace(MAIN, lot="L1")
    together = planned(ShrinkageSettings(trials=LIKE), main).lines[0]
    one = known(first)
    assert together.budget_m == {
        "shortening": pytest.approx(one.standard_uncertainty * 5 * INCH),
        "scatter": pytest.approx(one.scatter_m),
    }
    assert together.standard_uncertainty_closed_first_m == pytest.approx(
        math.hypot(one.standard_uncertainty * 10 * INCH, one.scatter_m, one.scatter_m)
    )
    two = known(second)

    def with_own(own):
        link_end = LinkEnd(1.5 * INCH, 5 * INCH, shrinkage=ShrinkageSettings(trials=own))
        return planned(ShrinkageSettings(trials=LIKE), replace(MAIN, lot="L2", link_end=link_end)).lines[0]

    same, others = with_own(trials(second)), with_own(trials(second)[::-1])
    assert same.standard_uncertainty_closed_first_m == pytest.approx(
        math.hypot(two.standard_uncertainty * 10 * INCH, two.scatter_m, two.scatter_m)
    )
    assert others.standard_uncertainty_closed_first_m == pytest.approx(
        math.hypot(
            two.standard_uncertainty * 5 * INCH, two.standard_uncertainty * 5 * INCH, two.scatter_m, two.scatter_m
        )
    )


def test_the_angle_from_what_can_be_seen_of_a_material():
    """A material without a braid angle gives its first value from flat width, picks and carriers, and none without."""
    seen = replace(HMPE, braid_angle_rad=None, flat_width_m=0.0025, picks_per_m=10 / INCH, carriers=16)
    braid = shortening_of_braid(braid_angle_rad(0.0025, 10 / INCH, 16))
    assert first_value_of(seen) == FirstValue(braid.first_value, braid.standard_uncertainty)
    assert first_value_of(replace(seen, picks_per_m=None)) is None


@given(st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=4, unique=True), st.sampled_from(["", "L1", "L2"]))
def test_a_trap_never_counts_a_trial_of_another_kind(kinds, lot):
    """Whatever trials a plan names, those counted are of the line's lot, its material and its like."""
    line = replace(MAIN, lot=lot, material=HMPE)
    plan = planned(ShrinkageSettings(trials=trials(*kinds)), line)
    right = [
        kind for kind in kinds if kind[0] in {"", "HMPE 725"} and lot in {"", kind[1]} and kind[2] in {"", "HMPE 725"}
    ]
    first = first_value_of(HMPE)
    expected = estimate(trials(*right), first).shrinkage.coefficient
    assert plan.steps[0].shortening_m / plan.steps[0].trap_m == pytest.approx(expected, rel=1e-12)


def test_trials_without_scatter_are_questioned():
    """Trials that agree to the last digit are counted, and the warnings question them."""
    (warning,) = (each for each in made_of(*[(5, 5 / 16)] * 4).warnings if "agree to the last digit" in each)
    assert warning.startswith("4 trials: they agree")


def made_of(*pairs):
    """Give a plan made by trials of so many inches."""
    rows = tuple(Trial(trap * INCH, shortening * INCH) for trap, shortening in pairs)
    return make_plan(PlanSettings("p.toml", "p", 44.5, INCH / 2, (MAIN,), shrinkage=ShrinkageSettings(trials=rows)))


def test_a_shortening_of_a_whole_trap_is_questioned_where_it_is_only_told():
    """The estimate itself is given, as least squares has it, with a doubt: a slip of the pen is likelier."""
    (doubt,) = doubts_of(estimate([Trial(5 * INCH, 6 * INCH), Trial(5 * INCH, 5 * INCH)]))
    assert "by all its length" in doubt
    assert doubts_of(estimate([Trial(5 * INCH, 0.3 * INCH), Trial(5 * INCH, 0.4 * INCH)])) == []


@pytest.mark.parametrize(
    ("shortening", "said"), [(-1 / 8, "lengthened its host"), (5, "by all its length"), (7, "by all its length")]
)
def test_a_plan_refuses_a_trial_that_no_trap_makes(shortening, said):
    """One such trial among good ones is no plan: line, trap, row and what is wrong with it are named."""
    with pytest.raises(PlanFault, match=f"line 'A', trap 'A link end': trial 2 cannot be right: it .*{said}"):
        made_of((5, 5 / 16), (5, shortening), (6, 3 / 8))


def test_a_plan_takes_a_trial_that_the_tape_alone_makes_negative():
    """A sixteenth of an inch below nothing may be the reading's and counts, as long as no host grows by them all."""
    assert made_of((5, 5 / 16), (5, -1 / 16)).steps[0].shortening_m == pytest.approx(INCH / 8)
    with pytest.raises(PlanFault, match=r"from 2 trials the shortening comes out as -0\.0062 of the trap"):
        made_of((5, -1 / 16), (5, 0))


def test_rows_that_no_trap_makes_are_named():
    """Each such row is named by its number, of many the first four."""
    assert impossible_words([Trial(1, 0.06), Trial(1, 0.07)]) == ""
    assert impossible_words([Trial(1, 0.06), Trial(1, 1, row=7)]).startswith("row 7 cannot be right")
    assert impossible_words([Trial(1, 2)] * 6).startswith("rows 1, 2, 3, 4 and 2 more cannot")
