"""The trace: tension against time on fixed axes, with its limits, the running span and the forecast.

- It never rescales: its axes are those the snapshot names, changed only when the step does.
- A gap is a gap: two readings are joined only where the snapshot says that they are.
- It is drawn cheaply: one curve, not smoothed, and of the many readings that fall on one column of pixels only the
  first, the lowest, the highest and the last, which look the same.

>>> ago_s, pull = np.linspace(-60, 0, 60_001), np.sin(np.arange(60_001.0))
>>> ago, pull, joined = thinned(ago_s, pull, np.ones(60_001, bool), 60, 600)
>>> len(ago) < 2500, bool(joined.all()), round(float(pull.max()), 3)
(True, True, 1.0)
"""

from __future__ import annotations

import sys
import threading
from typing import Any

import numpy as np
import numpy.typing as npt
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtWidgets import QWidget

from station.bench.snapshot import TraceCard
from station.views.arrangement import Box
from station.views.lettering import Sheet, draw_text
from station.views.palette import Look
from station.views.panel import OnFault, Panel
from station.views.pulling import even_steps, figure_text
from station.views.type_sizes import CAP_SHARE, SMALL

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_CURVE_PX = 3  # dear for sixty thousand readings, cheap for the few that are left once they are thinned
_BELOW_ZERO = 0.03  # of the scale: room for the span, and for a zero that wanders
AHEAD = 1 / 6  # of the window: how far past now the axis runs, for the forecast


def plotting() -> Any:
    """Give pyqtgraph, which on its first import puts itself in the place where uncaught faults are told: undo that."""
    hooks = sys.excepthook, threading.excepthook
    import pyqtgraph

    sys.excepthook, threading.excepthook = hooks
    return pyqtgraph


def thinned(
    ago_s: Floats, tension: Floats, joined: Bools, window_s: float, columns: int
) -> tuple[Floats, Floats, Bools]:
    """Give fewer readings that paint the same picture: of each column of pixels the first, lowest, highest and last.

    `ago_s` rises to 0 and `joined` tells whether each reading joins the one before; so do the results. Readings that
    carry no finite tension are left out and join nothing.
    """
    finite = np.isfinite(tension) & np.isfinite(ago_s)
    if not finite.all():
        breaks = np.cumsum(~finite | ~joined)[finite]
        ago_s, tension = ago_s[finite], tension[finite]
        joined = np.concatenate([[False], breaks[1:] == breaks[:-1]]) if len(breaks) else np.zeros(0, bool)
    if len(ago_s) <= 4 * columns:
        return ago_s, tension, joined
    column = np.floor(ago_s * (columns / window_s)).astype(np.int64)
    starts = np.flatnonzero(np.concatenate([[True], (column[1:] != column[:-1]) | ~joined[1:]]))
    ends = np.concatenate([starts[1:], [len(ago_s)]]) - 1
    lowest, highest = np.minimum.reduceat(tension, starts), np.maximum.reduceat(tension, starts)
    first, last = tension[starts], tension[ends]
    rising = last >= first
    early, late = np.where(rising, lowest, highest), np.where(rising, highest, lowest)
    middle = (ago_s[starts] + ago_s[ends]) / 2
    early_ago = np.where(early == first, ago_s[starts], middle)  # a steady rise must not turn into stairs
    late_ago = np.where(late == last, ago_s[ends], middle)
    ago = np.stack([ago_s[starts], early_ago, late_ago, ago_s[ends]], axis=1).ravel()
    pull = np.stack([first, early, late, last], axis=1).ravel()
    joins = np.ones((len(starts), 4), bool)
    joins[:, 0] = joined[starts]
    return ago, pull, joins.ravel()


