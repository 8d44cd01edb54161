"""The chain: each entry is sealed on the one before it, so that nothing in between can change unseen.

What is sealed is a *body*: canonical JSON (RFC 8785) of integers and text, as UTF-8 bytes, of this object:

    format   1, the layout told here; 2 where the key is named
    bench    the name of the bench whose chain this is
    seq      1, 2, 3 and on, without holes
    at       when, as UTC text with microseconds: 2026-03-04T05:06:07.123456Z
    prev     the hash of the entry before it; sixty-four zeros for the first
    entry    what happened (see `station.records.entries`)
    key      in format 2: the station's public key, whose signature of the body stands beside it (`signatures`)

The *hash* of an entry is the SHA-256 of its body, as sixty-four hexadecimal digits. The hash of the last entry, the
*head*, stands for all of them: printed on paper or sent to somebody, it is an *anchor*. What this proves: nothing
up to the anchor was altered, dropped, added or exchanged since. What it cannot: without an anchor, a chain whose
last entries were cut off, or that was rebuilt from some entry on, looks whole.

Nothing here reads a clock or a file, and a float is refused wherever it stands.

>>> first = seal(FIRST_PREV, "Bench 1", 1, "2026-03-04T05:06:07.000000Z", {"kind": "checked", "job": "26-0001"})
>>> first.body.decode()[:76]
'{"at":"2026-03-04T05:06:07.000000Z","bench":"Bench 1","entry":{"job":"26-000'
>>> second = seal(first.hash, "Bench 1", 2, "2026-03-04T05:06:08.000000Z", {"kind": "checked", "job": "26-0001"})
>>> check([first, second])
[]
>>> altered = Link(1, first.body.replace(b"26-0001", b"26-0002"), first.hash)
>>> check([altered, second])
[Damage(seq=1, what='its text was altered after it was sealed', bench='Bench 1')]
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NoReturn

import rfc8785

FORMAT = 1
SIGNED_FORMAT = 2
FIRST_PREV = "0" * 64

_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", re.ASCII)
_HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)
_KEYS = {"format", "bench", "seq", "at", "prev", "entry"}
_KEYS_OF = {FORMAT: _KEYS, SIGNED_FORMAT: _KEYS | {"key"}}


class SealError(ValueError):
    """An entry holds something that cannot be sealed, such as a float; the message names where it stands."""


class BodyFault(ValueError):
    """The bytes of a body cannot be read; the message is the end of a sentence that begins with the entry."""


@dataclass(frozen=True, slots=True)
class Damage:
    """Something that is not as it was sealed: at which entry (None: at none in particular), and what, in words."""

    seq: int | None
    what: str
    bench: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """A sealed entry: its number, the bytes that were hashed, and their hash."""

    seq: int
    body: bytes
    hash: str


def digest(data: bytes) -> str:
    """Give the SHA-256 of `data` as sixty-four hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def utc_text(at: datetime) -> str:
    """Give a time as the text that is sealed. Raises ValueError for a time without its zone.

    >>> from datetime import timedelta, timezone
    >>> utc_text(datetime(2026, 3, 4, 6, 6, 7, 123456, timezone(timedelta(hours=1))))
    '2026-03-04T05:06:07.123456Z'
    """
    if at.tzinfo is None:
        raise ValueError(f"found {at.isoformat()}, a time without its zone")
    return at.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"


