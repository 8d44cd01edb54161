"""What `marks`, `adjust`, `shrinkage`, `braid` answer: as JSON's keys and, but for the marks, as a rigger reads it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from station.linework.braid import BraidShortening, Packing
from station.linework.line_plan import LEAVE_BELOW_SAID, Adjustment, LinePlan, Mark, PlannedLine, Step
from station.linework.plan_words import COMES_FIRST
from station.linework.shrinkage import Estimate, share_text
from station.linework.trial_plot import scatter_words
from station.units import LengthSystem, factor, length_text

_INCH_M = float(factor("in", "length"))


def marks_answer(plan: LinePlan) -> dict[str, Any]:
    """Give a plan as `marks --json` prints it."""
    return {
        "plan": plan.settings.name,
        "reference": plan.settings.reference,
        "order": list(plan.order),
        "why_this_order": plan.why_this_order,
        "steps": [_step_answer(step) for step in plan.steps],
        "lines": [_line_answer(line) for line in plan.lines],
        "warnings": list(plan.warnings),
    }


def _step_answer(step: Step) -> dict[str, Any]:
    sewing = step.sewing
    return {
        "trap": step.trap,
        "end": step.end,
        "host": step.host,
        "guest": step.guest,
        "trap_m": step.trap_m,
        "loop_m": step.loop_m,
        "knot_m": step.knot_m,
        "leg": step.leg,
        "shortening_m": step.shortening_m,
        "shortening_95_m": None if step.shortening_95_m is None else list(step.shortening_95_m),
        "source": step.source,
        "marks": [_mark_answer(mark) for mark in step.marks],
        "running_end_marks_m": list(step.running_end_marks_m),
        "sewing": None
        if sewing is None
        else {
            "kind": sewing.kind,
            "from_entry_m": sewing.from_entry_m,
            "length_m": sewing.length_m,
            "stitches": sewing.stitches,
        },
    }


def _mark_answer(mark: Mark) -> dict[str, Any]:
    return {
        "name": mark.name,
        "line": mark.line,
        "offset_m": mark.offset_m,
        "from_link_end_m": mark.from_link_end_m,
    }


def _line_answer(line: PlannedLine) -> dict[str, Any]:
    return {
        "name": line.name,
        "joins": line.joins,
        "length_m": line.length_m,
        "cut_length_m": line.cut_length_m,
        "cut_longer_than_old_m": line.cut_longer_than_old_m,
        "leave_long_m": line.leave_long_m,
        "standard_uncertainty_m": line.standard_uncertainty_m,
        "standard_uncertainty_closed_first_m": line.standard_uncertainty_closed_first_m,
        "budget_m": dict(line.budget_m),
        "probability_in_tolerance": line.probability_in_tolerance,
        "largest_improvement": line.largest_improvement,
        "probability_improved": line.probability_improved,
        "equal_pull_n": line.equal_pull_n,
        "loop_pieces_m": dict(line.loop_pieces_m),
        "marks": [_mark_answer(mark) for mark in line.marks],
    }


def adjust_answer(found: Adjustment) -> dict[str, Any]:
    """Give an adjustment as `adjust --json` prints it."""
    return {
        "line": found.line,
        "action": found.action,
        "move_m": found.move_m,
        "trap_after_m": found.trap_after_m,
        "changes_m": dict(found.changes_m),
        "in_tolerance": found.in_tolerance,
        "warnings": list(found.warnings),
    }


def adjust_text(found: Adjustment, residual_m: float) -> str:
    """Give an adjustment as a rigger reads it."""
    said = found.said.length
    opened = found.trap_after_m <= 0
    if residual_m == 0:
        rows = [f"{found.line} is level: leave it"]
    else:
        size = f"{found.line} is {said(abs(residual_m))} {'long' if residual_m > 0 else 'short'}"
        if found.action == "leave":
            rows = [f"{size}, under {LEAVE_BELOW_SAID[found.said.system]}: leave it"]
        elif found.action == "take-in":
            rows = [f"{size}: take in {said(found.move_m)}, drawing the running end down, into the trap"]
        elif opened:
            rows = [f"{size}: that is more than the trap can give; make the end anew, or replace the line"]
        else:
            rows = [f"{size}: let out {said(found.move_m)}, drawing the running end up, out of the trap"]
    if not opened:
        rows.append(f"{said(found.trap_after_m)} stays trapped")
    rows += [
        f"{name} gets {said(abs(change_m))} {'longer' if change_m > 0 else 'shorter'} with it"
        for name, change_m in found.changes_m.items()
        if name != found.line and not opened
    ]
    if not found.in_tolerance:
        rows.append("as it is, it is out of tolerance")
    rows += [f"Mind: {warning}." for warning in found.warnings]
    if found.action != "leave" and not opened:
        rows.append("Then ease off, pull again, compare again.")
    rows.append(COMES_FIRST)
    return "\n".join(rows)


def shrinkage_answer(found: Estimate, trap_m: float | None, warnings: Sequence[str]) -> dict[str, Any]:
    """Give an estimate as `shrinkage --json` prints it."""
    known = found.shrinkage
    answer: dict[str, Any] = {
        "coefficient": known.coefficient,
        "standard_uncertainty": known.standard_uncertainty,
        "degrees_of_freedom": known.degrees_of_freedom,
        "residual_sd_m": known.scatter_m,
        "n": found.n,
        "suspects": list(found.suspects),
        "more_trials": found.more_trials,
        "warnings": list(warnings),
    }
    if trap_m is not None:
        interval_m = known.allowance_95_m(trap_m)
        answer["allowance_m"] = known.allowance_m(trap_m)
        answer["allowance_95_m"] = None if interval_m is None else list(interval_m)
    return answer


def shrinkage_text(
    found: Estimate, trap_m: float | None, warnings: Sequence[str], system: LengthSystem = "imperial"
) -> str:
    """Give an estimate as a rigger reads it."""

    def said(length_m: float) -> str:
        return length_text(length_m, system, 32)

    known = found.shrinkage
    trials = "no trials yet: a model of the braid" if found.n == 0 else f"{found.n} trial{'s' if found.n > 1 else ''}"
    unsure = (
        "how sure is not known"
        if known.standard_uncertainty is None
        else f"give or take {share_text(known.standard_uncertainty)}"
    )
    rows = [f"{trials}: a trap shortens its host by {share_text(known.coefficient)} of its length, {unsure}"]
    if known.scatter_m is not None:
        rows.append(scatter_words(known, system) + (" (standard deviation)" if known.scatter_m else ""))
    if trap_m is not None:
        interval_m = known.allowance_95_m(trap_m)
        span = (
            ""
            if interval_m is None
            else f"; 95 of 100 such traps fall in {said(interval_m[0])} to {said(interval_m[1])}"
        )
        rows.append(f"allow {said(known.allowance_m(trap_m))} for a trap of {said(trap_m)}{span}")
    if found.suspects:
        rows.append(f"look again at row {', '.join(map(str, found.suspects))}: far from the others, and still counted")
    such = "such a trap" if trap_m is None else "that trap"
    if found.more_trials is not None:
        many = f"{found.more_trials} more such trial{'s' if found.more_trials != 1 else ''}"
        rows.append(f"{many} would halve the interval of {such}")
    elif found.n > 1:
        rows.append(f"no number of such trials would halve the interval of {such}: what is left is its scatter")
    rows += [f"Mind: {warning}." for warning in warnings]
    rows.append(COMES_FIRST)
    return "\n".join(rows)


def braid_answer(found: BraidShortening, angle_rad: float) -> dict[str, Any]:
    """Give a braid's shortening as `braid --json` prints it."""

    def packing(one: Packing) -> dict[str, Any]:
        after = one.angle_after_rad
        return {
            "shortening": one.shortening,
            "angle_after_deg": None if after is None else math.degrees(after),
            "locked": one.locked,
            "swelling": one.swelling,
        }

    return {
        "angle_deg": math.degrees(angle_rad),
        "thin_tube": packing(found.thin_tube),
        "closed_disc": packing(found.closed_disc),
        "first_value": found.first_value,
        "standard_uncertainty": found.standard_uncertainty,
    }


