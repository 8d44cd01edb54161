"""The work order: which steps a line plan asks for, in the order of the trade, and how far the facts have come.

The state of a job is a fold over its entries alone, so that a job interrupted anywhere goes on where it was. A step is
done when a fact for it was recorded and the rigger has not gone back on it since; a pre-stretch is done only by a hold
that is held, by a pull said to be by hand and not measured, or by a named override. A comparison that finds a
difference is followed by an adjustment and another comparison, until the line is level or the difference is left.

A set job (`station.settings.reline`) is worked line by line. The rigger may leave a line as it stands and turn to
another; what was passed over comes again. The other side is untouched: an old line is taken off only while its opposite
number is not off, or stands again.

>>> from station.records.entries import StepDone
>>> state = JobState(example_opening(), make_plan(read_plan(plan_table(EXAMPLE_PLAN))))
>>> [step.key for step in state.steps][2:6]
['A: cut', 'A: link loop', 'A: tack link loop', 'A: pre-stretch']
>>> state = state.after(StepDone(job="26-0001", step="cause"), 1)
>>> state.now.key
'reference'
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

from station.bench.members import Member, members_of, opposite_of
from station.bench.work_order import CHECKS, JobStep, Kind, Unit, chain_of, units_of
from station.linework.line_plan import Adjustment, LinePlan, Step, adjust, make_plan
from station.records.entries import (
    Adjusted,
    Entry,
    HoldByHand,
    HoldCompleted,
    HoldJudged,
    JobOpened,
    LineCompared,
    LineTurnedTo,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    SteppedBack,
)
from station.settings.plan import read_plan
from station.settings.reline import METHODS, is_reline, read_reline
from station.settings.tables import Table
from station.units import IMPERIAL, Said

__all__ = ["CHECKS", "JobState", "JobStep", "Kind", "Unit", "chain_of"]


class Overpull(NamedTuple):
    """What a piece saw that it may not: the highest pull, None beyond the scale's capacity, and the ceiling it had."""

    pull_mn: int | None
    ceiling_mn: int


