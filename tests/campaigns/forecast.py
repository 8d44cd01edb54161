"""Whether the forecast speaks in time: `python -m tests.campaigns.forecast --json [--seed N] [--size PULLS]`.

Simulated pulls of thirty seconds on clamped lines and by hand, at pulls and relaxations drawn at random, through a
virtual scale's bytes and the production decoder. A pull that leaves the acceptance limits below before its time is
complete should have been foretold at least three seconds before; one that does not should not have been.
"""

from __future__ import annotations

import random
import sys

import numpy as np

from drivers.events import Frame, Reading
from drivers.text_frames import TextDecoder, TextFormat
from simulators.hand import Puller
from simulators.line import BraidedLine, Stock
from simulators.scale import ScaleModel, VirtualScale
from station.measuring.forecast import forecast
from station.measuring.trace import Trace
from station.units import factor
from tests.campaigns.campaign import Finding, Progress, run

LBF_N = float(factor("lbf", "force"))
LOW_MN, HIGH_MN, DURATION_US = round(28.2 * LBF_N * 1000), round(44.8 * LBF_N * 1000), 30_000_000
IN_TIME_US = 3_000_000
LOOK_US = 500_000


def pulled(chance: random.Random, seed: int) -> Trace:
    """Give the readings of one pull, from when it is held on."""
    clamp = chance.random() < 0.6
    stock = Stock("random", 10_000 * LBF_N, 0.004, 28 * LBF_N, chance.uniform(0.0, 0.08), chance.uniform(0.0, 0.05))
    line = BraidedLine(seed, stock, 3.0)
    hand = Puller(line, "clamp" if clamp else "hand", seed=seed)
    frames = TextFormat("{value}", b"\r\n", unit="lbf")
    scale = VirtualScale(seed, ScaleModel(frames, "lbf", noise_n=chance.choice([0.03, 0.1])))
    decoder = TextDecoder(frames)
    hand.pull_to(chance.uniform(29.0, 33.0) * LBF_N, 0, 1_000_000)
    readings: list[Reading] = []
    for sent in scale.bytes_until(1_000_000 + DURATION_US, hand.tension_n):
        frames_in = [each for each in decoder.feed(sent.raw) if isinstance(each, Frame)]
        readings += [Reading(sent.at_us, each.force, each.unit, None, sent.at_us) for each in frames_in]
    trace = Trace.of(readings)
    inside = trace.tension_mn >= LOW_MN
    return trace[int(inside.argmax()) :] if inside.any() else trace[:0]


def studied(trace: Trace) -> tuple[int | None, int | None]:
    """Give when the pull first fell out, and when the forecast first spoke before that; None for never."""
    outside = np.flatnonzero(trace.tension_mn < LOW_MN)
    start_us = int(trace.at_us[0])
    fell_us = int(trace.at_us[outside[0]]) - start_us if outside.size else None
    until_us = min(DURATION_US, fell_us if fell_us is not None else DURATION_US)
    for look_us in range(LOOK_US, until_us, LOOK_US):
        seen = int(np.searchsorted(trace.at_us, start_us + look_us))
        at_us, tension_mn = trace.at_us[:seen], trace.tension_mn[:seen]
        if forecast(at_us, tension_mn, LOW_MN, HIGH_MN, start_us + DURATION_US):
            return fell_us, look_us
    return fell_us, None


def foretold(seed: int, size: int) -> Finding:
    """Study so many pulls; always good: the figures are the finding."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    count = {"fell": 0, "fell_within_8_s": 0, "foretold": 0, "foretold_in_time": 0, "stayed": 0, "for_nothing": 0}
    tell = Progress(size, "pulls")
    for number in range(size):
        trace = pulled(chance, seed * 100_000 + number)
        tell(number + 1)
        if not len(trace):
            continue
        fell_us, spoke_us = studied(trace)
        if fell_us is not None and fell_us < DURATION_US:
            early = fell_us < 8_000_000  # six medians and three seconds' notice leave no room
            count["fell"] += not early
            count["fell_within_8_s"] += early
            count["foretold"] += spoke_us is not None and not early
            count["foretold_in_time"] += spoke_us is not None and not early and fell_us - spoke_us >= IN_TIME_US
        else:
            count["stayed"] += 1
            count["for_nothing"] += spoke_us is not None
    words = (
        f"Of {size} pulls {count['stayed']} stayed in the band, and the forecast spoke for {count['for_nothing']} of "
        f"them; {count['fell']} fell below it after more than 8 s: {count['foretold']} were foretold, "
        f"{count['foretold_in_time']} at least 3 s before; {count['fell_within_8_s']} fell too soon to be foretold."
    )
    return Finding({"pulls": size, **count}, words, True)


if __name__ == "__main__":
    sys.exit(run(__doc__, 500, "pulls", foretold))
