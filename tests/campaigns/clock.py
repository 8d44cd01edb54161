"""What a jumping clock does to a job: `python -m tests.campaigns.clock --json [--seed N] [--size JOBS]`.

A job is worked at the bench and filed, while the computer's clock of the day jumps at random entries, a hold's among
them: hours, days or ten years forward or back, an hour as summer time does it to a clock that is set by hand (UTC,
which is filed, does not know it), and the few seconds by which a time server sets a clock right. Then:

- every verdict and every trace must be what they are without a jump;
- the entries must be numbered without a hole, and all must verify;
- where the clock ran back, verification must say so in words at each such entry; nowhere else.
"""

from __future__ import annotations

import datetime
import random
import sys
import tempfile
from collections import Counter
from itertools import pairwise
from pathlib import Path

from station.records.archive import Archive
from tests.campaigns.bench_work import FilingBench, Verdict, missing, verified
from tests.campaigns.campaign import Finding, Progress, run, some

BENCH = "Bench 1"
BEGINS = datetime.datetime(2026, 3, 29, 0, 50, tzinfo=datetime.UTC)  # ten minutes before a summer time begins
JUMPS_S = {
    "hours": lambda chance: chance.choice((-1, 1)) * chance.uniform(1, 12) * 3600,
    "days": lambda chance: chance.choice((-1, 1)) * chance.uniform(1, 400) * 86400,
    "summer time, by hand": lambda chance: chance.choice((-3600, 3600)),
    "time server": lambda chance: chance.uniform(-5, 5),
    "a slow drift": lambda chance: chance.uniform(-0.2, 0.2),
    "ten years": lambda chance: chance.choice((-1, 1)) * 3652 * 86400,
}


class JumpingClock:
    """The time of day, which goes as the bench's own does, and jumps before some entries."""

    def __init__(self, jumps_s: dict[int, float]) -> None:
        self._jumps_s = jumps_s
        self._off_s = 0.0
        self.told: list[datetime.datetime] = []

    def __call__(self, bench: FilingBench) -> datetime.datetime:
        """Give the time of day."""
        self._off_s += self._jumps_s.get(len(self.told), 0.0)
        self.told.append(BEGINS + datetime.timedelta(microseconds=bench.at_us, seconds=self._off_s))
        return self.told[-1]


def worked(folder: Path, clock: JumpingClock) -> tuple[Path, list[Verdict], str]:
    """Work and file a job; give the archive's path, the verdicts shown, and why it was never done, where it was not."""
    path = folder / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        bench = FilingBench(archive, clock)
        done = bench.work()
    return path, bench.shown, "" if done else f"the job was never done: {bench.bench.notice}"


def tried(chance: random.Random, wanted: list[Verdict], kinds: Counter[str]) -> str:
    """Work a job under a jumping clock; say what is not as it must be, nothing where all is."""
    jumps_s = {}
    for at in sorted(chance.sample(range(1, 25), chance.randint(1, 4))):
        kind = chance.choice(list(JUMPS_S))
        kinds[kind] += 1
        jumps_s[at] = JUMPS_S[kind](chance)
    clock = JumpingClock(jumps_s)
    with tempfile.TemporaryDirectory(prefix="fidbench-clock-") as made:
        path, shown, undone = worked(Path(made), clock)
        if undone:
            return undone
        if shown != wanted:
            return f"the verdicts are others: {shown}"
        if said := missing(path, shown):
            return said
        found, _ = verified(path)
        with Archive.open(path) as archive:
            numbers = [row.seq for row in archive.entries()]
    if numbers != list(range(1, len(clock.told) + 1)):
        return f"the entries are numbered {numbers}"
    back = [seq for seq, (before, after) in enumerate(pairwise(clock.told), 2) if after < before]
    words = [f"entry {seq} bears the time" for seq in back]
    if len(found.remarks) != len(back) or not all(map(str.startswith, found.remarks, words)):
        return f"the clock ran back at {back}, and verification says {found.remarks}"
    return ""


def clock(seed: int, size: int) -> Finding:
    """Work so many jobs under jumping clocks."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    kinds: Counter[str] = Counter()
    losses: list[str] = []
    tell = Progress(size, "jobs")
    with tempfile.TemporaryDirectory(prefix="fidbench-clock-") as made:
        _, wanted, undone = worked(Path(made), JumpingClock({}))
    for number in range(1, size + 1):
        lost = tried(chance, wanted, kinds)
        losses += [f"job {number}: {lost}"] if lost else []
        tell(number, f"{len(losses)} lost")
    figures = {
        "tried": size,
        "survived": size - len(losses),
        "lost": len(losses),
        "jumps": dict(sorted(kinds.items())),
        "verdicts_in_a_job": len(wanted),
        "first": some([undone, *losses] if undone else losses),
    }
    words = (
        f"{size} jobs under a clock that jumped {sum(kinds.values())} times: in {size - len(losses)} every verdict was "
        "what it is without a jump, no number was missing, and every step back was said."
    )
    return Finding(figures, words, bool(wanted) and not undone and not losses)


if __name__ == "__main__":
    sys.exit(run(__doc__, 300, "jobs", clock))
