r"""A description proposed from bytes that were heard: a template, how many frames it explains, and what it does not.

- Nothing is proposed that does not read what was heard: each candidate is tried with the decoder itself, and the one
  that explains the most frames, with the fewest bytes passed over, is given.
- The first piece may have lost its beginning, and is not counted.
- An end is what the frames have in common at their end: CR LF, LF, CR or ETX, in this order. Where none of them reads
  most of what was heard, frames of one length are looked for: text alone, for a wrong speed may repeat as regularly.
- Frames are laid out by their numbers and words. The number that moves the most, or has a decimal mark, is the value;
  other words that change are passed over, unless common practice knows them (ST, US, OL), and so are other numbers.
- A word for a unit (lb, kg, N and their like) is taken for that unit of force, and said to be a guess; one that no
  description can name (kN, g and their like) is said. So is a comma that is taken for the decimal mark.
- A check is found where one of the known sums over the bytes before it agrees in nearly every frame.
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
from itertools import groupby, product
from operator import eq
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
PLAIN_TEXT = 0.95  # of the bytes are readable at the right speed; at a wrong one fewer
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
_UNITS_OF_NO_DESCRIPTION = {"daN", "kN", "g", "oz", "klb"}
# Common practice among weighing indicators.
_STATUSES: dict[str, Status] = {"ST": "stable", "US": "unstable", "OL": "overload"}
_TOKEN = re.compile(
    rb"(?P<number>[+-]? *(?:[0-9]+(?:\.[0-9]*|,[0-9]+(?![0-9.]))?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
    rb"|(?P<word>[A-Za-z#]+)|(?P<dashes>-{2,})|(?P<spaces> +)|(?P<other>.)",
    re.DOTALL,
)
_DIGIT = re.compile(rb"[0-9]")
_IN_A_ROW = 0.8  # of the bytes, that are of the same kind one frame later, where frames have one length
_NUMBER = frozenset(b" +-0123456789.,")
_KINDS = bytes(0x30 if byte in _NUMBER else 0x61 if bytes((byte,)).isalpha() else byte for byte in range(256))
_BEGINNINGS = b"\x02=:<*$@"  # of frames without an end, common practice
_NARROWEST = 3  # bytes in the value of a frame that has no end


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
    def reads_most(self) -> bool:
        """Tell whether it reads most of what was heard; what reads less is a beginning, and no description to use."""
        return 2 * self.explained > self.frames

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
        if form.check_form != "hex":
            lines.append(f"check_form = {_quoted(form.check_form)}")
        if form.check_range:
            lines.append(f"check_range = {_quoted('{}:{}'.format(*form.check_range))}")
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text)


_Forms = Iterator[tuple[TextFormat, list[str]]]


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
    ended = next(filter(None, (_best(heard, _candidates(heard, end), seven_bits) for end in _ENDS)), None)
    if ended is not None and ended.reads_most:
        return ended
    of_one_length = _best(heard, _of_one_length(heard), seven_bits)
    return of_one_length if of_one_length is not None and of_one_length.reads_most else ended


def _best(heard: bytes, forms: _Forms, seven_bits: Literal["E", "O"] | None) -> Proposal | None:
    """Try each form, and give the one that explains the most, with the fewest bytes passed over."""
    best: tuple[tuple[int, int], Proposal] | None = None
    for form, guesses in forms:
        proposal = _tried(form, heard, guesses, seven_bits)
        worth = (proposal.explained, -form.frame.count("{skip"))
        if proposal.explained >= FEWEST_FRAMES and (best is None or worth > best[0]):
            best = worth, proposal
    return None if best is None else best[1]


def _seven_bits(heard: bytes) -> Literal["E", "O"] | None:
    if len(heard) < 8 or not any(byte & 0x80 for byte in heard):
        return None
    odd = {byte.bit_count() & 1 for byte in heard}
    return None if len(odd) > 1 else "O" if odd == {1} else "E"


def _tried(form: TextFormat, heard: bytes, guesses: Sequence[str], parity: Literal["E", "O"] | None) -> Proposal:
    decoder = TextDecoder(form)
    whole_from = heard.find(form.end) + len(form.end)  # what stands before has perhaps lost its beginning
    events = decoder.feed(heard[whole_from:])
    if not form.end and events and isinstance(events[0], Noise):
        events = events[1:]
    explained = sum(isinstance(event, Frame) for event in events)
    left = Counter(event.raw for event in events if isinstance(event, Noise))
    shown = tuple(raw for raw, _ in left.most_common(_MOST_LEFT))
    return Proposal(form, len(events), explained, shown, tuple(guesses), parity)


def _candidates(heard: bytes, end: bytes) -> _Forms:
    if heard.count(end) < FEWEST_FRAMES:
        return
    pieces = [piece for piece in heard.split(end)[1:-1] if 0 < len(piece) <= FRAME_LIMIT][:_SAMPLE]
    layouts: dict[tuple[str, ...], list[bytes]] = {}
    for check in _checks(pieces):
        layouts.clear()
        for piece in pieces:
            body = piece[: -check.width] if check.width else piece
            layouts.setdefault(_layout(body), []).append(body)
        commonest = sorted(layouts, key=lambda layout: -len(layouts[layout]))[:_LAYOUTS]
        for layout in commonest:
            yield from _forms(_by_tokens(layouts[layout]), end, check)
        if check.width and layouts:
            return


class _Check(NamedTuple):
    name: Literal["none", "xor8", "sum8", "crc16-modbus"] = "none"
    form: Literal["hex", "bytes"] = "hex"
    width: int = 0
    start: int = 0
    stop: int = 0  # how far before the check the covered bytes end

    @property
    def covered(self) -> tuple[int, int] | None:
        """Give the range to declare, where it is not all that stands before the check."""
        return (self.start, -self.width - self.stop) if self.start or self.stop else None


def _checks(pieces: Sequence[bytes]) -> Iterator[_Check]:
    """Give the checks that most frames carry, and then none."""
    forms: tuple[Literal["hex", "bytes"], ...] = ("hex", "bytes")
    for form, (name, (size, compute)), start, stop in product(forms, CHECKSUMS.items(), (0, 1), (0, 1)):
        width = 2 * size if form == "hex" else size
        sent = [piece[-width:].upper() if form == "hex" else piece[-width:] for piece in pieces]
        if form == "bytes" and len({*sent}) < FEWEST_FRAMES:
            continue  # a byte that is always the same agrees with something by chance
        right = sum(
            len(piece) > width + start + stop + 1
            and check == written(name, compute(piece[start : len(piece) - width - stop]), form)
            for piece, check in zip(pieces, sent, strict=True)
        )
        if right >= FEWEST_FRAMES and right > 0.8 * len(pieces):
            known: Any = name
            yield _Check(known, form, width, start, stop)
    yield _Check()


def _layout(piece: bytes) -> tuple[str, ...]:
    """Give the kinds of a frame's tokens."""
    return tuple(
        "word" if kind == "dashes" else kind if kind != "other" else text.decode("latin-1")
        for kind, text in _tokens(piece)
    )


