"""The shapes that say with no words, and in no colour, what the words, the colours and the tones say.

done is a tick, now a wedge, to come a ring; in band is a tick, leaving it a triangle with a bar and a dot in it, over
the ceiling an eight-sided plate with a bar. Each tone that sounds has a sign of its own, shown beside the sentence.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, assert_never

from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPen, QPolygonF

from station.views.lettering import Sheet
from station.views.palette import tone_colour

if TYPE_CHECKING:  # the first page draws with a pen, and needs no bench for it
    from station.bench.cues import Cue
    from station.bench.snapshot import StepState, Tone


def pen_of(colour: str, width: float, *, dashed: tuple[float, float] | None = None, flat: bool = False) -> QPen:
    """Give a pen; a dash is given in pixels of line and of gap."""
    pen = QPen(QColor(colour), width)
    pen.setCapStyle(Qt.PenCapStyle.FlatCap if flat or dashed else Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    if dashed:
        pen.setDashPattern([dashed[0] / width, dashed[1] / width])
    return pen


def polygon(sheet: Sheet, points: list[tuple[float, float]], colour: str) -> None:
    """Fill a polygon."""
    sheet.painter.setPen(Qt.PenStyle.NoPen)
    sheet.painter.setBrush(QColor(colour))
    sheet.painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in points]))


def tick(sheet: Sheet, box: QRectF, colour: str) -> None:
    """Draw a tick in a square box."""
    sheet.painter.setPen(pen_of(colour, box.width() * 0.17))
    x, y, side = box.x(), box.y(), box.width()
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    turns = ((0.1, 0.55), (0.38, 0.82), (0.92, 0.2))
    sheet.painter.drawPolyline(QPolygonF([QPointF(x + across * side, y + down * side) for across, down in turns]))


def wedge(sheet: Sheet, box: QRectF, colour: str, turned_deg: float = 0) -> None:
    """Draw a solid wedge pointing right, or turned clockwise."""
    centre, half = box.center(), box.width() / 2
    turn = math.radians(turned_deg)
    points = [
        (
            centre.x() + half * (along * math.cos(turn) - across * math.sin(turn)),
            centre.y() + half * (along * math.sin(turn) + across * math.cos(turn)),
        )
        for along, across in ((0.85, 0.0), (-0.75, 0.9), (-0.75, -0.9))
    ]
    polygon(sheet, points, colour)


def ring(sheet: Sheet, box: QRectF, colour: str) -> None:
    """Draw an open ring."""
    width = box.width() * 0.12
    sheet.painter.setPen(pen_of(colour, width))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    inset = box.width() * 0.14
    sheet.painter.drawEllipse(box.adjusted(inset, inset, -inset, -inset))


def page(sheet: Sheet, box: QRectF, colour: str) -> None:
    """Draw a written page: this has been recorded, whether it is good or bad news."""
    thick = box.width() * 0.09
    sheet.painter.setPen(pen_of(colour, thick))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    leaf = box.adjusted(box.width() * 0.14, 0, -box.width() * 0.14, 0)
    sheet.painter.drawRect(leaf)
    for share in (0.3, 0.55, 0.8):
        y = leaf.top() + share * leaf.height()
        sheet.painter.drawLine(QLineF(leaf.left() + 2.4 * thick, y, leaf.right() - 2.4 * thick, y))


def step_sign(sheet: Sheet, box: QRectF, state: StepState) -> None:
    """Draw the sign of a step: tick, wedge or ring."""
    look = sheet.look
    match state:
        case "done":
            tick(sheet, box, look.in_band)
        case "now":
            wedge(sheet, box, look.act)
        case "to come":
            ring(sheet, box, look.soft)


def has_sign(tone: Tone) -> bool:
    """Tell whether words of a tone carry a sign."""
    return tone not in ("quiet", "plain")


def tone_sign(sheet: Sheet, box: QRectF, tone: Tone) -> None:
    """Draw the sign of a tone, if it has one."""
    colour = tone_colour(sheet.look, tone)
    match tone:
        case "good":
            tick(sheet, box, colour)
        case "act":
            wedge(sheet, box, colour)
        case "warn":
            _warning(sheet, box, colour)
        case "stop":
            _plate(sheet, box, colour)
        case "quiet" | "plain":
            pass


def _warning(sheet: Sheet, box: QRectF, colour: str) -> None:
    x, y, side = box.x(), box.y(), box.width()
    sheet.painter.setPen(pen_of(colour, side * 0.1))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    corners = ((0.5, 0.1), (0.95, 0.88), (0.05, 0.88))
    sheet.painter.drawPolygon(QPolygonF([QPointF(x + across * side, y + down * side) for across, down in corners]))
    sheet.painter.drawLine(QLineF(x + side / 2, y + 0.38 * side, x + side / 2, y + 0.58 * side))
    sheet.painter.drawLine(QLineF(x + side / 2, y + 0.74 * side, x + side / 2, y + 0.745 * side))


def _plate(sheet: Sheet, box: QRectF, colour: str) -> None:
    centre, half = box.center(), box.width() / 2
    corners = [
        (centre.x() + half * math.cos(math.radians(turn)), centre.y() + half * math.sin(math.radians(turn)))
        for turn in (22.5 + 45 * corner for corner in range(8))
    ]
    polygon(sheet, corners, colour)
    sheet.painter.setPen(pen_of(sheet.ground, box.width() * 0.16))
    sheet.painter.drawLine(QLineF(centre.x() - half * 0.45, centre.y(), centre.x() + half * 0.45, centre.y()))


def arrow(sheet: Sheet, tail_x: float, head_x: float, y: float, colour: str, thickness: float) -> None:
    """Draw a straight arrow, solid head, along the bench."""
    way = 1 if head_x > tail_x else -1
    head = thickness * 4.4
    sheet.painter.setPen(pen_of(colour, thickness))
    sheet.painter.drawLine(QLineF(tail_x + way * thickness / 2, y, head_x - way * head * 0.8, y))
    half = thickness * 2.2
    polygon(sheet, [(head_x, y), (head_x - way * head, y - half), (head_x - way * head, y + half)], colour)


def loudspeaker(sheet: Sheet, box: QRectF, colour: str, *, is_on: bool) -> None:
    """Draw a loudspeaker: with waves before it, or struck out."""
    x, y, side = box.x(), box.y(), box.width()
    corners = ((0.0, 0.36), (0.18, 0.36), (0.46, 0.1), (0.46, 0.9), (0.18, 0.64), (0.0, 0.64))
    polygon(sheet, [(x + across * side, y + down * side) for across, down in corners], colour)
    sheet.painter.setPen(pen_of(colour, side * 0.09))
    sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
    if is_on:
        for reach in (0.2, 0.4):
            wave = QRectF(x + (0.46 - reach) * side, y + (0.5 - reach) * side, 2 * reach * side, 2 * reach * side)
            sheet.painter.drawArc(wave.translated(0.12 * side, 0), -50 * 16, 100 * 16)
    else:
        sheet.painter.drawLine(QLineF(x + 0.62 * side, y + 0.34 * side, x + 0.96 * side, y + 0.66 * side))
        sheet.painter.drawLine(QLineF(x + 0.96 * side, y + 0.34 * side, x + 0.62 * side, y + 0.66 * side))


def two_frames(sheet: Sheet, box: QRectF, colour: str, *, is_large: bool) -> None:
    """Draw a small frame within a large one; the one to go to is filled."""
    painter, side = sheet.painter, box.width()
    outer = box.adjusted(side * 0.04, side * 0.12, -side * 0.04, -side * 0.12)
    inner = QRectF(outer.left(), outer.center().y(), outer.width() * 0.42, outer.height() / 2)
    painter.setPen(pen_of(colour, side * 0.08))
    painter.setBrush(QColor(colour) if is_large else Qt.BrushStyle.NoBrush)
    painter.drawRect(outer)
    painter.setPen(pen_of(sheet.ground if is_large else colour, side * 0.08))
    painter.setBrush(QColor(sheet.ground if is_large else colour))
    painter.drawRect(inner.adjusted(side * 0.1, -side * 0.02, side * 0.02, -side * 0.1))


def cue_sign(sheet: Sheet, box: QRectF, cue: Cue) -> None:
    """Draw the sign that stands for a tone: what sounded, for those who did not hear it."""
    look, side = sheet.look, box.width()
    middle, thick = box.center(), box.width() * 0.11
    match cue:
        case "in band" | "leaving band":
            within = cue == "in band"
            colour = look.in_band if within else look.leaving
            sheet.painter.setPen(pen_of(colour, thick))
            for x in (box.left() + 0.3 * side, box.right() - 0.1 * side):
                sheet.painter.drawLine(QLineF(x, box.top() + 0.1 * side, x, box.bottom() - 0.1 * side))
            if within:
                sheet.painter.setBrush(QColor(colour))
                sheet.painter.drawEllipse(QPointF(box.left() + 0.6 * side, middle.y()), 0.1 * side, 0.1 * side)
            else:
                out = QRectF(box.left() - 0.12 * side, middle.y() - 0.2 * side, 0.4 * side, 0.4 * side)
                wedge(sheet, out, colour, 180)
        case "time complete":
            sheet.painter.setPen(pen_of(look.in_band, thick * 0.7))
            sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
            sheet.painter.drawEllipse(box.adjusted(thick, thick, -thick, -thick))
            tick(sheet, box.adjusted(side * 0.24, side * 0.24, -side * 0.24, -side * 0.24), look.in_band)
        case "broken":
            sheet.painter.setPen(pen_of(look.ceiling, thick * 1.4))
            left, right = box.left() + 0.1 * side, box.right() - 0.1 * side
            sheet.painter.drawLine(QLineF(left, middle.y(), middle.x() - 0.2 * side, middle.y()))
            sheet.painter.drawLine(QLineF(middle.x() + 0.2 * side, middle.y(), right, middle.y()))
            sheet.painter.setPen(pen_of(look.ceiling, thick * 0.7))
            for shift in (-0.09, 0.09):
                x = middle.x() + shift * side
                sheet.painter.drawLine(
                    QLineF(x + 0.08 * side, middle.y() - 0.26 * side, x - 0.08 * side, middle.y() + 0.26 * side)
                )
        case "step done":
            tick(sheet, box, look.in_band)
        case "not counted":  # a tick struck out
            tick(sheet, box, look.soft)
            sheet.painter.setPen(pen_of(look.leaving, thick))
            sheet.painter.drawLine(QLineF(box.left(), box.top() + 0.14 * side, box.right(), box.bottom() - 0.06 * side))
        case "long press":  # what rises, like its tone
            sheet.painter.setPen(pen_of(look.act, thick * 1.2))
            sheet.painter.setBrush(QColor(look.act))
            high = QPointF(box.right() - 0.2 * side, box.top() + 0.22 * side)
            sheet.painter.drawLine(QLineF(box.left() + 0.08 * side, box.bottom() - 0.12 * side, high.x(), high.y()))
            sheet.painter.drawEllipse(high, 0.11 * side, 0.11 * side)
        case _:
            assert_never(cue)
