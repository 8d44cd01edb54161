"""The archive: it takes entries and traces, seals them, and never lets go of one.

* `append` returns when the entry and its traces lie on the disk (one transaction, write-ahead log, full sync).
* Nothing is altered or taken out: guards refuse it, and refuse an entry out of number.
* It is one file (SQLite), to which one program writes at a time, and which any number read meanwhile; a reader opens
  read-only, never creates a file, and leaves none behind. Or it is on a server (PostgreSQL), where several benches
  write at once, each its own chain.
* What goes wrong is an `ArchiveFault` that says what was found and what to do. After one, nothing of the entry that
  was being written is in the archive.

The tables, layout 2, are those of `station.records.schema`. A file says who made it (application id "FIDB") and in
which layout (user version). Layout 1 had neither names nor signatures: such a file is read as it is, and taken to
layout 2, all at once, when a bench opens it to write.

A bench whose station has a key (a file beside the archive, its name and `.key`; see `signatures`) signs each entry.

>>> from tempfile import TemporaryDirectory
>>> from station.records.entries import Checked
>>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/archive.sqlite", bench="Bench 1", create=True) as ours:
...     link = ours.append(Checked(job="26-0001", check="no twist"), at="2026-03-04T05:06:07.000000Z")
...     link.seq, ours.head().hash == link.hash, [row.entry.check for row in ours.entries("26-0001")]
(1, True, ['no twist'])
"""

from __future__ import annotations

import dataclasses
import secrets
import threading
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.measuring.trace import Trace
from station.records import chain, names
from station.records.chain import FIRST_PREV, Link
from station.records.entries import Entry, body_of
from station.records.file_store import FileStore
from station.records.job_names import JobNames, ids_in, new_id
from station.records.rows import ArchiveFault, Row, StoredTrace, as_filed, plain, readable
from station.records.schema import ENTRIES, TRACES, different, place_in_body, sought
from station.records.signatures import Signer
from station.records.sqlite_file import path_of, told
from station.records.store import Purpose, Store, is_server

__all__ = ["Archive", "ArchiveFault"]

Key = tuple[str, int]  # bench and number of an entry
_BATCH = 500


class Said(NamedTuple):
    """What an entry says at the places asked for, unchecked: '' where it says nothing there, or is damaged.

    `job` is what its job is called (`Archive.job_names`).
    """

    bench: str
    seq: int
    job: str
    names: str
    told: tuple[str, ...]


# Made once, for they are asked for every hold.
_TRACE = sa.select(TRACES).where(TRACES.c.hash == sa.bindparam("hash"))
_TRACE_IS_HERE = sa.select(sa.literal(1)).where(TRACES.c.hash == sa.bindparam("hash"))


