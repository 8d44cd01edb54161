"""Pictures on paper, each with what stands below it, and a foot on every page: the same bytes for the same content.

A picture takes the whole width of its page, laid out for as little width as its height allows: so its words are large.

>>> blank = lambda width: Picture(height=900.0, width=width)
>>> [round(Drawn(blank, 520.0, tall).picture.width) for tall in (700.0, 400.0)]
[740, 1200]
>>> filed([Drawn(blank, 520.0, 700.0)], "demo", ["foot"], (600.0, 800.0))[:5]
b'%PDF-'
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from functools import partial

from reportlab.platypus import Flowable, SimpleDocTemplate

from station.linework.set_picture import Disc, Picture, Shape, Text, Use
from station.linework.svg_page import EDGE, WIDTH
from station.records.paper import (
    BOLD,
    CARD,
    FONT,
    FOOT,
    INK,
    LINE,
    MARGIN,
    RULE,
    SOFT,
    TOP,
    NumberedCanvas,
    dated,
    load_fonts,
    plain,
)

_COLOURS = {"ink": INK, "soft": SOFT, "rule": RULE, "card": CARD, "act": LINE}
_TALLEST = 0.97  # of the room on a page
_PADDING = 6.0  # of a page's frame, on either side
_HEAD = 20.0  # of the picture, left away: the paper has a margin of its own
_WIDTHS = tuple(range(680, round(WIDTH) + 1, 20))


def room(paper: tuple[float, float]) -> tuple[float, float]:
    """Give how wide a page's content is, and how tall a picture may be."""
    return paper[0] - 2 * MARGIN, _TALLEST * (paper[1] - TOP - FOOT)


def filed(story: Sequence[Flowable], title: str, foot: Sequence[str], paper: tuple[float, float]) -> bytes:
    """Give what was drawn as the bytes of a PDF, with `foot` and the title below every page."""
    load_fonts()
    file = io.BytesIO()
    side = MARGIN - _PADDING
    document = SimpleDocTemplate(
        file, pagesize=paper, leftMargin=side, rightMargin=side, topMargin=TOP, bottomMargin=FOOT, invariant=1,
        title=plain(title), creator="fidbench", lang="en",
    )  # fmt: skip
    document.build(list(story), canvasmaker=partial(NumberedCanvas, foot, title, dated("")))
    return file.getvalue()


class Drawn(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """A picture, as large as there is room for; `draw` lays it out for a width of its own."""

    def __init__(self, draw: Callable[[float], Picture], width: float, tallest: float) -> None:
        super().__init__()

        def scale(picture: Picture) -> float:
            return min(width / (picture.width - 2 * EDGE), tallest / (picture.height - _HEAD))

        for self.picture in map(draw, _WIDTHS):
            self._scale = scale(self.picture)
            if self._scale * (self.picture.width - 2 * EDGE) >= width:
                break
        self.width, self.height = width, (self.picture.height - _HEAD) * self._scale

    def wrap(self, *_: float) -> tuple[float, float]:
        """Give the room it takes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw from the bottom up, the picture's own top at the top, its edge at the edge of what stands below."""
        canvas = self.canv
        canvas.saveState()
        canvas.translate(-EDGE * self._scale, self.height)
        canvas.scale(self._scale, self._scale)
        canvas.translate(0, _HEAD)
        for part in self.picture.parts:
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
