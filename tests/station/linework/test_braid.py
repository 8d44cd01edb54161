import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.linework.braid import braid_angle_rad, shortening_of_braid

ratios = st.floats(0.01, 4.0)
angles = st.floats(math.radians(0.1), math.radians(89))


@given(angles, ratios)
def test_yarns_keep_their_length(angle, ratio):
    """In both packings a yarn is as long after as before: its turn grows wider and its lead shorter."""
    found = shortening_of_braid(angle, ratio)
    for packing in (found.thin_tube, found.closed_disc):
        if packing.shortening is None:
            continue
        lead, turn = math.cos(angle), math.sin(angle)
        lead_after, turn_after = lead / (1 + packing.shortening), packing.swelling * turn
        assert math.hypot(lead_after, turn_after) == pytest.approx(1.0, rel=1e-12)
        assert math.atan2(turn_after, lead_after) == pytest.approx(packing.angle_after_rad, rel=1e-9)


@given(angles, ratios)
def test_locked_is_at_the_angle_of_greatest_volume(angle, ratio):
    """A packing is locked exactly where the yarns would pass 54.7356 degrees, and then it has no number."""
    found = shortening_of_braid(angle, ratio)
    for packing in (found.thin_tube, found.closed_disc):
        sine = packing.swelling * math.sin(angle)
        assert packing.locked == (sine >= math.sin(math.radians(54.735610317245346)) - 1e-15)
        assert (packing.shortening is None) == packing.locked
        assert (packing.angle_after_rad is None) == packing.locked


@given(angles, ratios)
def test_the_closed_disc_swells_more(angle, ratio):
    """The closed disc swells more than the thin tube, so it shortens more and locks first."""
    found = shortening_of_braid(angle, ratio)
    assert found.closed_disc.swelling > found.thin_tube.swelling > 1
    assert found.thin_tube.locked <= found.closed_disc.locked
    if found.closed_disc.shortening is not None:
        assert found.closed_disc.shortening > found.thin_tube.shortening


@given(angles, ratios)
def test_the_first_value_is_the_middle_with_a_rectangles_uncertainty(angle, ratio):
    """The first value lies in the middle; where the disc is locked there is none."""
    found = shortening_of_braid(angle, ratio)
    if found.closed_disc.locked:
        assert (found.first_value, found.standard_uncertainty) == (None, None)
    else:
        low, high = found.thin_tube.shortening, found.closed_disc.shortening
        assert found.first_value == pytest.approx((low + high) / 2)
        assert found.standard_uncertainty == pytest.approx((high - low) / math.sqrt(12))


def test_swelling_of_a_line_in_its_like():
    """With a guest as large as the host the two packings swell sqrt(2) and 2 sqrt(2) - 1 times."""
    found = shortening_of_braid(math.radians(12), 1.0)
    assert found.thin_tube.swelling == pytest.approx(1.4142135623730951)
    assert found.closed_disc.swelling == pytest.approx(1.8284271247461903)


@given(ratios)
def test_the_discs_swelling_by_summing_rings(ratio):
    """The closed disc's swelling is the area-weighted mean radius of the ring over that of the disc, summed thinly."""
    steps = 2000

    def mean_radius(inner, outer):
        radii = [inner + (outer - inner) * (n + 0.5) / steps for n in range(steps)]
        return sum(r * r for r in radii) / sum(radii)

    expected = mean_radius(math.sqrt(ratio), math.sqrt(1 + ratio)) / mean_radius(0.0, 1.0)
    assert shortening_of_braid(0.2, ratio).closed_disc.swelling == pytest.approx(expected, rel=1e-5)


def test_angle_from_what_can_be_seen():
    """16 carriers, 10 picks per inch and a flat width of 1/10 in: one turn is 0.2 in around in a lead of 0.8 in."""
    assert braid_angle_rad(0.1 * 0.0254, 10 / 0.0254, 16) == pytest.approx(math.atan(0.25))


@pytest.mark.parametrize(("angle", "ratio"), [(0.0, 1.0), (-1.0, 1.0), (math.pi / 2, 1.0), (math.nan, 1.0)])
def test_an_angle_that_is_none(angle, ratio):
    """An angle outside 0 to 90 degrees is refused."""
    with pytest.raises(ValueError, match="braid angle"):
        shortening_of_braid(angle, ratio)


@pytest.mark.parametrize("ratio", [0.0, -1.0, math.inf, math.nan])
def test_a_ratio_that_is_none(ratio):
    """An area ratio that is not above 0 is refused."""
    with pytest.raises(ValueError, match="area ratio"):
        shortening_of_braid(0.2, ratio)


def test_sights_that_are_none():
    """Nothing seen of a braid may be zero."""
    with pytest.raises(ValueError, match="expected each above 0"):
        braid_angle_rad(0.0025, 0.0, 16)


@pytest.mark.parametrize("ratio", [0.0, -1.0, math.nan, math.inf, 1e300, 1001.0])
def test_a_guest_that_cannot_be_is_refused(ratio):
    """A ratio that is not above 0, or beyond any guest's, is refused with the number found."""
    with pytest.raises(ValueError, match=re.escape(f"found an area ratio of {ratio!r}")):
        shortening_of_braid(0.2, ratio)
    assert shortening_of_braid(1e-6, 1000.0).first_value > 0
