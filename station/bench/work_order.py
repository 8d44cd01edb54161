"""The steps that a job asks for, in the order of the trade, as its facts so far ask for them.

A job of one plan is one run of steps. A set job is many: what comes first, each stretched length, line and pair in
turn, and what comes last. What a set's pieces are cut from may be stretched as one length: its pieces are marked off
and numbered, one hold is for all of them, then they are cut apart.

>>> chain_of("A", after_sewing=True)
'A after sewing'
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from station.bench.members import Member
from station.linework.line_plan import LEAVE_BELOW_M, LinePlan, Step
from station.records.entries import Adjusted, LineCompared

if TYPE_CHECKING:
    from station.bench.job import JobState

Kind = Literal[
    "confirm",
    "cut",
    "cut leg",
    "link loop",
    "pre-stretch",
    "strip",
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
SET_CHECKS = ("order on the link", "link closed", "pins counted back", "the old line out")  # of a whole set, at its end
_BY_PAIR = tuple(check for check in CHECKS if check not in SET_CHECKS or check == "pins counted back")
SECOND_PERSON = ("reserve", "emergency", "tandem")  # canopy kinds that a second person inspects


@dataclass(frozen=True)
class JobStep:
    """One step of the job: what kind, on which line and trap, and its short label in the strip.

    `batch` are the lines whose pieces come from one stretched length; `of` whose check it is in a set. `also` are the
    traps that are sewn in the same sitting at the machine, before `trap`.
    """

    key: str
    kind: Kind
    label: str
    line: str = ""
    trap: Step | None = None
    round: int = 1
    check: str = ""
    after_sewing: bool = False
    batch: tuple[str, ...] = ()
    of: str = ""
    also: tuple[Step, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Give the keys that its facts go by, its own last."""
        return (*(sew_key(trap) for trap in self.also), self.key)


@dataclass(frozen=True)
class Unit:
    """A run of steps that is worked in order: a whole job; in a set a line, a stretched length, a pair's checks.

    `needs` are the places of the units that come before it.
    """

    name: str
    steps: tuple[JobStep, ...]
    needs: tuple[int, ...] = ()
    member: Member | None = None


def chain_of(line: str, after_sewing: bool) -> str:
    """Name the chain of comparisons of a line: before its tack is sewn, or after."""
    return f"{line} after sewing" if after_sewing else line


def units_of(state: JobState) -> Iterator[Unit]:
    """Give the runs of steps of a job."""
    if state.members:
        yield from _set_units(state)
    else:
        yield Unit("", tuple(_steps(state)))


def _steps(state: JobState) -> Iterator[JobStep]:
    yield JobStep("cause", "confirm", "cause")
    yield JobStep("reference", "confirm", "reference")
    yield from _made(state, state.plan)
    yield JobStep("trial tack", "trial tack", "trial tack")
    yield from _sewn(state, state.plan)
    for check in _with_cause(CHECKS, state.plan.steps):
        yield JobStep(f"check: {check}", "check", check, check=check)
    yield from _signed(state)


def _signed(state: JobState) -> Iterator[JobStep]:
    if state.opened.canopy.get("kind") in SECOND_PERSON:
        yield JobStep("second person", "inspect", "second person")
    yield JobStep("sign", "sign", "sign")


def _set_units(state: JobState) -> Iterator[Unit]:
    """Give the units of a set: what comes first, each length, line and pair in turn, and what comes last."""
    yield Unit(
        "the set",
        (
            JobStep("cause", "confirm", "cause"),
            JobStep("reference", "confirm", "reference"),
            JobStep("trial tack", "trial tack", "trial tack"),
        ),
    )
    count, lines = 1, dict[str, int]()
    for member in state.members:
        batch = [each for each in state.members if each.batch == member.batch]
        if len(batch) > 1 and member is batch[0]:
            yield Unit(f"length {member.batch + 1}", tuple(_stretched(state, batch)))
            count, lines[f"length {member.batch}"] = count + 1, count
        needs = (lines[f"length {member.batch}"],) if len(batch) > 1 else ()
        yield Unit(member.name, tuple(_of_member(state, member, shared=len(batch) > 1)), needs, member)
        count, lines[member.name] = count + 1, count
        pair = [each for each in state.members if each.pair == member.pair]
        if member is pair[-1]:
            yield Unit(f"{member.pair} checks", tuple(_of_pair(pair)), tuple(lines[each.name] for each in pair))
            count += 1
    last = [JobStep(f"check: {check}", "check", check, check=check) for check in SET_CHECKS]
    yield Unit("the whole set", (*last, *_signed(state)), tuple(range(count)))