class TracePanel(Panel[TraceCard]):
    """The trace on its card, its axes' words around it."""

    on_card = True

    def __init__(self, name: str, look: Look, on_fault: OnFault, parent: QWidget) -> None:
        super().__init__(name, look, on_fault, parent)
        graphs = plotting()
        self._plot: Any = graphs.PlotWidget(self, background=look.card, enableMenu=False)
        self._plot.setFrameShape(self._plot.Shape.NoFrame)
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._plot.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._plot.hideButtons()
        item = self._plot.getPlotItem()
        item.layout.setContentsMargins(0, 0, 0, 0)
        for side in ("left", "bottom"):
            item.hideAxis(side)
        box = item.getViewBox()
        box.setMouseEnabled(False, False)
        box.setDefaultPadding(0)
        box.setBorder(None)

        def line(colour: str, width: float = 1, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> Any:
            return graphs.mkPen(colour, width=width, style=style)

        none = np.zeros(0)
        self._band: Any = graphs.LinearRegionItem((0, 0), "horizontal", look.band, line(look.band), movable=False)
        self._marks: Any = graphs.PlotCurveItem(none, none, pen=line(look.rule), connect="pairs")
        self._limits: Any = [graphs.InfiniteLine(0, 0, line(look.in_band, 2, Qt.PenStyle.DashLine)) for _ in range(2)]
        self._ceiling: Any = graphs.InfiniteLine(0, 0, line(look.ceiling, 2))
        self._span: Any = graphs.PlotCurveItem(none, none, pen=line(look.in_band, 8))
        self._forecast: Any = graphs.PlotCurveItem(none, none, pen=line(look.leaving, 3, Qt.PenStyle.DashLine))
        self._curve: Any = graphs.PlotCurveItem(
            none, none, pen=line(look.ink, _CURVE_PX), antialias=False, skipFiniteCheck=True
        )
        for each in (self._band, self._marks, *self._limits, self._ceiling, self._span, self._forecast, self._curve):
            self._plot.addItem(each, ignoreBounds=True)
        self._axes: tuple[float, float] | None = None

    def words(self, content: TraceCard) -> str:
        """Say what the trace shows; the live tension is said by the number."""
        return f"tension of the last {content.window_s:.0f} s, in {content.unit}"

    def _same(self, old: TraceCard, new: TraceCard) -> bool:
        return old is new

    def changed(self, content: TraceCard) -> None:
        """Hand the readings to the plot."""
        axes = (content.window_s, content.top)
        if axes != self._axes:
            self._axes = axes
            self._plot.setRange(
                xRange=(-content.window_s, content.window_s * AHEAD),
                yRange=(-_BELOW_ZERO * content.top, content.top),
                padding=0,
            )
            heights = np.repeat(even_steps(content.top, 5), 2)
            self._marks.setData(np.tile([-content.window_s, content.window_s * AHEAD], len(heights) // 2), heights)
        for line, limit in zip(self._limits, (content.low, content.high), strict=True):
            line.setValue(limit)
        self._ceiling.setValue(content.ceiling)
        proven = (
            content.accept_low is not None
            and content.accept_high is not None
            and content.accept_low <= content.accept_high
        )
        self._band.setVisible(proven)
        if proven:
            self._band.setRegion((content.accept_low, content.accept_high))
        bottom = -content.top * _BELOW_ZERO / 2
        span = np.array(content.span_s if content.span_s is not None else ())
        self._span.setData(span, np.full(len(span), bottom))
        ahead = np.array(content.forecast if content.forecast is not None else ()).reshape(-1, 2)
        self._forecast.setData(ahead[:, 0], ahead[:, 1])
        self._draw_curve(content)

    def _draw_curve(self, content: TraceCard) -> None:
        columns = max(100, self._plot.width())
        ago_s, tension, joined = thinned(content.ago_s, content.tension, content.joined, content.window_s, columns)
        onward = np.zeros(len(joined), dtype=np.int32)  # the plot wants to know whether each joins the next
        onward[:-1] = joined[1:]
        self._curve.setData(ago_s, tension, connect=onward)

    def repaints(self, old: TraceCard | None, new: TraceCard) -> bool:
        """Paint the axes' words again only when the axes have changed; the plot paints itself."""
        return old is None or (old.window_s, old.top, old.unit) != (new.window_s, new.top, new.unit)

    def place(self, box: Box, scale: float) -> None:
        """Keep the plot inside the words of its axes."""
        super().place(box, scale)
        inner = self._inner().toRect()
        if inner != self._plot.geometry():
            self._plot.setGeometry(inner)
            if self._content is not None:
                self._draw_curve(self._content)

    def _inner(self) -> QRectF:
        left, top, right, bottom = (side * self.scale for side in (78, 52, 24, 56))
        return QRectF(left, top, self.width() - left - right, self.height() - top - bottom)

    def draw(self, sheet: Sheet, content: TraceCard) -> None:
        """Paint the figures at the axes."""
        inner, look = self._inner(), sheet.look
        half_cap = sheet.px(SMALL.size * CAP_SHARE / 2)
        for value in even_steps(content.top, 5):
            y = inner.bottom() - inner.height() * (value / content.top + _BELOW_ZERO) / (1 + _BELOW_ZERO)
            draw_text(sheet, figure_text(value), inner.left() - sheet.px(14), y + half_cap, SMALL, look.soft, "right")
        draw_text(sheet, content.unit, sheet.px(16), sheet.px(12) + 2 * half_cap, SMALL, look.soft)
        baseline = inner.bottom() + sheet.px(16) + 2 * half_cap
        whole = content.window_s * (1 + AHEAD)
        step = even_steps(content.window_s, 5)
        for ago_s in step:
            x = inner.right() - inner.width() * (content.window_s * AHEAD + ago_s) / whole
            text = "now" if ago_s == 0 else f"−{figure_text(ago_s)}" + (" s" if ago_s == step[-1] else "")
            if x > inner.left() - sheet.px(20):
                draw_text(sheet, text, x, baseline, SMALL, look.soft, "centre")
