"""How a record looks on paper: type, boxes, tables, and the foot of every page.

Whatever a person typed is printed as it was typed: markup means nothing in it, letters the bench's font lacks come
from another, and a character that no font here has is printed as its number, never left out.

>>> printable("A < B, 中")
'A &lt; B, [U+4E2D]'
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from functools import cache
from html import escape
from importlib.resources import files
from typing import Any

from reportlab.lib import pagesizes
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, SimpleDocTemplate, Table, TableStyle

from station.settings.preferences import Paper
from station.units import NO_BREAK, kept_together

FONT, BOLD = "B612", "B612-Bold"
_SPARE_FONT = "Vera"  # comes with the PDF library; for letters that B612 lacks, in names above all

INK = HexColor("#16202A")
SOFT = HexColor("#4E5B66")
RULE = HexColor("#C9C2B2")
CARD = HexColor("#F1EDE3")
BAND = HexColor("#00664B")
LINE = HexColor("#004F86")
CEILING = HexColor("#7A1C00")

PAPERS: dict[Paper, tuple[float, float]] = {"letter": pagesizes.letter, "a4": pagesizes.A4}
MARGIN = 16 * mm
TOP = 13 * mm
FOOT = 20 * mm
_FRAME = 6.0  # by which the PDF library's own frame keeps text away from a page's margins

TEXT = ParagraphStyle("text", fontName=FONT, fontSize=8, leading=10.4, textColor=INK)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=7.2, leading=9.2)
LABEL = ParagraphStyle("label", parent=SMALL, textColor=SOFT, leading=10.4)
STRONG = ParagraphStyle("strong", parent=TEXT, fontName=BOLD)
HEADING = ParagraphStyle("heading", parent=STRONG, fontSize=9, leading=12)
SECTION = ParagraphStyle("section", parent=STRONG, fontSize=11.5, leading=15, spaceBefore=11, spaceAfter=4)
TITLE = ParagraphStyle("title", parent=STRONG, fontSize=15, leading=19)
TITLE_RIGHT = ParagraphStyle("title right", parent=TITLE, alignment=2)
STATE = ParagraphStyle("state", parent=STRONG, fontSize=10.5, leading=14)
POINT = ParagraphStyle("point", parent=TEXT, leftIndent=12, bulletFontName=FONT, bulletIndent=0, spaceAfter=1)
CODE = ParagraphStyle("code", parent=TEXT, fontSize=7, leading=9)

NO_PADDING = [(f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")]
_FONTED = ("FONTNAME", (0, 0), (-1, -1), FONT)
_LINED = [
    ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 6),
    ("TOPPADDING", (0, 0), (-1, -1), 1),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
]
_LONGEST_CELL = 1_200  # characters; one row of a table must fit on a page


@cache
def load_fonts() -> None:
    """Make the bundled fonts known to the PDF library."""
    bundled = files("station") / "views" / "fonts"
    for name, regular in ((FONT, "B612-Regular.ttf"), (BOLD, "B612-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, str(bundled / regular)))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)
    pdfmetrics.registerFont(TTFont(_SPARE_FONT, "Vera.ttf"))


@cache
def _letters(font: str) -> frozenset[int]:
    load_fonts()
    return frozenset(pdfmetrics.getFont(font).face.charWidths)


def printable(text: str) -> str:
    """Give text as markup that prints just that text."""
    return "".join(_printable(letter) for letter in text)


def _printable(letter: str) -> str:
    if letter == "\n":
        return "<br/>"
    if letter == NO_BREAK:
        return letter
    code = ord(letter)
    if letter.isprintable() and code in _letters(FONT):
        return escape(letter, quote=False)
    if letter.isprintable() and code in _letters(_SPARE_FONT):
        return f'<font name="{_SPARE_FONT}">{escape(letter, quote=False)}</font>'
    return " " if letter == "\t" else f"[U+{code:04X}]"


def plain(text: str) -> str:
    """Give text to be drawn without markup, in the bench's font alone."""
    return "".join(
        each if each.isprintable() and ord(each) in _letters(FONT) else f"[U+{ord(each):04X}]" for each in text
    )


