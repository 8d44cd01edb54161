"""The line plan: in which order the traps are made, where each mark goes, how long to cut, how sure it is to fit.

The rules:

- a mark that must end up at the finished height x of a line is placed past it, toward the canopy, by the shortenings of
  the traps not yet made on that line that lie wholly between the link-end bearing point and x. Against the opposite
  number that sum alone is the offset, and needs no ruler;
- a plain mark (a toggle's, say) is made with the line's closing mark; of a trap that it will lie in, the share below it
  counts;
- just before its canopy end is trapped a line stands longer than its opposite number by the shortenings still to come;
- the cut length is the finished length and all shortenings on the line, one loop height for each end's loop (the leg
  that is not in the finished length), both traps, the knot and the spare; a running end that makes a loop in mid-line
  needs that loop and the trap above it too, and a leg of its own piece is cut apart;
- the error budget of a finished length holds the shortenings still to come at its closing mark, the mark, the eye, and
  the stretch that an unequal comparing pull makes. A term without its data is left out and named in the warnings.

>>> from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
>>> inch = 0.0254
>>> main = LineSettings("A", LinkEnd(1.5 * inch, 5 * inch), CanopyEnd(5 * inch, 1 * inch), 120 * inch)
>>> branch = LineSettings("B", Joint("A", 48 * inch, 5 * inch), CanopyEnd(5 * inch, 0, 1.25 * inch), 75 * inch)
>>> plan = make_plan(PlanSettings(
...     "a.toml", "demo", 44.48, inch / 2, (main, branch), shrinkage=ShrinkageSettings(0.0625, 0.01)))
>>> [(step.trap, [round(mark.offset_m / inch * 16) for mark in step.marks]) for step in plan.steps]
[('A link end', [0, 5]), ('B into A', [5, 0]), ('B canopy end', [5, 0]), ('A canopy end', [5, 0])]
>>> [round(line.cut_longer_than_old_m / inch, 4) for line in plan.lines]
[13.4375, 11.5625]
>>> adjust(plan, "A", 3 / 16 * inch).words
'take in 3/16 in; 5 3/16 in stays trapped'
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from station.linework.allowance import TrialsUsed
from station.linework.error_budget import (
    best_improvement,
    budget_terms_m,
    percent,
    probability_within,
    stiffness_n,
    warnings_of,
)
from station.linework.traps import End, LineTree, PlanFault, Trap, grow, nearest
from station.settings.plan import Leg, LineSettings, PlanSettings
from station.units import IMPERIAL, LengthSystem, Said, factor

__all__ = [
    "Adjustment",
    "LinePlan",
    "Mark",
    "PlanFault",
    "PlannedLine",
    "Sewing",
    "Step",
    "adjust",
    "make_plan",
]

_INCH_M = float(factor("in", "length"))
LEAVE_BELOW_M = _INCH_M / 64
LEAVE_BELOW_SAID: Mapping[LengthSystem, str] = {"imperial": "1/64 in", "metric": "0.4 mm"}
_OPEN_IT = "open the trap and make the end anew, or replace the line"


@dataclass(frozen=True)
class Mark:
    """A mark on a line: a trap's entry or end, or a plain mark by its name; `offset_m` past the opposite number's.

    Past is toward the canopy. `from_link_end_m` is where it stands when it is made, from the link-end bearing point;
    None on a line whose length is not given. `finished_m` is where it ends up.
    """

    name: str
    line: str
    offset_m: float
    from_link_end_m: float | None
    finished_m: float | None


@dataclass(frozen=True)
class Sewing:
    """A tack as the machine sews it."""

    kind: Literal["bar-tack", "zigzag"]
    from_entry_m: float
    length_m: float
    stitches: int
    taper_m: float


@dataclass(frozen=True)
class Step:
    """One trap in the order of work. `shortening_95_m` is None where trials have not shown the scatter.

    `running_end_marks_m` are measured from the free end: where the trap's length ends and, at a loop, what is brought
    onto it at the entry. `beyond_m` is what goes on of a running end that comes out again for a loop in mid-line.
    `source` says in words where the shortening comes from.
    """

    trap: str
    end: End
    host: str
    guest: str
    trap_m: float
    loop_m: float
    knot_m: float
    minimum_trap_m: float
    covers_m: tuple[float, float] | None
    toward_canopy: bool
    leg: Leg | None
    beyond_m: float
    shortening_m: float
    shortening_95_m: tuple[float, float] | None
    source: str
    marks: tuple[Mark, Mark]
    running_end_marks_m: tuple[float, float | None]
    sewing: Sewing | None

    @property
    def leg_piece(self) -> str | None:
        """Name the piece that lies in this trap of a loop with a leg of its own: "A brake loop leg"; else None."""
        return f"{self.trap.rpartition(' ')[0]} leg" if self.leg == "own piece" else None


@dataclass(frozen=True)
class PlannedLine:
    """What becomes of one line: how long to cut it, how long to leave it, how sure it is to fit at the first try.

    `budget_m` names each term of the error budget with its standard uncertainty; without the one named
    `largest_improvement` the probability would be `probability_improved`. `loop_pieces_m` are the legs to cut for loops
    in mid-line, `marks` the plain marks.
    """

    name: str
    joins: str | None
    length_m: float | None
    cut_length_m: float | None
    cut_longer_than_old_m: float
    leave_long_m: float
    standard_uncertainty_m: float
    standard_uncertainty_closed_first_m: float
    budget_m: Mapping[str, float]
    probability_in_tolerance: float
    largest_improvement: str | None
    probability_improved: float | None
    equal_pull_n: float | None
    loop_pieces_m: Mapping[str, float]
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class LinePlan:
    """A whole plan, worked out; `said` is how its words say lengths and pulls."""

    settings: PlanSettings
    steps: tuple[Step, ...]
    lines: tuple[PlannedLine, ...]
    warnings: tuple[str, ...]
    why_this_order: str
    said: Said = IMPERIAL
    trials_used: tuple[TrialsUsed, ...] = ()

    @property
    def order(self) -> tuple[str, ...]:
        """Give the traps' names in the order of work."""
        return tuple(step.trap for step in self.steps)


