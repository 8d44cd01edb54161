"""An invented job, as the bench would record it: three holds on two pieces, marks, a comparison that ends level."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from station.measuring.hold import RULE_VERSION, ScaleUncertainty, judge, typed_uncertainty
from station.measuring.trace import UNITS, Trace
from station.records.archive import Archive
from station.records.chain import digest, utc_text
from station.records.entries import (
    Adjusted,
    Checked,
    Entry,
    HoldCompleted,
    HoldJudged,
    Inspected,
    JobOpened,
    LineCompared,
    MarkMade,
    PieceCut,
    SignedOff,
    StepDone,
    SteppedBack,
    Tacked,
    TrapMade,
)
from station.settings.hold import HoldSpecification
from station.units import force_mn

BENCH = "Grey Gate Loft, bench 1"
JOB = "26-0001"
SPECIFICATION = HoldSpecification(
    name="main-hmpe",
    target_mn=force_mn("30 lbf"),
    low_mn=force_mn("28 lbf"),
    high_mn=force_mn("45 lbf"),
    ceiling_mn=force_mn("60 lbf"),
    duration_us=30_000_000,
    zero_limit_mn=force_mn("0.5 lbf"),
)
UNCERTAINTY = typed_uncertainty(force_mn("0.2 lbf"))
RESPONSE_US = 100_000
PERIOD_US = 12_500  # eighty readings a second


def pulled(seed: int, *stretches: tuple[float, float, float]) -> Trace:
    """Give a pull as a trace: stretches of so many seconds, from one pull to another in lbf, with a hand's tremor."""
    hand = np.random.default_rng(seed)
    lbf = np.concatenate([np.linspace(begin, end, round(s * 1e6 / PERIOD_US)) for s, begin, end in stretches])
    lbf = np.where(lbf > 1, lbf + 0.25 * np.sin(np.arange(len(lbf)) / 37) + hand.normal(0, 0.06, len(lbf)), lbf)
    count = len(lbf)
    return Trace(
        np.arange(count, dtype=np.int64) * PERIOD_US,
        np.rint(np.round(lbf / 0.02) * 0.02 * 4448.2216152605).astype(np.int64),
        np.ones(count, np.int8),
        np.full(count, UNITS.index("lbf"), np.int8),
    )


TOO_SHORT = ((1.0, 0, 0), (2.5, 0, 22.4), (20.0, 22.6, 21.8), (1.5, 21, 0), (1.0, 0, 0))
HELD = (
    (1.0, 0, 0),
    (2.5, 0, 32.5),
    (14.0, 32.5, 30.0),
    (1.0, 30.0, 32.0),
    (15.5, 32.0, 30.4),
    (1.5, 30, 0),
    (1.0, 0, 0),
)
CASCADE = ((1.0, 0, 0), (2.0, 0, 33.0), (31.0, 33.0, 30.2), (1.5, 30, 0), (1.0, 0, 0))


def hold(
    pieces: tuple[str, ...],
    trace: Trace,
    step: str,
    uncertainty: ScaleUncertainty | None = UNCERTAINTY,
    specification: HoldSpecification = SPECIFICATION,
    garbage_frames: int = 0,
    links_lost: tuple[str, ...] = (),
) -> HoldJudged:
    """Give a hold as it is recorded, judged by the rule."""
    return HoldJudged(
        job=JOB,
        step=step,
        pieces=pieces,
        trace=digest(trace.pack()),
        specification=specification.facts(),
        uncertainty=uncertainty.facts() if uncertainty else None,
        response_us=RESPONSE_US,
        program_fault=False,
        judgement=judge(trace, specification, uncertainty, RESPONSE_US).facts(),
        rule_version=RULE_VERSION,
        garbage_frames=garbage_frames,
        links_lost=links_lost,
        scale="/dev/serial/by-id/usb-bench-scale",
    )


def completed(judged: HoldJudged, trace: Trace) -> tuple[HoldCompleted, Trace]:
    """Give the entry made when the time was complete, with the trace up to then."""
    so_far = trace[: int(np.searchsorted(trace.at_us, judged.judgement["span_us"][1])) + 1]
    entry = HoldCompleted(
        job=judged.job,
        step=judged.step,
        pieces=judged.pieces,
        trace=digest(so_far.pack()),
        specification=judged.specification,
        uncertainty=judged.uncertainty,
    )
    return entry, so_far


PLAN = """[plan]
name = "centre A and B, left"
reference = "opposite number"
pull = "10 lbf"
tolerance = "1/2 in"

[shrinkage]
coefficient = 0.0625
standard_uncertainty = 0.01

[[line]]
name = "A"
length = "120 in"
link_end = { loop = "1 1/2 in", trap = "5 in" }
canopy_end = { loop = "1 in", trap = "5 in" }

[[line]]
name = "B"
length = "75 in"
link_end = { joins = "A", at = "48 in", trap = "5 in" }
canopy_end = { knot = "1 1/4 in", trap = "5 in" }
"""

