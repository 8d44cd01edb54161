"""What is known of a scale: its errors against dead weights or a reference instrument, its class, its uncertainty.

A check is at least three points, three runs up and one down, with a zero before and after each run. Errors are in
percent of the applied force, as ISO 7500-1 names them: relative error q, repeatability b, reversibility v, resolution
a, and the zero error f0 (its limits are from memory; they agree with 100 r/a, the standard's own lowest verified
force). The uncertainty at one target follows the GUM (JCGM 100:2008): standard uncertainties of the reference, of
gravity, of repetition, resolution, reversibility, zero and drift, their root sum of squares, effective degrees of
freedom by Welch and Satterthwaite (G.4.1), Student's t for 95.45 %. An uncorrected mean error is added to U in full,
never averaged away.

>>> loads = [(False, 0.0), (False, 50.0), (False, 100.0), (False, 150.0), (True, 100.0), (True, 50.0), (True, 0.0)]
>>> readings = [Indication(run, down, force, force * 1.001) for run in (1, 2, 3) for down, force in loads]
>>> check = check_scale(readings, capacity_n=400.0, resolution_n=0.1)
>>> check.scale_class, [round(point.error_pct, 3) for point in check.points]
('0.5', [0.1, 0.1, 0.1])
>>> round(uncertainty_at(check, 120.0).expanded_n, 3)
0.227
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from station.measuring.uncertainty import coverage_factor, effective_dof, mean_and_sd
from station.settings.sheet import SheetRow, read_sheet
from station.units import QuantityFault, force_text, quantity

STANDARD_GRAVITY = 9.80665
AIR_DENSITY = 1.2  # kg/m3, conventional (OIML D 28; R 111)
WEIGHT_DENSITY = 8000.0  # kg/m3, conventional
GRAVITY_SPREAD = 0.0027  # how far local gravity may lie from the standard one, either way, where no latitude is given
REFERENCE_SHARE = 0.0005
FEWEST_POINTS, FEWEST_UP, FEWEST_DOWN = 3, 3, 1

# ISO 7500-1, table 2 (from memory): class -> limits of q, b, v, f0, a in percent.
CLASSES: dict[str, tuple[float, float, float, float, float]] = {
    "0.5": (0.5, 0.5, 0.75, 0.05, 0.25),
    "1": (1.0, 1.0, 1.5, 0.1, 0.5),
    "2": (2.0, 2.0, 3.0, 0.2, 1.0),
    "3": (3.0, 3.0, 4.5, 0.3, 1.5),
}


class ScaleCheckFault(ValueError):
    """A scale check is not one: too few points or runs, or a target outside it; the message says what is missing."""


@dataclass(frozen=True)
class Indication:
    """One row of a check: the applied force in newtons (0 at zero) and what the scale said, in newtons."""

    run: int
    down: bool
    applied_n: float
    indicated_n: float


@dataclass(frozen=True)
class Point:
    """One applied force: errors in percent of it, and in newtons the mean error and the scatter of the upward runs."""

    force_n: float
    error_pct: float
    largest_error_pct: float
    repeatability_pct: float
    reversibility_pct: float
    resolution_pct: float | None
    mean_error_n: float
    scatter_n: float
    runs: int


@dataclass(frozen=True)
class ScaleCheck:
    """A whole check. `scale_class` is None where no class's limits hold or no resolution is given."""

    points: tuple[Point, ...]
    zero_error_pct: float
    largest_zero_n: float
    resolution_n: float | None
    scale_class: str | None
    by_mass: bool


@dataclass(frozen=True)
class ScaleUncertaintyAt:
    """What is known of the scale at one force, in newtons. `effective_dof` is None where it is infinite."""

    standard_n: float
    error_n: float
    effective_dof: int | None
    coverage_factor: float
    expanded_n: float
    parts_n: dict[str, float]

    @property
    def narrowest_band_n(self) -> float:
        """Give the width of the narrowest band this scale can prove."""
        return 2 * self.expanded_n


