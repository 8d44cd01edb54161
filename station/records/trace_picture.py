"""A hold's trace as a picture in vectors: the pull, the band it had to stay in, and the span that decided.

Gaps are gaps: readings further apart than the hold allows, and readings without a tension, are not joined. Where there
are more readings than can be told apart on paper, each column of the paper shows the lowest and the highest of its
readings, so that no dip and no peak is lost. Everything is told by line and word, so that it survives a copier.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from station.measuring.hold import acceptance_limits
from station.measuring.trace import OVERLOAD, Trace
from station.measuring.words import seconds
from station.records.paper import BAND, CEILING, LINE, RULE, SOFT
from station.settings.hold import HoldSpecification
from station.units import in_unit

SPAN = HexColor("#E3EEE8")

_COLUMNS = 1_200
_LEFT, _RIGHT, _BELOW, _ABOVE = 30.0, 96.0, 24.0, 6.0
_TEXT = 6.5


@dataclass(frozen=True)
class _Scale:
    """Where a time and a pull stand on the paper, in points."""

    x: float
    y: float
    width: float
    height: float
    first_us: int
    us: int
    low_lbf: float
    lbf: float

    def at(self, at_us: float) -> float:
        return self.x + self.width * (at_us - self.first_us) / self.us

    def pull(self, lbf: float) -> float:
        return self.y + self.height * (lbf - self.low_lbf) / self.lbf


class TracePicture(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """The picture of one hold, `width` by `height` points."""

    def __init__(
        self,
        trace: Trace,
        specification: HoldSpecification,
        limits: tuple[int, int] | None,
        judgement: Mapping[str, Any],
        width: float,
        height: float,
        font: str,
    ) -> None:
        super().__init__()
        self.trace = trace
        self.specification = specification
        self.limits = limits
        self.judgement = judgement
        self.width = width
        self.height = height
        self.font = font

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Give the size, which does not depend on the room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw at the origin of the flowable's own canvas."""
        scale = self._scale()
        canvas: Canvas = self.canv
        canvas.setFont(self.font, _TEXT)
        self._span(canvas, scale)
        self._axes(canvas, scale)
        self._limits(canvas, scale)
        self._curve(canvas, scale)
        self._overloads(canvas, scale)

    def _scale(self) -> _Scale:
        trace = self.trace
        carried = trace.tension_mn[trace.has_tension]
        lowest = min(0, int(carried.min())) if carried.size else 0
        highest = max(self.specification.ceiling_mn, int(carried.max()) if carried.size else 0)
        first_us = int(trace.at_us.min()) if len(trace) else 0
        last_us = int(trace.at_us.max()) if len(trace) else 0
        low, high = _lbf(lowest), _lbf(highest) * 1.06
        return _Scale(
            _LEFT,
            _BELOW,
            self.width - _LEFT - _RIGHT,
            self.height - _BELOW - _ABOVE,
            first_us,
            max(last_us - first_us, 1),
            low * 1.06,
            high - low * 1.06,
        )

    def _span(self, canvas: Canvas, scale: _Scale) -> None:
        span = self.judgement.get("span_us")
        if not span:
            return
        left, right = scale.at(span[0]), scale.at(span[1])
        canvas.setFillColor(SPAN)
        canvas.rect(left, scale.y, max(right - left, 0.3), scale.height, stroke=0, fill=1)
        canvas.setStrokeColor(BAND)
        canvas.setLineWidth(0.6)
        for x in (left, right):
            canvas.line(x, scale.y, x, scale.y + scale.height)
        canvas.setFillColor(BAND)
        long_enough = span[1] - span[0] >= self.specification.duration_us
        words = f"{seconds(span[1] - span[0])} in the band{'' if long_enough else ', at the longest'}"
        room = canvas.stringWidth(words, self.font, _TEXT) / 2
        middle = min(max((left + right) / 2, scale.x + room), scale.x + scale.width - room)
        canvas.drawCentredString(middle, scale.y + 3, words)

    def _axes(self, canvas: Canvas, scale: _Scale) -> None:
        canvas.setLineWidth(0.4)
        canvas.setStrokeColor(RULE)
        canvas.setFillColor(SOFT)
        for lbf in _ticks(scale.low_lbf, scale.low_lbf + scale.lbf, 8):
            y = scale.pull(lbf)
            canvas.line(scale.x, y, scale.x + scale.width, y)
            canvas.drawRightString(scale.x - 3, y - 2.2, f"{lbf:g}")
        for s in _ticks(0, scale.us / 1e6, 10):
            x = scale.at(scale.first_us + s * 1e6)
            canvas.line(x, scale.y, x, scale.y - 2)
            canvas.drawCentredString(x, scale.y - 9, f"{s:g}")
        canvas.setStrokeColor(SOFT)
        canvas.rect(scale.x, scale.y, scale.width, scale.height, stroke=1, fill=0)
        canvas.drawRightString(scale.x + scale.width, scale.y - 18, "seconds from the first reading")
        canvas.saveState()
        canvas.translate(7, scale.y + scale.height / 2)
        canvas.rotate(90)
        canvas.drawCentredString(0, 0, "pull, lbf")
        canvas.restoreState()

    def _limits(self, canvas: Canvas, scale: _Scale) -> None:
        spec = self.specification
        accepts = self.limits if self.limits and self.limits != (spec.low_mn, spec.high_mn) else None
        lines: list[tuple[int, HexColor, tuple[int, ...], str]] = [
            (spec.ceiling_mn, CEILING, (5, 2, 1, 2), "ceiling"),
            (spec.high_mn, BAND, (), "high"),
            *(
                [(accepts[1], BAND, (2, 2), "accepted to"), (accepts[0], BAND, (2, 2), "accepted from")]
                if accepts
                else []
            ),
            (spec.low_mn, BAND, (), "low"),
        ]
        label = math.inf
        for mn, colour, dash, words in lines:
            y = scale.pull(_lbf(mn))
            canvas.setStrokeColor(colour)
            canvas.setFillColor(colour)
            canvas.setLineWidth(0.7)
            canvas.setDash(list(dash))
            canvas.line(scale.x, y, scale.x + scale.width, y)
            label = min(y - 2.2, label - _TEXT - 1)  # from the top down, no label stands on another
            canvas.drawString(scale.x + scale.width + 4, label, f"{words} {_lbf(mn):.1f}")
        canvas.setDash([])

    def _curve(self, canvas: Canvas, scale: _Scale) -> None:
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.7)
        canvas.setLineJoin(1)
        path = canvas.beginPath()
        for run in runs(self.trace, self.specification.max_gap_us):
            at_us, tension_mn = _told_apart(*run, scale.us / _COLUMNS)
            points = [(scale.at(t), scale.pull(_lbf(f))) for t, f in zip(at_us, tension_mn, strict=True)]
            path.moveTo(*points[0])
            for point in points[1:] or [(points[0][0] + 0.4, points[0][1])]:
                path.lineTo(*point)
        canvas.drawPath(path)

    def _overloads(self, canvas: Canvas, scale: _Scale) -> None:
        over = self.trace.at_us[self.trace.status == OVERLOAD]
        if not over.size:
            return
        canvas.setFillColor(CEILING)
        top = scale.y + scale.height
        places = sorted({round(scale.at(int(each)), 1) for each in over})
        for x in places:
            path = canvas.beginPath()
            path.moveTo(x - 2, top - 4)
            path.lineTo(x + 2, top - 4)
            path.lineTo(x, top)
            path.close()
            canvas.drawPath(path, stroke=0, fill=1)
        words = "over capacity"
        if places[-1] + 4 + canvas.stringWidth(words, self.font, _TEXT) < scale.x + scale.width:
            canvas.drawString(places[-1] + 4, top - 6, words)
        else:
            canvas.drawRightString(places[0] - 4, top - 6, words)


