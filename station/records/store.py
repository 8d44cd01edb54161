"""What an archive asks of the place that keeps its tables: one connection, transactions, and faults in words."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, Literal, Protocol

from sqlalchemy.engine import Connection

Purpose = Literal["read", "write", "copy"]


class Store(Protocol):
    """An open place. `name` is what people are told it is called, `where` what it can be opened by again."""

    name: str
    where: str

    def transaction(self, purpose: Purpose) -> AbstractContextManager[Connection]:
        """Begin a transaction, kept as a whole or not at all; a copy sees everything as it stands at one moment.

        What the database raises becomes an `ArchiveFault`.
        """

    def keep_trace(self, connection: Connection, values: Mapping[str, Any]) -> None:
        """Keep a trace that was not here a moment ago."""

    def opening(self, connection: Connection, job: str) -> None:
        """See to it that no other bench opens a job of this ID at this moment. Raises `ArchiveFault` where one did."""

    def unsound(self, connection: Connection) -> list[str]:
        """Say what is wrong with the place itself."""

    def unguarded(self, connection: Connection) -> list[str]:
        """Name the guards against altering that somebody took away."""

    def close(self) -> None:
        """Let go."""


def is_server(where: str | Path) -> bool:
    """Tell whether an archive's name is that of one on a server.

    >>> is_server("postgresql+psycopg://bench@shop/archive"), is_server("archive.sqlite")
    (True, False)
    """
    return str(where).startswith("postgresql+psycopg://")
