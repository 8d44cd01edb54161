"""Will the pull stay in band until the time is complete? Advice for the rigger; it never changes a verdict.

A clamped line relaxes in straight lines of log time (polyester with a break near 100 s: abstract, Fibres & Textiles
in Eastern Europe, "relaxation of polyester yarns"). So: one-second medians since the last rise of the pull, a robust
line (Theil and Sen) through the latest third of log time, and the interval of the slope by Sen's rank method. It
speaks only when the whole 95 % interval of the crossing lies before the end; otherwise it is silent.

>>> import numpy as np
>>> at_us = np.arange(0, 20_000_000, 12_500)
>>> falling = (30_000 - 600 * np.log(1 + at_us / 1e6)).astype(np.int64)
>>> said = forecast(at_us, falling, low_mn=28_000, high_mn=45_000, end_us=60_000_000)
>>> round(said.crosses_us / 1e6), said.add_mn > 0
(28, True)
>>> forecast(at_us, falling, low_mn=20_000, high_mn=45_000, end_us=60_000_000) is None
True
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from station.measuring.trace import Int64s

SECOND_US = 1_000_000
FEWEST_MEDIANS = 6  # with fewer a rank interval of 95 % does not exist or says nothing
_Z95 = 1.959964
RISE_SHARE = 0.01  # a median this much of the band above the one before is a rise of pull


@dataclass(frozen=True, slots=True)
class Forecast:
    """The pull will cross a limit: when (best estimate and 95 % interval) and how much to add now, aiming at mid-band.

    `line` is the straight piece to draw: (stamp, tension) now and at the crossing.
    """

    crosses_us: int
    earliest_us: int
    latest_us: int
    add_mn: int
    line: tuple[tuple[int, int], tuple[int, int]]


def forecast(at_us: Int64s, tension_mn: Int64s, low_mn: int, high_mn: int, end_us: int) -> Forecast | None:
    """Tell when the pull will fall below `low_mn`, if that is sure to happen before `end_us`; None where it is not.

    `at_us` and `tension_mn` are readings up to now, rising stamps. The limits are those that count for the hold.
    """
    if len(at_us) == 0 or at_us[-1] >= end_us:
        return None
    seconds, medians = _medians(at_us, tension_mn)
    since = _last_rise(medians, RISE_SHARE * (high_mn - low_mn))
    seconds, medians = seconds[since:], medians[since:]
    if len(seconds) < FEWEST_MEDIANS:
        return None
    origin_s = seconds[0] - 1.0
    log_s = np.log(seconds - origin_s)
    late = log_s >= log_s[-1] * 2 / 3
    if late.sum() < FEWEST_MEDIANS:
        late = np.arange(len(log_s)) >= len(log_s) - FEWEST_MEDIANS
    fitted = _robust_line(log_s[late], medians[late])
    if fitted is None:
        return None
    pivot, level, level_error, slopes = fitted
    # The latest moment at which it can cross: the flattest slope from the highest level that the data allow.
    latest_s = _crossing_s(pivot, level + level_error, slopes[2], low_mn, origin_s)
    earliest_s = _crossing_s(pivot, level - level_error, slopes[0], low_mn, origin_s)
    best_s = _crossing_s(pivot, level, slopes[1], low_mn, origin_s)
    now_s = float(at_us[-1]) / SECOND_US
    if latest_s is None or best_s is None or latest_s * SECOND_US >= end_us or best_s <= now_s:
        return None
    now_mn = round(float(medians[-1]))
    middle = (low_mn + high_mn) // 2
    crosses_us = round(best_s * SECOND_US)
    return Forecast(
        crosses_us,
        round((earliest_s if earliest_s is not None else now_s) * SECOND_US),
        round(latest_s * SECOND_US),
        max(0, middle - now_mn),
        ((int(at_us[-1]), now_mn), (crosses_us, low_mn)),
    )


Floats = np.ndarray[tuple[int], np.dtype[np.float64]]


def _medians(at_us: Int64s, tension_mn: Int64s) -> tuple[Floats, Floats]:
    """Give the median of each whole second before now, and the middle of that second, oldest first."""
    back = (at_us[-1] - at_us) // SECOND_US
    edges = np.flatnonzero(np.diff(back)) + 1
    medians = np.array([float(np.median(part)) for part in np.split(tension_mn, edges)])
    seconds = np.array([float(at_us[-1]) / SECOND_US - int(b) - 0.5 for b in back[np.concatenate(([0], edges))]])
    return seconds[1:], medians[1:]  # the oldest second may be cut short


def _last_rise(medians: Floats, rise_mn: float) -> int:
    """Give the number of the first median after the last rise."""
    rises = np.flatnonzero(np.diff(medians) > rise_mn)
    return int(rises[-1]) + 2 if rises.size else 0


def _robust_line(x: Floats, y: Floats) -> tuple[float, float, float, tuple[float, float, float]] | None:
    """Fit a line by Theil and Sen: the median point, its level's 95 % error, and the slope with its 95 % interval."""
    n = len(x)
    first, second = np.triu_indices(n, 1)
    slopes = np.sort((y[second] - y[first]) / (x[second] - x[first]))
    slope = float(np.median(slopes))
    pivot = float(np.median(x))
    residuals = y - slope * (x - pivot)
    level = float(np.median(residuals))
    spread = 1.4826 * float(np.median(np.abs(residuals - level)))
    reach = _Z95 * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    lower = math.floor((len(slopes) - reach) / 2)
    upper = math.ceil((len(slopes) + reach) / 2)
    if lower < 0 or upper >= len(slopes):
        return None
    level_error = _Z95 * math.sqrt(math.pi / 2) * spread / math.sqrt(n)
    return pivot, level, level_error, (float(slopes[lower]), slope, float(slopes[upper]))


def _crossing_s(pivot: float, level: float, slope: float, limit_mn: int, origin_s: float) -> float | None:
    """Give when a line in log time crosses the limit, None where it never does."""
    if slope >= 0:
        return None
    exponent = pivot + (limit_mn - level) / slope
    return origin_s + math.exp(exponent) if exponent < 20 else None
