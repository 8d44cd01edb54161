"""Archives as files that others read: JSON Lines, which can be taken back in, and tables (CSV, Parquet).

JSON Lines, one object a line. An entry: `bench`, `seq`, `hash`, `body` (the exact text that was hashed), and where
there are any `names` (path of a field to salt and name, or to null where it is withheld: `station.records.names`) and
`signature`. A trace, after the first entry that names it: `trace` (its hash) and `packed` (its bytes before
compression, in base64). Taken back into an empty archive, the export of a whole archive gives the same head;
`docs/check_record.py` checks one without any code of ours.

A table has a row for each entry: when and what, in words and as JSON. Tables are for looking at, not for taking back.

>>> row = Row("Bench 1", 1, "26-0001", "checked", "00", b'{"at":"2026-03-04T05:06:07.000000Z","entry":{}}')
>>> line_of(row)["seq"], cells_of(row)["what"][:27]
(1, 'DAMAGED: it cannot be read:')
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from station.records.chain import FIRST_PREV, BodyFault, read_body
from station.records.examine import examine
from station.records.names import NamesFault, read_names, text_of, withheld
from station.records.rows import Row, StoredTrace, readable
from station.records.words import in_words

if TYPE_CHECKING:
    from station.records.archive import Archive
    from station.records.chain import Link

COLUMNS = ("bench", "seq", "at", "job", "kind", "step", "what", "verdict", "held_us", "hash", "entry")
_PARQUET_ROWS = 10_000

Withhold = Callable[[str], bool]


class ExportFault(ValueError):
    """An export cannot be written or taken back in; the message names the file and line, and what is wrong."""


def line_of(row: Row) -> dict[str, Any]:
    """Give an entry as the object of its line."""
    line: dict[str, Any] = {"bench": readable(row.bench), "seq": row.seq, "hash": readable(row.hash)}
    line["body"] = row.body.decode("utf-8", "replace")
    try:
        names = read_names(row.names)
    except NamesFault:
        names = {}
    if names:
        line["names"] = {path: list(known) if known else None for path, known in names.items()}
    return line | ({"signature": readable(row.signature)} if row.signature else {})


def lines(
    rows: Iterable[Row], traces: Mapping[str, StoredTrace], missing: Callable[[str, str], None]
) -> Iterator[dict[str, Any]]:
    """Give entries and the traces they name as the objects of their lines.

    A trace that is not as it was recorded is left out; `missing` is told its hash and what it is, missing or damaged.
    """
    given: set[str] = set()
    for row in rows:
        yield line_of(row)
        try:
            name = row.facts.get("trace")
        except BodyFault:
            continue
        if not isinstance(name, str) or name in given:
            continue
        given.add(name)
        stored = traces.get(name)
        if stored is None or stored.what_is_wrong():
            missing(name, "missing" if stored is None else "damaged")
        else:
            yield {"trace": name, "packed": b64encode(stored.unpacked()).decode()}


def without_names(rows: Iterable[Row], which: Withhold) -> Iterator[Row]:
    """Give rows with those names withheld that `which` picks; what is sealed stays as it is."""
    for row in rows:
        try:
            names = text_of(withheld(read_names(row.names), which))
        except NamesFault:  # nobody can tell what is a name in it
            names = "{}"
        yield Row(row.bench, row.seq, row.job, row.kind, row.hash, row.body, names, row.signature)


def cells_of(row: Row) -> dict[str, str | int | None]:
    """Give an entry as the cells of a table's row; what cannot be read is said in `what`."""
    cells: dict[str, str | int | None] = dict.fromkeys(COLUMNS)
    cells |= {"bench": readable(row.bench), "seq": row.seq, "job": readable(row.job), "kind": readable(row.kind)}
    cells["hash"] = readable(row.hash)
    try:
        cells |= {"at": row.at, "entry": json.dumps(row.told, ensure_ascii=False)}
        cells |= {"step": row.entry.step, "what": in_words(row.entry)}
        judgement = row.told.get("judgement")
    except BodyFault as fault:
        cells["what"] = f"DAMAGED: {fault}"
        return cells
    if isinstance(judgement, Mapping):
        cells |= {"verdict": judgement.get("verdict"), "held_us": judgement.get("held_us")}
    return cells


