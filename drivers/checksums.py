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
from functools import reduce
from operator import xor


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


_MANY = 24  # pieces from which on columns are quicker than bytes


def of_each(name: str, pieces: Sequence[bytes]) -> list[int]:
    """Give the check of each piece; where they are many, column by column through all of them at once."""
    if name == "sum8" or len(pieces) < _MANY or not any(pieces):
        return [*map(CHECKSUMS[name][1], pieces)]
    import numpy as np  # here, so that a pedal's or a settings page's start does not wait for it

    lengths = np.array([*map(len, pieces)])
    longest = int(lengths.max())
    filled = b"".join([piece.ljust(longest, b"\0") for piece in pieces])
    rows = np.frombuffer(filled, np.uint8).reshape(len(pieces), longest)
    if name == "xor8":
        return [*map(int, np.bitwise_xor.reduce(rows, axis=1))]
    table = np.array(_CRC_TABLE, np.uint16)
    crc = np.full(len(pieces), 0xFFFF, np.uint16)
    shortest = int(lengths.min())
    for at, column in enumerate(np.ascontiguousarray(rows.T)):
        after = crc >> 8 ^ table[(crc ^ column) & 0xFF]
        crc = after if at < shortest else np.where(at < lengths, after, crc)
    return [*map(int, crc)]


# Name -> bytes wide, and how it is computed.
CHECKSUMS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    "xor8": (1, xor8),
    "sum8": (1, sum8),
    "crc16-modbus": (2, crc16_modbus),
}


def written(name: str, check: int, form: str) -> bytes:
    """Write a check as it is sent: upper-case hexadecimal digits ("hex"), or bare bytes, low byte first ("bytes")."""
    width = CHECKSUMS[name][0]
    return b"%0*X" % (2 * width, check) if form == "hex" else check.to_bytes(width, "little")


def read(sent: bytes, form: str) -> int:
    """Read a check from the bytes it was sent as, which are of the right kind."""
    return int(sent, 16) if form == "hex" else int.from_bytes(sent, "little")