def local_gravity(latitude_rad: float | None, height_m: float = 0.0) -> float:
    """Give gravity in m/s2 by the WGS 84 ellipsoid formula, with height above the ellipsoid; standard without latitude.

    Constants and the height term: WGS 84 (NGA.STND.0036, from memory; recomputed in tests/outside).
    """
    if latitude_rad is None:
        return STANDARD_GRAVITY
    a, f, m = 6_378_137.0, 1 / 298.257223563, 0.00344978650684
    sin2 = math.sin(latitude_rad) ** 2
    surface = 9.7803253359 * (1 + 0.00193185265241 * sin2) / math.sqrt(1 - 0.00669437999014 * sin2)
    return surface * (1 - 2 * height_m / a * (1 + f + m - 2 * f * sin2) + 3 * height_m**2 / a**2)


def weight_n(mass_kg: float, gravity: float, density: float = WEIGHT_DENSITY, air: float = AIR_DENSITY) -> float:
    """Give the force of a mass hanging in air: m g (1 - rho_air / rho_mass); densities in kg/m3."""
    return mass_kg * gravity * (1 - air / density)


def read_check(
    path: Path | str, latitude_rad: float | None = None, height_m: float = 0.0, density: float = WEIGHT_DENSITY
) -> tuple[list[Indication], bool]:
    """Read a check file (`run,direction,applied,indicated`); tell as well whether any applied force was a mass.

    Raises `SettingsFault` naming file, row and column.
    """
    gravity = local_gravity(latitude_rad, height_m)
    by_mass = False
    indications = []
    for row in read_sheet(path, ["run", "direction", "applied", "indicated"]):
        force, mass = _applied(row)
        by_mass |= mass is not None and mass != 0
        applied_n = float(force) if mass is None else weight_n(float(mass), gravity, density)
        if applied_n < 0:
            raise row.fault("applied", f"found {row.text('applied')!r}, expected no force below zero")
        indications.append(
            Indication(
                run=row.get("run", _run),
                down=row.one_of("direction", ["up", "down"]) == "down",
                applied_n=applied_n,
                indicated_n=float(row.quantity("indicated", "force")),
            )
        )
    return indications, by_mass


def _applied(row: SheetRow) -> tuple[Fraction, Fraction | None]:
    """Read an applied load: a mass, or a force."""
    text = row.text("applied")
    try:
        return Fraction(0), quantity(text, "mass")
    except QuantityFault:
        pass
    try:
        return quantity(text, "force"), None
    except QuantityFault:
        raise row.fault("applied", f'found {text!r}, expected a mass or a force, as in "5 kg" or "30 lbf"') from None


def _run(text: str) -> int:
    if not text.isdecimal() or not text.isascii() or int(text) == 0:
        raise ValueError(f"found {text!r}, expected the number of the run, from 1")
    return int(text)


def check_scale(
    indications: Sequence[Indication],
    capacity_n: float | None = None,
    resolution_n: float | None = None,
    by_mass: bool = False,
) -> ScaleCheck:
    """Work out a check. Raises `ScaleCheckFault` where points, runs or zeros are missing, or a point stands twice."""
    _check_zeros(indications)
    _check_once(indications)
    zeros = [each.indicated_n for each in indications if each.applied_n == 0]
    forces = sorted({each.applied_n for each in indications if each.applied_n > 0})
    if len(forces) < FEWEST_POINTS:
        raise ScaleCheckFault(f"points above zero: found {len(forces)}, expected at least {FEWEST_POINTS}")
    points = tuple(_point(force, indications, resolution_n, force == forces[-1]) for force in forces)
    largest_zero_n = max(abs(zero) for zero in zeros)
    zero_error_pct = 100 * largest_zero_n / (capacity_n if capacity_n is not None else forces[-1])
    return ScaleCheck(
        points,
        zero_error_pct,
        largest_zero_n,
        resolution_n,
        _best_class(points, zero_error_pct) if resolution_n is not None else None,
        by_mass,
    )


def _check_zeros(indications: Sequence[Indication]) -> None:
    """Refuse a run without a zero before and after it; a run down may go on from the top of a run up."""
    if not any(each.applied_n for each in indications):
        raise ScaleCheckFault("found no loaded row, expected at least three points above zero in each run")
    for end, where in ((indications[0], "before"), (indications[-1], "after")):
        if end.applied_n != 0:
            raise ScaleCheckFault(f"run {end.run}: found no zero {where} its points, expected one at each end")
    for before, after in pairwise(indications):
        goes_on = before.run == after.run or (after.down and not before.down)
        if before.applied_n and after.applied_n and not goes_on:
            raise ScaleCheckFault(f"found no zero between run {before.run} and run {after.run}, expected one")


