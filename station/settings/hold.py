"""A hold specification: what a pull must be, for how long, and what it must never be. Whole mN and us, nothing else.

>>> spec = HoldSpecification("main", 133_447, 124_550, 200_170, 266_893, 30_000_000)
>>> spec.max_gap_us, spec.guarded
(250000, True)
"""

from __future__ import annotations

import dataclasses
import importlib.resources
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from station.settings.tables import SettingsFault, Table
from station.units import MINUS, force_mn, force_text, in_unit, quantity

CEILING_SHARE = Fraction(1, 5)  # of the rated strength, where no ceiling is given
LARGEST_MAX_GAP_US = 1_000_000
KEYS = (
    "target",
    "low",
    "high",
    "duration",
    "ceiling",
    "rated_strength",
    "max_gap",
    "zero_limit",
    "still_limit",
    "decision",
    "source",
)


class SpecificationFault(ValueError):
    """Two figures of a hold specification contradict each other; the message gives both.

    Of its parts whole numbers are forces in mN.

    >>> SpecificationFault("low, ", 209_066, ", must be below high, ", 200_170).said("kgf")
    'low, 21.319 kgf, must be below high, 20.412 kgf'
    """

    def __init__(self, *parts: str | int) -> None:
        self._parts = parts
        super().__init__(self.said("lbf"))

    def said(self, unit: str) -> str:
        """Give the message in the unit in which the figures were written."""
        return "".join(part if isinstance(part, str) else _force(part, unit) for part in self._parts)


@dataclass(frozen=True, slots=True)
class HoldSpecification:
    """What a hold must be. Limits are inclusive. Raises `SpecificationFault` where two figures contradict."""

    name: str
    target_mn: int
    low_mn: int
    high_mn: int
    ceiling_mn: int
    duration_us: int
    max_gap_us: int = 250_000
    zero_limit_mn: int | None = None
    still_limit_us: int | None = None
    guarded: bool = True

    def __post_init__(self) -> None:
        low, high, zero = self.low_mn, self.high_mn, self.zero_limit_mn
        if low >= high:
            raise SpecificationFault("low, ", low, ", must be below high, ", high)
        if not low <= self.target_mn <= high:
            raise SpecificationFault(
                "target, ", self.target_mn, ", must lie between low and high, ", low, " and ", high
            )
        if low <= 0:
            raise SpecificationFault("low, ", low, ", must be above ", 0)
        if self.ceiling_mn <= high:
            raise SpecificationFault("ceiling, ", self.ceiling_mn, ", must be above high, ", high)
        if self.duration_us <= 0:
            raise SpecificationFault(f"duration, {self.duration_us / 1e6:g} s, must be above 0 s")
        if not 0 < self.max_gap_us <= LARGEST_MAX_GAP_US:
            raise SpecificationFault(f"max_gap, {self.max_gap_us / 1e6:g} s, must be above 0 s and at most 1 s")
        if zero is not None and not 0 <= zero < low:
            raise SpecificationFault("zero_limit, ", zero, ", must be below low, ", low, ", and ", 0, " or more")
        if self.still_limit_us is not None and self.still_limit_us <= 0:
            raise SpecificationFault(f"still_limit, {self.still_limit_us / 1e6:g} s, must be above 0 s")

    def check_capacity(self, capacity_mn: int) -> None:
        """Refuse a ceiling above the scale's capacity: a pull that the scale cannot read."""
        if self.ceiling_mn > capacity_mn:
            raise SpecificationFault(
                "ceiling, ", self.ceiling_mn, ", must not be above the scale's capacity, ", capacity_mn
            )

    def facts(self) -> dict[str, Any]:
        """Give the specification as integers and text, as a record keeps it."""
        return dataclasses.asdict(self)

    @classmethod
    def of_facts(cls, facts: Mapping[str, Any]) -> HoldSpecification:
        """Give the specification a record kept. Raises TypeError or SpecificationFault where it is not whole."""
        return cls(**facts)


def _force(mn: int, unit: str) -> str:
    return f"{in_unit(mn / 1000, unit):.3f}".rstrip("0").rstrip(".").replace("-", MINUS) + f" {unit}"


def load_hold(path: Path | str, rated_strength_mn: int | None = None) -> HoldSpecification:
    """Read a hold file. `rated_strength_mn` outranks the file's own, for limits that are shares of it.

    Raises `SettingsFault` naming the file, the key, what was found and what was expected.
    """
    top = Table.load(path)
    hold = read_hold(top.table("hold"), Path(path).stem, rated_strength_mn)
    top.done()
    return hold


def ready_made_holds() -> list[str]:
    """Give the names of the ready-made holds."""
    names = (entry.name for entry in importlib.resources.files("config").joinpath("holds").iterdir())
    return sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml"))


def ready_made_hold(name: str, rated_strength_mn: int | None = None) -> HoldSpecification:
    """Read a ready-made hold by its name, as in "main-hmpe". Raises `SettingsFault` where there is none."""
    if name not in ready_made_holds():
        raise SettingsFault(f"found no ready-made hold {name!r}; there are {', '.join(ready_made_holds())}")
    with importlib.resources.as_file(importlib.resources.files("config").joinpath(f"holds/{name}.toml")) as path:
        return load_hold(path, rated_strength_mn)


def read_hold(table: Table, name: str, rated_strength_mn: int | None = None) -> HoldSpecification:
    """Read the [hold] table of a hold file or a station file."""
    table.only(*KEYS)
    written = table.force_mn("rated_strength", None)
    rated = rated_strength_mn if rated_strength_mn is not None else written
    if rated is not None and rated <= 0:
        raise table.fault("rated_strength", f"found {force_text(rated / 1000)}, expected a force above 0 lbf")
    unit = "lbf"  # of what was read last

    def force(value: Any) -> int:
        nonlocal unit
        if isinstance(value, str) and value.strip().endswith("%"):
            share = quantity(value, "ratio")
            if rated is None:
                raise ValueError(
                    f"found {value!r}, a share of the line's rated strength, which is not known; give rated_strength "
                    f'in the file, or --rated-strength "725 lbf"'
                )
            return round(share * rated)
        found = force_mn(value)
        unit = str(value).lstrip("+-.0123456789/eE ").rstrip()
        return found

    ceiling = table.get("ceiling", force, None)
    if ceiling is None:
        if rated is None:
            raise table.fault(
                "ceiling", 'is missing; give ceiling, or rated_strength, as in rated_strength = "725 lbf"'
            )
        ceiling = round(CEILING_SHARE * rated)
    elif rated is not None and ceiling > rated:
        raise table.fault(
            "ceiling", f"found {_force(ceiling, unit)}, expected none above the rated strength, {_force(rated, unit)}"
        )
    values: dict[str, Any] = {
        "target_mn": table.get("target", force),
        "low_mn": table.get("low", force),
        "high_mn": table.get("high", force),
        "duration_us": table.time_us("duration"),
        "max_gap_us": table.time_us("max_gap", 250_000),
        "zero_limit_mn": table.get("zero_limit", force, None),
        "still_limit_us": table.time_us("still_limit", None),
        "guarded": table.one_of("decision", ["guarded", "plain"], "guarded") == "guarded",
    }
    table.text("source", "")
    try:
        return HoldSpecification(name=name, ceiling_mn=ceiling, **values)
    except SpecificationFault as fault:
        key = str(fault).partition(",")[0]  # every one of these begins with the key at fault
        said = fault.said(unit)
        raise SettingsFault(f"{table.file}: [hold] {said}", f"{table.name}.{key}", said) from None
