"""The shop's trials in the window: each trial, the line through them, and where 95 of 100 new traps fall.

What is drawn, and where in its box, comes from `station.linework.trial_plot`, as it does for the record and for the
picture that `fidbench shrinkage --plot` makes. Shapes tell what colours tell: a ring is a trial, a full diamond with
its row a trial to look at again, the band is dashed at its edges.

Give it what is to be shown with `present(Trials(plot(trials, estimate(trials)), "metric"))`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPolygonF

from station.linework.trial_plot import SUSPECT, TITLES, WITHIN, PlacedPlot, Point, TrialPlot, placed, sentence
from station.units import LengthSystem
from station.views.lettering import Sheet, draw_lines, draw_text, fitted, text_width, wrapped
from station.views.panel import Panel
from station.views.signs import pen_of
from station.views.type_sizes import CAP_SHARE, SMALL, SMALL_STRONG

_LEFT, _RIGHT, _BELOW = 118.0, 34.0, 144.0
_ROW = 34.0
_RING, _DIAMOND = 7.0, 12.0
_BAND_OPACITY = 46


@dataclass(frozen=True, slots=True)
class Trials:
    """Trials with their estimate, and the measures to show them in."""

    plot: TrialPlot
    system: LengthSystem = "imperial"


class TrialView(Panel[Trials]):
    """The plot of trials; it fills whatever box it is given."""

    on_card = True

    def words(self, content: Trials) -> str:
        """Say what the trials say, and which to look at again."""
        rows = [point.row for point in content.plot.points if point.suspect]
        again = f". Row {', '.join(map(str, rows))}: {SUSPECT}" if rows else ""
        return sentence(content.plot, content.system) + again

    def draw(self, sheet: Sheet, content: Trials) -> None:
        """Paint what the trials say, the axes, the band and the line, the trials over them, and the key."""
        room = sheet.width - sheet.px(2 * _RIGHT)
        says = wrapped(sentence(content.plot, content.system), SMALL, sheet.scale, room)
        top = sheet.px(24 + SMALL.size * CAP_SHARE)
        top = draw_lines(sheet, says, sheet.px(_RIGHT), top, SMALL, sheet.look.ink) + sheet.px(16)
        draw_text(sheet, TITLES[1], sheet.px(_RIGHT), top, SMALL, sheet.look.soft)
        top += sheet.px(22)
        left = sheet.px(_LEFT)
        for _ in range(2):  # once to know the labels, and again with room for the longest
            box = left, top, sheet.width - left - sheet.px(2 * _RIGHT), sheet.height - top - sheet.px(_BELOW)
            found = placed(content.plot, box, content.system)
            widest = max(text_width(label, SMALL, sheet.scale) for _, label in found.y_ticks)
            left = max(left, widest + sheet.px(_RIGHT))
        self._axes(sheet, found, box)
        self._curves(sheet, found)
        self._trials(sheet, found)
        self._key(sheet, found)

    def _axes(self, sheet: Sheet, found: PlacedPlot, box: tuple[float, float, float, float]) -> None:
        painter, look = sheet.painter, sheet.look
        left, top, width, height = box
        foot, cap = top + height, sheet.px(SMALL.size * CAP_SHARE)
        above = foot + 2 * cap
        for y, label in found.y_ticks:  # from the foot up
            painter.setPen(pen_of(look.rule, sheet.px(1.5), flat=True))
            painter.drawLine(QPointF(left, y), QPointF(left + width, y))
            if above - y >= 1.8 * cap:
                draw_text(sheet, label, left - sheet.px(12), y + cap / 2, SMALL, look.soft, "right")
                above = y
        clear = -sheet.width
        for x, label in found.x_ticks:
            painter.setPen(pen_of(look.soft, sheet.px(2), flat=True))
            painter.drawLine(QPointF(x, foot), QPointF(x, foot + sheet.px(8)))
            half = text_width(label, SMALL, sheet.scale) / 2
            if x - half > clear and x + half < sheet.width:
                draw_text(sheet, label, x, foot + sheet.px(20) + cap, SMALL, look.soft, "centre")
                clear = x + half + sheet.px(14)
        painter.setPen(pen_of(look.soft, sheet.px(2), flat=True))
        painter.drawPolyline(QPolygonF([QPointF(left, top), QPointF(left, foot), QPointF(left + width, foot)]))
        draw_text(sheet, TITLES[0], left + width, foot + sheet.px(20 + _ROW) + cap, SMALL, look.soft, "right")

    def _curves(self, sheet: Sheet, found: PlacedPlot) -> None:
        painter, act = sheet.painter, sheet.look.act
        if found.lows:
            ground = QColor(act)
            ground.setAlpha(_BAND_OPACITY)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ground)
            painter.drawPolygon(_polygon((*found.highs, *reversed(found.lows))))
            painter.setPen(pen_of(act, sheet.px(2), dashed=(sheet.px(10), sheet.px(8))))
            painter.drawPolyline(_polygon(found.lows))
            painter.drawPolyline(_polygon(found.highs))
        painter.setPen(pen_of(act, sheet.px(4)))
        painter.drawPolyline(_polygon(found.middle))

    def _trials(self, sheet: Sheet, found: PlacedPlot) -> None:
        for point in found.rings:
            _ring(sheet, point)
        for (x, y), row in found.suspects:
            _diamond(sheet, (x, y))
            words, cap = f"row {row}", sheet.px(SMALL_STRONG.size * CAP_SHARE)
            beside = sheet.px(_DIAMOND + 10)
            wide = text_width(words, SMALL_STRONG, sheet.scale)
            at_left = x + beside + wide > sheet.width - sheet.px(_RIGHT)
            start = x - beside - wide if at_left else x + beside
            sheet.fill(QRectF(start, y - cap, wide, 2 * cap), sheet.ground)  # over grid and band, not struck through
            draw_text(sheet, words, start, y + cap / 2, SMALL_STRONG, sheet.look.ink)

    def _key(self, sheet: Sheet, found: PlacedPlot) -> None:
        """Explain the signs used, in rows below."""
        signs: list[tuple[Callable[[Sheet, Point], None], str]] = []
        if found.rings:
            signs.append((_ring, "a trial"))
        if found.lows:
            signs.append((_band_sign, WITHIN))
        if found.suspects:
            signs.append((_diamond, SUSPECT))
        cap = sheet.px(SMALL.size * CAP_SHARE)
        edge = sheet.px(_RIGHT)
        x, y = edge, sheet.height - sheet.px(20 + _ROW)
        for sign, words in signs:
            needed = sheet.px(38) + text_width(words, SMALL, sheet.scale)
            if x > edge and x + needed > sheet.width - edge:
                x, y = edge, y + sheet.px(_ROW)
            sign(sheet, (x + sheet.px(12), y - cap / 2))
            style, lines, cut = fitted(words, SMALL, sheet.scale, sheet.width - x - sheet.px(38) - edge, 1, 18.0)
            draw_text(sheet, lines[0], x + sheet.px(38), y, style, sheet.look.ink, cut=cut)
            x += needed + sheet.px(44)


def _polygon(points: tuple[Point, ...]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])


def _ring(sheet: Sheet, at: Point) -> None:
    sheet.painter.setPen(pen_of(sheet.look.ink, sheet.px(3.5)))
    sheet.painter.setBrush(QColor(sheet.ground))
    sheet.painter.drawEllipse(QPointF(*at), sheet.px(_RING), sheet.px(_RING))


def _diamond(sheet: Sheet, at: Point) -> None:
    (x, y), reach = at, sheet.px(_DIAMOND)
    sheet.painter.setPen(QColor(sheet.look.ink))
    sheet.painter.setBrush(QColor(sheet.look.ink))
    sheet.painter.drawPolygon(_polygon(((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))))


def _band_sign(sheet: Sheet, at: Point) -> None:
    (x, y), act = at, QColor(sheet.look.act)
    act.setAlpha(_BAND_OPACITY)
    box = QRectF(x - sheet.px(14), y - sheet.px(9), sheet.px(28), sheet.px(18))
    sheet.painter.setBrush(act)
    sheet.painter.setPen(pen_of(sheet.look.act, sheet.px(2), dashed=(sheet.px(6), sheet.px(5))))
    sheet.painter.drawRect(box)
