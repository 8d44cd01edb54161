"""What pulling the cable does: `python -m tests.campaigns.unplug --json [--seed N] [--size HOLDS]`.

Holds on real ports (pseudo-terminals), worked by what `fidbench hold` is made of: the cable to the scale is pulled at
random moments, once or more, and put back after a random time, while somebody keeps pulling. Several benches at once,
for most of the time is waiting. Then:

- no deciding span may reach over a loss that lasted longer than the largest gap allowed between two readings;
- the loss must have been said in words, and stand in the record of the hold;
- the scale must come back by itself, and the verdict fall: held, for after the cable was back the line was held in
  full;
- what was said must be in the archive, opened anew, and all of it must verify.

For every ten holds a whole job is worked at the bench, in simulated time, with the cable out at random moments of it:
it must be brought to its end, with all that was shown in the archive.
"""

from __future__ import annotations

import random
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from simulators.hand import Pull, Puller
from simulators.line import HMPE, BraidedLine
from simulators.scale import VirtualScale
from simulators.scenarios import SCENARIOS
from simulators.serve import Port, station_toml
from station.filing import facts_of
from station.measuring.hold import HoldSpecification
from station.one_hold import Said
from station.one_hold import run as one_hold
from station.records.archive import Archive
from station.records.entries import HoldJudged
from station.settings.station import load_station
from tests.campaigns.bench_work import FilingBench, clock, missing, verified
from tests.campaigns.campaign import Finding, Progress, run, some

BENCHES = 8
HELD_US = 1_200_000
SPECIFICATION = HoldSpecification("short", 133_447, 124_550, 200_170, 266_893, HELD_US)
TIMEOUT_US = 30_000_000
SCENARIO = SCENARIOS["steady"]
LBF_N = 4.4482216152605


