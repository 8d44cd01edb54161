"""The weights of a scale check: what each applies where it hangs, and in which order they are asked for.

>>> weights = read_weights("5 kg, 10 kg, 15 kg", Place("47.5 deg"))
>>> [f"{load.text or 'nothing'}{' down' * load.down}" for load in full_plan(weights)][-6:]
['5 kg', '10 kg', '15 kg', '10 kg down', '5 kg down', 'nothing down']
>>> len(full_plan(weights)), round(weights[0].applied_n, 3)
(15, 49.035)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from station.measuring.scale_check import FEWEST_POINTS, FEWEST_UP, WEIGHT_DENSITY, local_gravity, weight_n
from station.units import QuantityFault, force_text, quantity

NEAR = (2 / 3, 4 / 3)  # a daily weight's share of the target: common practice


class WeightsFault(ValueError):
    """What was typed makes no check: weights, target or place; the message says what was found and expected."""


@dataclass(frozen=True)
class Place:
    """Where the weights hang and what they are made of: latitude as typed, height in metres, density in kg/m3."""

    latitude: str | None = None
    height_m: float = 0.0
    density: float = WEIGHT_DENSITY

    @property
    def gravity(self) -> float:
        """Give local gravity in m/s2, the standard one without a latitude."""
        latitude_rad = None if self.latitude is None else float(quantity(self.latitude, "angle"))
        return local_gravity(latitude_rad, self.height_m)


@dataclass(frozen=True)
class Load:
    """What is to hang on the scale: as typed ('' for nothing), the force it applies, its run and way."""

    text: str
    applied_n: float
    is_mass: bool = False
    run: int = 1
    down: bool = False


def load_of(text: str, place: Place) -> Load:
    """Read one weight: a mass, whose force follows from the place, or a force. Raises `WeightsFault`."""
    text = text.strip()
    try:
        load = Load(text, weight_n(float(quantity(text, "mass")), place.gravity, place.density), is_mass=True)
    except QuantityFault:
        try:
            load = Load(text, float(quantity(text, "force")))
        except QuantityFault:
            raise WeightsFault(f'found {text!r}, expected a mass or a force, as in "5 kg" or "30 lbf"') from None
    if load.applied_n <= 0:
        raise WeightsFault(f"found {text!r}, expected more than nothing")
    return load


def read_weights(text: str, place: Place) -> tuple[Load, ...]:
    """Read weights parted by commas, lightest first, at least three. Raises `WeightsFault`."""
    weights = tuple(load_of(each, place) for each in text.split(",") if each.strip())
    if len(weights) < FEWEST_POINTS:
        raise WeightsFault(f"weights: found {len(weights)}, expected at least {FEWEST_POINTS}, parted by commas")
    for lighter, heavier in pairwise(weights):
        if heavier.applied_n <= lighter.applied_n:
            raise WeightsFault(f"found {heavier.text} after {lighter.text}, expected each heavier than the one before")
    return weights


def full_plan(weights: Sequence[Load]) -> tuple[Load, ...]:
    """Give what a full check asks for, in its order."""
    loads: list[Load] = []
    for run in range(1, FEWEST_UP + 1):
        loads += [Load("", 0.0, run=run), *(replace(weight, run=run) for weight in weights)]
    loads += [replace(weight, run=FEWEST_UP, down=True) for weight in reversed(weights[:-1])]
    return (*loads, Load("", 0.0, run=FEWEST_UP, down=True))


def check_range(weights: Sequence[Load], target_mn: int, capacity_mn: int, unit: str = "lbf") -> None:
    """Refuse weights beyond the capacity, or a target outside them. Raises `WeightsFault`."""
    lightest, heaviest = weights[0], weights[-1]
    if heaviest.applied_n * 1000 > capacity_mn:
        raise WeightsFault(
            f"found {heaviest.text} ({force_text(heaviest.applied_n, unit)}), expected no more than the scale's "
            f"capacity of {force_text(capacity_mn / 1000, unit)}"
        )
    if not lightest.applied_n - 0.001 <= target_mn / 1000 <= heaviest.applied_n + 0.001:
        raise WeightsFault(
            f"found a target of {force_text(target_mn / 1000, unit)}, expected one from the lightest weight to the "
            f"heaviest, {force_text(lightest.applied_n, unit)} to {force_text(heaviest.applied_n, unit)}"
        )


def is_near(known_mn: float, target_mn: int) -> bool:
    """Tell whether a known weight is near enough to a target to speak for the scale there."""
    return NEAR[0] * target_mn <= known_mn <= NEAR[1] * target_mn


def check_daily_weight(weight: Load, target_mn: int, unit: str = "lbf") -> None:
    """Refuse a daily weight that is not near the target. Raises `WeightsFault`."""
    if not is_near(weight.applied_n * 1000, target_mn):
        low, high = (force_text(share * target_mn / 1000, unit) for share in NEAR)
        raise WeightsFault(
            f"found {weight.text} ({force_text(weight.applied_n, unit)}), expected a weight near the target of "
            f"{force_text(target_mn / 1000, unit)}: {low} to {high}"
        )
