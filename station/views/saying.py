"""What is said: the top line, the sentence, the number with the words beside it, the quiet line, the news.

The sentence and the number are always set in ink; their tone is told by a sign beside them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from PyQt6.QtCore import QLineF, QRectF

from station.bench.cues import Cue
from station.bench.snapshot import CountNumber, Header, LengthNumber, Number, Snapshot, TensionNumber, Toward, Words
from station.units import StackedLength
from station.views.lettering import (
    LINE_PITCH,
    Sheet,
    block_height,
    draw_lines,
    draw_text,
    fitted,
    text_width,
)
from station.views.palette import tone_colour
from station.views.panel import Panel
from station.views.signs import arrow, cue_sign, has_sign, page, pen_of, tone_sign
from station.views.type_sizes import (
    CAP_SHARE,
    FIGURES,
    LABEL,
    LABEL_STRONG,
    NUMBER,
    SECOND,
    SECOND_ACT,
    SECOND_STRONG,
    SENTENCE,
    SENTENCE_LEAST,
    SMALL,
    SMALL_STRONG,
    TITLE,
    UNDER,
    UNIT,
    Style,
)

_MARGIN = 40.0
_SPACED_DOT = "\u00a0\u00a0\u00a0·\u00a0\u00a0\u00a0"  # no-break spaces


@dataclass(frozen=True, slots=True)
class TopLine:
    """The top line, and what the window itself has to say there."""

    header: Header
    sound: str


class HeaderPanel(Panel[TopLine]):
    """Which line, side, number and piece; which canopy and step; the scale, the foot and the sound."""

    def words(self, content: TopLine) -> str:
        """Say the top line."""
        header = content.header
        parts = [header.line, header.piece, header.canopy, header.step, header.scale.text, header.foot.text]
        return ". ".join(part for part in [*parts, content.sound] if part)

    def draw(self, sheet: Sheet, content: TopLine) -> None:
        """Paint the line at the left, its canopy in the middle, the instruments at the right, a rule below."""
        header, look = content.header, sheet.look
        right = [header.scale, header.foot, *([Words(content.sound, "quiet")] if content.sound else [])]
        right = [words for words in right if words.text]
        size = 1.0
        while size > 0.62 and self._width(sheet, content, right, size) > sheet.width:
            size -= 0.04
        baseline = sheet.height * 0.5 + sheet.px(TITLE.size * CAP_SHARE / 2)
        title, label = replace(TITLE, size=TITLE.size * size), replace(LABEL, size=LABEL.size * size)
        x = sheet.px(_MARGIN)
        for text in (header.line, header.piece):
            if text:
                draw_text(sheet, text, x, baseline, title, look.ink)
                x += text_width(text, title, sheet.scale) + sheet.px(56 * size)
        left_ends = x
        x = sheet.width - sheet.px(_MARGIN)
        for words in reversed(right):
            x -= self._words_width(sheet, words, label)
            self._draw_words(sheet, words, x, baseline, label)
            x -= sheet.px(44 * size)
        middle = _SPACED_DOT.join(part for part in (header.canopy, header.step) if part)
        room = x - left_ends
        style, lines, cut = fitted(middle, label, sheet.scale, room, 1, 17)
        if lines:
            width = text_width(lines[0], style, sheet.scale)
            start = min(max((sheet.width - width) / 2, left_ends), x - width)
            draw_text(sheet, lines[0], start, baseline, style, look.soft, cut=cut)
        sheet.fill(QRectF(0, sheet.height - sheet.px(2), sheet.width, sheet.px(2)), look.rule)

    def _width(self, sheet: Sheet, content: TopLine, right: list[Words], size: float) -> float:
        header = content.header
        title, label = replace(TITLE, size=TITLE.size * size), replace(LABEL, size=LABEL.size * size)
        middle = f"{header.canopy}{_SPACED_DOT}{header.step}"
        return (
            sum(text_width(text, title, sheet.scale) + sheet.px(56 * size) for text in (header.line, header.piece))
            + text_width(middle, label, sheet.scale)
            + sum(self._words_width(sheet, words, label) + sheet.px(44 * size) for words in right)
            + sheet.px(2 * _MARGIN)
        )

    def _words_width(self, sheet: Sheet, words: Words, style: Style) -> float:
        sign = sheet.px(style.size * 1.25) if has_sign(words.tone) else 0.0
        return sign + text_width(words.text, style, sheet.scale)

    def _draw_words(self, sheet: Sheet, words: Words, x: float, baseline: float, style: Style) -> None:
        if has_sign(words.tone):
            side = sheet.px(style.size)
            tone_sign(sheet, QRectF(x, baseline - side * 0.87, side, side), words.tone)
            x += sheet.px(style.size * 1.25)
        draw_text(sheet, words.text, x, baseline, style, tone_colour(sheet.look, words.tone))


@dataclass(frozen=True, slots=True)
class Said:
    """The sentence, and the tone that has just sounded."""

    sentence: Words
    cue: Cue | None


_CUE_ROOM = 110.0
_BELOW_BASELINE = 0.24  # of the type size: how deep a letter reaches
_ALONE = 1.2  # how much larger words are set that stand without a number, or beside one with no card
_ROOMY = 850.0  # beside a number: there is no card
_SENTENCE_OF_TWO = 60.0  # the type size of a sentence on two lines


def sentence_room(sentence: Words, scale: float, width: float) -> float:
    """Give how many pixels wide the sentence may be in a panel of `width`."""
    sign = 84.0 if has_sign(sentence.tone) else 0.0
    return width - (_CUE_ROOM + sign) * scale


def is_long(sentence: Words, scale: float, width: float) -> bool:
    """Tell whether the sentence asks for two lines in a panel `width` pixels wide."""
    room = sentence_room(sentence, scale, width)
    return fitted(sentence.text, SENTENCE, scale, room, 1, SENTENCE_LEAST)[2]


class SentencePanel(Panel[Said]):
    """The one thing to do now."""

    def words(self, content: Said) -> str:
        """Say the sentence, and the tone where one has just sounded."""
        return content.sentence.text if content.cue is None else f"{content.sentence.text} ({content.cue})"

    def draw(self, sheet: Sheet, content: Said) -> None:
        """Paint the sentence with its sign at its left and the tone's sign at the far right."""
        sentence = content.sentence
        room = sentence_room(sentence, sheet.scale, sheet.width)
        most = 2 if is_long(sentence, sheet.scale, sheet.width) else 1
        full = SENTENCE if most == 1 else replace(SENTENCE, size=_SENTENCE_OF_TWO)
        style, lines, cut = fitted(sentence.text, full, sheet.scale, room, most, SENTENCE_LEAST)
        if cut:
            style, lines, cut = fitted(sentence.text, replace(SENTENCE, size=56), sheet.scale, room, most, 24)
        high = block_height(len(lines), style, sheet.scale)
        top = (sheet.height - high) / 2 + sheet.px(4 if len(lines) == 1 else -style.size * 0.04)
        x = 0.0
        if has_sign(sentence.tone):
            side = sheet.px(62)
            first_middle = top + sheet.px(style.size * CAP_SHARE / 2)
            tone_sign(sheet, QRectF(0, first_middle - side / 2, side, side), sentence.tone)
            x = sheet.px(84)
        draw_lines(sheet, lines, x, top + sheet.px(style.size * CAP_SHARE), style, sheet.look.ink, cut=cut)
        if content.cue is not None:
            side = sheet.px(76)
            cue_sign(
                sheet, QRectF(sheet.width - side - sheet.px(8), (sheet.height - side) / 2, side, side), content.cue
            )


