import math
import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.linework.shrinkage import ASSUMED_SCATTER_M, FirstValue, Shrinkage, Trial, estimate
from station.linework.trial_plot import scatter_words
from tests.station.linework.trees import INCH

traps = st.floats(1.0, 12.0).map(lambda inches: inches * INCH)
trials = st.lists(
    st.builds(lambda trap, k, e: Trial(trap, k * trap + e), traps, st.floats(0.02, 0.1), st.floats(-1e-3, 1e-3)),
    min_size=2,
    max_size=30,
)
first_values = st.builds(FirstValue, st.floats(0.01, 0.1), st.floats(0.001, 0.05))


def test_with_no_trial_the_first_value_speaks():
    """Before any trial k and its uncertainty are the first value's, on four degrees of freedom."""
    found = estimate([], FirstValue(0.04, 0.01))
    assert found.shrinkage.coefficient == 0.04
    assert found.shrinkage.standard_uncertainty == pytest.approx(0.01)
    assert found.shrinkage.scatter_m == pytest.approx(INCH / 32)
    assert found.shrinkage.degrees_of_freedom == 4
    assert (found.n, found.suspects, found.more_trials, found.shrinkage.origin) == (0, (), None, "model")


def test_one_trial_alone_has_no_uncertainty():
    """One trial gives k and nothing more: no uncertainty, no scatter, no interval."""
    found = estimate([Trial(5 * INCH, 0.3 * INCH)])
    assert found.shrinkage.coefficient == pytest.approx(0.06)
    assert (found.shrinkage.standard_uncertainty, found.shrinkage.scatter_m) == (None, None)
    assert found.shrinkage.degrees_of_freedom == 0
    assert found.shrinkage.allowance_95_m(0.1) is None
    assert found.more_trials is None


def test_nothing_known_is_refused():
    """Neither trial nor first value is no estimate, and a first value without uncertainty is no prior."""
    with pytest.raises(ValueError, match="no trial and no first value"):
        estimate([])
    with pytest.raises(ValueError, match="without uncertainty"):
        estimate([Trial(0.1, 0.01)], FirstValue(0.04, 0.0))


@given(trials, first_values)
def test_trials_one_by_one_or_all_at_once(rows, first):
    """The estimator is conjugate: its posterior after some trials, as prior for the rest, ends where all at once do."""
    cut = len(rows) // 2
    weight = (ASSUMED_SCATTER_M / first.standard_uncertainty) ** 2
    k, shape, spread = first.coefficient, 2.0, 2.0 * ASSUMED_SCATTER_M**2
    for row in (*rows[:cut], *rows[cut:]):
        weight_after = weight + row.trap_m**2
        k_after = (weight * k + row.trap_m * row.shortening_m) / weight_after
        spread += ((row.shortening_m - k_after * row.trap_m) ** 2 + weight * (k - k_after) ** 2) / 2
        weight, k, shape = weight_after, k_after, shape + 0.5
    found = estimate(rows, first).shrinkage
    assert found.coefficient == pytest.approx(k, rel=1e-9)
    assert found.scatter_m == pytest.approx(math.sqrt(spread / shape), rel=1e-9)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(spread / shape / weight), rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(2 * shape)


@given(trials, traps)
def test_the_interval_of_a_new_trap(rows, trap):
    """The allowance's interval is centred on k t and as wide as scatter and the uncertainty of k together ask."""
    found = estimate(rows, FirstValue(0.05, 0.02)).shrinkage
    low, high = found.allowance_95_m(trap)
    assert (low + high) / 2 == pytest.approx(found.allowance_m(trap), abs=1e-15)
    weight = (found.scatter_m / found.standard_uncertainty) ** 2
    scale = found.scatter_m * math.sqrt(1 + trap**2 / weight)
    assert (high - low) / 2 / scale > 1.9599
    assert found.allowance_m(trap) == found.coefficient * trap


def test_95_of_100_new_traps_fall_in_the_interval():
    """Of 4000 new traps, each after eight trials of its own, the interval holds 95 of 100 within the draws' error."""
    chance = random.Random(36)  # noqa: S311 seeded draws for a test, no secret
    inside, draws = 0, 4000
    for _ in range(draws):
        rows = [Trial(t * INCH, 0.06 * t * INCH + chance.gauss(0, 8e-4)) for t in (3, 4, 5, 6, 6, 5, 4, 3)]
        low, high = estimate(rows).shrinkage.allowance_95_m(5.5 * INCH)
        inside += low <= 0.06 * 5.5 * INCH + chance.gauss(0, 8e-4) <= high
    assert inside / draws == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / draws))