def _tokens(piece: bytes) -> list[tuple[str, bytes]]:
    """Cut a frame into tokens."""
    return [(str(match.lastgroup), match[0]) for match in _TOKEN.finditer(piece)]


def _by_tokens(bodies: Sequence[bytes]) -> list[_Column]:
    rows = [_tokens(body) for body in bodies]
    return [_Column(kind, tuple(row[at][1] for row in rows)) for at, (kind, _) in enumerate(rows[0])]


def _forms(columns: Sequence[_Column], end: bytes, check: _Check) -> _Forms:
    """Give the templates that a layout allows, from the one that says the most on; of one length without an end."""
    value = _value_at(columns)
    if value is None:
        return
    decimal: Literal[".", ","] = "," if any(b"," in text for text in columns[value].texts) else "."
    for with_status in (True, False):
        guesses: list[str] = []
        if decimal == ",":
            guesses.append("a comma is taken for the decimal mark; look at what the scale shows")
        units: dict[str, ForceUnit] = {}
        statuses: dict[str, Status] = {}
        parts = [_part(column, at == value, with_status, units, statuses, guesses) for at, column in enumerate(columns)]
        if value + 1 < len(columns) and columns[value + 1].kind == "spaces" and parts[value + 1].startswith("{"):
            parts[value + 1] = ""  # spaces whose number changes are the value's own
        frame = _joined(parts, value) if end else "".join(map(_sized, parts, columns))
        if check.width:
            frame += "{check}"
        try:
            form = TextFormat(
                frame,
                end,
                unit=None if units else "lbf",
                units=units,
                status=statuses,
                decimal=decimal,
                checksum=check.name,
                check_range=check.covered,
                check_form=check.form,
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
    if words <= _UNITS_OF_NO_DESCRIPTION:
        named = ", ".join(map(repr, sorted(words)))
        guesses.append(f"{named} stands where a unit does and is none of lbf, kgf and N: set the scale to one of them")
    if len(words) == 1:
        return words.pop().replace("{", "{{").replace("}", "}}")
    if column.kind == "spaces":
        return "{skip}"
    seen = ", ".join(repr(word) for word in sorted(words)[:4])
    guesses.append(f"passed over: {seen}{' ...' if len(words) > 4 else ''}; if it tells the status, name it {{status}}")
    widths = {len(word) for word in words}
    return f"{{skip:{widths.pop()}}}" if len(widths) == 1 else "{skip}"


def _sized(part: str, column: _Column) -> str:
    """Give a field its width, which is the column's."""
    return f"{part[:-1]}:{len(column.texts[0])}}}" if part in {"{value}", "{unit}", "{status}"} else part


def _joined(parts: Sequence[str], value: int) -> str:
    """Join the parts; spaces before the value are its own."""
    return "".join(parts[:value]).rstrip(" ") + "".join(parts[value:])


def _of_one_length(heard: bytes) -> _Forms:
    """Give the templates of frames that have no end but their length, each beginning where it may."""
    sample = heard[-_SAMPLE * 16 :]
    width = _length(sample)
    if width is None:
        return

    def unlikely(phase: int) -> int:
        begins, before = sample[phase + width], sample[phase + width - 1]
        return 0 if begins in _BEGINNINGS else 1 if begins in _NUMBER and before not in _NUMBER else 2

    for phase in sorted(range(width), key=unlikely):
        if unlikely(phase) < 2:
            rows = [sample[at : at + width] for at in range(phase, len(sample) - width + 1, width)]
            for check in _checks(rows):
                bodies = [row[: width - check.width] for row in rows]
                if readable(b"".join(bodies)) < PLAIN_TEXT:
                    continue
                for form, guesses in _forms(_by_place(bodies), b"", check):
                    yield form, ["no end was found; that this is where a frame begins is a guess", *guesses]


def _by_place(rows: Sequence[bytes]) -> list[_Column]:
    """Cut rows of one length into columns: what a number may hold, letters, bytes that stay, and others."""

    def kind(place: int) -> str:
        held = _Column("", tuple(row[place : place + 1] for row in rows)).common
        every = b"".join(held)
        return "number" if {*every} <= _NUMBER else "word" if every.isalpha() else str(len(held) > 1)

    columns = []
    for what, run in groupby(range(len(rows[0])), kind):
        places = [*run]
        texts = tuple(row[places[0] : places[-1] + 1] for row in rows)
        is_number = what == "number" and len(places) >= _NARROWEST and all(map(_DIGIT.search, texts))
        columns.append(_Column("number" if is_number else "word", texts))
    return columns


def _length(sample: bytes) -> int | None:
    """Give after how many bytes the same kinds of bytes come again; the fewest of what fits about as well."""
    kinds = sample.translate(_KINDS)
    most = min(FRAME_LIMIT, len(kinds) // (FEWEST_FRAMES + 1))
    alike = {width: sum(map(eq, kinds, kinds[width:])) / (len(kinds) - width) for width in range(_NARROWEST + 1, most)}
    best = max(alike.values(), default=0.0)
    return next((width for width, share in alike.items() if share >= best - 0.02), None) if best > _IN_A_ROW else None


def readable(raw: bytes) -> float:
    """Give the share of bytes that a text frame would hold: what tells a right speed from a wrong one."""
    held = sum(0x20 <= byte < 0x7F or byte in b"\r\n\t\x02\x03" for byte in raw)
    return held / len(raw) if raw else 0.0
