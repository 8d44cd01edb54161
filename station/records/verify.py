"""Verification: what an archive says of itself is worked out anew, and what does not agree is named.

For every entry: its text against its hash, its hash against what the next entry was sealed on, its number and its
columns against its text, the names beside it against their seals, the station's signature against the key it names,
the traces it names against their hashes; and for every judged hold the verdict, from the stored readings, by the rule
it was judged by. Last, traces that no entry names.

What concerns one entry alone is `station.records.examine`, and may be done anywhere, many at a time; here it is put
together in the order of the entries.

`verify` reads no file and no clock; it takes rows in the order of their numbers, bench by bench, and the stored
traces as a mapping, and keeps no more than one entry in mind, so that an archive of any size can be verified.

An *anchor* is the hash of an entry as it was printed or sent away. Where it is found again, everything up to that
entry is what it was then. An anchor that is not found is damage: the archive was cut, or rebuilt, since.

>>> from station.records.chain import FIRST_PREV, seal
>>> facts = {"kind": "checked", "job": "26-0001", "step": "", "check": "no twist"}
>>> link = seal(FIRST_PREV, "Bench 1", 1, "2026-03-04T05:06:07.000000Z", facts)
>>> verify([Row("Bench 1", 1, "26-0001", "checked", link.hash, link.body)], {}).good
True
>>> verify([Row("Bench 1", 1, "26-0007", "checked", link.hash, link.body)], {}).damaged[0].what
"its job column reads '26-0007', and its text '26-0001'"
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from station.records.chain import Checker, Damage, ReadLink
from station.records.examine import ChangedVerdict, Examined, examine
from station.records.rows import Row, StoredTrace, readable
from station.records.words import count


class AnchorFault(ValueError):
    """What was given as an anchor is no hash."""


@dataclass(frozen=True, slots=True)
class Verification:
    """What was found: how many entries and judged holds, what is damaged, which verdicts changed, and the heads.

    `anchored_to` is the number of the entry whose hash the anchor is; None without an anchor or where it was not
    found. `remarks` are true of the archive and damage nothing. `keys` are the public keys that entries name, each with
    the number of its entries.
    """

    entries: int
    holds: int
    damaged: tuple[Damage, ...]
    verdicts_changed: tuple[ChangedVerdict, ...]
    heads: Mapping[str, str]
    anchored_to: int | None
    remarks: tuple[str, ...] = ()
    keys: Mapping[str, int] = field(default_factory=dict)

    @property
    def good(self) -> bool:
        """Tell whether nothing is damaged and no verdict changed."""
        return not self.damaged and not self.verdicts_changed

    @property
    def worked_out(self) -> str:
        """Say how much was looked at."""
        return f"{count(self.entries, 'entry', 'entries')} and {count(self.holds, 'judged hold')} worked out anew."

    @property
    def head(self) -> str | None:
        """The hash of the last entry, where one bench wrote here."""
        return next(iter(self.heads.values())) if len(self.heads) == 1 else None

    def answer(self) -> dict[str, Any]:
        """Give it as an object to print as JSON."""
        return {
            "entries": self.entries,
            "holds": self.holds,
            "damaged": [{"seq": each.seq, "what": each.what, "bench": each.bench} for each in self.damaged],
            "verdicts_changed": [
                {
                    "seq": each.seq,
                    "recorded": each.recorded,
                    "recomputed": each.recomputed,
                    "what": each.what,
                    "bench": each.bench,
                }
                for each in self.verdicts_changed
            ],
            "head": self.head,
            "heads": dict(self.heads),
            "anchored_to": self.anchored_to,
            "remarks": list(self.remarks),
            "keys": dict(self.keys),
        }


def read_anchor(text: str, what: str = "an anchor") -> str:
    """Read an anchor as a person types it from paper: in groups or not, in either case. Raises `AnchorFault`.

    A public key is typed in the same way.

    >>> read_anchor("00FF " * 16) == "00ff" * 16
    True
    """
    anchor = re.sub(r"\s+", "", text).lower()
    if not re.fullmatch(r"[0-9a-f]{64}", anchor):
        raise AnchorFault(f"found {text!r}, expected {what}: sixty-four of the characters 0 to 9 and a to f")
    return anchor


def verify(
    rows: Iterable[Row],
    traces: Mapping[str, StoredTrace],
    anchor: str | None = None,
    unsound: Iterable[str] = (),
    remarks: Iterable[str] = (),
    key: str | None = None,
) -> Verification:
    """Verify rows, which come by bench and number, with the stored traces by the hash they are kept under.

    `anchor` is a hash as `read_anchor` gives it. `unsound` is what is wrong with the archive beside its content, and
    damage as well; `remarks` are handed on. `key` is the station's public key as it is known from elsewhere.
    """
    return verify_examined((examine(row, traces) for row in rows), traces, anchor, unsound, remarks, key)


def verify_examined(
    rows: Iterable[Examined],
    traces: Mapping[str, StoredTrace],
    anchor: str | None = None,
    unsound: Iterable[str] = (),
    remarks: Iterable[str] = (),
    key: str | None = None,
) -> Verification:
    """Verify rows of which each was examined by itself, wherever that was done; the rest as `verify`."""
    work = _Work(traces, anchor, key)
    work.damaged += [Damage(None, what) for what in unsound]
    work.remarks += remarks
    for row in rows:
        work.take(row)
    return work.done()


class _Work:
    def __init__(self, traces: Mapping[str, StoredTrace], anchor: str | None, key: str | None) -> None:
        self.traces = traces
        self.trace_names = list(traces)  # before any row: what a bench files meanwhile is named by a later one
        self.anchor = anchor
        self.key = key
        self.entries = 0
        self.holds = 0
        self.withheld = 0
        self.unchecked = 0
        self.anchored_to: int | None = None
        self.anchor_damaged = False
        self.damaged: list[Damage] = []
        self.remarks: list[str] = []
        self.changed: list[ChangedVerdict] = []
        self.heads: dict[str, str] = {}
        self.keys: dict[str, int] = {}
        self.chain: Checker | None = None
        self.bench = ""
        self.last: Examined | None = None  # the entry before, of this bench
        self.signed = False  # whether an entry of this bench named a key already
        self.named: set[str] = set()
        self.missing: dict[str, list[tuple[str, int]]] = {}  # a trace that is not here, and the entries that name it

    def take(self, row: Examined) -> None:
        bench = readable(row.bench)
        if self.chain is None or self.bench != row.bench:
            self.end_of_bench()
            self.chain, self.bench, self.signed, self.last = Checker(bench), row.bench, False, None
        self.entries += 1
        self.holds += row.is_hold
        self.withheld += row.withheld
        self.unchecked += row.unchecked
        if self.anchor == row.read.true_hash:
            self.anchored_to = row.seq
        self.anchor_damaged |= self.anchor == row.read.hash
        self.damaged += self.chain.feed(row.read, [*row.wrong, *self.about_key(row.read)])
        self.remarks += self.about_time(row)
        if self.chain.head is not None:
            self.heads[bench] = readable(self.chain.head)
        if row.changed is not None:
            self.changed.append(row.changed)
        if row.trace is not None:
            self.named.add(row.trace)
            if not row.trace_is_here:
                self.missing.setdefault(row.trace, []).append((bench, row.seq))

    def about_time(self, row: Examined) -> list[str]:
        """Say that the time of day ran back within a job; its entries' numbers tell their order all the same."""
        before, self.last = self.last, row
        if before is None or before.job != row.job or before.read.at is None or row.read.at is None:
            return []
        if row.read.at >= before.read.at:
            return []
        times = f"{_clock(row.read.at)}, earlier than entry {before.seq}, {_clock(before.read.at)}"
        return [
            f"entry {row.seq} bears the time {times}: the computer's clock was set back; the numbers tell the order"
        ]

    def about_key(self, link: ReadLink) -> list[str]:
        """Say what is wrong with the key an entry names, beside the ones before it and the one that is known."""
        if not link.whole or link.fault is not None:
            return []
        if link.key is not None:
            self.signed = True
            self.keys[link.key] = self.keys.get(link.key, 0) + 1
            other = self.key is not None and link.key != self.key
            return [f"it is signed by another key, {_short(link.key)}"] if other else []
        return ["it is not signed, and one before it is"] if self.signed else []

    def end_of_bench(self) -> None:
        if self.chain is not None:
            self.damaged += self.chain.end()

    def done(self) -> Verification:
        self.end_of_bench()
        superfluous = []
        for name in self.trace_names:
            if name in self.named:
                continue
            stored = self.traces.get(name)
            content = stored.content_hash if stored else None
            if content in self.missing:
                self.miss(content, "stands under a hash that was altered")
            else:
                superfluous.append(readable(name))
        for name in list(self.missing):
            self.miss(name, "is missing")
        said = [f"the trace {_short(name)} is named by no entry" for name in superfluous]
        if self.damaged:
            self.remarks += [f"{each}; it may be of one that is damaged or missing" for each in said]
        else:
            self.damaged += [Damage(None, f"{each}: an entry was taken out, or the trace was put in") for each in said]
        if self.anchor is not None and self.anchored_to is None:
            what = (
                "is of an entry that is no longer what it was"
                if self.anchor_damaged
                else "is of no entry here: the archive was cut or rebuilt since, or is another one, or it was mistyped"
            )
            self.damaged.append(Damage(None, f"the anchor {_short(self.anchor)} {what}"))
        if self.withheld:
            self.remarks.append(f"{count(self.withheld, 'name')} withheld: the seal of each stands in its entry")
        if self.unchecked:
            signed = count(self.unchecked, "signature")
            self.remarks.append(f"{signed} not checked: pip install 'fidbench[sign]', and verify again")
        if self.key is not None and self.key not in self.keys:
            self.damaged.append(Damage(None, f"no entry is signed by the key {_short(self.key)}"))
        order = sorted(self.damaged, key=lambda each: (each.bench, each.seq or 0))
        return Verification(
            self.entries,
            self.holds,
            tuple(_one_each(order)),
            tuple(self.changed),
            self.heads,
            self.anchored_to,
            tuple(self.remarks),
            self.keys,
        )

    def miss(self, name: str, what: str) -> None:
        for bench, seq in self.missing.pop(name):
            self.damaged.append(Damage(seq, f"its trace, {_short(name)}, {what}", bench))


def _one_each(damaged: Iterable[Damage]) -> list[Damage]:
    """Put what is said of one entry into one piece of damage."""
    together: list[Damage] = []
    for each in damaged:
        last = together[-1] if together else None
        if last is not None and each.seq is not None and (last.bench, last.seq) == (each.bench, each.seq):
            together[-1] = Damage(each.seq, f"{last.what}; {each.what}", each.bench)
        else:
            together.append(each)
    return together


def _clock(at: str) -> str:
    """Write a sealed time as a person reads it.

    >>> _clock("2026-03-04T05:06:07.000000Z")
    '2026-03-04 05:06:07 UTC'
    """
    return f"{at[:10]} {at[11:19]} UTC"


def _short(name: str) -> str:
    return f"{readable(name)[:12]}..."
