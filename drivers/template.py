"""A frame's template: literal bytes and fields, read strictly and turned into one pattern that cannot be slow.

- A template is text with fields in braces: `{value}`, `{unit}`, `{status}`, `{skip}`, `{check}`; `{value:N}`,
  `{unit:N}`, `{status:N}` and `{skip:N}` are columns of exactly N bytes. `{{` and `}}` are literal braces.
- Text becomes bytes by latin-1, one byte for one character, where it can, else by UTF-8.
- What cannot work is refused when the template is read, by name, and never left to show as garbage.
- The pattern is ours: no quantifier in it gives anything back, so its time is linear in the frame, whatever comes.

>>> [str(part) for part in parse("{value} {unit};{skip:2}")]
['{value}', "' '", '{unit}', "';'", '{skip:2}']
>>> parse("{valeu}")
Traceback (most recent call last):
...
drivers.template.FormatFault: frame: {valeu} is no field; the nearest is {value}
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

FRAME_LIMIT = 128  # bytes in a frame, its end not counted

Field = Literal["literal", "value", "unit", "status", "skip", "check"]
_FIELDS: tuple[Field, ...] = ("value", "unit", "status", "skip", "check")
_PIECE = re.compile(r"\{\{|\}\}|\{(?P<field>[^{}]*)\}|(?P<brace>[{}])|[^{}]+")


class FormatFault(ValueError):
    """A scale's format cannot be used; the message names the key, what was found and what was expected."""


class Part(NamedTuple):
    """One part of a template: literal bytes, or a field, `width` bytes wide where that is fixed."""

    field: Field
    literal: bytes = b""
    width: int | None = None

    def __str__(self) -> str:
        if self.field == "literal":
            return shown(self.literal)
        return f"{{{self.field}}}" if self.width is None else f"{{{self.field}:{self.width}}}"


def shown(raw: bytes) -> str:
    """Give bytes as a person can read them safely: in quotes, what cannot be printed as an escape."""
    return repr(raw)[1:]


def wire_bytes(text: str) -> bytes:
    r"""Give the bytes of a text of a station file: latin-1 where every character has a byte there, else UTF-8.

    >>> wire_bytes("\u0002lb\u00b7"), wire_bytes("\u2009")
    (b'\x02lb\xb7', b'\xe2\x80\x89')
    """
    try:
        return text.encode("latin-1")
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogatepass")


def number_bytes(decimal: str) -> bytes:
    """Give the bytes a number can be made of."""
    return b" +-0123456789eE" + decimal.encode()


# Reading a template


def parse(template: str) -> tuple[Part, ...]:
    """Read a template into its parts. Raises `FormatFault` for what can never be a frame."""
    parts: list[Part] = []
    literal = ""
    for piece in _PIECE.finditer(template):
        if piece["brace"]:
            raise FormatFault(
                f"frame: found {piece['brace']!r} at character {piece.start()} without its other brace; "
                f"a literal brace is written {2 * piece['brace']}"
            )
        if piece["field"] is None:
            literal += {"{{": "{", "}}": "}"}.get(piece[0], piece[0])
            continue
        if literal:
            parts.append(Part("literal", wire_bytes(literal)))
            literal = ""
        parts.append(_field(piece["field"]))
    if literal:
        parts.append(Part("literal", wire_bytes(literal)))
    _refuse_hopeless(parts)
    return tuple(parts)


def _field(inside: str) -> Part:
    name, colon, width = inside.partition(":")
    field = next((field for field in _FIELDS if field == name), None)
    if field is None:
        near = difflib.get_close_matches(name, _FIELDS, 1, 0.5)
        known = ", ".join(f"{{{field}}}" for field in _FIELDS)
        raise FormatFault(
            f"frame: {{{inside}}} is no field; " + (f"the nearest is {{{near[0]}}}" if near else f"known are {known}")
        )
    if not colon:
        return Part(field)
    if field == "check":
        raise FormatFault(f"frame: found {{{inside}}}, expected {{check}}: its width follows from the checksum")
    if not re.fullmatch(r"[1-9][0-9]{0,2}", width) or int(width) > FRAME_LIMIT:
        raise FormatFault(
            f"frame: found {{{inside}}}, expected a width of 1 to {FRAME_LIMIT} bytes, as in {{{field}:2}}"
        )
    return Part(field, width=int(width))


