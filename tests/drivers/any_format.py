"""Formats, frames and streams at random."""

from __future__ import annotations

from typing import Any

from hypothesis import assume
from hypothesis import strategies as st

from drivers.events import ForceUnit, Frame, Status
from drivers.text_frames import FormatFault, TextFormat, encode

UNITS: dict[str, ForceUnit] = {"lb": "lbf", "pounds": "lbf", "kg": "kgf", "#": "N", "lb·f": "lbf"}
STATUS: dict[str, Status] = {"S": "stable", "ST": "stable", "-": "unstable", "OL": "overload", "err": "fault"}


@st.composite
def formats(draw: st.DrawFn, clear: bool = False) -> TextFormat:
    """Draw a format: fields in any order, with literals, columns and checks. `clear`: none runs into its neighbour."""
    separators = st.sampled_from(
        [";", " ", "  ", ", ", ",", " [", "\t", "x"] if clear else ["", ";", " ", "  ", "x", "12"]
    )
    fixed = draw(st.booleans())
    widths = {"value": ":12", "unit": ":6", "status": ":8", "skip": ":3"}
    fields = draw(st.sets(st.sampled_from(["unit", "status"]))) | {"value"}
    order = draw(st.permutations(sorted(fields)))
    frame = draw(st.sampled_from(["", "", "\x02", "net: ", " ", "+"]))
    if draw(st.booleans()):
        frame += ("{skip:3}" if fixed else "{skip:2}") + draw(separators)
    for field in order:
        width = widths[field] if fixed or draw(st.integers(0, 3)) == 0 else ""
        frame += f"{{{field}{width}}}" + draw(separators)
    if not fixed and draw(st.integers(0, 3)) == 0:
        frame += ";{skip}"
    checksum: Any = draw(st.sampled_from(["none", "none", "xor8", "sum8", "crc16-modbus"]))
    if checksum != "none":
        frame += "*{check}"
    end = draw(st.sampled_from([b"\r\n", b"\n", b"\x03", b"\r", b"\x03\r\n"] + [b""] * fixed))
    try:
        return TextFormat(
            frame,
            end=end,
            unit=None if "unit" in fields else "lbf",
            units=UNITS if "unit" in fields else {},
            status=STATUS if "status" in fields else {},
            decimal=draw(st.sampled_from([".", ","])),
            checksum=checksum,
            check_form=draw(st.sampled_from(["hex", "bytes"])),
        )
    except FormatFault:
        assume(False)
        raise


forces = st.one_of(
    st.integers(-99_999_999, 99_999_999).map(lambda thousandths: thousandths / 1000),
    st.sampled_from([0.0, 1e-5, 2.5e7, 29.96]),
)


@st.composite
def sent(draw: st.DrawFn, form: TextFormat) -> tuple[Frame, bytes]:
    """Draw what a scale says in this format: the fields, and its bytes."""
    unit = draw(st.sampled_from(sorted(set(form.unit_keys.values())))) if form.unit_keys else form.unit
    status = draw(st.sampled_from(sorted(set(form.status_keys.values())))) if form.status_keys else None
    force = None if status in {"overload", "fault"} else draw(forces)
    return Frame(force, unit, status), encode(form, force, unit, status)


@st.composite
def streams(draw: st.DrawFn, form: TextFormat) -> bytes:
    """Draw a stream: frames, frames with a byte changed, cut, or doubled, and bytes of all kinds."""
    crumbs = st.binary(max_size=6) | st.sampled_from(
        [form.end, b"0", b" ", b"-", b"lb", b"OL", b"--", b"9" * 60, b"x" * 150]
    )
    pieces = []
    for _ in range(draw(st.integers(0, 6))):
        piece = bytearray(draw(sent(form))[1])
        match draw(st.integers(0, 5)):
            case 0:
                piece = bytearray(draw(crumbs))
            case 1:
                piece[draw(st.integers(0, len(piece) - 1))] = draw(st.integers(0, 255))
            case 2:
                del piece[draw(st.integers(0, len(piece) - 1)) :]
            case 3:
                at = draw(st.integers(0, len(piece)))
                piece[at:at] = draw(crumbs)
        pieces.append(bytes(piece))
    return b"".join(pieces)
