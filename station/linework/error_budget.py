"""How sure a finished length is at the first try, and what a plan leaves unsaid.

The budget of one line: the shortenings still to come at its closing mark, the mark itself, the eye that compares, and
the stretch that a difference of the two comparing pulls makes. Traps that share a k share its error, so their lengths
add before they are squared; the scatter of trials adds trap by trap, and is what no further trial takes away. A term
without its data is left out, and named.

>>> round(probability_within(2.0, 1.0), 4), probability_within(0.01, 0.0)
(0.9545, 1.0)
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence

from station.distributions import normal_cdf
from station.linework.allowance import area_ratio, material_of
from station.linework.traps import LineTree, Trap
from station.settings.plan import LineSettings, PlanSettings
from station.units import Said, factor

# A stiffness below this is questioned: softer than any line we know of, and likelier a slip of the pen.
_SOFT_N = 1000 * float(factor("lbf", "force"))
# Below this many degrees of freedom an uncertainty is too small by a seventh and more, and the probability too high.
FEW_DEGREES = 8
_NAMES_IN_A_WARNING = 6


def budget_terms_m(tree: LineTree, line: LineSettings, to_come: Sequence[Trap]) -> dict[str, float]:
    """Give the standard uncertainty of each term that has its data, in metres, by its name.

    `to_come` are the traps on the line not yet made at its closing mark. The stretch is length x difference / EA.
    """
    settings = tree.settings
    shared_m: defaultdict[str, float] = defaultdict(float)
    scatter_m: list[float] = []
    for trap in to_come:
        if trap.shrinkage.standard_uncertainty is not None:
            shared_m[trap.shrinkage.group] += trap.shrinkage.standard_uncertainty * trap.trap_m
            scatter_m.append(trap.shrinkage.scatter_m or 0.0)
    terms: dict[str, float] = {}
    if shared_m:
        terms["shortening"] = math.hypot(*shared_m.values())
    if any(scatter_m):
        terms["scatter"] = math.hypot(*scatter_m)
    if settings.mark_uncertainty_m is not None:
        terms["mark"] = settings.mark_uncertainty_m
    if settings.eye_uncertainty_m is not None:
        terms["eye"] = settings.eye_uncertainty_m
    stiff_n = stiffness_n(settings, line)
    if settings.comparing_uncertainty_n is not None and stiff_n is not None and line.length_m is not None:
        terms["comparing"] = line.length_m * settings.comparing_uncertainty_n / stiff_n
    return terms


def probability_within(tolerance_m: float, uncertainty_m: float) -> float:
    """Give the probability that a normal error stays within the tolerance: 2 Phi(tolerance/u) - 1."""
    return 1.0 if uncertainty_m == 0 else 2 * normal_cdf(tolerance_m / uncertainty_m) - 1


def best_improvement(tolerance_m: float, terms_m: Mapping[str, float]) -> tuple[str, float] | None:
    """Give the term that it would help most to be rid of, and the probability then; None where nothing would help.

    The scatter of single traps is no such term: no trial takes it away.

    >>> term, probability = best_improvement(1.0, {"shortening": 0.6, "scatter": 2.0, "mark": 0.3})
    >>> term, round(probability, 4)
    ('shortening', 0.379)
    >>> best_improvement(1.0, {"mark": 0.0, "scatter": 2.0}) is None
    True
    """
    found = max((term for term in terms_m if term != "scatter"), key=lambda term: terms_m[term], default=None)
    if found is None or not terms_m[found] > 0:
        return None
    left_m = math.hypot(*(term_m for term, term_m in terms_m.items() if term != found))
    return found, probability_within(tolerance_m, left_m)


def percent(probability: float) -> str:
    """Write a probability, and never as certain or impossible.

    >>> percent(0.8164), percent(1.0), percent(0.0001), percent(0.989), percent(0.995)
    ('82 %', 'over 99.9 %', 'under 0.1 %', '99 %', '99.5 %')
    >>> percent(0.999), percent(0.001), percent(0.01)
    ('99.9 %', '0.1 %', '1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    hundred = 100 * probability
    return f"{hundred:.0f} %" if 1 <= hundred <= 99 else f"{hundred:.1f} %"


def stiffness_n(settings: PlanSettings, line: LineSettings) -> float | None:
    """Give a line's EA, the pull per unit strain: its own, else its material's, else None."""
    if line.stiffness_n is not None:
        return line.stiffness_n
    material = material_of(settings, line)
    return material.stiffness_n if material is not None else None


def warnings_of(tree: LineTree, said: Said) -> list[str]:
    """Name every term left out for want of data, whatever is assumed, and whatever looks odd."""
    settings = tree.settings
    left_out = [
        f"{key} is not given: the error of {what} is left out of every line's budget"
        for value, key, what in (
            (settings.mark_uncertainty_m, "mark_uncertainty", "the marks"),
            (settings.eye_uncertainty_m, "eye_uncertainty", "the eye"),
            (settings.comparing_uncertainty_n, "comparing_uncertainty", "the comparing pulls"),
        )
        if value is None
    ]
    return [
        *left_out,
        *_about_shortening(tree),
        *_about_guests(tree),
        *tree.doubts,
        *_about_lengths(tree, said),
        *_about_stiffness(tree, said),
    ]


def _about_shortening(tree: LineTree) -> list[str]:
    traps = [trap for on_line in tree.on_host.values() for trap in on_line]
    warnings: list[str] = []
    if unsure := [trap.host for trap in traps if trap.shrinkage.standard_uncertainty is None]:
        warnings.append(f"how sure the shortening of {_names(unsure)} is, is not given: left out of the budget")
    if modelled := [trap.host for trap in traps if trap.shrinkage.origin == "model"]:
        warnings.append(
            f"the shortening of {_names(modelled)} is worked out from the braid's angle, a model: make trials on scrap "
            "of the same lot first"
        )
    if few := [
        trap.host
        for trap in traps
        if 0 < trap.shrinkage.degrees_of_freedom < FEW_DEGREES and trap.shrinkage.origin == "trials"
    ]:
        warnings.append(
            f"the shortening of {_names(few)} rests on few trials: how sure it is, is itself not sure, and the "
            "probability is rather lower than said; make more"
        )
    return warnings


def _about_guests(tree: LineTree) -> list[str]:
    """Name the joints whose guest is taken to be its host's like for want of data."""
    unknown: list[str] = []
    for trap in tree.lower_traps.values():
        host = material_of(tree.settings, tree.lines[trap.host])
        guest = material_of(tree.settings, tree.lines[trap.guest])
        if trap.end != "joint" or trap.shrinkage.origin == "typed" or host is None:
            continue
        if guest is None or (trap.shrinkage.origin == "model" and area_ratio(host, guest) is None):
            unknown.append(trap.name)
    if not unknown:
        return []
    return [f"{_names(unknown)}: how thick the guest is beside its host is not known; taken to be its like"]


def _about_lengths(tree: LineTree, said: Said) -> list[str]:
    warnings: list[str] = []
    if no_length := [line.name for line in tree.settings.lines if line.length_m is None]:
        warnings.append(
            f"length is not given for {_names(no_length)}: marks are offsets alone, there is no cut length, and that "
            "the canopy end's trap lies clear of the others is yours to check"
        )
    both = [line for line in tree.settings.lines if line.canopy_end.loop_m and line.canopy_end.knot_m]
    warnings.extend(
        f"line {line.name!r}: its canopy end has a loop and a knot; the running-end mark of the entry leaves out the "
        f"{said.length(line.canopy_end.knot_m)} in the knot, so make that mark when the knot is dressed"
        for line in both
    )
    return warnings


def _about_stiffness(tree: LineTree, said: Said) -> list[str]:
    settings = tree.settings
    warnings: list[str] = []
    stiffnesses_n = {line.name: stiffness_n(settings, line) for line in settings.lines}
    if unknown := [name for name, stiff_n in stiffnesses_n.items() if stiff_n is None]:
        warnings.append(
            f"stiffness is not given for {_names(unknown)}: how equal the pulls must be is not known, and their error "
            "is left out of the budget"
        )
    assumed: defaultdict[str, list[str]] = defaultdict(list)
    for line in settings.lines:
        material = material_of(settings, line)
        if line.stiffness_n is None and material is not None and "stiffness" in material.assumed:
            assumed[material.name].append(line.name)
    warnings.extend(
        f"the stiffness of {_names(names)} is assumed, from the material {material!r}"
        for material, names in assumed.items()
    )
    warnings.extend(
        f"line {name!r}: found a stiffness of {said.force(stiff_n)}, under {said.force(_SOFT_N, 0)}; expected the "
        "pull that would stretch the line to twice its length, were it to hold"
        for name, stiff_n in stiffnesses_n.items()
        if stiff_n is not None and stiff_n < _SOFT_N
    )
    return warnings


def _names(names: Sequence[str]) -> str:
    different = list(dict.fromkeys(names))
    if len(different) > _NAMES_IN_A_WARNING:
        shown = _NAMES_IN_A_WARNING - 1
        return f"{', '.join(different[:shown])} and {len(different) - shown} more lines"
    return ", ".join(different)
