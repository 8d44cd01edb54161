"""Is a row of figures in control? Individuals and their moving ranges, with limits by the standard constants.

The figures come one by one, in the order of the work. The range between neighbours says how much one differs from the
next while nothing changes; three such standard deviations either side of the mean are the limits:

    mean +- 3 MR/d2 = mean +- 2.659 MR        largest range: D4 MR = 3.267 MR

with MR the mean range, d2 = 2/sqrt pi and D4 = 1 + 3 d3/d2, d3 = sqrt(2 - 4/pi), for ranges of two (constants as in
ISO 7870-2, from memory). Three rules make a signal, and no others, for every rule brings false alarms of its own:

- a figure beyond a limit;
- eight figures in a row on one side of the mean, none on it;
- a range above its limit: a jump from one figure to the next.

With limits known exactly and nothing wrong, one figure in about 370 is beyond a limit; with the eight in a row a false
alarm comes every 153 figures (an exact chain of states), with the ranges as well every 75 (simulated). Limits reckoned
from the same few figures are themselves unsure: `false_alarm_share` says how many charts of so many figures show a
signal though nothing is wrong. Below eight figures there are no limits, and where all are the same there is no spread
to reckon them from: then nothing is known, and that is not "in control".

>>> flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
>>> chart = control(flow)
>>> round(chart.centre, 2), round(chart.limits[1], 1), chart.state
(50.81, 55.8, 'in control')
>>> control([*flow, 61.0]).signals
(Signal(rule='beyond a limit', first=10, last=10), Signal(rule='jump', first=10, last=10))
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Rule = Literal["beyond a limit", "eight on a side", "jump"]
State = Literal["in control", "out of control", "not known"]

D2 = 2 / math.sqrt(math.pi)
D3 = math.sqrt(2 - 4 / math.pi)
E2 = 3 / D2
D4 = 1 + 3 * D3 / D2
FEWEST = 8  # figures, for limits
ENOUGH = 20  # from here on limits are no longer called provisional; common practice: 20 to 25
RUN = 8
FALSE_ALARM_EVERY = 75  # figures, with limits known exactly: simulated
# Of charts of so many figures with nothing wrong, the share that shows a signal: simulated.
FALSE_ALARM_SHARES = {8: 0.03, 10: 0.05, 15: 0.10, 20: 0.15, 25: 0.21, 50: 0.43, 100: 0.71, 200: 0.93}


@dataclass(frozen=True)
class Signal:
    """What rule was broken, by the figures from `first` to `last`, counted from 0. A jump is that of its figure."""

    rule: Rule
    first: int
    last: int


@dataclass(frozen=True)
class Control:
    """Figures with their mean, limits and signals; `limits` and `range_limit` None where they are not known."""

    figures: tuple[float, ...]
    ranges: tuple[float, ...]
    centre: float
    mean_range: float
    limits: tuple[float, float] | None
    range_limit: float | None
    signals: tuple[Signal, ...]

    @property
    def state(self) -> State:
        """Say whether the figures are in control."""
        if self.limits is None:
            return "not known"
        return "out of control" if self.signals else "in control"

    @property
    def provisional(self) -> bool:
        """Tell whether the limits come from rather few figures."""
        return self.limits is not None and len(self.figures) < ENOUGH


def control(figures: Sequence[float]) -> Control:
    """Chart figures in the order they came in. Raises `ValueError` where there is none, or one is not finite."""
    if not figures or not all(map(math.isfinite, figures)):
        raise ValueError("expected finite figures, at least one")
    ranges = tuple(abs(after - before) for before, after in itertools.pairwise(figures))
    centre = math.fsum(figures) / len(figures)
    mean_range = math.fsum(ranges) / len(ranges) if ranges else 0.0
    known = len(figures) >= FEWEST and mean_range > 0
    limits = (centre - E2 * mean_range, centre + E2 * mean_range) if known else None
    range_limit = D4 * mean_range if known else None
    signals = _signals(figures, ranges, centre, limits, range_limit) if limits and range_limit else []
    return Control(tuple(figures), ranges, centre, mean_range, limits, range_limit, tuple(signals))


def false_alarm_share(count: int) -> float:
    """Give how often a chart of `count` figures shows a signal though nothing is wrong; between those simulated."""
    known = sorted(FALSE_ALARM_SHARES)
    if count <= known[0]:
        return FALSE_ALARM_SHARES[known[0]]
    for low, high in itertools.pairwise(known):
        if count <= high:
            part = (count - low) / (high - low)
            return FALSE_ALARM_SHARES[low] + part * (FALSE_ALARM_SHARES[high] - FALSE_ALARM_SHARES[low])
    return FALSE_ALARM_SHARES[known[-1]]


def _signals(
    figures: Sequence[float],
    ranges: Sequence[float],
    centre: float,
    limits: tuple[float, float],
    range_limit: float,
) -> list[Signal]:
    found = [Signal("beyond a limit", n, n) for n, each in enumerate(figures) if not limits[0] <= each <= limits[1]]
    found += [Signal("jump", n, n) for n, each in enumerate(ranges, 1) if each > range_limit]
    begins, side = 0, 0
    for n in range(len(figures) + 1):
        now = 0 if n == len(figures) else (figures[n] > centre) - (figures[n] < centre)
        if now != side or n == len(figures):
            if side and n - begins >= RUN:
                found.append(Signal("eight on a side", begins, n - 1))
            begins, side = n, now
    return sorted(found, key=lambda each: (each.first, each.last, each.rule))
