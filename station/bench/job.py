"""The work order: which steps a line plan asks for, in the order of the trade, and how far the facts have come.

The state of a job is a fold over its entries alone, so that a job interrupted anywhere goes on where it was. A step is
done when a fact for it was recorded and the rigger has not gone back on it since; a pre-stretch is done only by a hold
that is held, by a pull said to be by hand and not measured, or by a named override. A comparison that finds a
difference is followed by an adjustment and another comparison, until the line is level or the difference is left.

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
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from station.linework.line_plan import LEAVE_BELOW_M, Adjustment, LinePlan, Step, adjust, make_plan
from station.records.entries import (
    Adjusted,
    Entry,
    HoldCompleted,
    HoldJudged,
    JobOpened,
    LineCompared,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    SteppedBack,
)
from station.settings.plan import read_plan
from station.settings.tables import Table

Kind = Literal[
    "confirm",
    "cut",
    "link loop",
    "pre-stretch",
    "mark",
    "trap",
    "set",
    "compare",
    "adjust",
    "trial tack",
    "sew",
    "check",
    "inspect",
    "sign",
]

CHECKS = (
    "attachment and its tack",
    "knot dressed",
    "cascade and its tack",
    "link loop and its tack",
    "taper clear of the tack",
    "line continuity",
    "order on the link",
    "right grommet, no burr, slider right way up",
    "link closed",
    "no twist",
    "thread ends trimmed",
    "pins counted back",
    "the old line out",
)
SECOND_PERSON = ("reserve", "emergency", "tandem")  # canopy kinds that a second person inspects


@dataclass(frozen=True)
class JobStep:
    """One step of the job: what kind, on which line and trap, and its short label in the strip."""

    key: str
    kind: Kind
    label: str
    line: str = ""
    trap: Step | None = None
    round: int = 1
    check: str = ""
    after_sewing: bool = False


@dataclass(frozen=True)
class JobState:
    """A job as its facts leave it. `done` maps a step's key to the fact that did it; `seqs` are the facts' numbers."""

    opened: JobOpened
    plan: LinePlan
    done: dict[str, Entry] = field(default_factory=dict)
    pieces: dict[str, str] = field(default_factory=dict)  # line -> number of the piece it is made of
    blocked: frozenset[str] = frozenset()  # pieces that saw an overload or a pull over the ceiling
    comparisons: dict[str, tuple[LineCompared, ...]] = field(default_factory=dict)  # by chain: see `chain_of`
    trapped_um: dict[str, int] = field(default_factory=dict)  # line -> what its canopy end's trap holds by now
    last_hold: HoldJudged | None = None
    last_seq: int = 0

    @cached_property
    def steps(self) -> tuple[JobStep, ...]:
        """Give the steps of the job as the facts so far ask for them, done ones included."""
        return tuple(_steps(self))

    @cached_property
    def index(self) -> int:
        """Give the number of the first step that is not done; the count of steps when all are."""
        return next((n for n, step in enumerate(self.steps) if step.key not in self.done), len(self.steps))

    @property
    def now(self) -> JobStep | None:
        """Give the step to do now; None when the job is signed off."""
        return self.steps[self.index] if self.index < len(self.steps) else None

    @property
    def before(self) -> JobStep | None:
        """Give the step to go back to. A piece is pre-stretched once: a hold that is held is passed over."""
        for step in reversed(self.steps[: self.index]):
            if not (step.kind == "pre-stretch" and isinstance(self.done[step.key], HoldJudged)):
                return step
        return None

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
        joins = {line.name: line.joins for line in self.plan.lines}
        lines, line = [], step.line or None
        while line is not None:  # a pull on a branch goes down through every line that carries it, to the link
            lines.append(line)
            line = joins.get(line)
        return tuple(self.pieces[each] for each in lines if each in self.pieces)

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
            state = replace(state, blocked=state.blocked - {entry.piece})
            return state if line is None else _undone_from(state, f"{line}: cut")
        if isinstance(entry, PieceReleased):
            return replace(state, blocked=state.blocked - {entry.piece})
        if isinstance(entry, PieceOverpulled):
            return replace(state, blocked=self.blocked | set(entry.pieces))
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
        if entry.step and not isinstance(entry, HoldCompleted | JobOpened):
            state = replace(state, done={**state.done, entry.step: entry})
        return state


def fold(facts: Iterable[tuple[int, Entry]]) -> JobState:
    """Give the state of a job from its facts with their numbers, its opening first."""
    numbered = iter(facts)
    seq, opened = next(numbered)
    if not isinstance(opened, JobOpened):
        raise TypeError(f"a job begins with its opening, found {type(opened).__name__}")
    plan = make_plan(read_plan(plan_table(opened.plan_toml, opened.title)))
    state = JobState(opened, plan, last_seq=seq)
    for seq, entry in numbered:
        state = state.after(entry, seq)
    return state


def plan_table(text: str, title: str = "the plan") -> Table:
    """Give a plan's text as the table that plans are read from."""
    return Table(title, "", tomllib.loads(text))


