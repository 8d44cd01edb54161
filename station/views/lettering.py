"""All the words a panel paints go through here, so that where they stand is known and can be asserted.

A `Sheet` is what a panel draws on: a painter, the look, the scale, and the list of what was written. Text is never
clipped: it is broken over lines, set smaller down to a floor, and only then shortened with an ellipsis, and the piece
of paper remembers that it was (`Written.cut`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib.resources import files
from typing import Literal

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QFont, QFontDatabase, QFontMetricsF, QPainter

from station.units import NO_BREAK, kept_together
from station.views.palette import Look
from station.views.type_sizes import Style

Align = Literal["left", "centre", "right"]

FAMILY = "B612"
LINE_PITCH = 1.2  # from one baseline to the next, over the type size
_SHRINK_STEP = 2.0


@cache
def load_fonts() -> None:
    """Load the fonts that lie beside this module, so that pictures look the same on every machine."""
    for name in ("B612-Regular.ttf", "B612-Bold.ttf"):
        data = (files("station.views") / "fonts" / name).read_bytes()
        if QFontDatabase.addApplicationFontFromData(data) < 0:
            raise RuntimeError(f"the font {name} beside the program could not be loaded; install the program again")


@lru_cache(maxsize=256)
def font_of(style: Style, scale: float) -> QFont:
    """Give the font of a style at a scale."""
    font = QFont(FAMILY)
    font.setPixelSize(max(1, round(style.size * scale)))
    font.setBold(style.bold)
    font.setStyleStrategy(QFont.StyleStrategy.PreferAntialias)
    return font


@lru_cache(maxsize=256)
def _metrics(style: Style, scale: float) -> QFontMetricsF:
    return QFontMetricsF(font_of(style, scale))


@lru_cache(maxsize=1024)
def text_width(text: str, style: Style, scale: float) -> float:
    """Give how far the pen moves in writing `text`, in pixels."""
    return _metrics(style, scale).horizontalAdvance(text)


@lru_cache(maxsize=1024)
def _ink(text: str, style: Style, scale: float) -> tuple[float, float, float, float]:
    rect = _metrics(style, scale).tightBoundingRect(text)
    return rect.x(), rect.y(), rect.width(), rect.height()


@lru_cache(maxsize=512)
def wrapped(text: str, style: Style, scale: float, width: float) -> tuple[str, ...]:
    """Break `text` over as few lines as `width` pixels allow, as even as they can be; a long word stands alone.

    What belongs together is kept so (`kept_together`), and no line breaks at a no-break space.
    """
    kept = kept_together(text)

    def broken(limit: float) -> list[str]:
        lines: list[str] = []
        for word in filter(None, kept.split(" ")):
            if lines and text_width(f"{lines[-1]} {word}", style, scale) <= limit:
                lines[-1] = f"{lines[-1]} {word}"
            else:
                lines.append(word)
        return lines

    fewest = broken(width)
    if len(fewest) < 2:
        return tuple(fewest)
    narrow, wide = width / len(fewest), width
    while wide - narrow > 4:
        middle = (narrow + wide) / 2
        if len(broken(middle)) > len(fewest):
            narrow = middle
        else:
            wide = middle
    return tuple(broken(wide))


@lru_cache(maxsize=512)
def fitted(
    text: str, style: Style, scale: float, width: float, most_lines: int = 1, floor: float = 26.0
) -> tuple[Style, tuple[str, ...], bool]:
    """Give the largest style not below `floor` in which `text` fits, its lines, and whether it had to be cut."""
    size = style.size
    while True:
        now = replace(style, size=size)
        lines = wrapped(text, now, scale, width)
        if len(lines) <= most_lines and all(text_width(line, now, scale) <= width for line in lines):
            return now, lines, False
        if size <= floor:
            kept = [*lines[: most_lines - 1], " ".join(lines[most_lines - 1 :])]
            metrics = _metrics(now, scale)
            return now, tuple(metrics.elidedText(line, Qt.TextElideMode.ElideRight, width) for line in kept), True
        size = max(floor, size - _SHRINK_STEP)


@dataclass(frozen=True, slots=True)
class Written:
    """One run of text as it was painted: where its ink lies in the panel, in which colours, and if it was cut."""

    text: str
    ink: QRectF
    style: Style
    colour: str
    ground: str
    cut: bool


class Sheet:
    """What a panel draws on. Sizes are given as at 1920 x 1080 and turned into pixels by `px`."""

    def __init__(self, painter: QPainter, look: Look, scale: float, ground: str, width: float, height: float) -> None:
        self.painter = painter
        self.look = look
        self.scale = scale
        self.ground = ground
        self.width = width
        self.height = height
        self.written: list[Written] = []

    def px(self, reference: float) -> float:
        """Give pixels of this window for pixels at 1920 x 1080."""
        return reference * self.scale

    def fill(self, rect: QRectF, colour: str, radius: float = 0.0) -> None:
        """Fill a rectangle, its corners rounded by `radius` pixels."""
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(QColor(colour))
        self.painter.drawRoundedRect(rect, radius, radius)


def draw_text(
    sheet: Sheet,
    text: str,
    x: float,
    baseline: float,
    style: Style,
    colour: str,
    align: Align = "left",
    cut: bool = False,
) -> QRectF:
    """Write one line with its start, middle or end at `x`, and give where its ink lies."""
    if not text:
        return QRectF(x, baseline, 0, 0)
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
    start = x - shift * text_width(text, style, sheet.scale)
    sheet.painter.setFont(font_of(style, sheet.scale))
    sheet.painter.setPen(QColor(colour))
    sheet.painter.drawText(QPointF(start, baseline), text)
    left, top, width, height = _ink(text, style, sheet.scale)
    ink = QRectF(start + left, baseline + top, width, height)
    sheet.written.append(Written(text.replace(NO_BREAK, " "), ink, style, colour, sheet.ground, cut))
    return ink


def draw_lines(
    sheet: Sheet,
    lines: tuple[str, ...],
    x: float,
    first_baseline: float,
    style: Style,
    colour: str,
    align: Align = "left",
    cut: bool = False,
) -> float:
    """Write lines below each other and give the baseline the next one would have."""
    baseline = first_baseline
    for line in lines:
        draw_text(sheet, line, x, baseline, style, colour, align, cut)
        baseline += sheet.px(style.size * LINE_PITCH)
    return baseline


def block_height(lines: int, style: Style, scale: float) -> float:
    """Give the height of a block of lines from the top of its capitals to its last baseline, in pixels."""
    return (style.size * 0.75 + (lines - 1) * style.size * LINE_PITCH) * scale
