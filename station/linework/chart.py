"""Axes on a page of SVG: scales with ticks at round numbers, lines, bands and signs in data units.

>>> [label for _, label in length_scale(0.0, 0.16, "imperial").ticks]
['0 in', '1 in', '2 in', '3 in', '4 in', '5 in', '6 in', '7 in']
>>> [label for _, label in length_scale(-0.002, 0.009, "metric").ticks]
['−2 mm', '0 mm', '2 mm', '4 mm', '6 mm', '8 mm', '10 mm']
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from station.linework.placing import text_width
from station.linework.svg_page import SMALL_SIZE, Page
from station.units import LengthSystem, factor, length_text

_INCH_M = float(factor("in", "length"))
_MOST_STEPS = 8
_TICK = 6.0
_INCH_STEPS = (1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 3, 6, 12, 24, 60, 120)
_MILLIMETRE_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)


@dataclass(frozen=True)
class Scale:
    """One axis: from where to where, with the labels of its ticks; the first and last tick are its ends."""

    ticks: tuple[tuple[float, str], ...]

    @property
    def low(self) -> float:
        """Give where the axis begins."""
        return self.ticks[0][0]

    @property
    def high(self) -> float:
        """Give where the axis ends."""
        return self.ticks[-1][0]


def length_scale(low_m: float, high_m: float, system: LengthSystem) -> Scale:
    """Give a scale of lengths that holds both, in at most eight steps of a size that a ruler has, and two more."""
    unit_m, steps = (_INCH_M, _INCH_STEPS) if system == "imperial" else (0.001, _MILLIMETRE_STEPS)
    step_m = next((step * unit_m for step in steps if step * unit_m * _MOST_STEPS >= high_m - low_m), high_m - low_m)
    first, last = math.floor(low_m / step_m + 1e-9), math.ceil(high_m / step_m - 1e-9)
    return Scale(
        tuple((n * step_m, length_text(n * step_m, system, 32)) for n in range(first, max(last, first + 1) + 1))
    )


class Axes:
    """A rectangle of a page with a scale along its foot and one up its left side."""

    def __init__(
        self,
        page: Page,
        box: tuple[float, float, float, float],
        x_scale: Scale,
        y_scale: Scale,
        titles: tuple[str, str],
    ) -> None:
        self.page, self.x_scale, self.y_scale = page, x_scale, y_scale
        self.left, self.top, self.width, self.height = box
        self._frame(*titles)

    def x(self, value: float) -> float:
        """Give where a value of the foot's scale lies on the page."""
        return self.left + (value - self.x_scale.low) / (self.x_scale.high - self.x_scale.low) * self.width

    def y(self, value: float) -> float:
        """Give where a value of the side's scale lies on the page."""
        return self.top + (self.y_scale.high - value) / (self.y_scale.high - self.y_scale.low) * self.height

    def line(self, points: Sequence[tuple[float, float]], colour: str, width: float, dashes: str = "") -> None:
        """Draw a line through points."""
        self.page.stroke("M" + "L".join(self._at(point) for point in points), colour, width, dashes)

    def band(self, lows: Sequence[tuple[float, float]], highs: Sequence[tuple[float, float]], colour: str) -> None:
        """Fill what lies between two lines."""
        path = "M" + "L".join(self._at(point) for point in [*highs, *reversed(lows)]) + "z"
        self.page.parts.append(f'<path d="{path}" fill="{colour}" fill-opacity="0.16"/>')

    def _at(self, point: tuple[float, float]) -> str:
        return f"{self.x(point[0]):.2f} {self.y(point[1]):.2f}"

    def _frame(self, x_title: str, y_title: str) -> None:
        page, colours = self.page, self.page.colours
        foot, right = self.top + self.height, self.left + self.width
        for value, label in self.y_scale.ticks:
            y = self.y(value)
            page.stroke(f"M{self.left:.2f} {y:.2f}H{right:.2f}", colours.rule, 1, cap="butt")
            page.text(self.left - _TICK - 4, y + 0.36 * SMALL_SIZE, label, SMALL_SIZE, colours.soft, "end")
        for value, label in self.x_scale.ticks:
            x = self.x(value)
            page.stroke(f"M{x:.2f} {foot:.2f}v{_TICK}", colours.soft, 1.5, cap="butt")
            page.text(x, foot + _TICK + 14, label, SMALL_SIZE, colours.soft, "middle")
        page.stroke(f"M{self.left:.2f} {self.top:.2f}V{foot:.2f}H{right:.2f}", colours.soft, 1.5, cap="butt")
        page.text(right, foot + _TICK + 36, x_title, SMALL_SIZE + 1, colours.ink, "end")
        page.text(self.left, self.top - 12, y_title, SMALL_SIZE + 1, colours.ink)


def ring(page: Page, x: float, y: float, colour: str) -> None:
    """Draw a small ring."""
    page.parts.append(
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="5" fill="{page.colours.ground}" stroke="{colour}" stroke-width="2.5"/>'
    )


def diamond(page: Page, x: float, y: float, colour: str) -> None:
    """Draw a full diamond, larger than a ring."""
    page.parts.append(f'<path d="M{x:.2f} {y - 9:.2f}l9 9l-9 9l-9 -9z" fill="{colour}"/>')


def key(page: Page, x: float, y: float, words: str) -> float:
    """Write the words beside a sign that stands left of `x`; give where the next sign may stand."""
    page.text(x + 14, y + 0.36 * SMALL_SIZE, words, SMALL_SIZE + 1, page.colours.ink)
    return x + 14 + text_width(words, SMALL_SIZE + 1) + 40
