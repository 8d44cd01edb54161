"""A job gathered from its entries: what came out, piece by piece and line by line, and what stands open.

The order is that of the entries, and nothing that was recorded is left out. What is not there is said to be not there:
a piece without a hold, a line never compared after sewing, a hold whose time was complete and whose verdict was never
recorded because the program was stopped.

>>> sheet = JobSheet.of("26-0001", [])
>>> sheet.results()[-1]
('inspection', 'none by a second person recorded')
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

from station.records.chain import BodyFault
from station.records.entries import (
    Adjusted,
    Amended,
    Checked,
    DailyChecked,
    Entry,
    HoldByHand,
    HoldCompleted,
    HoldJudged,
    Inspected,
    JobOpened,
    LineCompared,
    Overridden,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    ScaleChecked,
    SignedOff,
    SteppedBack,
    Tacked,
    TrapMade,
)
from station.records.rows import Row
from station.records.words import (
    BASIS,
    BY_HAND,
    CANOPY,
    LINE,
    MEASURING,
    NOT_RECORDED,
    OWNER,
    PEOPLE,
    SEWING,
    STOCK,
    VERDICTS,
    WORK,
    count,
    difference,
    facts,
    figures,
    groups,
    in_words,
    numbered,
    overpulled,
    value,
    verdict,
)

E_co = TypeVar("E_co", bound=Entry, covariant=True)
E = TypeVar("E", bound=Entry)
_HELD = VERDICTS["held"]
_NAMED_AT_MOST = 3  # pieces; more are counted


@dataclass(frozen=True)
class Told(Generic[E_co]):
    """An entry as the job tells it: its number, when (UTC text), and what happened."""

    seq: int
    at: str
    entry: E_co


@dataclass(frozen=True)
class Piece:
    """What is recorded of one numbered piece of line."""

    number: str
    line: str | None
    holds: tuple[Told[HoldJudged], ...]
    by_hand: tuple[Told[HoldByHand], ...]
    overpulled: tuple[Told[PieceOverpulled], ...]
    released: tuple[Told[PieceReleased], ...]
    scrapped: tuple[Told[PieceScrapped], ...]
    unjudged: int  # holds whose time was complete and whose verdict was never recorded
    leg: bool = False  # it lies beside a line as the leg of a loop: trapped below the loop, and above

    @property
    def state(self) -> str:
        """Say in a few words how the piece stands."""
        if self.overpulled and not self.released:
            return "pulled over the ceiling"
        if self.unjudged:
            return "without a recorded verdict"
        if self.holds:
            return _verdict(self.holds[-1])
        return BY_HAND if self.by_hand else "not pre-stretched"


@dataclass(frozen=True)
class JobSheet:
    """All that is recorded of one job, in the order it was recorded. `unreadable` are entries that are damaged."""

    job: str
    bench: str
    told: tuple[Told[Entry], ...]
    unreadable: tuple[tuple[int, str], ...]
    last_hash: str

    @classmethod
    def of(cls, job: str, rows: Iterable[Row]) -> JobSheet:
        """Gather a job's rows, which come in the order of their numbers."""
        told: list[Told[Entry]] = []
        unreadable: list[tuple[int, str]] = []
        row: Row | None = None
        for row in rows:
            try:
                told.append(Told(row.seq, row.at, row.entry))
            except BodyFault as fault:
                unreadable.append((row.seq, str(fault)))
        return cls(job, row.bench if row else "", tuple(told), tuple(unreadable), row.hash if row else "")

    def of_kind(self, kind: type[E]) -> list[Told[E]]:
        """Give the entries of one kind."""
        return [Told(each.seq, each.at, each.entry) for each in self.told if isinstance(each.entry, kind)]

    @property
    def opened(self) -> JobOpened | None:
        """What was said when the job was opened."""
        opened = self.of_kind(JobOpened)
        return opened[0].entry if opened else None

    @property
    def span(self) -> tuple[str, str]:
        """When the first and the last entry were made."""
        return (self.told[0].at, self.told[-1].at) if self.told else ("", "")

    @property
    def last_seq(self) -> int:
        """The number of the last entry."""
        return max((each.seq for each in self.told), default=0)

    @property
    def signed_off(self) -> Told[SignedOff] | None:
        """The last signature under the job."""
        signed = self.of_kind(SignedOff)
        return signed[-1] if signed else None

    def gone_back_on(self) -> set[int]:
        """Give the numbers of the entries whose step the rigger went back on afterwards."""
        back = {each.entry.step: each.seq for each in self.of_kind(SteppedBack) if each.entry.step}
        return {
            each.seq
            for each in self.told
            if each.seq < back.get(each.entry.step, 0) and not isinstance(each.entry, SteppedBack)
        }

    def standing(self, kind: type[E]) -> list[Told[E]]:
        """Give the entries of one kind whose step was not gone back on."""
        back = self.gone_back_on()
        return [each for each in self.of_kind(kind) if each.seq not in back]

    def pieces(self) -> list[Piece]:
        """Give every piece that was cut, pulled, released or scrapped, in the order it was first named."""
        lines: dict[str, str | None] = {}
        for each in self.told:
            entry = each.entry
            if isinstance(entry, PieceCut):
                lines[entry.piece] = entry.line
            elif isinstance(entry, HoldCompleted | HoldJudged | HoldByHand | PieceOverpulled):
                for number in entry.pieces:
                    lines.setdefault(number, None)
            elif isinstance(entry, PieceReleased | PieceScrapped):
                lines.setdefault(entry.piece, None)
        return [self._piece(number, line) for number, line in lines.items()]

    def _piece(self, number: str, line: str | None) -> Piece:
        waiting, unjudged = False, 0
        for each in self.told:
            if isinstance(each.entry, HoldCompleted) and number in each.entry.pieces:
                unjudged += waiting
                waiting = True
            elif isinstance(each.entry, HoldJudged) and number in each.entry.pieces:
                waiting = False
        return Piece(
            number,
            line,
            tuple(each for each in self.of_kind(HoldJudged) if number in each.entry.pieces),
            tuple(each for each in self.of_kind(HoldByHand) if number in each.entry.pieces),
            tuple(each for each in self.of_kind(PieceOverpulled) if number in each.entry.pieces),
            tuple(each for each in self.of_kind(PieceReleased) if each.entry.piece == number),
            tuple(each for each in self.of_kind(PieceScrapped) if each.entry.piece == number),
            unjudged + waiting,
            any(f"{each.entry.trap.removesuffix(' below')} leg" == line for each in self.of_kind(TrapMade)),
        )

    def holds_in_words(self) -> str:
        """Say of the pieces that are in the work how they stand, each by its last hold; then the other tries.

        >>> JobSheet("26-0001", "", (), (), "").holds_in_words()
        'none judged'
        """
        holds, pieces = self.of_kind(HoldJudged), self.pieces()
        standing = [piece for piece in pieces if not piece.scrapped]
        if not holds:
            return "none judged" + (f", {BY_HAND}" if any(piece.by_hand for piece in standing) else "")
        states: dict[str, list[str]] = {}
        for piece in standing:
            states.setdefault(piece.state, []).append(piece.number)
        held, said = len(states.pop(_HELD, ())), list[str]()
        if held:
            whole = {1: "the piece", 2: "both pieces"}.get(held, f"all {held} pieces")
            said.append(f"{f'{held} of {len(standing)} pieces' if states else whole} {_HELD}")
        for state, numbers in states.items():
            which = numbered(numbers) if len(numbers) <= _NAMED_AT_MOST else count(len(numbers), "piece")
            said.append(f"{which} {state}")
        last = {piece.holds[-1].seq for piece in standing if piece.holds}
        others = [_verdict(each) for each in holds if each.seq not in last]
        when = "earlier" if len(standing) == len(pieces) else "other"
        for found in dict.fromkeys(others):
            said.append(f"{count(others.count(found), f'{when} try', f'{when} tries')} {found}")
        return ", ".join(said)

    def logbook_line(self) -> str:
        """Give the job as one line for a logbook."""
        opened, signed = self.opened, self.signed_off
        canopy, work, people = (opened.canopy, opened.work, opened.people) if opened else ({}, {}, {})
        line = ", ".join(each for each in (opened.side, opened.number) if each) if opened else ""
        by = (
            (signed.entry.by, signed.entry.certificate) if signed else (people.get("worker"), people.get("certificate"))
        )
        parts = [
            (signed.at[:10] if signed else self.span[1][:10]) or NOT_RECORDED,
            f"{value(canopy.get('type'))}, serial {value(canopy.get('serial'))}",
            f"{value(opened.title if opened else None)} ({line or NOT_RECORDED})",
            f"worked to {value(work.get('document'))}",
            f"pre-stretch: {self.holds_in_words()}",
            f"{value(by[0])}, {value(by[1])}" + ("" if signed else ", NOT SIGNED OFF"),
            f"job {self.job}, entry {self.last_seq}, anchor {groups(self.last_hash[:16]) or NOT_RECORDED} ...",
        ]
        return "; ".join(parts)

    def results(self) -> list[tuple[str, str]]:
        """Say what came out, as a label and words each: reference, pieces, comparisons, what was passed, inspection."""
        checks = len({each.entry.check for each in self.standing(Checked)})
        return [
            *(("reference", f"{in_words(each.entry)} (entry {each.seq})") for each in self._references()),
            *((_named(piece), _of_piece(piece)) for piece in self.pieces()),
            *self._comparisons(),
            *(("left", f"{in_words(each.entry)} (entry {each.seq})") for each in self._left()),
            ("tacks", self._tacks()),
            ("checks", f"{count(checks, 'check')} made and found good" if checks else "none recorded"),
            *(("passed without", f"{in_words(each.entry)} (entry {each.seq})") for each in self.of_kind(Overridden)),
            *(("put right", f"{in_words(each.entry)} (entry {each.seq})") for each in self.of_kind(Amended)),
            *((f"entry {seq}", f"damaged: {why}") for seq, why in self.unreadable),
            ("inspection", self._inspection()),
        ]

    def _references(self) -> list[Told[ReferenceChecked]]:
        """Give every reference that was found not sound, and the last that was looked at."""
        looked_at = self.of_kind(ReferenceChecked)
        return [each for each in looked_at if not each.entry.sound or each is looked_at[-1]]

    def _left(self) -> list[Told[Adjusted]]:
        return [each for each in self.standing(Adjusted) if each.entry.action == "leave"]

    def _comparisons(self) -> Iterator[tuple[str, str]]:
        last = {each.entry.line: each for each in self.standing(LineCompared)}
        for line, each in last.items():
            when = "after sewing" if each.entry.after_sewing else "before sewing; none after it recorded"
            yield f"line {line}", f"{difference(each.entry)}, {when} ({each.entry.method}, entry {each.seq})"
        if not last:
            yield "comparison", "none with the reference recorded"

    def _tacks(self) -> str:
        trials = [each.entry.trial for each in self.standing(Tacked)]
        sewn = f"{count(len(trials) - sum(trials), 'tack')} sewn, {count(sum(trials), 'trial tack')} on scrap"
        return sewn if trials else "none recorded"

    def _inspection(self) -> str:
        found = [f"{in_words(each.entry)} (entry {each.seq})" for each in self.of_kind(Inspected)]
        return "; ".join(found) or "none by a second person recorded"


