"""The archive: one file that takes entries and traces, seals them, and never lets go of one.

* `append` returns when the entry and its traces lie on the disk (one transaction, write-ahead log, full sync).
* Nothing is altered or taken out: triggers refuse it, and refuse an entry out of number.
* One program writes at a time; any number read meanwhile. A reader opens read-only, never creates a file, and leaves
  none behind.
* What goes wrong is an `ArchiveFault` that says what was found and what to do. After one, nothing of the entry that
  was being written is in the archive.

The schema, layout 2, is fit for several benches: (bench, seq) numbers an entry. `entries(bench, seq, job, kind, hash,
body, names, signature)`, where job and kind repeat the body's; `traces(hash, blob, blob_hash)` (see
`station.records.rows`). Hashes and bodies are text, so that any tool for such files shows them. The file says who made
it (application id "FIDB") and in which layout (user version). Layout 1 had neither names nor signatures: such a file is
read as it is, and taken to layout 2, all at once, when a bench opens it to write.

A bench whose station has a key (a file beside the archive, its name and `.key`; see `signatures`) signs each entry.

>>> from tempfile import TemporaryDirectory
>>> from station.records.entries import Checked
>>> with TemporaryDirectory() as folder, Archive.open(f"{folder}/archive.sqlite", bench="Bench 1", create=True) as ours:
...     link = ours.append(Checked(job="26-0001", check="no twist"), at="2026-03-04T05:06:07.000000Z")
...     link.seq, ours.head().hash == link.hash, [row.entry.check for row in ours.entries("26-0001")]
(1, True, ['no twist'])
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import StaticPool

from station.measuring.trace import Trace
from station.records import chain, names
from station.records.chain import FIRST_PREV, Link
from station.records.entries import Entry, body_of
from station.records.rows import ArchiveFault, Row, StoredTrace, readable
from station.records.signatures import Signer
from station.records.sqlite_file import SqliteFile, open_to_read, open_to_write, path_of, told

__all__ = ["Archive", "ArchiveFault"]

APPLICATION_ID = int.from_bytes(b"FIDB", "big")
LAYOUT = 2
_BATCH = 500

_metadata = sa.MetaData()
_entries = sa.Table(
    "entries",
    _metadata,
    sa.Column("bench", sa.Text, primary_key=True),
    sa.Column("seq", sa.Integer().with_variant(sa.BigInteger(), "postgresql"), primary_key=True, autoincrement=False),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("names", sa.Text, nullable=False, server_default=names.NONE),
    sa.Column("signature", sa.Text, nullable=False, server_default=""),
    sa.Index("entries_of_a_job", "job", "bench", "seq"),
    sqlite_strict=True,
)
_traces = sa.Table(
    "traces",
    _metadata,
    sa.Column("hash", sa.Text, primary_key=True),
    sa.Column("blob", sa.LargeBinary, nullable=False),
    sa.Column("blob_hash", sa.Text, nullable=False),
    sqlite_strict=True,
)
# Made once, for they are asked for every hold.
_TRACE = sa.select(_traces).where(_traces.c.hash == sa.bindparam("hash"))
_TRACE_IS_HERE = sa.select(sa.literal(1)).where(_traces.c.hash == sa.bindparam("hash"))
# From each older layout to the next, and how a file of that layout is read as it is.
_MIGRATIONS = {
    1: (
        "ALTER TABLE entries ADD COLUMN names TEXT NOT NULL DEFAULT '{}'",
        "ALTER TABLE entries ADD COLUMN signature TEXT NOT NULL DEFAULT ''",
    ),
}
_READ_AS_IT_IS = {1: "CREATE TEMP VIEW entries AS SELECT *, '{}' AS names, '' AS signature FROM main.entries"}
# REPLACE deletes without asking unless recursive_triggers is on, so numbering is held on the way in as well.
_TRIGGERS = {
    "entries_in_number": """BEFORE INSERT ON entries
        WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entries WHERE bench = NEW.bench)
        BEGIN SELECT RAISE(ABORT, 'entries are numbered without holes'); END""",
    "entries_unaltered": """BEFORE UPDATE ON entries
        BEGIN SELECT RAISE(ABORT, 'an entry is never altered; a correction is a new entry'); END""",
    "entries_kept": """BEFORE DELETE ON entries
        BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END""",
    "traces_once": """BEFORE INSERT ON traces WHEN EXISTS (SELECT 1 FROM traces WHERE hash = NEW.hash)
        BEGIN SELECT RAISE(ABORT, 'a trace is stored once'); END""",
    "traces_unaltered": """BEFORE UPDATE ON traces
        BEGIN SELECT RAISE(ABORT, 'a trace is never altered'); END""",
    "traces_kept": """BEFORE DELETE ON traces
        BEGIN SELECT RAISE(ABORT, 'a trace is never taken out'); END""",
}


class Archive:
    """An open archive. Made by `Archive.open`; use it in a `with`, or `close` it. Safe to use from several threads."""

    def __init__(self, file: SqliteFile, bench: str | None, signer: Signer | None = None) -> None:
        self.path = file.path
        self.bench = bench
        self.signer = signer
        self._file = file
        self._lock = threading.RLock()
        self._connection = _engine(file.connection).connect()

    @classmethod
    def open(
        cls, where: str | Path, bench: str | None = None, create: bool = False, key: Path | None = None
    ) -> Archive:
        """Open the archive at a path or sqlite:/// URL: to write as `bench`, or, without one, to read.

        `create` makes the file where there is none. `key` is the station's key file; the one beside the archive
        unless given. Raises `ArchiveFault` where the archive is missing, locked, read-only, of a newer layout, or not
        one of this program, and `KeyFault` where a key cannot be used.
        """
        path = path_of(where)
        if bench is None:
            file = open_to_read(path)
            try:
                with told(path):
                    layout = _must_be_ours(path, file.connection)
                    if layout in _READ_AS_IT_IS:
                        file.connection.execute(_READ_AS_IT_IS[layout])
            except BaseException:
                file.close()
                raise
            return cls(file, None)
        if not bench:
            raise ArchiveFault(f"{path}: found no name of a bench; every entry belongs to one")
        if not (create and _holds_nothing(path)):
            cls.open(path).close()  # a file that is not ours is not touched
        key = key_beside(path) if key is None else key
        signer = Signer.load(key) if key else None
        file = open_to_write(path, create)
        try:
            with told(path):
                _write_schema(file.connection)
        except BaseException:
            file.close()
            raise
        return cls(file, bench, signer)

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; nothing is lost by not calling this."""
        with self._lock:
            self._connection.close()
            self._file.close()

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
            link = chain.seal(prev, self.bench, seq, at, facts, self.signer.public if self.signer else None)
            for trace in stored:
                if not self._has_trace(connection, trace.hash):
                    values = {"hash": trace.hash, "blob": trace.blob, "blob_hash": trace.blob_hash}
                    connection.execute(sa.insert(_traces).values(values))
            named = facts.get("trace")
            if isinstance(named, str) and not self._has_trace(connection, named):
                raise ValueError(f"an entry names the trace {named}, which was not handed in")
            connection.execute(
                sa.insert(_entries).values(
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
        """Give every entry as it stands, of one job or of all, by bench and number."""
        key = sa.tuple_(_entries.c.bench, _entries.c.seq)
        wanted = sa.select(_entries).order_by(_entries.c.bench, _entries.c.seq).limit(_BATCH)
        if job is not None:
            wanted = wanted.where(_entries.c.job == job)
        after: tuple[str, int] | None = None
        while True:
            batch = wanted if after is None else wanted.where(key > sa.tuple_(_exact(after[0]), after[1]))
            with self._transaction("read") as connection:
                rows = [_row(found) for found in connection.execute(batch)]
            yield from rows
            if len(rows) < _BATCH:
                return
            after = (rows[-1].bench, rows[-1].seq)

    def of_kind(self, *kinds: str) -> Iterator[Row]:
        """Give the entries of these kinds, of all jobs, by bench and number."""
        wanted = sa.select(_entries).where(_entries.c.kind.in_(kinds)).order_by(_entries.c.bench, _entries.c.seq)
        with self._transaction("read") as connection:
            rows = [_row(found) for found in connection.execute(wanted)]
        yield from rows

    def jobs(self) -> dict[str, int]:
        """Give every job's ID with the number of its entries, in the order in which the IDs sort.

        What was filed under no job, as a scale's check, is not counted here.
        """
        counted = sa.select(_entries.c.job, sa.func.count()).where(_entries.c.job != "").group_by(_entries.c.job)
        counted = counted.order_by(_entries.c.job)
        with self._transaction("read") as connection:
            return {readable(_text(job)): count for job, count in connection.execute(counted)}

    def count(self) -> int:
        """Give the number of all entries."""
        with self._transaction("read") as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(_entries)) or 0

    def new_job_id(self, year: int) -> str:
        """Give the first ID of that year that no job has: 26-0001, 26-0002. It is taken when an entry bears it."""
        begins = f"{year % 100:02d}-"
        taken = [job[len(begins) :] for job in self.jobs() if job.startswith(begins)]
        numbers = [int(number) for number in taken if number.isascii() and number.isdigit()]
        return f"{begins}{max(numbers, default=0) + 1:04d}"

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
            told = connection.exec_driver_sql("PRAGMA integrity_check")
            return [f"the file is damaged: {readable(str(what))}" for (what,) in told if what != "ok"]

    def unguarded(self) -> list[str]:
        """Name the guards against altering that somebody took away."""
        with self._transaction("read") as connection:
            there = {name for (name,) in connection.exec_driver_sql("SELECT name FROM sqlite_master")}
        return [f"the guard {name!r} against altering was taken away" for name in _TRIGGERS if name not in there]

    def backup(self, file: str | Path) -> dict[str, Link]:
        """Copy the archive as it stands to a new file, also while it is written; give the heads of the copy."""
        target = Path(file)
        if target.exists():
            raise ArchiveFault(f"{target}: is there already; name a file that is not")
        if not target.parent.is_dir():
            raise ArchiveFault(f"{target}: there is no folder {target.parent}; make it first")
        part = target.with_name(f".{target.name}.part")
        try:
            with self._lock, told(target):
                copy = sqlite3.connect(part)
                try:
                    self._file.connection.backup(copy)
                finally:
                    copy.close()
                self._file.must_be_unchanged()
            with Archive.open(part) as whole:
                heads = whole.heads()
            with part.open("rb") as written:
                os.fsync(written.fileno())
            part.rename(target)
        finally:
            part.unlink(missing_ok=True)
        return heads

    @contextmanager
    def _transaction(self, purpose: str) -> Iterator[Connection]:
        with self._lock:
            if self._connection.closed:
                raise ArchiveFault(f"{self.path}: is closed")
            with told(self.path, self._file.must_be_unchanged):
                self._connection.info["begin"] = "BEGIN IMMEDIATE" if purpose == "write" else "BEGIN"
                with self._connection.begin():
                    yield self._connection
            self._file.must_be_unchanged()

    @staticmethod
    def _head(connection: Connection, bench: str) -> Link | None:
        of_bench = sa.select(_entries).where(_entries.c.bench == _exact(bench)).order_by(_entries.c.seq.desc()).limit(1)
        found = connection.execute(of_bench).first()
        return _row(found).link if found else None

    @staticmethod
    def _benches(connection: Connection) -> list[str]:
        benches = connection.scalars(sa.select(_entries.c.bench).distinct().order_by(_entries.c.bench))
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
                found = connection.execute(sa.select(_traces).where(_traces.c.hash == _exact(trace_hash))).first()
        if found is None:
            raise KeyError(trace_hash)
        blob = found.blob if isinstance(found.blob, bytes) else b""
        return StoredTrace(_text(found.hash), blob, _text(found.blob_hash))

    def __iter__(self) -> Iterator[str]:
        with self._archive._transaction("read") as connection:
            hashes = list(connection.scalars(sa.select(_traces.c.hash).order_by(_traces.c.hash)))
        yield from map(_text, hashes)

    def __len__(self) -> int:
        with self._archive._transaction("read") as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(_traces)) or 0