def _check_once(indications: Sequence[Indication]) -> None:
    """Refuse a point that one run has twice on the way up, or down: a row copied is no run more."""
    seen: set[tuple[int, bool, float]] = set()
    for each in indications:
        place = (each.run, each.down, each.applied_n)
        if each.applied_n and place in seen:
            raise ScaleCheckFault(
                f"run {each.run}: found {force_text(each.applied_n, 'N', 2)} twice on the way "
                f"{'down' if each.down else 'up'}, expected each point once; another pass has a number of its own"
            )
        seen.add(place)


def _point(force: float, indications: Sequence[Indication], resolution_n: float | None, top: bool) -> Point:
    at = force_text(force, "N", 2)
    up = [each.indicated_n for each in indications if each.applied_n == force and not each.down]
    down = [each.indicated_n for each in indications if each.applied_n == force and each.down]
    if len(up) < FEWEST_UP:
        raise ScaleCheckFault(f"runs up at {at}: found {len(up)}, expected at least {FEWEST_UP}")
    if len(down) < FEWEST_DOWN and not top:
        raise ScaleCheckFault(f"runs down at {at}: found none, expected at least {FEWEST_DOWN}")
    errors_pct = [100 * (each - force) / force for each in up]
    mean_up, scatter_n = mean_and_sd(up)
    mean_down = sum(down) / len(down) if down else mean_up  # at the top the way down begins
    return Point(
        force,
        sum(errors_pct) / len(up),
        max(abs(each) for each in errors_pct),
        max(errors_pct) - min(errors_pct),
        100 * (mean_down - mean_up) / force,
        None if resolution_n is None else 100 * resolution_n / force,
        mean_up - force,
        scatter_n,
        len(up),
    )


def _best_class(points: Sequence[Point], zero_error_pct: float) -> str | None:
    for name, (q, b, v, f0, a) in CLASSES.items():
        if zero_error_pct <= f0 and all(
            point.largest_error_pct <= q
            and point.repeatability_pct <= b
            and abs(point.reversibility_pct) <= v
            and point.resolution_pct is not None
            and point.resolution_pct <= a
            for point in points
        ):
            return name
    return None


def uncertainty_at(
    check: ScaleCheck,
    target_n: float,
    latitude_known: bool = False,
    reference_share: float = REFERENCE_SHARE,
    drift_n: float = 0.0,
) -> ScaleUncertaintyAt:
    """Give the uncertainty at a target inside the checked points; between points everything is taken as linear.

    `drift_n` is how much the mean error at the target changed since the check before. Raises `ScaleCheckFault` where
    the target lies outside the points.
    """
    points = check.points
    if not points[0].force_n <= target_n <= points[-1].force_n:
        raise ScaleCheckFault(
            f"found a target of {force_text(target_n)}, expected one inside the checked points, "
            f"{force_text(points[0].force_n)} to {force_text(points[-1].force_n)}"
        )
    low, high = next(pair for pair in pairwise(points) if pair[0].force_n <= target_n <= pair[1].force_n)
    share = (target_n - low.force_n) / (high.force_n - low.force_n)

    def between(at_low: float, at_high: float) -> float:
        return at_low + share * (at_high - at_low)

    error_n = between(low.mean_error_n, high.mean_error_n)
    runs = min(low.runs, high.runs)
    reversibility_pct = between(abs(low.reversibility_pct), abs(high.reversibility_pct))
    parts_n = {
        "reference": target_n * reference_share / math.sqrt(3),
        "gravity": GRAVITY_SPREAD * target_n / math.sqrt(3) if check.by_mass and not latitude_known else 0.0,
        "repeatability": between(low.scatter_n, high.scatter_n) * math.sqrt(1 + 1 / runs),
        "resolution": (check.resolution_n or 0.0) / math.sqrt(6),
        "reversibility": reversibility_pct * target_n / (100 * math.sqrt(3)),
        "zero": check.largest_zero_n / math.sqrt(3),
        "drift": abs(drift_n) / math.sqrt(3),
    }
    standard_n = math.sqrt(sum(part**2 for part in parts_n.values()))
    dof = effective_dof(
        (part, runs - 1 if name == "repeatability" else math.inf) for name, part in parts_n.items() if part > 0
    )
    factor = coverage_factor(dof)
    return ScaleUncertaintyAt(standard_n, error_n, dof, factor, factor * standard_n + abs(error_n), parts_n)
