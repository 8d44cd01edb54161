"""A trace's packed bytes, written narrower before they are compressed: half the room for stamps that jitter.

`Trace.pack` gives each step of stamp and tension eight bytes, which is plain to read and to hash. Here each column gets
as many as its longest step needs, and the stamps' bytes are laid out by place: all lowest bytes, then all second ones,
because the lowest are noise and the others hardly change. What is hashed stays the packed bytes, which come back just
as they were; bytes that are no packed trace are left as they are.

    `fbn1`, bytes of a stamp's step u8, of a tension's step u8, count u64, stamps by place, tensions, statuses, units

>>> from station.measuring.trace import Trace
>>> packed = Trace.empty().pack()
>>> widened(narrowed(packed)) == packed, narrowed(b"something else")
(True, b'something else')
"""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

_PACKED, _NARROW = b"fbt1", b"fbn1"
_HEAD = struct.Struct("<4sBBQ")
_WIDTHS = (2, 4, 8)


def narrowed(packed: bytes) -> bytes:
    """Give a packed trace's bytes narrower; other bytes as they are."""
    if packed[:4] != _PACKED or len(packed) < 12 or len(packed) != 12 + 18 * (count := _count(packed)):
        return packed
    stamps = np.frombuffer(packed, "<i8", count, 12)
    tensions = np.frombuffer(packed, "<i8", count, 12 + 8 * count)
    wide, high = _width(stamps), _width(tensions)
    by_place = stamps.astype(f"<i{wide}").view(np.uint8).reshape(count, wide).T.tobytes()
    head = _HEAD.pack(_NARROW, wide, high, count)
    return head + by_place + tensions.astype(f"<i{high}").tobytes() + packed[12 + 16 * count :]


def widened(narrow: bytes) -> bytes:
    """Give back what `narrowed` was given. Raises ValueError for bytes that it never gives."""
    if narrow[:4] != _NARROW:
        return narrow
    if len(narrow) < _HEAD.size:
        raise ValueError("the narrow trace is cut short")
    _, wide, high, count = _HEAD.unpack_from(narrow)
    body = _HEAD.size
    if wide not in _WIDTHS or high not in _WIDTHS or len(narrow) != body + count * (wide + high + 2):
        raise ValueError("the narrow trace is not whole")
    places = np.frombuffer(narrow, np.uint8, count * wide, body).reshape(wide, count).T
    stamps = np.ascontiguousarray(places).view(f"<i{wide}").reshape(count)
    tensions = np.frombuffer(narrow, f"<i{high}", count, body + count * wide)
    columns = stamps.astype("<i8").tobytes() + tensions.astype("<i8").tobytes()
    return _PACKED + struct.pack("<Q", count) + columns + narrow[body + count * (wide + high) :]


def _count(packed: bytes) -> int:
    (count,) = struct.unpack_from("<Q", packed, 4)
    return int(count)


def _width(steps: npt.NDArray[np.int64]) -> int:
    """Give how many bytes the longest step needs."""
    low, high = (int(steps.min()), int(steps.max())) if len(steps) else (0, 0)
    return next(width for width in _WIDTHS if -(1 << 8 * width - 1) <= low and high < 1 << 8 * width - 1)
