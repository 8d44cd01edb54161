from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.line import HMPE, POLYESTER, BraidedLine, Stock

S = 1_000_000


def relaxation(stock: Stock, seconds: np.ndarray, seed: int = 1) -> np.ndarray:
    """Give the tension at each time after a line was drawn to 130 N at once and clamped."""
    line = BraidedLine(seed, stock, 3.0)
    held_m = line.pull_to(130.0, 0)
    return np.array([line.stretch_to(held_m, round(second * S)) for second in seconds])


def test_clamped_line_relaxes_in_a_straight_line_of_log_time():
    """From 1 s to 30 s a clamped line strays from a straight line in log time by under a hundredth of what it lost."""
    log_time = np.linspace(0, math.log10(30), 60)
    tension = relaxation(HMPE, 10**log_time)
    fit = np.polyfit(log_time, tension, 1)
    assert np.abs(np.polyval(fit, log_time) - tension).max() < 0.01 * (130 - tension[-1])
    assert fit[0] == pytest.approx(-HMPE.relaxation_per_decade * 130, rel=0.2)  # pieces differ by 5 % or so


def test_polyester_relaxes_in_two_straight_lines_that_meet_near_100_s():
    """Polyester's two straight lines of log time meet near 100 s (abstract, fibtex.lodz.pl/article1370)."""
    early, late = np.linspace(0, 1, 20), np.linspace(3, 3.5, 20)
    first = np.polyfit(early, relaxation(POLYESTER, 10**early), 1)
    second = np.polyfit(late, relaxation(POLYESTER, 10**late), 1)
    meet_s = 10 ** ((second[1] - first[1]) / (first[0] - second[0]))
    assert 60 < meet_s < 160
    assert first[0] < second[0] < 0


@given(st.lists(st.integers(1, 40 * S), min_size=1, max_size=8))
def test_how_often_a_clamped_line_is_looked_at_changes_nothing(steps_us: list[int]):
    """A clamped line has the same tension at a time, whether it was looked at on the way or not."""
    often, once = BraidedLine(3, POLYESTER, 3.0), BraidedLine(3, POLYESTER, 3.0)
    held_m = often.pull_to(130.0, 0)
    once.pull_to(130.0, 0)
    at_us = 0
    for step_us in steps_us:
        at_us += step_us
        seen_n = often.stretch_to(held_m, at_us)
    assert once.stretch_to(held_m, at_us) == pytest.approx(seen_n, rel=1e-9)


def test_dead_weight_keeps_the_tension_and_the_line_lengthens():
    """Under a dead weight the tension is the weight, and the line is longer each time one looks."""
    line = BraidedLine(1, POLYESTER, 3.0)
    extensions = []
    for second in range(60):
        extensions.append(line.pull_to(130.0, second * S))
        assert line.tension_n == 130.0
    assert all(later > sooner for sooner, later in pairwise(extensions))


def test_set_is_lost_once_only():
    """A second pull to the same tension stretches the line less than the first, by all of its set."""
    line = BraidedLine(1, HMPE, 3.0)
    set_m = line.set_left_m
    first_m = line.pull_to(130.0, 0)
    assert line.set_left_m == 0.0
    slack_m = line.pull_to(0.0, 1)
    assert slack_m == pytest.approx(set_m, rel=0.01)
    assert line.pull_to(130.0, 2) == pytest.approx(first_m, rel=1e-6)
    assert set_m == pytest.approx(3.0 * HMPE.set_fraction, rel=0.2)


def test_light_pull_leaves_some_set_in_the_line():
    """A line pulled to three quarters of its set pull keeps a quarter of its set for the next pull."""
    line = BraidedLine(1, HMPE, 3.0)
    whole_m = line.set_left_m
    line.pull_to(0.75 * HMPE.set_pull_n, 0)
    assert line.set_left_m == pytest.approx(0.25 * whole_m)


@given(st.lists(st.floats(0, 0.06), min_size=1, max_size=12), st.integers(0, 5))
def test_stretching_and_pulling_are_two_views_of_one_line(extensions_m: list[float], seed: int):
    """What a line answers to an extension is the pull that gives that extension, on a twin with the same past."""
    one, other = BraidedLine(seed, POLYESTER, 3.0), BraidedLine(seed, POLYESTER, 3.0)
    for count, extension_m in enumerate(extensions_m):
        tension_n = one.stretch_to(extension_m, count * S)
        assert tension_n >= 0
        assert other.pull_to(tension_n, count * S) == pytest.approx(one.extension_m, abs=1e-9)
        if tension_n > 0:
            assert one.extension_m == pytest.approx(extension_m, abs=1e-12)


def test_same_seed_gives_the_same_piece_and_another_seed_another():
    """Two pieces of one seed are the same to the last bit; of another seed, not."""
    seconds = np.array([0.5, 7.0, 33.0])
    assert (relaxation(HMPE, seconds, seed=4) == relaxation(HMPE, seconds, seed=4)).all()
    assert (relaxation(HMPE, seconds, seed=4) != relaxation(HMPE, seconds, seed=5)).all()


def test_time_never_runs_back_and_a_line_cannot_push():
    """A stamp before the last one and a pull below zero are refused in words."""
    line = BraidedLine(1, HMPE, 3.0)
    line.pull_to(10.0, 5)
    with pytest.raises(ValueError, match="expected time to go forward"):
        line.pull_to(10.0, 4)
    with pytest.raises(ValueError, match="cannot push"):
        line.pull_to(-1.0, 6)
    with pytest.raises(ValueError, match="outside what a line can do"):
        Stock("wax", 1.0, 0.0, 1.0, 0.5, 0.5)
    with pytest.raises(ValueError, match="not above zero"):
        Stock("air", 0.0, 0.0, 1.0, 0.01, 0.01)
