"""The line as it lies on the bench, to scale: link at the left, canopy at the right, or mirrored.

A trap is drawn as what it is, a line inside a line: dashed inside while it is to be made, solid once it is, with
stitches across it once it is sewn. The trap being worked on stands in a frame; the mark to make now is a stroke across
the line with a wedge and words. A loop in mid-line stands open; a plain mark is a short stroke with its name, set off
while it is to be made, which is with the line's closing mark. Positions along the bench come from the plan's own
drawing; only lanes and words are placed here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainterPath

from station.bench.snapshot import DrawingState
from station.linework.drawing import DrawnLine, DrawnMark, DrawnTrap
from station.views.lettering import Sheet, draw_text, text_width
from station.views.panel import Panel
from station.views.signs import pen_of, wedge
from station.views.type_sizes import CAP_SHARE, LABEL_STRONG, SMALL

_MARGIN = 40.0  # no words stand beyond it
_SIDE = 84.0  # left and right of the bench: the link, the attachment
_ABOVE = 64.0  # the top lane: its name, or the words of its mark
_BELOW = 76.0  # the lowest lane: link and canopy, or the words of its mark
_WIDEST_PITCH = 104.0
_CLOSE_FOR_NAMES = 54.0  # below this a name stands in its line, not over it
_CLOSE_PITCH = 66.0  # below this no words fit between two lanes
_TALL = 300.0  # a drawing higher than this has lanes further apart
_LOW = 245.0  # a drawing lower than this keeps its words close to the line
_RISER = 0.085  # of the bench: how far a cascade takes to rise into its lane


@dataclass(frozen=True, slots=True)
class Lying:
    """The drawing, and which way it lies."""

    state: DrawingState
    mirrored: bool


def drawing_title(state: DrawingState | None) -> str:
    """Say what the drawing is."""
    if state is None:
        return ""
    return "as it lies on the bench; " + ("to scale" if state.drawing.to_scale else "not to scale: a length is unknown")


class DrawingPanel(Panel[Lying]):
    """The line on the bench."""

    def words(self, content: Lying) -> str:
        """Say which traps are made and sewn, and where to act."""
        state = content.state
        parts = [drawing_title(state)]
        for trap in state.drawing.traps:
            made = "sewn" if trap.name in state.sewn else "made" if trap.name in state.made else "to be made"
            parts.append(f"{trap.name}, {made}")
        for line in state.drawing.lines:
            parts += [f"{line.name}, mark {mark.name}" for mark in line.marks]
        if state.here is not None:
            parts.append(f"here now: {state.here}" + (f", mark {state.mark}" if state.mark else ""))
        if state.too:
            parts.append(f"here now: {', '.join(sorted(state.too))}")
        return ". ".join(parts)

    def draw(self, sheet: Sheet, content: Lying) -> None:
        """Paint the lines, then the traps over them, then the words."""
        _Drawn(sheet, content).paint()


class _Drawn:
    """One drawing being painted."""

    def __init__(self, sheet: Sheet, content: Lying) -> None:
        self.sheet, self.state, self.mirrored = sheet, content.state, content.mirrored
        self.drawing = content.state.drawing
        lanes = max(self.drawing.lanes, 1)
        tall = sheet.height / sheet.scale
        above, below = min(_ABOVE, 0.28 * tall), min(_BELOW, 0.44 * tall)
        self.reach = sheet.px(34 if tall >= _LOW else 22)
        room = tall - above - below
        self.pitch = min(_WIDEST_PITCH * max(1.0, tall / _TALL), room / max(lanes - 1, 1))
        used = self.pitch * (lanes - 1)
        self.lowest = sheet.px(above + used + (room - used) / 2)
        self.names_inline = lanes > 1 and self.pitch < _CLOSE_FOR_NAMES
        crowd = min(1.0, self.pitch / 60) if lanes > 1 else 1.0
        self.thick = sheet.px(8) * max(crowd, 0.45)
        self.trap_high = sheet.px(30) * max(crowd, 0.45)
        self.name = replace(LABEL_STRONG, size=max(22.0, 30 * crowd))
        here = next((trap for trap in self.drawing.traps if trap.name == self.state.here), None)
        self.here = here

    def x(self, share: float) -> float:
        """Give where a fraction of the bench lies."""
        side = self.sheet.px(_SIDE)
        along = side + share * (self.sheet.width - 2 * side)
        return self.sheet.width - along if self.mirrored else along

    def y(self, lane: int) -> float:
        """Give the height of a lane."""
        return self.lowest - self.sheet.px(self.pitch) * lane

    def colour(self, name: str) -> str:
        """Give a line's colour."""
        return self.sheet.look.cascade if self.drawing.line(name).depth else self.sheet.look.main_line

    def paint(self) -> None:
        """Paint everything, what lies under first."""
        for line in sorted(self.drawing.lines, key=lambda each: -each.depth):
            self._line(line)
        for trap in self.drawing.traps:
            if trap is self.here or trap.name in self.state.too:
                self._frame(trap)
        for trap in self.drawing.traps:
            self._trap(trap)
        for line in self.drawing.lines:
            self._ends(line)
        words = self._act_here()
        taken = [words] if words is not None else []
        for line in self.drawing.lines:
            for mark in line.marks:
                self._plain_mark(line, mark, taken)
        for line in self.drawing.lines:
            self._name_of(line, taken)
        self._bench_ends(taken)

    def _lane_start(self, line: DrawnLine) -> float:
        """Give the fraction of the bench from which a line lies in its lane."""
        if line.joins is None:
            return line.start
        own = min((trap.start for trap in self.drawing.traps if trap.host == line.name), default=line.end)
        return line.start + min(_RISER, 0.7 * max(own - line.start, 0.0))

    def _line(self, line: DrawnLine) -> None:
        painter, y = self.sheet.painter, self.y(line.lane)
        pen = pen_of(self.colour(line.name), self.thick, flat=True)
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        start = self._lane_start(line)
        if line.joins is not None:
            host = self.y(self.drawing.line(line.joins).lane)
            x0, x1 = self.x(line.start), self.x(start)
            path = QPainterPath(QPointF(x0, host))
            path.cubicTo(QPointF(x0 + 0.55 * (x1 - x0), host), QPointF(x0 + 0.45 * (x1 - x0), y), QPointF(x1, y))
            painter.drawPath(path)
        left = start + line.link_loop
        right = line.end - line.canopy_loop
        pieces = [(left, right)]
        if line.broken_at is not None:
            middle = (line.broken_at[0] + line.broken_at[1]) / 2
            pieces = [(left, middle - 0.012), (middle + 0.012, right)]
        for low, high in pieces:
            ends = [low, *(end for loop in line.loops if low <= loop[0] <= loop[1] <= high for end in loop), high]
            for one, other in zip(ends[::2], ends[1::2], strict=True):
                painter.drawLine(QLineF(self.x(one), y, self.x(other), y))
        if line.broken_at is not None:
            painter.setPen(pen_of(self.colour(line.name), self.sheet.px(4)))
            for share in (pieces[0][1], pieces[1][0]):
                x, reach = self.x(share), self.sheet.px(16)
                painter.drawLine(QLineF(x - reach * 0.4, y + reach, x + reach * 0.4, y - reach))

    def _ends(self, line: DrawnLine) -> None:
        """Paint the link and the loop on it, the attachment and the loop or knot at it."""
        painter, look, y = self.sheet.painter, self.sheet.look, self.y(line.lane)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        outward = -1 if self.mirrored else 1
        if line.joins is None:
            side = self.sheet.px(30)
            painter.setPen(pen_of(look.soft, self.sheet.px(6)))
            middle = self.x(line.start) - outward * side * 0.3
            painter.drawRoundedRect(
                QRectF(middle - side / 2, y - side * 0.72, side, side * 1.44), side * 0.35, side * 0.35
            )
            self._loop(self.x(line.start), self.x(line.start + line.link_loop), y, self.colour(line.name))
        for low, high in line.loops:
            self._loop(self.x(low), self.x(high), y, self.colour(line.name))
        end = self.x(line.end)
        if line.canopy_loop > 0:
            self._loop(self.x(line.end - line.canopy_loop), end, y, self.colour(line.name))
        reach = self.sheet.px(min(34.0, self.pitch * 0.4))
        painter.setPen(pen_of(look.soft, self.sheet.px(7)))
        post = end + outward * self.sheet.px(5)
        painter.drawLine(QLineF(post, y - reach, post, y + reach))
        if line.knot:
            radius = self.sheet.px(min(12.0, self.pitch * 0.3))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(self.colour(line.name)))
            painter.drawEllipse(QPointF(post, y), radius, radius)

    def _loop(self, one: float, other: float, y: float, colour: str) -> None:
        high = self.sheet.px(min(22.0, self.pitch * 0.35))
        self.sheet.painter.setPen(pen_of(colour, self.thick * 0.7))
        self.sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.sheet.painter.drawEllipse(QRectF(min(one, other), y - high / 2, max(abs(other - one), high * 0.6), high))

    def _trap_box(self, trap: DrawnTrap) -> QRectF:
        y = self.y(self.drawing.line(trap.host).lane)
        one, other = self.x(trap.start), self.x(trap.end)
        least = self.sheet.px(16)
        left, wide = min(one, other), max(abs(other - one), least)
        return QRectF(left, y - self.trap_high / 2, wide, self.trap_high)

    def _trap(self, trap: DrawnTrap) -> None:
        painter, box = self.sheet.painter, self._trap_box(trap)
        radius = box.height() * 0.45
        painter.setPen(pen_of(self.colour(trap.host), self.thick * 0.62))
        painter.setBrush(QColor(self.sheet.ground))
        painter.drawRoundedRect(box, radius, radius)
        made = trap.name in self.state.made or trap.name in self.state.sewn
        dash = None if made else (self.sheet.px(11), self.sheet.px(9))
        painter.setPen(pen_of(self.colour(trap.guest), self.thick * 0.8, dashed=dash, flat=True))
        inset = self.sheet.px(7)
        y = box.center().y()
        entry = self.x(trap.entry)
        far = box.left() + inset if abs(entry - box.right()) < abs(entry - box.left()) else box.right() - inset
        painter.drawLine(QLineF(entry, y, far, y))
        if trap.name in self.state.sewn:
            painter.setPen(pen_of(self.sheet.look.ink, self.sheet.px(3), flat=True))
            way = 1 if far > entry else -1
            for number in range(4):
                x = entry + way * self.sheet.px(8 + 8 * number)
                painter.drawLine(QLineF(x, y - box.height() * 0.62, x, y + box.height() * 0.62))

    def _frame(self, trap: DrawnTrap) -> None:
        """Set the trap being worked on in a frame, brought forward from the rest."""
        out = self.sheet.px(12)
        box = self._trap_box(trap).adjusted(-out, -out, out, out)
        self.sheet.fill(box, self.sheet.look.track, self.sheet.px(12))
        self.sheet.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.sheet.painter.setPen(pen_of(self.sheet.look.act, self.sheet.px(3)))
        self.sheet.painter.drawRoundedRect(box, self.sheet.px(12), self.sheet.px(12))

    def _act_here(self) -> QRectF | None:
        """Paint the mark to make now, or point at the trap being worked on; give where the words stand."""
        if self.here is None:
            return None
        sheet, act = self.sheet, self.sheet.look.act
        host = self.drawing.line(self.here.host)
        y = self.y(host.lane)
        box = self._trap_box(self.here)
        mark = next((mark for mark in self.here.marks if mark.name == self.state.mark), None)
        x = self.x(mark.at) if mark is not None else box.center().x()
        text = "mark here" if mark is not None else "here"
        reach = self.reach
        if mark is not None:
            sheet.painter.setPen(pen_of(act, sheet.px(7), flat=True))
            sheet.painter.drawLine(QLineF(x, y - reach, x, y + reach))
        upward = host.lane > 0 and host.lane == self.drawing.lanes - 1
        squeezed = host.lane > 0 and not upward and self.pitch < _CLOSE_PITCH
        tip = reach + sheet.px(4)
        side = sheet.px(24)
        if squeezed:
            bottom = self.lowest + tip
            sheet.painter.setPen(pen_of(act, sheet.px(3), dashed=(sheet.px(6), sheet.px(6))))
            sheet.painter.drawLine(QLineF(x, y + reach * 0.6, x, bottom))
            wedge(sheet, QRectF(x - side / 2, bottom - side * 0.1, side, side), act, -90)
            baseline = bottom + side + sheet.px(LABEL_STRONG.size * CAP_SHARE)
        elif upward:
            wedge(sheet, QRectF(x - side / 2, y - tip - side * 0.9, side, side), act, 90)
            baseline = y - tip - sheet.px(2)
        else:
            wedge(sheet, QRectF(x - side / 2, y + tip - side * 0.1, side, side), act, -90)
            baseline = y + tip + sheet.px(8 + LABEL_STRONG.size * CAP_SHARE)
        wide = text_width(text, LABEL_STRONG, sheet.scale)
        start = x + side * 0.8
        if start + wide > sheet.width - sheet.px(_MARGIN + 60):  # there the attachment stands
            start = x - side * 0.8 - wide
        words = draw_text(sheet, text, start, baseline, LABEL_STRONG, act)
        return words.united(QRectF(x - side / 2, words.top(), side, words.height()))

    def _plain_mark(self, line: DrawnLine, mark: DrawnMark, taken: list[QRectF]) -> None:
        """Paint a plain mark; its name stands beside the stroke's foot or head, wherever there is room."""
        sheet, y, x = self.sheet, self.y(line.lane), self.x(mark.at)
        here = self.here
        now = here is not None and self.state.mark is not None and here.end_kind == "canopy end"
        now = now and here is not None and here.host == line.name
        colour = sheet.look.act if now else sheet.look.ink
        reach = sheet.px(min(24.0, 0.36 * self.pitch if self.drawing.lanes > 1 else 24.0))
        sheet.painter.setPen(pen_of(colour, sheet.px(6 if now else 4), flat=True))
        sheet.painter.drawLine(QLineF(x, y - reach, x, y + reach))
        taken.append(QRectF(x - sheet.px(3), y - reach, sheet.px(6), 2 * reach))
        text = mark.words[0]
        style = replace(self.name, size=max(20.0, min(26.0, self.name.size)))
        wide, cap, gap = text_width(text, style, sheet.scale), sheet.px(style.size * CAP_SHARE), sheet.px(8)
        margin = sheet.px(_MARGIN)
        boxes = [self._trap_box(trap) for trap in self.drawing.traps]
        boxes += [
            QRectF(0, self.y(lane) - self.thick, sheet.width, 2 * self.thick) for lane in range(self.drawing.lanes)
        ]
        for baseline in (y + reach + gap + cap, y - reach - gap):
            for start in (x - wide / 2, x + gap, x - wide - gap):
                box = QRectF(start, baseline - cap, wide, cap)
                near = box.adjusted(-gap, -gap / 2, gap, gap / 2)
                across = box.left() >= margin and box.right() <= sheet.width - margin
                inside = across and box.bottom() <= sheet.height - gap
                if inside and not any(near.intersects(other) for other in (*taken, *boxes)):
                    taken.append(draw_text(sheet, text, start, baseline, style, colour))
                    return

    def _name_of(self, line: DrawnLine, taken: list[QRectF]) -> None:
        """Write a line's name over the middle of its widest free stretch, clear of the words that stand already."""
        text = line.name if line.length is None else f"{line.name}, {line.length}"
        y = self.y(line.lane)
        style = replace(self.name, size=max(20.0, min(26.0, self.pitch * 0.8))) if self.names_inline else self.name
        cap = self.sheet.px(style.size * CAP_SHARE)
        baseline = y + cap / 2 if self.names_inline else y - self.sheet.px(16)
        wide = text_width(text, style, self.sheet.scale)
        edges = [self._lane_start(line), line.end]
        stops = [(trap.start, trap.end) for trap in self.drawing.on_host(line.name)]
        stops += [(other.start, self._lane_start(other)) for other in self.drawing.lines if other.joins == line.name]
        stops += [*line.loops, *((mark.at, mark.at) for mark in line.marks)]
        free: list[tuple[float, float]] = []
        at = edges[0]
        for low, high in sorted(stops):
            free.append((at, low))
            at = max(at, high)
        free.append((at, edges[1]))
        free.sort(key=lambda stretch: stretch[0] - stretch[1])
        boxes = [QRectF((self.x(low) + self.x(top) - wide) / 2, baseline - cap, wide, cap) for low, top in free]
        gap = self.sheet.px(4)
        full = [*taken, *(self._trap_box(trap) for trap in self.drawing.on_host(line.name))]
        clear = (box for box in boxes if not any(box.adjusted(-gap, 0, gap, 0).intersects(other) for other in full))
        box = next(clear, boxes[0])
        middle = box.center().x()
        if self.names_inline:
            edge = self.sheet.px(10)
            self.sheet.fill(box.adjusted(-edge, -edge * 0.2, edge, edge * 0.2), self.sheet.ground)
        ink = draw_text(self.sheet, text, middle, baseline, style, self.colour(line.name), "centre")
        taken.append(ink)

    def _bench_ends(self, taken: list[QRectF]) -> None:
        """Write which end is which, under the lowest line or above it; nowhere, where words stand in both places."""
        sheet, style = self.sheet, SMALL
        for share, text in ((0.0, "link"), (1.0, "canopy")):
            at_left = (share == 0.0) != self.mirrored
            margin = sheet.px(_MARGIN)
            x = margin if at_left else sheet.width - margin
            wide, high = text_width(text, style, sheet.scale), sheet.px(style.size)
            below = self.lowest + self.reach + sheet.px(14 + style.size * CAP_SHARE)
            for baseline in (below, self.lowest - self.reach - sheet.px(14)):
                box = QRectF(x if at_left else x - wide, baseline - high, wide, 1.3 * high)
                if not any(box.adjusted(-12, 0, 12, 0).intersects(other) for other in taken):
                    draw_text(sheet, text, x, baseline, style, sheet.look.soft, "left" if at_left else "right")
                    break
