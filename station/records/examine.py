"""One row of an archive, examined by itself: its text, columns, names, signature, trace, and its verdict, judged anew.

This is nearly all the work of a verification, and no row needs another for it, so rows may be examined in any number of
processes (`station.records.workers`). How the rows hang together is `station.records.verify`'s.

>>> from station.records.chain import FIRST_PREV, seal
>>> facts = {"kind": "checked", "job": "26-0001", "step": "", "check": "no twist"}
>>> link = seal(FIRST_PREV, "Bench 1", 1, "2026-03-04T05:06:07.000000Z", facts)
>>> examine(Row("Bench 1", 1, "26-0001", "checked", link.hash, link.body, signature="00"), {}).wrong
('a signature stands beside it, and its text names no key',)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.measuring.hold import RULE_VERSION, Judgement, ScaleUncertainty, judge
from station.measuring.trace import Trace, TraceFault
from station.records.chain import BodyFault, ReadLink, read_link
from station.records.names import NamesFault, read_names, what_is_wrong
from station.records.rows import Row, StoredTrace, readable
from station.records.signatures import can_be_checked, is_signed
from station.records.words import verdict
from station.settings.hold import HoldSpecification, SpecificationFault

# How far apart two machines' arithmetic may put a probability, in parts per thousand million.
CONFORMANCE_STEP_PPB = 1


@dataclass(frozen=True, slots=True)
class ChangedVerdict:
    """A hold whose stored readings do not give the judgement that was recorded."""

    seq: int
    recorded: str
    recomputed: str
    what: str
    bench: str = ""


@dataclass(frozen=True, slots=True)
class Examined:
    """What is found of one row by itself. `wrong` is said of it in words; `trace` is the hash it names."""

    bench: str
    seq: int
    job: str
    read: ReadLink
    wrong: tuple[str, ...]
    trace: str | None
    trace_is_here: bool
    is_hold: bool
    changed: ChangedVerdict | None
    withheld: int
    unchecked: bool  # a signature that could not be checked here


def examine(row: Row, traces: Mapping[str, StoredTrace]) -> Examined:
    """Examine a row, with the stored traces by the hash they are kept under."""
    read = read_link(row.link)
    work = _Row(row, read)
    wrong = work.about(traces)
    return Examined(
        row.bench,
        row.seq,
        row.job,
        read,
        tuple(wrong),
        work.trace,
        work.trace_is_here,
        work.is_hold,
        work.changed,
        work.withheld,
        work.unchecked,
    )


class _Row:
    def __init__(self, row: Row, read: ReadLink) -> None:
        self.row = row
        self.read = read
        self.trace: str | None = None
        self.trace_is_here = False
        self.is_hold = False
        self.changed: ChangedVerdict | None = None
        self.withheld = 0
        self.unchecked = False

    def about(self, traces: Mapping[str, StoredTrace]) -> list[str]:
        """Say what is wrong with the row beside its place in the chain.

        Where the text is not whole, the chain says so, and only what follows for the hold is worked out.
        """
        row, whole = self.row, self.read.whole
        wrong: list[str] = []
        try:
            facts = row.facts
            if whole:
                wrong += [
                    f"its {column} column reads {readable(found)!r}, and its text {facts.get(column)!r}"
                    for column, found in (("job", row.job), ("kind", row.kind))
                    if found != facts.get(column)
                ]
                wrong += self.about_names(facts)
                wrong += self.about_signature()
            _ = row.entry
        except BodyFault as fault:
            return [*wrong, str(fault)] if whole else []
        if "trace" not in facts:
            return wrong
        self.trace = str(facts["trace"])
        stored = traces.get(self.trace)
        self.trace_is_here = stored is not None
        if stored is not None and (trouble := stored.what_is_wrong()):
            wrong.append(f"its trace is damaged: {trouble}")
        if facts["kind"] == "hold-judged":
            self.is_hold = True
            if stored is not None:
                wrong += self.judge_again(facts, stored)
        return wrong

    def about_names(self, facts: Mapping[str, Any]) -> list[str]:
        try:
            names = read_names(self.row.names)
        except NamesFault as fault:
            return [f"the names beside it {fault}"]
        self.withheld = sum(known is None for known in names.values())
        return what_is_wrong(facts, names)

    def about_signature(self) -> list[str]:
        key, signature = self.read.key, self.row.signature
        if key is None:
            return ["a signature stands beside it, and its text names no key"] if signature else []
        if not can_be_checked():
            self.unchecked = True
            return []
        good = is_signed(key, self.row.body, signature)
        return [] if good else ["its signature is not the one of its text by the key it names"]

    def judge_again(self, facts: Mapping[str, Any], stored: StoredTrace) -> list[str]:
        if facts["rule_version"] != RULE_VERSION:
            was = facts["rule_version"]
            return [f"it was judged by rule {was}, and this program knows rule {RULE_VERSION}; use a newer one"]
        if stored.content_hash != stored.hash:
            return []  # already said
        try:
            again = judged_again(facts, stored.unpacked())
            change = _change(facts["judgement"], again)
        except TraceFault as fault:
            return [f"its trace cannot be read: {fault}"]
        except (SpecificationFault, TypeError, KeyError, AttributeError, OverflowError) as fault:
            return [f"it cannot be judged again from what it says: {fault}"]
        if change is not None:
            recorded = str(facts["judgement"].get("verdict"))
            self.changed = ChangedVerdict(self.row.seq, recorded, again.verdict, change, readable(self.row.bench))
        return []


def judged_again(facts: Mapping[str, Any], packed: bytes) -> Judgement:
    """Judge a recorded hold again, from its facts (see `entries.HoldJudged`) and its trace's packed bytes."""
    uncertainty = facts["uncertainty"]
    return judge(
        Trace.unpack(packed),
        HoldSpecification.of_facts(facts["specification"]),
        None if uncertainty is None else ScaleUncertainty.of_facts(uncertainty),
        facts["response_us"],
        program_fault=facts["program_fault"],
    )


def _change(recorded: Mapping[str, Any], again: Judgement) -> str | None:
    """Say how a recorded judgement differs from the one made again; None where it does not."""
    anew = again.facts()
    if (recorded.get("verdict"), recorded.get("reasons")) != (anew["verdict"], anew["reasons"]):
        return f"recorded as {verdict(recorded)}; its trace judges as {verdict(anew)}"
    for key in sorted(set(recorded) | set(anew)):
        was, now = recorded.get(key), anew.get(key)
        if was == now:
            continue
        if key == "conformance_ppb" and was is not None and now is not None and abs(was - now) <= CONFORMANCE_STEP_PPB:
            continue
        return f"its verdict stands, and {key} was recorded as {was}, where its trace gives {now}"
    return None