@dataclass(frozen=True)
class JobState:
    """A job as its facts leave it. `done` maps a step's key to the fact that did it.

    Of a set, `plan` is the first line's, `members` are all of them, and `turned` names the unit the rigger turned to.
    """

    opened: JobOpened
    plan: LinePlan
    members: tuple[Member, ...] = ()
    method: str = METHODS[0]  # of comparing
    turned: str = ""
    done: dict[str, Entry] = field(default_factory=dict)
    pieces: dict[str, str] = field(default_factory=dict)  # line -> number of the piece it is made of
    blocked: dict[str, Overpull] = field(default_factory=dict)  # by piece: until it is scrapped or released
    comparisons: dict[str, tuple[LineCompared, ...]] = field(default_factory=dict)  # by chain: see `chain_of`
    trapped_um: dict[str, int] = field(default_factory=dict)  # line -> what its canopy end's trap holds by now
    last_hold: HoldJudged | None = None
    last_seq: int = 0
    instead: dict[str, str] = field(default_factory=dict)  # pair ('' for all) -> its reference, where one was not sound

    @property
    def reference(self) -> str:
        """Give what the line at hand is matched to."""
        pair = self.at.member.pair if self.at and self.at.member else ""
        return self.instead.get(pair) or self.instead.get("") or self.opened.reference

    @property
    def plans(self) -> tuple[LinePlan, ...]:
        """Give the plans of the lines: those of a set's members, else the one."""
        return tuple(each.plan for each in self.members) or (self.plan,)

    @cached_property
    def units(self) -> tuple[Unit, ...]:
        """Give the runs of steps as the facts so far ask for them, done ones included."""
        return tuple(units_of(self))

    @cached_property
    def steps(self) -> tuple[JobStep, ...]:
        """Give the steps of the job as the facts so far ask for them, done ones included."""
        return tuple(step for unit in self.units for step in unit.steps)

    @cached_property
    def at(self) -> Unit | None:
        """Give the unit to work on now: the one turned to, then those after it, then what was passed over."""
        places = {unit.name: place for place, unit in enumerate(self.units)}
        start, last = places.get(self.turned, 0), len(self.units) - 1
        for place in dict.fromkeys([0, *range(start, last), *range(start), last]):
            unit: Unit = self.units[place]
            if not self.is_done(unit):
                needed: list[Unit] = [self.units[each] for each in unit.needs if not self.is_done(self.units[each])]
                return needed[0] if needed else unit
        return None

    def is_done(self, unit: Unit) -> bool:
        """Tell whether every step of a unit is done."""
        return all(step.key in self.done for step in unit.steps)

    @cached_property
    def index(self) -> int:
        """Give the number of the step to do now; the count of steps when all are done."""
        return next((n for n, step in enumerate(self.steps) if step is self.now), len(self.steps))

    @cached_property
    def now(self) -> JobStep | None:
        """Give the step to do now; None when the job is signed off."""
        return next((step for step in self.at.steps if step.key not in self.done), None) if self.at else None

    @property
    def before(self) -> JobStep | None:
        """Give the step to go back to. What was held or taken off cannot be again, and is passed over."""
        for step in reversed(self.steps[: self.index]):
            fact = self.done.get(step.key)
            if fact is not None and step.kind != "strip" and not isinstance(fact, HoldJudged):
                return step
        return None

    def unit_of(self, step: JobStep) -> Unit:
        """Give the unit that a step belongs to."""
        return next(unit for unit in self.units if any(each.key == step.key for each in unit.steps))

    def plan_of(self, step: JobStep | None) -> LinePlan:
        """Give the plan that a step is worked by."""
        owner = next((each for each in self.members if step and step.line in each.lines), None)
        return owner.plan if owner else self.plan

    def stands(self, member: Member) -> bool:
        """Tell whether a new line stands: made, sewn, and compared after sewing."""
        return self.is_done(next(unit for unit in self.units if unit.member is member))

    def why_not_strip(self, step: JobStep) -> str:
        """Say why an old line must not be taken off now; nothing where it may."""
        member = self.unit_of(step).member
        other = opposite_of(self.members, member) if member else None
        if other is None or f"{other.name}: strip" not in self.done or self.stands(other):
            return ""
        return f"{other.name} is off, and its new line is not finished: never strip both sides"

    def step(self, key: str) -> JobStep | None:
        """Give a step by its key."""
        return next((step for step in self.steps if step.key == key), None)

    def trapped_m(self, step: Step) -> float:
        """Give how much lies trapped in a trap now, after what was taken in and let out."""
        if step.end == "canopy end" and step.guest in self.trapped_um:
            return self.trapped_um[step.guest] / 1e6
        return step.trap_m

    def pieces_of(self, step: JobStep) -> tuple[str, ...]:
        """Give the numbers of the pieces that a pull in this step goes through."""
        if step.batch:
            return self.hold_pieces(step)
        joins = {line.name: line.joins for line in self.plan_of(step).lines}
        lines, line = [], step.line or None
        while line is not None:  # a pull on a branch goes down through every line that carries it, to the link
            lines.append(line)
            line = joins.get(line)
        plan = self.plan_of(step)
        lines += [
            trap.leg_piece  # a leg carries once it is trapped at both ends
            for trap in plan.steps
            if trap.leg_piece and trap.host in lines and trap.toward_canopy and f"{trap.trap}: trap" in self.done
        ]
        return tuple(self.pieces[each] for each in lines if each in self.pieces)

    def hold_pieces(self, step: JobStep) -> tuple[str, ...]:
        """Give the numbers of the pieces that lie between the grips in a pre-stretch."""
        lines = [line for line in step.batch if f"{line}: pre-stretch" not in self.done] or [step.line]
        return tuple(self.pieces[line] for line in lines if line in self.pieces)

    def blocked_piece(self, step: JobStep | None) -> str | None:
        """Give a piece of this step that must be scrapped or released first; None where there is none."""
        pieces = () if step is None else self.pieces_of(step)
        return next((piece for piece in pieces if piece in self.blocked), None)

    def after(self, entry: Entry, seq: int) -> JobState:
        """Give the state after one more fact, whose number in the chain is `seq`."""
        state = replace(self, last_seq=seq)
        if isinstance(entry, SteppedBack):
            return _back_on(state, entry.step)
        if isinstance(entry, PieceScrapped):
            line = next((line for line, piece in self.pieces.items() if piece == entry.piece), None)
            state = replace(state, blocked=_without(state.blocked, entry.piece))
            return state if line is None else _undone_from(state, line)
        if isinstance(entry, LineTurnedTo):
            return replace(state, turned=entry.line)
        if isinstance(entry, PieceReleased):
            return replace(state, blocked=_without(state.blocked, entry.piece))
        if isinstance(entry, PieceOverpulled):
            seen = Overpull(entry.pull_mn, entry.ceiling_mn)
            return replace(state, blocked=self.blocked | dict.fromkeys(entry.pieces, seen))
        if isinstance(entry, ReferenceChecked) and not entry.sound:
            return replace(state, instead={**self.instead, entry.step.rpartition(": ")[0]: entry.instead})
        if isinstance(entry, PieceCut):
            state = _after_cut(state, entry)
        if isinstance(entry, HoldJudged):
            return _after_hold(state, entry)
        if isinstance(entry, LineCompared):
            chain = chain_of(entry.line, entry.after_sewing)
            so_far = (*self.comparisons.get(chain, ()), entry)
            state = replace(state, comparisons={**self.comparisons, chain: so_far})
        if isinstance(entry, Adjusted):
            state = replace(state, trapped_um={**self.trapped_um, entry.line: entry.trap_after_um})
        if isinstance(entry, HoldByHand):
            lines = [each for each, piece in self.pieces.items() if piece in entry.pieces]
            state = replace(state, done=state.done | {f"{each}: pre-stretch": entry for each in lines})
        if entry.step and not isinstance(entry, HoldCompleted | JobOpened):
            state = replace(state, done={**state.done, entry.step: entry})
        return state


