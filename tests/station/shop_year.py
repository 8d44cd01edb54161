"""An invented shop: jobs of one line each, with what was found, by whom, of which lot, after which scale check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from station.bench.job import example_opening
from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.chain import utc_text
from station.records.entries import (
    DailyChecked,
    Entry,
    HoldJudged,
    PieceCut,
    ScaleChecked,
    SignedOff,
)
from tests.station.records.sample_job import SPECIFICATION
from tests.station.test_learned import KNOWN, compared, trapped

BEGINS = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
SCALE = "LC-0092"
TARGET_MN = SPECIFICATION.target_mn


@dataclass(frozen=True)
class Day:
    """One job: what its line was found to be at first and left with, and the mean pull of its hold over its target."""

    first_um: int
    final_um: int = 0
    hold_share: float = 0.0
    rigger: str = "Ansa Velling"
    lot: str = "L-7"
    verdict: str = "held"
    signed: bool = True


def full_check(error_un: int, scale: str = SCALE) -> ScaleChecked:
    """Give a full check that found this error at the target."""
    return ScaleChecked(
        scale=scale,
        target_mn=TARGET_MN,
        uncertainty={"expanded_mn": 890, "standard_un": 445_000, "error_un": error_un},
        scale_class=None,
        points=(),
        by="Ansa Velling",
        weights="30 lb, set 2",
        latitude=None,
        check_hash="00" * 32,
    )


def daily_check(indicated_mn: int, scale: str = SCALE) -> DailyChecked:
    """Give a daily check with a weight of 100 N."""
    return DailyChecked(scale=scale, known_mn=100_000, indicated_mn=indicated_mn, agreed=True, within_mn=890)


def judgement(share: float, verdict: str) -> Mapping[str, Any]:
    """Give what a hold found, of a thousand readings whose mean is so much over the target."""
    return {"verdict": verdict, "reasons": [], "sum_mn": round(TARGET_MN * (1 + share) * 1000), "count": 1000}


def facts_of(n: int, day: Day) -> list[Entry]:
    """Give the facts of the n-th job."""
    opening = type(example_opening())(
        **{**vars(example_opening(KNOWN)), "people": {"worker": day.rigger}, "stock": {"lot": "of the shop"}}
    )
    piece = str(n)
    hold = HoldJudged(
        job="",
        step="A: pre-stretch",
        pieces=(piece,),
        trace=Trace.empty().digest(),
        specification=SPECIFICATION.facts(),
        uncertainty=None,
        response_us=None,
        program_fault=False,
        judgement=judgement(day.hold_share, day.verdict),
        rule_version=1,
        garbage_frames=0,
        links_lost=(),
        scale=SCALE,
    )
    cut = PieceCut(job="", step="A: cut", line="A", piece=piece, length_um=None, lot=day.lot)
    facts: list[Entry] = [opening, cut, hold, *trapped(), compared(1, day.first_um)]
    facts.append(compared(1, day.final_um, after_sewing=True))
    if day.signed:
        facts.append(SignedOff(job="", step="sign", by=day.rigger, certificate="", statement="done"))
    return [type(each)(**{**vars(each), "job": f"26-{n:04d}"}) for each in facts]


def shop(path: Path, days: Sequence[Day | Entry], bench: str = "Bench 1") -> Path:
    """Make an archive of these jobs, a day each, and of checks between them."""
    n, at = 0, BEGINS
    with Archive.open(path, bench=bench, create=True) as ours:
        for each in days:
            if isinstance(each, Day):
                n += 1
                at += timedelta(days=1)
                facts = facts_of(n, each)
            else:
                facts = [each]
            for fact in facts:
                at += timedelta(minutes=4)
                ours.append(fact, utc_text(at), [Trace.empty()] if isinstance(fact, HoldJudged) else [])
    return path