def chain_of(line: str, after_sewing: bool) -> str:
    """Name the chain of comparisons of a line: before its tack is sewn, or after."""
    return f"{line} after sewing" if after_sewing else line


def _after_cut(state: JobState, entry: PieceCut) -> JobState:
    """Give the piece to its line; another piece than before is still to be pre-stretched."""
    done = state.done
    if state.pieces.get(entry.line, entry.piece) != entry.piece:
        done = {key: fact for key, fact in done.items() if key != f"{entry.line}: pre-stretch"}
    return replace(state, pieces={**state.pieces, entry.line: entry.piece}, done=done)


def _after_hold(state: JobState, entry: HoldJudged) -> JobState:
    blocked, pieces = state.blocked, set(entry.pieces)
    if {"overload", "over-ceiling"} & set(entry.judgement["reasons"]):
        blocked |= pieces
    done = state.done
    if entry.judgement["verdict"] == "held" and not pieces & blocked:
        lines = [line for line, piece in state.pieces.items() if piece in pieces]
        done = done | {f"{line}: pre-stretch": entry for line in lines} | {entry.step: entry}
    return replace(state, last_hold=entry, blocked=blocked, done=done)


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
    return replace(state, done={k: v for k, v in state.done.items() if k != key})


def _undone_from(state: JobState, key: str) -> JobState:
    """Give the state in which the step `key` and every later one are to be done again."""
    keys = [step.key for step in state.steps]
    kept = set(keys[: keys.index(key)])
    line = key.partition(":")[0]
    return replace(
        state,
        done={k: v for k, v in state.done.items() if k in kept},
        pieces={each: piece for each, piece in state.pieces.items() if each != line},
        comparisons={},
        trapped_um={},
    )


