"""Commands as a person types them, in this process; and a scale of another make on a pseudo-terminal."""

from __future__ import annotations

import json
import os
import sys
import threading
import time
import tty
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from station.cli import main


class Ran(NamedTuple):
    """What a command left: exit status, standard output, standard error."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Give the one JSON document printed."""
        return json.loads(self.out)

    @property
    def lines(self) -> list[Any]:
        """Give the JSON documents printed, one a line."""
        return [json.loads(line) for line in self.out.splitlines()]


def run(capfd: pytest.CaptureFixture[str], *words: str | Path) -> Ran:
    """Run a command and give what it left."""
    capfd.readouterr()
    before = sys.argv
    sys.argv = ["fidbench", *map(str, words)]
    try:
        with pytest.raises(SystemExit) as left:
            main()
    finally:
        sys.argv = before
    printed = capfd.readouterr()
    return Ran(left.value.code if isinstance(left.value.code, int) else 1, printed.out, printed.err)


HOLD = """
[hold]
target = "30 lbf"
low = "28 lbf"
high = "45 lbf"
duration = "1 s"
ceiling = "60 lbf"
"""
FOREIGN_STATION = """
[station]
name = "Bench of another make"
[scale]
url = "{url}"
format = "text"
frame = "<{{skip:2}}{{value}}{{unit}}>"
end = "\\r"
units = {{ "p" = "lbf" }}
capacity = "100 lbf"
response = "0.05 s"
uncertainty = "0.2 lbf"
uncertainty_until = "2099-01-01"
period = "0.01 s"
"""


class ForeignScale:
    """A scale that knows nothing of us: frames like "<7A  30.00p>" on a pseudo-terminal, 100 a second."""

    def __init__(self, link: Path, lbf: float = 30.0) -> None:
        self.link = link
        self.lbf = lbf
        self._stop = threading.Event()
        self._unplug = threading.Event()
        self._thread = threading.Thread(target=self._send, name="foreign scale")

    def __enter__(self) -> ForeignScale:
        self._plug()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        os.close(self._device)
        self.link.unlink(missing_ok=True)

    def unplug_and_back(self, away_s: float) -> None:
        """Pull the cable for a while."""
        self._unplug.set()
        time.sleep(0.05)
        os.close(self._device)
        self.link.unlink()
        time.sleep(away_s)
        self._plug()
        self._unplug.clear()

    def _plug(self) -> None:
        self._device, reader = os.openpty()
        tty.setraw(reader)
        os.set_blocking(self._device, False)
        self.link.symlink_to(os.ttyname(reader))
        self._reader = reader

    def _send(self) -> None:
        count = 0
        while not self._stop.wait(0.01):
            count += 1
            if self._unplug.is_set():
                continue
            try:
                os.write(self._device, f"<{count % 10}A {self.lbf + count % 3 / 100:6.2f}p>\r".encode())
            except OSError:
                continue
