"""General-purpose uncertainty libraries as oracles: they share no code with ours."""

from __future__ import annotations

import math

import GTC
import pytest
import uncertainties

from station.measuring.scale_check import Indication, ScaleCheck, check_scale, uncertainty_at
from station.measuring.uncertainty import effective_dof, mean_and_sd, straight_line


@pytest.fixture
def check() -> ScaleCheck:
    """Check a scale that reads a little high and scatters."""
    errors = {50.0: (0.02, 0.05, 0.03), 100.0: (0.08, 0.05, 0.11), 150.0: (0.10, 0.14, 0.12)}
    rows = []
    for run in range(3):
        rows.append(Indication(run + 1, False, 0.0, 0.01))
        rows += [Indication(run + 1, False, force, force + error[run]) for force, error in errors.items()]
        rows += [Indication(run + 1, True, force, force + errors[force][run] + 0.04) for force in (100.0, 50.0)]
        rows.append(Indication(run + 1, True, 0.0, 0.02))
    return check_scale(rows, 400.0, 0.02, by_mass=True)


def test_gtc_gives_the_same_uncertainty_and_degrees_of_freedom(check: ScaleCheck) -> None:
    """GTC, from the same parts with their degrees of freedom, gives the same u, degrees of freedom, k and U."""
    ours = uncertainty_at(check, 120.0, drift_n=0.03)
    parts = [
        GTC.ureal(0.0, part, 2 if name == "repeatability" else math.inf) for name, part in ours.parts_n.items() if part
    ]
    theirs = sum(parts, GTC.ureal(0.0, 0.0))
    assert GTC.uncertainty(theirs) == pytest.approx(ours.standard_n, rel=1e-12)
    assert ours.effective_dof == math.floor(GTC.dof(theirs))
    factor = GTC.reporting.k_factor(ours.effective_dof, 95.45)
    assert ours.coverage_factor == pytest.approx(factor, rel=1e-6)
    assert ours.expanded_n == pytest.approx(factor * ours.standard_n + abs(ours.error_n), rel=1e-6)


def test_uncertainties_adds_the_same_parts(check: ScaleCheck) -> None:
    """The package `uncertainties`, adding the same parts, gives the same standard uncertainty."""
    ours = uncertainty_at(check, 80.0, latitude_known=True)
    total = sum(uncertainties.ufloat(0.0, part) for part in ours.parts_n.values() if part)
    assert total.std_dev == pytest.approx(ours.standard_n, rel=1e-12)


def test_gtc_fits_the_same_line_and_mean() -> None:
    """GTC's mean of repeated readings and its straight line, with their uncertainties, are ours."""
    readings = [30.02, 29.98, 30.05, 30.01, 29.97]
    mean, sd = mean_and_sd(readings)
    theirs = GTC.type_a.estimate(readings)
    assert GTC.value(theirs) == pytest.approx(mean, rel=1e-14)
    assert GTC.uncertainty(theirs) == pytest.approx(sd / math.sqrt(5), rel=1e-12)
    x, y = [10.0, 50.0, 100.0, 150.0, 200.0], [10.1, 50.0, 100.3, 150.2, 200.5]
    ours, line = straight_line(x, y), GTC.type_a.line_fit(x, y)
    assert GTC.value(line.a_b[1]) == pytest.approx(ours.slope, rel=1e-12)
    assert GTC.uncertainty(line.a_b[0]) == pytest.approx(ours.intercept_standard, rel=1e-10)
    assert GTC.uncertainty(line.a_b[1]) == pytest.approx(ours.slope_standard, rel=1e-10)


def test_gtc_agrees_on_effective_degrees_of_freedom() -> None:
    """Welch and Satterthwaite by GTC and by us, on the three parts of JCGM 100:2008, G.4.1."""
    parts = [(0.25, 9), (0.57, 4), (0.82, 14)]
    total = sum((GTC.ureal(0.0, u, dof) for u, dof in parts), GTC.ureal(0.0, 0.0))
    assert effective_dof(parts) == math.floor(GTC.dof(total))
