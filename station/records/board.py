"""A board of sixteenths to print, true to scale: two lines are laid on it side by side and read against each other.

The board has a zero line across it and a scale on both sides of it, inches in sixteenths along one edge and
millimetres along the other; from zero up the new line is long, down it is short. Beside it stand two check lengths,
one each way, to be measured with a rule before the board is used: a printer that fits the page to the paper makes
every reading wrong by the same share. What is drawn is exact to the PDF's own thousandth of a point.

>>> Paper("a4").size_mm
(210.0, 297.0)
>>> [label for _, label, _ in inch_marks(Fraction(1, 4))]
['0', '1/16', '1/8', '3/16', '1/4']
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from fractions import Fraction
from typing import Literal

PaperName = Literal["letter", "a4"]
PAPERS: dict[PaperName, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}  # ANSI A; ISO 216

PT_PER_MM = 72 / 25.4
LONG_IN = 4  # how far the board reads from zero, either way
CHECK_MM = (100.0, 150.0)  # the check lengths, across and along
CHECK_IN = (4, 6)
_LABELS = {1: "1/16", 2: "1/8", 3: "3/16", 4: "1/4", 5: "5/16", 6: "3/8", 7: "7/16", 8: "1/2"} | {
    9: "9/16",
    10: "5/8",
    11: "11/16",
    12: "3/4",
    13: "13/16",
    14: "7/8",
    15: "15/16",
}


class Paper:
    """A sheet of paper by its name. Raises `ValueError` for one that is not known."""

    def __init__(self, name: str) -> None:
        if name not in PAPERS:
            raise ValueError(f"found {name!r}, expected one of {', '.join(PAPERS)}")
        self.name = name
        self.size_mm = PAPERS["a4" if name == "a4" else "letter"]


def inch_marks(up_to_in: Fraction) -> Iterator[tuple[float, str, int]]:
    """Give every sixteenth from zero: its distance in millimetres, its label, and its rank.

    Rank 0 is a whole inch, 1 a half, 2 a quarter, 3 an eighth, 4 a sixteenth.
    """
    for sixteenths in range(int(up_to_in * 16) + 1):
        whole, part = divmod(sixteenths, 16)
        label = str(whole) if not part else f"{whole} {_LABELS[part]}" if whole else _LABELS[part]
        rank = next(rank for rank, step in enumerate((16, 8, 4, 2, 1)) if part % step == 0)
        yield sixteenths * 25.4 / 16, label, rank


def board_pdf(paper: str = "letter") -> bytes:
    """Give the board as a PDF of one page. Raises `ValueError` for paper that is not known."""
    from reportlab.pdfgen.canvas import Canvas

    width_mm, height_mm = Paper(paper).size_mm
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width_mm * PT_PER_MM, height_mm * PT_PER_MM), invariant=1)
    canvas.setTitle("fidbench: a board of sixteenths")
    _Board(canvas, width_mm, height_mm).draw()
    canvas.showPage()
    canvas.save()
    return out.getvalue()


class _Board:
    """Draws one board; all places are millimetres from the lower left corner of the sheet."""

    def __init__(self, canvas: object, width_mm: float, height_mm: float) -> None:
        from reportlab.pdfgen.canvas import Canvas

        assert isinstance(canvas, Canvas)  # noqa: S101 for the type checker: the library ships no types
        self.canvas = canvas
        self.width, self.height = width_mm, height_mm
        self.left = (width_mm - 110) / 2 + 12
        self.right = self.left + 110
        self.zero = height_mm / 2 - 1.7

    def draw(self) -> None:
        """Draw words, board and check lengths."""
        from station.records.paper import FONT, load_fonts

        load_fonts()
        self.font = FONT
        self._head()
        self._frame()
        self._inches()
        self._millimetres()
        self._checks()

    def _words(self, x: float, y: float, text: str, size: float = 9, *, bold: bool = False, at: str = "left") -> None:
        self.canvas.setFont(self.font + ("-Bold" if bold else ""), size)
        draw = {"left": "drawString", "right": "drawRightString", "centre": "drawCentredString"}[at]
        getattr(self.canvas, draw)(x * PT_PER_MM, y * PT_PER_MM, text)

    def _line(self, x1: float, y1: float, x2: float, y2: float, width_mm: float = 0.15) -> None:
        self.canvas.setLineWidth(width_mm * PT_PER_MM)
        self.canvas.line(x1 * PT_PER_MM, y1 * PT_PER_MM, x2 * PT_PER_MM, y2 * PT_PER_MM)

    def _head(self) -> None:
        x, y = 18.0, self.height - 17
        self._words(x, y, "Board of sixteenths", 17, bold=True)
        self._words(
            x, y - 7, "Print at 100 %, actual size: never \u201cfit to page\u201d. Then measure both check lengths.", 10
        )
        self._words(
            x,
            y - 12,
            "If either is off by more than 1/64 in (0.4 mm), throw the sheet away: every reading is off too.",
            9,
        )

    def _frame(self) -> None:
        low, high = self.zero - LONG_IN * 25.4, self.zero + LONG_IN * 25.4
        for x in (self.left, self.right):
            self._line(x, low, x, high, 0.3)
        self._line(self.left - 16, self.zero, self.right + 12, self.zero, 0.5)
        middle = (self.left + self.right) / 2
        self._words(
            middle, self.zero + 1.6, "zero: the opposite number\u2019s mark lies here", 10, bold=True, at="centre"
        )
        self._words(middle, self.zero + 14.2, "new line LONG: toward the canopy", 10, at="centre")
        self._words(middle, self.zero - 17, "new line SHORT: toward the link", 10, at="centre")
        for sign, at in ((1, self.zero + 22), (-1, self.zero - 22)):
            self._line(middle, at, middle, at + sign * 26, 0.5)
            for side in (-1, 1):
                self._line(middle, at + sign * 26, middle + side * 3, at + sign * 20, 0.5)
        self._words(self.left - 16, high + 3, "inches", 9, bold=True)
        self._words(self.right + 2, high + 3, "mm", 9, bold=True)

    def _inches(self) -> None:
        reach = (34.0, 27.0, 21.0, 15.0, 9.0)
        sizes = (15, 10, 8.5, 7, 0)
        for sign in (1, -1):
            for at_mm, label, rank in inch_marks(Fraction(LONG_IN)):
                if not at_mm:
                    continue
                y = self.zero + sign * at_mm
                self._line(self.left, y, self.left + reach[rank], y, (0.35, 0.25, 0.2, 0.15, 0.12)[rank])
                drop = sizes[rank] * 0.36 / PT_PER_MM
                if rank == 0:
                    self._words(self.left + reach[0] + 1.5, y - drop, label, sizes[rank], bold=True)
                elif sizes[rank]:
                    self._words(self.left - 1.5, y - drop, label, sizes[rank], at="right")
                elif at_mm < 25.4:  # the first inch, where a line is trimmed, has every sixteenth by name
                    self._words(self.left + reach[4] + 0.8, y - 0.6, label, 4.8)

    def _millimetres(self) -> None:
        for sign in (1, -1):
            for mm in range(1, int(LONG_IN * 25.4) + 1):
                y = self.zero + sign * mm
                reach = 14.0 if mm % 10 == 0 else 10.0 if mm % 5 == 0 else 6.0
                self._line(self.right - reach, y, self.right, y, 0.25 if mm % 10 == 0 else 0.12)
                if mm % 10 == 0:
                    self._words(self.right + 2, y - 1.2, str(mm), 9)

    def _checks(self) -> None:
        x, y = self.left, 20.0
        self._check_across(x, y, CHECK_MM[0], "100 mm across: measure it")
        self._check_along(12.0, self.zero - CHECK_MM[1] / 2, CHECK_MM[1], "150 mm along: measure it")
        note = (
            "Pull each line in turn, to the same pull, from the same place. The maker\u2019s instructions come first."
        )
        self._words(18.0, 9.0, note, 7.5)

    def _check_across(self, x: float, y: float, length: float, text: str) -> None:
        self._line(x, y, x + length, y, 0.25)
        for end in (x, x + length):
            self._line(end, y - 3, end, y + 3, 0.25)
        self._words(x + length / 2, y + 1.8, text, 8.5, at="centre")

    def _check_along(self, x: float, y: float, length: float, text: str) -> None:
        self._line(x, y, x, y + length, 0.25)
        for end in (y, y + length):
            self._line(x - 3, end, x + 3, end, 0.25)
        self.canvas.saveState()
        self.canvas.translate((x + 4.6) * PT_PER_MM, (y + length / 2) * PT_PER_MM)
        self.canvas.rotate(90)
        self.canvas.setFont(self.font, 8.5)
        self.canvas.drawCentredString(0, 0, text)
        self.canvas.restoreState()
