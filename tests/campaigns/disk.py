"""What becomes of a job when the disk is full: `python -m tests.campaigns.disk --json [--seed N] [--size JOBS]`.

A job is worked at the bench and filed on a small disk of its own (a tmpfs where this user may mount one, else a limit
on the size of files). At a random entry the disk is filled up but for a random rest. Then:

- every hold whose verdict was shown must be in the archive, opened anew, and all of it must verify;
- the bench must have stopped, and said so in words;
- once there is room again, a bench opened anew must go on in the same archive, without a hole in the numbers.

`survived` counts the jobs after which all of this was so. Jobs for which the rest was room enough are told apart.
"""

from __future__ import annotations

import random
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from station.records.archive import Archive, ArchiveFault
from station.records.entries import Checked
from tests.campaigns.bench_work import FilingBench, clock, missing, verified
from tests.campaigns.campaign import Finding, Progress, run, some

BENCH = "Bench 1"
DISK_KB = 1_024
MOST_LEFT = 120_000  # bytes; a job takes about as many
STOPPED, ENOUGH = "stopped, said so, and went on once there was room", "the rest was room enough"

Fill = Callable[[int], None]
Free = Callable[[], None]


@contextmanager
def small_disk() -> Iterator[tuple[str, Path, Fill, Free]]:
    """Give a disk's kind, its folder, and how it is filled but for so many bytes, and freed again."""
    with tempfile.TemporaryDirectory(prefix="fidbench-disk-") as made:
        folder, ballast = Path(made) / "disk", Path(made) / "disk" / "ballast"
        folder.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_KB}k", "tmpfs", str(folder)]
        if subprocess.run(mount, capture_output=True, check=False).returncode == 0:

            def fill(left: int) -> None:
                with ballast.open("wb", buffering=0) as file, suppress(OSError):
                    while True:
                        file.write(bytes(4096))
                with ballast.open("r+b") as file:
                    file.truncate(max(ballast.stat().st_size - left, 0))

            try:
                yield "a small disk", folder, fill, lambda: ballast.unlink(missing_ok=True)
            finally:
                subprocess.run(["umount", "-l", str(folder)], check=True)
            return
        was = resource.getrlimit(resource.RLIMIT_FSIZE)

        def limit(left: int) -> None:
            largest = max((each.stat().st_size for each in folder.iterdir()), default=0)
            resource.setrlimit(resource.RLIMIT_FSIZE, (largest + left // 2, was[1]))

        yield "a limit on files", folder, limit, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, was)


def tried(chance: random.Random) -> tuple[str, str]:
    """Work a job on a disk that gets full; give how it went, and what was lost, if anything."""
    filled_at, left = chance.randint(1, 24), chance.choice((0, chance.randint(0, 8_000), chance.randint(0, MOST_LEFT)))
    with small_disk() as (_, folder, fill, free):
        path = folder / "archive.sqlite"

        def meanwhile(bench: FilingBench) -> None:
            if len(bench.entries) == filled_at:
                fill(left)

        with Archive.open(path, bench=BENCH, create=True) as archive:
            bench = FilingBench(archive, clock, meanwhile)
            done = bench.work()
            filed, stopped = len(bench.entries), bench.bench.stopped
            seen = bench.seen()
        try:
            if said := missing(path, bench.shown):
                return "", said
            if verified(path)[0].entries != filed:
                return "", f"{filed} entries were told to be filed, {verified(path)[0].entries} are there"
        finally:
            free()
        if done:
            return ENOUGH, ""
        if stopped is None or "the disk is full" not in stopped or stopped not in [each.text for each in seen.second]:
            return "", f"the bench stopped without saying why: {stopped!r}, {seen.sentence} {seen.second}"
        with Archive.open(path, bench=BENCH) as archive:
            link = archive.append(Checked(job=bench.bench.job, check="no twist"), "2026-03-04T23:00:00.000000Z")
        if link.seq != filed + 1:
            return "", f"the bench went on with entry {link.seq} after {filed}"
        if said := missing(path, bench.shown):
            return "", f"once there was room: {said}"
        return STOPPED, ""


def disk(seed: int, size: int) -> Finding:
    """Work so many jobs on disks that get full."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    how: Counter[str] = Counter()
    losses: list[str] = []
    tell = Progress(size, "jobs")
    with small_disk() as (kind, *_):
        pass
    for number in range(1, size + 1):
        try:
            went, lost = tried(chance)
        except ArchiveFault as fault:
            went, lost = "", f"the archive cannot be used: {fault}"
        how[went] += bool(went)
        losses += [f"job {number}: {lost}"] if lost else []
        tell(number, f"{len(losses)} lost")
    how += Counter()
    figures = {
        "tried": size,
        "survived": size - len(losses),
        "lost": len(losses),
        "filled_by": kind,
        "how": dict(how),
        "first": some(losses),
    }
    words = (
        f"{size} jobs on {kind} that got full: {how[STOPPED]} stopped, said so, and went on once there was room; for "
        f"{how[ENOUGH]} the rest was room enough; after {len(losses)} something was lost."
    )
    return Finding(figures, words, not losses)


if __name__ == "__main__":
    sys.exit(run(__doc__, 300, "jobs", disk))
