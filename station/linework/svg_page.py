"""A page of SVG drawn from the top down: text, strokes, rules and tables in one look.

Nothing on it needs anything beside it: no font file, no style sheet, no script. Text is escaped, and its widths are
reckoned for the widest of common fonts, so that what fits here fits there.

>>> page = Page("light")
>>> page.text(10, 20, "A & B", 15, page.colours.ink)
>>> "A &amp; B" in page.written("a page", "nothing but a name")
True
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape

from station.linework.placing import Anchor, text_width

WIDTH = 1200.0
EDGE = 40.0
CELL_SIZE, SMALL_SIZE = 15.0, 13.0
_BETWEEN_COLUMNS = 14.0
_NARROWEST_NAMES = 120.0
_FONTS = "B612, 'DejaVu Sans', Verdana, sans-serif"

Look = Literal["dark", "light"]


@dataclass(frozen=True)
class Colours:
    """The colours of one look; `lines` go by a line's depth: main line, cascade, cascade of a cascade."""

    ground: str
    card: str
    rule: str
    ink: str
    soft: str
    act: str
    lines: tuple[str, str, str]


COLOURS: dict[Look, Colours] = {
    "dark": Colours(
        "#12181C", "#1A2228", "#33404A", "#F5F2E9", "#A9B6BF", "#6CC5F5", ("#E9DFC7", "#BFD7E8", "#DDC3EA")
    ),
    "light": Colours(
        "#FBF9F4", "#F1EDE3", "#C9C2B2", "#16202A", "#4E5B66", "#004F86", ("#7A6A45", "#3E6A8A", "#7A4E86")
    ),
}


class Page:
    """A sheet being drawn from the top down."""

    def __init__(self, look: Look) -> None:
        self.colours = COLOURS[look]
        self.parts: list[str] = []
        self.y = 20.0

    def written(self, name: str, about: str) -> str:
        """Give the whole picture, as tall as what was drawn."""
        height = self.y + 20
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:g}" height="{height:.1f}" '
            f'viewBox="0 0 {WIDTH:g} {height:.1f}" role="img" font-family="{_FONTS}">'
            f"<title>{escape(name)}</title>"
            f"<desc>{escape(about)}</desc>"
            f'<rect width="{WIDTH:g}" height="{height:.1f}" fill="{self.colours.ground}"/>'
        )
        return "\n".join([head, *self.parts, "</svg>", ""])

    def heading(self, name: str, said: str) -> None:
        """Write the page's name, a sentence below it, and a rule; a long name is written smaller."""
        size = min(28.0, 28.0 * (WIDTH - 2 * EDGE) / text_width(name, 28.0, bold=True))
        self.text(EDGE, self.y + 30, name, round(size, 1), self.colours.ink, bold=True)
        self.y += 50
        for row in wrapped(said, 16.0, WIDTH - 2 * EDGE):
            self.text(EDGE, self.y + 6, row, 16, self.colours.soft)
            self.y += 22
        self.rule()
        self.y += 8

    def text(
        self, x: float, y: float, text: str, size: float, colour: str, anchor: Anchor = "start", bold: bool = False
    ) -> None:
        """Write one row of text with its baseline at `y`."""
        weight = ' font-weight="bold"' if bold else ""
        at = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" fill="{colour}"{weight}{at}>{escape(text)}</text>'
        )

    def stroke(self, path: str, colour: str, width: float, dashes: str = "", cap: str = "round") -> None:
        """Draw along a path (SVG path data)."""
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        self.parts.append(
            f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}" stroke-linecap="{cap}"{dashed}/>'
        )

    def rounded(self, x: float, y: float, width: float, height: float, radius: float, fill: str, edge: str) -> None:
        """Draw a rounded box."""
        self.parts.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" rx="{radius:.2f}" '
            f'fill="{fill}" stroke="{edge}" stroke-width="3"/>'
        )

    def plate(self, x: float, y: float, width: float, height: float) -> None:
        """Give words a ground of their own over what was drawn before."""
        self.parts.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{self.colours.ground}"/>'
        )

    def rule(self) -> None:
        """Draw a thin line across the page, at its present height."""
        self.stroke(f"M{EDGE} {self.y:.1f}H{WIDTH - EDGE}", self.colours.rule, 1.5)

    def table(self, title: str, heads: Sequence[str], rows: Sequence[Sequence[Sequence[str]]], names: int) -> None:
        """Draw a table; the column of `names` is the one that gives way, its cells wrapped."""
        self.y += 10
        self.text(EDGE, self.y + 18, title, 20, self.colours.ink, bold=True)
        self.y += 34
        columns = _column_widths(heads, rows, WIDTH - 2 * EDGE, names)
        rows = [
            [
                wrapped(cell[0], CELL_SIZE, columns[names], bold=True) if column == names else cell
                for column, cell in enumerate(row)
            ]
            for row in rows
        ]
        lefts = [EDGE]
        for width in columns[:-1]:
            lefts.append(lefts[-1] + width + _BETWEEN_COLUMNS)
        for left, head in zip(lefts, heads, strict=True):
            if head:
                self.text(left, self.y + 8, head, SMALL_SIZE, self.colours.soft)
        self.y += 16
        for row in rows:
            self.rule()
            tall = max(len(cell) for cell in row)
            for column, (left, width, cell) in enumerate(zip(lefts, columns, row, strict=True)):
                for line, text in enumerate(cell):
                    if not text:
                        continue
                    first = line == 0 or column == names
                    self.text(
                        left,
                        self.y + 20 + 19 * line,
                        _fitted(text, CELL_SIZE if first else SMALL_SIZE, width, first and column <= 1),
                        CELL_SIZE if first else SMALL_SIZE,
                        self.colours.ink if first else self.colours.soft,
                        bold=first and column <= 1,
                    )
            self.y += 11 + 19 * tall
        self.rule()
        self.y += 16


def _column_widths(
    heads: Sequence[str], rows: Sequence[Sequence[Sequence[str]]], width: float, names: int
) -> list[float]:
    """Give each column what its texts need; where that is too much the names give way, and what is over is shared."""
    needed = []
    for column, head in enumerate(heads):
        widths = [text_width(head, SMALL_SIZE)]
        for row in rows:
            cell = row[column]
            widths.append(text_width(cell[0], CELL_SIZE, bold=column <= 1))
            widths.extend(text_width(text, SMALL_SIZE) for text in cell[1:])
        needed.append(max(widths))
    over = width - sum(needed) - _BETWEEN_COLUMNS * (len(heads) - 1)
    if over < 0:
        needed[names] = max(needed[names] + over, _NARROWEST_NAMES)
        return needed
    return [each + over / len(heads) for each in needed]


def _fitted(text: str, size: float, width: float, bold: bool) -> str:
    """Cut a text to a width, the cut shown."""
    if text_width(text, size, bold) <= width + 1e-6:
        return text
    longest = len(text)
    while longest > 1 and text_width(text[:longest].rstrip() + "…", size, bold) > width:
        longest -= 1
    return text[:longest].rstrip() + "…"


def wrapped(sentence: str, size: float, width: float, bold: bool = False) -> list[str]:
    """Break a sentence into rows of at most `width`; a word longer than that stands alone."""
    rows: list[str] = []
    row = ""
    for word in sentence.split():
        longer = f"{row} {word}".strip()
        if row and text_width(longer, size, bold) > width + 1e-6:
            rows.append(row)
            row = word
        else:
            row = longer
    return [*rows, row]