def seal(prev_hash: str, bench: str, seq: int, at: str, entry: Mapping[str, Any], key: str | None = None) -> Link:
    """Seal `entry` as number `seq` of the bench's chain, on the entry whose hash is `prev_hash`.

    `key` is the public key, in hexadecimal digits, of the station that will sign the body; None where none does.
    `at` is UTC text as `utc_text` gives it. Raises `SealError` for a float, a number that JSON cannot carry exactly
    (2^53 and beyond), text that is no Unicode, and anything else that is neither integer, text, truth value, null,
    list nor object.
    """
    if not _is_utc(at):
        raise SealError(f"at: found {at!r}, expected UTC text such as 2026-03-04T05:06:07.123456Z")
    if not _HASH.fullmatch(prev_hash):
        raise SealError(f"prev: found {prev_hash!r}, expected sixty-four hexadecimal digits")
    if seq < 1 or (seq == 1) != (prev_hash == FIRST_PREV):
        raise SealError(f"seq: found {seq} on {prev_hash}, expected 1 on zeros, and more on the entry before")
    _refuse_unsealable("entry", entry)
    content: dict[str, Any] = {
        "format": FORMAT if key is None else SIGNED_FORMAT,
        "bench": bench,
        "seq": seq,
        "at": at,
        "prev": prev_hash,
        "entry": entry,
    }
    if key is not None:
        content["key"] = key
    try:
        body = rfc8785.dumps(content)
    except (rfc8785.CanonicalizationError, UnicodeError) as fault:
        raise SealError(f"entry {seq} cannot be written as canonical JSON: {fault}") from None
    return Link(seq, body, digest(body))


def _refuse_unsealable(where: str, value: Any) -> None:
    if value is None or isinstance(value, str | int):  # a truth value is an int
        return
    if isinstance(value, Mapping):
        for key, each in value.items():
            _refuse_unsealable(f"{where}.{key}", each)
    elif isinstance(value, list | tuple):
        for n, each in enumerate(value):
            _refuse_unsealable(f"{where}[{n}]", each)
    else:
        raise SealError(f"{where}: found {value!r} ({type(value).__name__}), expected integers and text")


def _is_utc(at: object) -> bool:
    if not isinstance(at, str) or not _UTC.fullmatch(at):
        return False
    try:
        datetime.fromisoformat(at)
    except ValueError:
        return False
    return True


def read_body(body: bytes) -> dict[str, Any]:
    """Give a body's object, having checked that it is canonical and of the layout told above.

    Raises `BodyFault`, whose words follow "entry 5: ".
    """
    try:
        content = json.loads(body, parse_float=no_float, parse_constant=no_float)
    except (ValueError, RecursionError):
        raise BodyFault("its text cannot be read") from None
    if not isinstance(content, dict) or type(content.get("format")) is not int:
        raise BodyFault("its text is no entry")
    keys = _KEYS_OF.get(content["format"])
    if keys is None:
        known = " and ".join(map(str, _KEYS_OF))
        raise BodyFault(
            f"it is sealed in format {content['format']}, and this program knows formats {known}; use a newer one"
        )
    whole = (
        set(content) == keys
        and _HASH.fullmatch(str(content.get("key", FIRST_PREV)))
        and isinstance(content["bench"], str)
        and type(content["seq"]) is int
        and _is_utc(content["at"])
        and isinstance(content["prev"], str)
        and isinstance(content["entry"], dict)
    )
    if not whole:
        raise BodyFault("its text is not whole: a part is missing, unknown, or of the wrong kind")
    try:
        canonical = rfc8785.dumps(content)
    except (rfc8785.CanonicalizationError, UnicodeError):
        raise BodyFault("its text cannot be written as canonical JSON") from None
    if canonical != body:
        raise BodyFault("its text is not canonical JSON")
    return content


def no_float(text: str) -> NoReturn:
    """Refuse a number that is no whole number, for a reader of JSON."""
    raise ValueError(f"found {text}, expected whole numbers")


def check(links: Iterable[Link]) -> list[Damage]:
    """Give everything in one bench's chain that is not as it was sealed, in the order of the entries."""
    chain = Checker()
    found = [damage for link in links for damage in chain.feed(read_link(link))]
    return sorted(found + chain.end(), key=lambda damage: damage.seq or 0)


@dataclass(frozen=True, slots=True)
class ReadLink:
    """A link worked out by itself: what its bytes hash to, and, where they are whole, what they say of their place."""

    seq: int
    hash: str
    true_hash: str
    bench: str | None = None
    sealed_seq: int | None = None
    prev: str | None = None
    key: str | None = None
    at: str | None = None
    fault: str | None = None  # why the bytes, though whole, cannot be read

    @property
    def whole(self) -> bool:
        """Tell whether the bytes are the ones that the hash was taken of."""
        return self.true_hash == self.hash


