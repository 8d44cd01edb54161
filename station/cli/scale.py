"""`fidbench scale-check`: what a check against dead weights or a reference instrument says of a scale."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import ANGLE, FORCE, LENGTH, RATIO, as_json, print_json, say, warn

if TYPE_CHECKING:
    from station.measuring.scale_check import ScaleCheck, ScaleUncertaintyAt


@click.command("scale-check")
@click.argument("check_file", metavar="CHECK.csv")
@click.option("--at", "target", type=FORCE, required=True, help='The pull that will be judged, as in "30 lbf".')
@click.option("--latitude", type=ANGLE, help='Where the weights hang, as in "47.5 deg"; for local gravity.')
@click.option("--height", type=LENGTH, help='How high above the sea, as in "100 m".')
@click.option("--density", type=float, default=8000.0, show_default=True, help="Of the weights, in kg/m3.")
@click.option("--capacity", type=FORCE, help='The scale\'s, as in "100 lbf".')
@click.option("--resolution", type=FORCE, help='The scale\'s smallest step, as in "0.02 lbf".')
@click.option("--reference", type=RATIO, default="0.05 %", show_default=True, help="How well the weights are known.")
@as_json
def scale_check(
    check_file: str,
    target: Fraction,
    latitude: Fraction | None,
    height: Fraction | None,
    density: float,
    capacity: Fraction | None,
    resolution: Fraction | None,
    reference: Fraction,
    as_json: bool,
) -> int:
    """Tell a scale's class, error and uncertainty from a check (CSV: run,direction,applied,indicated).

    Exit status 0 when the scale has a class, 1 when it has none, 2 when the check cannot be used.
    """
    import math

    from station.measuring import scale_check as checks

    if not (math.isfinite(density) and density > checks.AIR_DENSITY):
        raise click.BadParameter(f"found {density:g}, expected a density above that of air", param_hint="--density")
    if latitude is not None and abs(float(latitude)) > math.pi / 2:
        raise click.BadParameter("expected a latitude from -90 deg to 90 deg", param_hint="--latitude")
    for option, value in (("--capacity", capacity), ("--resolution", resolution), ("--at", target)):
        if value is not None and value <= 0:
            raise click.BadParameter("expected a force above 0 lbf", param_hint=option)
    if reference < 0:
        raise click.BadParameter("expected a share of 0 % or more", param_hint="--reference")
    latitude_rad = None if latitude is None else float(latitude)
    indications, by_mass = checks.read_check(check_file, latitude_rad, float(height or 0), density)
    try:
        check = checks.check_scale(
            indications,
            None if capacity is None else float(capacity),
            None if resolution is None else float(resolution),
            by_mass,
        )
        found = checks.uncertainty_at(check, float(target), latitude is not None, float(reference))
    except checks.ScaleCheckFault as fault:
        raise checks.ScaleCheckFault(f"{check_file}: {fault}") from None
    if resolution is None:
        warn("fidbench: without --resolution there is no class, and the resolution's share is missing from U")
    if by_mass and latitude is None:
        warn("fidbench: without --latitude local gravity is unknown: its spread over the earth is added to U")
    if height is not None and latitude is None:
        warn("fidbench: --height counts only with --latitude: gravity is taken as the standard one")
    if as_json:
        print_json(check_answer(check, found))
    else:
        say("\n".join(check_lines(check, found, float(target))))
    return 0 if check.scale_class is not None else 1


def check_answer(check: ScaleCheck, found: ScaleUncertaintyAt) -> dict[str, Any]:
    """Give a check as the command prints it in JSON."""
    return {
        "points": [
            {
                "force_n": point.force_n,
                "error_pct": point.error_pct,
                "repeatability_pct": point.repeatability_pct,
                "reversibility_pct": point.reversibility_pct,
                "resolution_pct": point.resolution_pct,
            }
            for point in check.points
        ],
        "zero_error_pct": check.zero_error_pct,
        "class": None if check.scale_class is None else _number(check.scale_class),
        "standard_uncertainty_n": found.standard_n,
        "uncorrected_error_n": found.error_n,
        "effective_degrees_of_freedom": found.effective_dof,
        "coverage_factor": found.coverage_factor,
        "expanded_uncertainty_n": found.expanded_n,
        "narrowest_band_n": found.narrowest_band_n,
    }


def _number(name: str) -> float | int:
    return float(name) if "." in name else int(name)


def check_lines(check: ScaleCheck, found: ScaleUncertaintyAt, target_n: float, unit: str = "lbf") -> list[str]:
    """Give a check as lines for a person."""
    from station.units import MINUS, force_text, in_unit

    decimals = 3

    def force(newtons: float) -> str:
        return force_text(newtons, unit, decimals)

    def signed(newtons: float) -> str:
        return f"{in_unit(newtons, unit):+.{decimals}f} {unit}".replace("-", MINUS)

    lines = [f"   applied, {unit}   error %   repeatability %   reversibility %   resolution %"]
    for point in check.points:
        resolution = "unknown" if point.resolution_pct is None else f"{point.resolution_pct:.3f}"
        row = (
            f"{in_unit(point.force_n, unit):15.3f} {point.error_pct:+9.3f} {point.repeatability_pct:17.3f} "
            f"{point.reversibility_pct:+17.3f} {resolution:>14}"
        )
        lines.append(row.replace("-", MINUS))
    named = "none (it fits no class)" if check.resolution_n is not None else "none (its resolution is not given)"
    lines += [
        f"zero error {check.zero_error_pct:.3f} %",
        f"class {check.scale_class or named}; limits of ISO 7500-1, from memory",
        "",
        f"at {force_text(target_n, unit)}:",
        f"  mean error, not corrected   {signed(found.error_n)}",
        f"  standard uncertainty u      {force(found.standard_n)}",
        f"  coverage factor k           {found.coverage_factor:.3f}"
        + ("" if found.effective_dof is None else f", {found.effective_dof} effective degrees of freedom"),
        f"  U = k u + |error|           {force(found.expanded_n)}",
        f"  the narrowest band this scale can prove is {force(found.narrowest_band_n)} wide",
    ]
    parts = sorted(found.parts_n.items(), key=lambda part: -part[1])
    lines.append("  from " + ", ".join(f"{name} {force(part)}" for name, part in parts if part > 0))
    return lines