def _stretched(state: JobState, batch: Sequence[Member]) -> Iterator[JobStep]:
    """Give the steps of one stretched length: its pieces marked off and numbered, one hold, then cut apart."""
    lines = tuple(line for member in batch for line in member.lines)
    for member in batch:
        for trap in member.plan.steps:
            if trap.end in {"link end", "joint"}:
                yield JobStep(f"{trap.guest}: cut", "cut", f"mark off {trap.guest}", trap.guest, trap, batch=lines)
    asked = False  # one hold is for all of them: more steps only where a piece was dealt with by itself
    for line in lines:
        fact = state.done.get(f"{line}: pre-stretch")
        if (asked and fact is None) or (fact is not None and fact.step != f"{line}: pre-stretch"):
            continue
        asked |= fact is None
        left = sum(f"{each}: pre-stretch" not in state.done for each in lines)
        label = f"pre-stretch {left or len(lines)} pieces"
        yield JobStep(f"{line}: pre-stretch", "pre-stretch", label, line, batch=lines)
    yield JobStep(f"length {batch[0].batch + 1}: cut apart", "confirm", "cut apart", batch=lines)


def _of_member(state: JobState, member: Member, shared: bool) -> Iterator[JobStep]:
    """Give the steps of one line of a set; the first of a pair has the pair's reference looked at."""
    pair = [each for each in state.members if each.pair == member.pair]
    if member is pair[0]:
        yield JobStep(f"{member.pair}: reference", "confirm", "reference", of=member.pair)
    for step in _made(state, member.plan):
        if shared and step.kind in {"pre-stretch", "cut"}:
            continue
        if step.key == f"{member.name}: route":
            yield JobStep(f"{member.name}: strip", "strip", f"old {member.name} off", member.name)
        yield step
    yield from _sewn(state, member.plan)


def _of_pair(pair: Sequence[Member]) -> Iterator[JobStep]:
    """Give the checks of a pair, or of one side alone: those that its plan gives cause for."""
    name = pair[0].pair
    whose = f"{name} left and right" if len(pair) > 1 else pair[0].name
    for check in _with_cause(_BY_PAIR, [trap for member in pair for trap in member.plan.steps]):
        yield JobStep(f"{name}: check: {check}", "check", check, check=check, of=whose)


def _with_cause(checks: Sequence[str], traps: Sequence[Step]) -> Iterator[str]:
    """Give the checks that there is something to look at for: of a line without a knot or a cascade not these."""
    no_cause = set() if any(trap.knot_m for trap in traps) else {"knot dressed"}
    if not any(trap.end == "joint" for trap in traps):
        no_cause.add("cascade and its tack")
    yield from (check for check in checks if check not in no_cause)


def _made(state: JobState, plan: LinePlan) -> Iterator[JobStep]:
    """Give the steps that make the lines of a plan, up to the last comparison before sewing."""
    for trap in plan.steps:
        line = trap.guest
        if trap.end == "link end":
            yield JobStep(f"{line}: cut", "cut", f"cut {line}", line, trap)
            yield JobStep(f"{line}: link loop", "link loop", f"link loop {line}", line, trap)
            yield JobStep(f"{line}: tack link loop", "sew", "tack the loop", line, trap)
            yield JobStep(f"{line}: pre-stretch", "pre-stretch", f"pre-stretch {line}", line, trap)
            yield JobStep(f"{line}: route", "confirm", "link, grommet, attachment", line, trap)
            continue
        yield JobStep(f"{trap.trap}: mark", "mark", _mark_label(trap), line, trap)
        if trap.leg_piece and trap.trap.endswith(" below") and not _has_old_leg(state, trap):
            yield JobStep(f"{trap.leg_piece}: cut", "cut leg", "cut the leg", line, trap)
        if trap.end == "joint":
            yield JobStep(f"{line}: cut", "cut", f"cut {line}", line, trap)
            yield JobStep(f"{line}: pre-stretch", "pre-stretch", f"pre-stretch {line}", line, trap)
        what = {"joint": f"trap {line} into {trap.host}", "loop": f"trap {trap.trap}"}.get(trap.end, f"trap {line}")
        yield JobStep(f"{trap.trap}: trap", "trap", what, line, trap)
        yield JobStep(f"{trap.trap}: set", "set", f"set {line}", line, trap)
        if trap.end == "joint":
            yield JobStep(f"{line}: route", "confirm", f"{line} to its attachment", line, trap)
        elif trap.end == "canopy end":
            yield from _comparisons(state, line, trap)


