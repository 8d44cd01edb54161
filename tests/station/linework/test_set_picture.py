import itertools
import random
from fractions import Fraction

import pytest

from station.linework.line_set import check
from station.linework.set_picture import Disc, Shape, layout, svg
from station.settings.line_table import MeasuredSide
from tests.station.linework.line_sets import INCH, drawn
from tests.station.linework.test_drawing import text_boxes

HALF = Fraction(INCH, 2)
SETS = {
    "48 lines": ((12, 12, 12, 12), 0.2, True),
    "12 lines": ((4, 4, 4), 0.3, True),
    "one long group": ((40, 8), 0.2, True),
    "no chart": ((4, 4, 4), 0.3, False),
    "many groups": ((2,) * 9, 0.3, True),
    "two lines": ((2,), 0.6, True),
}


def checked(name):
    """Give one of the sets, checked."""
    per_group, scatter, chart = SETS[name]
    return check(drawn(random.Random(4), per_group, scatter, 0.15, 0.08, chart), HALF, HALF)  # noqa: S311 repeatable


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("system", ["imperial", "metric"])
def test_every_text_lies_on_the_page_clear_of_the_others(name, system):
    """No words overlap and none run off the page; a side's letter stands in its sign and may lie near another's."""
    boxes = [(text, box) for text, box in text_boxes(svg(layout(checked(name), name, system), name)) if len(text) > 1]
    assert [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.overlaps(other)] == []
    assert [text for text, box in boxes if box.x < 0 or box.x + box.width > 1200] == []


@pytest.mark.parametrize("name", SETS)
def test_what_is_out_or_remade_differs_by_shape(name):
    """Each side within tolerance is a disc; full signs are as many as sides to remake, beside the one that explains."""
    found = checked(name)
    picture = layout(found, name)
    full = [
        part for part in picture.parts if isinstance(part, Disc | Shape) and part.fill == "ink" and part.edge == "ink"
    ]
    assert len(full) == len(found.mending.remake or ()) + 1
    bars = [part for part in picture.parts if isinstance(part, Shape) and part.width == 4.0]
    assert len(bars) == sum("difference" in line.flags for line in found.lines) + 1


def test_places_are_to_scale():
    """Two sides stand apart in proportion to their difference, left of the upright when short."""
    sides = [
        MeasuredSide(f"A{n}", s, 100 * INCH + e * INCH // 16, 100 * INCH)
        for n, s, e in ((1, "L", 2), (1, "R", -2), (2, "L", 1), (2, "R", -1))
    ]
    signs = [part for part in layout(check(sides, HALF, HALF), "x").parts if isinstance(part, Disc)][:4]
    assert signs[0].x - signs[1].x == pytest.approx(2 * (signs[2].x - signs[3].x))
    assert signs[1].x < signs[3].x < signs[2].x < signs[0].x


def test_a_name_is_never_markup():
    """What a table is called is written as it is."""
    assert "a &lt;b&gt; &amp; c" in svg(layout(checked("two lines"), "a <b> & c"), "a <b> & c")


def test_an_unfinished_set_has_no_verdict():
    """While lines are still to come the picture says how far it is, and neither a verdict nor anything to remake."""
    found = check([MeasuredSide("A1", side, 100 * INCH) for side in ("L", "R")], HALF, HALF)
    said = [text.text for text in layout(found, "x", unfinished="2 of 4 measured").texts]
    assert "2 of 4 measured" in said
    assert not [words for words in said if words.startswith("In trim")]
    assert [text.text for text in layout(found, "x").texts if text.text.startswith("In trim")]
