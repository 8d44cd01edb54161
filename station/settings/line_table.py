r"""A measured line set, from a CSV file with a header line: one row for each line and side.

Columns: `line` (the group's letters, then what tells its lines apart: A1), `side` (L or R, or left or right),
`length` with its unit, and optional `chart`, the maker's length for it. Read strictly, as `station.settings.sheet`
reads; every bad row is named, not the first alone. A line has a chart length on each side measured, or on none.

Lengths are kept in whole nanometres: a 64th of an inch is a whole number of them and not of micrometres, so that a
difference of 1/16 in is within a tolerance of 1/16 in.

>>> rows = load_line_table("set.csv", text="line,side,length\nA1,L,120 1/16 in\nA1,R,120 in\n")
>>> rows[0].length_nm - rows[1].length_nm, rows[0].group
(1587500, 'A')
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from station import units
from station.settings.sheet import SheetRow, read_sheet
from station.settings.tables import SettingsFault

Side = Literal["L", "R"]

_SIDES: Mapping[str, Side] = {"L": "L", "R": "R", "left": "L", "right": "R"}
NM_PER_M = 1_000_000_000
_LONGEST_NM = 100 * NM_PER_M
_LONGEST_NAME = 24
_GROUP = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True)
class MeasuredSide:
    """One line on one side as it was measured; without a chart length where there is no chart."""

    line: str
    side: Side
    length_nm: int
    chart_nm: int | None = None

    @property
    def group(self) -> str:
        """Give the leading letters of the line's name."""
        return group_of(self.line)

    @property
    def name(self) -> str:
        """Give the line's name with its side, as in "A1 L"."""
        return f"{self.line} {self.side}"


def group_of(line: str) -> str:
    """Give the leading letters of a line's name. Raises ValueError where it begins with none."""
    found = _GROUP.match(line)
    if found is None or not line.isprintable() or set(line) & set(',;"'):
        raise ValueError(f"found {line!r}, expected the group's letters and then a number, as in A1")
    if len(line) > _LONGEST_NAME:
        raise ValueError(f"found a name of {len(line)} characters, expected at most {_LONGEST_NAME}")
    return found[0]


def line_length_nm(text: object) -> int:
    """Read a length that a line can have, in whole nanometres. Raises ValueError."""
    length_nm = round(units.quantity(text, "length") * NM_PER_M)
    if not 0 < length_nm <= _LONGEST_NM:
        raise ValueError(f"found {text!r}, expected a length above zero and at most 100 m")
    return length_nm


def is_far(length_nm: int, like_nm: int | None) -> bool:
    """Tell whether a length is more than a tenth from what it should be like, its chart or its opposite number.

    No line shrinks or stretches so far and flies (common practice; the tenth is our own): it is a slip of the pen, and
    would move the mean of its whole group.
    """
    return like_nm is not None and 10 * abs(length_nm - like_nm) > like_nm


def load_line_table(path: Path | str, text: str | None = None, measured: bool = True) -> list[MeasuredSide]:
    """Read a line set. Raises `SettingsFault` naming the file and every row that cannot be understood.

    Where it is `measured`, a length far from what it should be is a fault as well.
    """
    rows = read_sheet(path, ("line", "side", "length"), ("chart",), text=text)
    if not rows:
        raise SettingsFault(f"{path}: has no rows; expected one for each line and side, as in A1,L,120 in")
    sides, faults = [], []
    for row in rows:
        try:
            sides.append((row, _side(row)))
        except SettingsFault as fault:
            faults.append(str(fault))
    faults += _clashes(sides)
    faults += _slips(sides) if measured else []
    if faults:
        raise SettingsFault("\n".join(faults))
    return [side for _, side in sides]


def _slips(sides: Sequence[tuple[SheetRow, MeasuredSide]]) -> list[str]:
    found = []
    left = {side.line: (row, side) for row, side in sides if side.side == "L"}
    for row, side in sides:
        if side.chart_nm is not None:
            like_nm, like = side.chart_nm, f"its chart says {row.text('chart')!r}"
        elif side.side == "R" and side.line in left:  # said once for a pair
            like_nm, like = left[side.line][1].length_nm, f"its left is {left[side.line][0].text('length')!r}"
        else:
            continue
        if is_far(side.length_nm, like_nm):
            why = f"found {row.text('length')!r}, and {like}: more than a tenth apart; measure again"
            found.append(str(row.fault("length", why)))
    return found


def _side(row: SheetRow) -> MeasuredSide:
    row.get("line", group_of)
    side = _SIDES[row.one_of("side", tuple(_SIDES))]
    chart_nm = row.get("chart", line_length_nm) if row.text("chart") else None
    return MeasuredSide(row.text("line"), side, row.get("length", line_length_nm), chart_nm)


def _clashes(sides: Sequence[tuple[SheetRow, MeasuredSide]]) -> list[str]:
    """Give what single rows cannot show: a line and side twice, a name spelt two ways, a chart on one side alone."""
    found = []
    first: dict[tuple[str, Side], tuple[SheetRow, MeasuredSide]] = {}
    groups: dict[str, tuple[int, str]] = {}
    for row, side in sides:
        before = groups.setdefault(side.group.casefold(), (row.number, side.group))
        if before[1] != side.group:
            why = f"found group {side.group!r}, which is {before[1]!r} in row {before[0]}; write it one way"
            found.append(str(row.fault("line", why)))
        key = side.line.casefold(), side.side
        if key in first:
            why = f"{side.name} stands in row {first[key][0].number} already; expected each line and side once"
            found.append(str(row.fault("line", why)))
            continue
        first[key] = row, side
        other = first.get((key[0], "R" if side.side == "L" else "L"))
        if other is None:
            continue
        if other[1].line != side.line:
            why = f"found {side.line!r}, which is {other[1].line!r} in row {other[0].number}; write it one way"
            found.append(str(row.fault("line", why)))
        if (other[1].chart_nm is None) != (side.chart_nm is None):
            lacks = row if side.chart_nm is None else other[0]
            found.append(str(lacks.fault("chart", "is empty, and the other side has one; expected both or neither")))
    return found
