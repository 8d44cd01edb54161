"""The cards beside the number: the close-up, marks on a running end, both pulls, a short list.

Each fits itself into the room it is given: as tall as the band in a wide window, as the number alone in a small one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from PyQt6.QtCore import QLineF, QRectF

from station.bench.snapshot import CloseUp, EndMarks, ListCard, Pull, PullsCard, StepState
from station.views.lettering import LINE_PITCH, Sheet, block_height, draw_lines, draw_text, fitted, text_width
from station.views.palette import tone_colour
from station.views.panel import Panel
from station.views.pulling import draw_scale
from station.views.signs import has_sign, pen_of, polygon, step_sign, tone_sign
from station.views.type_sizes import CAP_SHARE, LABEL, LABEL_STRONG, PULL, SMALL, SMALL_STRONG, TITLE, Style

_PAD = 24.0


@dataclass(frozen=True, slots=True)
class Near:
    """A close-up, and how many pixels of this screen are a metre of line."""

    close_up: CloseUp
    px_per_m: float | None
    mirrored: bool


def magnified(offset_m: float, px_per_m: float | None, room_px: float) -> tuple[float, str]:
    """Give how many pixels an offset is drawn wide, and the words that say how large that is.

    Twice life size where the screen's own size is known and the room is wide enough, else life size, else to fit.
    """
    if px_per_m is not None:
        for times, words in ((2, "close up, twice life size"), (1, "close up, life size")):
            if abs(offset_m) * px_per_m * times <= room_px:
                return offset_m * px_per_m * times, words
    return (room_px * (1 if offset_m > 0 else -1) if offset_m else 0.0), "close up, not to scale"


class CloseUpPanel(Panel[Near]):
    """The place being worked on: the opposite number's mark, and the new one past it."""

    on_card = True

    def words(self, content: Near) -> str:
        """Say the two lines and the distance between their marks."""
        near = content.close_up
        if not near.offset_m:
            return f"{near.lower}: mark level with {near.upper}"
        toward = "canopy" if near.offset_m > 0 else "link"
        return f"{near.lower}: mark {near.label} past {near.upper}, toward the {toward}"

    def draw(self, sheet: Sheet, content: Near) -> None:
        """Paint both lines, the mark of each, and the arrow from one to the other."""
        near, look = content.close_up, sheet.look
        pad = sheet.px(_PAD)
        left, right = pad, sheet.width - pad
        room = (right - left) * 0.62
        offset, how = magnified(near.offset_m, content.px_per_m, room)
        if content.mirrored:
            offset = -offset
        centre = (left + right) / 2
        from_x, to_x = centre - offset / 2, centre + offset / 2
        title = pad + sheet.px(SMALL.size * CAP_SHARE)
        thick, reach, label = sheet.px(18), sheet.px(20), sheet.px(LABEL.size * CAP_SHARE)
        group = label + sheet.px(14) + thick  # a name over its line
        below = sheet.px(26 + TITLE.size)  # the arrow and the length
        gap = max((sheet.height - pad - title - 2 * group - below) / 3, sheet.px(12))
        upper_y = title + gap + group - thick / 2
        lower_y = upper_y + gap + group
        draw_text(sheet, how, left, title, SMALL, look.soft)
        for name, y in ((near.upper, upper_y), (near.lower, lower_y)):
            draw_text(sheet, name, left, y - thick / 2 - sheet.px(14), LABEL, look.ink)
            sheet.fill(QRectF(left, y - thick / 2, right - left, thick), look.main_line, thick / 2)
        y = lower_y + reach + sheet.px(12)
        sheet.painter.setPen(pen_of(look.soft, sheet.px(6), flat=True))
        sheet.painter.drawLine(QLineF(from_x, upper_y - thick / 2 - sheet.px(5), from_x, upper_y + reach))
        sheet.painter.setPen(pen_of(look.soft, sheet.px(3), dashed=(sheet.px(8), sheet.px(8))))
        sheet.painter.drawLine(QLineF(from_x, upper_y + reach, from_x, y + sheet.px(8)))
        sheet.painter.setPen(pen_of(look.act, sheet.px(9), flat=True))
        sheet.painter.drawLine(QLineF(to_x, lower_y - reach, to_x, lower_y + reach * 1.3))
        baseline = y + sheet.px(22 + TITLE.size * CAP_SHARE)
        if offset:
            _span(sheet, from_x, to_x, y, look.act)
        style = replace(TITLE, size=TITLE.size + 4)
        half = text_width(near.label, style, sheet.scale) / 2
        middle = min(max(centre, left + half), right - half)
        draw_text(sheet, near.label, middle, baseline, style, look.act, "centre")


def _span(sheet: Sheet, from_x: float, to_x: float, y: float, colour: str) -> None:
    """Draw a thin arrow from one place to another."""
    way = 1 if to_x > from_x else -1
    head = min(sheet.px(22), abs(to_x - from_x))
    sheet.painter.setPen(pen_of(colour, sheet.px(4), flat=True))
    sheet.painter.drawLine(QLineF(from_x, y, to_x - way * head * 0.8, y))
    half = head * 0.5
    polygon(sheet, [(to_x, y), (to_x - way * head, y - half), (to_x - way * head, y + half)], colour)