def _has_old_leg(state: JobState, trap: Step) -> bool:
    """Tell whether a leg was trapped before legs were numbered; then there is nothing left to cut."""
    return trap.leg_piece not in state.pieces and f"{trap.trap}: trap" in state.done


def _mark_label(trap: Step) -> str:
    labels = {"joint": f"mark where {trap.guest} enters", "loop": f"mark {trap.trap}"}
    return labels.get(trap.end, f"mark {trap.guest} at the canopy")


def _sewn(state: JobState, plan: LinePlan) -> Iterator[JobStep]:
    """Give the one sitting that sews a plan's traps, and the steps that compare its lines again.

    The tacks are sewn one after the other, and confirmed together: the foot is armed once. One that was confirmed by
    itself is not asked for again.
    """
    *before, last = [trap for trap in plan.steps if trap.end != "link end"]
    is_sewn = sew_key(last) in state.done
    also = tuple(trap for trap in before if is_sewn or sew_key(trap) not in state.done)
    label = f"sew {len(also) + 1} tacks" if also else f"sew {last.trap}"
    yield JobStep(sew_key(last), "sew", label, last.guest, last, also=also)
    for trap in plan.steps:
        if trap.end == "canopy end":
            yield from _comparisons(state, trap.guest, trap, after_sewing=True)


def sew_key(trap: Step) -> str:
    """Give the key by which a trap's tack is recorded as sewn."""
    return f"{trap.trap}: sew"


def _comparisons(state: JobState, line: str, trap: Step, after_sewing: bool = False) -> Iterator[JobStep]:
    """Give the comparisons of a line, and after each that found a difference what is to be done about it.

    Before sewing whatever can be moved is moved. After sewing a difference within the plan's tolerance is left; one
    outside it is unpicked, moved and sewn again, or left by name and reason.
    """
    chain = chain_of(line, after_sewing)
    plan = next((each.plan for each in state.members if line in each.lines), state.plan)
    bound_m = plan.settings.tolerance_m if after_sewing else LEAVE_BELOW_M

    def key(what: str, n: int) -> str:
        return f"{line}: {what}{' after sewing' if after_sewing else ''} {n}"

    def step(what: str, kind: Kind, label: str, n: int) -> JobStep:
        return JobStep(key(what, n), kind, label, line, trap, n, after_sewing=after_sewing)

    sewn = " after sewing" if after_sewing else ""
    for n, found in enumerate(state.comparisons.get(chain, ()), 1):
        yield step("compare", "compare", f"compare {line}{sewn}" if n == 1 else f"compare {line} again", n)
        difference_m = abs(found.difference_um) / 1e6
        if difference_m < LEAVE_BELOW_M or (after_sewing and difference_m <= bound_m):
            return
        yield step("adjust", "adjust", _adjust_label(found, after_sewing), n)
        moved = state.done.get(key("adjust", n))
        if moved is None or (isinstance(moved, Adjusted) and moved.action == "leave"):
            return
        if after_sewing:
            yield step("sew again", "sew", f"sew {line} again", n)
    n = len(state.comparisons.get(chain, ())) + 1
    yield step("compare", "compare", f"compare {line}{sewn}" if n == 1 else f"compare {line} again", n)


def _adjust_label(found: LineCompared, after_sewing: bool) -> str:
    what = f"take in {found.line}" if found.difference_um > 0 else f"let out {found.line}"
    return f"unpick, {what}" if after_sewing else what
