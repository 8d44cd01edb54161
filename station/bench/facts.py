"""The facts a step leaves behind, and what is said of them on the screen.

>>> from station.bench.job import EXAMPLE_PLAN, example_opening, plan_table
>>> from station.linework.line_plan import make_plan
>>> from station.settings.plan import read_plan
>>> state = JobState(example_opening(), make_plan(read_plan(plan_table(EXAMPLE_PLAN))))
>>> said_of(fact_of(state, state.steps[2], "12", None), "imperial")
'piece 12 is A'
"""

from __future__ import annotations

from station.bench.comparing import Difference
from station.bench.job import JobState, JobStep, adjustment_fact
from station.linework.line_plan import Step
from station.measuring.hold import RULE_VERSION
from station.measuring.live_hold import Closed, LiveHold
from station.measuring.trace import Trace
from station.records.entries import (
    Adjusted,
    Checked,
    Entry,
    HoldByHand,
    HoldCompleted,
    HoldJudged,
    Inspected,
    LineCompared,
    LineTurnedTo,
    MarkMade,
    Overridden,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    SignedOff,
    StepDone,
    Tacked,
    TrapMade,
    TrapSet,
)
from station.records.words import numbered
from station.units import LengthSystem, length_text

# What a tap at the reference step answers: yes, to just what the screen asks there, by nobody in particular.
LOOKED_AT = "asked for its condition, its neighbours, the maker's chart, and whether left is meant to equal right"
CHART_LOOKED_AT = "asked for its maker, canopy, size and revision, and whether left is meant to equal right"

# What lies inside a trap of a loop whose leg is a piece of its own, where that was trapped before legs were numbered.
UNNUMBERED_LEG = "a leg of its own piece, number and lot not recorded"


def fact_of(state: JobState, step: JobStep, piece: str, pull_mn: int | None) -> Entry:
    """Give the fact that says that a step is done.

    `piece` numbers a piece cut now; `pull_mn` is the pull now, or the highest while a trap was set; None where it was
    not measured.
    """
    job, key, trap = state.opened.job, step.key, step.trap
    if step.kind == "cut":
        line = next(each for each in state.plan_of(step).lines if each.name == step.line)
        length_um = None if line.cut_length_m is None else round(line.cut_length_m * 1e6)
        return PieceCut(job=job, step=key, line=step.line, piece=piece, length_um=length_um)
    if step.kind == "cut leg" and trap is not None and trap.leg_piece is not None:
        length_um = round(leg_m(state, step) * 1e6)
        return PieceCut(job=job, step=key, line=trap.leg_piece, piece=piece, length_um=length_um)
    if step.kind == "mark" and trap is not None:
        mark = trap.marks[0]
        offset_um = round(mark.offset_m * 1e6)
        return MarkMade(
            job=job, step=key, trap=trap.trap, mark=mark.name, line=trap.host, offset_um=offset_um, pull_mn=pull_mn
        )
    if step.kind in {"trap", "link loop"} and trap is not None:
        trap_um = round(trap.trap_m * 1e6)
        leg = state.pieces.get(trap.leg_piece or "")
        guest = f"{trap.leg_piece}, piece {leg}," if leg else UNNUMBERED_LEG if trap.leg_piece else trap.guest
        return TrapMade(job=job, step=key, trap=trap.trap, host=trap.host, guest=guest, trap_um=trap_um)
    if step.kind == "set" and trap is not None:
        return TrapSet(job=job, step=key, trap=trap.trap, pull_mn=pull_mn)
    if step.label == "reference":
        asked = CHART_LOOKED_AT if state.reference == "chart" else LOOKED_AT
        return ReferenceChecked(job=job, step=key, reference=state.reference, sound=True, finding=asked)
    if step.kind == "adjust":
        return adjustment_fact(state, step)
    if step.kind in {"sew", "trial tack"}:
        return tacked_fact(state, key, trap)
    if step.kind == "check":
        return Checked(job=job, step=key, check=f"{step.check}, {step.of}" if step.of else step.check)
    return StepDone(job=job, step=key)


def tacked_fact(state: JobState, key: str, trap: Step | None) -> Tacked:
    """Give the fact that a trap's tack was sewn, or without a trap that it was tried on scrap."""
    sewing = (trap or state.plan.steps[0]).sewing
    return Tacked(
        job=state.opened.job,
        step=key,
        trap=trap.trap if trap else "",
        tack=sewing.kind if sewing else "as the original",
        length_um=round(sewing.length_m * 1e6) if sewing else None,
        stitches=sewing.stitches if sewing else None,
        trial=trap is None,
    )


