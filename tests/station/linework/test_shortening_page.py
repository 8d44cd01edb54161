"""The guide's page on shortening: every number on it is worked out again, and its picture is drawn again."""

import itertools
import math
import re
from pathlib import Path

import pytest

from station.linework.braid import braid_angle_rad, shortening_of_braid
from station.linework.braid_picture import angle_of_common_practice_deg, braid_picture
from station.linework.error_budget import FEW_DEGREES
from station.linework.shrinkage import ASSUMED_SCATTER_M, Trial, estimate
from station.settings.materials import materials
from station.units import length_text
from tests.station.linework.test_drawing import text_boxes
from tests.station.linework.trees import INCH

DOCS = Path(__file__).parents[3] / "docs"
PAGE = (DOCS / "shortening.md").read_text(encoding="utf-8")


def first_value(angle_deg):
    """Give the first value for a line in its like."""
    return shortening_of_braid(math.radians(angle_deg)).first_value


def angle_where(wanted):
    """Give the angle in degrees whose first value is the one wanted, by a secant of our own."""
    low, high = 1.0, 26.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if first_value(middle) < wanted else (low, middle)
    return low


def first_value_with_growth(angle_deg):
    """Give the first value where the host's own section grows by 1 + k, each packing worked until it stands."""
    sine, cosine = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    found = []
    for swelling in (
        lambda k: math.sqrt(2 + k),
        lambda k: ((2 + k) ** 1.5 - 1) / (1 + k),
    ):
        k = 0.0
        for _ in range(300):
            k = cosine / math.sqrt(1 - (swelling(k) * sine) ** 2) - 1
        found.append(k)
    return sum(found) / 2


def row_of(angle_deg):
    """Give a row of the page's first table."""
    found = shortening_of_braid(math.radians(angle_deg))
    shares = found.thin_tube.shortening, found.closed_disc.shortening, found.first_value, found.standard_uncertainty
    traps = [length_text(found.first_value * trap * INCH, denominator=32) for trap in (5, 6)]
    return f"| {angle_deg} deg | {' | '.join([*(f'{share:.4f}' for share in shares), *traps])} |"


def agreement(trap_in):
    """Give a row of the page's second table."""
    low, middle, high = (angle_where(sixteenths / 16 / trap_in) for sixteenths in (5, 6, 7))
    assert middle == pytest.approx(angle_of_common_practice_deg(trap_in), abs=1e-4)
    return f"| {trap_in} in | {middle:.1f} deg | {low:.1f} deg to {high:.1f} deg |"


TABLES = [*map(row_of, (8, 10, 12, 14, 15, 16, 18, 20, 22)), *map(agreement, (3, 4, 5, 6, 8, 10))]
TRIALS = [(5, 0.31), (6, 0.38), (4, 0.24), (6, 0.36)]


