"""What can be said about a job: frozen facts in the past tense, each one entry of the chain.

Nothing is overwritten. A step gone back on, an amendment, an override are facts of their own that name what they
answer. Bodies hold integers and text only (millinewtons, micrometres, microseconds, ISO 8601), never a float, so
that they hash the same everywhere. The state of a job is a fold over its entries (see `station.bench.job`).

>>> check = Checked(job="26-0001", step="check: no twist", check="no twist")
>>> body_of(check)
{'kind': 'checked', 'job': '26-0001', 'step': 'check: no twist', 'check': 'no twist'}
>>> entry_of(body_of(check)) == check
True
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Facts = Mapping[str, str | int | None]


class EntryFault(ValueError):
    """A body is no entry this program knows; the message says which field and why."""


def line_called(title: str, side: str, number: str) -> str:
    """Say which line a job is on: its title, with side and number where that does not name them itself."""
    place = f"{side} {number}".strip()
    told = set(place.casefold().split()) <= set(title.casefold().split())
    return ", ".join(filter(None, [title, "" if told else place]))


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What every entry says: which job it belongs to, and which step of it it answers ('' where none).

    What was done to a scale, or said of a trial, belongs to no job: its `job` is ''.
    """

    job: str
    step: str = ""


@dataclass(frozen=True, kw_only=True)
class JobOpened(Entry):
    """A job was opened: whose canopy, what work, who works, on what basis, with what stock and instruments.

    `plan_toml` is the line plan's text as read, or a set job's with its plans, so that the record needs no other file.
    """

    title: str
    side: str
    number: str
    reference: str
    canopy: Facts = field(default_factory=dict)  # kind, type, make, size, serial, made, jumps, line_set
    owner: Facts = field(default_factory=dict)  # name, address
    work: Facts = field(
        default_factory=dict
    )  # kind, extent, cause, cause_removed, neighbours, place, drop_tests, document
    people: Facts = field(
        default_factory=dict
    )  # worker, supervisor, authority, certificate_kind, certificate, rating, seal
    stock: Facts = field(default_factory=dict)  # maker, specification, strength, lot, spool
    sewing: Facts = field(default_factory=dict)  # thread, thread_lot, needle, machine, settings
    measuring: Facts = field(default_factory=dict)  # cell, indicator, weights, scale_check, temperature
    line: Facts = field(default_factory=dict)  # reason, removed (length of the old line as text)
    plan_toml: str
    software: str

    @property
    def called(self) -> str:
        """Say which line it is."""
        return line_called(self.title, self.side, self.number)


@dataclass(frozen=True, kw_only=True)
class ScaleChecked(Entry):
    """A scale was checked against weights or a reference instrument, and this is known of it at the pull to judge.

    `uncertainty` is that of `ScaleUncertainty` (expanded_mn, standard_un, error_un); `scale_class` null where no class
    fits; `points` are what was found at each applied force, as integers; `latitude` the text it was given as;
    `check_hash` the SHA-256 of the check file's bytes.
    """

    job: str = ""
    scale: str
    target_mn: int
    uncertainty: Mapping[str, Any]
    scale_class: str | None
    points: tuple[Mapping[str, int | None], ...]
    by: str
    weights: str
    latitude: str | None
    check_hash: str


@dataclass(frozen=True, kw_only=True)
class DailyChecked(Entry):
    """A known weight was hung on the scale before work: whether it was indicated within `within_mn`."""

    job: str = ""
    scale: str
    known_mn: int
    indicated_mn: int
    agreed: bool
    within_mn: int


@dataclass(frozen=True, kw_only=True)
class ReferenceChecked(Entry):
    """What the new line is to be matched to was looked at before it was trusted, and said to be sound or not.

    Where it is not sound, `by` says who found that, and the new line is matched to `instead`, once that is sound.
    """

    reference: str  # opposite number, adjacent line, chart, old line
    sound: bool
    finding: str
    by: str = ""
    instead: str = ""


@dataclass(frozen=True, kw_only=True)
class StepDone(Entry):
    """A step that is confirmed and needs no figure was done: cause, reference, routing, setting, pins."""

    note: str = ""


