"""The holds to revisit on the day a scale is found out of tolerance: which, and how they judge with less trust in it.

* A *good check* is a daily check that agreed. A check *failed* where a daily check did not agree, or where a full check
  found an error at its target greater than the U of the one before it there.
* In doubt is every hold on that scale, at that bench, from the last good check before the last failed one up to the
  first good check after it; where none failed, since the last good check. The order is that of the entries.
* What the failed check showed is the least that must be allowed for: how far the scale was off, plus the U it was held
  to; or the U of a full check made then, where that is greater. It says something of pulls from 2/3 to 4/3 of the
  weight (common practice, as for a daily check); of others nothing is known.
* A hold is judged again from its stored readings by the same rule, with the uncertainty given or its own, whichever is
  greater: no verdict gets better, and a hold judged without a known scale stays so. What cannot be judged again is
  never called good.

>>> span([(3, True), (9, False), (12, True)], failed=9), span([(3, True)], failed=None)
((3, 12), (3, None))
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from station.measuring.hold import ScaleUncertainty, typed_uncertainty
from station.measuring.trace import TraceFault
from station.records.archive import Archive
from station.records.chain import BodyFault
from station.records.entries import DailyChecked, ScaleChecked
from station.records.examine import judged_again
from station.records.rows import Row, StoredTrace
from station.settings.hold import SpecificationFault

_RANK = {"held": 0, "unproven": 1, "not-held": 2, "void": 2}


@dataclass(frozen=True)
class Doubt:
    """One bench's scale: the holds of which checks are in doubt, and what those checks say.

    `good_at`, `failed_at` and `again_at` are UTC text, None where there was no such check. `uncertainty` is what the
    failed check showed, at a pull of `known_mn`.
    """

    bench: str
    after: int
    before: int | None
    good_at: str | None = None
    failed_at: str | None = None
    again_at: str | None = None
    uncertainty: ScaleUncertainty | None = None
    known_mn: int | None = None


@dataclass(frozen=True)
class Revisited:
    """A hold judged again. `now` is None where it could not be, and `trouble` says why."""

    bench: str
    seq: int
    job: str
    at: str
    pieces: tuple[str, ...]
    recorded: str
    now: str | None
    trouble: str = ""
    limit: str = ""

    @property
    def worse(self) -> bool:
        """Tell whether the verdict is a worse one than was recorded, or cannot be had any more."""
        return self.now is None or _RANK.get(self.now, 3) > _RANK.get(self.recorded, 3)


def span(dailies: Iterable[tuple[int, bool]], failed: int | None) -> tuple[int, int | None]:
    """Give the numbers that holds in doubt lie between, from daily checks (number, agreed) in their order."""
    agreed = [seq for seq, good in dailies if good]
    if failed is None:
        return max(agreed, default=0), None
    after = max((seq for seq in agreed if seq < failed), default=0)
    return after, min((seq for seq in agreed if seq > failed), default=None)


def doubts(archive: Archive, scale: str, bench: str | None = None) -> list[Doubt]:
    """Give what is in doubt of the scale of this name, for each bench that checked or used one, or for one bench."""
    checks: dict[str, list[tuple[Row, ScaleChecked | DailyChecked]]] = {}
    for row in archive.of_kind("scale-checked", "daily-checked"):
        try:
            entry = row.entry
        except BodyFault:
            continue
        if isinstance(entry, ScaleChecked | DailyChecked) and entry.scale == scale:
            checks.setdefault(row.bench, []).append((row, entry))
    for each in archive.heads():
        if each not in checks and archive.saying("hold-judged", "entry.scale", scale, each, exact=True):
            checks[each] = []
    return [_doubt(each, found) for each, found in sorted(checks.items()) if bench in (None, each)]


def _doubt(bench: str, checks: Sequence[tuple[Row, ScaleChecked | DailyChecked]]) -> Doubt:
    dailies = [(row.seq, entry.agreed) for row, entry in checks if isinstance(entry, DailyChecked)]
    at = {row.seq: row.at for row, _ in checks}
    failed: int | None = None
    known_mn: int | None = None
    shown_mn = 0
    believed: dict[int, int] = {}  # U of the last full check, by its target
    for row, entry in checks:
        still = failed is not None and not any(good and failed < seq < row.seq for seq, good in dailies)
        if isinstance(entry, DailyChecked):
            if not entry.agreed:
                now_mn = abs(entry.indicated_mn - entry.known_mn) + entry.within_mn
                failed, known_mn, shown_mn = row.seq, entry.known_mn, max(shown_mn if still else 0, now_mn)
            continue
        expanded_mn = int(entry.uncertainty["expanded_mn"])
        before_mn = believed.get(entry.target_mn)
        if before_mn is not None and abs(int(entry.uncertainty.get("error_un", 0))) > 1000 * before_mn:
            failed, known_mn, shown_mn = row.seq, entry.target_mn, max(shown_mn if still else 0, expanded_mn)
        elif still:
            shown_mn = max(shown_mn, expanded_mn)  # made because of the failed one
        believed[entry.target_mn] = expanded_mn
    after, before = span(dailies, failed)
    return Doubt(
        bench,
        after,
        before,
        at.get(after),
        None if failed is None else at[failed],
        None if before is None else at[before],
        None if failed is None else typed_uncertainty(shown_mn),
        known_mn,
    )


def in_doubt(archive: Archive, scale: str, doubt: Doubt, since: str | None = None) -> list[Row]:
    """Give the holds in doubt; those filed at UTC text `since` or later, whatever was checked, where it is given."""
    after = doubt.after if since is None else 0
    rows = archive.saying("hold-judged", "entry.scale", scale, doubt.bench, after, exact=True)
    if since is not None:
        return [row for row in rows if _at(row) >= since]
    return [row for row in rows if doubt.before is None or row.seq < doubt.before]


def revisit(row: Row, traces: Mapping[str, StoredTrace], asked: ScaleUncertainty, known_mn: int | None) -> Revisited:
    """Judge one hold again with less trust in its scale; `known_mn` is the pull that `asked` was found at, if one."""
    try:
        facts = row.facts
        recorded = str(facts["judgement"]["verdict"])
        pieces = tuple(map(str, facts["pieces"]))
    except (BodyFault, KeyError, TypeError) as fault:
        return Revisited(row.bench, row.seq, row.job, "", (), "", None, f"it cannot be read: {fault}")

    def told(now: str | None, trouble: str = "", limit: str = "") -> Revisited:
        return Revisited(row.bench, row.seq, row.job, row.at, pieces, recorded, now, trouble, limit)

    stored = traces.get(str(facts.get("trace")))
    if stored is None:
        return told(None, "its trace is missing")
    if wrong := stored.what_is_wrong():
        return told(None, f"its trace is damaged: {wrong}")
    try:
        uncertainty, limit = _less_trust(facts, asked, known_mn)
        return told(judged_again({**facts, "uncertainty": uncertainty}, stored.unpacked()).verdict, limit=limit)
    except (TraceFault, SpecificationFault, TypeError, KeyError, AttributeError, OverflowError) as fault:
        return told(None, f"it cannot be judged again from what it says: {fault}")


def _less_trust(
    facts: Mapping[str, Any], asked: ScaleUncertainty, known_mn: int | None
) -> tuple[Mapping[str, int] | None, str]:
    """Give the uncertainty to judge a hold with, as a record keeps it, and what limits it, in words."""
    own = facts["uncertainty"]
    if own is None:
        return None, ""
    target_mn = facts["specification"]["target_mn"]
    if known_mn is not None and not 2 * known_mn <= 3 * target_mn <= 4 * known_mn:
        return None, "the check says nothing of a pull so far from its weight"
    return (own if own["expanded_mn"] >= asked.expanded_mn else asked.facts()), ""


def _at(row: Row) -> str:
    try:
        return row.at
    except BodyFault:
        return ""
