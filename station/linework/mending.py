"""The fewest lines whose remaking brings a line set in trim: an exact search.

A remade side takes its group's mean error m as measured, so its deviation from m becomes 0, and the group's mean moves
to m - (sum of the deviations taken away)/n. With D = n (error - m) for each side, whole numbers, and S the sum of D
over the remade sides of a group, the new mean is m - S/n^2, and the rule of trim asks of every group

* |S| <= n^2 T where a side is remade, which now stands off the new mean by S/n^2;
* |n D + S| <= n^2 T for every side that stays;
* each pair of left and right within T, whichever of them are remade;
* |new mean - new mean of the next group| <= the tilt's tolerance.

What may stay depends on S alone and changes at two values for each side, so S is cut into *stretches* within which
every line has the same choices. For each stretch the least and the greatest sum with exactly 0, 1, 2, ... remakes is
worked out over every tail of the group's lines. The search asks for a set of exactly 0, 1, 2, ... sides in all and
takes the first there is, so nothing smaller exists; it goes down the groups, in each through the stretches, the mean
moved least first, and turns back where those sums, or the means that the groups below can reach, rule out what is left.
A state that failed is not looked at again. The same table always gives the same set; within a stretch larger deviations
are remade first. Where tolerances are as people set them those bounds are tight and the search hardly ever turns back;
a tilt's tolerance of a micrometre over many groups can make it long.

>>> off = Pair(("A1 L", "A1 R"), (30, -10), 0), Pair(("A2 L", "A2 R"), (-10, -10), 0)
>>> fewest([Charted(10, off)], Fraction(5), Fraction(5))
{'A1 L'}
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
import numpy.typing as npt

_Sums = npt.NDArray[np.int64]
_NEVER = 1 << 62  # past every sum: lengths are bounded, and so are their sums
_Interval = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Pair:
    """A line's two sides: names, D of each, and how much longer the chart has the left."""

    names: tuple[str, str]
    deviations: tuple[int, ...]
    chart_apart: int


@dataclass(frozen=True)
class Charted:
    """A group: the sum of its sides' errors, and its lines; no lines where it has no chart."""

    total: int
    pairs: tuple[Pair, ...]


def fewest(groups: Sequence[Charted], tolerance: Fraction, tilt_tolerance: Fraction) -> set[str] | None:
    """Give the names of the fewest sides to remake, or None where no set brings all in trim.

    All in one unit of length. Groups stand in their order; one without lines parts those before it from those after.
    """
    chosen: set[str] = set()
    chain: list[_Group] = []
    for group in [*groups, Charted(0, ())]:
        if group.pairs:
            chain.append(_Group(group, tolerance))
        elif chain:
            found = _Chain(chain, tilt_tolerance).fewest()
            if found is None:
                return None
            chosen |= found
            chain = []
    return chosen


@dataclass(frozen=True)
class _Choice:
    """What to do with one line: which sides it remakes, their sum of D, and where S may then lie."""

    names: tuple[str, ...]
    add: int
    low: int
    high: int


