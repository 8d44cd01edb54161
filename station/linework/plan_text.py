"""A plan in rows of text: what to cut, the order of work with every mark, how equal the pulls must be, what to mind.

A row that begins a group or stands alone begins at the edge; the others are indented, twice where they belong
to a step.
"""

from __future__ import annotations

from collections.abc import Callable

from station.linework.error_budget import percent
from station.linework.line_plan import LinePlan, Mark, Step
from station.linework.plan_words import (
    CAUTION,
    COMES_FIRST,
    MILK,
    equal_pull_words,
    first_try_words,
    from_words,
    legs_words,
    past_words,
    plain_marks_words,
    running_end_words,
    source_words,
    tack_words,
)

_IMPROVEMENTS = {
    "shortening": "trials of the shortening",
    "mark": "finer marks",
    "eye": "a finer eye for level",
    "comparing": "more equal pulls",
}


def marks_text(plan: LinePlan) -> str:
    """Give a plan as a rigger reads it.

    >>> from station.linework.line_plan import make_plan
    >>> from station.settings.plan import CanopyEnd, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
    >>> line = LineSettings("A", LinkEnd(0.0254, 0.127), CanopyEnd(0.127), 3.048)
    >>> known = ShrinkageSettings(0.06, 0.01)
    >>> text = marks_text(make_plan(PlanSettings("a.toml", "demo", 44.5, 0.0127, (line,), shrinkage=known)))
    >>> text.splitlines()[3:5]
    ['Cut', '  A: 131 5/8 in, 11 5/8 in longer than the old one']
    """
    said, pulled = plan.said.length, plan.said.force
    settings = plan.settings
    rows = [
        settings.name,
        f"matched to the {settings.reference}; pull {pulled(settings.pull_n)} while marking and comparing; "
        f"tolerance {said(settings.tolerance_m)}",
        "",
        "Cut",
    ]
    for line in plan.lines:
        longer = f"{said(line.cut_longer_than_old_m)} longer than the old one"
        rows.append(f"  {line.name}: {longer if line.cut_length_m is None else f'{said(line.cut_length_m)}, {longer}'}")
        rows += [f"  {leg}" for leg in legs_words(line, said)]
    rows += ["", "Work in this order"]
    for number, step in enumerate(plan.steps, 1):
        rows += _step_rows(number, step, plan, said)
    rows += ["", "Compare under equal pull"]
    for line in plan.lines:
        equal_n = line.equal_pull_n
        pull = "how equal is not known" if equal_n is None else f"pulls {equal_pull_words(plan, equal_n)}"
        better = ""
        if line.largest_improvement is not None and line.probability_improved is not None:
            now, most = percent(line.probability_in_tolerance), percent(line.probability_improved)
            better = f"; {_IMPROVEMENTS[line.largest_improvement]} would help most"
            better += f", to {most} at best" if most != now else ""
        rows.append(
            f"  {line.name}: {pull}; within {said(settings.tolerance_m)} at the first try "
            f"{first_try_words(line)}{better}"
        )
    rows += ["", plan.why_this_order, source_words(plan)]
    rows += [f"Mind: {warning}." for warning in plan.warnings]
    return "\n".join([*rows, MILK, CAUTION, COMES_FIRST])


def _step_rows(number: int, step: Step, plan: LinePlan, said: Callable[[float], str]) -> list[str]:
    def placed(mark: Mark) -> str:
        parts = past_words(mark, plan.settings.reference, said), from_words(mark, plan, said)
        return "; ".join(filter(None, parts))

    line = next(line for line in plan.lines if line.name == step.host)
    guest, running_end = step.guest if step.leg is None else running_end_words(step), running_end_words(step)
    interval_m = step.shortening_95_m
    unsure = interval_m is not None and interval_m[0] != interval_m[1]
    span = f" ({said(interval_m[0])} to {said(interval_m[1])})" if interval_m is not None and unsure else ""
    entry, end = step.marks
    trap_m, loop_entry_m = step.running_end_marks_m
    rows = [f"{number}. {step.trap}: trap {said(step.trap_m)}; {step.host} shortens by {said(step.shortening_m)}{span}"]
    if step.end == "canopy end":
        rows.append(
            f"leave {step.host} {f'{said(line.leave_long_m)} long' if line.leave_long_m else 'level'}, then trap"
        )
    rows += [f"{guest} enters {placed(entry)}", f"the trap ends {placed(end)}"]
    if step.beyond_m:
        rows.append("there the running end comes out again, for the loop")
    if loop_entry_m is None:
        rows.append(f"{running_end}: mark {said(trap_m)} from the free end; bring it to the entry")
    else:
        rows.append(
            f"{running_end}: mark {said(trap_m)} and {said(loop_entry_m)} from the free end; bring them together at "
            f"the entry, the middle on the {'link' if step.end == 'link end' else 'attachment'}"
        )
    if step.end == "canopy end":
        rows += [f"mark {mark}" for mark in plain_marks_words(plan, line, said)]
    if step.sewing is not None:
        start = f"{said(step.sewing.from_entry_m)} from the entry" if step.sewing.from_entry_m else "close to the entry"
        rows.append(f"{', '.join(tack_words(step.sewing, said))}, {start}")
    return [f"  {rows[0]}", *(f"     {row}" for row in rows[1:])]