def para(text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """Give text as a paragraph, whose lines end within no figure."""
    return Paragraph(printable(kept_together(text)), style)


def point(text: str) -> Paragraph:
    """Give text as one point of a list."""
    return Paragraph(printable(kept_together(text)), POINT, bulletText="•")


def code(line: str) -> Paragraph:
    """Give a line of a file, with its spaces."""
    indent = len(line) - len(line.lstrip())
    return Paragraph("&nbsp;" * indent + printable(line.strip()) or "&nbsp;", CODE)


def table(
    rows: Sequence[Sequence[Any]],
    shares: Sequence[float],
    width: float,
    style: Sequence[Any] = _LINED,
    heights: Sequence[float] | None = None,
) -> Table:
    """Give a table whose columns take these shares of the width."""
    made = Table(rows, colWidths=[share * width for share in shares], rowHeights=heights)
    made.setStyle(TableStyle([_FONTED, *style]))
    return made


def facts_table(facts: Sequence[tuple[str, str]], width: float, columns: int = 1, label_share: float = 0.36) -> Table:
    """Give labelled facts in so many columns, read downward."""
    deep = -(-len(facts) // columns)
    rows = []
    for n in range(deep):
        across = [facts[each] if each < len(facts) else ("", "") for each in range(n, deep * columns, deep)]
        rows.append([cell for label, words in across for cell in (para(label, LABEL), para(words))])
    return table(rows, [label_share / columns, (1 - label_share) / columns] * columns, width)


def box(title: str, facts: Sequence[tuple[str, str]], width: float, label_share: float = 0.36) -> Table:
    """Give a titled box of labelled facts; it may run on to the next page between two of them."""
    rows = [[para(title, HEADING), ""], *([para(label, LABEL), para(words)] for label, words in facts)]
    style = [
        *_LINED[1:],
        ("SPAN", (0, 0), (1, 0)),
        ("BACKGROUND", (0, 0), (-1, 0), CARD),
        ("LEFTPADDING", (0, 0), (-1, -1), 5),
        ("LINEBELOW", (0, 1), (-1, -2), 0.25, RULE),
        ("BOX", (0, 0), (-1, -1), 0.5, SOFT),
    ]
    return table(rows, [label_share, 1 - label_share], width, style)


def listed(
    title: str, heads: Sequence[str], shares: Sequence[float], rows: Sequence[Sequence[str]], width: float
) -> list[Flowable]:
    """Give a titled table whose heads stand again on every page it runs on to."""
    if not rows:
        return [CondPageBreak(20 * mm), para(title, SECTION), para("None recorded.")]
    cells = [[para(head, LABEL) for head in heads]]
    cells += [[para(cell, SMALL) for cell in part] for row in rows for part in _parts(row)]
    made = Table(cells, colWidths=[share * width for share in shares], repeatRows=1)
    made.setStyle(TableStyle([_FONTED, *_LINED, ("LINEBELOW", (0, 0), (-1, 0), 0.7, SOFT)]))
    return [CondPageBreak(28 * mm), para(title, SECTION), made]


def _parts(row: Sequence[str]) -> Iterator[list[str]]:
    """Give a row in parts, none of which is too long for a page."""
    left = list(row)
    while True:
        ends = [len(cell) if len(cell) <= _LONGEST_CELL else cell.rfind(" ", 1, _LONGEST_CELL) for cell in left]
        ends = [end if end > 0 else _LONGEST_CELL for end in ends]
        yield [cell[:end] for cell, end in zip(left, ends, strict=True)]
        left = [cell[end:].lstrip() for cell, end in zip(left, ends, strict=True)]
        if not any(left):
            return


def on_pages(file: Any, size: tuple[float, float], title: str, **about: str) -> SimpleDocTemplate:
    """Give pages of this size whose text begins at the margins; the same bytes for the same text."""
    left, top, foot = (margin - _FRAME for margin in (MARGIN, TOP, FOOT))
    margins = {"leftMargin": left, "rightMargin": left, "topMargin": top, "bottomMargin": foot}
    about = {"creator": "fidbench", "lang": "en"} | about
    return SimpleDocTemplate(file, pagesize=size, title=title, invariant=1, **margins, **about)


def dated(at: str) -> str:
    """Give UTC text as a PDF's date; a day long ago where there is none."""
    digits = "".join(re.findall(r"\d", at[:19])) or "20000101000000"
    return f"D:{digits}Z"


def seal_canvas(canvas: Canvas, name: str, date: str) -> None:
    """Take date and ID of a file from the job; left to itself, the library takes them from the environment."""
    canvas.setDateFormatter(lambda *_: date)
    canvas._doc.signature = hashlib.blake2b(name.encode(), digest_size=16)


def sealed_canvas(file: Any, size: tuple[float, float], name: str, date: str) -> Canvas:
    """Give a canvas of this size whose file is the same for the same drawing."""
    canvas = Canvas(file, size, invariant=1, initialFontName=FONT, lang="en")
    canvas.setTitle(name)
    canvas.setCreator("fidbench")
    seal_canvas(canvas, name, date)
    return canvas


class NumberedCanvas(Canvas):  # type: ignore[misc]  # reportlab ships no types for its canvas
    """A canvas that writes the foot of each page when it knows how many there are."""

    def __init__(self, foot: Sequence[str], name: str, date: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs | {"initialFontName": FONT})
        seal_canvas(self, name, date)
        self._foot_lines = foot
        self._foot_name = name
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 -- the PDF library's own face
        """Keep the page until the last is known."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write every page with its foot."""
        for number, page in enumerate(self._kept, 1):
            self.__dict__.update(page)
            self._write_foot(f"{self._foot_name}, page {number} of {len(self._kept)}")
            super().showPage()
        super().save()

    def _write_foot(self, name: str) -> None:
        width = self._pagesize[0]
        self.setStrokeColor(RULE)
        self.setLineWidth(0.5)
        self.line(MARGIN, FOOT - 5, width - MARGIN, FOOT - 5)
        self.setFillColor(SOFT)
        self.setFont(FONT, 6.5)
        for n, line in enumerate(self._foot_lines):
            self.drawString(MARGIN, FOOT - 14 - 9 * n, plain(line))
        self.setFillColor(INK)
        self.setFont(BOLD, 7)
        self.drawRightString(width - MARGIN, FOOT - 14 - 9 * (len(self._foot_lines) - 1), plain(name))
