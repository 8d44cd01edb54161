r"""A description proposed from bytes that were heard: a template, how many frames it explains, and what it does not.

- Nothing is proposed that does not read what was heard: each candidate is tried with the decoder itself, and the one
  that explains the most frames, with the fewest bytes passed over, is given.
- The first piece may have lost its beginning, and is not counted.
- An end is what the frames have in common at their end: CR LF, LF, CR or ETX, in this order.
- Frames are laid out by their numbers and words. The number that moves the most, or has a decimal mark, is the value;
  other words that change are passed over, unless common practice knows them (ST, US, OL), and so are other numbers.
- A word for a unit (lb, kg, N and their like) is taken for that unit of force, and said to be a guess.
- A check is found where one of the known sums over the bytes before it agrees in every frame.
- Bytes that all have even or odd parity in their eighth bit were sent with 7 data bits.
- What it cannot tell (capacity, response, uncertainty, and the unit where no frame names one) is the person's to write.

>>> heard = b"".join(b"ST,%6.2f lb\r\n" % (k / 7) for k in range(40))
>>> found = propose(heard)
>>> found.form.frame, found.form.units, found.explained, found.frames
('{status},{value} {unit}', {'lb': 'lbf'}, 39, 39)
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

from drivers.checksums import CHECKSUMS, written
from drivers.events import ForceUnit, Frame, Noise, Status
from drivers.modbus_rtu import ModbusFormat
from drivers.scpi import ScpiFormat
from drivers.template import FRAME_LIMIT, FormatFault
from drivers.text_frames import TextDecoder, TextFormat

_ENDS = (b"\r\n", b"\n\r", b"\n", b"\r", b"\x03")
FEWEST_FRAMES = 3
_SAMPLE = 400  # pieces looked at to find a layout; all are tried with it
_RARE = 50  # one frame in so many is no pattern
_LAYOUTS = 4  # of the commonest, each tried
_MOST_LEFT = 5  # pieces shown of those that were not explained

Parity = Literal["N", "E", "O"]

_UNITS: dict[str, ForceUnit] = {
    **dict.fromkeys(("lb", "lbs", "LB", "LBS", "Lb", "lbf", "LBF", "lbF", "#", "pounds"), "lbf"),
    **dict.fromkeys(("kg", "KG", "Kg", "kgf", "KGF", "kgF", "kilos"), "kgf"),
    **dict.fromkeys(("N", "n", "newtons"), "N"),
}
# Common practice among weighing indicators.
_STATUSES: dict[str, Status] = {"ST": "stable", "US": "unstable", "OL": "overload"}
_TOKEN = re.compile(
    rb"(?P<number>[+-]? *(?:[0-9]+(?:[.,][0-9]+)?))|(?P<word>[A-Za-z#]+)|(?P<dashes>-{2,})|(?P<other>.)", re.DOTALL
)


@dataclass(frozen=True)
class Proposal:
    """A description, and how well it reads what was heard: `explained` of `frames`; `left` are some of the others.

    `seven_bits` is the parity, "E" or "O", where the bytes were sent with 7 data bits; `poll` is what was asked for a
    text; `parity` is how a device was asked with 8 data bits. `guesses` are what to look at.
    """

    form: TextFormat | ScpiFormat | ModbusFormat
    frames: int
    explained: int
    left: tuple[bytes, ...]
    guesses: tuple[str, ...]
    seven_bits: Literal["E", "O"] | None = None
    poll: str = ""
    parity: Parity = "N"

    @property
    def names_unit(self) -> bool:
        """Tell whether the frames name their unit; where they do not, a person must."""
        return self.form.unit is None

    @property
    def frame(self) -> str:
        """Give how a frame looks: its template, or the question that it answers."""
        match self.form:
            case TextFormat():
                return self.form.frame
            case ScpiFormat():
                return self.form.query
            case ModbusFormat():
                return f"register {self.form.register}, {self.form.number}"

    def toml(self, url: str, baud: int, known: Mapping[str, str] = MappingProxyType({})) -> str:
        """Give the [scale] table of a station file; what is not `known` and must be is a comment for a person."""
        lines = ["[scale]", f"url = {_quoted(url)}", f"baud = {baud}"]
        if self.seven_bits:
            lines += ["bytesize = 7", f"parity = {_quoted(self.seven_bits)}"]
        elif self.parity != "N":
            lines.append(f"parity = {_quoted(self.parity)}")
        lines += _form_lines(self.form)
        if self.poll:
            lines.append(f"poll = {_quoted(self.poll)}")
        if not self.names_unit and "unit" not in known:
            lines.append("# unit = ...  # required, for no frame names one: lbf, kgf or N, as the scale shows")
        lines += [f"# {guess}" for guess in self.guesses]
        lines += [f"{key} = {_quoted(value)}" for key, value in known.items()]
        if "capacity" not in known:
            lines.append(
                "# capacity = ...  # required: as the scale's plate says; response and uncertainty where known"
            )
        return "\n".join(lines) + "\n"


def _form_lines(form: TextFormat | ScpiFormat | ModbusFormat) -> list[str]:
    match form:
        case ScpiFormat():
            end = _quoted(form.end.decode("latin-1"))
            return ['format = "scpi"', f"query = {_quoted(form.query)}", f"end = {end}"]
        case ModbusFormat():
            return [
                'format = "modbus-rtu"',
                f"address = {form.address}",
                f"function = {form.function}",
                f"register = {form.register}",
                f"number = {_quoted(form.number)}",
                f"word_order = {_quoted(form.word_order)}",
            ]
    lines = ['format = "text"', f"frame = {_quoted(form.frame)}", f"end = {_quoted(form.end.decode('latin-1'))}"]
    for key, words in (("units", form.units), ("status", form.status)):
        if words:
            pairs = ", ".join(f"{_quoted(word)} = {_quoted(meant)}" for word, meant in words.items())
            lines.append(f"{key} = {{ {pairs} }}")
    if form.decimal == ",":
        lines.append('decimal = ","')
    if form.checksum != "none":
        lines.append(f"checksum = {_quoted(form.checksum)}")
        if form.check_range:
            lines.append(f"check_range = {_quoted('{}:{}'.format(*form.check_range))}")
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text)


class _Column(NamedTuple):
    """One token's place in every frame of a layout: its kind, and what stood there."""

    kind: str
    texts: tuple[bytes, ...]

    @property
    def common(self) -> set[bytes]:
        """What stood there, without what is so rare that it came of a fault; all of it where all is rare."""
        counts = Counter(self.texts)
        return {text for text, count in counts.items() if count * _RARE >= len(self.texts)} or set(counts)


