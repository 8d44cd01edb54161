"""The rules of text frames, written a second time: slowly, one byte after another."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

from drivers.events import Frame
from drivers.text_frames import TextFormat


def slow_decode(form: TextFormat, data: bytes) -> list[Frame | bytes]:
    """Read a stream by the rules, noise as its bytes alone: for formats with an end, and without bare checks."""
    events: list[Frame | bytes] = []
    while form.end in data:
        piece, _, data = data.partition(form.end)
        frame = slow_frame(form, piece) if len(piece) <= 128 else None
        if frame is not None:
            events.append(frame)
            continue
        while len(piece) > 128:
            events.append(piece[:128])
            piece = piece[128:]
        events.append(piece + form.end)
    while len(data) >= 128 + len(form.end):
        events.append(data[:128])
        data = data[128:]
    return events


def slow_frame(form: TextFormat, piece: bytes) -> Frame | None:
    """Read one frame: first with a number, then as one whose status says that there is none."""
    found = slow_parts(form, piece, with_number=True) or slow_parts(form, piece, with_number=False)
    if found is None or not slow_check(form, piece):
        return None
    status = form.status_keys[found["status"]] if "status" in found else None
    unit = form.unit_keys[found["unit"]] if "unit" in found else form.unit
    if status in {"overload", "fault"}:
        return Frame(None, unit, status)
    if "value" not in found:
        return None
    force = float(found["value"].replace(b" ", b"").replace(form.decimal.encode(), b"."))
    return Frame(force, unit, status) if abs(force) != float("inf") else None


def slow_parts(form: TextFormat, piece: bytes, with_number: bool) -> dict[str, bytes] | None:
    """Give the bytes of each field of a frame, or None where they are not to be had."""
    found: dict[str, bytes] = {}
    parts = list(form.parts)
    at = 0
    while parts:
        part = parts.pop(0)
        if not with_number and swallowed(form, part):
            beside = [part, *itertools.takewhile(lambda each: swallowed(form, each), parts)]
            del parts[: len(beside) - 1]
            widths = [each.width for each in beside]
            length = anything(form, piece[at:], parts) if None in widths else sum(filter(None, widths))
        else:
            length = taken(form, part, piece[at:], parts[0].literal if parts else b"")
            found[part.field] = piece[at : at + (length or 0)]
        if length is None or at + length > len(piece):
            return None
        at += length
    return found if at == len(piece) else None


def taken(form: TextFormat, part: Any, rest: bytes, after: bytes) -> int | None:
    """Give how many bytes at the beginning of `rest` the part takes, or None where it is not there."""
    match part.field:
        case "literal":
            return len(part.literal) if rest.startswith(part.literal) else None
        case "value" if part.width is None:
            return number(rest, form.decimal.encode(), after)
        case "value":
            return part.width if number(rest[: part.width], form.decimal.encode(), b"") == part.width else None
        case "unit" | "status":
            keys = form.unit_keys if part.field == "unit" else form.status_keys
            return max((len(key) for key in keys if rest.startswith(key)), default=None)
        case "skip" if part.width is None:
            return len(rest) if not after else rest.find(after) if after in rest else None
        case _:
            return part.width


def swallowed(form: TextFormat, part: Any) -> bool:
    """Say whether this is the value, or a unit or skip that stands beside it with nothing but such between."""
    places = {each.field: at for at, each in enumerate(form.parts)} | {
        id(each): at for at, each in enumerate(form.parts)
    }
    first, last = sorted((places["value"], places[id(part)]))
    return all(each.field in {"value", "unit", "skip"} for each in form.parts[first : last + 1])


def anything(form: TextFormat, rest: bytes, parts: Sequence[Any]) -> int | None:
    """Give how many bytes a value without a force takes: up to the next literal, status or end, with its own spaces."""
    if not parts:
        return len(rest)
    silent = [key for key, status in form.status_keys.items() if status in {"overload", "fault"}]
    stops = silent if parts[0].field == "status" else [parts[0].literal]
    blank = not stops[0].strip(b" ")
    start = spaces(rest, 0) if blank else 0
    for length in range(start, len(rest) + 1):
        if any(rest[length:].startswith(stop) for stop in stops):
            return max(length, spaces(rest, length) - len(stops[0])) if blank else length
    return None


def number(text: bytes, decimal: bytes, after: bytes) -> int | None:
    """Give how many bytes the longest number at the beginning of `text` takes, with the spaces that are its own."""
    at = spaces(text, 0)
    at = spaces(text, at + (text[at : at + 1] in {b"+", b"-"}))
    whole = digits(text, at)
    at += whole
    if text[at : at + 1] == decimal and (whole or digits(text, at + 1)):
        fraction = digits(text, at + 1)
        at += 1 + fraction
    elif not whole:
        return None
    if text[at : at + 1] in {b"e", b"E"}:
        power = at + 1 + (text[at + 1 : at + 2] in {b"+", b"-"})
        if digits(text, power):
            at = power + digits(text, power)
    left = len(after) - len(after.lstrip(b" "))
    return max(at, spaces(text, at) - left)


def spaces(text: bytes, at: int) -> int:
    """Give the place of the first byte from `at` on that is no space."""
    while text[at : at + 1] == b" ":
        at += 1
    return at


def digits(text: bytes, at: int) -> int:
    """Count the digits from `at` on."""
    return len(text[at:]) - len(text[at:].lstrip(b"0123456789"))


def slow_check(form: TextFormat, piece: bytes) -> bool:
    """Say whether the check in a frame is the one that belongs to it."""
    if form.checksum == "none":
        return True
    at = len(piece)
    for part in reversed(form.parts):
        at -= part.width if part.width is not None else len(part.literal)
        if part.field == "check":
            break
    sent_check = piece[at : at + form.check_width]
    return sent_check.upper() == form.check_of(piece)
