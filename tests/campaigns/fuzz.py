"""Hostile bytes on every decoder and template: `python -m tests.campaigns.fuzz --json [--seed N] [--size SECONDS]`.

Bytes are frames of the very format, whole, cut, garbled and run together, and bytes of every kind, in any chunks. No
decoder may raise, hold more than a few frames, or take longer than a feed may; text decoders must give the same for
another chunking, and no byte of noise may be lost. Templates are random too: each is a format or refused in words.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable
from typing import Any

from drivers.asking import AskingDecoder
from drivers.events import Frame, Noise
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, answer, refusal
from drivers.pedal import PedalText
from drivers.proposal import propose
from drivers.scpi import ScpiDecoder, ScpiFormat
from drivers.template import FRAME_LIMIT, FormatFault
from drivers.text_frames import TextDecoder, TextFormat, encode
from tests.campaigns.campaign import Finding, Progress, of_tries, run

SLOWEST_S = 1.0  # for some kilobytes: a pattern that gives back takes minutes
FIELDS = ("{value}", "{value:8}", "{unit}", "{unit:5}", "{status}", "{status:7}", "{skip}", "{skip:2}", "{check}")
LITERALS = ("", "", " ", "  ", ";", ",", "x", "\x02", "12", "{{", "}", "+", "e", "-")
ENDS = (b"\r\n", b"\n", b"\r", b"\x03", b"", b"\r\r\n", b"ab")
CRUMBS = (b"-", b"0", b" ", b"9" * 40, b"1e999", b"OL", b"lb", b"\r", b"\n", b"\r\n", b"\x03", b"+-" * 30, b"." * 20)
MODBUS = ModbusFormat(unit="lbf", register=3, number="float32", decimals_register=5)
SCPI = ScpiFormat(unit="N", field=2)


def template(chance: random.Random) -> TextFormat | None:
    """Give a random format, or None where what was drawn is refused in words."""
    frame = "".join(chance.choice(FIELDS) + chance.choice(LITERALS) for _ in range(chance.randint(1, 5)))
    if chance.random() < 0.8 and "{value" not in frame:
        frame = "{value}" + frame
    settings: dict[str, Any] = {
        "end": chance.choice(ENDS),
        "unit": chance.choice([None, "lbf"]),
        "decimal": chance.choice(".,"),
        "checksum": chance.choice(["none", "xor8", "sum8", "crc16-modbus"]) if "{check}" in frame else "none",
        "check_form": chance.choice(["hex", "bytes"]),
        "units": {"lb": "lbf", "kg": "kgf"} if "{unit" in frame else {},
        "status": {"S": "stable", "OL": "overload"} if "{status" in frame else {},
    }
    try:
        return TextFormat(chance.choice(LITERALS) + frame, **settings)
    except FormatFault:
        return None


def stream(chance: random.Random, frame: Callable[[], bytes]) -> bytes:
    """Give a stream of frames and of what is none."""
    pieces = []
    for _ in range(chance.randint(0, 12)):
        piece = bytearray(frame())
        match chance.randint(0, 6):
            case 0:
                piece = bytearray(chance.randbytes(chance.randint(0, 300)))
            case 1 if piece:
                piece[chance.randrange(len(piece))] = chance.randrange(256)
            case 2:
                del piece[chance.randint(0, len(piece)) :]
            case 3:
                at = chance.randint(0, len(piece))
                piece[at:at] = chance.choice(CRUMBS) * chance.randint(1, 9)
            case 4:
                piece = bytearray(chance.choice(CRUMBS) * chance.randint(1, 200))
        pieces.append(bytes(piece))
    return b"".join(pieces)


def chunks(chance: random.Random, raw: bytes) -> list[bytes]:
    """Cut a stream anyhow."""
    cuts = sorted(chance.randint(0, len(raw)) for _ in range(chance.randint(0, 20)))
    return [raw[start:stop] for start, stop in zip([0, *cuts], [*cuts, len(raw)], strict=True)]


def text_told(chance: random.Random) -> str | None:
    """Try one text format; give what is wrong, or None."""
    form = template(chance)
    if form is None:
        return None

    def frame() -> bytes:
        status: Any = chance.choice(["stable", "overload", None])
        try:
            return encode(form, chance.choice([0.0, 29.96, -3.5, 1e-9]), chance.choice(["lbf", "kgf"]), status)
        except FormatFault:
            return chance.choice(CRUMBS)

    raw = stream(chance, frame)
    whole, cut = TextDecoder(form), TextDecoder(form)
    events = whole.feed(raw)
    again: list[Frame | Noise] = []
    for chunk in chunks(chance, raw):
        again += cut.feed(chunk)
        if len(cut._waiting) + len(cut._astray) > 3 * (FRAME_LIMIT + len(form.end)):
            return f"{form} kept {len(cut._waiting)} bytes"
    if events + whole.rejoin() != again + cut.rejoin():
        return f"{form} told another story of {raw!r} in chunks"
    noise = b"".join(event.raw for event in events if isinstance(event, Noise))
    if not any(isinstance(event, Frame) for event in events) and not raw.startswith(noise):
        return f"{form} lost bytes of {raw!r}"
    return None


def asked_told(chance: random.Random) -> str | None:
    """Try the decoders that ask; give what is wrong, or None."""
    decoder: AskingDecoder
    if chance.random() < 0.5:
        decoder = ModbusDecoder(MODBUS)
        frame = lambda: chance.choice([answer(MODBUS, 30.0), refusal(MODBUS, chance.randrange(256))])  # noqa: E731
    else:
        decoder = ScpiDecoder(SCPI)
        frame = lambda: chance.choice([b"1,+2.5E+01\n", b"FETCH?\n", b'-113,"x"\n', b"9.9E37,9.91E37\n"])  # noqa: E731
    raw = stream(chance, frame)
    told = 0
    for chunk in chunks(chance, raw):
        if chance.random() < 0.3:
            decoder.request()
        told += sum(len(event.raw) for event in decoder.feed(chunk) if isinstance(event, Noise))
        if len(decoder._waiting) >= 2 * decoder.longest:
            return f"{decoder} kept {len(decoder._waiting)} bytes"
    told += sum(len(noise.raw) for noise in decoder.rejoin())
    return None if told <= len(raw) else f"{decoder} told more noise of {raw!r} than came"


def other_told(chance: random.Random) -> str | None:
    """Try the pedal's reader and the proposals; give what is wrong, or None."""
    form = TextFormat("{value} {unit}", units={"lb": "lbf"})
    raw = stream(chance, lambda: chance.choice([b"D\r\n", b"U\r\n", encode(form, 30.0, "lbf", None)]))
    pedal = PedalText(b"D", b"U")
    for chunk in chunks(chance, raw):
        pedal.feed(chunk)
    found = propose(raw)
    if found is not None and not 0 < found.explained <= found.frames:
        return f"proposed {found} for {raw!r}"
    return None


def fuzz(seed: int, seconds: float) -> Finding:
    """Try for so long."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    wrong: list[str] = []
    tried, slowest_s, began_s = 0, 0.0, time.monotonic()
    tell = Progress(round(seconds), "seconds")
    while (spent_s := time.monotonic() - began_s) < seconds:
        tell(int(spent_s), f"{tried} tries, {len(wrong)} wrong, the slowest {slowest_s:.3f} s of processor")
        for attempt in (text_told, text_told, asked_told, other_told):
            state = chance.getstate()
            one_s = time.process_time()
            try:
                said = attempt(chance)
            except Exception as fault:  # whatever is raised is what is looked for
                said = f"{attempt.__name__} raised {fault!r} from {hash(state)}"
            took_s = time.process_time() - one_s
            slowest_s = max(slowest_s, took_s)
            if took_s > SLOWEST_S:
                said = said or f"{attempt.__name__} took {took_s:.1f} s"
            if said:
                wrong.append(f"seed {seed}, try {tried}: {said}")
            tried += 1
    return of_tries(tried, wrong, slowest_s=round(slowest_s, 3))


if __name__ == "__main__":
    sys.exit(run(__doc__, 3600, "seconds", fuzz))
