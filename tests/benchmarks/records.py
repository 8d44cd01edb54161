"""How fast holds are filed and verified, and how much room they take, on the disk that the current folder lies on.

A hold is thirty seconds at eighty readings a second with a hand's tremor, as `sample_job` makes them, its stamps up to
0.3 ms early or late, as they are where the scale names no period. The ceilings are the same work without us: SQLite's
own insert of the same bytes, and hashing, unpacking and judging the traces with nothing around it.
"""

from __future__ import annotations

import hashlib
import sqlite3
import statistics
import tempfile
import time
import zlib
from pathlib import Path
from typing import Any

import numpy as np

from station.measuring.hold import judge
from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.job_sheet import JobSheet
from station.records.narrow import widened
from station.records.report import report
from station.records.verify import verify_examined
from station.records.workers import cores, examined
from tests.benchmarks.measuring import figure
from tests.station.records.sample_job import (
    BENCH,
    HELD,
    JOB,
    RESPONSE_US,
    SPECIFICATION,
    UNCERTAINTY,
    file_job,
    hold,
    pulled,
)

AT = "2026-03-04T05:06:07.000000Z"
HOLDS = 3_000
PULLS = 50  # different ones; the others are these at another height


def traces() -> list[Trace]:
    """Give as many traces, no two the same, each with stamps a little early or late."""
    made = []
    for n in range(HOLDS):
        trace = pulled(n, *HELD) if n < PULLS else made[n % PULLS]
        late_us = np.random.default_rng(n).integers(-300, 301, len(trace))
        made.append(Trace(trace.at_us + late_us, trace.tension_mn + n // PULLS, trace.status, trace.unit))
    return made


def filed(path: Path, pulls: list[Trace]) -> list[float]:
    """File a judged hold for each trace; give how long each took, in seconds."""
    judged = [hold(("12",), trace, "A: pre-stretch") for trace in pulls]
    times_s = []
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for entry, trace in zip(judged, pulls, strict=True):
            begun = time.perf_counter()
            archive.append(entry, AT, [trace])
            times_s.append(time.perf_counter() - begun)
    return times_s


def bare_commits_s(path: Path, like: Path) -> list[float]:
    """Write the same bytes with SQLite's own module; give how long each commit took, in seconds."""
    source = sqlite3.connect(like)
    rows = source.execute("SELECT body FROM entries LIMIT 400").fetchall()
    blobs = source.execute("SELECT blob FROM traces LIMIT 400").fetchall()
    source.close()
    database = sqlite3.connect(path, isolation_level=None)
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("PRAGMA synchronous=FULL")
    database.execute("CREATE TABLE bare (body TEXT, blob BLOB)")
    times_s = []
    for (body,), (blob,) in zip(rows, blobs, strict=True):
        begun = time.perf_counter()
        database.execute("INSERT INTO bare VALUES (?, ?)", (body, blob))
        times_s.append(time.perf_counter() - begun)
    database.close()
    return times_s


def verified_a_second(path: Path, workers: int) -> tuple[float, float]:
    """Verify an archive; give holds a second of time that passed, and of this process's own processor time."""
    with Archive.open(path) as archive:
        begun, begun_cpu = time.perf_counter(), time.process_time()
        found = verify_examined(examined(archive, workers), archive.stored_traces)
        took_s, took_cpu_s = time.perf_counter() - begun, time.process_time() - begun_cpu
    if not found.good:
        raise RuntimeError(f"the archive does not verify: {found.damaged[:3]} {found.verdicts_changed[:3]}")
    return found.holds / took_s, found.holds / took_cpu_s


def bare_holds_a_second(path: Path) -> float:
    """Hash, unpack and judge the stored traces, with nothing else; give holds a second of processor time."""
    with sqlite3.connect(path) as database:
        blobs = [blob for (blob,) in database.execute("SELECT blob FROM traces LIMIT 400")]
    begun = time.process_time()
    for blob in blobs:
        packed = widened(zlib.decompress(blob))
        hashlib.sha256(packed).hexdigest()
        judge(Trace.unpack(packed), SPECIFICATION, UNCERTAINTY, RESPONSE_US)
    return len(blobs) / (time.process_time() - begun)


def printed_s(path: Path) -> float:
    """Print the record of a job of three holds; give how long the second printing took, in seconds."""
    with Archive.open(file_job(path)) as archive:
        sheet = JobSheet.of(JOB, archive.entries(JOB))
        report(sheet, archive.trace)
        begun = time.perf_counter()
        report(sheet, archive.trace)
        return time.perf_counter() - begun


def stored_bytes(path: Path, pulls: list[Trace]) -> float:
    """File holds with these traces in a new archive; give the bytes of file that each takes."""
    filed(path, pulls)
    return path.stat().st_size / len(pulls)


def figures() -> list[dict[str, Any]]:
    """Measure everything about records."""
    with tempfile.TemporaryDirectory(dir=".", prefix=".measured-") as made:
        path = Path(made) / "archive.sqlite"
        times_ms = sorted(1e3 * each for each in filed(path, traces()))
        bare_ms = 1e3 * statistics.median(bare_commits_s(Path(made) / "bare.sqlite", path))
        steady = stored_bytes(Path(made) / "steady.sqlite", [pulled(n, *HELD) for n in range(PULLS)])
        many = cores()
        # In turn, and of each the best: nearest to what the program can do on a machine that has other work.
        alone, together = zip(
            *[(verified_a_second(path, 1), verified_a_second(path, many)) for _ in range(4)], strict=True
        )
        growth = max(each for each, _ in together) / max(each for each, _ in alone)
        name = "records: a judged hold"
        return [
            figure(f"{name} filed, median", statistics.median(times_ms), "ms", 20, bare_ms, False),
            figure(f"{name} filed, 99 %", times_ms[int(0.99 * HOLDS)], "ms", 100, None, False),
            figure(f"{name} of 30 s stored, period named", steady, "bytes", 10_000, None, False),
            figure(f"{name} of 30 s stored, no period", path.stat().st_size / HOLDS, "bytes", 10_000, None, False),
            figure(
                "records: holds verified on one core",
                max(each for _, each in alone),
                "/s",
                400,
                bare_holds_a_second(path),
            ),
            figure(f"records: holds verified on {many} cores, over one", growth, "times", 1.2, float(many)),
            figure("records: a job of three holds printed", printed_s(Path(made) / "job.sqlite"), "s", 2, None, False),
        ]
