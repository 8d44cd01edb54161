"""The shop's own trials of shortening, from a CSV file with a header line.

Columns: `trap` and `shortening`, lengths with their units; optional `material` (the host's), `lot` and `guest` (its
material; empty where the guest was a line of the same kind), `uncertainty` (the standard uncertainty of the shortening
as it was measured; empty where nobody knows it) and `made` (where and when, in words). Read strictly, as
`station.settings.sheet` reads: rows count from 1, the first below the header. `written` gives such a file's text.

>>> print(written([Trial(0.127, 0.008, "L-31", standard_uncertainty_m=0.0008, made="job 26-0001")]), end="")
trap,shortening,material,lot,guest,uncertainty,made
0.127 m,0.008 m,,L-31,,0.0008 m,job 26-0001
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from station import units
from station.settings.sheet import SheetRow, read_columns

_DECIMAL = re.compile(r"([0-9]{1,9})(?:\.([0-9]{1,9}))? ?(m|cm|mm|in|ft)", re.ASCII)

_TAPE_M = 0.0254 / 16  # how well two lines are read against each other: our own figure
_OPTIONAL = ("material", "lot", "guest", "uncertainty", "made")


@dataclass(frozen=True)
class Trial:
    """One trap made, on scrap or in a job: its length, how much its host shortened, of which lot, around which guest.

    `standard_uncertainty_m` is that of the measured shortening, None where it is not known. `row` is where it stands in
    its file, 0 where it comes from none, and `made` where it was made, in words; they say nothing of the trial itself.
    """

    trap_m: float
    shortening_m: float
    lot: str = ""
    guest: str = ""
    material: str = ""
    row: int = field(default=0, compare=False)
    standard_uncertainty_m: float | None = None
    made: str = field(default="", compare=False)

    @property
    def impossible(self) -> str:
        """Say what it tells that no trap does; '' where a trap may. A sixteenth of an inch may be the tape's.

        >>> Trial(0.15, 0.15).impossible, Trial(0.15, -0.002).impossible, Trial(0.15, -0.001).impossible
        ('it shortened its host by all its length or more', 'it lengthened its host', '')
        """
        if self.shortening_m >= self.trap_m:
            return "it shortened its host by all its length or more"
        return "it lengthened its host" if self.shortening_m < -_TAPE_M else ""


def load_trials(path: Path | str) -> list[Trial]:
    """Read a trials file. Raises `SettingsFault` where it cannot be read or a row cannot be understood."""
    sheet = read_columns(path, ("trap", "shortening"), _OPTIONAL)
    given = sheet.column("uncertainty")
    try:
        traps_m, shortenings_m = _lengths_m(sheet.column("trap")), _lengths_m(sheet.column("shortening"))
        sure_m = {text: length_of_decimal_m(text) for text in set(given) if text}
    except ValueError:
        traps_m, shortenings_m, sure_m = [], [], {}
    if not traps_m or min(traps_m) <= 0 or any(each_m <= 0 for each_m in sure_m.values()):
        _check(sheet.rows())
    texts = (sheet.column(name) for name in ("lot", "guest", "material"))
    rows, sures_m = range(1, len(traps_m) + 1), map(sure_m.get, given)
    return [*map(Trial, traps_m, shortenings_m, *texts, rows, sures_m, sheet.column("made"))]


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
        if row.text("uncertainty") and row.get("uncertainty", units.length_m) <= 0:
            raise row.fault("uncertainty", f"found {row.text('uncertainty')!r}, expected a length above zero")


def written(trials: Iterable[Trial]) -> str:
    """Give the text of a trials file that reads back as these trials, to the last bit."""
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\n")
    writer.writerow(("trap", "shortening", *_OPTIONAL))
    for each in trials:
        sure_m = each.standard_uncertainty_m
        unsure = "" if sure_m is None else f"{sure_m!r} m"
        lengths = f"{each.trap_m!r} m", f"{each.shortening_m!r} m"
        writer.writerow((*lengths, each.material, each.lot, each.guest, unsure, each.made))
    return sheet.getvalue()
