"""The metrology of holds and scale checks against worked examples in print. Sources stand beside each value."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from station.distributions import normal_cdf, normal_quantile, student_t_quantile
from station.measuring.hold import acceptance_limits, judge, typed_uncertainty
from station.measuring.scale_check import CLASSES, STANDARD_GRAVITY, local_gravity, weight_n
from station.measuring.trace import Trace
from station.measuring.uncertainty import conformance, coverage_factor, effective_dof, mean_and_sd, straight_line
from station.settings.hold import HoldSpecification

DATA = Path(__file__).parent / "data"


def column(file: str, name: str) -> list[float]:
    """Read one column of a data file, whose first line names its source."""
    lines = (DATA / file).read_text().splitlines()[1:]
    return [float(row[name]) for row in csv.DictReader(lines)]


# ------------------------------------------------------------------ JCGM 106:2012


def test_zener_diode_and_burst_strength() -> None:
    """JCGM 106:2012, 7.3.3: conformance probabilities of 0.92 (upper limit) and 0.99 (lower limit)."""
    assert round(conformance(-5.47, 0.05, high=-5.40), 2) == 0.92
    assert round(conformance(509.7, 8.6, low=490.0), 2) == 0.99


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_one_sided_quantiles(p: float, z: float) -> None:
    """JCGM 106:2012, table 1: the values of z for one-sided conformance probabilities."""
    assert round(normal_quantile(p), 2) == z
    assert conformance(z, 1.0, low=0.0) == pytest.approx(p, abs=0.002)


def test_speed_limit() -> None:
    """JCGM 106:2012, 8.3.3: 100 km/h, 2 %, 99.9 % gives an acceptance limit of 107 km/h."""
    z = normal_quantile(0.999)
    limit = 100 / (1 - 0.02 * z)
    assert round(limit) == 107
    assert 1 - conformance(limit, 0.02 * limit, high=100.0) == pytest.approx(0.999, abs=1e-4)


def test_a_guard_band_of_u_leaves_at_most_2_3_percent() -> None:
    """JCGM 106:2012, 8.3.2.3: accepted at exactly T - U, with U = 2 u, an item conforms with at least 97.7 %."""
    low, high, expanded = 124_550, 200_170, 890
    spec = HoldSpecification("main", 133_447, low, high, 266_893, 1_000_000)
    limits = acceptance_limits(spec, typed_uncertainty(expanded))
    assert limits == (low + expanded, high - expanded)
    at = np.arange(0, 1_100_000, 100_000)
    codes = np.zeros(len(at), np.int8)
    judged = judge(Trace(at, np.full(len(at), limits[0]), codes, codes + 2), spec, typed_uncertainty(expanded))
    assert judged.verdict == "held"
    assert (judged.conformance or 0) / 1e9 == pytest.approx(0.97725, abs=1e-5)  # Phi(2): 2.3 % is left


def test_capability_index_of_one() -> None:
    """JCGM 106:2012, 7.7.5: with C_m = T / (4 u) = 1, p_c reaches 95 % only for 0.45 <= y <= 0.55 of the band."""
    for place, enough in ((0.45, True), (0.5, True), (0.55, True), (0.44, False), (0.56, False)):
        assert (conformance(place, 0.25, 0.0, 1.0) >= 0.95) is enough


def test_resistors_risks() -> None:
    """JCGM 106:2012, 9.5.3: guarded resistors; p_c 0.90, consumer's risk 0.00988, producer's risk 0.0690."""
    y0, u0, um = 1500.0, 0.12, 0.04
    low, high, accept_low, accept_high = 1499.8, 1500.2, 1499.82, 1500.18
    assert round(conformance(y0, u0, low, high), 2) == 0.90
    true = np.linspace(y0 - 8 * u0, y0 + 8 * u0, 40_001)
    density = np.exp(-(((true - y0) / u0) ** 2) / 2) / (u0 * math.sqrt(2 * math.pi))
    accepted = np.array([conformance(each, um, accept_low, accept_high) for each in true])
    good = (true >= low) & (true <= high)
    step = true[1] - true[0]
    assert float((density * accepted * ~good).sum() * step) == pytest.approx(0.00988, abs=2e-5)
    assert float((density * (1 - accepted) * good).sum() * step) == pytest.approx(0.0690, abs=1e-4)


# ------------------------------------------------------------------ JCGM 100:2008 (GUM)


def test_repeated_observations() -> None:
    """JCGM 100:2008, 4.4.3: twenty readings have mean 100.145, s 1.489 and s of the mean 0.333."""
    mean, sd = mean_and_sd(column("gum_4_4_3_typeA.csv", "t_degC"))
    assert (round(mean, 3), round(sd, 3), round(sd / math.sqrt(20), 3)) == (100.145, 1.489, 0.333)


def test_effective_degrees_of_freedom() -> None:
    """JCGM 100:2008, G.4.1: 0.25, 0.57 and 0.82 % with 9, 4 and 14 degrees give 19.0, and t95 = 2.09.

    The sum, 18.96, is 19.0 in print to three figures; cut to a whole number, as G.6.4 asks, it is 18.
    """
    parts = [(0.25, 9), (0.57, 4), (0.82, 14)]
    exact = sum(u**2 for u, _ in parts) ** 2 / sum(u**4 / dof for u, dof in parts)
    assert round(exact, 1) == 19.0
    assert effective_dof(parts) == math.floor(exact)
    assert round(coverage_factor(19, 0.95), 2) == 2.09


def test_end_gauge() -> None:
    """JCGM 100:2008, H.1: t99 with 16 effective degrees of freedom is 2.92, and U99 is 93 nm for u = 32 nm."""
    assert round(coverage_factor(16, 0.99), 2) == 2.92
    assert round(coverage_factor(16, 0.99) * 32) == 93


def test_students_t_table() -> None:
    """JCGM 100:2008, table G.2: every row and column, but for one cell that is misprinted (t90 of 35: 1.70)."""
    lines = (DATA / "gum_table_g2_student_t.csv").read_text().splitlines()[1:]
    checked = 0
    for row in csv.DictReader(lines):
        dof = math.inf if row["nu"] == "inf" else float(row["nu"])
        for name, text in row.items():
            if name == "nu" or (row["nu"] == "35" and name == "p90"):
                continue
            decimals = len(text.partition(".")[2])
            # 68.27, 95.45 and 99.73 % stand for one, two and three standard deviations, which is what is tabulated.
            sigmas = {"p68.27": 1, "p95.45": 2, "p99.73": 3}.get(name)
            p = (1 + float(name[1:]) / 100) / 2 if sigmas is None else normal_cdf(sigmas)
            assert student_t_quantile(p, dof) == pytest.approx(float(text), abs=0.51 * 10**-decimals), (row["nu"], name)
            checked += 1
    assert checked == 167


def test_straight_line_calibration() -> None:
    """JCGM 100:2008, H.3: the line, its uncertainties, correlation and scatter, and the prediction at 30 degC."""
    t, b = column("gum_h3_calibration.csv", "t_k"), column("gum_h3_calibration.csv", "b_k")
    line = straight_line(t, b, origin=20.0)
    assert (round(line.intercept, 4), round(line.intercept_standard, 4)) == (-0.1712, 0.0029)
    assert (round(line.slope, 5), round(line.slope_standard, 5)) == (0.00218, 0.00067)
    assert (round(line.correlation, 3), round(line.residual_sd, 4), line.dof) == (-0.930, 0.0035, 9)
    height, standard = line.at(30.0)
    assert (round(height, 4), round(standard, 4)) == (-0.1494, 0.0041)


# ------------------------------------------------------------------ NIST StRD


def test_numacc3_and_michelso() -> None:
    """NIST StRD: mean and standard deviation as certified, where naive sums lose most digits."""
    mean, sd = mean_and_sd(column("nist_numacc3.csv", "y"))
    assert mean == pytest.approx(1_000_000.2, rel=1e-15)
    assert sd == pytest.approx(0.1, rel=1e-9)
    mean, sd = mean_and_sd(column("nist_michelso.csv", "y"))
    assert mean == pytest.approx(299.8524, rel=1e-14)
    assert sd == pytest.approx(0.0790105478190518, rel=1e-12)


def test_norris() -> None:
    """NIST StRD Norris: intercept, slope, their standard deviations and the residual's, as certified."""
    line = straight_line(column("nist_norris.csv", "x"), column("nist_norris.csv", "y"))
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.intercept_standard == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.slope_standard == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)


