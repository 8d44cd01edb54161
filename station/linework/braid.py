"""Why a trapped line gets shorter: the geometry of a hollow braid.

Each yarn of a hollow braid is a helix of fixed length: pull the braid wider and it must get shorter (Chou and Hannaford
1996). How much wider a guest makes its host is not known; two plausible packings give it in closed form. Neither is a
proven bound, and in both the growth of the host's own section is neglected:

- *thin tube*: the yarns ride on the outer surface, empty and full, and areas add;
- *closed disc*: the empty host lies closed under pull, a disc; full, it is a ring around the guest.

The first value of the shortening lies in the middle of the two, with the standard uncertainty of a rectangular
distribution between them (JCGM 100:2008, 4.3.7). This is a model until the shop's own trials speak.

>>> found = shortening_of_braid(math.radians(12), area_ratio=1.0)
>>> round(found.thin_tube.shortening, 5), round(found.closed_disc.shortening, 5)
(0.02339, 0.05754)
>>> round(found.first_value, 5), round(found.standard_uncertainty, 5)
(0.04046, 0.00986)
>>> shortening_of_braid(math.radians(30), 1.0).closed_disc.locked
True
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# A braid of inextensible yarns holds the most at tan(angle) = sqrt(2), 54.7356 degrees; it cannot swell past it.
_SINE_OF_GREATEST_VOLUME = math.sqrt(2 / 3)
_LARGEST_RATIO = 1000.0


@dataclass(frozen=True)
class Packing:
    """What one way of packing the guest makes of the host: all per unit of trap length."""

    swelling: float  # diameter of the yarns' helix after over before
    shortening: float | None
    angle_after_rad: float | None
    locked: bool


@dataclass(frozen=True)
class BraidShortening:
    """Both packings and, where neither is locked, the first value between them."""

    thin_tube: Packing
    closed_disc: Packing
    first_value: float | None
    standard_uncertainty: float | None


def shortening_of_braid(angle_rad: float, area_ratio: float = 1.0) -> BraidShortening:
    """Give how much a braid of `angle_rad` (yarn to axis, pulled, empty) shortens around a guest.

    `area_ratio` is the guest's solid area over the host's. Raises `ValueError` for an angle that is not between 0 and
    90 degrees and for a ratio that is not above 0, or that no guest has. A packing is *locked*, and has no number,
    where the braid would pass its angle of greatest volume.
    """
    if not 0.0 < angle_rad < math.pi / 2:
        found = math.degrees(angle_rad)
        raise ValueError(f"found a braid angle of {found:.6g} deg, expected one between 0 and 90 deg")
    if not 0.0 < area_ratio <= _LARGEST_RATIO:
        raise ValueError(f"found an area ratio of {area_ratio!r}, expected one above 0 and at most {_LARGEST_RATIO:g}")
    tube = _packed(angle_rad, math.sqrt(1 + area_ratio))
    disc = _packed(angle_rad, _ring_over_disc(area_ratio))
    if tube.shortening is None or disc.shortening is None:
        return BraidShortening(tube, disc, None, None)
    middle = (tube.shortening + disc.shortening) / 2
    return BraidShortening(tube, disc, middle, abs(disc.shortening - tube.shortening) / math.sqrt(12))


def braid_angle_rad(flat_width_m: float, picks_per_m: float, carriers: int) -> float:
    """Give the braid's angle from what can be seen on the line lying flat under pull.

    `picks_per_m` counts the crossings of one yarn family along the line, `carriers` all yarns of the braid. A tube
    pressed flat is half its girth wide, and one yarn goes once round in carriers/2 picks. Raises `ValueError` for
    anything not above 0, and for carriers in odd number, which no tube is braided of.
    """
    if not (flat_width_m > 0 and picks_per_m > 0 and carriers > 0):
        raise ValueError(
            f"found a flat width of {flat_width_m!r} m, {picks_per_m!r} picks per metre and {carriers!r} carriers; "
            "expected each above 0"
        )
    if carriers % 2:
        raise ValueError(f"found {carriers} carriers; half of a tube's go round each way, so expected an even number")
    lead_m = carriers / (2 * picks_per_m)
    return math.atan(2 * flat_width_m / lead_m)


def _ring_over_disc(area_ratio: float) -> float:
    """Give (1 + a)^(3/2) - a^(3/2), in a form that loses no digits where the guest is large."""
    outer, inner = 1 + area_ratio, area_ratio
    return (outer * outer + outer * inner + inner * inner) / (outer * math.sqrt(outer) + inner * math.sqrt(inner))


def _packed(angle_rad: float, swelling: float) -> Packing:
    sine_after = swelling * math.sin(angle_rad)
    if sine_after >= _SINE_OF_GREATEST_VOLUME:
        return Packing(swelling, None, None, True)
    angle_after_rad = math.asin(sine_after)
    # cos(before)/cos(after) - 1 written as a difference of sines, exact for small angles too
    difference = math.sin((angle_after_rad - angle_rad) / 2) * math.sin((angle_after_rad + angle_rad) / 2)
    return Packing(swelling, 2 * difference / math.cos(angle_after_rad), angle_after_rad, False)
