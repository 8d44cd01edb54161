"""What a person declares of a scale's text frames, read strictly: what cannot work is refused here, by name.

- The names N, lbf, kgf (of a length gauge mm, cm, in) and the four words of a status are keys of their tables, unless
  the table gives them another meaning. A key is bytes by latin-1 or by UTF-8: either is known.
- In a column of fixed width a key may be padded with spaces on both sides.
- An end begins with a byte that no number holds, and nothing declared to stand within a frame begins an end.
- A frame without an end has a fixed length and something to find its beginning by.
- What follows a check is of fixed width, and no check covers itself.

>>> TextFormat("{value} lb").end
Traceback (most recent call last):
...
drivers.template.FormatFault: unit: is missing, and the frame has no {unit}; expected one of them to name the unit
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Literal, TypeVar, get_args

from drivers import checksums
from drivers.events import ForceUnit, LengthUnit, Status
from drivers.template import (
    FRAME_LIMIT,
    Field,
    FormatFault,
    Part,
    Patterns,
    Wire,
    compile_patterns,
    fixed_width,
    number_bytes,
    parse,
    shown,
    wire_bytes,
)

Checksum = Literal["none", "xor8", "sum8", "crc16-modbus"]
Measured = Literal["force", "length"]
Unit = ForceUnit | LengthUnit
Meaning = TypeVar("Meaning", bound=str)

FORCELESS: frozenset[Status | None] = frozenset({"overload", "fault"})


@dataclass(frozen=True)
class TextFormat:
    """How a scale writes its frames; see the module's docstring. Raises `FormatFault` for what cannot work.

    `measures` is force, or length for a gauge that is declared like a scale: then units are lengths, and no others.
    `unit` is the unit of frames that name none. `check_range` is the slice of the frame's bytes, without its end, that
    the checksum covers (negative numbers count from the frame's last byte); by default all that stands before the
    check. `check_form` says whether the check is sent as hexadecimal digits or as bare bytes.
    """

    frame: str
    end: bytes = b"\r\n"
    unit: Unit | None = None
    units: Mapping[str, Unit] = field(default_factory=dict)
    status: Mapping[str, Status] = field(default_factory=dict)
    decimal: Literal[".", ","] = "."
    checksum: Checksum = "none"
    check_range: tuple[int, int] | None = None
    check_form: Literal["hex", "bytes"] = "hex"
    measures: Measured = "force"

    def __post_init__(self) -> None:
        object.__setattr__(self, "units", dict(self.units))
        object.__setattr__(self, "status", dict(self.status))
        _refuse_unknown_words(self)
        _refuse_missing_parts(self)
        _refuse_unclear_edges(self)
        _refuse_bad_end(self)
        if self.checksum != "none":
            _refuse_bad_check(self)

    def __hash__(self) -> int:
        return hash((self.frame, self.end, self.unit, self.decimal, self.checksum))

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """The template's parts, a check with its width."""
        return tuple(
            part._replace(width=self.check_width) if part.field == "check" else part for part in parse(self.frame)
        )

    @property
    def check_width(self) -> int:
        """How many bytes the check takes in the frame."""
        if self.checksum == "none":
            return 0
        return checksums.CHECKSUMS[self.checksum][0] * (2 if self.check_form == "hex" else 1)

    @property
    def known_units(self) -> tuple[Unit, ...]:
        """The units of what is measured."""
        return get_args(ForceUnit if self.measures == "force" else LengthUnit)

    @cached_property
    def unit_keys(self) -> dict[bytes, Unit]:
        """What may stand at {unit}, as bytes, and the unit it means."""
        return _keys(self.part("unit"), self.units, self.known_units)

    @cached_property
    def status_keys(self) -> dict[bytes, Status]:
        """What may stand at {status}, as bytes, and the status it means."""
        return _keys(self.part("status"), self.status, get_args(Status))

    @cached_property
    def patterns(self) -> Patterns:
        """The template as patterns whose time is linear in what they are given."""
        keys: dict[Field, list[bytes]] = {"unit": [*self.unit_keys], "status": [*self.status_keys]}
        forceless = [key for key, status in self.status_keys.items() if status in FORCELESS]
        return compile_patterns(
            self.parts, Wire(keys, forceless, self.check_form == "hex", self.end, self.decimal.encode())
        )

    def part(self, name: Field) -> Part | None:
        """Give the part with the field `name`, or None."""
        return next((part for part in self.parts if part.field == name), None)

    @property
    def shows_its_start(self) -> bool:
        """Say whether a frame that lost its first bytes can never be read as a whole one with another value."""
        before = self.parts[: next(at for at, part in enumerate(self.parts) if part.field == "value")]
        return any(_marks(self, part) for part in before) and all(part.field != "skip" for part in before)

    def body(self, texts: Mapping[Field, bytes], check: bytes = b"") -> bytes:
        """Put a frame together, without its end, from the bytes of its fields; what is missing is spaces."""
        fields = {**texts, "check": check}
        return b"".join(part.literal or fields.get(part.field, b"").ljust(part.width or 0) for part in self.parts)

    @cached_property
    def check_span(self) -> slice:
        """Which bytes of a frame without its end the checksum covers: what follows the check is of fixed width."""
        return slice(*(self.check_range or (0, -self._from_check_on)))

    def check_of(self, body: bytes) -> bytes:
        """Give the check that belongs to a frame without its end, as it is sent."""
        check = checksums.CHECKSUMS[self.checksum][1](body[self.check_span])
        return checksums.written(self.checksum, check, self.check_form)

    @cached_property
    def _from_check_on(self) -> int:
        at = next(at for at, part in enumerate(self.parts) if part.field == "check")
        return fixed_width(self.parts[at:]) or 0


def _keys(part: Part | None, table: Mapping[str, Meaning], canonical: Sequence[Meaning]) -> dict[bytes, Meaning]:
    """Give every sequence of bytes that means something at `part`; what the table itself says comes first."""
    keys: dict[bytes, Meaning] = {}
    for words in (table, {name: name for name in canonical if name not in table}):
        for word, meaning in words.items() if part else ():
            for key in (wire_bytes(word), word.encode("utf-8", "surrogatepass")):
                keys |= {padded: meaning for padded in _padded(key, part) if padded not in keys}
    return keys


def _padded(key: bytes, part: Part | None) -> list[bytes]:
    if part is None or part.width is None:
        return [key]
    return [(b" " * before + key).ljust(part.width) for before in range(part.width - len(key) + 1)]


# What is refused


def _refuse_unknown_words(form: TextFormat) -> None:
    _one_of("measures", form.measures, get_args(Measured))
    units, states = form.known_units, get_args(Status)
    if form.unit is not None:
        _one_of("unit", form.unit, units)
    for key, unit in form.units.items():
        _one_of(f"units: {key!r}", unit, units)
    for key, status in form.status.items():
        _one_of(f"status: {key!r}", status, states)
    _one_of("decimal", form.decimal, (".", ","))
    _one_of("checksum", form.checksum, get_args(Checksum))
    _one_of("check_form", form.check_form, ("hex", "bytes"))


def _one_of(key: str, found: object, known: Sequence[str]) -> None:
    if found not in known:
        near = difflib.get_close_matches(str(found), known, 1, 0.5)
        nearest = f"; the nearest is {near[0]!r}" if near else ""
        raise FormatFault(f"{key}: found {found!r}, expected one of {', '.join(known)}{nearest}")


def _refuse_missing_parts(form: TextFormat) -> None:
    has = {part.field for part in form.parts}
    if "unit" not in has and form.unit is None:
        raise FormatFault("unit: is missing, and the frame has no {unit}; expected one of them to name the unit")
    if "check" in has and form.checksum == "none":
        raise FormatFault("checksum: is none, and the frame has a {check}; expected xor8, sum8 or crc16-modbus")
    if "check" not in has and (form.checksum != "none" or form.check_range is not None):
        raise FormatFault("frame: has no {check}; expected one, for a checksum is declared")
    if "unit" not in has and form.units:
        raise FormatFault("frame: has no {unit}; expected one, for units are declared")
    if "status" not in has and form.status:
        raise FormatFault("frame: has no {status}; expected one, for status words are declared")
    if "" in form.units:
        raise FormatFault(
            f'units: found an empty key; a unit that the frame does not name is written unit = "{form.known_units[1]}"'
        )
    if form.status.get("") in FORCELESS:
        raise FormatFault("status: found an empty key for a scale that gives no force; expected what it sends then")
    for name, table in (("unit", form.units), ("status", form.status)):
        width = next((part.width for part in form.parts if part.field == name), None)
        for key in table:
            if width is not None and len(wire_bytes(key)) > width:
                raise FormatFault(f"frame: {{{name}:{width}}} is too narrow for {key!r}")


def _refuse_unclear_edges(form: TextFormat) -> None:
    for part, after in pairwise(form.parts):
        if after.field == "check" and part.width is None and part.field != "literal":
            raise FormatFault(f"frame: {{check}} follows {part} directly; expected a literal between them")
        if part == Part("value") and after.field in {"unit", "status"}:
            more = re.compile(rb"[ 0-9%b]|[eE][+-]?[0-9]" % form.decimal.encode())
            taken = next(
                (key for key in (form.unit_keys if after.field == "unit" else form.status_keys) if more.match(key)),
                None,
            )
            if taken is not None:
                raise FormatFault(
                    f"frame: {{value}} takes the beginning of the key {shown(taken)} of {after}; "
                    "give {value} a width, or leave spaces out of the key"
                )
    at = next((at for at, part in enumerate(form.parts) if part.field == "check"), None)
    if at is not None and fixed_width(form.parts[at + 1 :]) is None:
        raise FormatFault("frame: what follows {check} has no fixed width; expected literals or columns there")


def _refuse_bad_end(form: TextFormat) -> None:
    if not form.end:
        width = fixed_width(form.parts)
        if width is None:
            loose = next(part for part in form.parts if fixed_width([part]) is None)
            raise FormatFault(
                f"end: is empty, so the frame must have a fixed length, and {loose} has none; "
                f"expected an end, or a width as in {{{loose.field}:8}}"
            )
        if width > FRAME_LIMIT:
            raise FormatFault(f"frame: is {width} bytes long, expected at most {FRAME_LIMIT}")
        if not any(_marks(form, part) or part.field == "check" for part in form.parts):
            raise FormatFault("end: is empty, and the frame has nothing to find its beginning by; expected a literal")
        return
    held = number_bytes(form.decimal) + (b"abcdfABCDF" if form.check_form == "hex" and form.part("check") else b"")
    if form.end[0] in held:
        raise FormatFault(f"end: begins with {shown(form.end[:1])}, which a frame may hold; expected what ends it")
    if len(form.end) > FRAME_LIMIT:
        raise FormatFault(f"end: is longer than a frame may be, {FRAME_LIMIT} bytes")
    inside = [part.literal for part in form.parts if part.literal] + [*form.unit_keys, *form.status_keys]
    for text in inside:
        begun = any(text.endswith(form.end[:length]) for length in range(1, len(form.end)))
        if form.end in text or begun:
            raise FormatFault(
                f"end: {shown(form.end)} begins within {shown(text)}; write all that ends a frame as its end"
            )


def _refuse_bad_check(form: TextFormat) -> None:
    body = form.body({"value": b"0"}, b"\0" * form.check_width)
    start, stop, _ = form.check_span.indices(len(body))
    at = len(body) - form._from_check_on
    if start >= stop:
        raise FormatFault(
            "check_range: covers no byte of the frame; expected the first byte and the one after the last"
        )
    if start < at + form.check_width and stop > at:
        raise FormatFault(f"check_range: {form.check_range} covers the check itself; expected what stands before it")


def _marks(form: TextFormat, part: Part) -> bool:
    """Say whether `part` always holds a byte that no number holds, so that nobody takes it for part of one."""
    held = set(number_bytes(form.decimal))
    texts = {"literal": [part.literal], "unit": form.unit_keys, "status": form.status_keys}.get(part.field, [])
    return bool(texts) and all(set(text) - held for text in texts)