class Archive:
    """An open archive. Made by `Archive.open`; use it in a `with`, or `close` it. Safe to use from several threads."""

    def __init__(self, store: Store, bench: str | None, signer: Signer | None = None) -> None:
        self.path = store.name
        self.where = store.where
        self.bench = bench
        self.signer = signer
        self._store = store
        self._closed = False
        self._lock = threading.RLock()

    @classmethod
    def open(
        cls, where: str | Path, bench: str | None = None, create: bool = False, key: Path | None = None
    ) -> Archive:
        """Open an archive, to write as `bench`, or, without one, to read.

        `where` is a path, a sqlite:/// URL, or a postgresql+psycopg:// URL. `create` makes the archive where there is
        none. `key` is the station's key file; the one beside the archive's file unless given. Raises `ArchiveFault`
        where the archive is missing, locked, read-only, of a newer layout, or not one of this program, and `KeyFault`
        where a key cannot be used.
        """
        server = is_server(where)
        path = None if server else path_of(where)
        if bench == "":
            raise ArchiveFault(f"{path or 'the archive'}: found no name of a bench; every entry belongs to one")
        if key is None and bench is not None and path is not None:
            key = key_beside(path)
        store: Store
        if path is None:
            from station.records.server_store import ServerStore

            store = ServerStore.open(str(where), bench, create)
        elif bench is None:
            store = FileStore.to_read(path)
        else:
            store = FileStore.to_write(path, create)
        try:
            return cls(store, bench, Signer.load(key) if key else None)
        except BaseException:
            store.close()
            raise

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; nothing is lost by not calling this."""
        with self._lock:
            self._closed = True
            self._store.close()

    def append(self, entry: Entry, at: str, traces: Sequence[Trace] = ()) -> Link:
        """Seal `entry` and keep it with its traces; when this returns they are on the disk.

        `at` is UTC text (`chain.utc_text`). Every trace the entry names must be handed in or be here already.
        Raises `ArchiveFault` where the disk or another program is in the way; then nothing of it was kept.
        """
        if self.bench is None:
            raise ArchiveFault(f"{self.path}: is open for reading; open it as a bench to write")
        facts, beside = names.seal_names(body_of(entry), _salt)
        stored = [StoredTrace.of(trace.pack()) for trace in traces]
        with self._transaction("write") as connection:
            head = self._head(connection, self.bench)
            prev, seq = (head.hash, head.seq + 1) if head else (FIRST_PREV, 1)
            if facts["kind"] == "job-opened":
                self._store.opening(connection, entry.job)
            link = chain.seal(prev, self.bench, seq, at, facts, self.signer.public if self.signer else None)
            for trace in stored:
                if not self._has_trace(connection, trace.hash):
                    self._store.keep_trace(connection, dataclasses.asdict(trace))
            named = facts.get("trace")
            if isinstance(named, str) and not self._has_trace(connection, named):
                raise ValueError(f"an entry names the trace {named}, which was not handed in")
            connection.execute(
                sa.insert(ENTRIES).values(
                    bench=self.bench,
                    seq=link.seq,
                    job=entry.job,
                    kind=facts["kind"],
                    hash=link.hash,
                    body=link.body.decode(),
                    names=names.text_of(beside),
                    signature=self.signer.sign(link.body) if self.signer else "",
                )
            )
        return link

    def take_back(self, items: Iterable[Row | StoredTrace]) -> None:
        """Keep rows and traces of another archive, all or none, as they are; what they say was checked by the caller.

        Raises `ArchiveFault` where this archive holds entries already.
        """
        with self._transaction("write") as connection:
            if connection.execute(sa.select(ENTRIES.c.seq).limit(1)).first():
                raise ArchiveFault(f"{self.path}: holds entries already; name a new archive to take an export into")
            self._keep(connection, items)

    def take_over(self, items: Iterable[Row | StoredTrace]) -> None:
        """Keep more rows of this bench's own chain, and their traces, all or none; see `station.records.gather`."""
        with self._transaction("write") as connection:
            self._keep(connection, items)

    def _keep(self, connection: Connection, items: Iterable[Row | StoredTrace]) -> None:
        for item in items:
            if isinstance(item, Row):
                values = dataclasses.asdict(item) | {"body": item.body.decode()}
                connection.execute(sa.insert(ENTRIES).values(values))
            elif not self._has_trace(connection, item.hash):
                self._store.keep_trace(connection, dataclasses.asdict(item))

    def head(self, bench: str | None = None) -> Link | None:
        """Give the last entry of a bench's chain: of the writing bench, else of the one named or the only one."""
        name = bench or self.bench
        with self._transaction("read") as connection:
            benches = [name] if name else self._benches(connection)
            heads = [head for each in benches if (head := self._head(connection, each))]
        if len(heads) > 1:
            raise ArchiveFault(f"{self.path}: holds the chains of {', '.join(benches)}; name one of them")
        return heads[0] if heads else None

    def heads(self) -> dict[str, Link]:
        """Give the last entry of each bench's chain."""
        with self._transaction("read") as connection:
            found = {bench: self._head(connection, bench) for bench in self._benches(connection)}
        return {bench: head for bench, head in found.items() if head}

    def entries(self, job: str | None = None) -> Iterator[Row]:
        """Give every entry as it stands, by bench and number; those of one job as they were filed (`rows.as_filed`).

        Raises `ArchiveFault` for an ID that several benches opened a job under, unless this one writes as one of them.
        """
        key = sa.tuple_(ENTRIES.c.bench, ENTRIES.c.seq)
        wanted = sa.select(ENTRIES).order_by(ENTRIES.c.bench, ENTRIES.c.seq)
        if job is not None:
            with self._transaction("read") as connection:
                job, bench = self._names(connection, *ids_in(job)).read(job)
                wanted = wanted.where(ENTRIES.c.job == job, sa.true() if bench is None else ENTRIES.c.bench == bench)
                rows = [_row(found) for found in connection.execute(wanted)]
            yield from as_filed(rows)
            return
        after: tuple[str, int] | None = None
        while True:
            batch = wanted if after is None else wanted.where(key > sa.tuple_(_exact(after[0]), after[1]))
            with self._transaction("read") as connection:
                rows = [_row(found) for found in connection.execute(batch.limit(_BATCH))]
            yield from rows
            if len(rows) < _BATCH:
                return
            after = (rows[-1].bench, rows[-1].seq)

    def keys(self) -> list[Key]:
        """Give bench and number of every entry, by bench and number."""
        key = sa.select(ENTRIES.c.bench, ENTRIES.c.seq).order_by(ENTRIES.c.bench, ENTRIES.c.seq)
        with self._transaction("read") as connection:
            return [(_text(bench), seq) for bench, seq in connection.execute(key)]

    def between(self, first: Key, last: Key) -> list[Row]:
        """Give the entries from one key to another, both included, by bench and number."""
        key = sa.tuple_(ENTRIES.c.bench, ENTRIES.c.seq)
        begin, end = (sa.tuple_(_exact(bench), seq) for bench, seq in (first, last))
        wanted = sa.select(ENTRIES).where(key >= begin, key <= end).order_by(ENTRIES.c.bench, ENTRIES.c.seq)
        with self._transaction("read") as connection:
            return [_row(found) for found in connection.execute(wanted)]

    def of_kind(self, *kinds: str) -> Iterator[Row]:
        """Give the entries of these kinds, of all jobs, by bench and number."""
        wanted = sa.select(ENTRIES).where(ENTRIES.c.kind.in_(kinds)).order_by(ENTRIES.c.bench, ENTRIES.c.seq)
        with self._transaction("read") as connection:
            rows = [_row(found) for found in connection.execute(wanted)]
        yield from rows

    def saying(
        self, kind: str, place: str, word: str, bench: str | None = None, after: int = 0, exact: bool = False
    ) -> list[Row]:
        """Give the entries of a kind that say `word` at a place in their bodies, by bench and number.

        Compared as `rows.plain` has it, unless it is to be exact. Of all benches, or of one and of those the entries
        after a number. Quick for the places that `schema.INDEXED` names: what stands there is read from the index, and
        only the entries that say the word are.
        """
        server = is_server(self.where)
        of_kind = sa.text(f"kind = '{kind}'")  # written out, as in the index
        here: sa.ColumnElement[str] = sa.literal_column(sought(place, server))
        wanted = sa.select(ENTRIES).where(of_kind, ENTRIES.c.seq > after).order_by(ENTRIES.c.bench, ENTRIES.c.seq)
        if exact:
            wanted = wanted.where(here == sa.func.lower(sa.func.trim(word)))
            wanted = wanted.where(sa.literal_column(place_in_body(place, server)) == word)
        if bench is not None:
            wanted = wanted.where(ENTRIES.c.bench == bench)
        with self._transaction("read") as connection:
            if not exact:
                said = connection.scalars(sa.text(different(kind, place, server)))
                like = [each for each in map(_text, said) if plain(readable(each)) == plain(word)]
                wanted = wanted.where(here.in_(like)) if like else wanted.where(sa.false())
            return [_row(found) for found in connection.execute(wanted)]

    def said(self, kind: str, places: Sequence[str], jobs: Sequence[str] | None = None) -> list[Said]:
        """Give what stands at places in the bodies of a kind's entries, of some jobs or of all, by bench and number."""
        columns: list[sa.ColumnElement[Any]] = [
            sa.literal_column(place_in_body(place, is_server(self.where))) for place in places
        ]
        wanted = sa.select(ENTRIES.c.bench, ENTRIES.c.seq, ENTRIES.c.job, ENTRIES.c.names, *columns)
        wanted = wanted.where(ENTRIES.c.kind == kind)
        found = []
        with self._transaction("read") as connection:
            names = self._names(connection)
            for each in _of_jobs(connection, wanted, names, jobs):
                bench, job = readable(_text(each[0])), readable(_text(each[2]))
                told = tuple("" if text is None else readable(_text(text)) for text in each[4:])
                found.append(Said(bench, each.seq, names.of(bench, job), _text(each.names), told))
        some = None if jobs is None else set(jobs)
        return sorted(each for each in found if some is None or each.job in some)

    def jobs(self, some: Sequence[str] | None = None) -> dict[str, int]:
        """Give every job's name, or those of some, with the number of its entries, in the order of the names.

        What was filed under no job, as a scale's check, is not counted here.
        """
        columns = ENTRIES.c.bench, ENTRIES.c.job
        counted = sa.select(*columns, sa.func.count()).where(ENTRIES.c.job != "").group_by(*columns)
        counts: Counter[str] = Counter()
        with self._transaction("read") as connection:
            names = self._names(connection)
            for each in _of_jobs(connection, counted, names, some):
                counts[names.of(readable(_text(each.bench)), readable(_text(each.job)))] += each[2]
        return {job: counts[job] for job in sorted(counts) if some is None or job in some}

    def job_names(self) -> JobNames:
        """Give what the jobs here are called."""
        with self._transaction("read") as connection:
            return self._names(connection)

    def _names(self, connection: Connection, *ids: str) -> JobNames:
        """Give what the jobs with these IDs are called, or all: an ID is shared where several benches opened it."""
        first, last = (connection.scalar(sa.select(end(ENTRIES.c.bench))) for end in (sa.func.min, sa.func.max))
        if first == last:  # one chain
            return JobNames({}, self.bench)
        opened = sa.select(ENTRIES.c.job).where(ENTRIES.c.kind == "job-opened")
        if ids:
            opened = opened.where(ENTRIES.c.job.in_(list(map(_exact, ids))))
        twice = opened.group_by(ENTRIES.c.job).having(sa.func.count() > 1)
        by = sa.select(ENTRIES.c.job, ENTRIES.c.bench).where(ENTRIES.c.kind == "job-opened", ENTRIES.c.job.in_(twice))
        benches: dict[str, list[str]] = {}
        for job, bench in connection.execute(by.distinct().order_by(ENTRIES.c.job, ENTRIES.c.bench)):
            benches.setdefault(readable(_text(job)), []).append(readable(_text(bench)))
        return JobNames({job: each for job, each in benches.items() if len(each) > 1}, self.bench)

    def count(self) -> int:
        """Give the number of all entries."""
        with self._transaction("read") as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(ENTRIES)) or 0

    def new_job_id(self, year: int, mark: str = "") -> str:
        """Give the first ID of that year that no job has: 26-0001, or 26-B0001 at a bench with a mark.

        It is taken when an entry bears it.
        """
        ids = sa.select(ENTRIES.c.job).where(ENTRIES.c.job.startswith(f"{year % 100:02d}-")).distinct()
        with self._transaction("read") as connection:
            return new_id(map(_text, connection.scalars(ids)), year, mark)

    def trace(self, trace_hash: str) -> Trace:
        """Give a stored trace. Raises `ArchiveFault` where it is not here or not as it was recorded."""
        stored = self.stored_traces.get(trace_hash)
        if stored is None:
            raise ArchiveFault(f"{self.path}: the trace {trace_hash} is missing")
        if wrong := stored.what_is_wrong():
            raise ArchiveFault(f"{self.path}: the trace {trace_hash}: {wrong}")
        return Trace.unpack(stored.unpacked())

    @property
    def stored_traces(self) -> Mapping[str, StoredTrace]:
        """Give the stored traces by the hash they are kept under, each read when it is asked for."""
        return _StoredTraces(self)

    def unsound(self) -> list[str]:
        """Say what is wrong with the file itself, its pages and indexes."""
        with self._transaction("read") as connection:
            return self._store.unsound(connection)

    def unguarded(self) -> list[str]:
        """Name the guards against altering that somebody took away."""
        with self._transaction("read") as connection:
            missing = self._store.unguarded(connection)
        return [f"the guard {name!r} against altering was taken away or altered" for name in missing]

    def backup(self, file: str | Path) -> dict[str, Link]:
        """Copy the archive as it stands to a new file, also while it is written; give the heads of the copy.

        The copy of an archive on a server is a file as well.
        """
        target = Path(file)
        if target.exists():
            raise ArchiveFault(f"{target}: is there already; name a file that is not")
        if not target.parent.is_dir():
            raise ArchiveFault(f"{target}: there is no folder {target.parent}; make it first")
        part = target.with_name(f".{target.name}.part")
        part.unlink(missing_ok=True)  # of a backup that was killed
        try:
            if isinstance(self._store, FileStore):
                with self._lock, told(target):
                    self._store.copy(part)
            else:
                self._copy_rows(part)
            with Archive.open(part) as whole:
                heads = whole.heads()
            part.rename(target)
        finally:
            part.unlink(missing_ok=True)
        return heads

    def _copy_rows(self, part: Path) -> None:
        """Write everything to a new file, as it stands at one moment."""
        with self._transaction("copy") as connection, Archive.open(part, bench="copy", create=True) as copy:

            def everything() -> Iterator[Row | StoredTrace]:
                key = (ENTRIES.c.bench, ENTRIES.c.seq)
                yield from map(_row, connection.execute(sa.select(ENTRIES).order_by(*key)))
                yield from map(_stored, connection.execute(sa.select(TRACES)))

            copy.take_back(everything())

    @contextmanager
    def _transaction(self, purpose: Purpose) -> Iterator[Connection]:
        with self._lock:
            if self._closed:
                raise ArchiveFault(f"{self.path}: is closed")
            with self._store.transaction(purpose) as connection:
                yield connection

    @staticmethod
    def _head(connection: Connection, bench: str) -> Link | None:
        of_bench = sa.select(ENTRIES).where(ENTRIES.c.bench == _exact(bench)).order_by(ENTRIES.c.seq.desc()).limit(1)
        found = connection.execute(of_bench).first()
        return _row(found).link if found else None

    @staticmethod
    def _benches(connection: Connection) -> list[str]:
        benches = connection.scalars(sa.select(ENTRIES.c.bench).distinct().order_by(ENTRIES.c.bench))
        return list(map(_text, benches))

    @staticmethod
    def _has_trace(connection: Connection, trace_hash: str) -> bool:
        return connection.scalar(_TRACE_IS_HERE, {"hash": trace_hash}) is not None


