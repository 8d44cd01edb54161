"""The shop's own trials of shortening, from a CSV file with a header line.

Columns: `trap` and `shortening`, lengths with their units; optional `material` (the host's), `lot` and `guest` (its
material; empty where the guest was a line of the same kind). Read strictly, as `station.settings.sheet` reads: rows
count from 1, the first below the header.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from station import units
from station.settings.sheet import SheetRow, read_sheet


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
    length_m = cache(units.length_m)  # many rows, few lengths

    def trial(row: SheetRow) -> Trial:
        trap_m = row.get("trap", length_m)
        if trap_m <= 0:
            raise row.fault("trap", f"found {row.text('trap')!r}, expected a length above zero")
        shortening_m = row.get("shortening", length_m)
        return Trial(trap_m, shortening_m, row.text("lot"), row.text("guest"), row.text("material"), row.number)

    return [trial(row) for row in read_sheet(path, ("trap", "shortening"), ("material", "lot", "guest"))]
