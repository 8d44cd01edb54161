"""The guide's page on line sets: its picture is drawn again, and what it says of the program is so."""

import random
from fractions import Fraction
from pathlib import Path

from station.bench.comparing import REST_US
from station.cli.trim import _TOLERANCE
from station.job_app import answers_in
from station.linework.line_set import check
from station.linework.set_picture import layout, svg
from station.settings.line_table import is_far, load_line_table
from station.views.job_forms import AS_THE_FILE, job_fields
from tests.station.linework.line_sets import INCH, drawn

DOCS = Path(__file__).parents[3] / "docs"
PAGE = (DOCS / "line-sets.md").read_text(encoding="utf-8")
FLOWING = " ".join(PAGE.split())
NAME = "Teasel 190, an invented set"


def block(begin):
    """Give the indented lines of the page from one that begins so to the next blank one."""
    text = PAGE[PAGE.index(f"    {begin}") :].partition("\n\n")[0]
    return "".join(f"{line.strip()}\n" for line in text.splitlines())


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
    assert [side.name for side in load_line_table("page", block("line,side"))] == ["A1 L", "A1 R"]


def test_the_rules_of_the_page_are_the_programs():
    """The tolerance that is taken unless told, the tenth of a slip, and the rest after a count are those it keeps."""
    assert f"`--tolerance` {_TOLERANCE / Fraction('0.0254')} in is taken, and said" in FLOWING
    assert "A length more than a tenth from its chart" in FLOWING
    assert [is_far(length_nm, 3_000_000_000) for length_nm in (3_300_000_000, 3_300_000_001)] == [False, True]
    assert REST_US == 3_000_000
    assert "three seconds of rest and a tap" in FLOWING


def test_the_answers_of_the_page_are_read(tmp_path):
    """What jobs are opened with, as shown, is read whole."""
    (tmp_path / "job.toml").write_text(block("[job]"), encoding="utf-8")
    own = {"title", "side", "number", "line.removed"}
    read = answers_in(tmp_path / "job.toml", [field for field in job_fields(None) if field.key not in own])
    assert (read["hold"], read["people.worker"], read["stock.lot"]) == ("main-hmpe", "Ansa Velling", "H-2231")
    assert read["comparing"] == AS_THE_FILE


if __name__ == "__main__":
    (DOCS / "pictures" / "line-set.svg").write_text(picture()[1], encoding="utf-8")
