"""What an archive keeps, as it stands there: rows of sealed entries, and traces as compressed bytes.

A row is believed by nobody: its columns repeat what the body says (to find a job without reading every body), and
`station.records.verify` looks whether they still agree. A trace is stored once, under the SHA-256 of its packed bytes
(`Trace.pack`), which is what entries name. What is stored is those, narrower (`station.records.narrow`) and compressed
(zlib), and the hash of that beside it shows the few alterations that unpack to the same.

>>> stored = StoredTrace.of(b"fbt1" + bytes(8))
>>> stored.unpacked() == b"fbt1" + bytes(8), stored.what_is_wrong()
(True, None)
>>> StoredTrace(stored.hash, stored.blob[:-1], stored.blob_hash).what_is_wrong()
'its stored bytes were altered and cannot be unpacked'
"""

from __future__ import annotations

import heapq
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from unicodedata import normalize

from station.records.chain import BodyFault, Link, digest, no_float
from station.records.entries import Entry, EntryFault, entry_of
from station.records.names import NONE, Names, NamesFault, opened, read_names
from station.records.narrow import narrowed, widened

# Little memory makes zlib look anew more often what the bytes are like, which columns of different kinds gain by.
_MEMORY = 3
LARGEST_TRACE_BYTES = 1 << 30  # an hour at 16 000 readings a second; beyond it somebody plays tricks


class ArchiveFault(RuntimeError):
    """An archive cannot be opened, read or written; the message names it, what was found, and what to do."""


def readable(text: str) -> str:
    """Give text from a column without what a flipped byte may have left in it that is no Unicode."""
    return text.encode("utf-8", "replace").decode()


def plain(text: str) -> str:
    """Give text as it is compared with what somebody asks for.

    Without blanks around it, and without regard to great and small letters or to how an accent is written (Unicode's
    canonical caseless matching, The Unicode Standard, 3.13).

    >>> plain(" STRAUSS "), plain("Strauß"), plain("Mu\u0308ller") == plain("M\u00dcLLER")
    ('strauss', 'strauss', True)
    """
    return text.strip().lower() if text.isascii() else normalize("NFD", normalize("NFD", text.strip()).casefold())


@dataclass(frozen=True)
class Row:
    """One entry as an archive keeps it: the columns, and the sealed bytes.

    `names` are the names of persons whose seals the body holds (`station.records.names`), as text; `signature` the
    station's, of the body, as hexadecimal digits, '' where there is none.
    """

    bench: str
    seq: int
    job: str
    kind: str
    hash: str
    body: bytes
    names: str = NONE
    signature: str = ""

    @property
    def link(self) -> Link:
        """Give the row as a link of the chain."""
        return Link(self.seq, self.body, self.hash)

    @cached_property
    def content(self) -> Mapping[str, Any]:
        """Give the sealed object, unchecked. Raises `BodyFault` where the bytes are no object with an entry in it."""
        try:
            content = json.loads(self.body, parse_float=no_float, parse_constant=no_float)
        except (ValueError, RecursionError):
            content = None
        if b"\\ud" in self.body.lower():  # half of a pair: no text, and canonical JSON never writes it so
            content = None
        if not isinstance(content, dict) or not isinstance(content.get("entry"), dict):
            raise BodyFault("its text cannot be read")
        return content

    @property
    def at(self) -> str:
        """When, as UTC text; '' where the body does not say."""
        return str(self.content.get("at", ""))

    @property
    def facts(self) -> Mapping[str, Any]:
        """What happened, as a plain object with its kind, as it was sealed: with seals for names."""
        entry: Mapping[str, Any] = self.content["entry"]
        return entry

    @cached_property
    def told(self) -> Mapping[str, Any]:
        """What happened, as a plain object with its kind, and with the names that are not withheld."""
        try:
            names: Names = read_names(self.names)
        except NamesFault:
            names = {}
        return opened(self.facts, names)

    @property
    def entry(self) -> Entry:
        """What happened, as a fact. Raises `BodyFault` where this program does not know such an entry."""
        try:
            return entry_of(self.told)
        except EntryFault as fault:
            raise BodyFault(f"it cannot be read: {fault}") from None


def as_filed(rows: Sequence[Row]) -> list[Row]:
    """Give rows, by bench and number, in the order they were filed in: each bench's by number, benches' by their times.

    A job that was opened at one bench goes on at another where the bench's name was changed, say.
    """
    chains: dict[str, list[Row]] = {}
    for row in rows:
        chains.setdefault(row.bench, []).append(row)
    return list(heapq.merge(*chains.values(), key=_when)) if len(chains) > 1 else list(rows)


def _when(row: Row) -> str:
    try:
        return "" if row.kind == "job-opened" else row.at  # whatever the clocks say, a job begins with its opening
    except BodyFault:
        return ""


@dataclass(frozen=True)
class StoredTrace:
    """A trace as an archive keeps it: compressed, under the hash of its uncompressed bytes."""

    hash: str
    blob: bytes
    blob_hash: str

    @classmethod
    def of(cls, packed: bytes) -> StoredTrace:
        """Compress a trace's packed bytes for the archive."""
        machine = zlib.compressobj(6, zlib.DEFLATED, zlib.MAX_WBITS, _MEMORY)
        blob = machine.compress(narrowed(packed)) + machine.flush()
        return cls(digest(packed), blob, digest(blob))

    def unpacked(self) -> bytes:
        """Give the uncompressed bytes. Raises ValueError where the stored ones are no whole compressed trace."""
        return self._unpacked

    @cached_property
    def _unpacked(self) -> bytes:
        machine = zlib.decompressobj()
        try:
            packed = machine.decompress(self.blob, LARGEST_TRACE_BYTES)
        except zlib.error as fault:
            raise ValueError(str(fault)) from None
        if not machine.eof or machine.unused_data:
            raise ValueError("the stored bytes are cut short, or more than one trace")
        return widened(packed)

    @cached_property
    def content_hash(self) -> str | None:
        """The hash of the uncompressed bytes; None where there are none."""
        try:
            return digest(self._unpacked)
        except ValueError:
            return None

    def what_is_wrong(self) -> str | None:
        """Say in words what is wrong with the stored bytes, None where nothing is."""
        if self.content_hash is None:
            return "its stored bytes were altered and cannot be unpacked"
        if self.content_hash != self.hash:
            return "its readings are not the ones that were recorded"
        if digest(self.blob) != self.blob_hash:
            return "its stored bytes, or their hash, were altered; its readings are still the ones recorded"
        return None
