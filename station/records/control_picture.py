"""A control chart as a picture: the figures with their mean and limits, their moving ranges below, and what to look at.

A disc is an ordinary figure; a full square is one that a signal names, with its number
at the ends of a run. Mean and limits are drawn across
and named at the right; without limits the figures stand alone. `layout` gives parts that SVG, paper and window draw.

>>> from station.measuring.control import control
>>> found = control([0.01, 0.0, 0.02, 0.01, 0.0, 0.01, 0.02, 0.0, 0.2])
>>> picture = layout(found, "Hold means", "Out of control.", [""] * 9, "share", str, str,
...                  ["9: job 26-0009"], "Signals: ...")
>>> sum(isinstance(part, Disc) for part in picture.parts), [text.text for text in picture.texts if text.text == "9"]
(7, ['9', '9', '9'])
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Literal

from station.linework.chart import Scale, length_scale
from station.linework.placing import text_width
from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import Disc, Picture, Shape, Text
from station.linework.svg_page import EDGE, WIDTH, wrapped
from station.measuring.control import Control
from station.units import LengthSystem, percent_text

Kind = Literal["length", "share"]

_LEFT = EDGE + 96.0
_TALL, _TALL_RANGES = 340.0, 170.0
_MOST_TICKS = 16
_SIGN = 5.5
_TITLE_ROOM = 210.0


def layout(
    found: Control,
    name: str,
    verdict: str,
    days: Sequence[str],
    kind: Kind,
    said: Callable[[float], str],
    range_said: Callable[[float], str],
    signals: Sequence[str],
    rules: str,
    system: LengthSystem = "imperial",
    on_paper: float | None = None,
) -> Picture:
    """Lay out a chart: its words, the day of each figure, how figures and ranges are written, its signals in words.

    `on_paper` is how wide it is laid out for a page whose foot has the caution.
    """
    drawing = _Drawing(found, kind, system, on_paper or WIDTH)
    drawing.heading(name, verdict)
    named = {n for each in found.signals for n in range(each.first, each.last + 1) if each.rule != "jump"}
    jumps = {each.first for each in found.signals if each.rule == "jump"}
    levels = [("mean", found.centre, False)]
    if found.limits is not None:
        levels += [("upper limit", found.limits[1], True), ("lower limit", found.limits[0], True)]
    drawing.panel("each figure", _TALL, list(enumerate(found.figures)), levels, named, said)
    ranges = list(enumerate(found.ranges, 1))
    if ranges:
        levels = [("mean range", found.mean_range, False)]
        if found.range_limit is not None:
            levels.append(("range limit", found.range_limit, True))
        drawing.panel("from one figure to the next", _TALL_RANGES, ranges, levels, jumps, range_said, from_zero=True)
    drawing.days(days)
    drawing.words(signals, [rules] if on_paper else [rules, COMES_FIRST])
    return drawing.picture


def share_scale(low: float, high: float) -> Scale:
    """Give a scale of shares, in per cent, that holds both, in steps of 1, 2 or 5.

    >>> [label for _, label in share_scale(-0.011, 0.02).ticks]
    ['−1.5 %', '−1.0 %', '−0.5 %', '0.0 %', '0.5 %', '1.0 %', '1.5 %', '2.0 %']
    """
    span = max(high - low, 1e-6)
    power = 10.0 ** math.floor(math.log10(span / 8))
    step = next(each * power for each in (1, 2, 5, 10) if each * power * 8 >= span)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    places = max(0, -math.floor(math.log10(100 * step) + 1e-9))
    steps = range(first, max(last, first + 1) + 1)
    return Scale(tuple((n * step, percent_text(n * step, places)) for n in steps))


class _Drawing:
    """A chart being laid out from the top down."""

    def __init__(self, found: Control, kind: Kind, system: LengthSystem, width: float) -> None:
        self.found, self.kind, self.system = found, kind, system
        self.picture = Picture(width=width)
        self.room, self.right = width - 2 * EDGE, width - EDGE - 170.0
        self.y = 20.0

    def put(self, part: Text | Shape | Disc) -> None:
        self.picture.parts.append(part)

    def x(self, n: int) -> float:
        return _LEFT + 20 + (self.right - _LEFT - 40) * (n + 0.5) / max(len(self.found.figures), 1)

    def heading(self, name: str, verdict: str) -> None:
        size = min(28.0, 28.0 * self.room / text_width(name, 28.0, bold=True))
        self.put(Text(EDGE, self.y + 30, name, round(size, 1), bold=True))
        self.y += 56
        for row in wrapped(verdict, 16.0, self.room):
            self.put(Text(EDGE, self.y + 6, row, 16.0, "soft"))
            self.y += 22
        self._rule()
        self.y += 18

    def panel(
        self,
        title: str,
        tall: float,
        figures: Sequence[tuple[int, float]],
        levels: Sequence[tuple[str, float, bool]],
        named: set[int],
        said: Callable[[float], str],
        from_zero: bool = False,
    ) -> None:
        """Draw one panel: figures by their numbers from 0, and levels with their names; a limit is dashed."""
        values = [value for _, value in figures] + [value for _, value, _ in levels]
        low, high = (0.0 if from_zero else min(values)), max(values)
        if low == high:
            low, high = low - 0.001, high + 0.001
        scale = length_scale(low, high, self.system) if self.kind == "length" else share_scale(low, high)
        self.put(Text(_LEFT, self.y + 14, title, 14.0))
        top = self.y + 28

        def y(value: float) -> float:
            return top + tall * (scale.high - value) / (scale.high - scale.low)

        for value, label in scale.ticks:
            self.put(Shape(((_LEFT, y(value)), (self.right, y(value))), None, "rule", 1.0))
            self.put(Text(_LEFT - 10, y(value) + 4.7, label, 13.0, "soft", "end"))
        for _, value, dashed in levels:
            self.put(Shape(((_LEFT, y(value)), (self.right, y(value))), None, "act", 2.5, (8, 6) if dashed else None))
        self._level_names([(name, said(value), y(value)) for name, value, _ in levels])
        points = tuple((self.x(n), y(value)) for n, value in figures)
        if len(points) > 1:
            self.put(Shape(points, None, "soft", 1.5))
        for (n, _), (x, at) in zip(figures, points, strict=True):
            if n in named:
                self.put(Shape(_box(x, at, _SIGN + 1), "ink", "ink", 2.0))
                if not {n - 1, n + 1} <= named:  # of a run the ends are enough
                    self._number(x, at, n, (top, top + tall), above=at <= y(levels[0][1]))
            else:
                self.put(Disc(x, at, _SIGN if len(figures) <= 80 else 3.5, "ground", "ink"))
        self.y = top + tall + 18

    def _number(self, x: float, y: float, n: int, panel: tuple[float, float], *, above: bool) -> None:
        """Write a figure's number on its sign's side away from the mean, or on the other where a title stands."""
        room = y - 24 > panel[0] if above else y + 24 < panel[1]
        if x < _LEFT + _TITLE_ROOM and not room:
            above = not above
        at, text = y - 12 if above else y + 22, str(n + 1)
        half = text_width(text, 13.0, bold=True) / 2 + 2
        self.put(Shape(((x - half, at + 1), (x + half, at + 1), (x + half, at - 11), (x - half, at - 11)), "ground"))
        self.put(Text(x, at, text, 13.0, "ink", "middle", bold=True))

    def _level_names(self, levels: Sequence[tuple[str, str, float]]) -> None:
        """Name levels at the right, pushed apart where they would overlap."""
        below = -math.inf
        for name, words, y in sorted(levels, key=lambda each: each[2]):
            at = max(y, below + 36)
            self.put(Text(self.right + 12, at - 3, name, 13.0, "act", bold=True))
            self.put(Text(self.right + 12, at + 13, words, 13.0))
            below = at

    def days(self, days: Sequence[str]) -> None:
        """Write the figures' numbers along the foot, and the days of the first and the last."""
        every = -(-len(days) // _MOST_TICKS) if days else 1
        self.y += 4  # clear of a range of nothing
        for n in range(len(days)):
            if n % every == 0 or n == len(days) - 1:
                if n != len(days) - 1 and len(days) - 1 - n < every:
                    continue
                self.put(Text(self.x(n), self.y, str(n + 1), 13.0, "soft", "middle"))
        if days:
            self.put(Text(_LEFT, self.y + 24, f"from {days[0]}", 13.0, "soft"))
            self.put(Text(self.right, self.y + 24, f"to {days[-1]}", 13.0, "soft", "end"))
        self.y += 66

    def words(self, signals: Sequence[str], rules: Sequence[str]) -> None:
        """Say the signals, the rules and their false alarms."""
        if signals:
            self.put(Text(EDGE, self.y, "Where to look", 17.0, bold=True))
            self.y += 26
        for each in signals:
            for row in wrapped(each, 14.0, self.room):
                self.put(Text(EDGE, self.y, row, 14.0))
                self.y += 21
            self.y += 4
        self.y += 6
        self._rule()
        self.y += 24
        for row in (row for each in rules for row in wrapped(each, 14.0, self.room)):
            self.put(Text(EDGE, self.y, row, 14.0, "soft"))
            self.y += 21
        self.picture.height = self.y

    def _rule(self) -> None:
        self.put(Shape(((EDGE, self.y), (EDGE + self.room, self.y)), None, "rule", 1.5))


def _box(x: float, y: float, half: float) -> tuple[tuple[float, float], ...]:
    return (x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)