def read_link(link: Link) -> ReadLink:
    """Work out a link by itself; what an altered text says of itself is not to be believed, and is not read."""
    true_hash = digest(link.body)
    if true_hash != link.hash:
        return ReadLink(link.seq, link.hash, true_hash)
    try:
        content = read_body(link.body)
    except BodyFault as fault:
        return ReadLink(link.seq, link.hash, true_hash, fault=str(fault))
    place = content["bench"], content["seq"], content["prev"], content.get("key"), content["at"]
    return ReadLink(link.seq, link.hash, true_hash, *place)


@dataclass(slots=True)
class _Seen:
    link: ReadLink
    prev: str | None  # what it was sealed on; None where its text is not whole or is another entry's
    reasons: list[str]

    @property
    def true_hash(self) -> str:
        return self.link.true_hash

    @property
    def whole(self) -> bool:
        return self.link.whole


class Checker:
    """Checks one bench's chain, link by link in the order of their numbers, keeping only the last in mind.

    An entry is judged when the one after it has come: whether text or hash was altered, and whether the entry was
    altered and sealed again, is told by what its successor was sealed on.
    """

    def __init__(self, bench: str | None = None) -> None:
        self.bench = bench
        self._last: _Seen | None = None

    @property
    def head(self) -> str | None:
        """The recorded hash of the last entry so far."""
        return self._last.link.hash if self._last else None

    def feed(self, link: ReadLink, also: Iterable[str] = ()) -> list[Damage]:
        """Take the next link and give what is now known to be damaged; `also` is said of this one as well."""
        expected = self._last.link.seq + 1 if self._last else 1
        seen = _Seen(link, None, [])
        misplaced = self._place(seen)
        if link.seq < expected:
            again = link.seq == expected - 1
            seen.reasons.append("it stands here a second time" if again else "it stands out of its order")
        seen.reasons.extend(also)
        if link.seq < expected or (misplaced and link.seq != expected):  # it takes no place in the chain
            return self._told(seen, None)
        found = self._told(self._last, seen if link.seq == expected else None)
        self._last = seen
        return [*found, *self._missing(expected, link.seq)]

    def end(self) -> list[Damage]:
        """Give what is known to be damaged of the last entry, now that none comes after it."""
        return self._told(self._last, None)

    def _place(self, seen: _Seen) -> bool:
        """Note what a text that is whole says of its place, and tell whether it was sealed for another one."""
        link = seen.link
        if link.fault is not None:
            seen.reasons.append(link.fault)
        if link.bench is None:
            return False
        if self.bench is None:
            self.bench = link.bench
        if link.bench != self.bench:
            seen.reasons.append(f"it holds the text of an entry of another bench, {link.bench!r}")
            return True
        if link.sealed_seq != link.seq:
            seen.reasons.append(f"it holds the text of entry {link.sealed_seq}")
            return True
        seen.prev = link.prev
        if link.seq == 1 and seen.prev != FIRST_PREV:
            seen.reasons.append("it is the first, and was sealed on an entry before it")
        return False

    def _missing(self, first: int, next_seq: int) -> list[Damage]:
        if next_seq <= first:
            return []
        many = next_seq - first > 1
        what = f"entries {first} to {next_seq - 1} are missing" if many else "it is missing"
        return [Damage(first, what, self.bench or "")]

    def _told(self, seen: _Seen | None, witness: _Seen | None) -> list[Damage]:
        """Say what is wrong with an entry, by itself and by what `witness`, the one after it, was sealed on."""
        if seen is None:
            return []
        sealed_on = witness.prev if witness is not None else None
        reasons = list(seen.reasons)
        if not seen.whole:
            if sealed_on is None:
                reasons.append("its text and its hash do not belong together: one was altered after it was sealed")
            elif sealed_on == seen.true_hash:
                reasons.append("its hash was altered; its text is the one that the next entry was sealed on")
            elif sealed_on == seen.link.hash:
                reasons.append("its text was altered after it was sealed")
            else:
                reasons.append("its text and its hash were altered after it was sealed")
        elif sealed_on is not None and sealed_on != seen.link.hash and not reasons:
            reasons.append("it is not what the next entry was sealed on: it was altered and sealed again, or exchanged")
        return [Damage(seen.link.seq, "; ".join(reasons), self.bench or "")] if reasons else []
