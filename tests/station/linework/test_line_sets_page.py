"""The guide's page on line sets: its picture is drawn again, and what it says of the program is so."""

import random
from fractions import Fraction
from pathlib import Path

from station.linework.line_set import check
from station.linework.set_picture import layout, svg
from station.settings.line_table import load_line_table
from tests.station.linework.line_sets import INCH, drawn

DOCS = Path(__file__).parents[3] / "docs"
PAGE = (DOCS / "line-sets.md").read_text(encoding="utf-8")
NAME = "Teasel 190, an invented set"


def picture():
    """Draw the page's set: invented, three groups of four, two lines far off."""
    sides = drawn(random.Random(29), (4, 4, 4), 0.12, 0.12, 0.1)  # noqa: S311  repeatable, no secret
    found = check(sides, Fraction(INCH, 2), Fraction(INCH, 2))
    return found, svg(layout(found, NAME, pull_n=44.482), NAME)


def test_the_picture_is_the_programs():
    """Drawn again, the picture in the guide comes out the same to the byte, and shows what its caption says."""
    found, drawing = picture()
    assert (DOCS / "pictures" / "line-set.svg").read_bytes() == drawing.encode()
    assert len(found.mending.remake) == 2
    assert len(found.lines) == 12


def test_the_table_of_the_page_is_read():
    """The rows shown are a table the program reads."""
    rows = [line.strip() for line in PAGE.splitlines() if line.startswith("    ")]
    assert [side.name for side in load_line_table("page", "\n".join(rows))] == ["A1 L", "A1 R"]


if __name__ == "__main__":
    (DOCS / "pictures" / "line-set.svg").write_text(picture()[1], encoding="utf-8")