def _refuse_hopeless(parts: Sequence[Part]) -> None:
    if not any(part.field == "value" for part in parts):
        raise FormatFault("frame: has no {value}; expected a template such as '{value} {unit}'")
    for field in ("value", "unit", "status", "check"):
        if sum(part.field == field for part in parts) > 1:
            raise FormatFault(f"frame: has {{{field}}} twice, expected it once; {{skip}} passes over what repeats")
    for part, after in pairwise(parts):
        if part == Part("skip") and after.field != "literal":
            raise FormatFault(
                f"frame: {{skip}} goes up to the next literal, but {after} follows it; "
                "put a literal between or give its bytes, as in {skip:2}"
            )
        if part == Part("value") and after.field == "literal" and after.literal[:1].isdigit():
            raise FormatFault(f"frame: {{value}} takes the digits of {after} that follow it; give it a width")
    if sum(len(part.literal) for part in parts) > FRAME_LIMIT:
        raise FormatFault(f"frame: its literals alone are longer than a frame may be, {FRAME_LIMIT} bytes")


def fixed_width(parts: Iterable[Part]) -> int | None:
    """Give how many bytes `parts` are together, or None where that is not fixed."""
    widths = [len(part.literal) if part.field == "literal" else part.width for part in parts]
    return None if None in widths else sum(width for width in widths if width is not None)


# From parts to patterns


class Patterns(NamedTuple):
    """What a template was turned into; see `compile_patterns`."""

    stream: re.Pattern[bytes]
    frame: re.Pattern[bytes]
    without_force: re.Pattern[bytes] | None
    number: re.Pattern[bytes]
    steps: tuple[tuple[Part, re.Pattern[bytes]], ...]


class Wire(NamedTuple):
    """All that a pattern needs to know of a format besides its parts, as bytes.

    `keys` are the keys of {unit} and {status}, `forceless` those of a status that comes without a force, `check` how
    many bytes a check is wide and whether they are hexadecimal digits, `end` what ends a frame (empty: its length).
    """

    keys: Mapping[Field, Collection[bytes]]
    forceless: Collection[bytes]
    check_hex: bool
    end: bytes
    decimal: bytes


def compile_patterns(parts: Sequence[Part], wire: Wire) -> Patterns:
    r"""Turn a template into patterns that never backtrack.

    `stream` matches one piece of the stream wherever a piece begins. Its first group is the piece: a frame with its
    end, or bytes up to and with the next end that are no frame. The groups value, unit, status and check hold the
    fields of a frame that names a force, and are empty for all others. The last group is what cannot be told yet.
    `frame` has the same groups and matches frames alone; it finds those that have no end but their length.
    `without_force` matches a whole frame whose status may read overload or fault and whose value is whatever came;
    `number` a whole value; `steps` the parts one after another, to say which of them did not match.
    """
    number = _number(wire.decimal)
    steps = [_step(parts, at, number, wire) for at in range(len(parts))]
    named = [_named(part, step) for part, step in zip(parts, steps, strict=True)]
    end = re.escape(wire.end)
    missing = [b"(?P<%b>)" % field.encode() for field in ("unit", "status", "check") if field not in _fields(parts)]
    within = later = b""
    if wire.end and not wire.check_hex and "check" in _fields(parts):
        # A check of bare bytes may hold the bytes of an end: whether a piece was a frame shows only after as many
        # more bytes as could still belong to it.
        within = b"(?=(?>(?:(?!%b).){0,%d})%b)" % (end, FRAME_LIMIT, end)
        later = b"(?=.{%d})" % (fixed_width(parts[_index(parts, "check") :]) or 0)
    pieces = [within + b"".join(named + missing) + end]
    if _may_lack_force(parts, wire):
        pieces.append(within + _without_force(parts, steps, steps, wire) + end)
    noise = [_until(wire.end) + end + later] if wire.end else []
    return Patterns(
        _compiled(b"(%b)|(.++)" % b"|".join(pieces + noise)),
        _compiled(b"(%b)" % b"|".join(pieces)),
        _compiled(_without_force(parts, steps, named, wire) + end) if _may_lack_force(parts, wire) else None,
        _compiled(number),
        tuple((part, _compiled(step)) for part, step in zip(parts, steps, strict=True)),
    )


def _compiled(pattern: bytes) -> re.Pattern[bytes]:
    return re.compile(pattern, re.DOTALL)


