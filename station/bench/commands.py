"""Keyboard and mouse: what can be done now, what must be answered for it, and doing it.

The window offers what `offered` gives and nothing else is carried out, whoever asks. Override, leaving a difference,
scrapping, releasing, inspection and signature are never by foot, and each asks for a name that somebody can read years
later.

>>> needed("override")
('by', 'reason')
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from fractions import Fraction

from station.bench.bench import Bench
from station.bench.comparing import NOT_THE_SAME
from station.bench.job import JobStep, adjustment_fact
from station.bench.snapshot import Command
from station.records.entries import (
    Entry,
    HoldByHand,
    Inspected,
    Overridden,
    PieceReleased,
    PieceScrapped,
    SignedOff,
)
from station.units import quantity

LARGEST_DIFFERENCE_M = Fraction("0.6096")  # 24 in: more is a slip of the finger, or another line
_NEEDED: dict[Command, tuple[str, ...]] = {
    "override": ("by", "reason"),
    "accept": ("by", "reason"),
    "scrap": ("by", "reason"),
    "release": ("by", "reason"),
    "by hand": ("by",),
    "inspect": ("by", "finding"),
    "sign": ("by",),
}


class FormFault(ValueError):
    """What was typed into a form cannot be taken; the message names the field, what was found and what was expected."""


def needed(command: Command) -> tuple[str, ...]:
    """Give the fields that a command needs answered."""
    return _NEEDED.get(command, ())


def offered(bench: Bench) -> tuple[Command, ...]:
    """Give what can be done now; a tap does `done` or `level` where one of them is offered."""
    step = bench.step
    if step is None or bench.stopped:
        return ()
    if bench.blocked_piece:
        return ("scrap", "release")
    if step.kind == "pre-stretch":
        if bench.by_hand:
            return ("by hand", "override", "back")
        waiting = bench.watch is None or bench.watch.phase == "waiting"
        return ("back", "by hand", "override") if waiting else ()
    if step.kind == "compare":
        comparing = bench.comparing
        pulling = comparing is None or comparing.phase in {"reference", "line"}
        return ("level" if pulling else "done", "back", "long?")
    if step.kind == "adjust":
        return ("done", "back", "accept", "override")
    if step.kind in {"inspect", "sign"}:
        return ("inspect" if step.kind == "inspect" else "sign", "back")
    return ("done",) if bench.state.before is None else ("done", "back")


def carry_out(bench: Bench, command: Command, form: Mapping[str, str] | None = None) -> None:
    """Carry out a command of the keyboard or mouse; `form` holds what was typed.

    What is not offered is not done, and said so. Raises `FormFault` or `QuantityFault` where what was typed cannot be
    taken.
    """
    answers = {name: text.strip() for name, text in (form or {}).items()}
    step = bench.step
    if bench.stopped or step is None:
        return
    if command not in offered(bench):
        bench.not_counted("this cannot be done now")
        return
    for name in needed(command):
        if not answers.get(name):
            raise FormFault(f"{name}: nothing is written; write what somebody can read years later")
    if command in {"done", "level"}:
        bench.key_tap()
    elif command == "back":
        bench.back()
    elif command == "long?":
        _typed_difference(bench, step, answers.get("difference", ""))
    else:
        bench.record(_named_fact(bench, step, command, answers))


def _typed_difference(bench: Bench, step: JobStep, text: str) -> None:
    """Take a difference that was typed, under the pull that a tap would need."""
    comparing = bench.comparing
    if comparing is None:
        return
    difference_m = quantity(text, "length")
    if abs(difference_m) > LARGEST_DIFFERENCE_M:
        raise FormFault(f"difference: found {text!r}, expected at most 24 in either way: compare again")
    if comparing.phase == "reference":
        bench.not_counted(f"first the {bench.state.opened.reference}, then the new line, under the same pull")
    elif comparing.phase == "line" and not comparing.pull_is_right(bench.pull_mn):
        bench.not_counted(NOT_THE_SAME)
    else:
        bench.compared(step, comparing.found(round(difference_m * 10**6), bench.pull_mn))


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
        return HoldByHand(job=job, step=key, pieces=(state.pieces[step.line],), by=by)
    if command in {"scrap", "release"}:
        fact = PieceScrapped if command == "scrap" else PieceReleased
        return fact(job=job, piece=bench.blocked_piece or state.pieces[step.line], by=by, reason=reason)
    if command == "inspect":
        worker = str(state.opened.people.get("worker") or "")
        if by.casefold() == worker.casefold():
            raise FormFault(f"by: found {by!r}, who did the work; expected a second person")
        return Inspected(job=job, step=key, by=by, certificate=certificate, finding=answers["finding"])
    return SignedOff(job=job, step=key, by=by, certificate=certificate, statement=answers.get("statement", ""))
