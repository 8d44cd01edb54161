import itertools
import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.linework.chart import length_scale
from station.linework.shrinkage import FirstValue, Trial, estimate
from station.linework.trial_plot import plot, scales, svg
from tests.station.linework.test_drawing import text_boxes
from tests.station.linework.trees import INCH

ROWS = [Trial(t * INCH, 0.06 * t * INCH + e, row=n) for n, (t, e) in enumerate(((3, 1e-4), (4, -1e-4), (5, 3e-3)), 7)]
ROWS += [Trial(t * INCH, 0.06 * t * INCH + e, row=n) for n, (t, e) in enumerate(((5, 0), (6, 1e-4), (6, -1e-4)), 10)]
CASES = {
    "six trials": (ROWS, None),
    "upon a first value": (ROWS, FirstValue(0.05, 0.02)),
    "one trial": (ROWS[:1], None),
    "no trial": ([], FirstValue(0.05, 0.02)),
    "below zero": ([Trial(0.1, -0.002), Trial(0.12, 0.001)], None),
    "the same twice": ([ROWS[0], ROWS[0]], None),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("system", ["imperial", "metric"])
def test_the_picture_says_what_it_shows(name, system):
    """Every text lies on the page, clear of the others, and signs are explained if they are used."""
    trials, first = CASES[name]
    found = estimate(trials, first)
    picture = svg(plot(trials, found), "a < b & c", system=system)
    boxes = text_boxes(picture)
    assert [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.overlaps(other)] == []
    assert [text for text, box in boxes if box.x < 0 or box.x + box.width > 1200] == []
    texts = [text for text, _ in boxes]
    assert "a < b & c" in texts
    assert ("a trial" in texts) == bool(trials)
    assert ("95 of 100 new traps" in texts) == (found.shrinkage.scatter_m is not None)
    assert any(text.startswith("look again") for text in texts) == bool(found.suspects)
    assert f"{found.shrinkage.coefficient:.4f} of the trap" in texts


def test_a_suspect_is_a_diamond_with_its_row():
    """A trial far from the others differs by shape, and the row of its file stands beside it."""
    found = estimate(ROWS)
    assert found.suspects == (3,)
    shown = plot(ROWS, found)
    assert [(point.row, point.suspect) for point in shown.points][2] == (9, True)
    picture = svg(shown, "six")
    assert "row 9" in [text for text, _ in text_boxes(picture)]
    assert picture.count("l9 9l-9 9l-9 -9z") == 2  # its own, and the one that explains it
    assert picture.count("<circle") == 5 + 1


def test_everything_is_where_its_number_says():
    """The line runs from no trap past the longest, and a trial stands at its trap and shortening on the scales."""
    shown = plot(ROWS, estimate(ROWS))
    assert shown.curve[0].trap_m == 0.0
    assert shown.curve[-1].trap_m == pytest.approx(6.6 * INCH)
    x_scale, y_scale = scales(shown, "imperial")
    assert (x_scale.ticks[0][1], x_scale.ticks[-1][1]) == ("0 in", "7 in")
    picture = svg(shown, "six")
    circles = [
        (float(each.get("cx")), float(each.get("cy")))
        for each in ET.fromstring(picture).iter("{http://www.w3.org/2000/svg}circle")  # noqa: S314 our own picture
    ]
    foot = re.search(r"M110\.00 ([0-9.]+)V([0-9.]+)H([0-9.]+)", picture)
    top, bottom, right = (float(each) for each in foot.groups())
    for trial, (x, y) in zip([*ROWS[:2], *ROWS[3:]], circles, strict=False):
        assert x == pytest.approx(110 + trial.trap_m / (7 * INCH) * (right - 110), abs=0.01)
        share = (y_scale.high - trial.shortening_m) / (y_scale.high - y_scale.low)
        assert y == pytest.approx(top + share * (bottom - top), abs=0.01)


def test_many_trials_on_one_spot_are_drawn_once():
    """Of trials that would fall on the same spot one ring is drawn: the picture stays small, and still counts all."""
    trials = [Trial(0.1 + 1e-9 * n, 0.006) for n in range(5000)]
    picture = svg(plot(trials, estimate(trials)), "many")
    assert picture.count("<circle") == 2
    assert "5000 trials" in picture


@settings(max_examples=60, deadline=None)
@given(st.floats(-0.1, 0.1), st.floats(1e-4, 50.0), st.sampled_from(["imperial", "metric"]))
def test_scales_hold_what_they_must(low, span, system):
    """A scale reaches over both ends in at most ten steps, its ticks are evenly apart and their labels differ."""
    scale = length_scale(low, low + span, system)
    assert scale.low <= low + 1e-9
    assert scale.high >= low + span - 1e-9
    assert 2 <= len(scale.ticks) <= 11
    steps = [b[0] - a[0] for a, b in itertools.pairwise(scale.ticks)]
    assert steps == pytest.approx([steps[0]] * len(steps))
    if span > 0.008:
        assert len({label for _, label in scale.ticks}) == len(scale.ticks)