@dataclass(frozen=True, kw_only=True)
class LineTurnedTo(Entry):
    """In a set job the rigger left the line at hand as it stands and turned to `line`."""

    line: str


@dataclass(frozen=True, kw_only=True)
class SteppedBack(Entry):
    """The rigger went back on `step`: what was recorded for it stands, and it is to be done again."""


@dataclass(frozen=True, kw_only=True)
class PieceCut(Entry):
    """A piece was cut from stock for `line` and given its number; `length_um` null where it was not measured.

    `lot` and `spool` stand here where they differ from the job's, as when a spool runs out.
    """

    line: str
    piece: str
    length_um: int | None
    lot: str = ""
    spool: str = ""


@dataclass(frozen=True, kw_only=True)
class HoldCompleted(Entry):
    """The time is complete, and the rigger was told to ease off; the verdict follows when the trace closes."""

    pieces: tuple[str, ...]
    trace: str  # hash of the trace so far
    specification: Mapping[str, Any]
    uncertainty: Mapping[str, Any] | None


@dataclass(frozen=True, kw_only=True)
class HoldJudged(Entry):
    """A hold was judged: everything needed to judge its stored trace again.

    `pieces` are the numbers of the pieces that lay between the grips. `response_us` is the scale's response or null.
    `judgement` holds verdict, reasons and figures as integers (see `station.measuring.hold.Judgement.facts`).
    """

    pieces: tuple[str, ...]
    trace: str
    specification: Mapping[str, Any]
    uncertainty: Mapping[str, Any] | None
    response_us: int | None
    program_fault: bool
    judgement: Mapping[str, Any]
    rule_version: int
    garbage_frames: int
    links_lost: tuple[str, ...]  # what was said of each, in order
    scale: str  # the scale's name or address, as the station file has it


@dataclass(frozen=True, kw_only=True)
class HoldByHand(Entry):
    """The piece was pulled by hand and not measured: said in just these words wherever the record is shown."""

    pieces: tuple[str, ...]
    by: str


@dataclass(frozen=True, kw_only=True)
class MarkMade(Entry):
    """A mark was made, so far past the opposite number's place (+ toward the canopy), under this pull."""

    trap: str
    mark: str
    line: str
    offset_um: int
    pull_mn: int | None


@dataclass(frozen=True, kw_only=True)
class TrapMade(Entry):
    """A running end was trapped this deep: `guest` lies inside `host`."""

    trap: str
    host: str
    guest: str
    trap_um: int


@dataclass(frozen=True, kw_only=True)
class TrapSet(Entry):
    """A trap was set: milked smooth and pulled; `pull_mn` is the highest pull seen, null where it was not measured."""

    trap: str
    pull_mn: int | None


@dataclass(frozen=True, kw_only=True)
class LineCompared(Entry):
    """A line was compared with its opposite number: `difference_um` > 0 means that the new line is long.

    Balanced, each pull is half of what the scale read. What a length gauge read on each of the two; null without one.
    With two cells, how well each one's scale was known (its expanded uncertainty); null where it was not checked.
    """

    line: str
    method: str  # in turn, balanced, two cells
    difference_um: int
    reference_pull_mn: int | None
    line_pull_mn: int | None
    after_sewing: bool
    reference_gauge_um: int | None = None
    line_gauge_um: int | None = None
    reference_expanded_mn: int | None = None
    line_expanded_mn: int | None = None


@dataclass(frozen=True, kw_only=True)
class Adjusted(Entry):
    """A line was taken in or let out at its canopy end by `move_um`, after which `trap_after_um` lies trapped."""

    line: str
    action: str  # take-in, let-out, or leave: then `by` and `reason` say who left it, and why
    move_um: int
    trap_after_um: int
    by: str = ""
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Tacked(Entry):
    """A trap was sewn, or, with `trial`, the same tack was tried on scrap of the same line and thread."""

    trap: str
    tack: str  # bar-tack, zigzag, as the original
    length_um: int | None
    stitches: int | None
    trial: bool = False


@dataclass(frozen=True, kw_only=True)
class Checked(Entry):
    """One check of the list was made and found good."""

    check: str