def fold(facts: Iterable[tuple[int, Entry]]) -> JobState:
    """Give the state of a job from its facts with their numbers, its opening first."""
    numbered = iter(facts)
    seq, opened = next(numbered)
    if not isinstance(opened, JobOpened):
        raise TypeError(f"a job begins with its opening, found {type(opened).__name__}")
    state = begun(opened, seq)
    for seq, entry in numbered:
        state = state.after(entry, seq)
    return state


def begun(opened: JobOpened, seq: int = 1) -> JobState:
    """Give the state of a job that was just opened. Raises the faults of its plan."""
    top = plan_table(opened.plan_toml, opened.title)
    named = str(opened.measuring.get("comparing") or "")
    if not is_reline(top):
        return JobState(opened, make_plan(read_plan(top)), method=named or METHODS[0], last_seq=seq)
    settings = read_reline(top)
    members = members_of(settings)
    return JobState(opened, members[0].plan, members, named or settings.comparing, last_seq=seq)


def plan_table(text: str, title: str = "the plan") -> Table:
    """Give a plan's text as the table that plans are read from."""
    return Table(title, "", tomllib.loads(text))


def _after_cut(state: JobState, entry: PieceCut) -> JobState:
    """Give the piece to its line; another piece than before is still to be pre-stretched."""
    done = state.done
    if state.pieces.get(entry.line, entry.piece) != entry.piece:
        done = {key: fact for key, fact in done.items() if key != f"{entry.line}: pre-stretch"}
    return replace(state, pieces={**state.pieces, entry.line: entry.piece}, done=done)


def _after_hold(state: JobState, entry: HoldJudged) -> JobState:
    blocked, pieces, reasons = state.blocked, set(entry.pieces), set(entry.judgement["reasons"])
    if {"overload", "over-ceiling"} & reasons:
        pull_mn = None if "overload" in reasons else entry.judgement["peak_mn"]
        blocked = blocked | dict.fromkeys(entry.pieces, Overpull(pull_mn, entry.specification["ceiling_mn"]))
    done = state.done
    if entry.judgement["verdict"] == "held" and not pieces & blocked.keys():
        lines = [line for line, piece in state.pieces.items() if piece in pieces]
        done = done | {f"{line}: pre-stretch": entry for line in lines} | {entry.step: entry}
    return replace(state, last_hold=entry, blocked=blocked, done=done)