def _steps(state: JobState) -> Iterator[JobStep]:
    plan = state.plan
    yield JobStep("cause", "confirm", "cause")
    yield JobStep("reference", "confirm", "reference")
    for trap in plan.steps:
        line = trap.guest
        if trap.end == "link end":
            yield JobStep(f"{line}: cut", "cut", f"cut {line}", line, trap)
            yield JobStep(f"{line}: link loop", "link loop", f"link loop {line}", line, trap)
            yield JobStep(f"{line}: tack link loop", "sew", "tack the loop", line, trap)
            yield JobStep(f"{line}: pre-stretch", "pre-stretch", f"pre-stretch {line}", line, trap)
            yield JobStep(f"{line}: route", "confirm", "link, grommet, attachment", line, trap)
        elif trap.end == "joint":
            yield JobStep(f"{trap.trap}: mark", "mark", f"mark where {line} enters", line, trap)
            yield JobStep(f"{line}: cut", "cut", f"cut {line}", line, trap)
            yield JobStep(f"{line}: pre-stretch", "pre-stretch", f"pre-stretch {line}", line, trap)
            yield JobStep(f"{trap.trap}: trap", "trap", f"trap {line} into {trap.host}", line, trap)
            yield JobStep(f"{trap.trap}: set", "set", "set it", line, trap)
            yield JobStep(f"{line}: route", "confirm", f"{line} to its attachment", line, trap)
        elif trap.end == "loop":
            yield JobStep(f"{trap.trap}: mark", "mark", f"mark {trap.trap}", line, trap)
            yield JobStep(f"{trap.trap}: trap", "trap", f"trap {trap.trap}", line, trap)
            yield JobStep(f"{trap.trap}: set", "set", "set it", line, trap)
        else:
            yield JobStep(f"{trap.trap}: mark", "mark", f"mark {line} at the canopy", line, trap)
            yield JobStep(f"{trap.trap}: trap", "trap", f"trap {line}", line, trap)
            yield JobStep(f"{trap.trap}: set", "set", "set it", line, trap)
            yield from _comparisons(state, line, trap)
    yield JobStep("trial tack", "trial tack", "trial tack")
    for trap in plan.steps:
        if trap.end != "link end":
            yield JobStep(f"{trap.trap}: sew", "sew", f"sew {trap.trap}", trap.guest, trap)
    for trap in plan.steps:
        if trap.end == "canopy end":
            yield from _comparisons(state, trap.guest, trap, after_sewing=True)
    for check in CHECKS:
        yield JobStep(f"check: {check}", "check", check, check=check)
    if state.opened.canopy.get("kind") in SECOND_PERSON:
        yield JobStep("second person", "inspect", "second person")
    yield JobStep("sign", "sign", "sign")


def _comparisons(state: JobState, line: str, trap: Step, after_sewing: bool = False) -> Iterator[JobStep]:
    """Give the comparisons of a line, and after each that found a difference what is to be done about it.

    Before sewing whatever can be moved is moved. After sewing a difference within the plan's tolerance is left; one
    outside it is unpicked, moved and sewn again, or left by name and reason.
    """
    chain = chain_of(line, after_sewing)
    bound_m = state.plan.settings.tolerance_m if after_sewing else LEAVE_BELOW_M

    def key(what: str, n: int) -> str:
        return f"{line}: {what}{' after sewing' if after_sewing else ''} {n}"

    def step(what: str, kind: Kind, label: str, n: int) -> JobStep:
        return JobStep(key(what, n), kind, label, line, trap, n, after_sewing=after_sewing)

    sewn = " after sewing" if after_sewing else ""
    for n, found in enumerate(state.comparisons.get(chain, ()), 1):
        yield step("compare", "compare", f"compare{sewn}" if n == 1 else "compare again", n)
        difference_m = abs(found.difference_um) / 1e6
        if difference_m < LEAVE_BELOW_M or (after_sewing and difference_m <= bound_m):
            return
        yield step("adjust", "adjust", _adjust_label(found, after_sewing), n)
        moved = state.done.get(key("adjust", n))
        if moved is None or (isinstance(moved, Adjusted) and moved.action == "leave"):
            return
        if after_sewing:
            yield step("sew again", "sew", "sew again", n)
    n = len(state.comparisons.get(chain, ())) + 1
    yield step("compare", "compare", f"compare{sewn}" if n == 1 else "compare again", n)


def _adjust_label(found: LineCompared, after_sewing: bool) -> str:
    what = f"take in {found.line}" if found.difference_um > 0 else f"let out {found.line}"
    return f"unpick, {what}" if after_sewing else what


def adjustment(state: JobState, step: JobStep) -> Adjustment:
    """Give what to do about the difference that the comparison before a step found."""
    found = state.comparisons[chain_of(step.line, step.after_sewing)][step.round - 1]
    trapped_m = state.trapped_m(step.trap) if step.trap is not None else None
    return adjust(state.plan, step.line, found.difference_um / 1e6, trapped_m=trapped_m)


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