@dataclass(frozen=True)
class Adjustment:
    """What to do about a line that came out long or short. `changes_m`: what becomes of every line it touches."""

    line: str
    action: Literal["take-in", "let-out", "leave"]
    move_m: float
    trap_after_m: float
    changes_m: Mapping[str, float]
    in_tolerance: bool
    warnings: tuple[str, ...]
    said: Said = IMPERIAL

    @property
    def words(self) -> str:
        """Say it as the bench does."""
        trapped = self.said.length(self.trap_after_m)
        if self.action == "leave":
            return f"leave it: under {LEAVE_BELOW_SAID[self.said.system]}; {trapped} is trapped"
        verb = "take in" if self.action == "take-in" else "let out"
        return f"{verb} {self.said.length(self.move_m)}; {trapped} stays trapped"


def make_plan(settings: PlanSettings, order: Sequence[str] | None = None, said: Said = IMPERIAL) -> LinePlan:
    """Work out a plan: in our own order or, to compare with it, in another `order` of the same traps by name.

    Raises `PlanFault` for what nobody could work, and for an order that is not one of these traps.
    """
    tree = grow(settings, said)
    traps = tree.working_order()
    if order is not None:
        by_name = {trap.name: trap for trap in traps}
        if sorted(order) != sorted(by_name):
            raise PlanFault(f"{settings.file}: expected an order of {', '.join(by_name)}")
        traps = [by_name[name] for name in order]
        _check_order(tree, traps)
    steps = tuple(_steps(tree, traps))
    leave_long_m = {step.guest: step.marks[0].offset_m for step in steps if step.end == "canopy end"}
    to_come = _still_to_come(tree, traps)
    lines = tuple(_planned(tree, line, to_come[line.name], leave_long_m[line.name]) for line in settings.lines)
    warnings, why = tuple(warnings_of(tree, said)), _why(lines, settings, said)
    return LinePlan(settings, steps, lines, warnings, why, said, tuple(tree.trials_used))