@dataclass(frozen=True, slots=True)
class Figure:
    """The number and the words beside it. `widest` is the widest number this step can show, so that nothing jumps.

    Without a number the words stand alone, and larger.
    """

    number: Number | None
    second: tuple[Words, ...]
    arrow: Toward | None
    widest: str
    mirrored: bool


def is_tall(number: Number | None) -> bool:
    """Tell whether a number may be a fraction, the tallest of numbers: counting up to one then moves nothing."""
    return isinstance(number, LengthNumber) and number.stacked is not None


def second_from_afar(snapshot: Snapshot) -> tuple[Words, ...]:
    """Give the words beside the number that are read from afar: beside a pull why to stop, beside a length the act."""
    match snapshot.number:
        case None:
            return snapshot.second
        case LengthNumber():
            acts = tuple(words for words in snapshot.second if words.tone == "act")
            leading = snapshot.second[:1]  # "past the opposite number's entry," leads to "toward the canopy"
            pull = tuple(words for words in snapshot.second if words.tone in ("good", "warn", "stop"))
            if not acts:
                return snapshot.second  # which says what a length to cut is longer than
            return (leading if len(acts) == 1 and leading[0].tone == "plain" else ()) + acts + pull
        case _:
            return tuple(words for words in snapshot.second if words.tone == "stop")


