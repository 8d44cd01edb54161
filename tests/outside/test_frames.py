"""Text frames and their checks against published values.

Sources: the CRC of the Modbus serial line protocol and implementation guide V1.02, section 2.5.1.2 and appendix B (the
check value over the digits 1 to 9 as commonly published for this CRC; the guide's example 02 07 from memory, and
computed); the number forms of IEEE 488.2, sections 8.7.2 (NR1), 8.7.3 (NR2) and 8.7.4 (NR3), the latter two from
memory. The numbers themselves are ours.
"""

from __future__ import annotations

import pytest

from drivers import checksums
from drivers.events import Frame
from drivers.text_frames import TextDecoder, TextFormat


@pytest.mark.parametrize(("data", "crc"), [(b"123456789", 0x4B37), (bytes([0x02, 0x07]), 0x1241)])
def test_crc_vectors(data: bytes, crc: int) -> None:
    """The CRC-16 of Modbus gives its published values."""
    assert checksums.crc16_modbus(data) == crc


def test_crc_is_sent_low_byte_first() -> None:
    """The guide's example 02 07 goes over the line as 02 07 41 12."""
    assert checksums.written("crc16-modbus", checksums.crc16_modbus(b"\x02\x07"), "bytes") == b"\x41\x12"


def test_crc_over_a_frame_with_its_crc_is_nothing() -> None:
    """A message followed by its CRC, low byte first, has the CRC zero (appendix B of the guide)."""
    for data in (b"\x02\x07", b"123456789", b"\x01\x03\x00\x00\x00\x02"):
        assert (
            checksums.crc16_modbus(data + checksums.written("crc16-modbus", checksums.crc16_modbus(data), "bytes")) == 0
        )


def test_crc_agrees_with_division_bit_by_bit() -> None:
    """The table gives what the guide's shift register gives, for every byte and a long message."""

    def by_register(data: bytes) -> int:
        register = 0xFFFF
        for byte in data:
            register ^= byte
            for _ in range(8):
                register, out = register >> 1, register & 1
                register ^= 0xA001 if out else 0
        return register

    messages = [bytes([byte]) for byte in range(256)] + [bytes(range(256)) * 3, b""]
    assert [checksums.crc16_modbus(each) for each in messages] == [by_register(each) for each in messages]


@pytest.mark.parametrize(
    ("sent", "force"),
    [
        (b"30", 30.0),  # NR1: an integer
        (b"+30", 30.0),
        (b"-007", -7.0),
        (b"29.96", 29.96),  # NR2: an explicit point
        (b"30.", 30.0),
        (b".5", 0.5),
        (b"2.996E+01", 29.96),  # NR3: an exponent
        (b"-1.5e-1", -0.15),
        (b"3E1", 30.0),
    ],
)
def test_number_forms(sent: bytes, force: float) -> None:
    """Every form of a number that IEEE 488.2 names is read as its value."""
    assert TextDecoder(TextFormat("{value}", unit="N")).feed(sent + b"\r\n") == [Frame(force, "N", None)]
