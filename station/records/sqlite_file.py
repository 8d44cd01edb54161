"""The file under an archive: opened to read without a trace, or to write as the only one, with its faults in words.

Reading leaves the folder as it was. SQLite itself does not promise that for a file with a write-ahead log, so:

* no log beside the file: nobody writes; it is read as immutable, and refused when it turns out to have been written
  to after all;
* a log with its index: a program writes, or was killed; it is read beside that program;
* a log without its index, or in a folder where none can be made: both are copied to a temporary folder and read there.

Writing takes a name that the system gives to one program at a time and takes back when the program dies, however it
dies (Linux, within one network namespace; elsewhere, untested, two writers are kept apart by SQLite alone).
"""

from __future__ import annotations

import os
import shutil
import socket
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from sqlalchemy.exc import DBAPIError

from station.records.rows import ArchiveFault

OLDEST_SQLITE = (3, 37, 0)  # the first with STRICT tables
BUSY_S = 2.0

_IN_USE = "is in use by another program; close the bench window or the command that has it, and try again"
_WHAT_TO_DO: dict[int, str] = {
    sqlite3.SQLITE_BUSY: _IN_USE,
    sqlite3.SQLITE_LOCKED: _IN_USE,
    sqlite3.SQLITE_READONLY: "cannot be written to: the file or its folder is read-only; give yourself the right to "
    "write there, or name an archive elsewhere",
    sqlite3.SQLITE_PERM: "may not be opened; give yourself the right to, or name an archive elsewhere",
    sqlite3.SQLITE_FULL: "the disk is full; nothing of what was being written was kept, and all before it was; "
    "make room and do it again",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; see whether you may read it, and write in its folder",
    sqlite3.SQLITE_NOTADB: "is not an archive of this program; name the archive's file",
    sqlite3.SQLITE_CORRUPT: "the file is damaged; keep it as it is, and go back to a backup",
    sqlite3.SQLITE_IOERR: "the disk failed while it was read or written; see to the disk, and do not trust what was "
    "being written",
}


@contextmanager
def told(path: Path, first: Callable[[], None] = lambda: None) -> Iterator[None]:
    """Turn what SQLite raises into an `ArchiveFault`; `first` is asked before, and may know better."""
    try:
        yield
    except UnicodeDecodeError as fault:  # SQLite's own message quotes a schema that is no text any more
        raise ArchiveFault(f"{path}: {_WHAT_TO_DO[sqlite3.SQLITE_CORRUPT]}") from fault
    except (sqlite3.Error, DBAPIError) as fault:
        first()
        cause = fault.orig if isinstance(fault, DBAPIError) else fault
        code = getattr(cause, "sqlite_errorcode", None) or 0
        what = _WHAT_TO_DO.get(code & 0xFF, f"SQLite refuses ({cause}); keep the file, and go back to a backup")
        raise ArchiveFault(f"{path}: {what}") from fault


@dataclass
class SqliteFile:
    """An open file. `close` gives back all that opening took."""

    path: Path
    connection: sqlite3.Connection
    _taken: ExitStack = field(repr=False)
    _stamp: tuple[int, int] | None = None

    def must_be_unchanged(self) -> None:
        """Refuse what was read from a file taken for unwritten, where it was written to after all."""
        if self._stamp is not None and self._stamp != _stamp(self.path):
            raise ArchiveFault(f"{self.path}: was written to while it was read; do it again")

    def close(self) -> None:
        """Close the connection, and take away what was made to open it."""
        self._taken.close()


def path_of(where: str | Path) -> Path:
    """Give the path an archive's name stands for: a path, or a sqlite:/// URL. Raises `ArchiveFault` for others."""
    text = str(where)
    scheme, _, rest = text.partition("://")
    if "://" in text and not (scheme == "sqlite" and len(rest) > 1 and rest.startswith("/")):
        raise ArchiveFault(
            f"{scheme}://...: found no archive in it, expected a path, sqlite:///FILE, or postgresql+psycopg://..."
        )
    path = Path(rest[1:] if "://" in text else text)
    if not path.name:  # empty, or a folder's own name
        raise ArchiveFault(f"found {text!r} for an archive, expected the name of its file, or sqlite:///FILE")
    return path


def open_to_read(path: Path) -> SqliteFile:
    """Open a file that is there, read-only, leaving the folder as it is."""
    _must_be_file(path)
    with ExitStack() as stack, told(path):
        log, index = (path.with_name(path.name + end) for end in ("-wal", "-shm"))
        stamp = None
        if not log.exists() or log.stat().st_size == 0:
            stamp = _stamp(path)
            uri = _uri(path, "mode=ro&immutable=1")
        elif index.exists():
            uri = _uri(path, "mode=ro")
        else:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="fidbench-")))
            for each in (path, log):
                shutil.copyfile(each, folder / each.name)
            uri = _uri(folder / path.name, "mode=rw")
        connection = stack.enter_context(closing(_connect(uri)))
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()  # opening reads nothing yet
        return SqliteFile(path, connection, stack.pop_all(), stamp)


def open_to_write(path: Path) -> SqliteFile:
    """Open a file as its only writer, to keep what is committed through a loss of power."""
    _must_be_file(path)
    with ExitStack() as stack, told(path):
        connection = stack.enter_context(closing(_connect(_uri(path, "mode=rw"))))
        stack.enter_context(_only_writer(path))
        mode = connection.execute("PRAGMA journal_mode=WAL").fetchone()[0]
        if mode != "wal":
            raise ArchiveFault(
                f"{path}: no write-ahead log can be kept there, as on a network share; put the archive on a local disk"
            )
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA recursive_triggers=ON")
        connection.execute("BEGIN IMMEDIATE")  # a file that is read-only or in use is found out now
        connection.execute("ROLLBACK")
        return SqliteFile(path, connection, stack.pop_all())


def _connect(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, timeout=BUSY_S, uri=True, isolation_level=None, check_same_thread=False)
    # A flipped byte can leave text that is no UTF-8; it is to be found by its hash, not to stop the reading.
    connection.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    return connection


def _uri(path: Path, how: str) -> str:
    return f"file:{quote(os.fspath(path.absolute()))}?{how}"


def _stamp(path: Path) -> tuple[int, int]:
    about = path.stat()
    return about.st_mtime_ns, about.st_size


def _must_be_file(path: Path) -> None:
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise ArchiveFault(f"{path}: found SQLite {sqlite3.sqlite_version}, expected 3.37 or later; update it")
    if not path.exists():
        raise ArchiveFault(f"{path}: there is no archive here; see whether the name is right")
    if not path.is_file():
        raise ArchiveFault(f"{path}: is not a file; name the archive's file")
    if not os.access(path, os.R_OK):
        raise ArchiveFault(f"{path}: may not be read; give yourself the right to")


@contextmanager
def _only_writer(path: Path) -> Iterator[None]:
    if sys.platform != "linux":
        yield
        return
    about = path.stat()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as name:
        try:
            name.bind(f"\0fidbench archive {about.st_dev}:{about.st_ino}")
        except OSError:
            raise ArchiveFault(f"{path}: {_IN_USE}") from None
        yield
