"""A whole line set: left against right, each group against its chart, and whether the set is in trim.

* Difference = left - right. Error = measured - chart. A group is a line's leading letters; its mean error and its
  scatter (standard deviation, n - 1) are over the sides of it that have a chart length: drift apart from scatter.
* Tilt = mean error of a group less that of the next one, in the order in which groups first appear in the table. A
  group without a chart has no mean error, hence no tilt to either side of it; nothing is reached over it.
* *In trim*: every difference within the tolerance, every |error - mean error of its group| within it, every tilt
  within its own tolerance; exactly at the tolerance is within it. All is whole nanometres and exact fractions.
* A line measured on one side has no difference: the set is not known to be in trim, and so it is not.
* A remade line gets its chart length plus its group's mean error *as measured*, or without a chart its opposite
  number's length. What remaking does is judged by the same rule with means worked out anew, so that the set, made and
  measured again, is in trim. `station.linework.mending` finds the fewest.

>>> inch = 25_400_000
>>> rows = [MeasuredSide("A1", "L", 121 * inch, 120 * inch), MeasuredSide("A1", "R", 120 * inch, 120 * inch),
...         MeasuredSide("A2", "L", 120 * inch, 120 * inch), MeasuredSide("A2", "R", 120 * inch, 120 * inch)]
>>> found = check(rows, Fraction(inch, 2), Fraction(inch, 2))
>>> found.in_trim, found.lines[0].flags, float(found.groups[0].mean_error_nm / inch)
(False, ('difference', 'left error'), 0.25)
>>> [(side.name, float(found.target_nm(side) / inch)) for side in found.mending.remake]
[('A1 L', 120.25)]
>>> check(found.remade(found.mending.remake), Fraction(inch, 2), Fraction(inch, 2)).in_trim
True
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Literal

from station.linework.mending import Charted, Pair, fewest
from station.settings.line_table import MeasuredSide

MOST_LINES = 64
"""Of how many lines the fewest to remake are looked for: more than any canopy has, and quick in the worst case."""

Flag = Literal["difference", "left error", "right error", "no left", "no right"]


@dataclass(frozen=True)
class CheckedLine:
    """One line, left and right; an error without a chart is None, and so is what was not measured."""

    line: str
    left: MeasuredSide | None
    right: MeasuredSide | None
    flags: tuple[Flag, ...]

    @property
    def sides(self) -> tuple[MeasuredSide, ...]:
        """Give the sides that were measured, left first."""
        return tuple(side for side in (self.left, self.right) if side is not None)

    @property
    def difference_nm(self) -> int | None:
        """Give left - right; None where one was not measured."""
        return None if self.left is None or self.right is None else self.left.length_nm - self.right.length_nm


@dataclass(frozen=True)
class CheckedGroup:
    """One group: its mean error and scatter, None where there is no chart, or for the scatter fewer than two sides."""

    group: str
    sides: tuple[MeasuredSide, ...]

    @cached_property
    def errors_nm(self) -> tuple[int, ...]:
        """Give the errors of the sides that have a chart length."""
        return tuple(error for error in map(error_nm, self.sides) if error is not None)

    @cached_property
    def mean_error_nm(self) -> Fraction | None:
        """Give the mean error, exactly."""
        return Fraction(sum(self.errors_nm), len(self.errors_nm)) if self.errors_nm else None

    @property
    def scatter_nm(self) -> float | None:
        """Give the standard deviation of the errors (n - 1)."""
        mean_nm, n = self.mean_error_nm, len(self.errors_nm)
        if mean_nm is None or n < 2:
            return None
        return math.sqrt(sum((error - mean_nm) ** 2 for error in self.errors_nm) / (n - 1))


@dataclass(frozen=True)
class Tilt:
    """How much longer one group has become against its chart than the next."""

    first: str
    second: str
    tilt_nm: Fraction
    in_tolerance: bool


@dataclass(frozen=True)
class Mending:
    """The fewest lines whose remaking brings the set in trim: none for a set in trim, None where none can, and why."""

    remake: tuple[MeasuredSide, ...] | None
    why_none: str = ""


@dataclass(frozen=True)
class LineSet:
    """A checked line set."""

    sides: tuple[MeasuredSide, ...]
    tolerance_nm: Fraction
    tilt_tolerance_nm: Fraction
    lines: tuple[CheckedLine, ...]
    groups: tuple[CheckedGroup, ...]
    tilts: tuple[Tilt, ...]

    @property
    def in_trim(self) -> bool:
        """Tell whether the whole set is known to be in trim."""
        return not any(line.flags for line in self.lines) and all(tilt.in_tolerance for tilt in self.tilts)

    @property
    def out_of_tolerance(self) -> tuple[str, ...]:
        """Name the lines with a difference or an error out of tolerance."""
        return tuple(line.line for line in self.lines if set(line.flags) - {"no left", "no right"})

    @property
    def one_sided(self) -> tuple[str, ...]:
        """Name the lines that were measured on one side alone."""
        return tuple(line.line for line in self.lines if len(line.sides) < 2)

    @cached_property
    def means_nm(self) -> dict[str, Fraction | None]:
        """Give each group's mean error."""
        return {group.group: group.mean_error_nm for group in self.groups}

    @property
    def can_be_remade(self) -> tuple[MeasuredSide, ...]:
        """Give the sides that a length to make is known for: by their chart, or by their opposite number."""
        lines = ((line, side) for line in self.lines for side in line.sides)
        return tuple(side for line, side in lines if side.chart_nm is not None or len(line.sides) == 2)

    def target_nm(self, side: MeasuredSide) -> Fraction:
        """Give the length that a remade side gets. Raises KeyError for one without chart and opposite number."""
        mean_nm = self.means_nm[side.group]
        if side.chart_nm is not None and mean_nm is not None:
            return side.chart_nm + mean_nm
        return Fraction({each.line: each.length_nm for each in self.sides if each.side != side.side}[side.line])

    def remade(self, remake: Iterable[MeasuredSide]) -> list[MeasuredSide]:
        """Give the set with these sides remade, to the nearest nanometre."""
        names = {side.name for side in remake}
        return [
            MeasuredSide(side.line, side.side, round(self.target_nm(side)), side.chart_nm)
            if side.name in names
            else side
            for side in self.sides
        ]

    @cached_property
    def mending(self) -> Mending:
        """Find the fewest lines whose remaking brings the set in trim."""
        if self.in_trim:
            return Mending(())
        if len(self.lines) > MOST_LINES:
            return Mending(None, f"found {len(self.lines)} lines, expected at most {MOST_LINES} to choose from")
        if self.one_sided:
            lines = ", ".join(self.one_sided)
            return Mending(None, f"measured on one side alone: {lines}; measure the other side, then ask again")
        level = [line for line in self.lines if line.left and line.left.chart_nm is None and line.flags]
        chosen = {line.left.name for line in level if line.left}
        charted = fewest([self._charted(group) for group in self.groups], self.tolerance_nm, self.tilt_tolerance_nm)
        if charted is None:
            return Mending(None, self._why_none())
        chosen |= charted
        return Mending(tuple(side for line in self.lines for side in line.sides if side.name in chosen))

    def _charted(self, group: CheckedGroup) -> Charted:
        """Give a group as the search sees it: the deviations of its sides, line by line."""
        n, total = len(group.errors_nm), sum(group.errors_nm)
        pairs = []
        for line in self.lines:
            left, right = line.left, line.right
            if left is None or right is None or left.group != group.group:
                continue
            if left.chart_nm is None or right.chart_nm is None:
                continue
            deviations = tuple(n * (side.length_nm - (side.chart_nm or 0)) - total for side in (left, right))
            pairs.append(Pair((left.name, right.name), deviations, left.chart_nm - right.chart_nm))
        return Charted(total, tuple(pairs))

    def _why_none(self) -> str:
        """Say what remaking cannot mend."""
        apart = [
            line.line
            for line in self.lines
            if line.left and line.right and line.left.chart_nm is not None and line.right.chart_nm is not None
            if abs(line.left.chart_nm - line.right.chart_nm) > self.tolerance_nm
        ]
        tilted = [f"{tilt.first} against {tilt.second}" for tilt in self.tilts if not tilt.in_tolerance]
        why = "no choice of lines brings the set in trim: a remade line keeps its group's mean error"
        if tilted:
            why += f", and the tilt of {', '.join(tilted)} is in those means"
        if apart:
            why += f"; the chart itself has left and right further apart than the tolerance: {', '.join(apart)}"
        return f"{why}. Groups that have drifted apart are a whole reline, or the maker's to judge"


