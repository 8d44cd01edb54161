"""An archive's tables in one file (SQLite): whose file it is, its layout, its guards, and one connection to it."""

from __future__ import annotations

import glob
import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import Connection, Engine
from sqlalchemy.pool import StaticPool

from station.records.rows import ArchiveFault, readable
from station.records.schema import ENTRIES, GUARDS, LAYOUT, METADATA, MIGRATIONS, READ_AS_IT_IS, TRACES, indexes
from station.records.sqlite_file import SqliteFile, open_to_read, open_to_write, told
from station.records.store import Purpose

_KEEP_TRACE = sa.insert(TRACES)
_TRIGGERS = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"

APPLICATION_ID = int.from_bytes(b"FIDB", "big")


class FileStore:
    """An open file; see `store.Store`. Made by `to_read` or `to_write`."""

    def __init__(self, file: SqliteFile) -> None:
        self.name = str(file.path)
        self.where = self.name
        self._file = file
        self._connection = _engine(file.connection).connect()

    @classmethod
    def to_read(cls, path: Path) -> FileStore:
        """Open an archive's file to read, in the layout it has."""
        file = open_to_read(path)
        try:
            with told(path):
                layout = _must_be_ours(path, file.connection)
                if layout in READ_AS_IT_IS:
                    file.connection.execute(READ_AS_IT_IS[layout])
        except BaseException:
            file.close()
            raise
        return cls(file)

    @classmethod
    def to_write(cls, path: Path, create: bool) -> FileStore:
        """Open an archive's file as its only writer, in the layout of this program."""
        _clear_away(path)
        if create and not path.exists():
            _make(path)
        cls.to_read(path).close()  # a file that is not ours is not touched
        file = open_to_write(path)
        try:
            with told(path):
                _write_schema(file.connection)
        except BaseException:
            file.close()
            raise
        return cls(file)

    @contextmanager
    def transaction(self, purpose: Purpose) -> Iterator[Connection]:
        """Begin a transaction; refuse what was read from a file that was written to meanwhile."""
        with told(self._file.path, self._file.must_be_unchanged):
            self._connection.info["begin"] = "BEGIN IMMEDIATE" if purpose == "write" else "BEGIN"
            with self._connection.begin():
                yield self._connection
        self._file.must_be_unchanged()

    def keep_trace(self, connection: Connection, values: Mapping[str, Any]) -> None:
        """Keep a trace; nobody else writes meanwhile."""
        connection.execute(_KEEP_TRACE, values)

    def opening(self, connection: Connection, job: str) -> None:
        """Do nothing: nobody else writes meanwhile."""

    def unsound(self, connection: Connection) -> list[str]:
        """Say what is wrong with the file itself, its pages and indexes."""
        found = connection.exec_driver_sql("PRAGMA integrity_check")
        return [f"the file is damaged: {readable(str(what))}" for (what,) in found if what != "ok"]

    def unguarded(self, connection: Connection) -> list[str]:
        """Name the guards against altering that somebody took away or altered."""
        return _missing_guards({each.name: each.sql for each in connection.exec_driver_sql(_TRIGGERS)})

    def copy(self, part: Path) -> None:
        """Copy the file as it stands to another, also while it is written, onto the disk."""
        copy = sqlite3.connect(part)
        try:
            self._file.connection.backup(copy)
        finally:
            copy.close()
        self._file.must_be_unchanged()
        with part.open("rb") as written:
            os.fsync(written.fileno())

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()
        self._file.close()


def _clear_away(path: Path) -> None:
    """Take away what programs left that were killed while they made this archive: beginnings, or its second name."""
    for part in path.parent.glob(f".{glob.escape(path.name)}.*.part*"):
        maker = part.name.removeprefix(f".{path.name}.").partition(".")[0]
        if maker.isdecimal() and Path("/proc/self").exists() and not Path("/proc", maker).exists():
            with suppress(OSError):  # of another user, or on a disk that may not be written: it harms nobody
                part.unlink()


def _make(path: Path) -> None:
    """Make a new archive's file: whole at once under its name, or not at all, however the program ends meanwhile."""
    if not path.parent.is_dir():
        raise ArchiveFault(f"{path}: there is no folder {path.parent}; make it first")
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with told(path):
            with closing(sqlite3.connect(part, isolation_level=None)) as connection:
                connection.execute("PRAGMA synchronous=FULL")
                _write_schema(connection)
            try:
                os.link(part, path)
            except FileExistsError:
                pass  # somebody else made it meanwhile
            except OSError:  # a disk without links
                part.rename(path)
    finally:
        with suppress(OSError):  # on a disk that may not be written there is none
            part.unlink()


def _identity(connection: sqlite3.Connection) -> tuple[int, int, int]:
    """Give whose file this is, its layout, and how many tables it holds."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (layout,) = connection.execute("PRAGMA user_version").fetchone()
    (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return application, layout, tables


def _must_be_ours(path: Path, connection: sqlite3.Connection) -> int:
    """Give the layout of a file of this program; raise `ArchiveFault` for any other."""
    application, layout, tables = _identity(connection)
    if (application, layout, tables) == (0, 0, 0):
        raise ArchiveFault(f"{path}: is empty, and so not an archive; name the archive's file, or a name not taken yet")
    if application != APPLICATION_ID:
        raise ArchiveFault(f"{path}: is not an archive of this program; name the archive's file")
    if layout > LAYOUT:
        raise ArchiveFault(
            f"{path}: is an archive of layout {layout}, and this program knows layouts up to {LAYOUT}; "
            f"it was written by a newer fidbench: use that one"
        )
    there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if missing := {ENTRIES.name, TRACES.name} - there:
        raise ArchiveFault(f"{path}: the file is damaged: its table {min(missing)} is gone; go back to a backup")
    return layout


def _write_schema(connection: sqlite3.Connection) -> None:
    """Make what is not there yet, guards that were taken away included, all or nothing."""
    tables = METADATA.sorted_tables
    made: list[sa.schema.ExecutableDDLElement] = [sa.schema.CreateTable(each, if_not_exists=True) for each in tables]
    made += [sa.schema.CreateIndex(index, if_not_exists=True) for each in tables for index in each.indexes]
    connection.execute("BEGIN IMMEDIATE")
    try:
        (layout,) = connection.execute("PRAGMA user_version").fetchone()
        for older in range(layout or LAYOUT, LAYOUT):
            for change in MIGRATIONS[older]:
                connection.execute(change)
        for statement in made:
            connection.execute(str(statement.compile(dialect=sqlite.dialect())))
        for index in indexes(server=False).values():
            connection.execute(index)
        for name in _missing_guards(dict(connection.execute(_TRIGGERS).fetchall())):
            connection.execute(f"DROP TRIGGER IF EXISTS {name}")
            connection.execute(f"CREATE TRIGGER {name} {GUARDS[name]}")
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version={LAYOUT}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _missing_guards(triggers: Mapping[str, str]) -> list[str]:
    """Name the guards that are not there as this program makes them, given the triggers that are."""
    return [name for name, guard in GUARDS.items() if triggers.get(name) != f"CREATE TRIGGER {name} {guard}"]


def _engine(connection: sqlite3.Connection) -> Engine:
    """Give SQLAlchemy the one connection; transactions begin where we say, not where the driver guesses."""
    engine = sa.create_engine("sqlite://", creator=lambda: connection, poolclass=StaticPool)

    @sa.event.listens_for(engine, "begin")
    def begin(begun: Connection) -> None:
        begun.exec_driver_sql(begun.info.get("begin", "BEGIN"))

    return engine
