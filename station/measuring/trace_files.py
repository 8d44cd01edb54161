r"""Stored traces as CSV: `time_s,force,unit,status`, one reading a row, read strictly and written back.

The header names the columns, in any order. A reading without a status must carry a force; where the status is
`overload` or `fault` the force is ignored and the unit may be blank. A byte-order mark, CRLF and blank lines at the
end are accepted; anything else is a `TraceFault` that names the file, the row (counted from 1 below the header), the
line, what was found and what was expected. A time going back is no fault here: the rule judges it.

>>> read_rows("hold.csv", "time_s,force,unit,status\n0,29,lbf,\n0.0125,,lbf,overload\n").tension_mn.tolist()
[128998, 0]
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np
import numpy.typing as npt

from station.measuring.trace import LARGEST_MN, OVERLOAD, STATUSES, UNITS, Int8s, Trace, TraceFault, mn_per

COLUMNS = ("time_s", "force", "unit", "status")
_STATUS: dict[str, int] = {word or "": code for code, word in enumerate(STATUSES)}
_UNIT: dict[str, int] = {word or "": code for code, word in enumerate(UNITS)}
_LONGEST_S = 1e9  # three decades: beyond any hold, exact in microseconds
Floats = npt.NDArray[np.float64]


def read_trace(path: Path | str) -> Trace:
    """Read a trace file. Raises `TraceFault` naming file and row."""
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise TraceFault(f"{path}: cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise TraceFault(
            f"{path}: is no text file; expected CSV in UTF-8 with the header {','.join(COLUMNS)}"
        ) from None
    return read_rows(str(path), text)


def read_rows(name: str, text: str) -> Trace:
    """Read a trace from the text of a CSV file; `name` is used in messages."""
    text = text.rstrip()
    head, _, _ = text.partition("\n")
    order = _header(name, head.rstrip("\r"))
    columns = _columns(name, text)
    stamps, forces, units, words = (columns[order[each]] for each in COLUMNS)
    status = _codes(name, "status", words, _STATUS)
    unit = _codes(name, "unit", units, _UNIT)
    carries = status < OVERLOAD
    _refuse_first(name, "unit", units, carries & (unit == 0), f"one of {', '.join(filter(None, UNITS))}")
    if not carries.all():
        forces = [text if carried else "0" for text, carried in zip(forces, carries.tolist(), strict=True)]
    time_s = _floats(name, "time_s", stamps, "a time in seconds", _LONGEST_S)
    force = _floats(name, "force", forces, "a force as a plain number", LARGEST_MN / 1e5)
    per_unit = np.array([0.0, *(mn_per(each) for each in UNITS if each)])
    return Trace(np.rint(time_s * 1e6).astype(np.int64), np.rint(force * per_unit[unit]).astype(np.int64), status, unit)


def write_trace(path: Path | str, trace: Trace) -> None:
    """Write a trace so that reading it gives the same tensions and stamps; forces in newtons to the millinewton."""
    with Path(path).open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(COLUMNS) + "\n")
        for at_us, tension_mn, status, unit in zip(
            trace.at_us.tolist(), trace.tension_mn.tolist(), trace.status.tolist(), trace.unit.tolist(), strict=True
        ):
            force = "" if status >= OVERLOAD else _decimal(tension_mn, 3)
            file.write(f"{_decimal(at_us, 6)},{force},{'N' if unit else ''},{STATUSES[status] or ''}\n")


def _decimal(value: int, places: int) -> str:
    whole, part = divmod(abs(value), 10**places)
    return f"{'-' if value < 0 else ''}{whole}.{part:0{places}d}"


def _header(name: str, head: str) -> dict[str, int]:
    expected = f"expected the header {','.join(COLUMNS)}"
    if not head.strip():
        raise TraceFault(f"{name}: is empty; {expected}")
    found = [each.strip() for each in head.split(",")]
    if len(found) == 1 and ";" in head:
        raise TraceFault(f"{name}: header: columns are separated by semicolons; {expected}, separated by commas")
    for column in COLUMNS:
        if column not in found:
            raise TraceFault(f"{name}: header: the column {column!r} is missing: found {head!r}, {expected}")
    for column in found:
        if column not in COLUMNS or found.count(column) > 1:
            raise TraceFault(f"{name}: header: found a column {column!r} too many, {expected}")
    return {column: found.index(column) for column in COLUMNS}


def _columns(name: str, text: str) -> list[list[str]]:
    """Give the fields below the header, a list for each column."""
    width = len(COLUMNS)
    plain = text.replace("\r\n", "\n")
    lines = plain.count("\n")
    if lines == 0:
        raise TraceFault(f"{name}: holds no reading below its header; expected at least one row")
    marks = np.frombuffer(f"{plain}\n".encode(), np.uint8)
    marks = marks[(marks == ord(",")) | (marks == ord("\n"))]
    every_row = np.frombuffer(b"," * (width - 1) + b"\n", np.uint8)
    if '"' not in plain and len(marks) == width * (lines + 1) and (marks.reshape(-1, width) == every_row).all():
        # Nothing quoted and every row of the right width: split at once, several times as fast as row by row.
        fields = plain.replace("\n", ",").split(",")
        return [fields[width + column :: width] for column in range(width)]
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))[1:]
    except csv.Error as fault:
        raise TraceFault(f"{name}: is not valid CSV: {fault}") from None
    for number, row in enumerate(rows, 1):
        if len(row) != width:
            hint = "; a decimal is written with a point" if len(row) > width else ""
            raise TraceFault(f"{_place(name, number)}: found {len(row)} fields, expected {width}{hint}")
    return [list(column) for column in zip(*rows, strict=True)]


def _codes(name: str, column: str, words: list[str], codes: dict[str, int]) -> Int8s:
    try:
        return np.array(list(map(codes.__getitem__, words)), np.int8)
    except KeyError:
        number, word = next((n, word) for n, word in enumerate(words, 1) if word not in codes)
        expected = ", ".join(filter(None, codes)) + (" or nothing" if column == "status" else "")
        raise TraceFault(f"{_place(name, number)}: {column}: found {word!r}, expected {expected}") from None


def _floats(name: str, column: str, texts: list[str], what: str, largest: float) -> Floats:
    try:
        values = np.array(list(map(float, texts)))
    except ValueError:
        values = np.array([math.nan if _no_number(text) else 0.0 for text in texts])
    joined = "".join(texts)
    if "_" in joined or not joined.isascii():  # Python's float takes 1_000 and digits of any script
        values[[("_" in text or not text.isascii()) for text in texts]] = math.nan
    _refuse_first(name, column, texts, ~(np.abs(values) <= largest), what)
    return values


def _no_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return True
    return False


def _refuse_first(name: str, column: str, texts: list[str], bad: npt.NDArray[np.bool_], expected: str) -> None:
    if bad.any():
        row = int(bad.argmax())
        text = texts[row]
        hint = ""
        if not text.strip():
            hint = " (a reading without a force needs the status overload or fault)" if column == "force" else ""
        elif "," in text:
            hint = "; a decimal is written with a point"
        raise TraceFault(f"{_place(name, row + 1)}: {column}: found {text!r}, expected {expected}{hint}")


def _place(name: str, number: int) -> str:
    """Name a row, counted from 1 below the header, and the line of the file it stands on."""
    return f"{name}: row {number} (line {number + 1})"
