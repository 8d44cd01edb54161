"""What is known of a scale today, from what is filed of it and from its station file.

* A full check of this scale at just this target counts for 365 days, on days on which a daily check was made after it,
  with a weight near the target, and agreed with it within its U.
* Else the uncertainty typed in the station file counts, to the end of its last day.
* Else, and whenever the last daily check did not agree and no full check followed, it is unknown: nothing is proven.

A day is that of the zone that `now` is given in. Only this bench's own entries count: two benches may call two scales
by the same port.

>>> import tempfile
>>> from station.records.chain import utc_text
>>> monday = datetime.datetime(2026, 6, 1, 9, tzinfo=datetime.UTC)
>>> check = ScaleChecked(scale="A", target_mn=133_447, uncertainty={"expanded_mn": 534, "standard_un": 260_000},
...     scale_class="0.5", points=(), by="A. Person", weights="10 kg, 15 kg; set 2", latitude=None, check_hash="0" * 64)
>>> agreed = DailyChecked(scale="A", known_mn=147_100, indicated_mn=147_300, agreed=True, within_mn=534)
>>> with tempfile.TemporaryDirectory() as folder:
...     with Archive.open(f"{folder}/a.sqlite", bench="Bench 1", create=True) as archive:
...         for hour, entry in enumerate((check, agreed)):
...             _ = archive.append(entry, utc_text(monday + datetime.timedelta(hours=hour)))
...             known = ScaleRecord.of(archive, "A").today(None, 133_447, monday + datetime.timedelta(hours=2))
...             print(known.words.text)
scale not checked today: hang the daily weight
scale checked today, ±0.12 lbf
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from itertools import pairwise
from typing import Generic, NamedTuple, TypeVar

from station.bench.snapshot import Words
from station.bench.weights import Load, is_near
from station.measuring.hold import ScaleUncertainty, typed_uncertainty
from station.records.archive import Archive
from station.records.entries import DailyChecked, HoldJudged, ScaleChecked
from station.records.revisit import Doubt, in_doubt, span
from station.settings.station import ScaleSettings
from station.units import force_text

VALID = datetime.timedelta(days=365)
NOTHING = "nothing is proven"

T = TypeVar("T")


class ScaleToday(NamedTuple):
    """What is known of a scale now, and the words that say so; `uncertainty` is None where nothing is."""

    uncertainty: ScaleUncertainty | None
    words: Words


class Filed(NamedTuple, Generic[T]):
    """A fact with its number and when it was filed."""

    seq: int
    at: datetime.datetime
    fact: T


@dataclass(frozen=True)
class ScaleRecord:
    """What one bench has filed of one scale, in its order; of its holds, those since the daily check that agreed last.

    Were a daily check to fail now, those are in doubt: `records revisit` lists the same (`station.records.revisit`).
    """

    checks: tuple[Filed[ScaleChecked], ...] = ()
    dailies: tuple[Filed[DailyChecked], ...] = ()
    holds: tuple[Filed[HoldJudged], ...] = ()

    @classmethod
    def of(cls, archive: Archive | None, scale: str) -> ScaleRecord:
        """Read what the writing bench has filed of the scale called `scale`; nothing without an archive."""
        checks: list[Filed[ScaleChecked]] = []
        dailies: list[Filed[DailyChecked]] = []
        if archive is None or archive.bench is None:
            return cls()
        for row in archive.of_kind("scale-checked", "daily-checked"):
            if row.bench != archive.bench or row.facts.get("scale") != scale:
                continue
            at = datetime.datetime.fromisoformat(row.at)
            match row.entry:
                case ScaleChecked() as check:
                    checks.append(Filed(row.seq, at, check))
                case DailyChecked() as daily:
                    dailies.append(Filed(row.seq, at, daily))
        after, _ = span([(daily.seq, daily.fact.agreed) for daily in dailies], failed=None)
        holds = [
            Filed(row.seq, datetime.datetime.fromisoformat(row.at), entry)
            for row in in_doubt(archive, scale, Doubt(archive.bench, after, None))
            if isinstance(entry := row.entry, HoldJudged)
        ]
        return cls(tuple(checks), tuple(dailies), tuple(holds))

    def today(
        self, scale: ScaleSettings | None, target_mn: int, now: datetime.datetime, unit: str = "lbf"
    ) -> ScaleToday:
        """Give what is known at `target_mn` at the moment `now`; `scale` is None where no station file speaks."""
        checked_seq = max((check.seq for check in self.checks), default=0)
        if self._disagreed_seq > checked_seq and not self._agreed:
            return ScaleToday(None, Words(f"scale did not agree: {NOTHING}", "warn"))
        full = self._full(target_mn)
        in_date = full is not None and _in_date(full, now)
        if full is not None and in_date and any(_renews(daily, full, now) for daily in self._agreed):
            found = ScaleUncertainty.of_facts(full.fact.uncertainty)
            return ScaleToday(found, Words(f"scale checked today, ±{_text(found, unit)}", "quiet"))
        typed = _typed(scale, now)
        if typed is not None:
            return ScaleToday(typed, Words(f"scale known to ±{_text(typed, unit)}", "quiet"))
        if in_date:
            return ScaleToday(None, Words("scale not checked today: hang the daily weight", "warn"))
        if full is not None:
            return ScaleToday(None, Words(f"scale check out of date: {NOTHING}", "warn"))
        if self.checks:
            return ScaleToday(None, Words(f"not checked at {force_text(target_mn / 1000, unit)}: {NOTHING}", "warn"))
        return ScaleToday(None, Words(f"scale not checked: {NOTHING}", "warn"))

    def to_renew(self, scale: ScaleSettings | None, target_mn: int, now: datetime.datetime) -> ScaleUncertainty | None:
        """Give the uncertainty that a daily check made now would be held to; None where there is none in date."""
        full = self._full(target_mn)
        if full is not None and _in_date(full, now):
            return ScaleUncertainty.of_facts(full.fact.uncertainty)
        return _typed(scale, now)

    @property
    def last_check(self) -> ScaleChecked | None:
        """Give the last full check, at whatever target."""
        return self.checks[-1].fact if self.checks else None

    def full_at(self, target_mn: int | None) -> Filed[ScaleChecked] | None:
        """Give the last full check at just this target, in date or not."""
        return None if target_mn is None else self._full(target_mn)

    def error_before_un(self, target_mn: int) -> int | None:
        """Give the mean error at a target in micronewtons as the last full check that covers it found it."""
        found = (_error_at(filed.fact, target_mn) for filed in reversed(self.checks))
        return next((error_un for error_un in found if error_un is not None), None)

    def known_weight(self, target_mn: int) -> Load | None:
        """Give the weight nearest to a target among those of the last full check there, with the force it applied."""
        full = self._full(target_mn)
        if full is None:
            return None
        names = [name.strip() for name in full.fact.weights.split(";")[0].split(",")]
        forces = [point.get("force_mn") or 0 for point in full.fact.points]
        if len(names) != len(forces):
            return None
        near = [(abs(force - target_mn), force, name) for force, name in zip(forces, names, strict=True)]
        _, force, name = min(near)
        return Load(name, force / 1000) if is_near(force, target_mn) else None

    def to_revisit(self, zone: datetime.tzinfo | None = None) -> tuple[str, ...]:
        """Name every hold judged on this scale since the daily check that agreed last: job, piece, day."""
        return tuple(_hold_words(hold, zone) for hold in self.holds)

    @property
    def _disagreed_seq(self) -> int:
        return max((daily.seq for daily in self.dailies if not daily.fact.agreed), default=0)

    @property
    def _agreed(self) -> list[Filed[DailyChecked]]:
        """Give the daily checks that agreed, since the last that did not."""
        return [daily for daily in self.dailies if daily.seq > self._disagreed_seq]

    def _full(self, target_mn: int) -> Filed[ScaleChecked] | None:
        """Give the last full check at just this target."""
        return next((each for each in reversed(self.checks) if each.fact.target_mn == target_mn), None)


def _typed(scale: ScaleSettings | None, now: datetime.datetime) -> ScaleUncertainty | None:
    typed = None if scale is None else scale.uncertainty_on(now.date())
    return None if typed is None else typed_uncertainty(round(typed * 1000), typed)


def _in_date(full: Filed[ScaleChecked], now: datetime.datetime) -> bool:
    return datetime.timedelta() <= now - full.at <= VALID


def _renews(daily: Filed[DailyChecked], full: Filed[ScaleChecked], now: datetime.datetime) -> bool:
    """Tell whether a daily check is of today, was made after a full check, and agrees with it at its target."""
    found, check = daily.fact, full.fact
    return (
        daily.seq > full.seq
        and daily.at.astimezone(now.tzinfo).date() == now.date()
        and is_near(found.known_mn, check.target_mn)
        and abs(found.indicated_mn - found.known_mn) <= check.uncertainty["expanded_mn"]
    )


def _error_at(check: ScaleChecked, target_mn: int) -> int | None:
    """Give the mean error a check found at a target: at its own, or between two of its points, taken as linear."""
    if check.target_mn == target_mn:
        return int(check.uncertainty.get("error_un", 0))
    points = [(each.get("force_mn"), each.get("mean_error_un")) for each in check.points]
    known = [(force, error) for force, error in points if force is not None and error is not None]
    for (low, at_low), (high, at_high) in pairwise(known):
        if low <= target_mn <= high and low < high:
            return round(at_low + (at_high - at_low) * (target_mn - low) / (high - low))
    return None


def _hold_words(hold: Filed[HoldJudged], zone: datetime.tzinfo | None) -> str:
    pieces = ", ".join(hold.fact.pieces) or "not numbered"
    return f"{hold.fact.job}, piece {pieces}, {hold.at.astimezone(zone).date()}"


def _text(found: ScaleUncertainty, unit: str) -> str:
    return force_text(found.expanded_mn / 1000, unit, 2)
