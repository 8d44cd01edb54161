"""Control charts against printed limits, constants integrated anew, and false alarms counted two other ways.

The example of flow rates, its mean, mean range and limits are those of the NIST/SEMATECH e-Handbook of Statistical
Methods, 6.3.2.2 (read second-hand).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from station.measuring.control import (
    D2,
    D3,
    D4,
    E2,
    FALSE_ALARM_EVERY,
    FALSE_ALARM_SHARES,
    control,
    false_alarm_share,
)

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_the_handbooks_flow_rates() -> None:
    """Mean 50.81, mean range 1.8778 and limits 45.8159 and 55.8041 as printed (with d2 rounded to 1.128)."""
    found = control(FLOW)
    assert found.limits is not None
    assert found.range_limit is not None
    assert found.centre == pytest.approx(50.81, abs=5e-5)
    assert found.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert found.limits == pytest.approx((45.8159, 55.8041), abs=0.002)  # d2 1.128 for 1.12838
    assert (found.limits[1] - found.centre) * D2 / 1.128 == pytest.approx(55.8041 - 50.81, abs=1e-4)
    assert found.range_limit == pytest.approx(6.1347, abs=0.001)
    assert (found.state, found.provisional) == ("in control", True)


def test_the_constants_are_those_of_the_range_of_two_normal_figures() -> None:
    """d2 and d3 are mean and standard deviation of the range, by numeric integration; the tables print 2.66, 3.267."""

    def moment(power: int) -> float:  # the difference of two is normal with variance 2
        value, _ = quad(lambda r: r**power * 2 * norm.pdf(r, scale=math.sqrt(2)), 0, 40)
        return float(value)

    assert pytest.approx(moment(1), rel=1e-9) == D2
    assert pytest.approx(math.sqrt(moment(2) - moment(1) ** 2), rel=1e-9) == D3
    assert (round(D2, 3), round(E2, 2), round(D4, 3)) == (1.128, 2.66, 3.267)  # ISO 7870-2, from memory


def test_a_false_alarm_by_figures_alone_comes_every_153() -> None:
    """A chain of states for a limit of three sigma and eight on a side gives 152.73 (Champ, Woodall; from memory)."""
    inside = norm.cdf(3) - 0.5  # on one side, within the limit
    chain = np.zeros((8, 8))  # state: how many in a row on the present side, 0 at the start
    chain[0, 1] = 2 * inside
    for run in range(1, 8):
        chain[run, 1] += inside
        if run < 7:
            chain[run, run + 1] += inside
    every = np.linalg.solve(np.eye(8) - chain, np.ones(8))[0]
    assert every == pytest.approx(152.73, abs=0.01)
    assert 1 / (2 * norm.sf(3)) == pytest.approx(370.4, abs=0.1)


def signalled(
    figures: npt.NDArray[np.float64], centre: object, sigma: object, mean_range: object
) -> npt.NDArray[np.bool_]:
    """Tell for each row, figure by figure, where a rule is broken: in whole arrays, not as the station does it."""
    hit = np.abs(figures - centre) > 3 * np.asarray(sigma)
    hit[:, 1:] |= np.abs(np.diff(figures, axis=1)) > D4 * np.asarray(mean_range)
    side = np.sign(figures - centre)
    hit[:, 7:] |= np.abs(np.lib.stride_tricks.sliding_window_view(side, 8, axis=1).sum(2)) == 8
    return hit


def test_a_false_alarm_by_all_three_rules_comes_as_often_as_is_said() -> None:
    """Of 8000 rows with known limits the first signal comes after the stated number of figures on average."""
    figures = np.random.default_rng(11).standard_normal((8000, 800))
    hit = signalled(figures, 0.0, 1.0, D2)
    first = np.where(hit.any(axis=1), hit.argmax(axis=1) + 1, 800)
    assert first.mean() == pytest.approx(FALSE_ALARM_EVERY, abs=4 * first.std() / math.sqrt(len(first)) + 0.5)


@pytest.mark.parametrize("count", sorted(FALSE_ALARM_SHARES))
def test_charts_with_nothing_wrong_show_a_signal_as_often_as_is_said(count: int) -> None:
    """Of 6000 charts that reckon their limits from themselves the stated share shows a signal."""
    figures = np.random.default_rng(count).standard_normal((6000, count))
    ranges = np.abs(np.diff(figures, axis=1)).mean(axis=1, keepdims=True)
    share = signalled(figures, figures.mean(axis=1, keepdims=True), ranges / D2, ranges).any(axis=1).mean()
    assert share == pytest.approx(false_alarm_share(count), abs=0.005 + 4 * math.sqrt(share * (1 - share) / 6000))


def test_the_stations_rules_are_the_arrays() -> None:
    """Chart by chart the station finds a signal just where the arrays do."""
    figures = np.random.default_rng(3).standard_normal((400, 40))
    figures[:, 25:] += np.random.default_rng(4).uniform(0, 2, (400, 1))
    ranges = np.abs(np.diff(figures, axis=1)).mean(axis=1, keepdims=True)
    theirs = signalled(figures, figures.mean(axis=1, keepdims=True), ranges / D2, ranges).any(axis=1)
    ours = [bool(control(row.tolist()).signals) for row in figures]
    assert ours == theirs.tolist()
    assert 50 < sum(ours) < 399