def _holds_nothing(path: Path) -> bool:
    """Tell whether a file is not there, or is one whose making was cut short before anything was in it."""
    if not path.exists() or (path.is_file() and path.stat().st_size == 0):
        return True
    file = open_to_read(path)
    try:
        with told(path):
            return _identity(file.connection) == (0, 0, 0)
    finally:
        file.close()


def _identity(connection: sqlite3.Connection) -> tuple[int, int, int]:
    """Give whose file this is, its layout, and how many tables it holds."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (layout,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return application, layout, tables


def key_beside(path: Path) -> Path | None:
    """Give the station's key file beside an archive, where there is one."""
    key = path.with_name(path.name + ".key")
    return key if key.exists() else None


def _salt() -> str:
    return secrets.token_hex(16)


def _must_be_ours(path: Path, connection: sqlite3.Connection) -> int:
    """Give the layout of a file of this program; raise `ArchiveFault` for any other."""
    application, layout, tables = _identity(connection)
    if (application, layout, tables) == (0, 0, 0):
        raise ArchiveFault(f"{path}: holds nothing yet; name an archive that a bench has written to")
    if application != APPLICATION_ID:
        raise ArchiveFault(f"{path}: is not an archive of this program; name the archive's file")
    if layout > LAYOUT:
        raise ArchiveFault(
            f"{path}: is an archive of layout {layout}, and this program knows layouts up to {LAYOUT}; "
            f"it was written by a newer fidbench: use that one"
        )
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if missing := {_entries.name, _traces.name} - there:
        raise ArchiveFault(f"{path}: the file is damaged: its table {min(missing)} is gone; go back to a backup")
    return layout


