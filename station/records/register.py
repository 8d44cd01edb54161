"""The shop's register: a line for each job, and which jobs something asked for is true of.

* What is asked is compared without regard to great and small letters, in any alphabet (`rows.plain`). A serial number,
  a lot and a line's number are whole words; of a canopy or a name a part is enough. Everything asked must be true of a
  job.
* A line is one of the job's own number and side, or one that its plan names: each line of a cascade, and of a whole
  set each by its group, number and side.
* *Made from a lot* is a piece cut from it: from the job's own stock, unless the piece names another lot; and a job sewn
  with thread of that lot. A job opened with the lot is given before a piece of it is cut.
* A day is that of UTC, as everywhere in the records, and the day on which the job was opened.
* A line repeats what is filed, unchecked; `records verify` finds what was altered.

>>> import tempfile
>>> from station.records.archive import Archive
>>> from station.records.entries import JobOpened, PieceCut
>>> opened = JobOpened(job="26-0001", title="A2", side="left", number="A2", reference="opposite number", plan_toml="",
...     canopy={"type": "Teasel 190", "serial": "T190-0417"}, stock={"lot": "H-2231"}, software="")
>>> with tempfile.TemporaryDirectory() as folder:
...     with Archive.open(f"{folder}/a.sqlite", bench="Bench 1", create=True) as archive:
...         for entry in (opened, PieceCut(job="26-0001", line="A", piece="12", length_um=None)):
...             _ = archive.append(entry, "2026-03-04T05:06:07.000000Z")
...         [(each.line.job, each.pieces) for each in find(archive, Asked(lot="h-2231"))]
[('26-0001', ('12',))]
"""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from station.records.archive import Archive
from station.records.entries import line_called
from station.records.names import NamesFault, opened, read_names
from station.records.rows import plain
from station.records.words import VERDICTS
from station.settings.reline import line_names

_OPENED = (
    "at",
    "entry.title",
    "entry.side",
    "entry.number",
    "entry.canopy",
    "entry.people",
    "entry.owner",
    "entry.stock.lot",
    "entry.sewing.thread_lot",
)


@dataclass(frozen=True)
class JobLine:
    """One job in a line; '' where it is not recorded. `opened` and `signed_off` are UTC text."""

    job: str
    bench: str = ""
    opened: str = ""
    title: str = ""
    side: str = ""
    number: str = ""
    canopy: Mapping[str, Any] = field(default_factory=dict)
    people: Mapping[str, Any] = field(default_factory=dict)
    lot: str = ""
    thread_lot: str = ""
    verdicts: Mapping[str, int] = field(default_factory=dict)
    signed_off: str = ""
    entries: int = 0
    owner: Mapping[str, Any] = field(default_factory=dict)

    @property
    def called(self) -> str:
        """Say which line it is."""
        return line_called(self.title, self.side, self.number)

    @property
    def holds(self) -> str:
        """Count the judged holds by their verdicts, in words."""
        told = [f"{self.verdicts[each]} {words}" for each, words in VERDICTS.items() if self.verdicts.get(each)]
        return ", ".join(told) or "none judged"

    def answer(self) -> dict[str, Any]:
        """Give it as an object to print as JSON."""
        return {
            "job": self.job,
            "bench": self.bench or None,
            "opened": self.opened or None,
            "what": self.title or None,
            "line": f"{self.side} {self.number}".strip() or None,
            "canopy": self.canopy.get("type") or None,
            "serial": self.canopy.get("serial") or None,
            "worked": self.people.get("worker") or None,
            "holds": self.holds,
            "signed_off": self.signed_off or None,
            "entries": self.entries,
        }


@dataclass(frozen=True)
class Asked:
    """What is asked of jobs; None where nothing is. `first_day` and `last_day` are ISO dates, both included."""

    canopy: str | None = None
    serial: str | None = None
    line: str | None = None
    lot: str | None = None
    rigger: str | None = None
    first_day: str | None = None
    last_day: str | None = None
    owner: str | None = None


@dataclass(frozen=True)
class Found:
    """A job that was found; where a lot was asked for, the pieces cut from it, and whether its thread is of it."""

    line: JobLine
    pieces: tuple[str, ...] = ()
    thread: bool = False


def register(archive: Archive, jobs: Sequence[str] | None = None) -> list[JobLine]:
    """Give a line for each of these jobs, or of all, in the order of their IDs."""
    counts = archive.jobs(jobs)
    verdicts: dict[str, Counter[str]] = defaultdict(Counter)
    first: dict[str, tuple[str, str]] = {}
    for each in archive.said("hold-judged", ("entry.judgement.verdict", "at"), jobs):
        verdicts[each.job][each.told[0]] += 1
        first.setdefault(each.job, (each.bench, each.told[1]))
    signed = {each.job: (each.bench, each.told[0]) for each in archive.said("signed-off", ("at",), jobs)}
    lines: dict[str, JobLine] = {}
    for each in archive.said("job-opened", _OPENED, jobs):
        at, title, side, number, canopy, people, owner, lot, thread_lot = each.told
        named = _named_in({"people": _facts(people), "owner": _facts(owner)}, each.names)
        lines.setdefault(
            each.job,
            JobLine(
                each.job,
                each.bench,
                at,
                title,
                side,
                number,
                _facts(canopy),
                named["people"],
                lot,
                thread_lot,
                verdicts[each.job],
                signed.get(each.job, ("", ""))[1],
                counts.get(each.job, 0),
                named["owner"],
            ),
        )
    for job, entries in counts.items():
        if job and job not in lines:  # the entry that opened it is missing
            bench, at = first.get(job) or signed.get(job, ("", ""))
            lines[job] = JobLine(
                job, bench, at, verdicts=verdicts[job], signed_off=signed.get(job, ("", ""))[1], entries=entries
            )
    return [lines[job] for job in sorted(lines)]