def error_nm(side: MeasuredSide | None) -> int | None:
    """Give measured - chart; None without either."""
    return None if side is None or side.chart_nm is None else side.length_nm - side.chart_nm


def check(sides: Sequence[MeasuredSide], tolerance_nm: Fraction, tilt_tolerance_nm: Fraction) -> LineSet:
    """Check a measured set, each line and side in it once. Raises ValueError for a tolerance that is not above zero.

    A line has a chart length on each side measured, or on none; anything else is a ValueError too.
    """
    if min(tolerance_nm, tilt_tolerance_nm) <= 0:
        raise ValueError("found a tolerance of no size, expected a length above zero")
    names = dict.fromkeys(side.line for side in sides)
    groups = {
        name: CheckedGroup(name, tuple(side for side in sides if side.group == name))
        for name in dict.fromkeys(side.group for side in sides)
    }
    at = {(side.line, side.side): side for side in sides}
    if len(at) != len(sides):
        raise ValueError("found a line and side twice, expected each once")
    lines = []
    for name in names:
        left, right = at.get((name, "L")), at.get((name, "R"))
        if left is not None and right is not None and (left.chart_nm is None) != (right.chart_nm is None):
            raise ValueError(f"found a chart length on one side of {name} alone, expected both or neither")
        lines.append(CheckedLine(name, left, right, tuple(_flags(left, right, groups, tolerance_nm))))
    tilts = []
    for first, second in pairwise(groups.values()):
        if first.mean_error_nm is not None and second.mean_error_nm is not None:
            tilt_nm = first.mean_error_nm - second.mean_error_nm
            tilts.append(Tilt(first.group, second.group, tilt_nm, abs(tilt_nm) <= tilt_tolerance_nm))
    return LineSet(tuple(sides), tolerance_nm, tilt_tolerance_nm, tuple(lines), tuple(groups.values()), tuple(tilts))


def _flags(
    left: MeasuredSide | None, right: MeasuredSide | None, groups: dict[str, CheckedGroup], tolerance_nm: Fraction
) -> Iterable[Flag]:
    if left is None:
        yield "no left"
    elif right is None:
        yield "no right"
    elif abs(left.length_nm - right.length_nm) > tolerance_nm:
        yield "difference"
    words: tuple[tuple[MeasuredSide | None, Flag], ...] = ((left, "left error"), (right, "right error"))
    for side, flag in words:
        error = error_nm(side)
        if side is None or error is None:
            continue
        mean_nm = groups[side.group].mean_error_nm
        if mean_nm is not None and abs(error - mean_nm) > tolerance_nm:
            yield flag
