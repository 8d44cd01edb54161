"""Line materials from config/lines and the shop's folder: one file for each stock, and no figure without its source.

A figure is a table with its value and either `source` (where it was read) or `assumed` (why it was supposed); the
maker's own replaces it. Fibres go by generic names.

>>> material = read_material(Table("a.toml", "", {"material": {
...     "name": "polyester 600", "fibre": "polyester",
...     "rated_strength": {"value": "600 lbf", "source": "a handbook"},
...     "braid_angle": {"value": "20 deg", "assumed": "as seen on one piece"},
... }}))
>>> material.assumed, material.carriers, round(material.rated_strength_n)
(('braid_angle',), None, 2669)
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from station import units
from station.settings.preferences import shop_folder
from station.settings.tables import SettingsFault, Table

T = TypeVar("T")
_TEX_PER_KG_PER_M = 1e6  # 1 tex is 1 g in 1 km


@dataclass(frozen=True)
class MaterialSettings:
    """One stock of hollow braid; a figure nobody gave is None.

    `sources` holds a text for each figure given; `assumed` names those that nobody measured or published.
    """

    name: str
    fibre: str
    rated_strength_n: float | None
    line_mass_kg_per_m: float | None
    fibre_density_kg_per_m3: float | None
    fibre_modulus_n_per_tex: float | None
    stiffness_n: float | None
    braid_angle_rad: float | None
    carriers: int | None
    picks_per_m: float | None
    flat_width_m: float | None
    sources: Mapping[str, str]
    assumed: tuple[str, ...]

    @property
    def solid_area_m2(self) -> float | None:
        """Give the area of solid fibre in the line's section."""
        if self.line_mass_kg_per_m is None or self.fibre_density_kg_per_m3 is None:
            return None
        return self.line_mass_kg_per_m / self.fibre_density_kg_per_m3

    @property
    def yarn_stiffness_n(self) -> float | None:
        """Give the pull per unit strain that the line's yarns would have, straight: modulus times line mass.

        A braid is softer, by the crimp and the angle of its yarns: this is above what can be hoped for.
        """
        if self.line_mass_kg_per_m is None or self.fibre_modulus_n_per_tex is None:
            return None
        return self.fibre_modulus_n_per_tex * self.line_mass_kg_per_m * _TEX_PER_KG_PER_M


def load_material(path: Path | str) -> MaterialSettings:
    """Read a material file. Raises `SettingsFault` naming the file, the key, what was found and what was expected."""
    return read_material(Table.load(path))


def material_named(name: str) -> MaterialSettings:
    """Give the material that calls itself `name`, of config/lines or the shop's own.

    Raises `ValueError`, which names the nearest, where none does, and `SettingsFault` for a file that is wrong.
    """
    ready = _materials_of_config()
    if name in ready:
        return ready[name]
    known = materials()
    if name not in known:
        near = difflib.get_close_matches(name, known, 1, 0.4)
        hint = f"the nearest known is {near[0]!r}" if near else f"known are {', '.join(known) or 'none'}"
        raise ValueError(f"found the material {name!r}, which neither config/lines nor the shop's folder has; {hint}")
    return known[name]


def materials() -> Mapping[str, MaterialSettings]:
    """Give every material by its name: those of config/lines, then those in the shop's folder."""
    found = dict(_materials_of_config())
    for path in sorted((shop_folder() / "lines").glob("*.toml")):
        _add(found, path)
    return MappingProxyType(found)


@cache
def _materials_of_config() -> Mapping[str, MaterialSettings]:
    folder = resources.files("config") / "lines"
    found: dict[str, MaterialSettings] = {}
    entries = folder.iterdir() if folder.is_dir() else ()
    for entry in sorted(entries, key=lambda each: each.name):
        if entry.name.endswith(".toml"):
            with resources.as_file(entry) as path:
                _add(found, path)
    return MappingProxyType(found)


def _add(found: dict[str, MaterialSettings], path: Path) -> None:
    material = load_material(path)
    if material.name in found:
        raise SettingsFault(f"{path}: [material] name: {material.name!r} is another file's name too")
    found[material.name] = material


def read_material(top: Table) -> MaterialSettings:
    """Read a material from the top table of its file."""
    table = top.table("material")
    sources: dict[str, str] = {}
    assumed: list[str] = []

    def figure(key: str, read: Callable[[Table], T]) -> T | None:
        below = table.table(key, None)
        if below is None:
            return None
        value = read(below)
        words = [below.text(word) for word in ("source", "assumed") if word in below]
        if len(words) != 1 or not words[0].strip():
            raise table.fault(key, "expected either source (where it was read) or assumed (why it was supposed)")
        if "assumed" in below:
            assumed.append(key)
        below.get("source", str, "")
        below.get("assumed", str, "")
        below.done()
        sources[key] = words[0]
        return value

    def above_zero(read: Callable[[Any], float]) -> Callable[[Table], float]:
        def checked(value: Any) -> float:
            number = read(value)
            if number <= 0:
                raise ValueError(f"found {value!r}, expected more than zero")
            return number

        return lambda below: below.get("value", checked)

    def number_above_zero(below: Table) -> float:
        number = below.number("value")
        if number <= 0:
            raise below.fault("value", f"found {number:g}, expected more than zero")
        return number

    def mass_per_length(below: Table) -> float:
        mass_kg = below.get("mass", lambda value: float(units.quantity(value, "mass")))
        per_m = below.length_m("per")
        if not (mass_kg > 0 and per_m > 0):
            raise below.fault("mass", "expected a mass above zero per a length above zero")
        return mass_kg / per_m

    def angle_rad(value: Any) -> float:
        return float(units.quantity(value, "angle"))

    def picks_per_m(below: Table) -> float:
        count, per_m = below.count("picks"), below.length_m("per")
        if not (count > 0 and per_m > 0):
            raise below.fault("picks", "expected picks above zero per a length above zero")
        return count / per_m

    material = MaterialSettings(
        name=table.text("name"),
        fibre=table.text("fibre"),
        rated_strength_n=figure("rated_strength", above_zero(units.force_n)),
        line_mass_kg_per_m=figure("line_mass", mass_per_length),
        fibre_density_kg_per_m3=figure("fibre_density_kg_per_m3", number_above_zero),
        fibre_modulus_n_per_tex=figure("fibre_modulus_n_per_tex", number_above_zero),
        stiffness_n=figure("stiffness", above_zero(units.force_n)),
        braid_angle_rad=figure("braid_angle", above_zero(angle_rad)),
        carriers=figure("carriers", _even),
        picks_per_m=figure("picks", picks_per_m),
        flat_width_m=figure("flat_width", above_zero(units.length_m)),
        sources=MappingProxyType(sources),
        assumed=tuple(assumed),
    )
    table.done()
    top.done()
    return material


def _even(table: Table) -> int:
    count = table.count("value")
    if count <= 0 or count % 2:
        raise table.fault("value", f"found {count}, expected an even number of carriers above 0")
    return count
