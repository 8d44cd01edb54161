"""What the sheet by the bench and the commands both say of a plan, in the words of the trade."""

from __future__ import annotations

from collections.abc import Callable

from station.linework.error_budget import percent
from station.linework.line_plan import LinePlan, Mark, PlannedLine, Sewing, Step

COMES_FIRST = "The maker's instructions, local rules and licensed practice come before every number here."
CAUTION = (
    "Never wrap line round a hand or finger. Pull with a handle or cleat, eyes covered, out of the line's path. Ease "
    "off, never let go."
)
MILK = (
    "Milk every trap smooth, pin it and pull it once to the marking pull before you compare it. Compare again after "
    "the tack: what the tack draws up is not the trap's."
)


# The window of a marking or comparing pull, as shares of it: common practice, as in config/holds/measure-ram-air.toml.
LOWEST_SHARE, HIGHEST_SHARE = 0.9, 1.2


def equal_pull_words(plan: LinePlan, equal_n: float) -> str:
    """Say how equal the pulls must be; where the window of the marking pull is narrower than that, say the window.

    >>> from station.linework.line_plan import make_plan
    >>> from station.settings.plan import CanopyEnd, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
    >>> line = LineSettings("A", LinkEnd(0.04, 0.16), CanopyEnd(0.2), 4.0)
    >>> plan = make_plan(PlanSettings("a.toml", "demo", 44.5, 0.01, (line,), shrinkage=ShrinkageSettings(0.06, 0.01)))
    >>> equal_pull_words(plan, 4.5), equal_pull_words(plan, 20.0)
    ('within 1.0 lbf of each other', 'both from 9.0 lbf to 12.0 lbf')
    """
    pull_n = plan.settings.pull_n
    if equal_n < (HIGHEST_SHARE - LOWEST_SHARE) * pull_n:
        return f"within {plan.said.force(equal_n)} of each other"
    return f"both from {plan.said.force(LOWEST_SHARE * pull_n)} to {plan.said.force(HIGHEST_SHARE * pull_n)}"


def running_end_words(step: Step) -> str:
    """Name the running end of a step: a line's, or that of a leg for a loop in mid-line."""
    return "the leg" if step.leg == "own piece" else f"{step.guest}'s running end"


def tack_words(sewing: Sewing, said: Callable[[float], str]) -> tuple[str, str]:
    """Give a tack's kind with its length, and its stitches."""
    return (
        f"{'bar tack' if sewing.kind == 'bar-tack' else 'zigzag'} {said(sewing.length_m)}",
        f"{sewing.stitches} stitches",
    )


def first_try_words(line: PlannedLine) -> str:
    """Say how likely a line fits at the first try; where nobody gave any error, that it is not known."""
    return percent(line.probability_in_tolerance) if line.budget_m else "not known"


def past_words(mark: Mark, reference: str, said: Callable[[float], str]) -> str:
    """Say where a mark goes against the reference's."""
    if mark.offset_m:
        return f"{said(mark.offset_m)} past the {reference}'s, toward the canopy"
    return f"level with the {reference}'s"


def from_words(mark: Mark, plan: LinePlan, said: Callable[[float], str]) -> str:
    """Say how far a mark lies from its line's lower bearing point; nothing where that is not known."""
    if mark.from_link_end_m is None:
        return ""
    joins = next(line.joins for line in plan.lines if line.name == mark.line)
    start = f"{mark.line}'s link end" if joins is None else f"where {mark.line} enters {joins}"
    return f"{said(mark.from_link_end_m)} from {start}"


def legs_words(line: PlannedLine, said: Callable[[float], str]) -> list[str]:
    """Say which legs to cut for a line's loops in mid-line."""
    return [
        f"a leg for {line.name}'s {name}: {said(length_m)}, tapered at both ends, of stock that has had its pre-stretch"
        for name, length_m in line.loop_pieces_m.items()
    ]


def plain_marks_words(plan: LinePlan, line: PlannedLine, said: Callable[[float], str]) -> list[str]:
    """Say where a line's plain marks go, made with its closing mark."""
    reference = plan.settings.reference
    return [
        "; ".join(filter(None, (f"{mark.name}: {past_words(mark, reference, said)}", from_words(mark, plan, said))))
        for mark in line.marks
    ]


def source_words(plan: LinePlan) -> str:
    """Say where the plan's shortenings come from, each source once with what it was used for.

    >>> from station.linework.line_plan import make_plan
    >>> from station.settings.plan import CanopyEnd, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
    >>> line = LineSettings("A", LinkEnd(0.04, 0.16), CanopyEnd(0.2), 4.0)
    >>> plan = PlanSettings("a.toml", "demo", 44.5, 0.0127, (line,), shrinkage=ShrinkageSettings(0.06, 0.01))
    >>> source_words(make_plan(plan))
    'Shortening: typed in.'
    """
    hosts: dict[str, dict[str, None]] = {}
    for step in plan.steps:
        hosts.setdefault(step.source, {})[step.trap] = None
    if len(hosts) == 1:
        return f"Shortening: {next(iter(hosts))}."
    return "Shortening: " + "; ".join(f"{source}, for {', '.join(traps)}" for source, traps in hosts.items()) + "."
