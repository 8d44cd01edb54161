"""The trials that a plan's allowance came from, as a picture in vectors: trials, line, and where 95 of 100 traps fall.

It is drawn from the trials as they stand in the plan's text, and told by line and word, so that it survives a copier:
a ring is a trial, a full diamond with its row one to look at again, and the band lies between two dashed lines.
"""

from __future__ import annotations

from reportlab.lib.colors import white
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from station.linework.allowance import TrialsUsed
from station.linework.trial_plot import SUSPECT, TITLES, WITHIN, Point, placed, plot, sentence
from station.records.paper import BOLD, CARD, FONT, INK, LINE, RULE, SOFT, plain

_HEIGHT = 190.0
_LEFT, _RIGHT, _ABOVE, _BELOW = 34.0, 14.0, 28.0, 40.0
_TEXT = 7.2
_RING, _DIAMOND = 2.4, 3.6


class TrialPicture(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """The plot of one source of trials, `width` points wide."""

    def __init__(self, used: TrialsUsed, width: float) -> None:
        super().__init__()
        self.plot = plot(used.trials, used.estimate)
        self.caption = f"{sentence(self.plot, 'imperial')}."
        self.width, self.height = width, _HEIGHT

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Give the size, which does not depend on the room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw at the origin of the flowable's own canvas; heights count upward there, and downward in the plot."""
        canvas: Canvas = self.canv
        box = _LEFT, _ABOVE, self.width - _LEFT - _RIGHT, self.height - _ABOVE - _BELOW
        found = placed(self.plot, box, "imperial")
        foot, right = self.height - box[1] - box[3], box[0] + box[2]
        canvas.saveState()
        canvas.setFont(FONT, _TEXT)
        canvas.setFillColor(INK)
        canvas.drawString(0, self.height - 8, plain(self.caption))
        canvas.setFillColor(SOFT)
        canvas.drawString(0, self.height - 18, TITLES[1])
        canvas.drawRightString(right, foot - 20, TITLES[0])
        canvas.setLineWidth(0.4)
        for y, label in found.y_ticks:
            canvas.setStrokeColor(RULE)
            canvas.line(box[0], self.height - y, right, self.height - y)
            canvas.drawRightString(box[0] - 3, self.height - y - 2.4, label)
        canvas.setStrokeColor(SOFT)
        for x, label in found.x_ticks:
            canvas.line(x, foot, x, foot - 3)
            canvas.drawCentredString(x, foot - 11, label)
        canvas.line(box[0], foot, box[0], foot + box[3])
        canvas.line(box[0], foot, right, foot)
        canvas.setStrokeColor(LINE)
        if found.lows:
            canvas.setLineWidth(0.7)
            canvas.setDash([4, 3])
            self._line(canvas, found.lows)
            self._line(canvas, found.highs)
            canvas.setDash([])
        canvas.setLineWidth(1.4)
        self._line(canvas, found.middle)
        for point in found.rings:
            self._ring(canvas, point)
        for (x, y), row in found.suspects:
            self._diamond(canvas, (x, y))
            canvas.setFont(BOLD, _TEXT)
            words = f"row {row}"
            wide = canvas.stringWidth(words, BOLD, _TEXT)
            left = x + (_DIAMOND + 3 if x + 40 < right else -_DIAMOND - 3 - wide)
            canvas.setFillColor(white)  # over grid and band, which would strike it through
            canvas.rect(left - 1, self.height - y - 4.5, wide + 2, 9, stroke=0, fill=1)
            canvas.setFillColor(INK)
            canvas.drawString(left, self.height - y - 2.5, words)
        self._key(canvas, bool(found.rings), bool(found.lows), bool(found.suspects))
        canvas.restoreState()

    def _key(self, canvas: Canvas, rings: bool, band: bool, suspects: bool) -> None:
        """Explain the signs used, below."""
        canvas.setFont(FONT, _TEXT)
        x, y = _LEFT + 4, self.height - 6.0
        for shown, sign, words in (
            (rings, self._ring, "a trial"),
            (suspects, self._diamond, SUSPECT),
            (band, self._dashes, f"between the dashed lines: {WITHIN}"),
        ):
            if shown:
                sign(canvas, (x, y))
                canvas.setFillColor(INK)
                canvas.drawString(x + 9, self.height - y - 2.5, words)
                x += 9 + canvas.stringWidth(words, FONT, _TEXT) + 16

    def _line(self, canvas: Canvas, points: tuple[Point, ...]) -> None:
        path = canvas.beginPath()
        path.moveTo(points[0][0], self.height - points[0][1])
        for x, y in points[1:]:
            path.lineTo(x, self.height - y)
        canvas.drawPath(path)

    def _ring(self, canvas: Canvas, at: Point) -> None:
        canvas.setStrokeColor(INK)
        canvas.setFillColor(CARD)
        canvas.setLineWidth(1)
        canvas.circle(at[0], self.height - at[1], _RING, fill=1)

    def _diamond(self, canvas: Canvas, at: Point) -> None:
        x, y = at[0], self.height - at[1]
        canvas.setFillColor(INK)
        path = canvas.beginPath()
        path.moveTo(x, y - _DIAMOND)
        for dx, dy in ((_DIAMOND, 0.0), (0.0, _DIAMOND), (-_DIAMOND, 0.0)):
            path.lineTo(x + dx, y + dy)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)

    def _dashes(self, canvas: Canvas, at: Point) -> None:
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.7)
        canvas.setDash([3, 2])
        for dy in (-2.5, 2.5):
            canvas.line(at[0] - 6, self.height - at[1] + dy, at[0] + 6, self.height - at[1] + dy)
        canvas.setDash([])
