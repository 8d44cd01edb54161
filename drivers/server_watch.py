"""Whether a serial server still answers, where silence is nothing unusual: a pedal behind RFC 2217.

- The server is asked for its port's speed (SET-BAUDRATE with the value 0, which by RFC 2217 asks and changes nothing)
  every `ASK_EVERY_US`. One that has answered once and does not within `ANSWER_WITHIN_US` is dead, or hangs.
- A server that never answered this cannot be watched, nor can a bare socket, which has no way to ask.
- The serial library reads such a server in a thread of its own, which a server that hangs up in the midst of a question
  ends with a fault. The next read tells that the connection failed; nobody is to see the fault as well.
"""

from __future__ import annotations

import time
from contextlib import suppress
from typing import Any

from serial.rfc2217 import REQUESTED, SET_BAUDRATE

ASK_EVERY_US = 2_000_000
ANSWER_WITHIN_US = 2_000_000
_FIRST_ANSWER_S = 1.0
_LOOK_S = 0.01


class ServerWatch:
    """Ask a server of RFC 2217 whether it is there; see the module's docstring. `port` is the serial library's own."""

    def __init__(self, port: Any, at_us: int) -> None:
        self._port = port
        self._speed = port._rfc2217_options["baudrate"]  # the library keeps the answer's state here, and nowhere open
        self._asked_us = at_us
        self._ask(at_us)
        until_s = time.monotonic() + _FIRST_ANSWER_S
        while not self._answered and time.monotonic() < until_s:
            time.sleep(_LOOK_S)
        self.watches = self._answered

    def is_dead(self, at_us: int) -> bool:
        """Ask where it is time, and tell whether an answer is overdue. Raises what the port does when it is asked."""
        if not self.watches:
            return False
        if not self._answered:
            return at_us - self._asked_us >= ANSWER_WITHIN_US
        if at_us - self._asked_us >= ASK_EVERY_US:
            self._ask(at_us)
        return False

    @property
    def _answered(self) -> bool:
        return bool(self._speed.state != REQUESTED)

    def _ask(self, at_us: int) -> None:
        self._asked_us = at_us
        self._speed.state = REQUESTED
        self._port.rfc2217_send_subnegotiation(SET_BAUDRATE, bytes(4))


def end_quietly(port: Any) -> None:
    """Have the serial library's own thread end without a word on standard error; before the port is opened."""
    if not hasattr(port, "_telnet_read_loop"):
        return  # a port of another kind
    read = port._telnet_read_loop

    def read_quietly() -> None:
        with suppress(Exception):
            read()

    port._telnet_read_loop = read_quietly
