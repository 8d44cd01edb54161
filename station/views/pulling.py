"""The pull on a straight scale, and the time held: both told by place alone, for an eye two metres off.

On the scale the tolerance is an outline and the acceptance lies inside it, filled; where the scale's uncertainty proves
nothing there is no fill but a hatch. A pointer stands above, the ceiling is a post that rises out of the scale.
"""

from __future__ import annotations

import math

from PyQt6.QtCore import QLineF, QRectF, Qt
from PyQt6.QtGui import QBrush, QColor

from station.bench.snapshot import Gauge, Progress
from station.views.arrangement import OVERHANG
from station.views.lettering import Sheet, draw_text, text_width
from station.views.panel import Panel
from station.views.signs import pen_of, polygon, tick, wedge
from station.views.type_sizes import CAP_SHARE, SMALL, SMALL_STRONG, Style

_NEARLY = 1e-3  # of a step: a top that was rounded to millinewtons still carries its mark
_POINTER = 36.0
_BAR = 34.0


def even_steps(top: float, most: int) -> list[float]:
    """Give the marks of a scale from 0 to `top`: steps of 1, 2 or 5 times a power of ten, at most `most` of them.

    >>> even_steps(60, 8), even_steps(250, 6)
    ([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0], [0.0, 50.0, 100.0, 150.0, 200.0, 250.0])
    """
    if not (math.isfinite(top) and top > 0):
        return [0.0]
    power = 10.0 ** math.floor(math.log10(top / most))
    step = next(power * factor for factor in (1, 2, 5, 10, 20) if top / (power * factor) <= most)
    return [step * count for count in range(math.floor(top / step + _NEARLY) + 1)]


def place_on(value: float, top: float, left: float, width: float) -> float:
    """Give where a value stands on a scale from 0 to `top`, kept within it."""
    return left + width * min(max(value / top, 0.0), 1.0)


def figure_text(value: float) -> str:
    """Write a limit or a mark with as many decimals as it needs, one at most."""
    return f"{value:.1f}".removesuffix(".0")


def draw_scale(sheet: Sheet, gauge: Gauge, bar: QRectF) -> None:
    """Paint the bar with its tolerance, acceptance and ceiling, and the pointer above it."""
    look = sheet.look
    inset = max(1.0, bar.height() * 0.13)
    sheet.fill(bar, look.track, bar.height() * 0.15)
    low, high = (place_on(limit, gauge.top, bar.left(), bar.width()) for limit in (gauge.low, gauge.high))
    outline = QRectF(low, bar.top(), high - low, bar.height())
    if gauge.accept_low is not None and gauge.accept_high is not None and gauge.accept_low <= gauge.accept_high:
        inner = [place_on(limit, gauge.top, bar.left(), bar.width()) for limit in (gauge.accept_low, gauge.accept_high)]
        band = QRectF(inner[0], bar.top(), inner[1] - inner[0], bar.height()).adjusted(0, 2 * inset, 0, -2 * inset)
        sheet.fill(outline, sheet.ground, bar.height() * 0.15)
        sheet.fill(band, look.in_band, inset)
    else:
        sheet.fill(outline, sheet.ground, bar.height() * 0.15)
        sheet.painter.setPen(Qt.PenStyle.NoPen)
        sheet.painter.setBrush(QBrush(QColor(look.soft), Qt.BrushStyle.BDiagPattern))
        sheet.painter.drawRect(outline)
    sheet.painter.setPen(pen_of(look.soft, inset * 0.7))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    sheet.painter.drawRoundedRect(outline, bar.height() * 0.15, bar.height() * 0.15)
    if gauge.ceiling is not None:
        x = place_on(gauge.ceiling, gauge.top, bar.left(), bar.width())
        post = max(3.0, bar.height() * 0.18)
        x = min(x, bar.right() - post)
        sheet.fill(QRectF(x, bar.top() - bar.height() * 0.3, post, bar.height() * 1.6), look.ceiling)
    if gauge.tension is not None:
        _pointer(sheet, gauge, gauge.tension, bar)


def _pointer(sheet: Sheet, gauge: Gauge, tension: float, bar: QRectF) -> None:
    x = place_on(tension, gauge.top, bar.left(), bar.width())
    side = bar.height() * 0.9
    colour = sheet.look.ink
    if tension > gauge.top:  # off the scale: the pointer lies down and points out of it
        wedge(sheet, QRectF(bar.right() - side, bar.top() - side * 1.1, side, side), colour)
        return
    foot = bar.top() - bar.height() * 0.08
    polygon(sheet, [(x, foot), (x - side * 0.52, foot - side * 0.85), (x + side * 0.52, foot - side * 0.85)], colour)


