"""A line set as a picture: every line's sides beside its group's mean, to scale, with what to remake.

Groups stand side by side, one row for each line. Where there is a chart, the upright in a column is the group's mean
error, and a side stands as far right of it as it is longer, with the tolerance shaded; where there is none, the two
sides stand their difference apart about the upright, and what is shaded is as wide as the tolerance. A disc is within
tolerance, a square is out; a full one is to be remade. The bar between the sides is their difference: thick with end
stops where it is out. What lies beyond the picture stands at its edge as an arrow.

`layout` gives strokes, shapes and texts on a page 1200 wide, in colours named by use, so that SVG, paper and window
draw the same; `svg` draws them.

>>> from station.linework.line_set import check
>>> inch = 25_400_000
>>> rows = [MeasuredSide("A1", "L", 121 * inch), MeasuredSide("A1", "R", 120 * inch)]
>>> found = check(rows, Fraction(inch, 2), Fraction(inch, 2))
>>> [text.text for text in layout(found, "set.csv").texts if "A1" in text.text]
['A1', 'A1 left: make it 120 in (as its opposite number, unless that one is out)']
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from station.linework.line_set import CheckedGroup, CheckedLine, LineSet, error_nm
from station.linework.placing import Anchor, text_width
from station.linework.plan_words import COMES_FIRST
from station.linework.set_words import (
    carried_words,
    difference_words,
    group_words,
    nm_words,
    pull_words,
    remake_words,
    tilt_words,
    tolerance_words,
    verdict_words,
)
from station.linework.svg_page import EDGE, WIDTH, Look, Page, wrapped
from station.settings.line_table import MeasuredSide
from station.units import LengthSystem

Use = Literal["ground", "card", "rule", "ink", "soft", "act"]

_ROW = 34.0
_ACROSS = 4  # columns side by side, at most
_NARROWEST = 260.0  # of a column
_DEEP = 16  # rows in a column, before the group goes on in the next
_NAME = 46.0
_SAID = 98.0
_GAP = 22.0
_SIZE = 14.0
_SIGN = 6.5
_ARROW = 10.0  # how far an arrow may reach over the edge
_BESIDE = 7.0  # how far the left side stands above the row's middle, the right below


@dataclass(frozen=True)
class Text:
    """One row of text, its baseline at y."""

    x: float
    y: float
    text: str
    size: float = _SIZE
    colour: Use = "ink"
    anchor: Anchor = "start"
    bold: bool = False


@dataclass(frozen=True)
class Shape:
    """A line through points, or what they enclose; `see_through` shades what lies below."""

    points: tuple[tuple[float, float], ...]
    fill: Use | None = None
    edge: Use | None = None
    width: float = 0.0
    dashes: tuple[float, float] | None = None
    see_through: bool = False


@dataclass(frozen=True)
class Disc:
    """A disc."""

    x: float
    y: float
    radius: float
    fill: Use
    edge: Use


@dataclass
class Picture:
    """What is to be drawn, from the bottom up."""

    parts: list[Text | Shape | Disc] = field(default_factory=list)
    height: float = 0.0
    width: float = WIDTH

    @property
    def texts(self) -> list[Text]:
        """Give the texts."""
        return [part for part in self.parts if isinstance(part, Text)]


def layout(
    found: LineSet,
    name: str,
    system: LengthSystem = "imperial",
    pull_n: float | None = None,
    unfinished: str = "",
    on_paper: float | None = None,
) -> Picture:
    """Lay out a line set; `name` says whose it is, `pull_n` under which pull it was measured.

    `unfinished` says how far the measuring has come: it stands in place of a verdict, and nothing is named to remake.
    `on_paper` is how wide it is laid out for a page whose foot has the caution.
    """
    drawing = _Drawing(found, system, unfinished, on_paper or WIDTH)
    drawing.heading(name, pull_n)
    drawing.draw_columns()
    drawing.words()
    if on_paper is None:
        drawing.caution()
    return drawing.picture


_ABOUT = "Each line's left and right beside its group's mean, to scale, and what to remake"


def svg(picture: Picture, name: str, look: Look = "light", about: str = _ABOUT) -> str:
    """Draw a picture as SVG; `about` describes it to who cannot see it."""
    page = Page(look)
    for part in picture.parts:
        if isinstance(part, Text):
            page.text(part.x, part.y, part.text, part.size, _hex(page, part.colour), part.anchor, part.bold)
        elif isinstance(part, Disc):
            page.parts.append(
                f'<circle cx="{part.x:.2f}" cy="{part.y:.2f}" r="{part.radius:g}" fill="{_hex(page, part.fill)}" '
                f'stroke="{_hex(page, part.edge)}" stroke-width="2"/>'
            )
        else:
            _svg_shape(page, part)
    page.y = picture.height
    return page.written(name, about)


def _svg_shape(page: Page, shape: Shape) -> None:
    path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in shape.points)
    fill = "none" if shape.fill is None else _hex(page, shape.fill)
    through = ' fill-opacity="0.16"' if shape.see_through else ""
    edge = "" if shape.edge is None else f' stroke="{_hex(page, shape.edge)}" stroke-width="{shape.width:g}"'
    dashes = "" if shape.dashes is None else f' stroke-dasharray="{shape.dashes[0]:g} {shape.dashes[1]:g}"'
    end = "" if shape.fill is None else "z"
    page.parts.append(f'<path d="{path}{end}" fill="{fill}"{through}{edge}{dashes}/>')


def _hex(page: Page, use: Use) -> str:
    colour: str = getattr(page.colours, use)
    return colour


class _Drawing:
    def __init__(self, found: LineSet, system: LengthSystem, unfinished: str, width: float) -> None:
        self.found, self.system, self.unfinished = found, system, unfinished
        self.picture = Picture(width=width)
        self.room = width - 2 * EDGE
        self.put = self.picture.parts.append
        self.columns = _columns(found)
        self.across = max(2, min(_ACROSS, int((self.room + _GAP) / (_NARROWEST + _GAP)), len(self.columns)))
        self.wide = (self.room - (self.across - 1) * _GAP) / self.across
        self.half = (self.wide - _NAME - _SAID) / 2 - _ARROW
        self.y = 50.0
        tolerance = found.tolerance_nm
        furthest = max((abs(self._off(line, side)) for line in found.lines for side in line.sides), default=Fraction(0))
        self.reach = min(max(furthest * Fraction(11, 10), tolerance * Fraction(7, 5)), tolerance * 2)
        self.remake = set() if unfinished else {side.name for side in found.mending.remake or ()}

    def _off(self, line: CheckedLine, side: MeasuredSide) -> Fraction:
        """Give how far right of the upright a side stands, in nanometres."""
        error, mean_nm = error_nm(side), self.found.means_nm[side.group]
        if error is not None and mean_nm is not None:
            return error - mean_nm
        half = Fraction(line.difference_nm or 0, 2)
        return half if side.side == "L" else -half

    def heading(self, name: str, pull_n: float | None) -> None:
        """Write whose set it is, what came out, and under which pull and tolerance."""
        size = min(28.0, 28.0 * self.room / text_width(name, 28.0, bold=True))
        self.put(Text(EDGE, self.y, name, round(size, 1), bold=True))
        self.y += 30
        for row in wrapped(self.unfinished or verdict_words(self.found), 18.0, self.room, bold=True):
            self.put(Text(EDGE, self.y, row, 18.0, bold=True))
            self.y += 24
        said = f"{pull_words(pull_n, self.system)}  ·  {tolerance_words(self.found, self.system)}"
        self.put(Text(EDGE, self.y, said, 15.0, "soft"))
        self.y += 14
        self._rule()
        self.y += 26

    def draw_columns(self) -> None:
        """Draw the groups, as many columns side by side as there is room for, then the next."""
        for at in range(0, len(self.columns), self.across):
            band = self.columns[at : at + self.across]
            for place, (group, lines) in enumerate(band):
                self._column(EDGE + place * (self.wide + _GAP), group, lines)
            self.y += 64 + _ROW * max(len(lines) for _, lines in band) + 54

    def _column(self, left: float, group: CheckedGroup, lines: Sequence[CheckedLine]) -> None:
        top, foot = self.y + 58, self.y + 58 + _ROW * len(lines)
        self.put(Text(left, self.y + 4, group.group, 22.0, bold=True))
        across = left + text_width(group.group, 22.0, bold=True) + 14
        for row, said in enumerate(group_words(group, self.system)):
            self.put(Text(across, self.y - 2 + 18 * row, said, 13.0, "soft"))
        middle = left + _NAME + _ARROW + self.half
        charted = group.mean_error_nm is not None
        band = float(self.found.tolerance_nm / self.reach) * self.half * (1.0 if charted else 0.5)
        self.put(Shape(_box(middle - band, top, 2 * band, foot - top), "act", see_through=True))
        self.put(Shape(((middle, top - 6), (middle, foot + 6)), None, "soft", 1.5))
        if charted:
            self.put(Text(middle - self.half, top - 10, "short", 13.0, "soft"))
            self.put(Text(middle + self.half, top - 10, "long", 13.0, "soft", "end"))
        for row, line in enumerate(lines):
            self._line(left, middle, top + _ROW * (row + 0.5), line)
        self.put(Text(left + self.wide, top - 10, "which is longer", 13.0, "soft", "end"))
        label = nm_words(self.found.tolerance_nm, self.system)
        self.put(
            Text(middle, foot + 22, f"shaded: {label} {'each way' if charted else 'across'}", 13.0, "soft", "middle")
        )

    def _line(self, left: float, middle: float, y: float, line: CheckedLine) -> None:
        out = bool(line.flags)
        self.put(Shape(((left, y + _ROW / 2), (left + self.wide, y + _ROW / 2)), None, "rule", 1.0))
        self.put(Text(left, y + 5, line.line, _SIZE, bold=out))
        at = {}
        for side in line.sides:
            share = float(self._off(line, side) / self.reach)
            at[side.side] = middle + self.half * max(-1.0, min(1.0, share)), share
        if len(at) == 2:
            (x1, _), (x2, _) = at["L"], at["R"]
            heavy = "difference" in line.flags
            self.put(
                Shape(((x1, y - _BESIDE), (x1, y), (x2, y), (x2, y + _BESIDE)), None, "ink", 4.0 if heavy else 1.5)
            )
        for side in line.sides:
            x, share = at[side.side]
            flag = "left error" if side.side == "L" else "right error"
            squared = flag in line.flags or ("difference" in line.flags and side.chart_nm is None)
            self._sign(x, y + (-_BESIDE if side.side == "L" else _BESIDE), share, squared, side)
        said = difference_words(line, self.found.tolerance_nm, self.system)
        for words, letter in (("left ", "L "), ("right ", "R "), (" longer", "")):
            said = said.replace(words, letter)
        self.put(Text(left + self.wide, y + 5, said, 13.0, "ink" if out else "soft", "end", bold=out))

    def _sign(self, x: float, y: float, share: float, squared: bool, side: MeasuredSide) -> None:
        """Draw one side: a disc, a square where it is out, an arrow where it is further than the picture."""
        full: Use = "ink" if side.name in self.remake else "ground"
        letter: Use = "ground" if side.name in self.remake else "ink"
        size = _SIGN
        if abs(share) > 1:
            way = 1 if share > 0 else -1
            points = ((x + 14 * way, y), (x - 5 * way, y - size - 2), (x - 5 * way, y + size + 2))
            self.put(Shape(points, full, "ink", 2.0))
        elif squared:
            self.put(Shape(_box(x - size, y - size, 2 * size, 2 * size), full, "ink", 2.0))
        else:
            self.put(Disc(x, y, size, full, "ink"))
        self.put(Text(x, y + 3.4, side.side, 9.5, letter, "middle", bold=True))

    def words(self) -> None:
        """Explain the signs, then say the tilts and what to remake."""
        self._keys()
        tilts = [tilt_words(tilt, self.found.tilt_tolerance_nm, self.system) for tilt in self.found.tilts]
        if tilts:
            self._listed("Tilt: how a group stands against the next, by the chart", tilts)
        if not self.unfinished and self.found.mending.remake != ():
            self._listed("Fewest lines to remake", remake_words(self.found, self.system))
            carried = carried_words(self.found)
            for row in wrapped(carried, 15.0, self.room) if carried else []:
                self.put(Text(EDGE, self.y, row, 15.0))
                self.y += 22
        self.picture.height = self.y

    def caution(self) -> None:
        """Say what comes before every number here."""
        self._rule()
        self.y += 24
        self.put(Text(EDGE, self.y, COMES_FIRST, 15.0))
        self.picture.height = self.y

    def _keys(self) -> None:
        ring = MeasuredSide("", "L", 0)
        keys: list[tuple[Callable[[float, float], None], str]] = [
            (lambda x, y: self._sign(x, y, 0.0, False, ring), "within tolerance, L left, R right"),
            (lambda x, y: self._sign(x, y, 0.0, True, ring), "out of tolerance"),
            (lambda x, y: self._sign(x, y, 2.0, True, ring), "further than drawn"),
            (lambda x, y: self.put(Disc(x, y, _SIGN, "ink", "ink")), "full: to be remade"),
            (self._thick, "thick: left and right too far apart"),
        ]
        x = EDGE + 10
        for sign, words in keys:
            wide = 20 + text_width(words, 13.0)
            if x + wide > EDGE + self.room:
                x, self.y = EDGE + 10, self.y + 26
            sign(x, self.y)
            self.put(Text(x + 20, self.y + 5, words, 13.0))
            x += wide + 38
        self.y += 40

    def _thick(self, x: float, y: float) -> None:
        self.put(Shape(((x - 8, y - 6), (x - 8, y), (x + 12, y), (x + 12, y + 6)), None, "ink", 4.0))

    def _listed(self, title: str, said: Sequence[str]) -> None:
        """Write a titled list, in two columns where its rows are short."""
        self.put(Text(EDGE, self.y, title, 17.0, bold=True))
        self.y += 26
        room = (self.room - _GAP) / 2
        two = len(said) > 3 and all(text_width(each, 14.0) <= room for each in said)
        if two:
            deep = -(-len(said) // 2)
            for n, each in enumerate(said):
                self.put(Text(EDGE + (n // deep) * (room + _GAP), self.y + 22 * (n % deep), each, 14.0))
            self.y += 22 * deep + 14
            return
        for each in said:
            for row in wrapped(each, 15.0, self.room):
                self.put(Text(EDGE, self.y, row, 15.0))
                self.y += 22
        self.y += 14

    def _rule(self) -> None:
        self.put(Shape(((EDGE, self.y), (EDGE + self.room, self.y)), None, "rule", 1.5))


def _columns(found: LineSet) -> list[tuple[CheckedGroup, Sequence[CheckedLine]]]:
    """Give each group with its lines; a long one goes on in a column of its own."""
    return [
        (group, lines[at : at + _DEEP])
        for group in found.groups
        for lines in [[line for line in found.lines if line.sides[0].group == group.group]]
        for at in range(0, len(lines), _DEEP)
    ]


def _box(x: float, y: float, width: float, height: float) -> tuple[tuple[float, float], ...]:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)