def adjust(
    plan: LinePlan | PlanSettings,
    line_name: str,
    residual_m: float,
    at: Literal["canopy end", "joint"] = "canopy end",
    trapped_m: float | None = None,
    said: Said = IMPERIAL,
) -> Adjustment:
    """Say how far to move the running end of a line that is `residual_m` too long (below zero: too short).

    At a canopy end the line lies in its own braid: a running end moved by d changes it by d (1 + k). At a joint d
    changes the branch by d and its host by k d. Under 1/64 in it is left. `trapped_m` is what is trapped now, where
    that is no longer what the plan says. Raises `PlanFault` for an unknown line and for a joint of a line that has
    none.
    """
    settings = plan.settings if isinstance(plan, LinePlan) else plan
    tree = grow(settings, said)
    if line_name not in tree.lines:
        raise PlanFault(f"{settings.file}: found no line {line_name!r}; {nearest(line_name, tree.lines)}")
    if not math.isfinite(residual_m):
        raise PlanFault(f"{settings.file}: line {line_name!r}: found a residual of {residual_m!r}, expected a length")
    trap = tree.canopy_traps[line_name] if at == "canopy end" else tree.lower_traps[line_name]
    if at == "joint" and trap.end != "joint":
        raise PlanFault(f"{settings.file}: line {line_name!r} ends at the link; it joins no other line")
    now_m = trap.trap_m if trapped_m is None else trapped_m
    in_tolerance = abs(residual_m) <= settings.tolerance_m
    if abs(residual_m) < LEAVE_BELOW_M:
        return Adjustment(line_name, "leave", 0.0, now_m, {}, in_tolerance, (), said)
    k = trap.shrinkage.coefficient
    own_share = k if at == "canopy end" else 0.0
    move_m = abs(residual_m) / (1 + own_share)
    warnings: list[str] = []
    if residual_m > 0:
        action: Literal["take-in", "let-out"] = "take-in"
        after_m = now_m + move_m
        warnings.extend(_taken_in(tree, trap, after_m, said))
    else:
        action = "let-out"
        after_m = now_m - move_m
        if after_m <= 0:  # what is drawn out past the trap's own length gives back no more shortening
            move_m, after_m = abs(residual_m) - own_share * now_m, 0.0
            warnings.append(
                f"{trap.name}: only {said.length(now_m)} is trapped, so this opens the trap altogether: make the "
                "end anew, or replace the line"
            )
        elif after_m < trap.minimum_m:
            warnings.append(
                f"{trap.name}: {said.length(after_m)} would stay trapped, under the minimum of "
                f"{said.length(trap.minimum_m)}: {_OPEN_IT}"
            )
        warnings.extend(_let_out(trap, after_m, said))
    toward = -1 if residual_m > 0 else 1
    changes_m = {line_name: -residual_m}
    if at == "joint":
        changes_m[trap.host] = toward * k * min(move_m, now_m)
    return Adjustment(line_name, action, move_m, after_m, changes_m, in_tolerance, tuple(warnings), said)


def _taken_in(tree: LineTree, trap: Trap, after_m: float, said: Said) -> list[str]:
    """Warn where a deeper trap runs into the next one below it, or into the loop."""
    if trap.covers_m is None:
        return []
    entry_m = trap.covers_m[1]  # what is taken in at runs toward the link
    below = [other for other in tree.on_host[trap.host] if other.rank < trap.rank and other.covers_m is not None]
    deepest_m = entry_m - after_m
    free_m = max((other.covers_m[1] for other in below if other.covers_m is not None), default=0.0)
    if deepest_m >= free_m:
        return []
    name = f"trap {below[-1].name!r}" if below else f"the lower end of {trap.host!r}"
    most_m = entry_m - free_m
    return [
        f"{trap.name}: {said.length(after_m)} would reach into {name}, and there is room for {said.length(most_m)}: "
        "open the trap and cut the running end shorter"
    ]


