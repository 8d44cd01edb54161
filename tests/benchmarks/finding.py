"""How fast questions over 20 000 jobs are answered from a file and a server, and 20 000 holds judged again.

Each job is opened with a canopy, a lot and a plan, has two pieces cut, one hold of thirty seconds at eighty readings a
second, and a signature: 100 000 entries. There are 400 lots and one scale. The holds' traces are 1 000 different ones,
each kept once, so that the file is made in minutes; every hold is read, unpacked and judged all the same.
"""

from __future__ import annotations

import dataclasses
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from station.measuring.hold import judge, typed_uncertainty
from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.chain import FIRST_PREV, seal
from station.records.entries import DailyChecked, Entry, HoldJudged, PieceCut, SignedOff, body_of
from station.records.names import seal_names, text_of
from station.records.register import Asked, find
from station.records.revisit import doubts, in_doubt
from station.records.rows import Row, StoredTrace
from station.records.workers import cores, revisited
from tests.benchmarks.measuring import figure
from tests.station.records.sample_job import BENCH, HELD, OPENED, RESPONSE_US, SPECIFICATION, UNCERTAINTY, hold, pulled
from tests.station.records.server import server

JOBS = 20_000
LOTS = 400
TRACES = 1_000
PULLS = 20  # different hands; the other traces are these at another height
SCALE = "/dev/serial/by-id/usb-bench-scale"
ASKED = typed_uncertainty(8_896)  # 2 lbf, where the lowest of every hold is about 30 lbf over a limit of 28 lbf


def traces() -> list[Trace]:
    """Give as many traces, no two the same."""
    made = [pulled(n, *HELD) for n in range(PULLS)]
    for n in range(PULLS, TRACES):
        like = made[n % PULLS]
        made.append(Trace(like.at_us, like.tension_mn + n // PULLS, like.status, like.unit))
    return made


def entries() -> Iterator[Entry | StoredTrace]:
    """Give every entry of every job, and each trace before the hold that names it first."""
    kept: list[HoldJudged] = []
    yield DailyChecked(scale=SCALE, known_mn=133_447, indicated_mn=133_447, agreed=True, within_mn=890)
    pulls = traces()
    for n in range(JOBS):
        job, lot = f"26-{n + 1:05d}", f"H-{n % LOTS:04d}"
        yield dataclasses.replace(OPENED, job=job, stock={**OPENED.stock, "lot": lot})
        for piece in (2 * n, 2 * n + 1):
            yield PieceCut(job=job, step="A: cut", line="A", piece=str(piece), length_um=3_657_600)
        if n < TRACES:
            yield StoredTrace.of(pulls[n].pack())
            kept.append(hold((), pulls[n], "A: pre-stretch"))
        yield dataclasses.replace(kept[n % TRACES], job=job, pieces=(str(2 * n), str(2 * n + 1)))
        yield SignedOff(job=job, by="Ansa Velling", certificate="GG-118", statement="done")
    yield DailyChecked(scale=SCALE, known_mn=133_447, indicated_mn=137_895, agreed=False, within_mn=890)


def made(where: Path | str) -> Path | str:
    """Make the archive, sealed as a bench seals it, and kept at once."""

    def items() -> Iterator[Row | StoredTrace]:
        prev, seq = FIRST_PREV, 0
        for each in entries():
            if isinstance(each, StoredTrace):
                yield each
                continue
            seq += 1
            facts, beside = seal_names(body_of(each), lambda: "00" * 16)
            link = seal(prev, BENCH, seq, "2026-03-04T05:06:07.000000Z", facts)
            prev = link.hash
            yield Row(BENCH, seq, each.job, facts["kind"], link.hash, link.body, text_of(beside))

    with Archive.open(where, bench=BENCH, create=True) as archive:
        archive.take_back(items())
    return where


def bare_judged_s(pulls: list[Trace]) -> float:
    """Judge as many traces that are in memory already, on one core; give the seconds of 20 000."""
    begun = time.process_time()
    for trace in pulls:
        judge(trace, SPECIFICATION, UNCERTAINTY, RESPONSE_US)
    return (time.process_time() - begun) * JOBS / len(pulls)


def lot_s(archive: Archive) -> float:
    """Give the seconds in which everything made from a lot is found."""
    begun = time.perf_counter()
    found = find(archive, Asked(lot="H-0123"))
    took_s = time.perf_counter() - begun
    if len(found) != JOBS // LOTS:
        raise RuntimeError(f"found {len(found)} jobs of a lot")
    return took_s


def on_a_server() -> Iterator[dict[str, Any]]:
    """Measure the same on a server; where none is installed, say so and measure nothing."""
    try:
        with server() as running, Archive.open(made(running.new())) as archive:
            name = f"records, {JOBS:,} jobs on a server: everything made from a lot"
            yield figure(name, lot_s(archive), "s", 1, None, False)
    except pytest.skip.Exception as why:
        print(f"finding on a server is left out: {why}", file=sys.stderr)


def figures() -> list[dict[str, Any]]:
    """Measure questions over many jobs."""
    with tempfile.TemporaryDirectory(dir=".", prefix=".measured-") as folder:
        with Archive.open(made(Path(folder) / "archive.sqlite")) as archive:
            of_lot_s = lot_s(archive)
            begun = time.perf_counter()
            (doubt,) = doubts(archive, SCALE)
            holds = in_doubt(archive, SCALE, doubt)
            scale_s = time.perf_counter() - begun
            begun = time.perf_counter()
            again = list(revisited(archive, holds, ASKED, workers=min(2, cores())))
            judged_s = time.perf_counter() - begun
        worse = sum(each.worse for each in again)
        if (len(holds), len(again)) != (JOBS, JOBS) or not worse:
            raise RuntimeError(f"found {len(holds)} holds, {worse} worse")
        bare_s = bare_judged_s(traces()[:200]) / min(2, cores())
        name = f"records, {JOBS:,} jobs"
        return [
            figure(f"{name}: everything made from a lot", of_lot_s, "s", 1, None, False),
            figure(f"{name}: every hold made with a scale since its last good check", scale_s, "s", 1, None, False),
            figure(f"{name}: their holds judged again with less trust, two cores", judged_s, "s", 60, bare_s, False),
            *on_a_server(),
        ]
