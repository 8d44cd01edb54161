r"""Strict reading of a small CSV file with a header line: every column known, every cell there, every fault named.

A byte-order mark, CRLF and blank lines are accepted. Rows count from 1 below the header; a fault names the line of the
file as well.

>>> rows = read_sheet("trials.csv", ["trap"], ["lot"], text="trap,lot\n5 in,L1\n")
>>> rows[0].quantity("trap", "length"), rows[0].text("lot")
(Fraction(127, 1000), 'L1')
>>> read_sheet("trials.csv", ["trap"], ["lot"], text="tarp\n5 in\n")
Traceback (most recent call last):
...
station.settings.tables.SettingsFault: trials.csv: header: has an unknown column 'tarp'; the nearest known is 'trap'
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from station import units
from station.settings.tables import SettingsFault

T = TypeVar("T")


@dataclass(frozen=True)
class SheetRow:
    """One row of a sheet; `number` counts from 1 below the header, `line` is the line of the file."""

    file: str
    number: int
    line: int
    cells: Mapping[str, str]

    def fault(self, column: str, why: str) -> SettingsFault:
        """Give the error that names file, row and column."""
        return SettingsFault(f"{self.file}: row {self.number} (line {self.line}): {column}: {why}")

    def text(self, column: str) -> str:
        """Give a cell's text, '' where the column is not in the file."""
        return self.cells.get(column, "")

    def get(self, column: str, read: Callable[[str], T]) -> T:
        """Read a cell with `read`, whose ValueError becomes a `SettingsFault`."""
        try:
            return read(self.text(column))
        except ValueError as fault:
            raise self.fault(column, str(fault)) from None

    def quantity(self, column: str, kind: units.Kind) -> Fraction:
        """Read a cell as a quantity, in SI units, exactly."""
        return self.get(column, lambda text: units.quantity(text, kind))

    def one_of(self, column: str, choices: Sequence[str]) -> str:
        """Read a cell that is one of a few words."""
        if self.text(column) not in choices:
            raise self.fault(column, f"found {self.text(column)!r}, expected {' or '.join(choices)}")
        return self.text(column)


@dataclass(frozen=True)
class SheetColumns:
    """A sheet by its columns, for many rows; `lines` are the lines of the file, `cells` the texts of each column."""

    file: str
    lines: Sequence[int]
    cells: Mapping[str, Sequence[str]]

    def rows(self) -> list[SheetRow]:
        """Give the same sheet row by row."""
        names = list(self.cells)
        return [
            SheetRow(self.file, number, line, dict(zip(names, cells, strict=True)))
            for number, (line, *cells) in enumerate(zip(self.lines, *self.cells.values(), strict=True), 1)
        ]

    def column(self, name: str) -> Sequence[str]:
        """Give a column's texts, all '' where the file has no such column."""
        return self.cells.get(name) or [""] * len(self.lines)


def read_sheet(
    path: Path | str, required: Sequence[str], optional: Sequence[str] = (), text: str | None = None
) -> list[SheetRow]:
    """Read a sheet; `text` is its content where it need not be read from `path`. Raises `SettingsFault`."""
    return read_columns(path, required, optional, text).rows()


def read_columns(
    path: Path | str, required: Sequence[str], optional: Sequence[str] = (), text: str | None = None
) -> SheetColumns:
    """Read a sheet as its columns; the rules and the faults are those of `read_sheet`."""
    file = str(path)
    try:
        content = Path(path).read_text(encoding="utf-8-sig") if text is None else text
        lines = list(csv.reader(io.StringIO(content, newline=""), strict=True))
    except OSError as fault:
        raise SettingsFault(f"{file}: cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise SettingsFault(f"{file}: is no text file; expected CSV in UTF-8") from None
    except csv.Error as fault:
        raise SettingsFault(f"{file}: is not valid CSV: {fault}") from None
    if not lines:
        raise SettingsFault(f"{file}: is empty; expected a header line {','.join(required)}")
    header = [name.strip() for name in lines[0]]
    _check_header(file, header, required, optional)
    kept: list[list[str]] = []
    numbers: list[int] = []
    for line, cells in enumerate(lines[1:], 2):
        if not any(map(str.strip, cells)):
            continue
        if len(cells) != len(header):
            hint = "; a decimal is written with a point" if len(cells) > len(header) else ""
            raise SettingsFault(
                f"{file}: row {len(kept) + 1} (line {line}): found {len(cells)} cells, expected {len(header)}{hint}"
            )
        kept.append(cells)
        numbers.append(line)
    columns = zip(*kept, strict=True) if kept else ([] for _ in header)
    return SheetColumns(
        file, numbers, {name: [*map(str.strip, column)] for name, column in zip(header, columns, strict=True)}
    )


def _check_header(file: str, header: list[str], required: Sequence[str], optional: Sequence[str]) -> None:
    known = [*required, *optional]
    if len(header) == 1 and ";" in header[0]:
        raise SettingsFault(
            f"{file}: header: columns are separated by semicolons; expected commas: {','.join(required)}"
        )
    for name in header:
        if name not in known:
            near = difflib.get_close_matches(name, known, 1, 0.5)
            hint = f"; the nearest known is {near[0]!r}" if near else f"; known are {', '.join(known)}"
            raise SettingsFault(f"{file}: header: has an unknown column {name!r}{hint}")
        if header.count(name) > 1:
            raise SettingsFault(f"{file}: header: names the column {name!r} twice")
    for name in required:
        if name not in header:
            raise SettingsFault(f"{file}: header: the column {name!r} is missing and is required")
