"""The shop's own trials of shortening, from a CSV file with a header line.

Columns: `trap` and `shortening`, lengths with their units; optional `material` (the host's), `lot` and `guest` (its
material; empty where the guest was a line of the same kind). Read strictly, as `station.settings.sheet` reads: rows
count from 1, the first below the header.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from station import units
from station.settings.sheet import SheetRow, read_columns

_DECIMAL = re.compile(r"([0-9]{1,9})(?:\.([0-9]{1,9}))? ?(m|cm|mm|in|ft)", re.ASCII)


@dataclass(frozen=True)
class Trial:
    """One trap made on scrap: its length, how much its host shortened, of which lot, around which guest.

    `row` is where it stands in its file, 0 where it comes from none; it says nothing of the trial itself.
    """

    trap_m: float
    shortening_m: float
    lot: str = ""
    guest: str = ""
    material: str = ""
    row: int = field(default=0, compare=False)


def load_trials(path: Path | str) -> list[Trial]:
    """Read a trials file. Raises `SettingsFault` where it cannot be read or a row cannot be understood."""
    sheet = read_columns(path, ("trap", "shortening"), ("material", "lot", "guest"))
    try:
        traps_m, shortenings_m = _lengths_m(sheet.column("trap")), _lengths_m(sheet.column("shortening"))
    except ValueError:
        traps_m, shortenings_m = [], []
    if not traps_m or min(traps_m) <= 0:
        _check(sheet.rows())
    texts = (sheet.column(name) for name in ("lot", "guest", "material"))
    return [*map(Trial, traps_m, shortenings_m, *texts, range(1, len(traps_m) + 1))]


def _lengths_m(texts: Sequence[str]) -> list[float]:
    """Read a column of lengths, each text once."""
    known = {text: length_of_decimal_m(text) for text in set(texts)}
    return [known[text] for text in texts]


def length_of_decimal_m(text: str) -> float:
    """Read a length as `units.length_m` does, a plain decimal faster: its exact ratio is rounded once, there as here.

    >>> length_of_decimal_m("0.375 in") == units.length_m("0.375 in"), length_of_decimal_m("3/8 in")
    (True, 0.009525)
    """
    found = _DECIMAL.fullmatch(text)
    if found is None:
        return units.length_m(text)
    whole, part, unit = found.groups("")
    ratio = units.factor(unit, "length")
    return float(int(whole + part) * ratio.numerator / (ratio.denominator * 10 ** len(part)))


def _check(rows: Sequence[SheetRow]) -> None:
    """Refuse the first row that cannot be understood."""
    for row in rows:
        if row.get("trap", units.length_m) <= 0:
            raise row.fault("trap", f"found {row.text('trap')!r}, expected a length above zero")
        row.get("shortening", units.length_m)