def test_a_statistics_library_agrees() -> None:
    """Scipy's linear regression gives the same line on other data."""
    chance = np.random.default_rng(5)
    x = chance.uniform(10, 200, 25)
    y = 0.3 + 1.002 * x + chance.normal(0, 0.2, 25)
    ours, theirs = straight_line(list(x), list(y)), stats.linregress(x, y)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-12)
    assert ours.intercept_standard == pytest.approx(theirs.intercept_stderr, rel=1e-10)


# ------------------------------------------------------------------ gravity and buoyancy


@pytest.mark.parametrize(
    ("degrees", "gravity"),
    [
        (0, 9.7803253359),  # WGS 84, equator
        (45, 9.8061977694),  # computed from the constants
        (50, 9.810702135603085),  # the value printed in the documentation of the Python package ahrs 0.4.0
        (90, 9.8321849378),  # WGS 84, pole
    ],
)
def test_normal_gravity(degrees: float, gravity: float) -> None:
    """Gravity on the WGS 84 ellipsoid at four latitudes; standard gravity where no latitude is given."""
    assert local_gravity(math.radians(degrees)) == pytest.approx(gravity, abs=2e-9)
    assert local_gravity(None) == STANDARD_GRAVITY == 9.80665


def test_gravity_falls_with_height() -> None:
    """Each metre up takes about 3.086e-6 m/s2 off gravity (the free-air gradient, from memory)."""
    fallen = local_gravity(math.radians(45)) - local_gravity(math.radians(45), 100.0)
    assert fallen == pytest.approx(100 * 3.086e-6, rel=1e-3)