def propose(heard: bytes) -> Proposal | None:
    """Propose a description of what was heard; None where no frames are to be seen in it."""
    seven_bits = _seven_bits(heard)
    heard = bytes(byte & 0x7F for byte in heard) if seven_bits else heard
    best: tuple[tuple[int, int], Proposal] | None = None
    for end in _ENDS:
        if heard.count(end) < FEWEST_FRAMES:
            continue
        for form, guesses in _candidates(heard, end):
            proposal = _tried(form, heard, guesses, seven_bits)
            worth = (proposal.explained, -form.frame.count("{skip"))
            if proposal.explained >= FEWEST_FRAMES and (best is None or worth > best[0]):
                best = worth, proposal
        if best is not None:
            return best[1]
    return None


def _seven_bits(heard: bytes) -> Literal["E", "O"] | None:
    if len(heard) < 8 or not any(byte & 0x80 for byte in heard):
        return None
    odd = {byte.bit_count() & 1 for byte in heard}
    return None if len(odd) > 1 else "O" if odd == {1} else "E"


def _tried(form: TextFormat, heard: bytes, guesses: Sequence[str], parity: Literal["E", "O"] | None) -> Proposal:
    decoder = TextDecoder(form)
    whole_from = heard.find(form.end) + len(form.end)  # what stands before has perhaps lost its beginning
    events = decoder.feed(heard[whole_from:])
    explained = sum(isinstance(event, Frame) for event in events)
    left = Counter(event.raw for event in events if isinstance(event, Noise))
    shown = tuple(raw for raw, _ in left.most_common(_MOST_LEFT))
    return Proposal(form, len(events), explained, shown, tuple(guesses), parity)


def _candidates(heard: bytes, end: bytes) -> Iterator[tuple[TextFormat, list[str]]]:
    pieces = [piece for piece in heard.split(end)[1:-1] if 0 < len(piece) <= FRAME_LIMIT][:_SAMPLE]
    layouts: dict[tuple[str, ...], list[bytes]] = {}
    for check in _checks(pieces):
        layouts.clear()
        for piece in pieces:
            body = piece[: -check.width] if check.width else piece
            layouts.setdefault(_layout(body), []).append(body)
        commonest = sorted(layouts, key=lambda layout: -len(layouts[layout]))[:_LAYOUTS]
        for layout in commonest:
            yield from _forms(layouts[layout], end, check)
        if check.width and layouts:
            return


class _Check(NamedTuple):
    name: Literal["none", "xor8", "sum8", "crc16-modbus"] = "none"
    width: int = 0
    start: int = 0
    stop: int = 0  # how far before the check the covered bytes end


