"""A line set on paper: its drawing, the table of every length, and room to sign; the same bytes for the same set.

>>> from fractions import Fraction
>>> from station.linework.line_set import check
>>> from station.settings.line_table import MeasuredSide
>>> inch = 25_400_000
>>> rows = [MeasuredSide("A1", side, 120 * inch) for side in ("L", "R")]
>>> set_page(check(rows, Fraction(inch, 2), Fraction(inch, 2)), "demo")[:5]
b'%PDF-'
"""

from __future__ import annotations

import io
from functools import partial

from reportlab.lib import pagesizes
from reportlab.platypus import Flowable, Spacer

from station.linework.line_set import LineSet, error_nm
from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import Disc, Picture, Shape, Text, Use, layout
from station.linework.set_words import (
    difference_words,
    error_words,
    nm_words,
    pull_words,
    tolerance_words,
    verdict_words,
)
from station.linework.svg_page import EDGE, WIDTH
from station.records.paper import (
    BOLD,
    CARD,
    FONT,
    FOOT,
    INK,
    LABEL,
    LINE,
    MARGIN,
    RULE,
    SOFT,
    TOP,
    NumberedCanvas,
    dated,
    listed,
    load_fonts,
    on_pages,
    para,
    plain,
    table,
)
from station.settings.line_table import MeasuredSide
from station.units import LengthSystem

_COLOURS = {"ink": INK, "soft": SOFT, "rule": RULE, "card": CARD, "act": LINE}
_TALLEST = 0.97  # of the room on a page
_HEAD = 20.0  # of the picture, left away: the paper has a margin of its own


def set_page(
    found: LineSet,
    name: str,
    system: LengthSystem = "imperial",
    pull_n: float | None = None,
    paper: tuple[float, float] = pagesizes.A4,
) -> bytes:
    """Give a checked line set as the bytes of a PDF; `name` says whose it is."""
    load_fonts()
    file = io.BytesIO()
    width, height = paper[0] - 2 * MARGIN, paper[1] - TOP - FOOT
    foot = [
        COMES_FIRST,
        f"{pull_words(pull_n, system).capitalize()}; {tolerance_words(found, system)}. {verdict_words(found)}",
    ]
    document = on_pages(file, paper, f"Line set: {plain(name)}")
    story: list[Flowable] = [Drawn(layout(found, plain(name), system, pull_n), width, _TALLEST * height)]
    story += listed("Every length", _HEADS, _SHARES, _rows(found, system), width)
    story += [Spacer(1, 16), _signing(width)]
    title = f"Line set: {name}"
    document.build(story, canvasmaker=partial(NumberedCanvas, foot, title, dated("")))
    return file.getvalue()


_HEADS = ("Line", "Chart L / R", "Left", "Right", "Difference", "Left to chart", "Right to chart", "Out")
_SHARES = (0.06, 0.11, 0.12, 0.12, 0.19, 0.13, 0.13, 0.14)


def _rows(found: LineSet, system: LengthSystem) -> list[list[str]]:
    def length(side: MeasuredSide | None) -> str:
        return "not measured" if side is None else nm_words(side.length_nm, system)

    rows = []
    for line in found.lines:
        charts = [nm_words(side.chart_nm, system) for side in line.sides if side.chart_nm is not None]
        chart = charts[0] if len(set(charts)) == 1 else " / ".join(charts)
        errors = [error_words(side, system) if error_nm(side) is not None else "" for side in (line.left, line.right)]
        said = difference_words(line, found.tolerance_nm, system)
        rows.append([line.line, chart, length(line.left), length(line.right), said, *errors, ", ".join(line.flags)])
    return rows


def _signing(width: float) -> Flowable:
    cells = [para(each, LABEL) for each in ("Measured by", "Date", "Signature")]
    return table([cells], (0.4, 0.25, 0.35), width, heights=[30.0])


class Drawn(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """A picture, as large as the page has room for."""

    def __init__(self, picture: Picture, width: float, tallest: float) -> None:
        super().__init__()
        self._picture = picture
        self._scale = min(width / (WIDTH - 2 * EDGE), tallest / (picture.height - _HEAD))
        self.width, self.height = width, (picture.height - _HEAD) * self._scale

    def wrap(self, *_: float) -> tuple[float, float]:
        """Give the room it takes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw from the bottom up, the picture's own top at the top."""
        canvas = self.canv
        canvas.saveState()
        canvas.translate((self.width - WIDTH * self._scale) / 2, self.height)
        canvas.scale(self._scale, self._scale)
        canvas.translate(0, _HEAD)
        for part in self._picture.parts:
            if isinstance(part, Text):
                self._text(part)
            elif isinstance(part, Disc):
                self._paint(part.fill, part.edge, 2.0)
                canvas.circle(part.x, -part.y, part.radius, stroke=1, fill=1)
            else:
                self._shape(part)
        canvas.restoreState()

    def _text(self, text: Text) -> None:
        canvas = self.canv
        canvas.setFillColor(_colour(text.colour))
        canvas.setFont(BOLD if text.bold else FONT, text.size)
        write = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
        write[text.anchor](text.x, -text.y, plain(text.text))

    def _shape(self, shape: Shape) -> None:
        canvas = self.canv
        self._paint(shape.fill, shape.edge, shape.width)
        canvas.setFillAlpha(0.16 if shape.see_through else 1.0)
        canvas.setDash(shape.dashes or ())
        path = canvas.beginPath()
        path.moveTo(shape.points[0][0], -shape.points[0][1])
        for x, y in shape.points[1:]:
            path.lineTo(x, -y)
        if shape.fill is not None:
            path.close()
        canvas.drawPath(path, stroke=int(shape.edge is not None), fill=int(shape.fill is not None))
        canvas.setFillAlpha(1.0)
        canvas.setDash(())

    def _paint(self, fill: Use | None, edge: Use | None, width: float) -> None:
        if fill is not None:
            self.canv.setFillColor(_colour(fill))
        if edge is not None:
            self.canv.setStrokeColor(_colour(edge))
            self.canv.setLineWidth(width)


def _colour(use: Use) -> object:
    from reportlab.lib.colors import white

    return _COLOURS.get(use, white)