class EndMarksPanel(Panel[EndMarks]):
    """A running end with the marks on it, each measured from the free end."""

    on_card = True

    def words(self, content: EndMarks) -> str:
        """Say the marks."""
        marks = ", ".join(label for _, label in content.marks_m)
        return ". ".join(part for part in (content.title, f"from the free end: {marks}", content.note) if part)

    def draw(self, sheet: Sheet, content: EndMarks) -> None:
        """Paint the end with its free end at the left, and one measuring arrow to each mark."""
        look, pad = sheet.look, sheet.px(_PAD)
        left, right = pad, sheet.width - pad
        style, lines, cut = fitted(content.title, LABEL, sheet.scale, right - left, 2, 24)
        baseline = draw_lines(
            sheet, lines, left, pad + sheet.px(style.size * CAP_SHARE), style, look.ink, cut=cut
        ) - sheet.px(style.size * LINE_PITCH)
        noted, notes, note_cut = fitted(content.note, SMALL, sheet.scale, right - left, 3, 22)
        note_top = sheet.height - pad - block_height(len(notes), noted, sheet.scale)
        wanted = sheet.px(80 + 68 + 54 * (len(content.marks_m) - 1) + 34)
        tight = min(1.0, max(0.6, (note_top - baseline) / wanted))
        line_y = baseline + sheet.px(80) * tight
        thick = sheet.px(18)
        farthest = max((at_m for at_m, _ in content.marks_m), default=0.0)
        end_x = left + sheet.px(10)
        reach = (right - end_x) * 0.78
        taper = sheet.px(30)
        sheet.fill(QRectF(end_x + taper, line_y - thick / 2, right - end_x - taper, thick), look.main_line)
        polygon(
            sheet,
            [(end_x, line_y), (end_x + taper + 1, line_y - thick / 2), (end_x + taper + 1, line_y + thick / 2)],
            look.main_line,
        )
        draw_text(sheet, "free end", end_x, line_y - sheet.px(28) * tight, SMALL, look.soft)
        row = sheet.px(54) * tight
        y = line_y + sheet.px(68) * tight
        for number, (at_m, label) in reversed(list(enumerate(content.marks_m))):
            x = end_x + (reach * at_m / farthest if farthest else 0.0)
            sheet.painter.setPen(pen_of(look.act, sheet.px(9), flat=True))
            across = sheet.px(24) * tight
            sheet.painter.drawLine(QLineF(x, line_y - across, x, line_y + across))
            sheet.painter.setPen(pen_of(look.act, sheet.px(3), dashed=(sheet.px(7), sheet.px(7))))
            level = y + number * row
            sheet.painter.drawLine(QLineF(x, line_y + sheet.px(26), x, level))
            _span(sheet, end_x, x, level, look.act)
            named, names, shortened = fitted(label, LABEL_STRONG, sheet.scale, right - end_x, 1, 22)
            baseline = level - sheet.px(17) * tight
            high = sheet.px(named.size * CAP_SHARE) + sheet.px(6)
            long = text_width(names[0], named, sheet.scale) + sheet.px(8)
            sheet.fill(QRectF(end_x, baseline - high, long, high + sheet.px(6)), sheet.ground)  # over dashed lines
            draw_text(sheet, names[0], end_x, baseline, named, look.act, cut=shortened)
        if content.note:
            draw_lines(sheet, notes, left, note_top + sheet.px(noted.size * CAP_SHARE), noted, look.soft, cut=note_cut)


class PullsPanel(Panel[PullsCard]):
    """Both pulls of a comparison, on scales of the same length."""

    on_card = True

    def words(self, content: PullsCard) -> str:
        """Say the method, both pulls, and how equal they must be."""
        pulls = [f"{pull.label}: {pull.text}" for pull in content.pulls]
        return ". ".join([content.method, *pulls, content.note])

    def draw(self, sheet: Sheet, content: PullsCard) -> None:
        """Paint the pulls below each other."""
        look, pad = sheet.look, sheet.px(_PAD)
        room = sheet.width - 2 * pad
        top, bottom = pad, sheet.height - pad
        style, lines, cut = fitted(content.method, SMALL, sheet.scale, room, 2, 22)
        top = draw_lines(sheet, lines, pad, top + sheet.px(style.size * CAP_SHARE), style, look.soft, cut=cut)
        style, lines, cut = fitted(content.note, SMALL, sheet.scale, room, 2, 22)
        high = block_height(len(lines), style, sheet.scale)
        draw_lines(sheet, lines, pad, bottom - high + sheet.px(style.size * CAP_SHARE), style, look.soft, cut=cut)
        bottom -= high + pad
        each = (bottom - top) / max(len(content.pulls), 1)
        tall = min(each, sheet.px(128))
        figure = replace(PULL, size=min(PULL.size, tall / sheet.scale * 0.42))
        names = [_name(sheet, pull, figure, room) for pull in content.pulls]
        name = min(names, key=lambda style: style.size, default=LABEL)
        for number, pull in enumerate(content.pulls):
            box = QRectF(pad, top + number * each + (each - tall) / 2, room, tall)
            _pull(sheet, pull, box, figure, name)