@dataclass(frozen=True, kw_only=True)
class Inspected(Entry):
    """A second, named person inspected the work."""

    by: str
    certificate: str
    finding: str


@dataclass(frozen=True, kw_only=True)
class Overridden(Entry):
    """A step was passed without what it asks for, by a named person, for a reason."""

    by: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class PieceOverpulled(Entry):
    """A pull went over the ceiling, or the scale was overloaded (`pull_mn` null), outside a judged hold.

    `pieces` are those that the pull went through; none where it was the reference that was pulled.
    """

    pieces: tuple[str, ...]
    pull_mn: int | None
    ceiling_mn: int


@dataclass(frozen=True, kw_only=True)
class PieceReleased(Entry):
    """A piece that saw an overload or a pull over its ceiling was released for use by a named person."""

    piece: str
    by: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class PieceScrapped(Entry):
    """A piece was scrapped; the job goes on with a new one."""

    piece: str
    by: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class SignedOff(Entry):
    """The job was signed off by a named person."""

    by: str
    certificate: str
    statement: str


@dataclass(frozen=True, kw_only=True)
class Amended(Entry):
    """An earlier entry of this job was put right: `seq` names it, `text` says what is true, `reason` why."""

    seq: int
    text: str
    reason: str
    by: str


@dataclass(frozen=True, kw_only=True)
class TrialLeftOut(Entry):
    """What a trap showed of the shortening was left out of what is learned, by a named person, for a reason.

    It belongs to no job, so that a job that is signed off stays as it was: `of_job` names it, `trap` the trap, and
    `trap_seq` the entry that says it was made, in the chain of `of_bench`, or, where that is '', in this one.
    """

    job: str = ""
    of_job: str
    trap: str
    trap_seq: int
    by: str
    reason: str
    of_bench: str = ""


@dataclass(frozen=True, kw_only=True)
class TrialCounted(Entry):
    """A trial that was left out counts again; as `TrialLeftOut`."""

    job: str = ""
    of_job: str
    trap: str
    trap_seq: int
    by: str
    reason: str
    of_bench: str = ""


KINDS: Mapping[str, type[Entry]] = {
    re.sub(r"(?<!^)(?=[A-Z])", "-", cls.__name__).lower(): cls
    for cls in (
        JobOpened,
        ScaleChecked,
        DailyChecked,
        ReferenceChecked,
        StepDone,
        LineTurnedTo,
        SteppedBack,
        PieceCut,
        HoldCompleted,
        HoldJudged,
        HoldByHand,
        PieceOverpulled,
        MarkMade,
        TrapMade,
        TrapSet,
        LineCompared,
        Adjusted,
        Tacked,
        Checked,
        Inspected,
        Overridden,
        PieceReleased,
        PieceScrapped,
        SignedOff,
        Amended,
        TrialLeftOut,
        TrialCounted,
    )
}
_NAMES = {cls: kind for kind, cls in KINDS.items()}


def body_of(entry: Entry) -> dict[str, Any]:
    """Give the entry as a JSON object of integers, text and lists, with its kind."""
    values = {each.name: getattr(entry, each.name) for each in dataclasses.fields(entry)}
    return {"kind": _NAMES[type(entry)]} | {
        name: list(value) if isinstance(value, tuple) else value for name, value in values.items()
    }


def entry_of(body: Mapping[str, Any]) -> Entry:
    """Give the entry a body stands for. Raises `EntryFault` for an unknown kind or field, or a missing one."""
    kind = body.get("kind")
    cls = KINDS.get(kind) if isinstance(kind, str) else None
    if cls is None:
        raise EntryFault(f"found an entry of kind {kind!r}, expected one of {', '.join(KINDS)}")
    known = {each.name for each in dataclasses.fields(cls)}
    fields = {name: value for name, value in body.items() if name != "kind"}
    if unknown := sorted(set(fields) - known):
        raise EntryFault(f"found {unknown[0]!r} in an entry of kind {kind}, expected only {', '.join(sorted(known))}")
    try:
        values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in fields.items()}
        return cls(**values)
    except TypeError as fault:
        raise EntryFault(f"an entry of kind {kind} is not whole: {fault}") from None
