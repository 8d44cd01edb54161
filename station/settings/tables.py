"""Strict reading of a TOML file: every key is asked for by name, and what nobody asked for is refused.

A `Table` is one table of the file. Each getter takes a key and gives a value of one kind, or the default; a missing
key without a default, a value of the wrong kind and a key that no getter named are `SettingsFault`s that name the
file, the key, what was found and what was expected.

>>> table = Table("hold.toml", "hold", {"target": "30 lbf", "durration": "30 s"})
>>> table.force_mn("target")
133447
>>> table.time_us("duration", None)
>>> table.done()
Traceback (most recent call last):
...
station.settings.tables.SettingsFault: hold.toml: [hold] has an unknown key 'durration'; the nearest known is 'duration'
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

from station import units

T = TypeVar("T")
D = TypeVar("D")
N = TypeVar("N", int, float, Fraction)
_REQUIRED: Any = object()


class SettingsFault(ValueError):
    """A file says something that cannot be used; the message begins with the file's name.

    `key` is the key at fault, named from the top with dots, and `why` what is wrong with it, where that is one key's.
    """

    def __init__(self, message: str, key: str = "", why: str = "") -> None:
        super().__init__(message)
        self.key = key
        self.why = why


class Table:
    """One table of a settings file, read strictly; see the module's docstring."""

    def __init__(self, file: str, name: str, content: Mapping[str, Any]) -> None:
        self.file = file
        self.name = name
        self._content = content
        self._known: list[str] = []

    @classmethod
    def load(cls, path: Path | str) -> Table:
        """Read a TOML file as its top table. Raises `SettingsFault` where it cannot be read or is no TOML."""
        path = Path(path)
        try:
            content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        except OSError as fault:
            raise SettingsFault(f"{path}: cannot be read: {fault.strerror}") from None
        except UnicodeDecodeError:
            raise SettingsFault(f"{path}: is no text file; expected TOML in UTF-8") from None
        except tomllib.TOMLDecodeError as fault:
            raise SettingsFault(f"{path}: is not valid TOML: {fault}") from None
        except ValueError:
            raise SettingsFault(f"{str(path)!r}: cannot be read: no file can have that name") from None
        return cls(str(path), "", content)

    def fault(self, key: str, why: str) -> SettingsFault:
        """Give the error that names this file and `key`."""
        return SettingsFault(f"{self.file}: {self._place(key)}: {why}", self._below(key), why)

    def __contains__(self, key: str) -> bool:
        return key in self._content

    def __iter__(self) -> Iterator[str]:
        return iter(self._content)

    def get(self, key: str, read: Callable[[Any], T], default: D = _REQUIRED) -> T | D:
        """Read `key` with `read`, whose ValueError becomes a `SettingsFault` naming file and key."""
        self._known.append(key)
        if key not in self._content:
            if default is _REQUIRED:
                raise self.fault(key, "is missing and is required" + self._misspelt(key))
            return default
        try:
            return read(self._content[key])
        except ValueError as fault:
            raise self.fault(key, str(fault)) from None

    def force_mn(self, key: str, default: D = _REQUIRED) -> int | D:
        """Read a force as whole millinewtons."""
        return self.get(key, units.force_mn, default)

    def force_n(self, key: str, default: D = _REQUIRED) -> float | D:
        """Read a force in newtons."""
        return self.get(key, units.force_n, default)

    def time_us(self, key: str, default: D = _REQUIRED) -> int | D:
        """Read a time as whole microseconds."""
        return self.get(key, units.time_us, default)

    def length_m(self, key: str, default: D = _REQUIRED) -> float | D:
        """Read a length in metres."""
        return self.get(key, units.length_m, default)

    def quantity(self, key: str, kind: units.Kind, default: D = _REQUIRED) -> Fraction | D:
        """Read any quantity of `kind`, exactly, in SI units."""
        return self.get(key, lambda value: units.quantity(value, kind), default)

    def text(self, key: str, default: D = _REQUIRED) -> str | D:
        """Read a text."""
        return self.get(key, _text, default)

    def one_of(self, key: str, choices: Sequence[str], default: D = _REQUIRED) -> str | D:
        """Read one of a few words."""

        def read(value: Any) -> str:
            if value not in choices:
                raise ValueError(f"found {value!r}, expected one of {', '.join(choices)}{_near(value, choices)}")
            return str(value)

        return self.get(key, read, default)

    def number(self, key: str, default: D = _REQUIRED) -> float | D:
        """Read a number that has no unit: a coefficient or a share."""
        return self.get(key, plain_number, default)

    def count(self, key: str, default: D = _REQUIRED) -> int | D:
        """Read a whole number that has no unit: a count or a baud rate."""
        return self.get(key, whole_number, default)

    def table(self, key: str, default: D = _REQUIRED) -> Table | D:
        """Give a table below this one."""

        def read(value: Any) -> Table:
            if not isinstance(value, Mapping):
                raise ValueError(f"found {value!r}, expected a table")
            return Table(self.file, self._below(key), value)

        return self.get(key, read, default)

    def tables(self, key: str) -> list[Table]:
        """Give the tables of an array of tables ([[line]]), each named with its number; empty where none is."""

        def read(value: Any) -> list[Table]:
            if not isinstance(value, list) or not all(isinstance(each, Mapping) for each in value):
                raise ValueError(f"found {value!r}, expected one or more [[{key}]] tables")
            return [Table(self.file, f"{self._below(key)} {n}", each) for n, each in enumerate(value, 1)]

        return self.get(key, read, [])

    def only(self, *known: str) -> None:
        """Refuse a key that is none of these, before a missing one is asked for."""
        self._known += known
        self.done()

    def done(self) -> None:
        """Refuse the first key that no getter has asked for, naming the nearest known one."""
        for key in self._content:
            if key not in self._known:
                place = f"[{self.name}] " if self.name else "the file "
                nearest = _near(key, self._known) or f"; known are {', '.join(sorted(set(self._known)))}"
                raise SettingsFault(f"{self.file}: {place}has an unknown key {key!r}{nearest}")

    def _below(self, key: str) -> str:
        return f"{self.name}.{key}" if self.name else key

    def _place(self, key: str) -> str:
        return f"[{self.name}] {key}" if self.name else f"[{key}]"

    def _misspelt(self, key: str) -> str:
        near = difflib.get_close_matches(key, [k for k in self._content if k not in self._known], 1)
        return f"; found {near[0]!r} instead" if near else ""


def _near(word: Any, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(str(word), known, 1, 0.5)
    return f"; the nearest known is {near[0]!r}" if near else ""


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"found {value!r}, expected text in quotes")
    return value


def bounded(read: Callable[[Any], N], zero_too: bool, expected: str) -> Callable[[Any], N]:
    """Give what reads as `read` does and refuses what is below zero, and zero unless `zero_too`."""

    def above(value: Any) -> N:
        number = read(value)
        if number < 0 or (number == 0 and not zero_too):
            raise ValueError(f"found {value!r}, expected {expected}")
        return number

    return above


def plain_number(value: Any) -> float:
    """Read a number that has no unit. Raises `ValueError`."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
        raise ValueError(f"found {value!r}, expected a plain number")
    return float(value)


def whole_number(value: Any) -> int:
    """Read a whole number from 0 on that has no unit. Raises `ValueError`."""
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise ValueError(f"found {value!r}, expected a whole number")
    return value
