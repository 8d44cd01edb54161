"""Pictures on paper: a line set's and a control chart's, as large as their page allows."""

from __future__ import annotations

import random
import re
import subprocess
from fractions import Fraction
from pathlib import Path

import pytest
from reportlab.pdfbase.pdfmetrics import stringWidth

from station.linework.line_set import check
from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import layout
from station.linework.svg_page import EDGE
from station.measuring.control import control
from station.records import control_picture
from station.records.paper import BOLD, FONT, PAPERS, load_fonts
from station.records.picture_page import Drawn, room
from station.units import length_text
from tests.station.cli.commands import run
from tests.station.linework.line_sets import INCH, drawn
from tests.station.shop_year import Day, shop

SHIFT = {"start": 0.0, "middle": 0.5, "end": 1.0}


def a_set(groups: tuple[int, ...], paper: str = "letter") -> Drawn:
    """Give an invented set of so many lines in each group."""
    sides = drawn(random.Random(29), groups, 0.12, 0.12, 0.1)  # noqa: S311  repeatable, no secret
    found = check(sides, Fraction(INCH, 2), Fraction(INCH, 2))
    return Drawn(lambda width: layout(found, "set.csv", on_paper=width), *room(PAPERS[paper]))  # type: ignore[index]


def a_chart(figures: int, paper: str = "letter") -> Drawn:
    """Give a chart of so many figures."""
    found = control([0.001 * (n % 5) for n in range(figures)])
    words = (
        "Out of control.",
        ["2026-03-02"] * figures,
        "length",
        length_text,
        length_text,
        ["4: " + "a long signal " * 12],
        "Rules.",
    )
    make = lambda width: control_picture.layout(found, "chart", *words, on_paper=width)  # type: ignore[arg-type] # noqa: E731
    return Drawn(make, *room(PAPERS[paper]))  # type: ignore[index]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(
    ("make", "of"), [(a_set, (2,)), (a_set, (4, 4, 4)), (a_set, (8,) * 5), (a_chart, 12), (a_chart, 60)]
)
def test_a_picture_fills_its_page_and_is_read_at_arms_length(make, of, paper: str) -> None:  # type: ignore[no-untyped-def]  # either maker
    """It takes the whole width, no word reaches over the edge, and words are as large as a table's."""
    load_fonts()
    page = make(of, paper)
    width, tallest = room(PAPERS[paper])  # type: ignore[index]
    scale = width / (page.picture.width - 2 * EDGE)
    assert page.height <= tallest
    assert page.height == pytest.approx((page.picture.height - 20) * scale)
    words = [text for text in page.picture.texts if text.text not in {"L", "R"}]
    for text in words:
        wide = stringWidth(text.text, BOLD if text.bold else FONT, text.size)
        left = text.x - EDGE - SHIFT[text.anchor] * wide
        assert left * scale >= -0.01, text
        assert (left + wide) * scale <= width + 0.01, text
    assert min(text.size for text in words) * scale >= 6.5
    assert COMES_FIRST not in [text.text for text in words]  # the foot of the page says it


def test_every_page_to_print_is_for_the_same_paper(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Letter unless another is named, of a set, of control charts, of a record and of the board; the caution once."""
    archive, table, page = tmp_path / "a.sqlite", tmp_path / "set.csv", tmp_path / "page.pdf"
    shop(archive, [Day(n % 3 * 1_588) for n in range(9)])
    table.write_text("line,side,length\nA1,L,120 in\nA1,R,120 in\n")
    for command in (
        ("trim", table, "--report", page),
        ("control", "--archive", archive, "--of", "first-try-differences", "--report", page),
        ("records", "report", "26-0001", "--archive", archive, "--out", page),
        ("board", "--out", page),
    ):
        for asked, size in (((), "612 x 792 pts"), (("--paper", "a4"), r"595\.\d+ x 841\.\d+ pts")):
            page.unlink(missing_ok=True)
            run(capfd, *command, *asked)
            told = subprocess.run(["pdfinfo", page], capture_output=True, text=True, check=True).stdout
            assert re.search(rf"Page size: +{size}", told), command
            if command[0] in {"trim", "control"}:
                first = ["pdftotext", "-l", "1", page, "-"]
                text = subprocess.run(first, capture_output=True, text=True, check=True).stdout
                assert text.count(COMES_FIRST[:40]) == 1