OPENED = JobOpened(
    job=JOB,
    title="centre A and B, left",
    side="left",
    number="A2, B2",
    reference="opposite number",
    canopy={
        "kind": "main",
        "make": "Grey Gate",
        "type": "Teasel 190",
        "size": "190 sq ft",
        "serial": "T190-0417",
        "made": "2021-05",
        "jumps": 612,
        "line_set": "",
    },
    owner={"name": "Ilse Marrow", "address": "4 Tannery Row, Upper Hale"},
    work={
        "kind": "line replacement",
        "extent": "one main line with its cascade",
        "cause": "burr on the slider's left front grommet",
        "cause_removed": "yes: grommet replaced",
        "neighbours": "A1, A3 looked at, no damage",
        "place": "Grey Gate Loft",
        "drop_tests": "none made",
        "document": "Teasel manual, revision 4, page 31",
    },
    people={
        "worker": "Ansa Velling",
        "supervisor": "Tobin Hask",
        "authority": "the loft's own approval",
        "certificate_kind": "senior rigger",
        "certificate": "GG-118",
        "rating": "back",
        "seal": "AV7",
    },
    stock={"maker": "Harrow Cordage", "specification": "HMPE, hollow braid", "strength": "725 lbf", "lot": "H-2231"},
    sewing={"thread": "E, polyester", "thread_lot": "", "needle": "16", "machine": "bar tacker 2"},
    measuring={"cell": "LC-0092", "indicator": "", "weights": "30 lb, set 2", "scale_check": "U 0.2 lbf, 2026-02-11"},
    plan_toml=PLAN,
    software="fidbench 0.1.0",
)


def story() -> Iterator[tuple[Entry, tuple[Trace, ...]]]:
    """Give the job's entries in their order, each with the traces that come with it."""
    first, second, third = pulled(1, *TOO_SHORT), pulled(2, *HELD), pulled(3, *CASCADE)
    yield OPENED, ()
    yield StepDone(job=JOB, step="reference", note="opposite number and its neighbours sound, within chart"), ()
    yield PieceCut(job=JOB, step="A: cut", line="A", piece="12", length_um=3_657_600), ()
    yield TrapMade(job=JOB, step="A link end: trap", trap="A link end", host="A", guest="A", trap_um=127_000), ()
    yield hold(("12",), first, "A: pre-stretch", garbage_frames=2), (first,)
    judged = hold(("12",), second, "A: pre-stretch")
    entry, so_far = completed(judged, second)
    yield entry, (so_far,)
    yield judged, (second,)
    pull_mn = force_mn("10 lbf")
    mark = MarkMade(
        job=JOB, step="B into A: mark", trap="B into A", mark="entry", line="A", offset_um=9_525, pull_mn=pull_mn
    )
    yield mark, ()
    yield SteppedBack(job=JOB, step="B into A: mark"), ()
    yield mark, ()
    yield PieceCut(job=JOB, step="B: cut", line="B", piece="13", length_um=None), ()
    judged = hold(("13",), third, "B: pre-stretch", links_lost=("the cable came out; plugged in again",))
    entry, so_far = completed(judged, third)
    yield entry, (so_far,)
    yield judged, (third,)
    yield TrapMade(job=JOB, step="B into A: trap", trap="B into A", host="A", guest="B", trap_um=127_000), ()
    long = LineCompared(
        job=JOB,
        step="A: compare",
        line="A",
        method="in turn",
        difference_um=4_763,
        reference_pull_mn=force_mn("10 lbf"),
        line_pull_mn=force_mn("10.1 lbf"),
        after_sewing=False,
    )
    yield long, ()
    yield Adjusted(job=JOB, step="A: adjust", line="A", action="take-in", move_um=5_080, trap_after_um=132_080), ()
    yield (
        Tacked(job=JOB, step="trial", trap="A canopy end", tack="bar-tack", length_um=25_400, stitches=42, trial=True),
        (),
    )
    for trap in ("A link end", "B into A", "B canopy end", "A canopy end"):
        yield Tacked(job=JOB, step=f"{trap}: tack", trap=trap, tack="bar-tack", length_um=25_400, stitches=42), ()
    for line in ("A", "B"):
        yield (
            LineCompared(
                job=JOB,
                step=f"{line}: compare",
                line=line,
                method="in turn",
                difference_um=0,
                reference_pull_mn=force_mn("10 lbf"),
                line_pull_mn=force_mn("10.1 lbf"),
                after_sewing=True,
            ),
            (),
        )
    for check in (
        "attachment and its tack",
        "line continuity",
        "right grommet, no burr",
        "no twist",
        "pins counted back",
    ):
        yield Checked(job=JOB, step="checks", check=check), ()
    yield Inspected(job=JOB, step="inspection", by="Tobin Hask", certificate="GG-031", finding="no fault found"), ()
    statement = "Line A2 and its cascade B2 replaced by the document named; both level with their opposite numbers."
    yield SignedOff(job=JOB, step="sign-off", by="Ansa Velling", certificate="GG-118", statement=statement), ()


def file_job(path: Path) -> Path:
    """File the job in a new archive, an entry a minute, and give the archive's path."""
    at = datetime(2026, 3, 4, 14, 2, 11, 250_000, tzinfo=UTC)
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for minute, (entry, traces) in enumerate(story()):
            archive.append(entry, utc_text(at + timedelta(minutes=minute)), traces)
    return path
