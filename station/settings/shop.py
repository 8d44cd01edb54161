"""What a shop wrote down for itself, beside what comes with the program: hold specifications, materials, line plans.

A `Shelf` holds both. What comes with the program is read only: a copy under a name of its own is the shop's. Nothing is
kept that its strict loader does not take, and no name is used twice. Nothing is lost: what is taken off a shelf stays
beside it, as `NAME.toml.old`.

>>> [sheet.name for sheet in holds(Path("/nowhere")).sheets()]
['main-hmpe', 'mark-round-nylon', 'measure-ram-air', 'round-reserve']
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import resources
from itertools import count
from pathlib import Path
from typing import Any

from station.settings.hold import HoldSpecification, load_hold, ready_made_hold, ready_made_holds
from station.settings.materials import load_material
from station.settings.plan import Learned, PlanSettings, load_plan
from station.settings.reline import RelineSettings, load_reline
from station.settings.tables import SettingsFault
from station.settings.writing import Value, edited, keep, plain_number, values_of


@dataclass(frozen=True)
class Sheet:
    """One file of a shelf: what it is called, its text and what it says, key by key; `fault` where it is refused."""

    name: str
    own: bool
    path: Path
    text: str
    values: Mapping[str, str]
    fault: str = ""


@dataclass(frozen=True)
class Shelf:
    """Files of one kind. `name_key` is the key that names one; empty where its file's name does.

    `load` reads a file strictly, as one that will stand at the second path. Files with a table `other_kind` are of
    another kind and are left out.

    `numbers` are keys whose value is a number without a unit, written without quotes.
    """

    kind: str
    folder: Path
    load: Callable[[Path, Path], Any]
    name_key: str = ""
    numbers: tuple[str, ...] = ()
    other_kind: str = ""

    def sheets(self) -> list[Sheet]:
        """Give what comes with the program, then the shop's own, by name."""
        with resources.as_file(resources.files("config") / self.kind) as ready:
            found = [self._sheet(path, own=False) for path in sorted(ready.glob("*.toml"))]
        found += [self._sheet(path, own=True) for path in sorted(self.folder.glob("*.toml"))]
        other = f"{self.other_kind}."
        return [sheet for sheet in found if not any(key.startswith(other) for key in sheet.values)]

    def keep(self, name: str, answers: Mapping[str, str], old: Sheet | None, text: str | None = None) -> Sheet:
        """Write a sheet of the shop's under `name`, from `text`, or else from that of `old` where there is one.

        An empty answer takes its key out. Under another name than `old` had it is another file, and the old one stays.
        Raises `SettingsFault` with the key that is at fault: `name` where the name is.
        """
        name = name.strip()
        stem = _stem(name)
        if not stem:
            raise _name_fault(f"found {name!r}, expected a name with a letter or a figure in it")
        for sheet in self.sheets():
            is_itself = old is not None and old.own and sheet.path == old.path
            if not is_itself and stem in (_stem(sheet.name), sheet.path.stem):
                whose = "the shop's own" if sheet.own else "a ready-made one"
                raise _name_fault(f"{sheet.name!r} is the name of {whose}; give this one another")
        is_new = old is None or not old.own or _stem(old.name) != stem
        path = self.folder / f"{stem}.toml" if old is None or is_new else old.path
        values: dict[str, Value | None] = {key: self._value(key, text.strip()) for key, text in answers.items()}
        if self.name_key:
            values = {self.name_key: name, **values}
        text = text if text is not None else old.text if old is not None else ""
        keep(path, edited(text, values), lambda new: self.load(new, path))
        return self._sheet(path, own=True)

    def take_off(self, sheet: Sheet) -> Path:
        """Take one of the shop's own off the shelf; give where it is kept. Raises `SettingsFault`."""
        if not sheet.own:
            raise SettingsFault(f"{sheet.name!r} is ready-made and stays")
        names = (sheet.path.with_name(f"{sheet.path.name}.old{number or ''}") for number in count())
        kept = next(path for path in names if not path.exists())
        try:
            return sheet.path.rename(kept)
        except OSError as fault:
            raise SettingsFault(f"{sheet.path}: cannot be taken off: {fault.strerror or fault}") from None

    def put_back(self, kept: Path) -> Sheet:
        """Put what was taken off back on the shelf. Raises `SettingsFault` where its place was taken meanwhile."""
        path = kept.with_name(kept.name[: kept.name.rindex(".old")])
        try:
            os.link(kept, path)
            kept.unlink()
        except OSError as fault:
            raise SettingsFault(f"{path}: cannot be put back: {fault.strerror or fault}") from None
        return self._sheet(path, own=True)

    def _value(self, key: str, text: str) -> Value | None:
        return None if not text else plain_number(text) if key in self.numbers else text

    def _sheet(self, path: Path, *, own: bool) -> Sheet:
        fault, text, values = "", "", dict[str, str]()
        try:
            text = path.read_text(encoding="utf-8-sig")
            values = values_of(text)
            self.load(path, path)
        except (OSError, UnicodeDecodeError) as wrong:
            fault = f"{path}: cannot be read: {wrong}"
        except SettingsFault as wrong:
            fault = str(wrong)
        return Sheet(values.get(self.name_key, path.stem), own, path, text, values, fault)


def holds(shop: Path) -> Shelf:
    """Give the shelf of hold specifications."""
    return Shelf("holds", shop / "holds", lambda path, _: load_hold(path))


def materials(shop: Path) -> Shelf:
    """Give the shelf of materials."""
    figures = ("fibre_density_kg_per_m3", "fibre_modulus_n_per_tex", "carriers")
    numbers = (*(f"material.{figure}.value" for figure in figures), "material.picks.picks")
    return Shelf("lines", shop / "lines", lambda path, _: load_material(path), "material.name", numbers)


def plans(shop: Path, check: Callable[[PlanSettings], Any], learned: Learned | None = None) -> Shelf:
    """Give the shelf of line plans; `check` refuses, by a `SettingsFault`, what cannot be worked.

    `learned` gives the archive's trials to the plans that ask for them.
    """

    def load(path: Path, at: Path) -> Any:
        return check(load_plan(path, learned, at))

    shares = ("plan.pull_share", "shrinkage.coefficient", "shrinkage.standard_uncertainty")
    numbers = (*shares, "sewing.stitches", "sewing.per_inch")
    return Shelf("jobs", shop / "plans", load, "plan.name", numbers, "reline")


def relines(shop: Path, check: Callable[[RelineSettings], Any], learned: Learned | None = None) -> Shelf:
    """Give the shelf of whole relines, which lie beside the line plans; `check` and `learned` as for those."""
    numbers = ("reline.pieces_together",)
    load = lambda path, at: check(load_reline(path, at, learned))  # noqa: E731 -- as short as it is
    return Shelf("jobs", shop / "plans", load, "reline.name", numbers, "plan")


def hold_names(shop: Path) -> list[str]:
    """Give the names of the holds that a job can ask for: those that come with the program, then the shop's."""
    return [*ready_made_holds(), *sorted(path.stem for path in (shop / "holds").glob("*.toml"))]


def hold_named(name: str, shop: Path, rated_strength_mn: int | None = None) -> HoldSpecification:
    """Read a hold by its name, the shop's own or one that comes with the program. Raises `SettingsFault`."""
    if name not in ready_made_holds() and name in hold_names(shop):
        return load_hold(shop / "holds" / f"{name}.toml", rated_strength_mn)
    return ready_made_hold(name, rated_strength_mn)


def _stem(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60]


def _name_fault(why: str) -> SettingsFault:
    return SettingsFault(why, "name", why)
