"""A scale's errors against the applied force, between the limits of the classes: inside or outside at one glance.

The strip that every error so far lies within is filled; above it the limits of each class are named. A reading on the
way up is a filled disc, on the way down an open one; one that lies off the card is a wedge at its edge that points out.

>>> axis_pct([0.3, -1.0]), axis_pct([0.3, -1.1]), axis_pct([])
(1.25, 3.6, 1.25)
"""

from __future__ import annotations

from collections.abc import Iterable

from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QColor

from station.bench.snapshot import ErrorPoint, ErrorsCard
from station.units import percent_text
from station.views.lettering import Sheet, draw_text, fitted, text_width
from station.views.panel import Panel
from station.views.pulling import even_steps, figure_text
from station.views.signs import pen_of, wedge
from station.views.type_sizes import CAP_SHARE, LABEL, SMALL, SMALL_STRONG, Style

_PAD = 24.0
_NARROW_PCT, _WIDE_PCT = 1.25, 3.6  # up and down: shows the two best classes, or all of them
_LARGEST_NARROW_PCT = 1.0  # the widest limit that the narrow one shows


def axis_pct(errors_pct: Iterable[float]) -> float:
    """Give how far the card reaches up and down: wider only once an error needs it."""
    return _NARROW_PCT if all(abs(error) <= _LARGEST_NARROW_PCT for error in errors_pct) else _WIDE_PCT


class ErrorsPanel(Panel[ErrorsCard]):
    """The errors of a scale on its card."""

    on_card = True

    def words(self, content: ErrorsCard) -> str:
        """Say what has been read, and within which limit it lies."""
        largest = max(content.points, key=lambda point: abs(point.error_pct), default=None)
        if largest is None:
            return f"{content.title}: nothing read yet"
        found = f"largest {percent_text(largest.error_pct / 100, 2, signed=True)} at {largest.force:.1f} {content.unit}"
        inside = "outside every class" if content.inside is None else f"all within {content.inside:g} %"
        return f"{content.title}: {len(content.points)} read, {found}, {inside}"

    def draw(self, sheet: Sheet, content: ErrorsCard) -> None:
        """Paint the strip, the limits with their names, the axes and the points."""
        look, pad = sheet.look, sheet.px(_PAD)
        style, lines, cut = fitted(content.title, LABEL, sheet.scale, sheet.width - 2 * pad, 1, 22)
        baseline = pad + sheet.px(style.size * CAP_SHARE)
        draw_text(sheet, lines[0], pad, baseline, style, look.ink, cut=cut)
        names = max(text_width(f"class {name}", SMALL, sheet.scale) for name, _ in content.limits)
        figures = text_width("−0.5", SMALL, sheet.scale)
        left, right = pad + figures + sheet.px(12), sheet.width - pad - names - sheet.px(12)
        foot = sheet.height - pad - sheet.px(SMALL.size * CAP_SHARE + 16)
        key = foot + sheet.px(16 + SMALL.size * CAP_SHARE)
        top = baseline + sheet.px(26)
        plot = _Plot(content, QRectF(left, top, right - left, foot - top))
        self._strip(sheet, content, plot)
        self._limits(sheet, content, plot)
        self._forces(sheet, content, plot, key)
        for point in content.points:
            _draw_point(sheet, plot, point, outside=_is_outside(content, point))

    def _strip(self, sheet: Sheet, content: ErrorsCard, plot: _Plot) -> None:
        if content.inside is None:
            return
        high, low = plot.y(content.inside), plot.y(-content.inside)
        sheet.fill(QRectF(plot.box.left(), high, plot.box.width(), low - high), sheet.look.band)

    def _limits(self, sheet: Sheet, content: ErrorsCard, plot: _Plot) -> None:
        """Draw each limit above and below, the class at the right, the figure at the left, where there is room."""
        look, half = sheet.look, sheet.px(SMALL.size * CAP_SHARE / 2)
        self._rule(sheet, plot, 0.0, look.soft, dashed=False)
        draw_text(sheet, "0", plot.box.left() - sheet.px(12), plot.y(0.0) + half, SMALL, look.soft, "right")
        shown = [(name, limit) for name, limit in content.limits if limit < plot.reach_pct]
        for _, limit in shown:
            strong = limit == content.inside
            colour = look.in_band if strong else look.soft
            for side in (1, -1):
                self._rule(sheet, plot, side * limit, colour, dashed=True)
        taken = [plot.y(0.0)]
        wanted = sorted(
            shown, key=lambda each: (each[1] != content.inside, -each[1])
        )  # the one that holds is named first
        for name, limit in wanted:
            y = plot.y(limit)
            if any(abs(y - other) < 2.9 * half for other in taken):
                continue
            taken.append(y)
            strong = limit == content.inside
            style, colour = (SMALL_STRONG, look.in_band) if strong else (SMALL, look.soft)
            for side in (1, -1):
                at, text = plot.y(side * limit) + half, f"{'+' if side > 0 else '−'}{limit:g}"
                draw_text(sheet, text, plot.box.left() - sheet.px(12), at, SMALL, look.soft, "right")
                draw_text(sheet, f"class {name}", plot.box.right() + sheet.px(12), at, style, colour)

    def _rule(self, sheet: Sheet, plot: _Plot, pct: float, colour: str, *, dashed: bool) -> None:
        dash = (sheet.px(8), sheet.px(8)) if dashed else None
        sheet.painter.setPen(pen_of(colour, sheet.px(2), dashed=dash, flat=True))
        sheet.painter.drawLine(QLineF(plot.box.left(), plot.y(pct), plot.box.right(), plot.y(pct)))

    def _forces(self, sheet: Sheet, content: ErrorsCard, plot: _Plot, baseline: float) -> None:
        """Mark the target with its figure, and every force that will be applied, its figure where there is room."""
        look, space = sheet.look, sheet.px(16)
        x = plot.x(content.target)
        sheet.painter.setPen(pen_of(look.act, sheet.px(3), dashed=(sheet.px(3), sheet.px(9)), flat=True))
        sheet.painter.drawLine(QLineF(x, plot.box.top(), x, plot.box.bottom()))
        unit_left = sheet.width - sheet.px(_PAD) - text_width(content.unit, SMALL, sheet.scale)
        taken = [(unit_left, sheet.width)]
        draw_text(sheet, content.unit, unit_left, baseline, SMALL, look.soft)
        asked = f"asked {figure_text(content.target)}"
        named: list[tuple[float, str, Style, str]] = [(content.target, asked, SMALL_STRONG, look.act)]
        named += [(force, figure_text(force), SMALL, look.soft) for force in content.forces]
        named += [(mark, figure_text(mark), SMALL, look.soft) for mark in even_steps(content.top, 4)[:1]]
        for force in content.forces:
            at = plot.x(force)
            sheet.painter.setPen(pen_of(look.soft, sheet.px(2), flat=True))
            sheet.painter.drawLine(QLineF(at, plot.box.bottom() - sheet.px(8), at, plot.box.bottom()))
        for force, text, style, colour in named:
            width = text_width(text, style, sheet.scale)
            start = min(max(plot.x(force) - width / 2, sheet.px(_PAD)), unit_left - space - width)
            if any(start < end + space and begin < start + width + space for begin, end in taken):
                continue
            taken.append((start, start + width))
            draw_text(sheet, text, start, baseline, style, colour)


