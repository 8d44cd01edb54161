"""Trials whose measuring is known to be unsure, against statsmodels, an independent library for weighted regression."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.regression.linear_model import WLS

from station.linework.shrinkage import Estimate, Trial, estimate

_LENGTH_M = st.floats(0.05, 0.3)
_ROWS = st.lists(st.tuples(_LENGTH_M, st.floats(0.03, 0.1), st.floats(1e-4, 3e-3)), min_size=3, max_size=12)


def wls(trials: list[Trial], scatter_m: float) -> tuple[float, float, float]:
    """Give k, its standard error for known variances, and the weighted mean square, as the library has them."""
    variances = [scatter_m**2 + (each.standard_uncertainty_m or 0.0) ** 2 for each in trials]
    model = WLS(
        np.array([each.shortening_m for each in trials]),
        np.array([[each.trap_m] for each in trials]),
        weights=1 / np.array(variances),
    )
    fit = model.fit()
    return float(fit.params[0]), float(fit.normalized_cov_params[0, 0]) ** 0.5, float(fit.scale)


def known(found: Estimate) -> tuple[float, float, float]:
    """Give coefficient, standard uncertainty and scatter, all known."""
    shrinkage = found.shrinkage
    assert shrinkage.standard_uncertainty is not None
    assert shrinkage.scatter_m is not None
    return shrinkage.coefficient, shrinkage.standard_uncertainty, shrinkage.scatter_m


@settings(max_examples=60, deadline=None)
@given(_ROWS)
def test_coefficient_and_uncertainty_are_those_of_known_variances(rows: list[tuple[float, float, float]]) -> None:
    """Coefficient and standard uncertainty are the library's for variances scatter^2 + u^2; the mean square is 1."""
    trials = [Trial(t, k * t, standard_uncertainty_m=u) for t, k, u in rows]
    k, uncertainty, scatter_m = known(estimate(trials))
    their_k, their_uncertainty, mean_square = wls(trials, scatter_m)
    assert k == pytest.approx(their_k, rel=1e-9)
    assert uncertainty == pytest.approx(their_uncertainty, rel=1e-6)
    if scatter_m > 1e-6:
        assert mean_square == pytest.approx(1.0, rel=1e-6)
    else:  # the measuring alone explains what is seen
        assert mean_square <= 1 + 1e-6


@settings(max_examples=60, deadline=None)
@given(_ROWS, st.floats(1e-5, 1e-3))
def test_equal_uncertainties_change_nothing_but_what_is_called_scatter(
    rows: list[tuple[float, float, float]], u_m: float
) -> None:
    """With equal u k is that of the unweighted fit, and scatter^2 + u^2 its scatter^2, unless u alone is larger."""
    plain = known(estimate([Trial(t, k * t) for t, k, _ in rows]))
    same = known(estimate([Trial(t, k * t, standard_uncertainty_m=u_m) for t, k, _ in rows]))
    assert same[0] == pytest.approx(plain[0], rel=1e-12)
    assert math.hypot(same[2], u_m) == pytest.approx(max(plain[2], u_m), rel=1e-9)
    assert same[1] * plain[2] == pytest.approx(plain[1] * max(plain[2], u_m), rel=1e-9, abs=1e-15)


def test_a_scatter_that_was_put_in_is_found() -> None:
    """Of 4000 invented trials with scatter 0.8 mm, measured with 0.3 to 2 mm, the scatter comes out within 5 %."""
    chance = np.random.default_rng(7)
    traps_m, sure_m = chance.uniform(0.08, 0.2, 4000), chance.uniform(0.0003, 0.002, 4000)
    shortenings_m = 0.06 * traps_m + chance.normal(0, 0.0008, 4000) + chance.normal(0, sure_m)
    rows = zip(traps_m.tolist(), shortenings_m.tolist(), sure_m.tolist(), strict=True)
    k, uncertainty, scatter_m = known(estimate([Trial(t, s, standard_uncertainty_m=u) for t, s, u in rows]))
    assert scatter_m == pytest.approx(0.0008, rel=0.05)
    assert abs(k - 0.06) < 4 * uncertainty


def test_a_trial_without_uncertainty_weighs_as_the_typical_one() -> None:
    """A trial whose measuring nobody knows counts as one measured with the root mean square of the others."""
    rows = [(0.1, 0.0060, 0.001), (0.12, 0.0075, 0.002), (0.15, 0.0080, 0.0005)]
    typical_m = math.sqrt(sum(u * u for *_, u in rows) / 3)
    trials = [Trial(t, s, standard_uncertainty_m=u) for t, s, u in rows]
    untold, told = Trial(0.11, 0.008), Trial(0.11, 0.008, standard_uncertainty_m=typical_m)
    assert known(estimate([*trials, untold])) == pytest.approx(known(estimate([*trials, told])), rel=1e-9)