class Cable:
    """A scale on a port, and what is done to its cable; `out_us` are the times in which it was out, by our clock."""

    def __init__(self, port: Path, seed: int, out_s: list[tuple[float, float]]) -> None:
        self.out_us: list[tuple[int, int]] = []
        self._out_s = out_s
        self._scale = VirtualScale(seed, SCENARIO.scale)
        self._line = Puller(BraidedLine(seed, HMPE, 3.0), "hand", [Pull(300_000, 32 * LBF_N, 200_000)], seed=seed)
        self._port = port
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work)
        self.there = threading.Event()

    def __enter__(self) -> Cable:
        self._thread.start()
        self.there.wait()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _work(self) -> None:
        with Port(self._port) as port:
            self.there.set()
            began_us = time.monotonic_ns() // 1000
            went_us: int | None = None
            while not self._stop.is_set():
                now_us = time.monotonic_ns() // 1000
                at_us = now_us - began_us
                out = any(begin <= at_us / 1e6 < end for begin, end in self._out_s)
                if out and went_us is None:
                    port.unplug()
                    went_us = now_us
                elif not out and went_us is not None:
                    port.plug()
                    self.out_us.append((went_us, time.monotonic_ns() // 1000))
                    went_us = None
                for sent in self._scale.bytes_until(at_us, self._line.tension_n):
                    port.send(sent.raw)
                time.sleep(0.004)


class Went(NamedTuple):
    """How one hold went: what was lost, if anything, and how often the cable was pulled out before the verdict.

    `while_up` of these while the scale was up; one before it was back from the last is no new loss.
    """

    lost: str
    pulled_out: int
    while_up: int
    said: int


def tried(chance: random.Random) -> Went:
    """Hold once, with the cable out now and then."""
    outs_s, at_s = [], chance.uniform(0.0, 1.6)
    for _ in range(chance.choice((1, 1, 2, 3))):
        lasts_s = 10 ** chance.uniform(-1.3, 0.2)  # 50 ms to 1.6 s
        outs_s.append((at_s, at_s + lasts_s))
        at_s += lasts_s + chance.uniform(0.05, 1.0)
    with tempfile.TemporaryDirectory(prefix="fidbench-unplug-") as made:
        folder = Path(made)
        archive, station_file = folder / "archive.sqlite", folder / "station.toml"
        station_file.write_text(station_toml(SCENARIO, str(folder / "scale"), str(folder / "pedal")))
        station = load_station(station_file)
        said: list[Said] = []
        with Cable(folder / "scale", chance.randrange(10_000), outs_s) as cable:
            began_us = time.monotonic_ns() // 1000
            up_us: list[tuple[int, bool]] = [(0, False)]  # since when the scale was up, or not, as the bench said it
            for each in one_hold(station, SPECIFICATION, TIMEOUT_US, str(archive)):
                said.append(each)
                if each.event in {"link-up", "link-lost"}:
                    up_us.append((time.monotonic_ns() // 1000, each.event == "link-up"))
            ended_us = time.monotonic_ns() // 1000
            outs_us = [each for each in cable.out_us if began_us < each[0] < ended_us]
        lost = _lost(said, archive, outs_us)
        while_up = sum([up for since_us, up in up_us if since_us < begin_us][-1] for begin_us, _ in outs_us)
        return Went(lost, len(outs_us), while_up, sum(each.event == "link-lost" for each in said))


def _lost(said: list[Said], archive: Path, outs_us: list[tuple[int, int]]) -> str:
    """Say what was lost or false, nothing where nothing was."""
    if not said or said[-1].event != "verdict":
        return f"no verdict fell: {[each.event for each in said]}"
    told = said[-1].facts
    losses = [each for each in said if each.event == "link-lost"]
    if told is None or told["verdict"] != "held":
        return f"the verdict is {told and told['verdict']}, after {len(losses)} losses"
    if not all(each.more["why"] and each.more["advice"] for each in losses):
        return "a loss was not said in words"
    found, kept = verified(archive)
    if not found.good:
        return f"the archive does not verify: {found.damaged}"
    if [judgement for _, judgement in kept] != [told]:
        return f"what was said is not what is filed: {told}, {kept}"
    with Archive.open(archive) as opened:
        entry = next(each for _, each in facts_of(opened) if isinstance(each, HoldJudged))
        at_us = opened.trace(entry.trace).at_us
    if len(entry.links_lost) != len(losses):
        return f"{len(losses)} losses were said, {len(entry.links_lost)} stand in the record"
    begin_us, end_us = told["span_us"]
    inside = at_us[(at_us >= begin_us) & (at_us <= end_us)]
    if (inside[1:] - inside[:-1]).max() > SPECIFICATION.max_gap_us:
        return "the deciding span reaches over a time without readings"
    links = [each for each in said if each.event in {"link-lost", "link-up"}]
    for away, back in pairwise(links):
        long = back.at_s - away.at_s > SPECIFICATION.max_gap_us / 1e6
        if away.event == "link-lost" and long and begin_us < away.at_s * 1e6 and back.at_s * 1e6 < end_us:
            return f"the deciding span, {begin_us} to {end_us} us, reaches over the loss at {away.at_s} s"
    longest_us = max((end - begin for begin, end in outs_us), default=0)
    if longest_us > SPECIFICATION.max_gap_us + 100_000 and not losses:
        return f"the cable was out for {longest_us / 1e6:.2f} s before the verdict, and nothing was said"
    return ""


class LooseCable(FilingBench):
    """A bench at work, whose cable comes out now and then."""

    def __init__(self, archive: Archive, chance: random.Random) -> None:
        self.outs = 0
        self._chance = chance
        super().__init__(archive, clock)

    def pull(self, lbf: float, for_s: float, status: str | None = None, unit: str = "lbf") -> None:
        """Pull for a time; in one pull of ten the cable comes out, and the pull goes on without it."""
        if self._chance.random() > 0.1:
            super().pull(lbf, for_s, status, unit)
            return
        before_s = self._chance.uniform(0, for_s)
        super().pull(lbf, before_s, status, unit)
        self.unplug()
        self.outs += 1
        self.wait(self._chance.choice((0.1, 1.0, 4.0)))
        self.replug()
        super().pull(lbf, max(for_s - before_s, 0.1), status, unit)


def job_tried(chance: random.Random) -> tuple[str, int]:
    """Work a job with a loose cable; say what was lost, nothing where nothing was, and how often it came out."""
    with tempfile.TemporaryDirectory(prefix="fidbench-unplug-") as made:
        path = Path(made) / "archive.sqlite"
        with Archive.open(path, bench="Bench 1", create=True) as archive:
            bench = LooseCable(archive, chance)
            done = bench.work()
        if not done:
            return f"the job never came to its end: {bench.step}, {bench.bench.notice}", bench.outs
        return missing(path, bench.shown), bench.outs


def unplug(seed: int, size: int) -> Finding:
    """Hold so many times."""
    chances = [random.Random(f"unplug {seed} {number}") for number in range(size)]  # noqa: S311 -- repeatable
    losses: list[str] = []
    count: Counter[str] = Counter()
    tell = Progress(size, "holds")
    with ThreadPoolExecutor(min(BENCHES, size)) as benches:
        for number, went in enumerate(benches.map(tried, chances), 1):
            losses += [f"hold {number}: {went.lost}"] if went.lost else []
            count["out"] += went.pulled_out
            count["while up"] += went.while_up
            count["said"] += went.said
            tell(number, f"{len(losses)} lost")
    lost_holds, jobs = len(losses), max(size // 10, 1)
    for number in range(jobs):
        lost, outs = job_tried(random.Random(f"unplug job {seed} {number}"))  # noqa: S311 -- repeatable
        losses += [f"job {number + 1}: {lost}"] if lost else []
        count["job out"] += outs
    figures = {
        "tried": size + jobs,
        "survived": size + jobs - len(losses),
        "lost": len(losses),
        "pulled_out_before_the_verdict": count["out"],
        "pulled_out_while_the_scale_was_up": count["while up"],
        "losses_said": count["said"],
        "jobs": jobs,
        "pulled_out_in_jobs": count["job out"],
        "first": some(losses),
    }
    words = (
        f"{size} holds on real ports, the cable pulled out {count['out']} times before a verdict fell: "
        f"{size - lost_holds} came back by themselves and were held in full, {lost_holds} were lost or false. "
        f"{jobs} jobs with the cable out {count['job out']} times: {jobs - len(losses) + lost_holds} came to their end."
    )
    return Finding(figures, words, not losses)


if __name__ == "__main__":
    sys.exit(run(__doc__, 400, "holds", unplug))