def test_dead_weight_of_thirty_pounds() -> None:
    """13.6077711 kg at standard gravity hang with 133.42663 N: 30 lbf less 0.015 % for buoyancy (computed)."""
    assert weight_n(13.6077711, STANDARD_GRAVITY) == pytest.approx(133.42663, abs=5e-6)


def test_mass_calibration_with_buoyancy() -> None:
    """JCGM 101:2008, 9.3: drawn at random, the weight balanced by the reference has 1.234 mg and u = 0.0754 mg.

    Inputs from memory: reference 100 000.000 mg (0.050), added 1.234 mg (0.020), air 1.10 to 1.30 kg/m3, densities
    7 000 to 9 000 and 7 950 to 8 050 kg/m3; masses are conventional (8 000 kg/m3 in air of 1.2 kg/m3).
    """
    chance = np.random.default_rng(7)
    n = 400_000
    reference = chance.normal(100_000.000, 0.050, n) + chance.normal(1.234, 0.020, n)
    air, of_weight, of_reference = (
        chance.uniform(1.1, 1.3, n),
        chance.uniform(7000, 9000, n),
        chance.uniform(7950, 8050, n),
    )
    whole = weight_n(1.0, 1.0)
    true_reference = reference * whole / (1 - 1.2 / of_reference)
    force = true_reference * (1 - air / of_reference)
    balanced = force / (1 - air / of_weight)
    conventional = balanced * (1 - 1.2 / of_weight) / whole - 100_000.0
    assert float(conventional.mean()) == pytest.approx(1.2341, abs=0.0005)
    assert float(conventional.std()) == pytest.approx(0.0754, abs=0.0004)
    assert weight_n(float(balanced[0]), 1.0, float(of_weight[0]), float(air[0])) == pytest.approx(float(force[0]))


# ------------------------------------------------------------------ classes


@pytest.mark.parametrize(("name", "steps"), [("0.5", 400), ("1", 200), ("2", 100), ("3", 67)])
def test_classes_agree_with_their_own_lower_limit(name: str, steps: int) -> None:
    """ISO 7500-1, table 2 (from memory): the resolution limit a and the lowest verified force agree, 100 r / a."""
    assert round(100 / CLASSES[name][4]) == steps


def test_load_cell_creep_example() -> None:
    """OIML R 60-1, 5.5.1: a class C3 cell at full load may creep 0.7 x (0.7 x 1.5 v) = 0.735 v in half an hour.

    The scale check takes a drift as the change of the mean error, over root three, and that is what such a creep costs.
    """
    from station.measuring.scale_check import Indication, check_scale, uncertainty_at

    v = 0.1
    creep = 0.7 * (0.7 * 1.5 * v)
    assert creep / v == pytest.approx(0.735)
    loads = [(False, f) for f in (0.0, 50.0, 100.0, 150.0)] + [(True, f) for f in (100.0, 50.0, 0.0)]
    rows = [Indication(run, down, force, force) for run in (1, 2, 3) for down, force in loads]
    check = check_scale(rows, 300.0, v)
    with_creep, without = uncertainty_at(check, 100.0, drift_n=creep), uncertainty_at(check, 100.0)
    assert with_creep.parts_n["drift"] == pytest.approx(creep / math.sqrt(3))
    assert with_creep.standard_n**2 - without.standard_n**2 == pytest.approx(creep**2 / 3)
