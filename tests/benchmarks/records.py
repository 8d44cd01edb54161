"""How fast holds are filed and verified, and how much room they take: run it with a folder on the disk in question.

    python -m tests.benchmarks.records FOLDER

A hold is thirty seconds at eighty readings a second with a hand's tremor, as `sample_job` makes them; `jitter` adds
stamps that arrive up to 0.3 ms early or late, as they are where the scale names no period.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.entries import Checked
from station.records.job_sheet import JobSheet
from station.records.report import report
from station.records.verify import verify
from tests.station.records.sample_job import BENCH, HELD, JOB, file_job, hold, pulled

AT = "2026-03-04T05:06:07.000000Z"
HOLDS = 400


def jittered(trace: Trace, seed: int) -> Trace:
    """Give a trace whose stamps are a little early or late."""
    late_us = np.random.default_rng(seed).integers(-300, 301, len(trace))
    return Trace(trace.at_us + late_us, trace.tension_mn, trace.status, trace.unit)


def median_ms(times_s: list[float]) -> str:
    """Give the median and the 95th percentile in milliseconds."""
    ordered = sorted(times_s)
    return f"{1e3 * statistics.median(ordered):.2f} ms median, {1e3 * ordered[int(0.95 * len(ordered))]:.2f} ms 95 %"


def measured(folder: Path, name: str, traces: list[Trace]) -> None:
    """File holds with these traces, verify them, and print what it took."""
    path = folder / f"{name}.sqlite"
    judged = [hold(("12",), trace, "A: pre-stretch") for trace in traces]
    checks, holds = [], []
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for entry, trace in zip(judged, traces, strict=True):
            for times_s, told, come_with in ((checks, Checked(job=JOB, check="x"), []), (holds, entry, [trace])):
                begun = time.perf_counter()
                archive.append(told, AT, come_with)
                times_s.append(time.perf_counter() - begun)
    with Archive.open(path) as archive:
        begun = time.process_time()
        found = verify(archive.entries(), archive.stored_traces)
        took_s = time.process_time() - begun
        assert found.good
        stored = sum(len(each.blob) for each in archive.stored_traces.values())
    print(f"{name}: an entry alone filed in {median_ms(checks)}; a judged hold in {median_ms(holds)}")
    print(f"{name}: {found.holds / took_s:.0f} holds a second verified on one core")
    each, all_in_all = stored / len(traces), path.stat().st_size / len(traces)
    print(f"{name}: {each:.0f} bytes of trace a hold; {all_in_all:.0f} bytes of file a hold and a check")


def main(folder: Path) -> None:
    """Measure on the disk that `folder` lies on."""
    traces = [pulled(seed, *HELD) for seed in range(HOLDS)]
    measured(folder, "steady", traces)
    measured(folder, "jitter", [jittered(trace, seed) for seed, trace in enumerate(traces)])
    with Archive.open(file_job(folder / "job.sqlite")) as archive:
        sheet = JobSheet.of(JOB, archive.entries(JOB))
        report(sheet, archive.trace)
        begun = time.perf_counter()
        pdf = report(sheet, archive.trace)
        print(f"a job of three holds printed in {time.perf_counter() - begun:.2f} s, {len(pdf)} bytes")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else ".") as made:
        main(Path(made))