class NumberPanel(Panel[Figure]):
    """The number that matters now, as large as its room allows, and what to do with it."""

    def words(self, content: Figure) -> str:
        """Say the number and the words."""
        toward = f"arrow toward the {content.arrow}" if content.arrow else ""
        parts = [number_said(content.number), *(words.text for words in content.second), toward]
        return ". ".join(part for part in parts if part)

    def draw(self, sheet: Sheet, content: Figure) -> None:
        """Paint the number at the left and the words right of it."""
        least_beside = sheet.width * 0.4 if content.second or content.arrow else 0.0
        match content.number:
            case None:
                end = None
            case TensionNumber():
                end = self._tension(sheet, content.number, content.widest, sheet.width - least_beside)
            case LengthNumber(stacked=StackedLength() as stacked):
                end = self._length(sheet, stacked)
            case LengthNumber():
                millimetres = (content.number.millimetres or "").removesuffix("mm").strip()
                end = self._plain(sheet, millimetres, "mm", sheet.width - least_beside)
            case CountNumber():
                end = self._plain(sheet, content.number.text, content.number.unit, sheet.width - least_beside)
        if content.second or content.arrow:
            left = 0.0 if end is None else end + sheet.px(64)
            self._beside(sheet, content, left, sheet.width - left)

    def _tension(self, sheet: Sheet, number: TensionNumber, widest: str, room: float) -> float:
        size = self._size(sheet)
        while True:
            style, unit = replace(NUMBER, size=size), replace(UNIT, size=UNIT.size * size / NUMBER.size)
            field = max(text_width(text, style, sheet.scale) for text in (number.text, widest))
            gap = sheet.px(size * 0.12)
            end = field + gap + text_width(number.unit, unit, sheet.scale)
            if end <= room or size < 80:
                break
            size -= 4
        cap = sheet.px(size * CAP_SHARE)
        baseline = (sheet.height + cap) / 2
        draw_text(sheet, number.text, field, baseline, style, sheet.look.ink, "right")
        draw_text(sheet, number.unit, field + gap, baseline, unit, sheet.look.soft)
        if has_sign(number.tone):
            side = sheet.px(size * 0.32)
            tone_sign(sheet, QRectF(field + gap, baseline - cap, side, side), number.tone)
        return end

    def _plain(self, sheet: Sheet, text: str, unit: str, room: float) -> float:
        """Write a count or whole millimetres: figures large, the words between them small."""
        size = self._size(sheet)
        parts = [*text.split(), *unit.split()]

        def style_of(part: str) -> Style:
            figures = any(letter.isdigit() for letter in part)
            return replace(NUMBER, size=size) if figures else replace(UNIT, size=size * 0.36)

        def end_of() -> float:
            gap = sheet.px(size * 0.13)
            return sum(text_width(part, style_of(part), sheet.scale) + gap for part in parts) - gap

        while end_of() > room and size > 80:
            size -= 4
        baseline = (sheet.height + sheet.px(size * CAP_SHARE)) / 2
        x = 0.0
        for part in parts:
            style = style_of(part)
            colour = sheet.look.ink if style.bold else sheet.look.soft
            draw_text(sheet, part, x, baseline, style, colour)
            x += text_width(part, style, sheet.scale) + sheet.px(size * 0.13)
        return x - sheet.px(size * 0.13)

    def _length(self, sheet: Sheet, stacked: StackedLength) -> float:
        grow = min(sheet.height / sheet.px(338), 1.15)
        figures = replace(FIGURES, size=FIGURES.size * grow)
        middle, cap = sheet.height / 2, sheet.px(figures.size * CAP_SHARE)
        bar, gap = sheet.px(15 * grow), sheet.px(16 * grow)
        x, ink = 0.0, sheet.look.ink
        if stacked.under:
            word = replace(UNIT, size=60)
            draw_text(sheet, "under", x, middle + sheet.px(60 * CAP_SHARE / 2), word, sheet.look.soft)
            x += text_width("under", word, sheet.scale) + sheet.px(28)
        before = f"{'−' if stacked.negative else ''}{stacked.whole or ('' if stacked.over else 0)}"
        if before:
            large = replace(NUMBER, size=NUMBER.size * grow * (1 if stacked.over else 1.25))
            baseline = middle + sheet.px(large.size * CAP_SHARE / 2)
            draw_text(sheet, before, x, baseline, large, ink)
            x += text_width(before, large, sheet.scale) + sheet.px(20)
        if not stacked.over:
            return self._inches(sheet, x, grow)
        width = max(text_width(str(part), figures, sheet.scale) for part in (stacked.over, stacked.denominator))
        width += sheet.px(14)
        centre = x + width / 2
        draw_text(sheet, str(stacked.over), centre, middle - bar / 2 - gap, figures, ink, "centre")
        draw_text(sheet, str(stacked.denominator), centre, middle + bar / 2 + gap + cap, figures, ink, "centre")
        sheet.painter.setPen(pen_of(ink, bar))
        sheet.painter.drawLine(QLineF(x + bar / 2, middle, x + width - bar / 2, middle))
        return self._inches(sheet, x + width + sheet.px(28), grow)

    def _inches(self, sheet: Sheet, x: float, grow: float) -> float:
        unit = replace(UNIT, size=UNIT.size * grow)
        draw_text(sheet, "in", x, sheet.height / 2 + sheet.px(unit.size * CAP_SHARE / 2), unit, sheet.look.soft)
        return x + text_width("in", unit, sheet.scale)

    def _size(self, sheet: Sheet) -> float:
        """Give the type size whose figures fill the height, never far above what the sketch asks for."""
        return max(60.0, min(sheet.height / sheet.scale / 206 * NUMBER.size, 290.0))

    def _beside(self, sheet: Sheet, content: Figure, left: float, room: float) -> None:
        """Set the words right of the number, in the middle of its height, the arrow below them."""
        grows = room > sheet.px(_ROOMY) and not isinstance(content.number, TensionNumber)  # a live pull moves no words
        shrink = _ALONE if content.number is None or grows else 1.0
        rows = sum(len(block[2]) for block in self._blocks(sheet, content, room, 1.0)[0])
        while True:
            blocks, high = self._blocks(sheet, content, room, shrink)
            breaks = content.number is not None and shrink > 1.0 and sum(len(block[2]) for block in blocks) > rows
            if (high <= sheet.height - sheet.px(8) and not breaks) or shrink < 0.6:  # letters stand over capitals
                break
            shrink -= 0.04
        y = (sheet.height - high) / 2
        if content.arrow is None and blocks:
            y += sheet.px(blocks[-1][1].size * _BELOW_BASELINE)
        for words, style, lines, cut, signed in blocks:
            x = left
            first = y + sheet.px(style.size * CAP_SHARE)
            if signed:
                side = sheet.px(style.size * 1.05)
                middle = y + sheet.px(style.size * CAP_SHARE / 2)
                tone_sign(sheet, QRectF(left, middle - side / 2, side, side), words.tone)
                x += sheet.px(style.size * 1.35)
            as_sentence = style.size >= SENTENCE_LEAST and words.tone in ("good", "warn", "stop")  # as large: in ink
            colour = sheet.look.ink if as_sentence else tone_colour(sheet.look, words.tone)
            draw_lines(sheet, lines, x, first, style, colour, cut=cut)
            y += block_height(len(lines), style, sheet.scale) + sheet.px(style.size * 0.62)
        if content.arrow is not None:
            thick = sheet.px(14)
            y += sheet.px(24)
            far = left + min(room, sheet.px(640))
            rightward = (content.arrow == "canopy") != content.mirrored
            tail, head = (left, far) if rightward else (far, left)
            arrow(sheet, tail, head, y, sheet.look.act, thick)

    def _blocks(
        self, sheet: Sheet, content: Figure, room: float, shrink: float
    ) -> tuple[list[tuple[Words, Style, tuple[str, ...], bool, bool]], float]:
        blocks: list[tuple[Words, Style, tuple[str, ...], bool, bool]] = []
        high = 0.0
        for words in content.second:
            style = _second_style(words)
            style = replace(style, size=style.size * shrink)
            signed = has_sign(words.tone) and not (words.tone == "act" and content.arrow is not None)
            wide = room - (sheet.px(style.size * 1.35) if signed else 0.0)
            fewest, _, broken = fitted(words.text, style, sheet.scale, wide, 2, max(24.0, style.size * 0.7))
            style, lines, cut = fitted(words.text, style if broken else fewest, sheet.scale, wide, 4, 24)
            blocks.append((words, style, lines, cut, signed))
            high += block_height(len(lines), style, sheet.scale) + sheet.px(style.size * 0.62)
        if content.arrow is not None:
            high += sheet.px(24 + 31)
        elif blocks:
            high -= sheet.px(blocks[-1][1].size * (0.62 - 2 * _BELOW_BASELINE))  # as much above as below
        return blocks, high