class _Group:
    """A group made ready: its stretches of S, each line's choices, and what every tail of lines can add in each.

    `least[i][k, stretch]` and `greatest[i][k, stretch]` bound the sum of D over the lines from `i` on with exactly k
    remakes; where there is no way the least is above the greatest.
    """

    def __init__(self, group: Charted, tolerance: Fraction) -> None:
        self.n = 2 * len(group.pairs)
        self.total = group.total
        limit = math.floor(self.n**2 * tolerance)
        order = sorted(group.pairs, key=lambda pair: -max(map(abs, pair.deviations)))
        self.choices = [self._choices(pair, tolerance, limit) for pair in order]
        cuts = {-limit, limit + 1}
        cuts.update(cut for line in self.choices for each in line for cut in (each.low, each.high + 1))
        edges = np.array(sorted(cut for cut in cuts if -limit <= cut <= limit + 1), np.int64)
        self.starts, self.ends = edges[:-1], edges[1:] - 1
        self.least, self.greatest = self._tails()
        self.nearest = np.argsort(np.abs(self.starts + self.ends), kind="stable")

    def _choices(self, pair: Pair, tolerance: Fraction, limit: int) -> list[_Choice]:
        """Give what can be done with a line, the side that deviates more before the other."""
        found = []
        n = self.n
        by_size = sorted((0, 1), key=lambda side: -abs(pair.deviations[side]))
        for remade in ((by_size[0],), (by_size[1],), (), (0, 1)):
            kept = [0 if side in remade else pair.deviations[side] for side in (0, 1)]
            if abs(n * pair.chart_apart + kept[0] - kept[1]) > n * tolerance:
                continue
            low, high = max(-limit, -limit - n * min(kept)), min(limit, limit - n * max(kept))
            if low <= high:
                add = sum(pair.deviations[side] for side in remade)
                found.append(_Choice(tuple(pair.names[side] for side in remade), add, low, high))
        return found

    def _tails(self) -> tuple[list[_Sums], list[_Sums]]:
        shape = self.n + 1, len(self.starts)
        least, greatest = np.full(shape, _NEVER), np.full(shape, -_NEVER)
        least[0], greatest[0] = 0, 0
        tails = [(least, greatest)]
        for line in reversed(self.choices):
            less, more = np.full(shape, _NEVER), np.full(shape, -_NEVER)
            for choice in line:
                count, inside = len(choice.names), self._allowed(choice)
                upper = shape[0] - count
                np.minimum(less[count:], np.where(inside, least[:upper] + choice.add, _NEVER), out=less[count:])
                np.maximum(more[count:], np.where(inside, greatest[:upper] + choice.add, -_NEVER), out=more[count:])
            none = less > more
            less[none], more[none] = _NEVER, -_NEVER
            least, greatest = less, more
            tails.append((less, more))
        return [tail[0] for tail in reversed(tails)], [tail[1] for tail in reversed(tails)]

    def _allowed(self, choice: _Choice) -> npt.NDArray[np.bool_]:
        """Tell for each stretch whether a choice can stand there."""
        allowed: npt.NDArray[np.bool_] = (self.starts >= choice.low) & (self.ends <= choice.high)
        return allowed

    def spans(self) -> tuple[_Sums, _Sums]:
        """Give for each count and stretch the sums that may be reached: nothing outside them can be."""
        return np.maximum(self.least[0], self.starts), np.minimum(self.greatest[0], self.ends)

    def mean(self, sum_remade: int) -> Fraction:
        """Give the mean error once sides with this sum are remade."""
        return Fraction(self.n * self.total - sum_remade, self.n**2)

    def sums(self, means: _Interval) -> tuple[int, int]:
        """Give the sums that put the mean between these."""
        low, high = (self.n * self.total - self.n**2 * mean for mean in reversed(means))
        return math.ceil(low), math.floor(high)

    @lru_cache(maxsize=256)  # noqa: B019  one search's own groups, gone with it
    def at(self, stretch: int) -> tuple[list[list[_Choice]], list[list[int]], list[list[int]]]:
        """Give the choices and the bounds of each tail in one stretch."""
        start, end = int(self.starts[stretch]), int(self.ends[stretch])
        choices = [[each for each in line if each.low <= start and end <= each.high] for line in self.choices]
        least, greatest = ([tail[:, stretch].tolist() for tail in tails] for tails in (self.least, self.greatest))
        return choices, least, greatest