def checks_in_force(sheet: JobSheet, rows: Iterable[Row]) -> list[Told[Entry]]:
    """Give the last full and the last daily check, before a job's last hold, of every scale that it was held on.

    `rows` are the checks of scales that an archive holds, of all benches; a damaged one is left out, for `verify` to
    tell.
    """
    holds = sheet.of_kind(HoldJudged)
    scales = {each.entry.scale for each in holds}
    last: dict[tuple[str, type[Entry]], Told[Entry]] = {}
    for row in rows:
        if not holds or row.bench != sheet.bench or row.seq > holds[-1].seq:
            continue
        try:
            entry, at = row.entry, row.at
        except BodyFault:
            continue
        if isinstance(entry, ScaleChecked | DailyChecked) and entry.scale in scales:
            last[entry.scale, type(entry)] = Told(row.seq, at, entry)
    return sorted(last.values(), key=lambda each: each.seq)


def facts_of(opened: JobOpened) -> list[tuple[str, list[tuple[str, str]]]]:
    """Give everything that was said when the job was opened, under its headings."""
    return [
        ("Canopy", facts(opened.canopy, CANOPY)),
        ("Owner", facts(opened.owner, OWNER)),
        ("Work and its basis", _work_and_basis(opened)),
        ("People", facts(opened.people, PEOPLE)),
        ("Line stock", facts(opened.stock, STOCK)),
        ("Sewing", facts(opened.sewing, SEWING)),
        ("Measuring", facts(opened.measuring, MEASURING)),
    ]