class _Plot:
    """Where forces and errors stand on the card."""

    def __init__(self, content: ErrorsCard, box: QRectF) -> None:
        self.box = box
        self.top = content.top
        self.reach_pct = axis_pct(point.error_pct for point in content.points)

    def x(self, force: float) -> float:
        return self.box.left() + self.box.width() * min(max(force / self.top, 0.0), 1.0)

    def y(self, pct: float) -> float:
        return self.box.center().y() - self.box.height() / 2 * min(max(pct / self.reach_pct, -1.0), 1.0)


def _is_outside(content: ErrorsCard, point: ErrorPoint) -> bool:
    widest = max(limit for _, limit in content.limits)
    return abs(point.error_pct) > widest


def _draw_point(sheet: Sheet, plot: _Plot, point: ErrorPoint, *, outside: bool) -> None:
    look, half = sheet.look, sheet.px(9)
    x, y = plot.x(point.force), plot.y(point.error_pct)
    colour = look.leaving if outside else look.ink
    if abs(point.error_pct) > plot.reach_pct:
        turned = -90 if point.error_pct > 0 else 90
        inner = y + (1.4 if point.error_pct > 0 else -1.4) * half
        wedge(sheet, QRectF(x - 1.4 * half, inner - 1.4 * half, 2.8 * half, 2.8 * half), colour, turned)
        return
    sheet.painter.setPen(pen_of(colour, sheet.px(3)))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush if point.down else QColor(colour))
    sheet.painter.drawEllipse(QPointF(x, y), half, half)