class _Chain:
    """Groups each of which has a tilt to the next."""

    def __init__(self, groups: Sequence[_Group], tilt_tolerance: Fraction) -> None:
        self.groups = groups
        self.tilt = tilt_tolerance
        self.most = sum(group.n for group in groups)
        self.spans = [group.spans() for group in groups]
        self.below = self._below()
        self.failed: set[tuple[int, int, Fraction | None]] = set()

    def fewest(self) -> set[str] | None:
        """Give the smallest set, or None."""
        for count in range(self.most + 1):
            found = self._group(0, count, None)
            if found is not None:
                return {name for choice in found for name in choice.names}
        return None

    def _below(self) -> list[list[_Interval | None]]:
        """Give, for each group and each number of remakes left, between which means it must lie for the rest to be met.

        Nothing outside can be met; not all inside can.
        """
        below: list[list[_Interval | None]] = []
        later: list[_Interval | None] = [(Fraction(-_NEVER), Fraction(_NEVER)), *[None] * self.most]
        for group, (lows, highs) in zip(reversed(self.groups), reversed(self.spans), strict=True):
            possible = lows <= highs
            own = [
                (group.mean(int(highs[k][possible[k]].max())), group.mean(int(lows[k][possible[k]].min())))
                if possible[k].any()
                else None
                for k in range(group.n + 1)
            ]
            here: list[_Interval | None] = []
            for count in range(self.most + 1):
                ways = []
                for k in range(min(count, group.n) + 1):
                    mine, rest = own[k], later[count - k]
                    if mine is None or rest is None:
                        continue
                    low, high = max(mine[0], rest[0] - self.tilt), min(mine[1], rest[1] + self.tilt)
                    if low <= high:
                        ways.append((low, high))
                here.append((min(way[0] for way in ways), max(way[1] for way in ways)) if ways else None)
            below.append(here)
            later = here
        return below[::-1]

    def _group(self, at: int, left: int, before: Fraction | None) -> list[_Choice] | None:
        """Find choices for the groups from `at` on with exactly `left` remakes, beside a mean before them."""
        if at == len(self.groups):
            return [] if left == 0 else None
        here = self.below[at][left]
        if here is None or (at, left, before) in self.failed:
            return None
        if before is not None:
            here = max(here[0], before - self.tilt), min(here[1], before + self.tilt)
        group, (lows, highs) = self.groups[at], self.spans[at]
        last = at + 1 == len(self.groups)
        for own in range(min(left, group.n), -1, -1):
            within = here
            if not last:
                rest = self.below[at + 1][left - own]
                if rest is None:
                    continue
                within = max(within[0], rest[0] - self.tilt), min(within[1], rest[1] + self.tilt)
            elif own < left:
                break
            low, high = group.sums(within)
            open_to = (np.maximum(lows[own], low) <= np.minimum(highs[own], high))[group.nearest]
            for stretch in group.nearest[open_to].tolist():
                span = max(low, int(group.starts[stretch])), min(high, int(group.ends[stretch]))
                found = _Tail(self, at, left - own, stretch, span).line(0, own, 0)
                if found is not None:
                    return found
        self.failed.add((at, left, before))
        return None

    def next(self, at: int, left: int, total: int) -> list[_Choice] | None:
        """Go on with the group after `at`, whose remade sides have this sum."""
        return self._group(at + 1, left, self.groups[at].mean(total))


class _Tail:
    """The search through one group's lines in one stretch, for a sum within `span`."""

    def __init__(self, chain: _Chain, at: int, left: int, stretch: int, span: tuple[int, int]) -> None:
        self._chain, self._at, self._left = chain, at, left
        self._low, self._high = span
        self._choices, self._least, self._greatest = chain.groups[at].at(stretch)
        self._failed: set[tuple[int, int, int]] = set()

    def line(self, i: int, count: int, total: int) -> list[_Choice] | None:
        """Find choices for the lines from `i` on with exactly `count` remakes, their sum so far `total`."""
        if i == len(self._choices):
            return self._chain.next(self._at, self._left, total)
        if (i, count, total) in self._failed:
            return None
        least, greatest = self._least[i + 1], self._greatest[i + 1]
        for choice in self._choices[i]:
            rest, so_far = count - len(choice.names), total + choice.add
            if rest < 0 or so_far + least[rest] > self._high or so_far + greatest[rest] < self._low:
                continue
            found = self.line(i + 1, rest, so_far)
            if found is not None:
                return [choice, *found]
        self._failed.add((i, count, total))
        return None
