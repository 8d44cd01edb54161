"""The distributions against a statistics library (scipy) and a published table."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.distributions import normal_cdf, normal_quantile, student_t_quantile

probabilities = st.floats(1e-9, 1 - 1e-9) | st.floats(0.4, 0.6)


@given(st.floats(-37, 37))
def test_normal_cdf(z):
    """The normal distribution agrees with the library down to the far tail."""
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12, abs=1e-300)


@given(probabilities)
def test_normal_quantile(probability):
    """The normal quantile agrees with the library."""
    assert normal_quantile(probability) == pytest.approx(stats.norm.ppf(probability), rel=1e-12, abs=1e-15)


@given(probabilities, st.floats(0.2, 1e7))
def test_student_t_quantile(probability, degrees_of_freedom):
    """Student's t agrees with the library for any degrees of freedom, whole or not."""
    expected = stats.t.ppf(probability, degrees_of_freedom)
    assert student_t_quantile(probability, degrees_of_freedom) == pytest.approx(expected, rel=1e-10, abs=1e-12)


# JCGM 100:2008, table G.2: t for a fraction of 95 % within +-t, as printed there.
TABLE_G2_95 = {
    1: 12.71,
    2: 4.30,
    3: 3.18,
    4: 2.78,
    5: 2.57,
    6: 2.45,
    7: 2.36,
    8: 2.31,
    9: 2.26,
    10: 2.23,
    11: 2.20,
    12: 2.18,
    13: 2.16,
    14: 2.14,
    15: 2.13,
    16: 2.12,
    17: 2.11,
    18: 2.10,
    19: 2.09,
    20: 2.09,
    25: 2.06,
    30: 2.04,
    35: 2.03,
    40: 2.02,
    45: 2.01,
    50: 2.01,
    100: 1.984,
    math.inf: 1.960,
}


@pytest.mark.parametrize("degrees_of_freedom", TABLE_G2_95)
def test_the_guides_table(degrees_of_freedom):
    """Every value of the 95 % column is ours, rounded as printed (JCGM 100:2008, table G.2)."""
    printed = TABLE_G2_95[degrees_of_freedom]
    places = 3 if degrees_of_freedom >= 100 else 2
    assert round(student_t_quantile(0.975, degrees_of_freedom), places) == printed


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, math.nan])
def test_no_probability(probability):
    """Only a probability strictly between 0 and 1 has a quantile."""
    with pytest.raises(ValueError, match="probability"):
        normal_quantile(probability)
    with pytest.raises(ValueError, match="probability"):
        student_t_quantile(probability, 5)


@pytest.mark.parametrize("degrees_of_freedom", [0.0, -1.0, math.nan])
def test_no_degrees_of_freedom(degrees_of_freedom):
    """Without degrees of freedom there is no quantile."""
    with pytest.raises(ValueError, match="degrees of freedom"):
        student_t_quantile(0.9, degrees_of_freedom)