def test_a_typed_value_has_no_scatter():
    """A typed k of known uncertainty gives a normal interval; one without uncertainty counts as exact."""
    low, high = Shrinkage(0.0625, 0.01).allowance_95_m(0.1)
    assert (high - low) / 2 == pytest.approx(1.959963984540054 * 0.001)
    assert Shrinkage(0.0625, None).allowance_95_m(0.1) == (0.00625, 0.00625)


def test_the_trial_that_is_off_is_named_and_still_counts():
    """The row whose residual is out of line with the others is named from 1, and k is what least squares says."""
    rows = [
        Trial(t * INCH, 0.06 * t * INCH + e)
        for t, e in zip((3, 4, 5, 6, 4, 5), (1e-5, -2e-5, 0, 1e-5, 9e-4, -1e-5), strict=True)
    ]
    found = estimate(rows)
    assert found.suspects == (5,)
    assert found.shrinkage.coefficient == pytest.approx(
        sum(r.trap_m * r.shortening_m for r in rows) / sum(r.trap_m**2 for r in rows), rel=1e-12
    )


def test_a_perfect_fit_has_no_suspects():
    """What rounding leaves of trials that lie exactly on a line is no finding."""
    assert estimate([Trial(t * 0.1, t * 0.1 * 0.061) for t in range(1, 40)]).suspects == ()


def test_more_trials_by_trying_each_number():
    """The number of further trials is the first, counted up from one, that halves the interval."""
    from scipy import stats

    rows = [Trial(t * INCH, 0.06 * t * INCH + e) for t, e in ((3, 4e-4), (5, -5e-4), (6, 3e-4), (4, 1e-4))]
    for trap in (None, 6 * INCH, 60 * INCH):
        found = estimate(rows, trap_m=trap)
        mean_square = sum(r.trap_m**2 for r in rows) / 4
        t_square = mean_square if trap is None else trap**2

        def width(further, mean_square=mean_square, t_square=t_square):
            spread = math.sqrt(1 + t_square / ((4 + further) * mean_square))
            return stats.t.ppf(0.975, 3 + further) * spread

        expected = next((m for m in range(1, 2000) if width(m) <= width(0) / 2), None)
        assert found.more_trials == expected
    assert estimate(rows, trap_m=60 * INCH).more_trials is not None
    assert estimate(rows).more_trials is None


@pytest.mark.parametrize(("measured_m", "scatters"), [(2e-4, True), (1e-3, False)])
def test_more_trials_where_the_measuring_is_known(measured_m, scatters):
    """What measuring adds is no part of a new trap's interval, so without scatter enough trials always halve it."""
    from scipy import stats

    shifts = ((3, 4e-4), (5, -5e-4), (6, 3e-4), (4, 1e-4))
    rows = [Trial(t * INCH, 0.06 * t * INCH + e, standard_uncertainty_m=measured_m) for t, e in shifts]
    trap = 6 * INCH
    found = estimate(rows, trap_m=trap)
    known, mean_square = found.shrinkage, sum(r.trap_m**2 for r in rows) / 4
    assert (known.scatter_m > 0) == scatters

    def width(further):
        unsure = known.standard_uncertainty**2 * 4 * mean_square / ((4 + further) * mean_square)
        return stats.t.ppf(0.975, 3 + further) * math.sqrt(known.scatter_m**2 + unsure * trap**2)

    low, high = known.allowance_95_m(trap)
    assert width(0) == pytest.approx((high - low) / 2)
    assert found.more_trials == next((m for m in range(1, 2000) if width(m) <= width(0) / 2), None)
    assert found.more_trials is not None
    said = "one trap scatters by 1/64 in" if scatters else "traps scatter by no more than their measuring does"
    assert scatter_words(known, "imperial") == said


def test_100_000_trials_take_less_than_a_second():
    """A hundred thousand trials are estimated in under a second, to the value they were drawn from."""
    chance = random.Random(7)  # noqa: S311 seeded draws for a test, no secret
    rows = [Trial(t, 0.06 * t + chance.gauss(0, 5e-4)) for t in (chance.uniform(0.05, 0.2) for _ in range(100_000))]
    start = time.process_time()
    found = estimate(rows)
    assert time.process_time() - start < 1.0
    assert found.shrinkage.coefficient == pytest.approx(0.06, abs=5 * found.shrinkage.standard_uncertainty)
    assert found.shrinkage.scatter_m == pytest.approx(5e-4, rel=0.02)
