"""A real PostgreSQL server for a test: made in a temporary folder, reached by a socket there alone, gone afterwards."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def programs() -> Path:
    """Give the folder of the server's programs; skip where the distribution's package is not installed."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    pytest.skip("no PostgreSQL server is installed here (Debian package postgresql)")


class Server:
    """A running server; `stop` and `start` as its keeper would."""

    def __init__(self, folder: Path, bin_folder: Path, user: str | None) -> None:
        self.folder = folder
        self._bin = bin_folder
        self._user = user
        self._databases = 0

    def run(self, program: str, *words: str) -> None:
        """Run one of the server's programs as the server's user, for a server refuses to run as root."""
        command = [str(self._bin / program), *words]
        group = pwd.getpwnam(self._user).pw_gid if self._user else None
        log = (self.folder / "log").open("ab")
        with log:
            subprocess.run(
                command, check=True, user=self._user, group=group, stdout=log, stderr=log, cwd=self.folder, timeout=60
            )

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder}"
        self.run("pg_ctl", "start", "-w", "-D", str(self.folder / "data"), "-o", options)

    def stop(self) -> None:
        """Stop it at once, as a power cut would for its clients."""
        self.run("pg_ctl", "stop", "-w", "-m", "immediate", "-D", str(self.folder / "data"))

    def url(self, database: str) -> str:
        """Give the URL of a database."""
        return f"postgresql+psycopg://bench@/{database}?host={self.folder}"

    def new(self) -> str:
        """Make an empty database, and give its URL."""
        self._databases += 1
        name = f"archive{self._databases}"
        self.run("createdb", "-h", str(self.folder), "-U", "bench", name)
        return self.url(name)


@contextmanager
def server() -> Iterator[Server]:
    """Give a running server, as the user postgres where this is root."""
    bin_folder = programs()
    user = "postgres" if os.geteuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="fidbench-pg-"))
    running = Server(folder, bin_folder, user)
    try:
        if user:
            shutil.chown(folder, user)
        running.run("initdb", "--no-sync", "-A", "trust", "-U", "bench", "-E", "UTF8", "-D", str(folder / "data"))
        running.start()
        try:
            yield running
        finally:
            running.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
