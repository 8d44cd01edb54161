from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.measuring.forecast import Forecast, forecast

EVERY_US = 12_500


def relaxing(until_s: float, start_mn: float, per_decade: float, noise_mn: float = 0.0, seed: int = 1) -> tuple:
    """Give stamps and tensions of a clamped line that falls by a share of its start in each tenfold of time."""
    at_us = np.arange(0, round(until_s * 1e6), EVERY_US)
    fallen = start_mn * per_decade * np.log10(1 + at_us / 1e6)
    noise = np.random.default_rng(seed).normal(0, noise_mn, len(at_us)) if noise_mn else 0
    return at_us, np.rint(start_mn - fallen + noise).astype(np.int64)


@given(st.floats(0.05, 0.2), st.integers(8, 25))
def test_a_straight_line_in_log_time_is_met(per_decade: float, seen_s: int) -> None:
    """On a line that relaxes straight in log time the crossing is foretold within a fifth of the time left."""
    start, low = 30_000.0, 28_200
    truly_s = 10 ** ((start - low) / (start * per_decade)) - 1
    said = forecast(*relaxing(seen_s, start, per_decade), low, 45_000, 10**12)
    if truly_s <= seen_s + 1 or truly_s > 3000:
        return
    assert isinstance(said, Forecast)
    left_s = truly_s - seen_s
    assert abs(said.crosses_us / 1e6 - truly_s) < max(2.0, 0.35 * left_s)
    assert said.earliest_us <= said.crosses_us <= said.latest_us


def test_it_aims_at_mid_band() -> None:
    """What to add brings the pull to the middle of the band."""
    said = forecast(*relaxing(15, 30_000, 0.045), 28_200, 45_000, 60_000_000)
    assert said is not None
    now = said.line[0][1]
    assert now + said.add_mn == (28_200 + 45_000) // 2


@pytest.mark.parametrize(
    ("start", "per_decade", "seen_s", "end_s"),
    [
        (30_000, 0.0, 20, 60),  # does not fall
        (30_000, 0.01, 20, 60),  # falls, but not so far
        (30_000, 0.06, 3, 60),  # too little seen
        (35_000, 0.05, 20, 60),  # the crossing lies beyond the end
        (30_000, 0.06, 61, 60),  # the time is over
    ],
)
def test_it_is_silent_when_it_does_not_know(start: float, per_decade: float, seen_s: float, end_s: float) -> None:
    """Nothing is said without a sure crossing before the end."""
    assert forecast(*relaxing(seen_s, start, per_decade, 30.0), 28_000, 45_000, round(end_s * 1e6)) is None


def test_a_top_up_begins_anew() -> None:
    """What was seen before the last rise of pull is not counted."""
    at_us, before = relaxing(15, 30_000, 0.06)
    later_us, after = relaxing(5, 36_000, 0.06)
    whole_us = np.concatenate([at_us, later_us + at_us[-1] + EVERY_US])
    assert forecast(whole_us, np.concatenate([before, after]), 28_200, 45_000, 60_000_000) is None


def test_nothing_read_is_nothing_said() -> None:
    """Without readings there is no forecast."""
    none = np.array([], np.int64)
    assert forecast(none, none, 28_000, 45_000, 60_000_000) is None
