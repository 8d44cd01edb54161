from __future__ import annotations

import re
import subprocess
import zlib
from base64 import a85decode
from pathlib import Path

import pytest

from station.records.board import CHECK_MM, LONG_IN, PAPERS, board_pdf

MM_PER_PT = 25.4 / 72
TRUE_MM = 0.05


def lines_mm(paper: str) -> list[tuple[float, float, float, float]]:
    """Give every straight line of the page as it stands in the PDF's own drawing, in millimetres."""
    streams = re.findall(rb"/ASCII85Decode.*?stream\r?\n(.*?)~>", board_pdf(paper), re.S)
    pages = [zlib.decompress(a85decode(each)) for each in streams]
    content = next(page for page in pages if b" l S" in page)
    number = rb"(-?[\d.]+)"
    found = re.findall(rb"n %b %b m %b %b l S" % (number, number, number, number), content)
    return [tuple(float(each) * MM_PER_PT for each in line) for line in found]  # type: ignore[misc]


@pytest.mark.parametrize("paper", PAPERS)
def test_the_sheet_has_the_papers_size(paper: str) -> None:
    """The page is as large as the paper: ANSI/ASME Y14.1 size A, 8.5 in by 11 in; ISO 216 A4, 210 mm by 297 mm."""
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", board_pdf(paper))
    assert box
    size = {"letter": (8.5 * 25.4, 11 * 25.4), "a4": (210.0, 297.0)}[paper]
    assert [float(each) * MM_PER_PT for each in box.groups()] == pytest.approx(size, abs=TRUE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_every_sixteenth_and_millimetre_is_true(paper: str) -> None:
    """Each mark of both scales stands within 0.05 mm of where it should, both ways from zero."""
    level = [line for line in lines_mm(paper) if abs(line[1] - line[3]) < 1e-6]
    zero = max(level, key=lambda line: line[2] - line[0])
    edges = sorted({round(line[0], 3) for line in lines_mm(paper) if abs(line[0] - line[2]) < 1e-6 and line[0] > 20})
    left, right = next((a, b) for a in edges for b in edges if abs(b - a - 110) < 0.01)
    inches = sorted(line[1] - zero[1] for line in level if abs(line[0] - left) < 0.01 and line is not zero)
    millimetres = sorted(line[1] - zero[1] for line in level if abs(line[2] - right) < 0.01)
    count = LONG_IN * 16
    wanted = [n * 25.4 / 16 for n in range(-count, count + 1) if n]
    inches = [each for each in inches if abs(each) <= LONG_IN * 25.4 + 1]  # the check length lies below them
    assert inches == pytest.approx(wanted, abs=TRUE_MM)
    whole = int(LONG_IN * 25.4)
    assert millimetres == pytest.approx([n for n in range(-whole, whole + 1) if n], abs=TRUE_MM)


@pytest.mark.parametrize("paper", PAPERS)
def test_both_check_lengths_are_as_long_as_they_say(paper: str) -> None:
    """The lengths to be measured are 100 mm across and 150 mm along, and their words say so."""
    lines = lines_mm(paper)
    across = [x2 - x1 for x1, y1, x2, y2 in lines if abs(y1 - y2) < 1e-6]
    along = [y2 - y1 for x1, y1, x2, y2 in lines if abs(x1 - x2) < 1e-6]
    assert min(abs(each - CHECK_MM[0]) for each in across) < TRUE_MM
    assert min(abs(each - CHECK_MM[1]) for each in along) < TRUE_MM


@pytest.mark.parametrize("paper", PAPERS)
def test_the_words_are_on_the_sheet_and_stand_at_their_marks(paper: str, tmp_path: Path) -> None:
    """Fraction labels, the zero line and how to print are said; a label stands level with the mark it names."""
    page = tmp_path / "board.pdf"
    page.write_bytes(board_pdf(paper))
    words = subprocess.run(["pdftotext", "-layout", page, "-"], capture_output=True, text=True, check=True).stdout
    for needed in (
        "Print at 100 %",
        "zero",
        "15/16",
        "3 7/8",
        "100 mm across",
        "toward the canopy",
        "both check lengths",
    ):
        assert needed in words
    boxes = subprocess.run(["pdftotext", "-bbox", page, "-"], capture_output=True, text=True, check=True).stdout
    found = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)<', boxes)
    width, height = (each / MM_PER_PT for each in PAPERS["a4" if paper == "a4" else "letter"])
    assert all(
        float(x1) > 0 and float(x2) < width and float(y1) > 0 and float(y2) < height for x1, y1, x2, y2, _ in found
    )
    seven = sorted((float(y1) + float(y2)) / 2 * MM_PER_PT for _, y1, _, y2, text in found if text == "7/16")
    assert seven[1] - seven[0] == pytest.approx(2 * 7 * 25.4 / 16, abs=0.05)


def test_paper_that_is_not_known_is_refused() -> None:
    """A name of paper that nobody knows is said, with those that are known."""
    with pytest.raises(ValueError, match="found 'a3', expected one of letter, a4"):
        board_pdf("a3")
