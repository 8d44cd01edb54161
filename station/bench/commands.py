"""Keyboard and mouse: what can be done now, what must be answered for it, and doing it.

The window offers what `offered` gives and nothing else is carried out, whoever asks. An override, a reference that is
not sound, a difference that is left, scrapping, releasing, inspection and signature are never by foot, and each asks
for a name that somebody can read years later.

>>> needed("override")
('by', 'reason')
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from fractions import Fraction

from station.bench.bench import Bench
from station.bench.job import JobStep, adjustment_fact
from station.bench.members import opposite_of
from station.bench.snapshot import LONG_PRESSES, TAPS, Command, tap_of
from station.records.entries import (
    Entry,
    HoldByHand,
    Inspected,
    LineTurnedTo,
    Overridden,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    SignedOff,
)
from station.settings.plan import REFERENCES
from station.units import quantity

LARGEST_DIFFERENCE_M = Fraction("0.6096")  # 24 in: more is a slip of the finger, or another line
_NEEDED: dict[Command, tuple[str, ...]] = {
    "override": ("by", "reason"),
    "accept": ("by", "reason"),
    "scrap": ("by", "reason"),
    "release": ("by", "reason"),
    "by hand": ("by",),
    "not sound": ("by", "finding", "instead"),
    "inspect": ("by", "finding"),
    "sign": ("by",),
    "another line": ("line",),
}


class FormFault(ValueError):
    """What was typed into a form cannot be taken; the message names the field, what was found and what was expected."""


def needed(command: Command) -> tuple[str, ...]:
    """Give the fields that a command needs answered."""
    return _NEEDED.get(command, ())


def offered(bench: Bench) -> tuple[Command, ...]:
    """Give what can be done now; a tap does what of `TAPS` is offered.

    In a set job another line may be turned to wherever nothing is under way.
    """
    step = bench.step
    if step is None or bench.stopped:
        return ()
    commands = _offered(bench, step)
    unit = bench.state.unit_of(step)
    turns = bench.state.members and unit.name not in {"the set", "the whole set"} and "back" in commands
    return (*commands, "another line") if turns else commands


def _offered(bench: Bench, step: JobStep) -> tuple[Command, ...]:
    if bench.blocked_piece:
        return ("scrap", "release")
    if step.kind == "pre-stretch":
        if bench.by_hand:
            return ("by hand", "override", "back")
        waiting = bench.watch is None or bench.watch.phase == "waiting"
        return ("by hand", "override", "back") if waiting else ()
    if step.kind == "compare":
        return _comparing(bench)
    if step.kind == "adjust":
        return ("done", "accept", "override", "back")
    if step.kind == "strip" and bench.state.why_not_strip(step):
        return ("back",)
    if step.kind in {"inspect", "sign"}:
        return ("inspect" if step.kind == "inspect" else "sign", "back")
    if step.label == "reference":
        return ("done", "not sound", "back")
    return ("done",) if bench.state.before is None else ("done", "back")


def _comparing(bench: Bench) -> tuple[Command, ...]:
    """Give what can be done in a comparison: what a tap and a long press do, where they count."""
    comparing, pulls = bench.comparing, bench.pulls
    if comparing is None:
        return ("back",)
    counts = () if comparing.why_no_tap(pulls) else (comparing.tap_does(pulls),)
    pressed = comparing.long_press_does
    if pressed is None or (comparing.phase == "line" and comparing.why_not(pulls)):
        return (*counts, "back")
    return (*counts, pressed, "long?", "back")


def carry_out(bench: Bench, command: Command, form: Mapping[str, str] | None = None) -> None:
    """Carry out a command of the keyboard or mouse; `form` holds what was typed.

    What is not offered is not done, and said so. Raises `FormFault` or `QuantityFault` where what was typed cannot be
    taken.
    """
    answers = {name: text.strip() for name, text in (form or {}).items()}
    step = bench.step
    if bench.stopped or step is None:
        return
    can = offered(bench)
    if command not in can:
        if command in TAPS and tap_of(can) is None:
            bench.tap(bench.now_us)  # which says why it does not count
        else:
            wrong_pull = bench.comparing.why_not(bench.pulls) if bench.comparing else ""
            bench.not_counted(wrong_pull or "this cannot be done now")
        return
    for name in needed(command):
        if not answers.get(name):
            raise FormFault(f"{name}: nothing is written; write what somebody can read years later")
    if command in TAPS:
        bench.key_tap()
    elif command in LONG_PRESSES:
        bench.long_press(bench.now_us)
    elif command == "back":
        bench.back()
    elif command == "another line":
        _turn(bench, answers["line"])
    elif command == "long?":
        _typed_difference(bench, step, answers.get("difference", ""))
    else:
        bench.record(_named_fact(bench, step, command, answers))


def _typed_difference(bench: Bench, step: JobStep, text: str) -> None:
    """Take a difference that was typed; it is offered under the pull that a tap would need."""
    comparing = bench.comparing
    if comparing is None:
        return
    difference_m = quantity(text, "length")
    if abs(difference_m) > LARGEST_DIFFERENCE_M:
        raise FormFault(f"difference: found {text!r}, expected at most 24 in either way: compare again")
    bench.compared(step, comparing.found(round(difference_m * 10**6), bench.pulls))


def lines_to_turn_to(bench: Bench) -> tuple[str, ...]:
    """Give the lines of a set that do not stand yet, in the order in which they come after the one at hand.

    Where the one at hand waits for its opposite number, that comes first.
    """
    state = bench.state
    names = [unit.name for unit in state.units if unit.member and not state.is_done(unit)]
    here = state.at.name if state.at else ""
    order = [unit.name for unit in state.units]
    after = [name for name in names if here in order and order.index(name) > order.index(here)]
    waits = bench.step is not None and bool(state.why_not_strip(bench.step))
    other = opposite_of(state.members, state.at.member) if waits and state.at and state.at.member else None
    first = [other.name] if other else []
    return tuple(dict.fromkeys([*first, *after, *(name for name in names if name != here)]))


def _turn(bench: Bench, text: str) -> None:
    """Leave the line at hand as it stands, and turn to another that does not stand yet."""
    known = lines_to_turn_to(bench)
    line = next((each for each in known if each.casefold() == " ".join(text.split()).casefold()), None)
    if line is None:
        raise FormFault(f"line: found {text!r}, expected a line that is still to be made: {', '.join(known) or 'none'}")
    bench.record(LineTurnedTo(job=bench.job, line=line))


def _named_fact(bench: Bench, step: JobStep, command: Command, answers: Mapping[str, str]) -> Entry:
    """Give the fact that a named person answers for."""
    job, key, state = bench.job, step.key, bench.state
    by, reason, certificate = answers["by"], answers.get("reason", ""), answers.get("certificate", "")
    if command == "accept":
        trapped_um = round(state.trapped_m(step.trap) * 1e6) if step.trap else 0
        moved = adjustment_fact(state, step)
        return dataclasses.replace(moved, action="leave", move_um=0, trap_after_um=trapped_um, by=by, reason=reason)
    if command == "override":
        return Overridden(job=job, step=key, by=by, reason=reason)
    if command == "by hand":
        return HoldByHand(job=job, step=key, pieces=state.hold_pieces(step), by=by)
    if command == "not sound":
        instead, finding = answers["instead"], answers["finding"]
        if instead not in REFERENCES:
            raise FormFault(f"instead: found {instead!r}, expected one of: {', '.join(REFERENCES)}")
        return ReferenceChecked(
            job=job, step=key, reference=state.reference, sound=False, finding=finding, by=by, instead=instead
        )
    if command in {"scrap", "release"}:
        fact = PieceScrapped if command == "scrap" else PieceReleased
        return fact(job=job, piece=bench.blocked_piece or state.pieces[step.line], by=by, reason=reason)
    if command == "inspect":
        worker = str(state.opened.people.get("worker") or "")
        if by.casefold() == worker.casefold():
            raise FormFault(f"by: found {by!r}, who did the work; expected a second person")
        return Inspected(job=job, step=key, by=by, certificate=certificate, finding=answers["finding"])
    return SignedOff(job=job, step=key, by=by, certificate=certificate, statement=answers.get("statement", ""))
