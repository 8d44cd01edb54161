"""Descriptions proposed from what was heard: each reads it, and says what it could not tell."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from drivers.checksums import xor8
from drivers.events import Frame, Noise
from drivers.proposal import propose, readable
from drivers.text_frames import TextDecoder, TextFormat, encode


def sent(frame: Callable[[int], bytes]) -> bytes:
    """Give forty frames, heard from the midst of the first on."""
    return b"".join(map(frame, range(40)))[3:]


def checked(name: Any) -> bytes:
    """Give frames that carry a check."""
    form = TextFormat("{status},{value} {unit}*{check}", units={"lb": "lbf"}, status={"ST": "stable"}, checksum=name)
    return sent(lambda k: encode(form, k / 7, "lbf", "stable"))


@pytest.mark.parametrize(
    ("heard", "frame", "end"),
    [
        (sent(lambda k: b"%8.2f\r\n" % (k / 7)), "{value}", b"\r\n"),
        (sent(lambda k: b"%6d\r" % (7 * k)), "{value}", b"\r"),
        (sent(lambda k: b"%b%7.2f kg\r\n" % (b"-+"[k % 2 : k % 2 + 1], k / 7)), "{value} {unit}", b"\r\n"),
        (sent(lambda k: b"%b,GS,%8.2f lb\r\n" % ((b"ST", b"US")[k % 2], k / 7)), "{status},GS,{value} {unit}", b"\r\n"),
        (sent(lambda k: b"\x02%c%06d\x03" % (65 + k % 2, 13 * k)), "\x02{skip:1}{value}", b"\x03"),
        (sent(lambda k: b"%.2f;lb;%b\r\n" % (k, (b"still", b"moving")[k % 2])), "{value};{unit};{skip}", b"\r\n"),
        (sent(lambda k: b"<%dA %6.2fp>\r" % (k % 10, k / 3)), "<{skip:1}A{value}p>", b"\r"),
        (sent(lambda k: b"{%.1f} N\n" % k), "{{{value}}} {unit}", b"\n"),
        (sent(lambda k: b"%7.2f lb  \r\n" % k), "{value} {unit}  ", b"\r\n"),
        (sent(lambda k: b"%-7.2flb\r\n" % (k * 7)), "{value}{unit}", b"\r\n"),
        (sent(lambda k: b"ST  GS %6.2f  kg\r\n" % k), "{status}  GS{value}  {unit}", b"\r\n"),
        (sent(lambda k: b"%+.5E\n" % (k - 20)), "{value}", b"\n"),
        (sent(lambda k: b"%d,%.2f,kg\r\n" % (k % 4, k)), "{skip:1},{value},{unit}", b"\r\n"),
        (sent(lambda k: (b"%7.2f lb\r\n" % (k / 20)).replace(b" 0.", b"  .")), "{value} {unit}", b"\r\n"),
        (sent(lambda k: b"%5d. lb\r\n" % k), "{value} {unit}", b"\r\n"),
    ],
)
def test_a_layout_is_found(heard: bytes, frame: str, end: bytes) -> None:
    """Numbers, units, words that are known and words that are not find their places, and every whole frame is read."""
    found = propose(heard)
    assert found is not None
    assert (found.form.frame, found.form.end) == (frame, end)
    assert found.explained == found.frames == 39
    assert found.left == ()


@pytest.mark.parametrize(
    ("heard", "frame"),
    [
        (sent(lambda k: b"=%06.2f" % k), "={value:6}"),
        (sent(lambda k: b"%06.2f;" % k), "{value:6};"),
        (sent(lambda k: b"\x02%b%7.2flb" % ((b"ST", b"US")[k % 2], k / 7)), "\x02{status:2}{value:7}{unit:2}"),
    ],
)
def test_frames_without_an_end(heard: bytes, frame: str) -> None:
    """Where no end is found, frames of one length are; where one begins is said to be a guess."""
    found = propose(heard)
    assert found is not None
    assert (found.form.frame, found.form.end, found.explained, found.left) == (frame, b"", 39, ())
    assert any("where a frame begins is a guess" in guess for guess in found.guesses)
    assert tomllib.loads(found.toml("/dev/x", 9600))["scale"]["end"] == ""


def test_a_check_of_bare_bytes_after_the_last_byte() -> None:
    """A check that follows ETX as one bare byte is found, with the bytes that it covers."""
    form = TextFormat(
        "\x02{value:7} lb\x03{check}", b"", "lbf", checksum="xor8", check_range=(1, -1), check_form="bytes"
    )
    found = propose(sent(lambda k: encode(form, k / 8, "lbf", None)))
    assert found is not None
    assert (found.form.check_range, found.form.check_form) == ((1, -1), "bytes")
    assert (found.explained, found.frames) == (39, 39)
    assert tomllib.loads(found.toml("/dev/x", 9600))["scale"]["check_form"] == "bytes"


def test_a_byte_that_agrees_by_chance_is_no_check() -> None:
    """A steady reading whose last byte happens to be the sum of the others carries no check for that."""
    body = b"+  1.50 lb;"
    found = propose((body + bytes((xor8(body),)) + b"\r\n") * 40)
    assert found is not None
    assert found.form.checksum == "none"


def test_what_reads_little_is_a_beginning() -> None:
    """A description that reads a third of what came says that it does not read most of it."""
    half = propose(sent(lambda k: b"%5.1f lb\r\n" % k if k % 3 == 0 else b"printing"[k % 8 :] + b"\r\n"))
    most = propose(sent(lambda k: b"%5.1f lb\r\n" % k if k % 3 else b"printing"[k % 8 :] + b"\r\n"))
    assert half is not None
    assert most is not None
    assert (half.reads_most, most.reads_most) == (False, True)


@pytest.mark.parametrize("unit", [b"kN", b"daN", b"g", b"oz"])
def test_a_unit_that_no_description_can_name(unit: bytes) -> None:
    """A unit that is none of the three is never passed over in silence."""
    found = propose(sent(lambda k: b"%7.3f %b\r\n" % (k, unit)))
    assert found is not None
    assert any(f"{unit.decode()!r} stands where a unit does" in guess for guess in found.guesses)


@example(b"\x84=123\x91\x88\xa0")
@given(st.binary(min_size=8, max_size=24))
def test_garbage_that_repeats_is_no_frame(block: bytes) -> None:
    """What a wrong speed makes of a steady reading repeats like a frame, and is not taken for one."""
    assume(readable(block) < 0.9)
    assume(not any(end in block for end in (b"\r", b"\n", b"\x03")))
    assert propose(block * 40) is None


def test_a_decimal_comma() -> None:
    """A number with a comma makes the comma the decimal mark."""
    found = propose(sent(lambda k: b"W %6.1f N\n" % k).replace(b".", b","))
    assert found is not None
    assert (found.form.frame, found.form.decimal) == ("W{value} {unit}", ",")
    assert 'decimal = ","' in found.toml("/dev/x", 9600)
    assert "a comma is taken for the decimal mark" in found.toml("/dev/x", 9600)


@pytest.mark.parametrize("name", ["xor8", "sum8", "crc16-modbus"])
def test_a_check_is_found(name: str) -> None:
    """A check that agrees in every frame is declared, and a garbled frame is left unexplained."""
    heard = checked(name)
    at = heard.index(b"ST,", 200)
    garbled = heard[:at] + b"?" + heard[at + 1 :]
    found = propose(garbled)
    assert found is not None
    assert (found.form.frame, found.form.checksum) == ("{status},{value} {unit}*{check}", name)
    assert (found.explained, found.frames, len(found.left)) == (38, 39, 1)
    assert b"?" in found.left[0]


@pytest.mark.parametrize(("parity", "odd"), [("E", 0), ("O", 1)])
def test_seven_bits_with_parity(parity: str, odd: int) -> None:
    """Bytes whose eighth bit makes them all even, or all odd, were sent with seven bits and that parity."""
    plain = sent(lambda k: b"%8.2f lb\r\n" % (k / 7))
    found = propose(bytes(byte | 0x80 * (byte.bit_count() & 1 ^ odd) for byte in plain))
    assert found is not None
    assert (found.form.frame, found.seven_bits) == ("{value} {unit}", parity)
    assert tomllib.loads(found.toml("/dev/x", 4800))["scale"]["parity"] == parity


def test_what_is_told_to_the_person() -> None:
    """The text is a [scale] table that names its guesses, and leaves to the person what no frame tells."""
    found = propose(sent(lambda k: b"%b %7.2f lb\r\n" % ((b"ST", b"ZZ")[k % 2], k)))
    assert found is not None
    text = found.toml("/dev/x", 9600)
    assert tomllib.loads(text)["scale"] == {
        "url": "/dev/x",
        "baud": 9600,
        "format": "text",
        "frame": found.form.frame,
        "end": "\r\n",
        "units": {"lb": "lbf"},
    } | ({"status": found.form.status} if found.form.status else {})
    assert "'lb' for lbf; look at what the scale shows" in text
    assert "# capacity = ..." in text
    assert "unit = ..." not in text
    plain = propose(sent(lambda k: b"%7.2f\r\n" % k))
    assert plain is not None
    assert "# unit = ...  # required" in plain.toml("/dev/x", 9600)
    assert "unit" not in tomllib.loads(plain.toml("/dev/x", 9600))["scale"]


@pytest.mark.parametrize("heard", [b"", b"1\r\n2\r\n", b"hello\r\nworld\r\nagain\r\nhello\r\n", bytes(500)])
def test_nothing_is_proposed_for_nothing(heard: bytes) -> None:
    """Too few frames, words without a number and silence give no description."""
    assert propose(heard) is None


def test_a_wrong_speed_is_hard_to_read() -> None:
    """Bytes of every kind, as a wrong speed gives them, are mostly unreadable, and text is wholly so."""
    assert readable(bytes(range(256))) < 0.5
    assert readable(b" 29.96 lb\r\n") == 1
    assert readable(b"") == 0


@given(st.lists(st.binary(max_size=20) | st.sampled_from([b"1.0 lb\r\n", b"\r", b"\n"]), max_size=30).map(b"".join))
def test_what_is_proposed_reads_what_was_heard(heard: bytes) -> None:
    """Whatever came, a proposal is made only where the decoder reads as many frames as it says."""
    found = propose(heard)
    if found is not None and found.seven_bits is None:
        begin = heard.find(found.form.end) + len(found.form.end)
        events = TextDecoder(found.form).feed(heard[begin:])
        if not found.form.end and isinstance(events[0], Noise):
            events = events[1:]  # the first may have lost its beginning
        assert sum(isinstance(each, Frame) for each in events) == found.explained >= 3
        assert len(events) == found.frames