def compared_fact(
    job: str, step: JobStep, found: Difference, method: str, cells_known_mn: tuple[int | None, int | None]
) -> LineCompared:
    """Give the fact of what a comparison found; of two cells with how well each is known."""
    reference_expanded_mn, line_expanded_mn = cells_known_mn
    return LineCompared(
        job=job,
        step=step.key,
        line=step.line,
        method=method,
        difference_um=found.difference_um,
        reference_pull_mn=found.reference_mn,
        line_pull_mn=found.line_mn,
        after_sewing=step.after_sewing,
        reference_gauge_um=found.reference_gauge_um,
        line_gauge_um=found.line_gauge_um,
        reference_expanded_mn=reference_expanded_mn,
        line_expanded_mn=line_expanded_mn,
    )


def leg_m(state: JobState, step: JobStep) -> float:
    """Give how long the leg of a step's loop is to be cut."""
    host, loop = (step.trap.host, step.trap.trap) if step.trap else ("", "")
    line = next(each for each in state.plan_of(step).lines if each.name == host)
    return line.loop_pieces_m[loop.removeprefix(f"{host} ").rpartition(" ")[0]]


def completed_fact(job: str, step: str, pieces: tuple[str, ...], hold: LiveHold) -> tuple[HoldCompleted, Trace]:
    """Give the fact that a hold's time is complete, with the trace so far."""
    trace = hold.trace
    uncertainty = hold.state.uncertainty
    return (
        HoldCompleted(
            job=job,
            step=step,
            pieces=pieces,
            trace=trace.digest(),
            specification=hold.spec.facts(),
            uncertainty=uncertainty.facts() if uncertainty else None,
        ),
        trace,
    )


def judged_fact(job: str, step: str, pieces: tuple[str, ...], hold: LiveHold, closed: Closed, scale: str) -> HoldJudged:
    """Give the fact that a hold was judged; `scale` is the scale's name in records."""
    uncertainty = hold.state.uncertainty
    return HoldJudged(
        job=job,
        step=step,
        pieces=pieces,
        trace=closed.trace.digest(),
        specification=hold.spec.facts(),
        uncertainty=uncertainty.facts() if uncertainty else None,
        response_us=hold.response_us,
        program_fault="program-fault" in closed.judgement.reasons,
        judgement=closed.judgement.facts(),
        rule_version=RULE_VERSION,
        garbage_frames=hold.garbage,
        links_lost=tuple(lost.why for lost in hold.links_lost),
        scale=scale,
    )


def said_of(entry: Entry, lengths: LengthSystem) -> str:
    """Say what was recorded, in a few words; nothing where the step's own label says it."""

    def length(um: int) -> str:
        return length_text(um / 1e6, lengths)

    if isinstance(entry, PieceCut):
        return f"piece {entry.piece} is {entry.line}"
    if isinstance(entry, HoldJudged):
        return f"pre-stretch {entry.judgement['verdict'].replace('-', ' ')}, {numbered(entry.pieces)}"
    if isinstance(entry, HoldByHand):
        return f"{numbered(entry.pieces)} pulled by hand, not measured"
    if isinstance(entry, MarkMade):
        return f"{entry.mark} marked on {entry.line}"
    if isinstance(entry, TrapMade):
        return f"{entry.trap}: {length(entry.trap_um)} trapped"
    if isinstance(entry, LineCompared):
        if not entry.difference_um:
            return f"{entry.line} level"
        side = "long" if entry.difference_um > 0 else "short"
        return f"{entry.line} {length(abs(entry.difference_um))} {side}"
    if isinstance(entry, Adjusted):
        left = entry.action == "leave"
        return f"{entry.line} left as it is" if left else f"{entry.line}: {length(entry.trap_after_um)} trapped"
    if isinstance(entry, Tacked):
        return "trial tack" if entry.trial else f"{entry.trap} sewn"
    if isinstance(entry, Checked):
        return entry.check
    if isinstance(entry, LineTurnedTo):
        return f"turned to {entry.line}"
    return _said_of_deed(entry)


def _said_of_deed(entry: Entry) -> str:
    """Say what somebody looked at, or answers for by name."""
    if isinstance(entry, ReferenceChecked):
        return f"{entry.reference} {'sound' if entry.sound else f'not sound: {entry.instead} instead'}"
    if isinstance(entry, PieceScrapped | PieceReleased):
        return f"piece {entry.piece} {'scrapped' if isinstance(entry, PieceScrapped) else 'released'} by {entry.by}"
    if isinstance(entry, SignedOff | Inspected | Overridden):
        done = {SignedOff: "signed off by", Inspected: "inspected by", Overridden: "passed without it, by"}[type(entry)]
        return f"{done} {entry.by}"
    if isinstance(entry, TrapSet):
        return f"{entry.trap} set"
    if isinstance(entry, StepDone):
        return ""
    return {HoldCompleted: "time complete", PieceOverpulled: "a pull over the ceiling"}.get(
        type(entry), "one step back"
    )