def sentences():
    """Give what the page says in running text, with every number worked out."""
    empty = shortening_of_braid(math.radians(15))
    greatest = math.degrees(math.atan(math.sqrt(2)))
    # A braid locks where its swelling takes it to the angle of greatest volume.
    disc, tube = (
        math.degrees(math.asin(math.sin(math.radians(greatest)) / packing.swelling))
        for packing in (empty.closed_disc, empty.thin_tube)
    )
    known = estimate([Trial(trap * INCH, shortening * INCH) for trap, shortening in TRIALS]).shrinkage
    low, high = (each / INCH for each in known.allowance_95_m(6 * INCH))
    mean_circle = math.degrees(math.atan(2 / 3 * math.tan(math.radians(15))))
    seen = math.degrees(braid_angle_rad(0.1 * INCH, 10 / INCH, 16))
    low_angle, high_angle = angle_of_common_practice_deg(6), angle_of_common_practice_deg(5)
    return [
        f"the first value is {first_value(12):.4f} for one and {first_value(18):.4f} for the other",
        f"For a line in its like they are {empty.thin_tube.swelling:.4f} and {empty.closed_disc.swelling:.4f}.",
        f"which is {greatest:.4f} deg",
        f"locks as a closed disc from {disc:.1f} deg on, as a thin tube from {tube:.1f} deg on",
        f"traps of 5 in to 6 in in a braid of {low_angle:.1f} deg to {high_angle:.1f} deg",
        f"a braid of 10 deg ({5 * first_value(10):.2f} in for a trap of 5 in)",
        f"nor of 12 deg ({5 * first_value(12):.2f} in)",
        f"nor of 18 deg ({6 * first_value(18):.2f} in for a trap of 6 in)",
        f"the first value at 15 deg {first_value_with_growth(15):.4f} instead of {first_value(15):.4f}",
        f"at 18 deg {first_value_with_growth(18):.4f} instead of {first_value(18):.4f}",
        f"the mean circle of a closed disc has {mean_circle:.1f} deg",
        f"10 picks per inch and a flat width of 1/10 in: {seen:.1f} deg",
        f"a trap takes {known.coefficient:.4f} of its length",
        f"95 of 100 new traps of 6 in take {low:.2f} in to {high:.2f} in",
        *(f"{trap} in,{shortening} in,L7" for trap, shortening in TRIALS),
        f"σ₀ = {length_text(ASSUMED_SCATTER_M, denominator=32)} the scatter",
        f"below {FEW_DEGREES} degrees of freedom",
    ]


def test_every_number_of_the_page_is_worked_out():
    """Each row and sentence stands on the page as worked out, and no decimal stands there that is not among them."""
    text = " ".join(PAGE.split())
    said = [*TABLES, *sentences()]
    assert [each for each in said if each not in text] == []
    number = re.compile(r"\d+\.\d+")
    known = {found for each in said for found in number.findall(each)}
    paper = {"4.3"}  # JCGM 100:2008, 4.3.7
    assert sorted(set(number.findall(PAGE)) - known - paper) == []


def test_what_the_page_claims_of_its_numbers_is_so():
    """Half as steep again is more than twice as short; the growth left out is small; the 15 deg are our assumption."""
    assert first_value(18) > 2 * first_value(12)
    for angle in (15, 18):
        more = first_value_with_growth(angle) - first_value(angle)
        assert 0 < more < 0.5 * shortening_of_braid(math.radians(angle)).standard_uncertainty
    assert all(stock.braid_angle_rad == pytest.approx(math.radians(15)) for stock in materials().values())
    assert all("braid_angle" in stock.assumed for stock in materials().values())


def test_the_small_angle_rule_of_the_page():
    """For small angles k is nearly (swelling^2 - 1) tan^2 / 2."""
    for packing in ("thin_tube", "closed_disc"):
        found = getattr(shortening_of_braid(math.radians(3)), packing)
        assert found.shortening == pytest.approx((found.swelling**2 - 1) * math.tan(math.radians(3)) ** 2 / 2, rel=0.02)


def test_the_picture_is_the_programs():
    """Drawn again, the picture in the guide comes out the same to the byte."""
    assert (DOCS / "pictures" / "shortening.svg").read_bytes() == braid_picture().encode()


def test_no_words_of_the_picture_overlap():
    """Every text of the picture lies on it and clear of every other."""
    boxes = text_boxes(braid_picture())
    assert [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.overlaps(other)] == []
    assert [text for text, box in boxes if box.x < 0 or box.x + box.width > 1200] == []


def test_no_disc_reaches_over_the_rule_at_the_right():
    """Every circle, with its stroke, ends where the page's rule ends, or before."""
    circles = re.findall(r'<circle cx="([\d.]+)".*? r="([\d.]+)".*?stroke-width="([\d.]+)"', braid_picture())
    assert len(circles) == 6
    assert max(float(x) + float(radius) + float(width) / 2 for x, radius, width in circles) <= 1160
