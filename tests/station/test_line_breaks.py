"""Where lines end, on a page beside the bench and on paper."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from PyQt6.QtGui import QTextLayout, QTextOption
from PyQt6.QtWidgets import QLabel

from station.records.paper import para
from station.units import NO_BREAK
from station.views.form import labelled

TOLD = "In this order: A 1 left, A 12 right and on, under 9.9 lbf, up to 10 % long; it begins at 1 1/2 in of the link."
WHOLE = ("A 1 left", "A 12 right", "9.9 lbf", "10 %", "1 1/2 in")


def on_page(text: str, width: float) -> list[str]:
    """Break a label's text as Qt does."""
    label = labelled(text, "plain")
    layout = QTextLayout(QLabel.text(label), label.font())
    layout.setTextOption(QTextOption())  # breaks between words, as a label does
    layout.beginLayout()
    while (line := layout.createLine()).isValid():
        line.setLineWidth(width)
    layout.endLayout()
    lines = [layout.lineAt(n) for n in range(layout.lineCount())]
    return [layout.text()[line.textStart() : line.textStart() + line.textLength()].strip() for line in lines]


def on_paper(text: str, width: float) -> list[str]:
    """Break a paragraph as the PDF library does."""
    made = para(text)
    made.wrap(width, 1000)
    return [" ".join(words) for _, words in made.blPara.lines]


@pytest.mark.usefixtures("qtbot")
@pytest.mark.parametrize("broken", [on_page, on_paper])
def test_no_line_ends_within_a_figure_or_the_name_of_a_line(broken: Callable[[str, float], list[str]]) -> None:
    """However wide a column is, a figure stands with its fraction and unit, and a line's name in one piece."""
    ends = 0
    for width in range(70, 400, 5):
        lines = [line.replace(NO_BREAK, " ") for line in broken(TOLD, width)]
        assert " ".join(lines) == TOLD
        assert [each for each in WHOLE if not any(each in line for line in lines)] == [], width
        ends += len(lines) - 1
    assert ends > 100


@pytest.mark.usefixtures("qtbot")
def test_the_slash_of_a_path_never_ends_a_line() -> None:
    """However wide a page is, a path begins with its slash and its first name; what is read back is as it was set."""
    text = "No trials of it in /home/loft/trials or of the other lots."
    for width in range(70, 400, 3):
        assert not any(line.endswith((" /", " /\N{WORD JOINER}")) or line == "/" for line in on_page(text, width))
    assert labelled(text, "plain").text() == text
