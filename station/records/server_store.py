"""An archive's tables on a server (PostgreSQL), for several benches that write at once, each its own chain.

* A bench takes a lock of its name that the server gives to one program at a time, and takes back when the program or
  its connection dies, however it dies. Benches of other names do not wait for it.
* A commit returns when the entry lies on the server's disk, whatever the server's default is.
* A connection that was lost is opened anew by the next command, which takes the lock again or says who has it.

Needs the extra `postgres` (the library `psycopg`). Passwords belong into the user's own password file or the
environment, as the library has it, and are never shown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import insert
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.pool import NullPool

from station.records.rows import ArchiveFault
from station.records.schema import (
    ENTRIES,
    LAYOUT,
    METADATA,
    SERVER_FUNCTIONS,
    SERVER_GUARDS,
    SERVER_INDEXES,
    TRACES,
    indexes,
)
from station.records.store import Purpose

WAIT_S = 5
_MAKING = "SELECT pg_advisory_xact_lock(hashtextextended('fidbench makes its tables', 0))"
_OPENING = sa.text("SELECT pg_advisory_xact_lock(hashtextextended('fidbench opens the job ' || CAST(:job AS text), 0))")
_IS_OPENED = sa.text("SELECT 1 FROM entries WHERE kind = 'job-opened' AND job = :job LIMIT 1")
_KEEP_TRACE = insert(TRACES).on_conflict_do_nothing()  # another bench may keep the same one at this moment

_WHAT_TO_DO = {
    "08": "cannot be reached; see whether the server runs and its address is right, and do it again",
    "28": "does not let you in; see to the user's name and password",
    "3D": "there is no such database on the server; make it first, or see whether the name is right",
    "42501": "you have no right to do this there; ask who looks after the server",
    "25006": "cannot be written to: the server is read-only",
    "23505": "another bench did the same at this moment; nothing of it was kept here: do it again",
    "53100": "the server's disk is full; nothing of what was being written was kept, and all before it was; make room "
    "and do it again",
    "53": "the server has no room for this now; wait, and do it again",
    "57": "the server is being stopped, or stopped this; do it again when it runs",
    "XX001": "the server's files are damaged; keep them as they are, and go back to a backup",
}


class ServerStore:
    """An open archive on a server; see `store.Store`. Made by `open`."""

    def __init__(self, url: URL, bench: str | None) -> None:
        self.name = url.render_as_string(hide_password=True)
        self.where = url.render_as_string(hide_password=False)
        self._bench = bench
        self._engine = sa.create_engine(
            url,
            poolclass=NullPool,
            connect_args={"connect_timeout": WAIT_S, "application_name": f"fidbench {bench or 'reader'}"},
        )
        sa.event.listen(self._engine, "connect", self._set_up)

    @classmethod
    def open(cls, where: str, bench: str | None, create: bool) -> ServerStore:
        """Open the archive at a postgresql+psycopg:// URL; `create` makes its tables where there are none."""
        try:
            store = cls(make_url(where), bench)
        except ArgumentError:
            raise ArchiveFault("the archive: found no URL of a server, expected postgresql+psycopg://...") from None
        except ImportError:
            what = "a server needs the library psycopg, which is not installed here; pip install 'fidbench[postgres]'"
            raise ArchiveFault(f"{where.rpartition('@')[2]}: {what}") from None
        with store._told():
            store._connection = store._engine.connect()
        try:
            store._must_be_ours(create)
        except BaseException:
            store.close()
            raise
        return store

    _connection: Connection

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what the server raises into an `ArchiveFault`."""
        try:
            yield
        except DBAPIError as fault:
            state = getattr(fault.orig, "sqlstate", None) or "08"  # the library itself says none where nobody answers
            what = next((_WHAT_TO_DO[each] for each in (state, state[:2]) if each in _WHAT_TO_DO), None)
            said = str(fault.orig).strip().splitlines()
            raise ArchiveFault(
                f"{self.name}: {what or f'the server refuses ({said[0] if said else state})'}"
            ) from fault

    @contextmanager
    def transaction(self, purpose: Purpose) -> Iterator[Connection]:
        """Begin a transaction, on a new connection where the last one was lost."""
        with self._told():
            if self._connection.invalidated or self._connection.closed:
                self._connection.close()
                self._connection = self._engine.connect()
            with self._connection.begin():
                if purpose == "copy":
                    self._connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
                yield self._connection

    def keep_trace(self, connection: Connection, values: Mapping[str, Any]) -> None:
        """Keep a trace, unless another bench has kept the same one meanwhile."""
        connection.execute(_KEEP_TRACE, values)

    def opening(self, connection: Connection, job: str) -> None:
        """Let one bench at a time open a job of this ID, and refuse the second."""
        connection.execute(_OPENING, {"job": job})
        if connection.execute(_IS_OPENED, {"job": job}).first():
            raise ArchiveFault(f"{self.name}: {_WHAT_TO_DO['23505']}")

    def unsound(self, connection: Connection) -> list[str]:  # noqa: ARG002 -- the store's face
        """Say nothing: a server looks after its own files."""
        return []

    def unguarded(self, connection: Connection) -> list[str]:
        """Name the guards against altering that somebody took away or switched off."""
        there = connection.execute(
            sa.text(
                "SELECT tgname FROM pg_trigger WHERE tgenabled = 'O' "
                "AND tgrelid IN (CAST('entries' AS regclass), CAST('traces' AS regclass))"
            )
        )
        names = set(there.scalars())
        return [name for name in SERVER_GUARDS if name not in names]

    def close(self) -> None:
        """Let go of the connection, and with it of the bench's lock."""
        self._connection.close()
        self._engine.dispose()

    def _set_up(self, raw: Any, _: Any) -> None:
        """Set a new connection up, before anything else is done on it."""
        with raw.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
            cursor.execute("SET max_parallel_workers_per_gather = 0")  # see schema; older archives call it safe
            if self._bench is None:
                cursor.execute("SET default_transaction_read_only = on")
            else:
                cursor.execute("SELECT pg_try_advisory_lock(hashtextextended(%s, 0))", (f"fidbench {self._bench}",))
                if cursor.fetchone() != (True,):
                    raw.close()
                    what = f"the bench {self._bench!r} writes there already, from another program; close that one"
                    raise ArchiveFault(f"{self.name}: {what}")
        raw.commit()

    def _must_be_ours(self, create: bool) -> None:
        """Make what is not there yet, where that is asked for, and refuse what is not ours or newer."""
        with self._told(), self._connection.begin():
            layout = self._layout()
            if self._bench is not None and (create or layout is not None):
                self._connection.execute(sa.text(_MAKING))
                layout = self._layout()
                if layout is None and sa.inspect(self._connection).has_table(ENTRIES.name):
                    raise ArchiveFault(f"{self.name}: holds a table 'entries' of somebody else; name another database")
                # A bench that may add entries and nothing else opens what is whole, and makes nothing.
                if layout is None or layout < LAYOUT or (layout == LAYOUT and self._lacks()):
                    self._make()
                    layout = LAYOUT
        if layout is None:
            raise ArchiveFault(
                f"{self.name}: holds no archive yet; name one that a bench has written to, or gather one with --new"
            )
        if layout > LAYOUT:
            raise ArchiveFault(
                f"{self.name}: is an archive of layout {layout}, and this program knows layouts up to {LAYOUT}; "
                f"it was written by a newer fidbench: use that one"
            )

    def _lacks(self) -> bool:
        """Tell whether a guard is missing, or an index that this user may make; without one all is only slower."""
        if self.unguarded(self._connection):
            return True
        there = {index["name"] for index in sa.inspect(self._connection).get_indexes(ENTRIES.name)}
        if {*indexes(server=True), "job_opened_once_at_a_bench"} <= there:
            return False
        ours = "SELECT pg_has_role(relowner, 'USAGE') FROM pg_class WHERE oid = CAST('entries' AS regclass)"
        return bool(self._connection.scalar(sa.text(ours)))

    def _layout(self) -> int | None:
        if not sa.inspect(self._connection).has_table("fidbench_layout"):  # asked of the tables, not of a cache
            return None
        return int(self._connection.scalar(sa.text("SELECT max(layout) FROM fidbench_layout")) or 0)

    def _make(self) -> None:
        run = self._connection.exec_driver_sql
        run("CREATE TABLE IF NOT EXISTS fidbench_layout (layout integer NOT NULL)")
        METADATA.create_all(self._connection)
        for statement in (*SERVER_FUNCTIONS, *SERVER_INDEXES, *indexes(server=True).values()):
            run(statement)
        missing = self.unguarded(self._connection)
        for name in missing:
            table = "entries" if name.startswith("entries") else "traces"
            run(f"DROP TRIGGER IF EXISTS {name} ON {table}")
            run(f"CREATE TRIGGER {name} {SERVER_GUARDS[name]}")
        if self._layout() != LAYOUT:
            run(f"INSERT INTO fidbench_layout VALUES ({LAYOUT})")  # noqa: S608 -- our own number
