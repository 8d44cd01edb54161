"""The checksums that text frames carry, over the bytes they cover.

- `xor8`: all bytes combined by exclusive or.
- `sum8`: the low byte of the sum.
- `crc16-modbus`: the cyclic redundancy check of the Modbus serial line specification, section 2.5.1.2: polynomial
  0xA001 (bits reversed), start value 0xFFFF, no final inversion.

A check is sent as hexadecimal digits, high digit first, or as bare bytes; bare bytes of the CRC go low byte first, as
that specification orders them.

>>> f"{crc16_modbus(b'123456789'):04X}", written("crc16-modbus", 0x1241, "bytes").hex()
('4B37', '4112')
>>> written("xor8", xor8(b"12.5 lb"), "hex"), read(b"0e", "hex")
(b'36', 14)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, reduce
from operator import xor
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


def xor8(data: bytes) -> int:
    """Give the exclusive or of all bytes."""
    return reduce(xor, data, 0)


def sum8(data: bytes) -> int:
    """Give the sum of all bytes, modulo 256."""
    return sum(data) & 0xFF


def _crc_of_byte(byte: int) -> int:
    for _ in range(8):
        byte = byte >> 1 ^ (0xA001 if byte & 1 else 0)
    return byte


_CRC_TABLE = tuple(_crc_of_byte(byte) for byte in range(256))


def crc16_modbus(data: bytes) -> int:
    """Give the CRC of the Modbus serial line specification, section 2.5.1.2."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


# Name -> bytes wide, and how it is computed.
CHECKSUMS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    "xor8": (1, xor8),
    "sum8": (1, sum8),
    "crc16-modbus": (2, crc16_modbus),
}

_MANY = 12  # frames from which on arrays are quicker than bytes


def all_right(name: str, form: str, pieces: Sequence[bytes], sent: Sequence[bytes]) -> bool:
    """Tell whether each piece's check is the one that was sent with it, in the form (see `written`) it was sent in."""
    if len(pieces) < _MANY:
        check = CHECKSUMS[name][1]
        return [*map(check, pieces)] == [read(each, form) for each in sent]
    import numpy as np  # here, so that a pedal's or a settings page's start does not wait for it

    checks = bytes.fromhex(b"".join(sent).decode("ascii")) if form == "hex" else b"".join(sent)
    order = ">" if form == "hex" else "<"
    return bool(np.array_equal(of_each(name, pieces), np.frombuffer(checks, f"{order}u{CHECKSUMS[name][0]}")))


def of_each(name: str, pieces: Sequence[bytes]) -> npt.NDArray[np.unsignedinteger[Any]]:
    """Give the check of each piece, through all of them at once.

    A CRC is linear: the check of a piece is the exclusive or of what each of its bytes gives by its distance from the
    end, and of what the start value gives by the length. Zeros before a piece give nothing.
    """
    import numpy as np

    lengths = [*map(len, pieces)]
    longest = max(lengths)
    filled = pieces if min(lengths) == longest else [piece.rjust(longest, b"\0") for piece in pieces]
    rows = np.frombuffer(b"".join(filled), np.uint8).reshape(len(pieces), longest)
    checks: npt.NDArray[np.unsignedinteger[Any]]
    if name != "crc16-modbus":
        checks = (np.add if name == "sum8" else np.bitwise_xor).reduce(rows, axis=1, dtype=np.uint8)
        return checks
    by_distance, of_start = _crc_by_distance(1 << longest.bit_length())
    crcs = by_distance.take(rows + 256 * np.arange(longest - 1, -1, -1))
    checks = np.bitwise_xor.reduce(crcs, axis=1) ^ of_start[lengths]
    return checks


@cache
def _crc_by_distance(count: int) -> tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint16]]:
    """Give what a byte gives a CRC with 0 to `count` - 1 bytes after it, 256 values each; the start value likewise."""
    import numpy as np

    table = np.array(_CRC_TABLE, np.uint16)
    distances, starts = [table], [0xFFFF]
    for _ in range(count - 1):
        distances.append(distances[-1] >> 8 ^ table[distances[-1] & 0xFF])
        starts.append(starts[-1] >> 8 ^ _CRC_TABLE[starts[-1] & 0xFF])
    return np.concatenate(distances), np.array(starts, np.uint16)


def written(name: str, check: int, form: str) -> bytes:
    """Write a check as it is sent: upper-case hexadecimal digits ("hex"), or bare bytes, low byte first ("bytes")."""
    width = CHECKSUMS[name][0]
    return b"%0*X" % (2 * width, check) if form == "hex" else check.to_bytes(width, "little")


def read(sent: bytes, form: str) -> int:
    """Read a check from the bytes it was sent as, which are of the right kind."""
    return int(sent, 16) if form == "hex" else int.from_bytes(sent, "little")