def _work_and_basis(opened: JobOpened) -> list[tuple[str, str]]:
    """Give what was to be done and on what basis, as labelled words."""
    basis = {key for key, _ in BASIS}
    work = {key: value for key, value in opened.work.items() if key not in basis}
    return [
        ("what", value(opened.title)),
        ("line", ", ".join(each for each in (opened.side, opened.number) if each) or NOT_RECORDED),
        *(facts(opened.line, LINE) if opened.line else []),
        *facts(work, WORK),
        ("matched to", value(opened.reference)),
        *facts({key: value for key, value in opened.work.items() if key in basis}, BASIS),
    ]


def went_as_asked(label: str, words: str) -> bool:
    """Tell whether a sheet's result is a sound reference, a piece held with nothing before it, or a level line.

    >>> went_as_asked("piece 12, line A", "pre-stretch held; 30.0 s"), went_as_asked("inspection", "none")
    (True, False)
    """
    if label == "reference":
        return "NOT SOUND" not in words
    if label.startswith("piece "):
        return words.startswith("pre-stretch held") and "before it" not in words
    return label.startswith("line ") and words.startswith("level") and "before sewing" not in words


def _verdict(hold: Told[HoldJudged]) -> str:
    found = str(hold.entry.judgement.get("verdict"))
    return VERDICTS.get(found, found)


def _named(piece: Piece) -> str:
    return f"piece {piece.number}" + (f", line {piece.line}" if piece.line else "")


def _of_piece(piece: Piece) -> str:
    parts = [f"SCRAPPED by {value(each.entry.by)} (entry {each.seq})" for each in piece.scrapped]
    parts += [f"{overpulled(each.entry)} (entry {each.seq})" for each in piece.overpulled]
    parts += [f"released for use by {value(each.entry.by)} (entry {each.seq})" for each in piece.released]
    if piece.holds:
        *earlier, last = piece.holds
        judgement = last.entry.judgement
        parts.append(f"pre-stretch {verdict(judgement)}; {figures(judgement)} (entry {last.seq})")
        parts += [f"before it, {verdict(each.entry.judgement)} (entry {each.seq})" for each in earlier]
    parts += [f"{BY_HAND}, by {value(each.entry.by)} (entry {each.seq})" for each in piece.by_hand]
    if piece.unjudged:
        parts.append(f"{count(piece.unjudged, 'hold')} whose time was complete and whose verdict was never recorded")
    if piece.leg and not (piece.holds or piece.by_hand):
        parts.append("asked for of pre-stretched stock, as a leg; no hold of its own")
    return "; ".join(parts) or "no pre-stretch recorded"