def _let_out(trap: Trap, after_m: float, said: Said) -> list[str]:
    if trap.sewing is None or after_m <= 0:
        return []
    needed_m = trap.sewing.from_entry_m + trap.sewing.length_m + (trap.sewing.taper_m or 0.0)
    if after_m >= needed_m:
        return []
    return [
        f"{trap.name}: {said.length(after_m)} would stay trapped, and the tack with its taper needs "
        f"{said.length(needed_m)}: {_OPEN_IT}"
    ]


def _steps(tree: LineTree, traps: Sequence[Trap]) -> list[Step]:
    """Work the order backward, so that what is not yet made at a step is what has been met so far.

    Sums over the traps below a height come from one binary indexed tree for each host: n log n in all. Only additions
    are made, so that a sum over nothing is exactly 0.
    """
    not_yet: dict[str, list[float]] = {name: [0.0] * (len(on) + 1) for name, on in tree.on_host.items()}
    steps: list[Step] = []
    for trap in reversed(traps):
        sums = not_yet[trap.host]
        place = trap.rank + 1
        while place < len(sums):
            sums[place] += trap.shortening_m
            place += place & -place
        steps.append(_step(tree, trap, _sum_below(sums, trap.rank), _sum_below(sums, trap.rank + 1)))
    steps.reverse()
    return steps


def _sum_below(sums: Sequence[float], rank: int) -> float:
    total = 0.0
    while rank > 0:
        total += sums[rank]
        rank -= rank & -rank
    return total


def _step(tree: LineTree, trap: Trap, at_start_m: float, at_end_m: float) -> Step:
    """Give the step of one trap, with what is still to come below its start and below its end."""
    ruler = tree.lines[trap.host].length_m is not None

    def mark(name: str, which: int) -> Mark:
        offset_m = (at_start_m, at_end_m)[which]
        height_m = None if trap.covers_m is None else trap.covers_m[which]
        placed_m = height_m + offset_m if ruler and height_m is not None else None
        return Mark(name, trap.host, offset_m, placed_m, height_m)

    entry, far_end = (0, 1) if trap.toward_canopy else (1, 0)
    from_end_m = trap.beyond_m + trap.trap_m
    return Step(
        trap=trap.name,
        end=trap.end,
        host=trap.host,
        guest=trap.guest,
        trap_m=trap.trap_m,
        loop_m=trap.loop_m,
        knot_m=trap.knot_m,
        minimum_trap_m=trap.minimum_m,
        covers_m=trap.covers_m,
        toward_canopy=trap.toward_canopy,
        leg=trap.leg,
        beyond_m=trap.beyond_m,
        shortening_m=trap.shortening_m,
        shortening_95_m=trap.shrinkage.allowance_95_m(trap.trap_m),
        source=trap.shrinkage.source,
        marks=(mark("entry", entry), mark("end of trap", far_end)),
        running_end_marks_m=(from_end_m, from_end_m + 2 * trap.loop_m if trap.loop_m else None),
        sewing=_sewing(trap),
    )


def _sewing(trap: Trap) -> Sewing | None:
    sewing = trap.sewing
    if sewing is None:
        return None
    if sewing.stitches is not None:
        stitches = sewing.stitches
    else:  # rounded up, but not for what binary rounding adds to a whole number
        stitches = math.ceil(sewing.length_m / _INCH_M * (sewing.per_inch or 0.0) - 1e-9)
    return Sewing(sewing.kind, sewing.from_entry_m, sewing.length_m, stitches, sewing.taper_m or 0.0)


def _check_order(tree: LineTree, traps: Sequence[Trap]) -> None:
    """Refuse an order in which a running end goes in again before it has come out."""
    made: set[str] = set()
    for trap in traps:
        made.add(trap.name)
        below = tree.lower_traps[trap.host].name
        if trap.leg == "running end" and below not in made:
            raise PlanFault(
                f"{tree.settings.file}: expected trap {below!r} before {trap.name!r}, whose leg is its running end"
            )


