r"""A scale's text frames, as a person declares them: a template to a decoder, and back to bytes for the simulators.

- `{value}` is spaces, sign, spaces, digits with at most one decimal mark, an optional exponent and spaces: the longest
  match, but it leaves the spaces that the literal after it begins with. The decimal mark is the declared one.
- `{unit}` and `{status}` are the longest key of their table; an unknown one is noise. The names N, lbf, kgf and the
  four words of a status are keys as well, unless the table gives them another meaning.
- Where the status reads overload or fault there is no force, and {value}, with a unit or skip directly beside it, is
  anything up to the next literal or the status: a scale over its capacity sends dashes. Spaces around are its own.
- `{skip}` is anything up to the next literal or the end, `{skip:N}` exactly N bytes, `{check}` the checksum.
- `{value:N}`, `{unit:N}` and `{status:N}` are columns of N bytes; a key may be padded with spaces on both sides.
- A frame is at most 128 bytes and stands between two ends (`end`), or has a fixed length where `end` is empty. Only a
  check of bare bytes may hold the bytes of an end.
- Nothing is lost: every byte fed comes out in a frame or in a `Noise`, or is still waiting, fewer than a frame of them.
- Any chunking of the same bytes gives the same list.

>>> scale = TextFormat("{value} {unit};{status}", units={"pounds": "lbf"}, status={"OL": "overload"})
>>> decoder = TextDecoder(scale)
>>> decoder.feed(b"  29.96 pounds;stable\r\n---- pounds;OL\r\n30.0")
[Frame(force=29.96, unit='lbf', status='stable'), Frame(force=None, unit='lbf', status='overload')]
>>> decoder.feed(b"2 stone;stable\r\n")
[Noise(raw=b'30.02 stone;stable\r\n', why="found 'stone;stable' where {unit} was expected")]
>>> encode(scale, 30.02, "lbf", "stable")
b'30.02 pounds;stable\r\n'
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import repeat
from typing import TypeVar, cast

from drivers.checksums import all_right
from drivers.events import ForceUnit, Frame, Noise, Status
from drivers.template import FRAME_LIMIT, Field, FormatFault, Part, fixed_width, shown, wire_bytes
from drivers.text_format import FORCELESS, Meaning, TextFormat, Unit

__all__ = ["FormatFault", "TextDecoder", "TextFormat", "encode", "wire_bytes"]

# Bytes to frames

_NOT_HEARD = "the beginning of this frame was not heard"
_NO_END = f"no end of a frame within {FRAME_LIMIT} bytes"

Events = list[Frame | Noise]
Token = tuple[bytes, ...]
_Meaning = TypeVar("_Meaning")


class TextDecoder:
    """Bytes in, frames and noise out; see the module's docstring.

    A new decoder takes its first byte for the first of a frame. After `rejoin` it does not: then the first piece is
    noise, for a number that lost its first digits still looks like one. Only a template that shows where a frame
    begins (something that is no number stands before {value}) is believed at once.
    """

    def __init__(self, form: TextFormat) -> None:
        self.form = form
        self._stream = form.patterns.stream
        self._width = fixed_width(form.parts) or 0
        self._sized = any(part.field == "value" and part.width for part in form.parts)
        # A gauge's length and its unit travel where a scale's force does; only who reads a gauge takes them for that.
        self._units = cast(Mapping[bytes, ForceUnit | None], {b"": form.unit, **form.unit_keys})
        self._statuses: Mapping[bytes, Status | None] = {b"": None, **form.status_keys}
        self._point = bytes.maketrans(form.decimal.encode(), b".")
        groups = self._stream.groupindex
        self._at = tuple(groups[name] - 1 for name in ("value", "unit", "status", "check"))
        self._waiting = b""
        self._astray = b""  # where frames have no end: bytes among which none begins
        self._adrift = False

    def feed(self, chunk: bytes) -> Events:
        """Take the bytes that came and give what they complete, in order. Never raises; holds less than two frames."""
        self._waiting += chunk
        return self._feed_ended() if self.form.end else self._feed_fixed()

    def rejoin(self) -> list[Noise]:
        """Say that bytes may be missing from here on (a port opened, a silence): what waited for more is noise."""
        raw = self._astray + self._waiting
        self._astray = self._waiting = b""
        self._adrift = bool(self.form.end) and not self.form.shows_its_start
        return self._noise(raw, "broke off within a frame") if raw else []

    def _feed_ended(self) -> Events:
        events: Events = []
        end = self.form.end
        while True:
            if self._adrift and end in self._waiting:
                events += self._noise(self._take(self._waiting.index(end) + len(end)), _NOT_HEARD)
                self._adrift = False
            if not self._adrift:
                tokens = self._stream.findall(self._waiting)
                self._waiting = tokens.pop()[-1] if tokens and tokens[-1][-1] else b""
                events += self._read(tokens)
            lost = self._hopeless()
            if not lost:
                return events
            stretch = self._take(lost)
            events += [Noise(stretch[at : at + FRAME_LIMIT], _NO_END) for at in range(0, lost, FRAME_LIMIT)]
            self._adrift = True

    def _hopeless(self) -> int:
        """Give how many of the waiting bytes are no frame for sure, because no end follows soon enough."""
        first_end = self._waiting.find(self.form.end)
        run = first_end - 1 if first_end >= 0 else len(self._waiting) - len(self.form.end)
        return max(run, 0) // FRAME_LIMIT * FRAME_LIMIT

    def _take(self, count: int) -> bytes:
        taken, self._waiting = self._waiting[:count], self._waiting[count:]
        return taken

    def _noise(self, raw: bytes, why: str) -> list[Noise]:
        """Give a piece as noise, in blocks of the longest frame where it is longer than one."""
        long = max(len(raw) - len(self.form.end) - 1, 0) // FRAME_LIMIT * FRAME_LIMIT
        blocks = [Noise(raw[at : at + FRAME_LIMIT], _NO_END) for at in range(0, long, FRAME_LIMIT)]
        return [*blocks, Noise(raw[long:], _NOT_HEARD if long else why)]

    def _read(self, tokens: Sequence[Token]) -> Events:
        """Read whole pieces: all at once where all are frames, else in runs, and one by one what stands between."""
        frames = self._read_plain(tokens)
        if frames is not None:
            return [*frames]
        value = self._at[0]
        others = [at for at, token in enumerate(tokens) if not token[value]]
        if not others:
            return [event for token in tokens for event in self._read_one(token)]
        events: Events = []
        start = 0
        for at in others:
            events += self._read(tokens[start:at])
            events += self._read_one(tokens[at])
            start = at + 1
        return events + self._read(tokens[start:])

    def _read_plain(self, tokens: Sequence[Token]) -> list[Frame] | None:
        """Read frames in which nothing is amiss, all at once; None where something is, in any of them.

        Column by column, without a step in Python for each: this is what a flood of frames costs.
        """
        if not tokens:
            return []
        columns = [*zip(*tokens, strict=True)]
        values, units, statuses, checks = (columns[at] for at in self._at)
        forceless = not FORCELESS.isdisjoint(map(self._statuses.__getitem__, {*statuses}))
        if forceless or not all(values) or self._amiss(columns[0], values, checks):
            return None
        forces = [*map(float, b"\n".join(values).translate(self._point, b" ").split(b"\n"))]
        if not math.isfinite(sum(forces)):
            return None
        fields = zip(forces, _meant(units, self._units), _meant(statuses, self._statuses), strict=True)
        return [*map(tuple.__new__, repeat(Frame), fields)]

    def _amiss(self, raws: Sequence[bytes], values: Sequence[bytes], checks: Sequence[bytes]) -> bool:
        """Say whether any of these frames is too long, has no number in its column, or carries a wrong check."""
        return (
            max(map(len, raws)) > FRAME_LIMIT + len(self.form.end)
            or (self._sized and not all(map(self.form.patterns.number.fullmatch, values)))
            or (self.form.checksum != "none" and not self._proven(raws, checks))
        )

    def _proven(self, raws: Sequence[bytes], checks: Sequence[bytes]) -> bool:
        """Say whether each of these frames carries the check that belongs to it."""
        form = self.form
        span, stop = form.check_span, -len(form.end) or None
        covered = [raw[:stop][span] for raw in raws]
        return all_right(form.checksum, form.check_form, covered, checks)

    def _read_one(self, token: Token) -> Events:
        judged = self._judge(token)
        return [judged] if isinstance(judged, Frame) else [*self._noise(token[0], judged)]

    def _judge(self, token: Token) -> Frame | str:
        """Give the frame that a piece is, or why it is none."""
        raw = token[0]
        value, unit, status, check = (token[at] for at in self._at)
        number = self.form.patterns.number.fullmatch
        if not number(value):
            pattern = self.form.patterns.without_force
            match = pattern.fullmatch(raw) if pattern else None
            if match is None or self._statuses[match["status"]] not in FORCELESS:
                return self._why_none(raw)
            fields = match.groupdict()
            unit, status, check = (fields.get(name, b"") for name in ("unit", "status", "check"))
        if raw.find(self.form.end) > FRAME_LIMIT:
            return _NO_END
        if check and not self._proven([raw], [check]):
            right = self.form.check_of(raw.removesuffix(self.form.end))
            return f"its checksum is {shown(check)}, and {shown(right)} belongs to it"
        state = self._statuses[status]
        if state in FORCELESS:
            return Frame(None, self._units[unit], state)
        force = float(value.translate(self._point, b" "))
        return "its number is too large" if math.isinf(force) else Frame(force, self._units[unit], state)

    def _why_none(self, raw: bytes) -> str:
        body = raw.removesuffix(self.form.end)
        if not body:
            return "an empty frame"
        at = 0
        for part, step in self.form.patterns.steps:
            match = step.match(body, at)
            if match is None or (part.field == "value" and not self.form.patterns.number.fullmatch(match[0])):
                return f"found {shown(body[at : at + 24])} where {part} was expected"
            at = match.end()
        return f"found {shown(body[at : at + 24])} where the frame should end"

    def _feed_fixed(self) -> Events:
        """Read frames of a fixed length: one begins where one matches, check and all, after no matter what."""
        tokens = self._stream.findall(self._waiting)
        tail = tokens.pop()[-1] if tokens and tokens[-1][-1] else b""
        in_step = not self._astray and len(tail) < self._width and all(token[self._at[0]] for token in tokens)
        frames = self._read_plain(tokens) if in_step else None
        if frames is None:
            return self._find_fixed()
        self._waiting = tail
        return [*frames]

    def _find_fixed(self) -> Events:
        events: Events = []
        raw, at = self._waiting, 0
        while match := self.form.patterns.frame.search(raw, at):
            begin, end = match.span()
            judged = self._judge(match.groups(b""))
            if isinstance(judged, Frame):
                events += [*self._stray(raw[at:begin], whole=True), judged]
                at = end
            else:
                events += self._stray(raw[at : begin + 1])
                at = begin + 1
        undecided = max(at, len(raw) - self._width + 1)
        self._waiting = raw[undecided:]
        return events + self._stray(raw[at:undecided])

    def _stray(self, raw: bytes, whole: bool = False) -> Events:
        """Gather bytes among which no frame begins, and give them as noise: what is `whole`, else the full blocks."""
        raw = self._astray + raw
        given = len(raw) if whole else len(raw) // FRAME_LIMIT * FRAME_LIMIT
        self._astray = raw[given:]
        return [Noise(raw[at : at + FRAME_LIMIT], "no frame begins here") for at in range(0, given, FRAME_LIMIT)]


def _meant(words: Sequence[bytes], meanings: Mapping[bytes, _Meaning]) -> Iterable[_Meaning]:
    """Give what each word means: most scales say the same one frame after frame."""
    if words.count(words[0]) == len(words):
        return repeat(meanings[words[0]], len(words))
    return map(meanings.__getitem__, words)


# Frames to bytes


def encode(form: TextFormat, force: float | None, unit: Unit | None, status: Status | None) -> bytes:
    """Write the frame, with its end, that a scale of this format sends: what `TextDecoder` reads as these fields.

    Without a force (None, or a status of overload or fault) the value is dashes, and the unit may be None. The force
    is written with all its digits; where a column is too narrow for them, with as many decimals as fit. Skipped bytes
    are spaces. A frame without {status} leaves the status out. Raises `FormatFault` for what the frame has no way to
    say: another unit than its own, a status without a key, a force too long for its column.
    """
    texts: dict[Field, bytes] = {}
    for part in form.parts:
        if part.field == "value":
            lacking = force is None or status in FORCELESS
            texts["value"] = b"-" * (part.width or 5) if lacking or force is None else _number(form, part, force)
        elif part.field == "unit":
            silent = force is None and unit is None
            texts["unit"] = next(iter(form.unit_keys)) if silent else _word(form.unit_keys, part, unit or form.unit)
        elif part.field == "status":
            texts["status"] = _word(form.status_keys, part, status)
    if "unit" not in texts and unit not in {None, form.unit}:
        raise FormatFault(f"the frame names no unit and is in {form.unit}; it cannot say {unit}")
    body = form.body(texts, b"\0" * form.check_width)
    if form.checksum != "none":
        body = form.body(texts, form.check_of(body))
    return body + form.end


def _word(keys: Mapping[bytes, Meaning], part: Part, meaning: Meaning | None) -> bytes:
    for key, meant in keys.items():
        if meant == meaning:
            return key
    raise FormatFault(f"{part}: none of its keys means {meaning}")


def _number(form: TextFormat, part: Part, force: float) -> bytes:
    if not math.isfinite(force):
        raise FormatFault(f"a scale cannot send {force} as a force")
    width = part.width or FRAME_LIMIT
    texts = [repr(float(force)), *(f"{force:.{decimals}f}" for decimals in range(min(width, 17), -1, -1))]
    for text in texts:
        if len(text) <= width:
            return text.replace(".", form.decimal).encode().rjust(part.width or 0)
    raise FormatFault(f"{part} is too narrow for {force}")