def _fields(parts: Iterable[Part]) -> set[str]:
    return {part.field for part in parts}


def _index(parts: Sequence[Part], field: Field) -> int:
    return next(at for at, part in enumerate(parts) if part.field == field)


def _named(part: Part, step: bytes) -> bytes:
    """Wrap a step in the group that hands its bytes out, where anybody wants them."""
    return step if part.field in {"literal", "skip"} else b"(?P<%b>%b)" % (part.field.encode(), step)


def _number(decimal: bytes) -> bytes:
    mark = re.escape(decimal)
    digits = b"(?:[0-9]++(?>(?:%b[0-9]*+)?)|%b[0-9]++)" % (mark, mark)
    return b" *+[+-]?+ *+" + digits + b"(?>(?:[eE][+-]?+[0-9]++)?) *+"


def _until(*stops: bytes) -> bytes:
    """Match everything up to the first of `stops` (plain bytes), quickly where each is one byte."""
    if all(len(stop) == 1 for stop in stops):
        return b"[^%b]*+" % b"".join(map(re.escape, stops))
    return _until_pattern(*map(re.escape, stops))


def _until_pattern(*stops: bytes) -> bytes:
    return b"(?>(?:(?!%b).)*)" % b"|".join(stops)


def _exactly(width: int, end: bytes) -> bytes:
    return b"(?:(?!%b).){%d}" % (re.escape(end), width) if end else b".{%d}" % width


def _one_of(keys: Iterable[bytes]) -> bytes:
    """Match the longest of `keys` that stands here, and no shorter one in its place."""
    return b"(?>%b)" % b"|".join(map(re.escape, sorted(keys, key=len, reverse=True)))


def _step(parts: Sequence[Part], at: int, number: bytes, wire: Wire) -> bytes:
    part = parts[at]
    after = parts[at + 1].literal if at + 1 < len(parts) else wire.end
    match part.field:
        case "literal":
            return re.escape(part.literal)
        case "value":
            return _value(part, after, number, wire)
        case "skip" if part.width is not None:
            return _exactly(part.width, wire.end)
        case "skip":
            return _until(*dict.fromkeys((after, wire.end)))
        case "check":
            return (b"[0-9A-Fa-f]{%d}" if wire.check_hex else b".{%d}") % (part.width or 0)
        case "unit" | "status":
            return _one_of(wire.keys[part.field])


def _value(part: Part, after: bytes, number: bytes, wire: Wire) -> bytes:
    if part.width is not None:
        return b"[%b]{%d}" % (re.escape(number_bytes(wire.decimal.decode())), part.width)
    return number.removesuffix(b" *+") + _spaces_before(after)


def _spaces_before(literal: bytes) -> bytes:
    """Match all spaces but those that the literal after them begins with."""
    left = len(literal) - len(literal.lstrip(b" "))
    return b"(?>(?: (?= {%d}))*)" % left if left else b" *+"


def _may_lack_force(parts: Sequence[Part], wire: Wire) -> bool:
    return "status" in _fields(parts) and bool(wire.forceless)


def _without_force(parts: Sequence[Part], plain: Sequence[bytes], steps: Sequence[bytes], wire: Wire) -> bytes:
    """Give the pattern of a frame whose value, with a unit or skip directly beside it, is anything at all."""
    first = last = _index(parts, "value")
    while first > 0 and parts[first - 1].field in {"unit", "skip"}:
        first -= 1
    while last + 1 < len(parts) and parts[last + 1].field in {"unit", "skip"}:
        last += 1
    width = fixed_width(parts[first : last + 1])
    literal = parts[last + 1].literal if last + 1 < len(parts) else wire.end
    up_to_next = _until_pattern(*_stops(parts, plain, last + 1, wire))
    if literal and not literal.strip(b" "):  # where spaces are the literal, those around the value are still its own
        up_to_next = b" *+" + up_to_next + _spaces_before(literal)
    anything = up_to_next if width is None else _exactly(width, wire.end)
    return b"".join([*steps[:first], anything, *steps[last + 1 :]])


def _stops(parts: Sequence[Part], steps: Sequence[bytes], at: int, wire: Wire) -> list[bytes]:
    end = re.escape(wire.end)
    if at == len(parts):
        return [end]
    if parts[at].field == "status":
        return [_one_of(wire.forceless), end]
    if parts[at].field == "check":
        return [b"".join(steps[at:]) + end, end]
    return [steps[at], end]