def _write_schema(connection: sqlite3.Connection) -> None:
    """Make what is not there yet, guards that were taken away included, all or nothing."""
    tables = _metadata.sorted_tables
    made: list[sa.schema.ExecutableDDLElement] = [sa.schema.CreateTable(each, if_not_exists=True) for each in tables]
    made += [sa.schema.CreateIndex(index, if_not_exists=True) for each in tables for index in each.indexes]
    connection.execute("BEGIN IMMEDIATE")
    try:
        (layout,) = connection.execute("PRAGMA user_version").fetchone()
        for older in range(layout or LAYOUT, LAYOUT):
            for statement in _MIGRATIONS[older]:
                connection.execute(statement)
        for statement in made:
            connection.execute(str(statement.compile(dialect=sqlite.dialect())))
        for name, trigger in _TRIGGERS.items():
            connection.execute(f"CREATE TRIGGER IF NOT EXISTS {name} {trigger}")
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version={LAYOUT}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _engine(connection: sqlite3.Connection) -> Engine:
    """Give SQLAlchemy the one connection; transactions begin where we say, not where the driver guesses."""
    engine = sa.create_engine("sqlite://", creator=lambda: connection, poolclass=StaticPool)

    @sa.event.listens_for(engine, "begin")
    def begin(begun: Connection) -> None:
        begun.exec_driver_sql(begun.info.get("begin", "BEGIN"))

    return engine


def _row(found: sa.Row[Any]) -> Row:
    seq = found.seq if isinstance(found.seq, int) else 0
    body = _text(found.body).encode("utf-8", "surrogateescape")
    columns = (_text(each) for each in (found.job, found.kind, found.hash))
    return Row(_text(found.bench), seq, *columns, body, _text(found.names), _text(found.signature))


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
