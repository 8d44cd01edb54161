from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from simulators.hand import Pull, Puller, ease_off, repeated
from simulators.line import HMPE, POLYESTER, BraidedLine

S = 1_000_000


def seen(puller: Puller, from_s: float, until_s: float, every_s: float = 0.0125) -> np.ndarray:
    """Give the true tension at regular times."""
    return np.array([puller.tension_n(round(s * S)) for s in np.arange(from_s, until_s, every_s)])


def test_pull_ramps_in_a_straight_line_then_holds():
    """A clamp goes to the wanted tension in a straight line over the ramp, and is there at its end."""
    puller = Puller(BraidedLine(1, HMPE, 3.0), "clamp", [Pull(1 * S, 120.0, 2 * S)])
    tensions = [puller.tension_n(at_us) for at_us in (0, 1 * S, 1_500_000, 2 * S, 3 * S)]
    assert tensions == pytest.approx([0, 0, 30, 60, 120])


def test_clamp_loses_tension_and_a_top_up_brings_it_back():
    """Between pulls a clamped line relaxes; a top-up told live takes over from where the tension is."""
    puller = Puller(BraidedLine(1, POLYESTER, 3.0), "clamp")
    puller.pull_to(130.0, 0, 1 * S)
    relaxed_n = puller.tension_n(20 * S)
    assert relaxed_n < 122
    puller.pull_to(130.0, 20 * S, 500_000)
    assert puller.tension_n(20 * S) == pytest.approx(relaxed_n)
    assert puller.tension_n(20_500_000) == pytest.approx(130.0)
    assert puller.tension_n(22 * S) > relaxed_n


def test_weight_hangs_at_one_tension():
    """A dead weight keeps its tension to the last digit, however long it hangs."""
    puller = Puller(BraidedLine(1, POLYESTER, 3.0), "weight", [Pull(0, 130.0, 1 * S)])
    assert set(seen(puller, 1, 40, 0.5)) == {130.0}


def test_eased_off_line_hangs_slack_and_stays_so():
    """After easing off the tension is zero and stays zero, tremor or not."""
    puller = Puller(BraidedLine(1, HMPE, 3.0), "hand", [Pull(0, 130.0, 1 * S), ease_off(5 * S)], 0.02)
    assert seen(puller, 4, 5).min() > 100
    assert not seen(puller, 6, 10).any()


def test_hand_trembles_about_its_pull_and_a_clamp_does_not():
    """A hand's tremor has the root mean square asked for and never exceeds 3.2 times it; a clamp has none."""
    plan = [Pull(0, 130.0, 1 * S)]
    still = seen(Puller(BraidedLine(1, HMPE, 3.0), "clamp", plan, 0.02), 5, 65)
    trembling = seen(Puller(BraidedLine(1, HMPE, 3.0), "hand", plan, 0.02, seed=7), 5, 65)
    share = trembling / still - 1
    assert np.sqrt((share**2).mean()) == pytest.approx(0.02, rel=0.15)
    assert np.abs(share).max() < 0.064
    assert (np.diff(still) <= 0).all()


def test_ease_off_told_live_overrides_a_pull_under_way():
    """Letting off in the middle of a ramp begins from the tension that had been reached."""
    puller = Puller(BraidedLine(1, HMPE, 3.0), "clamp")
    puller.pull_to(100.0, 0, 2 * S)
    puller.ease_off(1 * S, 1 * S)
    assert [puller.tension_n(at_us) for at_us in (1 * S, 1_500_000, 2 * S)] == pytest.approx([50, 25, 0])


def test_plan_may_go_on_for_ever():
    """A repeated plan brings the same pull in every round."""
    plan = repeated([Pull(0, 100.0, 1 * S), ease_off(3 * S)], 10 * S)
    assert [pull.at_us for pull in islice(repeated([Pull(3, 1.0)], 10), 3)] == [3, 13, 23]
    assert list(repeated([], 10)) == []
    puller = Puller(BraidedLine(1, HMPE, 3.0), "clamp", plan)
    assert [round(puller.tension_n(s * S)) for s in (1, 9, 11, 19, 21)] == [100, 0, 100, 0, 100]


def test_time_never_runs_back_for_a_puller():
    """A stamp before the last one is refused, and so is a pull below zero."""
    puller = Puller(BraidedLine(1, HMPE, 3.0))
    puller.tension_n(10)
    with pytest.raises(ValueError, match="expected time to go forward"):
        puller.pull_to(100.0, 9, 0)
    with pytest.raises(ValueError, match="below zero"):
        Pull(0, -1.0)