class _StoredTraces(Mapping[str, StoredTrace]):
    def __init__(self, archive: Archive) -> None:
        self._archive = archive

    def __getitem__(self, trace_hash: str) -> StoredTrace:
        with self._archive._transaction("read") as connection:
            if trace_hash.isascii():
                found = connection.execute(_TRACE, {"hash": trace_hash}).first()
            else:
                found = connection.execute(sa.select(TRACES).where(TRACES.c.hash == _exact(trace_hash))).first()
        if found is None:
            raise KeyError(trace_hash)
        return _stored(found)

    def __iter__(self) -> Iterator[str]:
        with self._archive._transaction("read") as connection:
            hashes = list(connection.scalars(sa.select(TRACES.c.hash).order_by(TRACES.c.hash)))
        yield from map(_text, hashes)

    def __len__(self) -> int:
        with self._archive._transaction("read") as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(TRACES)) or 0


def key_beside(path: Path) -> Path | None:
    """Give the station's key file beside an archive, where there is one."""
    key = path.with_name(path.name + ".key")
    return key if key.exists() else None


def _of_jobs(
    connection: Connection, wanted: sa.Select[Any], names: JobNames, jobs: Sequence[str] | None
) -> Iterator[Any]:
    """Give what is wanted of the IDs that jobs have, or of all, in runs that one statement can name."""
    if jobs is None:
        yield from connection.execute(wanted)
        return
    ids = sorted({names.read(each)[0] for each in jobs})
    for first in range(0, len(ids), _BATCH):
        yield from connection.execute(wanted.where(ENTRIES.c.job.in_(ids[first : first + _BATCH])))


def _salt() -> str:
    return secrets.token_hex(16)


def _row(found: sa.Row[Any]) -> Row:
    seq = found.seq if isinstance(found.seq, int) else 0
    body = _text(found.body).encode("utf-8", "surrogateescape")
    job, kind, sealed = (_text(each) for each in (found.job, found.kind, found.hash))
    return Row(_text(found.bench), seq, job, kind, sealed, body, _text(found.names), _text(found.signature))


def _stored(found: sa.Row[Any]) -> StoredTrace:
    blob = found.blob if isinstance(found.blob, bytes) else b""
    return StoredTrace(_text(found.hash), blob, _text(found.blob_hash))


def _text(found: object) -> str:
    """Give what stands in a column of text; in a damaged file that may be anything, which `unsound` tells."""
    return found.decode("utf-8", "surrogateescape") if isinstance(found, bytes) else str(found)


def _exact(text: str) -> str | sa.Cast[str]:
    """Give text to compare with what is stored, also where a flipped byte has left it no Unicode."""
    try:
        text.encode()
    except UnicodeEncodeError:
        raw = sa.literal(text.encode("utf-8", "surrogateescape"), sa.LargeBinary)
        return sa.cast(raw, sa.Text)
    return text
