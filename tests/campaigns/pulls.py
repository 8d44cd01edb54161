"""Simulated pulls of which the true tension is known, with the scale and the wire that tell of them, drawn at random.

The true tension is an array, a value each 5 ms: who pulls (a hand that trembles and tires, a winch against a line that
relaxes, a dead weight that swings a little), how near the limits, with a slip or a jerk. It is made of the same parts
as `simulators.hand` and `simulators.line`, but as arrays: those solve the line for every reading, which is too slow
here. Scale and wire are the simulators' own. Forces in newtons, times in microseconds.

The error of the scale is drawn from the uncertainty that is stated of it: U = 2 u, and the squares of noise,
resolution, drift and calibration error add up to u^2. A *fault of the scale itself* (frozen digits, the zero key
pressed, a zero that wanders off) is one after which it no longer keeps to what was stated of it; half of them meet a
hold with the limit that is meant for them (`still_limit`, `zero_limit`).
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drivers.text_frames import TextFormat
from simulators.faults import FOREVER_US, Fault
from simulators.scale import Key, ScaleModel, SetZero, SwitchUnit
from simulators.scenarios import CHECKED, WORDED
from station.settings.hold import HoldSpecification, ready_made_hold

LBF_N = 4.4482216152605
GRID_US = 5_000
FORMATS = (WORDED, CHECKED, TextFormat("{value}", b"\r\n", unit="lbf"))
SPECIFICATIONS = tuple(ready_made_hold(name) for name in ("main-hmpe", "measure-ram-air", "mark-round-nylon"))
WIRE_FAULTS = ("split", "join", "garble", "drop", "stall", "duplicate", "swap", "replace", "unplug")
SCALE_FAULTS = ("freeze", "zero-key", "zero-wanders")
OTHER_FAULTS = ("unit-key", "dashes")

Newtons = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DrawnPull:
    """One pull: the hold asked for, what was stated of the scale, what the scale is, and what the line truly felt.

    `seed` is that of the scale's noise and of the wire.
    """

    specification: HoldSpecification
    seed: int
    expanded_mn: int
    scale: ScaleModel
    gain: float
    keys: tuple[Key, ...]
    wire: tuple[Fault, ...]
    fault: str  # "" for none
    period_known: bool
    true_n: Newtons


def drawn(seed: int, number: int) -> DrawnPull:
    """Draw pull `number` of a campaign; the same whoever draws it."""
    chance = random.Random(f"pull {seed} {number}")  # noqa: S311 -- repeatable, no secret
    specification = chance.choice(SPECIFICATIONS)
    band_n = (specification.high_mn - specification.low_mn) / 1000
    expanded_n = round(band_n * chance.choice((0.01, 0.02, 0.03, 0.05, 0.1)), 3)
    fault = chance.choice((*WIRE_FAULTS, *SCALE_FAULTS, *OTHER_FAULTS)) if chance.random() < 0.4 else ""
    pulled_us = chance.randint(1_500_000, 3_000_000)
    held_us = specification.duration_us + chance.randint(1_000_000, 3_000_000)
    if chance.random() < 0.08:
        held_us = round(specification.duration_us * chance.uniform(0.2, 1.0))
    true_n = _tension(chance, specification, expanded_n, pulled_us, held_us)
    scale, gain = _scale(chance, specification, expanded_n, len(true_n) * GRID_US)
    from_us = chance.randint(pulled_us // 2, pulled_us + held_us)
    until_us = from_us + round(10 ** chance.uniform(4.7, 6.5))
    keys: tuple[Key, ...] = ()
    wire: tuple[Fault, ...] = ()
    if fault in WIRE_FAULTS:
        wire = (_wire_fault(chance, fault, from_us, until_us, scale),)
    elif fault == "freeze":
        wire = (Fault("freeze", from_us, until_us + chance.choice((0, 20_000_000))),)
    elif fault == "zero-key":
        keys = (SetZero(chance.choice((from_us, chance.randint(0, pulled_us)))),)
    elif fault == "zero-wanders":
        scale = replace(scale, drift_n_per_s=chance.uniform(-0.1, 0.1) * LBF_N)
    elif fault == "unit-key":
        keys = (SwitchUnit(from_us, chance.choice(("N", "kgf"))),)
        scale = replace(scale, format=chance.choice((WORDED, CHECKED)))
    elif fault == "dashes":
        scale = replace(scale, format=WORDED, capacity_n=specification.high_mn / 1000 * chance.uniform(1.0, 1.3))
    if fault == "freeze" and chance.random() < 0.5:
        specification = replace(specification, still_limit_us=chance.choice((500_000, 1_000_000, 3_000_000)))
    if fault in {"zero-key", "zero-wanders"} and chance.random() < 0.5:
        specification = replace(specification, zero_limit_mn=round(1000 * expanded_n))
    noise = chance.getrandbits(32)
    return DrawnPull(
        specification, noise, round(1000 * expanded_n), scale, gain, keys, wire, fault, chance.random() < 0.5, true_n
    )


def _scale(
    chance: random.Random, specification: HoldSpecification, expanded_n: float, lasts_us: int
) -> tuple[ScaleModel, float]:
    """Draw a scale that is within its stated uncertainty as often as is stated, and the error of its gain."""
    standard_n = expanded_n / 2
    noise, resolution, drift = (chance.uniform(0, 0.2) for _ in range(3))  # shares of the variance
    error_n = chance.gauss(0, standard_n * math.sqrt(1 - noise - resolution - drift))
    in_gain = chance.choice((0.0, 0.5, 1.0))
    finest_n = max(standard_n * math.sqrt(6 * resolution), 0.002 * LBF_N)
    shown_n = max(each * LBF_N for each in (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5) if each * LBF_N <= finest_n)
    drift_n = math.sqrt(3 * drift) * standard_n * chance.uniform(-1, 1)
    model = ScaleModel(
        chance.choice(FORMATS),
        "lbf",
        rate_hz=chance.choice((5, 10, 10, 20, 20, 20, 40, 40, 80)),
        resolution_n=shown_n,
        response_us=chance.choice((0, 5_000, 20_000, 20_000, 50_000, 100_000, 300_000, 1_000_000)),
        noise_n=standard_n * math.sqrt(noise),
        zero_offset_n=error_n * (1 - in_gain),
        drift_n_per_s=drift_n / (lasts_us / 1e6),
    )
    return model, 1 + error_n * in_gain / (specification.target_mn / 1000)


def _wire_fault(chance: random.Random, kind: str, from_us: int, until_us: int, scale: ScaleModel) -> Fault:
    every = chance.choice((1, 2, 3, 7, 10))
    always = chance.random() < 0.5 and kind not in {"drop", "stall", "unplug"}
    first_us, last_us = (0, FOREVER_US) if always else (from_us, until_us)
    match kind:
        case "split":
            return Fault("split", first_us, last_us, every, by_us=chance.randint(1_000, 30_000))
        case "join":
            return Fault("join", first_us, last_us, by_us=chance.choice((16_000, 16_000, 50_000, 100_000)))
        case "stall" | "unplug":
            return Fault("stall" if kind == "stall" else "unplug", first_us, last_us)
        case "replace":
            return Fault(
                "replace", first_us, last_us, every, raw=chance.choice((b"\xff\x00", b"--\r\n", scale.format.end))
            )
        case "garble" | "drop" | "duplicate" | "swap":
            return Fault(kind, first_us, last_us, every)
    raise ValueError(kind)


def _tension(
    chance: random.Random, specification: HoldSpecification, expanded_n: float, pulled_us: int, held_us: int
) -> Newtons:
    """Draw the true tension: slack, a ramp, the hold with all that happens in it, easing off, slack."""
    low_n, high_n, ceiling_n = (
        each / 1000 for each in (specification.low_mn, specification.high_mn, specification.ceiling_mn)
    )
    eased_us = chance.randint(300_000, 1_500_000)
    at_us = np.arange(0, pulled_us + held_us + eased_us + 1_200_000, GRID_US, dtype=np.float64)
    story = chance.choices(("inside", "low", "high", "light"), (55, 25, 12, 8))[0]
    level_n = {
        "inside": low_n + (high_n - low_n) * chance.betavariate(1.5, 2.5),
        "low": low_n + expanded_n * chance.uniform(-2, 3),
        "high": high_n + expanded_n * chance.uniform(-3, 2),
        "light": low_n * chance.uniform(0.5, 0.97),
    }[story]
    held_s = np.maximum(at_us - pulled_us, 0) / 1e6
    pull_n = level_n * _grip(chance, at_us, held_s)
    if chance.random() < 0.25:  # a slip, to near the lower limit or anywhere below
        to_n = chance.choice((low_n - expanded_n * chance.uniform(-2, 8), low_n * chance.uniform(0.0, 1.0)))
        pull_n -= np.maximum(pull_n - to_n, 0) * _while(chance, at_us, pulled_us, held_us)
    if chance.random() < 0.1:  # a jerk, to near the upper limit or over the ceiling
        to_n = chance.choice((high_n + expanded_n * chance.uniform(-2, 8), ceiling_n * chance.uniform(0.9, 1.4)))
        pull_n += np.maximum(to_n - pull_n, 0) * _while(chance, at_us, pulled_us, held_us)
    ramp_us = chance.randint(400_000, pulled_us - 500_000)
    up = np.clip((at_us - (pulled_us - ramp_us)) / ramp_us, 0, 1)
    down = np.clip((pulled_us + held_us + eased_us - at_us) / eased_us, 0, 1)
    return np.maximum(pull_n, 0) * np.minimum(up, down)


def _grip(chance: random.Random, at_us: Newtons, held_s: Newtons) -> Newtons:
    """Give what a grip makes of the pull it set out with, as a factor."""
    grip = chance.choice(("hand", "hand", "winch", "weight"))
    if grip == "weight":  # a pendulum that comes to rest
        share, turn = chance.uniform(0, 0.02), math.tau * chance.uniform(0.4, 1.0)
        return 1 + share * np.exp(-held_s / chance.uniform(1, 5)) * np.cos(turn * held_s)
    if grip == "winch":  # so much of the pull lost in each tenfold of time, topped up now and then
        per_decade = chance.uniform(0, 0.06)
        since_s = held_s.copy()
        for _ in range(chance.choice((0, 0, 1, 2, 3))):
            topped_s = chance.uniform(0, float(held_s[-1]))
            since_s = np.where(held_s >= topped_s, np.minimum(since_s, held_s - topped_s), since_s)
        return 1 - per_decade * np.log10(1 + since_s / 0.1)
    tremor = np.zeros_like(at_us)  # as in simulators.hand
    for low_hz, high_hz in ((8.0, 12.0), (8.0, 12.0), (8.0, 12.0), (0.2, 0.6), (0.2, 0.6)):
        tremor += np.sin(at_us * (math.tau * chance.uniform(low_hz, high_hz) / 1e6) + chance.uniform(0, math.tau))
    share = chance.choice((0.002, 0.004, 0.004, 0.01, 0.02)) * math.sqrt(2 / 5)
    return (1 + share * tremor) * (1 - chance.choice((0, 0, 0.0005, 0.002)) * held_s)


def _while(chance: random.Random, at_us: Newtons, pulled_us: int, held_us: int) -> Newtons:
    """Give a window that opens and shuts once within the hold, 20 ms to 4 s long, as a share from 0 to 1."""
    lasts_us = 10 ** chance.uniform(4.3, 6.6)
    edge_us = chance.choice((5_000, 20_000, 100_000))
    begin_us = chance.uniform(pulled_us, pulled_us + held_us)
    opens = np.clip((at_us - begin_us) / edge_us, 0, 1)
    return np.minimum(opens, np.clip((begin_us + lasts_us + edge_us - at_us) / edge_us, 0, 1))