def limits_of(specification: HoldSpecification, uncertainty: Any) -> tuple[int, int] | None:
    """Give the acceptance limits to draw: None where the scale is not known, or too coarse for any."""
    limits = acceptance_limits(specification, uncertainty)
    return limits if limits and limits[0] <= limits[1] else None


def runs(trace: Trace, max_gap_us: int) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Give the runs of readings that are to be joined, as stamps and tensions."""
    carries = trace.has_tension
    rows = np.flatnonzero(carries)
    if not rows.size:
        return
    since_us = np.diff(trace.at_us[rows])
    apart = (np.diff(rows) > 1) | (since_us > max_gap_us) | (since_us <= 0)
    for part in np.split(rows, np.flatnonzero(apart) + 1):
        yield trace.at_us[part], trace.tension_mn[part]


def _told_apart(at_us: np.ndarray, tension_mn: np.ndarray, column_us: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the readings themselves where the paper can tell them apart, else the lowest and highest of each column."""
    if len(at_us) <= 2 * ((at_us[-1] - at_us[0]) / column_us + 1):
        return at_us, tension_mn
    columns = ((at_us - at_us[0]) / column_us).astype(np.int64)
    firsts = np.flatnonzero(np.diff(columns, prepend=-1))
    lowest = np.minimum.reduceat(tension_mn, firsts)
    highest = np.maximum.reduceat(tension_mn, firsts)
    return np.repeat(at_us[firsts], 2), np.column_stack([lowest, highest]).ravel()


def _ticks(low: float, high: float, about: int) -> list[float]:
    """Give round values from `low` to `high`, about as many as asked for."""
    rough = (high - low) / about
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * each for each in (1, 2, 5, 10) if size * each >= rough)
    return [n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _lbf(mn: float) -> float:
    return in_unit(float(mn) / 1000, "lbf")