def _second_style(words: Words) -> Style:
    match words.tone:
        case "quiet":
            return SECOND
        case "plain":
            return replace(SECOND, size=46)
        case "act":
            return SECOND_ACT
        case "good" | "warn" | "stop":
            return SECOND_STRONG


def number_said(number: Number | None) -> str:
    """Say a number as words."""
    match number:
        case None:
            return ""
        case TensionNumber() | CountNumber():
            return f"{number.text} {number.unit}".strip()
        case LengthNumber(stacked=StackedLength() as stacked):
            fraction = f"{stacked.over}/{stacked.denominator}" if stacked.over else ""
            whole = str(stacked.whole) if stacked.whole or not fraction else ""
            parts = ["under" if stacked.under else "", "minus" if stacked.negative else "", whole, fraction, "in"]
            return " ".join(part for part in parts if part)
        case LengthNumber():
            return f"{(number.millimetres or '').removesuffix('mm').strip()} mm"


class UnderPanel(Panel[str]):
    """The quiet line under the number."""

    def words(self, content: str) -> str:
        """Say it."""
        return content

    def draw(self, sheet: Sheet, content: str) -> None:
        """Paint it on one line, or two where it is long."""
        style, lines, cut = fitted(content, UNDER, sheet.scale, sheet.width, 1, 28)
        if cut:
            style, lines, cut = fitted(content, replace(SMALL, size=22), sheet.scale, sheet.width, 2, 18)
        deep = sheet.px(style.size * _BELOW_BASELINE) * (len(lines) > 1)
        top = (sheet.height - block_height(len(lines), style, sheet.scale) - deep) / 2
        draw_lines(sheet, lines, 0, top + sheet.px(style.size * CAP_SHARE), style, sheet.look.soft, cut=cut)


