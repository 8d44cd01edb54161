"""Readings as columns: the form in which a hold is judged, stored and plotted.

A `Trace` is any run of consecutive readings, one live reading or a million stored ones: stamps in whole
microseconds, tensions in whole millinewtons, a status and a unit each. Rounding happens here, once, at the edge.

>>> from drivers.events import Reading
>>> trace = Trace.of([Reading(0, 29.0, "lbf", None, 0), Reading(12_500, None, "lbf", "overload", 12_500)])
>>> trace.tension_mn.tolist(), trace.has_tension.tolist()
([128998, 0], [True, False])
>>> Trace.unpack(trace.pack()) == trace
True
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from drivers.events import ForceUnit, Reading, Status
from station.units import factor

Int64s = npt.NDArray[np.int64]
Int8s = npt.NDArray[np.int8]
Bools = npt.NDArray[np.bool_]

STATUSES: tuple[Status | None, ...] = (None, "stable", "unstable", "overload", "fault")
UNITS: tuple[ForceUnit | None, ...] = (None, "N", "lbf", "kgf")
OVERLOAD = STATUSES.index("overload")
FAULT = STATUSES.index("fault")
NO_TENSION = frozenset({"overload", "fault"})
_STATUS_CODE = {word: code for code, word in enumerate(STATUSES)}
_UNIT_CODE = {word: code for code, word in enumerate(UNITS)}

_MAGIC = b"fbt1"  # the layout's version is its last character
LARGEST_MN = 10**12  # a thousand meganewtons: beyond any scale, far from overflow of a sum


class TraceFault(ValueError):
    """A stored trace cannot be read; the message names what was found and what was expected."""


@cache
def mn_per(unit: ForceUnit) -> float:
    """Give how many millinewtons one `unit` is, as the float that readings are multiplied with."""
    return float(factor(unit, "force") * 1000)


class Row(NamedTuple):
    """One reading as a trace holds it, without the cost of arrays: what most scales send at a time."""

    at_us: int
    tension_mn: int
    status: int
    unit: int

    @classmethod
    def of(cls, reading: Reading, origin_us: int = 0) -> Row:
        """Give a reading as a row, by the rules of `Trace.of`."""
        at_us, force, unit, status, _ = reading
        if force is not None and unit is not None and status not in NO_TENSION:
            pull_mn = round(min(max(force * mn_per(unit), -LARGEST_MN), LARGEST_MN))
            return cls(at_us - origin_us, pull_mn, _STATUS_CODE[status], _UNIT_CODE[unit])
        code = _STATUS_CODE[status] if status in NO_TENSION else FAULT
        return cls(at_us - origin_us, 0, code, _UNIT_CODE[unit])


@dataclass(frozen=True, eq=False)
class Trace:
    """A run of readings as columns of one length.

    `at_us` stamps; `tension_mn` tensions (0 and meaningless where `has_tension` is False); `status` and `unit` are
    codes into `STATUSES` and `UNITS`.
    """

    at_us: Int64s
    tension_mn: Int64s
    status: Int8s
    unit: Int8s

    def __len__(self) -> int:
        return len(self.at_us)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Trace) and self.pack() == other.pack()

    def __hash__(self) -> int:
        return hash(self.pack())

    def __getitem__(self, rows: slice) -> Trace:
        return Trace(self.at_us[rows], self.tension_mn[rows], self.status[rows], self.unit[rows])

    def row(self, at: int) -> Row:
        """Give one reading of the run."""
        return Row(int(self.at_us[at]), int(self.tension_mn[at]), int(self.status[at]), int(self.unit[at]))

    @cached_property
    def has_tension(self) -> Bools:
        """Tell for each reading whether it carries a tension: an overload or a fault carries none."""
        return self.status < OVERLOAD

    @classmethod
    def of(cls, readings: Sequence[Reading], origin_us: int = 0) -> Trace:
        """Give readings as columns, stamps counted from `origin_us`.

        A reading without a force, or without a unit, is a fault and never a zero.
        """
        if not readings:
            return cls(np.array([], np.int64), np.array([], np.int64), np.array([], np.int8), np.array([], np.int8))
        columns: list[tuple[Any, ...]] = [*zip(*readings, strict=True)]
        at_us, forces, units, statuses, _ = columns
        codes = [_UNIT_CODE[unit] for unit in units] if _differ(units) else _UNIT_CODE[units[0]]
        if None in forces or None in units or not NO_TENSION.isdisjoint(statuses):
            rows = [Row.of(reading) for reading in readings]
            tension = np.array([row.tension_mn for row in rows], np.int64)
            status: int | list[int] = [row.status for row in rows]
        else:
            per = [mn_per(unit) for unit in units] if _differ(units) else mn_per(units[0])
            pull = np.multiply(np.array(forces, np.float64), per)
            tension = np.rint(np.minimum(np.maximum(pull, -LARGEST_MN), LARGEST_MN)).astype(np.int64)
            status = [_STATUS_CODE[word] for word in statuses] if _differ(statuses) else _STATUS_CODE[statuses[0]]
        stamps = np.array(at_us, np.int64) - origin_us
        return cls(stamps, tension, _column(status, stamps), _column(codes, stamps))

    @classmethod
    def empty(cls) -> Trace:
        """Give the trace of no reading."""
        return cls.of([])

    @classmethod
    def of_rows(cls, rows: Sequence[Row]) -> Trace:
        """Give rows, at least one, as columns."""
        at_us, tension_mn, status, unit = zip(*rows, strict=True)
        stamps = np.array(at_us, np.int64)
        return cls(stamps, np.array(tension_mn, np.int64), np.array(status, np.int8), np.array(unit, np.int8))

    @classmethod
    def joined(cls, traces: Sequence[Trace]) -> Trace:
        """Give several runs, in their order, as one."""
        if not traces:
            return cls.empty()
        return cls(
            np.concatenate([t.at_us for t in traces]),
            np.concatenate([t.tension_mn for t in traces]),
            np.concatenate([t.status for t in traces]),
            np.concatenate([t.unit for t in traces]),
        )

    def pack(self) -> bytes:
        """Give the trace as bytes to hash and compress: a header, then columns, stamps and tensions as deltas.

        Layout 1, little-endian: `fbt1`, count u64, then columns of that many rows: i64 stamp deltas, i64 tension
        deltas (the first of each counts from 0), i8 statuses, i8 units.
        """
        stamps = np.diff(self.at_us, prepend=np.int64(0)).astype("<i8")
        tensions = np.diff(self.tension_mn, prepend=np.int64(0)).astype("<i8")
        head = _MAGIC + struct.pack("<Q", len(self))
        return head + stamps.tobytes() + tensions.tobytes() + self.status.tobytes() + self.unit.tobytes()

    def digest(self) -> str:
        """Give the SHA-256 of the packed bytes, in hex: the name under which a trace is stored."""
        return hashlib.sha256(self.pack()).hexdigest()

    @classmethod
    def unpack(cls, packed: bytes) -> Trace:
        """Give back what `pack` packed. Raises `TraceFault` for bytes of another layout or length."""
        head = len(_MAGIC) + 8
        if packed[: len(_MAGIC)] != _MAGIC or len(packed) < head:
            raise TraceFault(f"found a stored trace of layout {packed[:4]!r}, expected {_MAGIC!r}")
        (count,) = struct.unpack("<Q", packed[len(_MAGIC) : head])
        if len(packed) != head + 18 * count:
            raise TraceFault(f"found a stored trace of {len(packed)} bytes, expected {head + 18 * count}")
        stamps = np.frombuffer(packed, "<i8", count, head)
        tensions = np.frombuffer(packed, "<i8", count, head + 8 * count)
        status = np.frombuffer(packed, np.int8, count, head + 16 * count)
        unit = np.frombuffer(packed, np.int8, count, head + 17 * count)
        bad_status = (status < 0) | (status >= len(STATUSES))
        bad_unit = (unit < 0) | (unit >= len(UNITS))
        if bad_status.any() or bad_unit.any():
            raise TraceFault("found a stored trace with a status or unit that is none of ours")
        return cls(np.cumsum(stamps, dtype=np.int64), np.cumsum(tensions, dtype=np.int64), status, unit)


def _differ(words: Sequence[Any]) -> bool:
    return words.count(words[0]) != len(words)


def _column(codes: int | list[int], like: Int64s) -> Int8s:
    """Give codes as a column as long as `like`."""
    return np.full(len(like), codes, np.int8)