def _checks(pieces: Sequence[bytes]) -> Iterator[_Check]:
    """Give the checks in hexadecimal that most frames carry, and then none."""
    for name, (width, compute) in CHECKSUMS.items():
        digits = 2 * width
        for start, stop in product((0, 1), (0, 1)):
            right = sum(
                len(piece) > digits + start + stop + 1
                and piece[-digits:].upper() == written(name, compute(piece[start : len(piece) - digits - stop]), "hex")
                for piece in pieces
            )
            if right >= FEWEST_FRAMES and right > 0.8 * len(pieces):
                known: Any = name
                yield _Check(known, digits, start, stop)
    yield _Check()


def _layout(piece: bytes) -> tuple[str, ...]:
    """Give the kinds of a frame's tokens, runs of spaces as nothing."""
    return tuple(
        "word" if kind == "dashes" else kind if kind != "other" else text.decode("latin-1")
        for kind, text in _tokens(piece)
    )


def _tokens(piece: bytes) -> list[tuple[str, bytes]]:
    """Cut a frame into tokens; the spaces before a number are its own."""
    tokens: list[tuple[str, bytes]] = []
    for match in _TOKEN.finditer(piece):
        kind, text = str(match.lastgroup), match[0]
        if text == b" " and tokens and tokens[-1][1].endswith(b" ") and tokens[-1][0] == "other":
            tokens[-1] = ("other", b" ")
            continue
        tokens.append((kind, text))
    return tokens


def _forms(bodies: Sequence[bytes], end: bytes, check: _Check) -> Iterator[tuple[TextFormat, list[str]]]:
    """Give the templates that a layout allows, from the one that says the most on."""
    rows = [_tokens(body) for body in bodies]
    columns = [_Column(kind, tuple(row[at][1] for row in rows)) for at, (kind, _) in enumerate(rows[0])]
    value = _value_at(columns)
    if value is None:
        return
    decimal: Literal[".", ","] = "," if any(b"," in text for text in columns[value].texts) else "."
    for with_status in (True, False):
        guesses: list[str] = []
        units: dict[str, ForceUnit] = {}
        statuses: dict[str, Status] = {}
        parts = [_part(column, at == value, with_status, units, statuses, guesses) for at, column in enumerate(columns)]
        frame = _joined(parts, value)
        if check.width:
            frame += "{check}"
        covered = (check.start, -check.width - check.stop) if check.start or check.stop else None
        try:
            form = TextFormat(
                frame,
                end,
                unit=None if units else "lbf",
                units=units,
                status=statuses,
                decimal=decimal,
                checksum=check.name,
                check_range=covered,
            )
        except FormatFault:
            continue
        yield form, guesses


def _value_at(columns: Sequence[_Column]) -> int | None:
    """Give the number that is the value: it has a decimal mark, or moves the most."""
    numbers = [at for at, column in enumerate(columns) if column.kind == "number"]
    marked = [at for at in numbers if any(b"." in text or b"," in text for text in columns[at].texts)]
    return max(marked or numbers, key=lambda at: len(set(columns[at].texts)), default=None)


def _part(
    column: _Column,
    is_value: bool,
    with_status: bool,
    units: dict[str, ForceUnit],
    statuses: dict[str, Status],
    guesses: list[str],
) -> str:
    """Give what a column is in the template, and note the words it brings with it."""
    words = {text.decode("latin-1") for text in column.common}
    if is_value:
        return "{value}"
    if not units and column.kind == "word" and words <= _UNITS.keys():
        units.update({word: _UNITS[word] for word in sorted(words)})
        named = ", ".join(f"{word!r} for {_UNITS[word]}" for word in sorted(words))
        guesses.append(f"taken as units of force: {named}; look at what the scale shows")
        return "{unit}"
    if with_status and not statuses and column.kind == "word" and words & _STATUSES.keys():
        statuses.update({word: meaning for word, meaning in _STATUSES.items() if word in words})
        statuses.update({"OL": "overload"} if "OL" not in words else {})
        guesses.extend(
            f"{word!r} stands where the status does: add it to status with what it means"
            for word in sorted(words - _STATUSES.keys())
        )
        return "{status}"
    if len(words) == 1:
        return words.pop().replace("{", "{{").replace("}", "}}")
    seen = ", ".join(repr(word) for word in sorted(words)[:4])
    guesses.append(f"passed over: {seen}{' ...' if len(words) > 4 else ''}; if it tells the status, name it {{status}}")
    widths = {len(word) for word in words}
    return f"{{skip:{widths.pop()}}}" if len(widths) == 1 else "{skip}"


def _joined(parts: Sequence[str], value: int) -> str:
    """Join the parts; spaces before the value are its own."""
    return "".join(parts[:value]).rstrip(" ") + "".join(parts[value:])


def readable(raw: bytes) -> float:
    """Give the share of bytes that a text frame would hold: what tells a right speed from a wrong one."""
    held = sum(0x20 <= byte < 0x7F or byte in b"\r\n\t\x02\x03" for byte in raw)
    return held / len(raw) if raw else 0.0