def braid_text(found: BraidShortening, angle_rad: float, system: LengthSystem = "imperial") -> str:
    """Give a braid's shortening as a rigger reads it."""
    rows = [f"braid angle {math.degrees(angle_rad):.1f} deg"]
    for name, one in (("thin tube", found.thin_tube), ("closed disc", found.closed_disc)):
        if one.shortening is None or one.angle_after_rad is None:
            rows.append(f"  {name}: locked; the braid cannot swell {one.swelling:.4f} times around its guest")
        else:
            rows.append(
                f"  {name}: shortens by {share_text(one.shortening)} of the trap, the angle opens to "
                f"{math.degrees(one.angle_after_rad):.1f} deg"
            )
    if found.first_value is None or found.standard_uncertainty is None:
        rows.append("no first value: make trials on scrap of the same lot")
    else:
        trap_m, trap = (0.15, "150 mm") if system == "metric" else (6 * _INCH_M, "6 in")
        rows.append(
            f"first value {share_text(found.first_value)}, give or take {share_text(found.standard_uncertainty)}: "
            f"{length_text(found.first_value * trap_m, system, 32)} for a trap of {trap}"
        )
        rows.append("This is a model, not a measurement, until your own trials speak.")
    rows.append(COMES_FIRST)
    return "\n".join(rows)