def _name(sheet: Sheet, pull: Pull, figure: Style, room: float) -> Style:
    """Give the style in which a pull's name fits beside its figure and sign."""
    taken = text_width(pull.text, figure, sheet.scale) + sheet.px(figure.size * 0.8 + 40)
    largest = min(34.0, figure.size * 0.75)  # never larger than the figure it names
    return fitted(pull.label, replace(LABEL, size=largest), sheet.scale, room - taken, 1, 18)[0]


def _pull(sheet: Sheet, pull: Pull, box: QRectF, style: Style, name: Style) -> None:
    bar_high = min(sheet.px(28), box.height() * 0.22)
    bar = QRectF(box.left(), box.bottom() - bar_high * 1.3, box.width(), bar_high)
    baseline = bar.top() - bar_high * 1.3
    colour = sheet.look.ink if pull.tone in ("quiet", "plain") else tone_colour(sheet.look, pull.tone)
    ink = draw_text(sheet, pull.text, box.right(), baseline, style, colour, "right")
    left_of_figure = ink.left() - sheet.px(16)
    if has_sign(pull.tone):
        side = sheet.px(style.size * 0.8)
        left_of_figure -= side
        tone_sign(sheet, QRectF(left_of_figure, baseline - sheet.px(style.size * 0.77), side, side), pull.tone)
    room = left_of_figure - box.left() - sheet.px(16)
    named, names, cut = fitted(pull.label, name, sheet.scale, room, 1, 16)
    draw_lines(sheet, names, box.left(), baseline, named, sheet.look.ink, cut=cut)
    draw_scale(sheet, pull.gauge, bar)


class ListPanel(Panel[ListCard]):
    """A short list, of which the part around what is now is shown."""

    on_card = True

    def words(self, content: ListCard) -> str:
        """Say the list, each item with its state."""
        items = [f"{label}, {state}" for label, state in content.items]
        return ". ".join([content.title, *items])

    def draw(self, sheet: Sheet, content: ListCard) -> None:
        """Paint the items under the title, with what is left out counted."""
        look, pad = sheet.look, sheet.px(_PAD)
        room = sheet.width - 2 * pad
        style, lines, cut = fitted(content.title, LABEL_STRONG, sheet.scale, room, 2, 24)
        y = draw_lines(sheet, lines, pad, pad + sheet.px(style.size * CAP_SHARE), style, look.ink, cut=cut)
        top = y - sheet.px(style.size * 0.5) + sheet.px(8)
        room_down = sheet.height - pad * 0.6 - top
        pitch, close = sheet.px(46), room_down / max(1, len(content.items))
        widest = max((text_width(each, LABEL_STRONG, sheet.scale) for each, _ in content.items), default=0.0)
        if sheet.px(37) <= close < pitch and widest < 0.8 * room:
            pitch = close  # closer together, rather than leave one out
        rows = max(1, int(room_down / pitch + 1e-6))
        for row, (label, state) in enumerate(self._shown(content, rows)):
            middle = top + (row + 0.5) * pitch
            side = sheet.px(28)
            style = replace(SMALL_STRONG if state == "now" else SMALL, size=30)
            ink = look.soft if state is None else {"done": look.in_band, "now": look.ink, "to come": look.soft}[state]
            if state is not None:
                step_sign(sheet, QRectF(pad, middle - side / 2, side, side), state)
            _item(sheet, label, pad + side * 1.5, middle, room - side * 1.5, style, ink)

    def _shown(self, content: ListCard, room: int) -> list[tuple[str, StepState | None]]:
        """Give what there is room for: with what is now, one before it, and the rest counted."""
        items: list[tuple[str, StepState | None]] = list(content.items)
        if len(items) <= room:
            return items
        now = next((place for place, (_, state) in enumerate(items) if state == "now"), None)
        if now is None:
            now = sum(state == "done" for _, state in items)
        fits = max(1, room - 2)
        start = min(max(now - 1, 0), len(items) - fits)
        if start == 0:
            kept = items[: room - 1]
            return [*kept, (f"{len(items) - len(kept)} more", None)]
        kept = items[start : start + fits]
        after = len(items) - start - len(kept)
        if after == 0:
            kept = items[len(items) - (room - 1) :]
            return [(f"{len(items) - len(kept)} before", None), *kept]
        return [(f"{start} before", None), *kept, (f"{after} more", None)]


def _item(sheet: Sheet, text: str, x: float, middle: float, room: float, style: Style, colour: str) -> None:
    style, lines, cut = fitted(text, style, sheet.scale, room, 1, 22)
    if cut:
        style, lines, cut = fitted(text, replace(style, size=20), sheet.scale, room, 2, 18)
    top = middle - block_height(len(lines), style, sheet.scale) / 2
    draw_lines(sheet, lines, x, top + sheet.px(style.size * CAP_SHARE), style, colour, cut=cut)