class GaugePanel(Panel[Gauge]):
    """The pull on a straight scale."""

    def words(self, content: Gauge) -> str:
        """Say the limits; the number itself is said by the number."""
        limits = f"asked for: {figure_text(content.low)} to {figure_text(content.high)} {content.unit}"
        ceiling = f", never past {figure_text(content.ceiling)} {content.unit}" if content.ceiling is not None else ""
        return limits + ceiling

    def draw(self, sheet: Sheet, content: Gauge) -> None:
        """Paint the scale, its marks, and the limits' own figures in place of marks they would cover."""
        out = sheet.px(OVERHANG)
        bar = QRectF(out, sheet.px(_POINTER + 2), sheet.width - 2 * out, sheet.px(_BAR))
        draw_scale(sheet, content, bar)
        marks_end = bar.bottom() + sheet.px(10)
        baseline = bar.bottom() + sheet.px(14) + sheet.px(SMALL.size * CAP_SHARE)
        taken: list[tuple[float, float]] = []
        named = [(content.low, sheet.look.ink), (content.high, sheet.look.ink)]
        if content.ceiling is not None:
            named.insert(0, (content.ceiling, sheet.look.ceiling))
        for value, colour in named:
            self._figure(sheet, content, bar, value, baseline, SMALL_STRONG, colour, taken)
        for value in even_steps(content.top, 8):
            x = place_on(value, content.top, bar.left(), bar.width())
            if self._figure(sheet, content, bar, value, baseline, SMALL, sheet.look.soft, taken):
                sheet.painter.setPen(pen_of(sheet.look.soft, sheet.px(2), flat=True))
                x = min(max(x, bar.left() + sheet.px(1)), bar.right() - sheet.px(1))
                sheet.painter.drawLine(QLineF(x, bar.bottom() + sheet.px(2), x, marks_end))

    def _figure(
        self,
        sheet: Sheet,
        gauge: Gauge,
        bar: QRectF,
        value: float,
        baseline: float,
        style: Style,
        colour: str,
        taken: list[tuple[float, float]],
    ) -> bool:
        """Write a figure under its place unless another stands there; tell whether it did."""
        text = figure_text(value)
        width = text_width(text, style, sheet.scale)
        left = place_on(value, gauge.top, bar.left(), bar.width()) - width / 2
        left = min(max(left, 0), sheet.width - width)
        space = sheet.px(18)
        if any(left < end + space and start < left + width + space for start, end in taken):
            return False
        taken.append((left, left + width))
        draw_text(sheet, text, left, baseline, style, colour)
        return True


class ProgressPanel(Panel[Progress]):
    """The time held, of the time asked for."""

    def words(self, content: Progress) -> str:
        """Say the time held."""
        done = "time complete, " if content.complete else ""
        return f"{done}held {content.held_s:.0f} s of {content.asked_s:.0f} s"

    def _same(self, old: Progress, new: Progress) -> bool:
        """Tell whether the bar would look the same to the pixel."""
        share = (new.held_s - old.held_s) / max(new.asked_s, 1e-9)
        return old == new or (
            abs(share) * self.width() < 0.5 and (old.asked_s, old.complete) == (new.asked_s, new.complete)
        )

    def draw(self, sheet: Sheet, content: Progress) -> None:
        """Paint a bar with a mark for every second, or for every ten or sixty where seconds would run together."""
        look = sheet.look
        bar = QRectF(0, sheet.px(6), sheet.width, sheet.px(36))
        radius = sheet.px(6)
        sheet.fill(bar, look.track, radius)
        share = min(content.held_s / content.asked_s, 1.0) if content.asked_s > 0 else 0.0
        filled = bar.width() * (1.0 if content.complete else share)
        if filled > 0:
            done = QRectF(0, bar.top(), max(filled, radius), bar.height())
            sheet.fill(done, look.in_band if content.complete else look.act, radius)
        step = next((step for step in (1, 5, 10, 60, 300) if bar.width() * step / content.asked_s >= sheet.px(12)), 600)
        count = math.ceil(content.asked_s / step)
        named = self._times(sheet, content, bar, filled)
        for number in range(1, count):
            x = bar.width() * number * step / content.asked_s
            if any(start <= x <= end for start, end in named):
                continue
            colour = look.ground if x < filled else look.soft
            longer = 0.42 if number % 5 == 0 else 0.26
            sheet.painter.setPen(pen_of(colour, sheet.px(2), flat=True))
            sheet.painter.drawLine(QLineF(x, bar.bottom() - bar.height() * longer, x, bar.bottom()))
        if content.complete:
            side = sheet.px(26)
            tick(sheet, QRectF(bar.center().x() - side / 2, bar.center().y() - side / 2, side, side), look.ground)

    def _times(self, sheet: Sheet, content: Progress, bar: QRectF, filled: float) -> list[tuple[float, float]]:
        """Write a few times into the bar, so that it is not taken for a pull; give where they stand."""
        fill = sheet.look.in_band if content.complete else sheet.look.act
        unit_s, unit = (60, "min") if content.asked_s >= 120 else (1, "s")
        style, taken = SMALL, list[tuple[float, float]]()
        for time in even_steps(content.asked_s / unit_s, 4)[1:]:
            at = bar.width() * time * unit_s / content.asked_s
            text = f"{figure_text(time)} {unit}"
            wide = text_width(text, style, sheet.scale)
            left = min(at - wide / 2, bar.right() - wide - sheet.px(12))
            signed = content.complete and abs(left + wide / 2 - bar.center().x()) < wide / 2 + sheet.px(26)
            if signed or left < filled < left + wide:  # the sign of completion, or the end of what is filled
                continue
            baseline = bar.center().y() + sheet.px(style.size * CAP_SHARE / 2)
            card = sheet.ground
            sheet.ground = fill if left < filled else sheet.look.track
            draw_text(sheet, text, left, baseline, style, sheet.look.ground if left < filled else sheet.look.ink)
            sheet.ground = card
            taken.append((left - sheet.px(6), left + wide + sheet.px(6)))
        return taken