def find(archive: Archive, asked: Asked) -> list[Found]:
    """Give the jobs of which everything asked is true, in the order of their IDs."""
    if asked.lot is not None:
        jobs: list[str] | None = _of_lot(archive, asked.lot)
    elif asked.canopy is not None or asked.serial is not None:
        jobs = _of_canopy(archive, asked)
    else:
        jobs = None
    lines = [line for line in register(archive, jobs) if _matches(line, asked)]
    if asked.line is not None:
        lines = _of_line(archive, lines, asked.line)
    if asked.rigger is not None:
        lines = _of_rigger(archive, lines, asked.rigger)
    if asked.lot is None:
        return [Found(line) for line in lines]
    return _made_from(archive, lines, asked.lot)


def lots(archive: Archive) -> list[str]:
    """Name every lot that is filed, of line and of thread."""
    told = archive.said("job-opened", ("entry.stock.lot", "entry.sewing.thread_lot"))
    told += archive.said("piece-cut", ("entry.lot",))
    return sorted({lot.strip() for each in told for lot in each.told if lot.strip()})


def _of_lot(archive: Archive, lot: str) -> list[str]:
    places = (("job-opened", "entry.stock.lot"), ("job-opened", "entry.sewing.thread_lot"), ("piece-cut", "entry.lot"))
    names = archive.job_names()
    rows = [row for kind, place in places for row in archive.saying(kind, place, lot)]
    return sorted({names.of(row.bench, row.job) for row in rows})


def _of_canopy(archive: Archive, asked: Asked) -> list[str]:
    """Name the jobs on such a canopy: of years of jobs only theirs are then read whole, with the names in them."""
    canopy = Asked(canopy=asked.canopy, serial=asked.serial)
    told = archive.said("job-opened", ("entry.canopy",))
    return [each.job for each in told if _matches(JobLine(each.job, canopy=_facts(each.told[0])), canopy)]


def _made_from(archive: Archive, lines: Sequence[JobLine], lot: str) -> list[Found]:
    pieces: dict[str, list[str]] = defaultdict(list)
    stock = {line.job: line.lot for line in lines}
    for each in archive.said("piece-cut", ("entry.piece", "entry.lot"), list(stock)):
        piece, own = each.told
        if plain(own or stock[each.job]) == plain(lot):
            pieces[each.job].append(piece or "not numbered")
    return [Found(line, tuple(pieces[line.job]), plain(line.thread_lot) == plain(lot)) for line in lines]


def _of_rigger(archive: Archive, lines: Sequence[JobLine], rigger: str) -> list[JobLine]:
    wanted = plain(rigger)
    known = {line.job: [str(line.people.get(each) or "") for each in ("worker", "supervisor")] for line in lines}
    jobs = list(known)
    for kind in ("signed-off", "inspected"):
        for each in archive.said(kind, ("entry.by",), jobs):
            by = each.told[0]
            facts = {"by": _facts(by) or by}
            known[each.job].append(str(_named_in(facts, each.names).get("by") or ""))
    return [line for line in lines if any(wanted in plain(name) for name in known[line.job])]


def _matches(line: JobLine, asked: Asked) -> bool:
    canopy = " ".join(str(line.canopy.get(each) or "") for each in ("kind", "make", "type", "size"))
    day = line.opened[:10]
    return (
        (asked.canopy is None or plain(asked.canopy) in plain(canopy))
        and (asked.serial is None or plain(asked.serial) == plain(str(line.canopy.get("serial") or "")))
        and (asked.owner is None or plain(asked.owner) in plain(str(line.owner.get("name") or "")))
        and (asked.first_day is None or asked.first_day <= day)
        and (asked.last_day is None or "" < day <= asked.last_day)
    )


def _of_line(archive: Archive, lines: Sequence[JobLine], asked: str) -> list[JobLine]:
    wanted = _words(asked)
    if not wanted:
        return []
    own = {line.job for line in lines if wanted <= _words(line.side, line.number)}
    rest = {line.job: line.side for line in lines if line.job not in own}
    for each in archive.said("job-opened", ("entry.plan_toml",), list(rest)):
        names = line_names(each.told[0]) if _may_name(each.told[0], wanted) else ()
        if any(wanted <= _words(name) | _words(rest[each.job]) for name in names):
            own.add(each.job)
    return [line for line in lines if line.job in own]


def _may_name(plan_toml: str, wanted: set[str]) -> bool:
    """Tell quickly whether a plan is worth reading: the names of a set are put together, all others stand there."""
    text = plain(plan_toml)
    return "reline" in text or any(word in text for word in wanted)


def _words(*texts: str) -> set[str]:
    """Give the words of a line's name; a group and the number after it are also one, as in A 3 and A3."""
    words = [word for text in texts for word in re.split(r"[\s,;]+", plain(text)) if word]
    return {*words, *(group + number for group, number in pairwise(words) if number.isdigit())}


def _facts(text: str) -> dict[str, Any]:
    try:
        read = json.loads(text)
    except ValueError:
        return {}
    return read if isinstance(read, dict) else {}


def _named_in(facts: Mapping[str, Any], names: str) -> Mapping[str, Any]:
    try:
        return opened(facts, read_names(names))
    except NamesFault:
        return opened(facts, {})