def _without(blocked: dict[str, Overpull], piece: str) -> dict[str, Overpull]:
    return {each: seen for each, seen in blocked.items() if each != piece}


def _back_on(state: JobState, key: str) -> JobState:
    step = state.step(key)
    if step is None:
        return state
    if step.kind == "compare":
        chain = chain_of(step.line, step.after_sewing)
        kept = state.comparisons.get(chain, ())[: step.round - 1]
        state = replace(state, comparisons={**state.comparisons, chain: kept})
    moved = state.done.get(key)
    if isinstance(moved, Adjusted):
        way = {"take-in": -1, "let-out": 1}.get(moved.action, 0)
        trapped_um = moved.trap_after_um + way * moved.move_um
        state = replace(state, trapped_um={**state.trapped_um, moved.line: trapped_um})
    turned = state.unit_of(step).name if state.members else ""
    return replace(state, turned=turned, done={k: v for k, v in state.done.items() if k not in step.keys})


def _undone_from(state: JobState, line: str) -> JobState:
    """Give the state in which `line` is cut anew, and what was done with it or after it is to be done again.

    Of a set that is what was done with this line and what joins it, and the checks; the old line stays off.
    """
    pieces = {each: piece for each, piece in state.pieces.items() if each != line}
    if not state.members:
        keys = [step.key for step in state.steps]
        kept = set(keys[: keys.index(f"{line}: cut")])
        done = {k: v for k, v in state.done.items() if k in kept}
        return replace(state, done=done, pieces=pieces, comparisons={}, trapped_um={})
    cut = f"{line}: cut"
    place, unit = next(
        (n, each)
        for n, each in enumerate(state.units)
        if each.member and (line in each.member.lines or any(step.key == cut for step in each.steps))
    )
    lines = unit.member.lines if unit.member else ()
    first = next(n for n, step in enumerate(unit.steps) if step.line == line or step.key == cut)
    again = {f"{line}: cut", f"{line}: pre-stretch"}
    again |= {key for step in unit.steps[first:] for key in step.keys if step.kind != "strip"}
    again |= {step.key for each in state.units if place in each.needs for step in each.steps}
    return replace(
        state,
        turned=unit.name,
        done={k: v for k, v in state.done.items() if k not in again},
        pieces=pieces,
        comparisons={k: v for k, v in state.comparisons.items() if k.removesuffix(" after sewing") not in lines},
        trapped_um={k: v for k, v in state.trapped_um.items() if k not in lines},
    )


def adjustment(state: JobState, step: JobStep, said: Said = IMPERIAL) -> Adjustment:
    """Give what to do about the difference that the comparison before a step found; its warnings are `said` so."""
    found = state.comparisons[chain_of(step.line, step.after_sewing)][step.round - 1]
    trapped_m = state.trapped_m(step.trap) if step.trap is not None else None
    return adjust(state.plan_of(step), step.line, found.difference_um / 1e6, trapped_m=trapped_m, said=said)


def adjustment_fact(state: JobState, step: JobStep) -> Adjusted:
    """Give the fact that what a step asks for was taken in or let out."""
    answer = adjustment(state, step)
    return Adjusted(
        job=state.opened.job,
        step=step.key,
        line=step.line,
        action=answer.action,
        move_um=round(answer.move_m * 1e6),
        trap_after_um=round(answer.trap_after_m * 1e6),
    )


EXAMPLE_PLAN = """
[plan]
name = "A and B"
pull = "10 lbf"
tolerance = "1/2 in"
[shrinkage]
coefficient = 0.0625
[[line]]
name = "A"
length = "120 in"
link_end = { loop = "1 1/2 in", trap = "5 in" }
canopy_end = { loop = "1 in", trap = "5 in" }
"""


def example_opening(plan_toml: str = EXAMPLE_PLAN) -> JobOpened:
    """Give an opening for examples: nobody's job."""
    return JobOpened(
        job="26-0001",
        title="A",
        side="left",
        number="1",
        reference="opposite number",
        plan_toml=plan_toml,
        software="example",
    )