def write_parquet(rows: Iterable[Row], target: Path) -> int:
    """Write entries as a Parquet file; give their number. Raises `ExportFault` without the extra `parquet`."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        what = "a Parquet file needs the library pyarrow, which is not installed here; pip install 'fidbench[parquet]'"
        raise ExportFault(what) from None

    numbers = {"seq", "held_us"}
    schema = pa.schema([(name, pa.int64() if name in numbers else pa.string()) for name in COLUMNS])
    written = 0
    with pq.ParquetWriter(target, schema, compression="zstd") as writer:
        batch: list[dict[str, str | int | None]] = []
        for row in rows:
            batch.append(cells_of(row))
            written += 1
            if len(batch) == _PARQUET_ROWS:
                writer.write_table(pa.Table.from_pylist(batch, schema))
                batch = []
        writer.write_table(pa.Table.from_pylist(batch, schema))
    return written


def take_in(source: Path, where: str) -> dict[str, Link]:
    """Take an export of a whole archive into an archive that is empty or not there; give the heads.

    Raises `ExportFault` naming the line where a text, its place, a name, a signature or a trace is not as it was
    sealed, or where entries are missing; then nothing of it is kept.
    """
    from station.records.archive import Archive

    if not source.is_file():
        raise ExportFault(f"{source}: there is no such file; name an export, as records export prints it")
    with source.open("rb") as file:
        items = _Reading(source).items(file)
        first = next(items, None)
        if not isinstance(first, Row):
            raise ExportFault(f"{source}: line 1: expected an entry, as records export prints it")
        with Archive.open(where, bench=first.bench, create=True) as archive:
            return _kept(archive, first, items)


def _kept(archive: Archive, first: Row, items: Iterator[Row | StoredTrace]) -> dict[str, Link]:
    def all_items() -> Iterator[Row | StoredTrace]:
        yield first
        yield from items

    archive.take_back(all_items())
    return archive.heads()


class _Reading:
    """Reads an export line by line, and refuses the first that is not as it was sealed."""

    def __init__(self, source: Path) -> None:
        self.source = source
        self.heads: dict[str, tuple[int, str]] = {}
        self.named: dict[str, int] = {}  # a trace, and the line that names it first
        self.given: set[str] = set()

    def items(self, lines: Iterable[bytes]) -> Iterator[Row | StoredTrace]:
        number = 0
        for number, line in enumerate(lines, 1):
            try:
                read = json.loads(line)
                item = self._trace(read) if "trace" in read else self._row(read)
            except BodyFault as fault:
                raise ExportFault(f"{self.source}: line {number}: {fault}") from None
            except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as fault:
                what = f"is no line of an export ({type(fault).__name__}: {fault})"
                raise ExportFault(f"{self.source}: line {number}: {what}") from None
            if isinstance(item, Row) and isinstance(name := item.facts.get("trace"), str):
                self.named.setdefault(name, number)
            if isinstance(item, StoredTrace) and item.hash in self.given:
                continue
            if isinstance(item, StoredTrace):
                self.given.add(item.hash)
            yield item
        for name, asked in self.named.items():
            if name not in self.given:
                raise ExportFault(f"{self.source}: line {asked}: its trace {name} is nowhere in the export")

    def _trace(self, read: Mapping[str, Any]) -> StoredTrace:
        stored = StoredTrace.of(b64decode(read["packed"], validate=True))
        if stored.hash != read["trace"]:
            raise BodyFault("its readings are not the ones that were recorded")
        return stored

    def _row(self, read: Mapping[str, Any]) -> Row:
        if unknown := sorted(set(read) - {"bench", "seq", "hash", "body", "names", "signature"}):
            raise BodyFault(f"found {unknown[0]!r}, expected bench, seq, hash, body, names and signature")
        body = read["body"].encode()
        content = read_body(body)
        facts, names = content["entry"], read.get("names", {})
        row = Row(
            bench=str(read["bench"]),
            seq=content["seq"],
            job=str(facts["job"]),
            kind=str(facts["kind"]),
            hash=str(read["hash"]),
            body=body,
            names=text_of({path: tuple(known) if known else None for path, known in names.items()}),
            signature=str(read.get("signature", "")),
        )
        seq, head = self.heads.get(row.bench, (0, FIRST_PREV))
        found = examine(row, {})
        if not found.read.whole:
            raise BodyFault("its text and its hash do not belong together: one was altered")
        if (content["bench"], content["seq"]) != (row.bench, read["seq"]):
            raise BodyFault(f"its text is of entry {content['seq']} of {content['bench']}")
        if row.seq != seq + 1:
            what = f"found entry {row.seq} of {row.bench}, expected {seq + 1}"
            raise BodyFault(f"{what}; only the export of a whole archive can be taken in: records export without an ID")
        if found.read.prev != head:
            raise BodyFault("it was not sealed on the entry before it")
        if found.wrong:
            raise BodyFault("; ".join(found.wrong))
        self.heads[row.bench] = (row.seq, row.hash)
        return row