@dataclass(frozen=True, slots=True)
class News:
    """What just happened, what was last recorded, and what the drawing below is when nothing happened."""

    notice: Words | None
    recorded: str
    title: str


class NewsPanel(Panel[News]):
    """What just happened at the left, what was last recorded at the right."""

    def words(self, content: News) -> str:
        """Say both."""
        notice = content.notice.text if content.notice else content.title
        return ". ".join(part for part in (notice, content.recorded) if part)

    def draw(self, sheet: Sheet, content: News) -> None:
        """Paint the notice with its sign, or the drawing's title; what was recorded beside a written page."""
        look, margin = sheet.look, sheet.px(_MARGIN)
        room = sheet.width - 2 * margin
        taken = 0.0
        if content.recorded:
            most = room * (0.36 if content.notice else 0.6)
            side = sheet.px(26)
            style, lines, cut = fitted(content.recorded, SMALL, sheet.scale, most - side * 1.4, 1, 26)
            if cut:
                style, lines, cut = fitted(content.recorded, SMALL, sheet.scale, most - side * 1.4, 2, 22)
            width = max(text_width(line, style, sheet.scale) for line in lines)
            left = sheet.width - margin - width
            self._middle(sheet, lines, left, style, look.soft, cut)
            page(sheet, QRectF(left - side * 1.4, (sheet.height - side) / 2, side, side), look.soft)
            taken = width + side * 1.4 + sheet.px(48)
        if content.notice is None:
            self._middle(sheet, (content.title,) if content.title else (), margin, SMALL, look.soft, False)
            return
        x = margin
        if has_sign(content.notice.tone):
            side = sheet.px(40)
            tone_sign(sheet, QRectF(x, (sheet.height - side) / 2, side, side), content.notice.tone)
            x += side * 1.35
        wide = sheet.width - margin - taken - x
        style, lines, cut = fitted(content.notice.text, replace(LABEL_STRONG, size=32), sheet.scale, wide, 1, 28)
        if cut:
            style, lines, cut = fitted(content.notice.text, SMALL_STRONG, sheet.scale, wide, 2, 22)
        self._middle(sheet, lines, x, style, tone_colour(look, content.notice.tone), cut)

    def _middle(self, sheet: Sheet, lines: tuple[str, ...], x: float, style: Style, colour: str, cut: bool) -> None:
        pitch = min(LINE_PITCH, 1.15)
        high = sheet.px(style.size * (CAP_SHARE + pitch * (len(lines) - 1)))
        deep = style.size * _BELOW_BASELINE * (len(lines) > 1)
        baseline = (sheet.height - high) / 2 + sheet.px(style.size * CAP_SHARE - deep / 2)
        draw_lines(sheet, lines, x, baseline, style, colour, cut=cut)
