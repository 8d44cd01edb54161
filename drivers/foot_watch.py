"""A port on which a footswitch is looked for: all four modem lines and every byte, none of them described yet.

A port that has no modem lines is no fault here: a pedal that sends text needs none.

>>> LineMoved(at_us=5_000, line="cts", on=True).line
'cts'
"""

from __future__ import annotations

import errno
from typing import Literal, NamedTuple, get_args

from drivers.link import PedalLink, SerialPort, now_us

Line = Literal["cts", "dsr", "dcd", "ri"]
_LINES: tuple[Line, ...] = get_args(Line)
_NO_LINES = {errno.ENOTTY, errno.EINVAL}


class LineMoved(NamedTuple):
    """One of the four modem lines changed: which, and whether it is on now."""

    at_us: int
    line: Line
    on: bool


class PedalSaid(NamedTuple):
    """Bytes came, in one read."""

    at_us: int
    raw: bytes


class FootWatch(PedalLink):
    """Watch a port for a foot: gives `LineMoved` and `PedalSaid`, `PedalUp` and `PedalLost`."""

    def _opened(self, port: SerialPort) -> None:
        self._levels = {line: _level(port, line) for line in _LINES} if _has_lines(port) else {}
        self._line = None  # none of them is the pedal's yet
        super()._opened(port)

    def _turn(self, port: SerialPort) -> None:
        for line in self._levels:
            on, at_us = _level(port, line), now_us()
            if on != self._levels[line]:
                self._levels[line] = on
                self._hand_on([LineMoved(at_us, line, on)])
        raw, at_us = self._read(port)
        if raw:
            self._hand_on([PedalSaid(at_us, raw)])


def _has_lines(port: SerialPort) -> bool:
    try:
        _level(port, "cts")
    except OSError as fault:
        if fault.errno in _NO_LINES:
            return False
        raise
    return True


def _level(port: SerialPort, line: Line) -> bool:
    return bool(getattr(port, "cd" if line == "dcd" else line))
