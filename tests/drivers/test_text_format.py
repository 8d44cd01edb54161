"""What a person may declare, and what is refused by name."""

from __future__ import annotations

from typing import Any

import pytest

from drivers.text_format import TextFormat
from drivers.text_frames import FormatFault, wire_bytes

REFUSED: list[tuple[str, dict[str, Any], str]] = [
    ("", {}, "has no {value}"),
    ("{unit}", {}, "has no {value}"),
    ("{valeu}", {}, "{valeu} is no field; the nearest is {value}"),
    ("{value} {x}", {}, "known are {value}, {unit}, {status}, {skip}, {check}"),
    ("{Value}", {}, "the nearest is {value}"),
    ("{value} {st}", {}, "{st} is no field; the nearest is {status}"),  # half alike, the least that is near
    ("{value}{", {}, "found '{' at character 7 without its other brace; a literal brace is written {{"),
    ("{value}}", {}, "found '}' at character 7 without its other brace"),
    ("{value;{unit}", {}, "found '{' at character 0"),
    ("{value} {value}", {}, "has {value} twice"),
    ("{value} {unit} {unit}", {}, "has {unit} twice"),
    ("{value:0}", {}, "expected a width of 1 to 128 bytes"),
    ("{value:129}", {}, "expected a width of 1 to 128 bytes"),
    ("{value:x}", {}, "found {value:x}, expected a width"),
    ("{skip}{value}", {}, "{skip} goes up to the next literal, but {value} follows it"),
    ("{value}0", {}, "{value} takes the digits of '0'"),
    ("{value}" + "x" * 129, {}, "longer than a frame may be"),
    ("{value} {unit}", {"units": {"pound": "lb"}}, "units: 'pound': found 'lb', expected one of N, lbf, kgf"),
    ("{value} {unit}", {"units": {"": "lbf"}}, "units: found an empty key"),
    ("{value}", {"unit": "lb"}, "unit: found 'lb', expected one of N, lbf, kgf; the nearest is 'lbf'"),
    ("{value}", {"unit": None}, "unit: is missing, and the frame has no {unit}"),
    ("{value};{status}", {"status": {"S": "steady"}}, "status: 'S': found 'steady', expected one of stable, unstable"),
    ("{value};{status}", {"status": {"": "overload"}}, "status: found an empty key"),
    ("{value}", {"status": {"S": "stable"}}, "has no {status}"),
    ("{value}", {"units": {"lb": "lbf"}}, "has no {unit}"),
    ("{value};{unit:3}", {"units": {"pounds": "lbf"}}, "{unit:3} is too narrow for 'pounds'"),
    ("{value}{unit}", {"units": {" lb": "lbf"}}, "{value} takes the beginning of the key ' lb' of {unit}"),
    ("{value}{status}", {"status": {"E1": "fault"}}, "{value} takes the beginning of the key 'E1'"),
    ("{value}{status}", {"status": {"0": "stable"}}, "{value} takes the beginning of the key '0'"),
    ("{value}", {"decimal": ";"}, "decimal: found ';', expected one of ., ,"),
    ("{value}", {"end": b""}, "the frame must have a fixed length, and {value} has none"),
    ("{value:8}", {"end": b""}, "nothing to find its beginning by"),
    (" {value:8}", {"end": b""}, "nothing to find its beginning by"),
    ("A{value:128}", {"end": b""}, "is 129 bytes long, expected at most 128"),
    ("{value}", {"end": b" "}, "end: begins with ' ', which a frame may hold"),
    ("{value}", {"end": b"0\n"}, "end: begins with '0'"),
    ("{value}", {"end": b"\n" * 129}, "end: is longer than a frame may be"),
    ("{value}*{check}", {"end": b"A\n", "checksum": "xor8"}, "end: begins with 'A'"),
    ("a\r\n{value}", {}, "'\\r\\n' begins within 'a\\r\\n'"),
    ("{value} lb\r", {}, "'\\r\\n' begins within ' lb\\r'"),
    ("{value};{status}", {"end": b"\n", "status": {"a\nb": "stable"}}, "begins within 'a\\nb'"),
    ("{value}*{check}", {}, "checksum: is none, and the frame has a {check}"),
    ("{value}", {"checksum": "xor8"}, "has no {check}"),
    ("{value}", {"check_range": (0, 4)}, "has no {check}"),
    (
        "{value}*{check}",
        {"checksum": "crc16"},
        "checksum: found 'crc16', expected one of none, xor8, sum8, crc16-modbus",
    ),
    ("{value}*{check}", {"checksum": "xor8", "check_form": "text"}, "check_form: found 'text'"),
    ("{value}*{check:2}", {"checksum": "xor8"}, "its width follows from the checksum"),
    ("{value}{check}", {"checksum": "xor8"}, "{check} follows {value} directly"),
    ("{check};{value}", {"checksum": "xor8"}, "what follows {check} has no fixed width"),
    ("{check};{value:8}", {"checksum": "xor8"}, "check_range: covers no byte"),
    ("{value}*{check}", {"checksum": "xor8", "check_range": (5, 5)}, "check_range: covers no byte"),
    ("{value}*{check}", {"checksum": "xor8", "check_range": (0, 99)}, "check_range: (0, 99) covers the check itself"),
]


@pytest.mark.parametrize(("frame", "keys", "why"), REFUSED)
def test_what_cannot_work_is_refused(frame: str, keys: dict[str, Any], why: str) -> None:
    """A format that could never read a frame is refused in words that name the key and what was expected."""
    if "{unit" not in frame:
        keys = {"unit": "lbf", **keys}
    with pytest.raises(FormatFault) as fault:
        TextFormat(frame, **keys)
    assert why in str(fault.value)


def test_a_format_is_a_value() -> None:
    """Two formats that say the same are equal and hash alike, and neither sees its maker's tables change."""
    units: dict[str, Any] = {"lb": "lbf"}
    one, two = TextFormat("{value} {unit}", units=units), TextFormat("{value} {unit}", units={"lb": "lbf"})
    units["kg"] = "kgf"
    assert one == two
    assert hash(one) == hash(two)
    assert one != TextFormat("{value} {unit}", units=units)


def test_texts_become_bytes_one_by_one_where_they_can() -> None:
    """A text of a station file is latin-1 where every character has a byte there, and UTF-8 where one has none."""
    assert wire_bytes("\x02\xff\xb5") == b"\x02\xff\xb5"
    assert wire_bytes("\u2030") == b"\xe2\x80\xb0"