def _plain_marks(line: LineSettings, to_come: Sequence[Trap]) -> tuple[Mark, ...]:
    """Give a line's plain marks where they stand with `to_come` not yet made."""

    def below_m(trap: Trap, at_m: float) -> float:
        if trap.covers_m is None:
            return 0.0
        return trap.shortening_m * min(max((at_m - trap.covers_m[0]) / trap.trap_m, 0.0), 1.0)

    found = []
    for mark in line.marks:
        offset_m = math.fsum(below_m(trap, mark.at_m) for trap in to_come)
        placed_m = None if line.length_m is None else mark.at_m + offset_m
        found.append(Mark(mark.name, line.name, offset_m, placed_m, mark.at_m))
    return tuple(found)


def _still_to_come(tree: LineTree, traps: Sequence[Trap]) -> dict[str, list[Trap]]:
    """Give for each line the traps on it that are not yet made at its closing mark, its own included."""
    made = {trap.name: number for number, trap in enumerate(traps)}
    return {
        name: [trap for trap in on_line if made[trap.name] >= made[tree.canopy_traps[name].name]]
        for name, on_line in tree.on_host.items()
    }


def _planned(tree: LineTree, line: LineSettings, to_come: Sequence[Trap], leave_long_m: float) -> PlannedLine:
    settings = tree.settings
    lower, canopy = tree.lower_traps[line.name], tree.canopy_traps[line.name]
    longer_m = (
        math.fsum(trap.shortening_m for trap in tree.on_host[line.name])
        + lower.loop_m
        + canopy.loop_m
        + lower.trap_m
        + lower.beyond_m
        + canopy.trap_m
        + canopy.knot_m
        + settings.spare_m
    )
    budget_m = budget_terms_m(tree, line, to_come)
    uncertainty_m = math.hypot(*budget_m.values())
    closed_first_m = math.hypot(*budget_terms_m(tree, line, tree.on_host[line.name]).values())
    stiff_n = stiffness_n(settings, line)
    equal_pull_n = None
    if stiff_n is not None and line.length_m is not None:
        equal_pull_n = settings.pull_share * settings.tolerance_m * stiff_n / line.length_m
    improvement, improved = best_improvement(settings.tolerance_m, budget_m) or (None, None)
    return PlannedLine(
        name=line.name,
        joins=lower.host if lower.end == "joint" else None,
        length_m=line.length_m,
        cut_length_m=None if line.length_m is None else line.length_m + longer_m,
        cut_longer_than_old_m=longer_m,
        leave_long_m=leave_long_m,
        standard_uncertainty_m=uncertainty_m,
        standard_uncertainty_closed_first_m=closed_first_m,
        budget_m=budget_m,
        probability_in_tolerance=probability_within(settings.tolerance_m, uncertainty_m),
        largest_improvement=improvement,
        probability_improved=improved,
        equal_pull_n=equal_pull_n,
        loop_pieces_m={each.name: 2 * each.trap_m + each.loop_m for each in line.loops if each.leg == "own piece"},
        marks=_plain_marks(line, to_come),
    )


def _why(lines: Sequence[PlannedLine], settings: PlanSettings, said: Said) -> str:
    rule = "A line closes only when no other trap on it is still to come, so no shortening is allowed for twice."
    line = max(lines, key=lambda each: each.standard_uncertainty_closed_first_m - each.standard_uncertainty_m)
    now_m, first_m = line.standard_uncertainty_m, line.standard_uncertainty_closed_first_m
    if first_m <= now_m:
        return rule
    tolerance = said.length(settings.tolerance_m)
    now, first = line.probability_in_tolerance, probability_within(settings.tolerance_m, first_m)
    return (
        f"{rule} So {line.name} is within {tolerance} at the first try {percent(now)} of the time (standard "
        f"uncertainty {said.length(now_m, 32)}); with its canopy end marked before its other traps are "
        f"made, {percent(first)} ({said.length(first_m, 32)})."
    )
