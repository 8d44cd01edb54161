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


def read_sheet(
    path: Path | str, required: Sequence[str], optional: Sequence[str] = (), text: str | None = None
) -> list[SheetRow]:
    """Read a sheet; `text` is its content where it need not be read from `path`. Raises `SettingsFault`."""
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
    rows: list[SheetRow] = []
    for line, cells in enumerate(lines[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        number = len(rows) + 1
        if len(cells) != len(header):
            hint = "; a decimal is written with a point" if len(cells) > len(header) else ""
            raise SettingsFault(
                f"{file}: row {number} (line {line}): found {len(cells)} cells, expected {len(header)}{hint}"
            )
        named = dict(zip(header, (cell.strip() for cell in cells), strict=True))
        rows.append(SheetRow(file, number, line, named))
    return rows


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
