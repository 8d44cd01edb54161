"""A port behind a serial server that speaks RFC 2217: the end that a device holds, with a contact on its lines.

- It has the face of `simulators.serve.Port`: what is sent while nobody has called, or while too much waits, is lost.
- One caller at a time; who calls while another is there waits until that one hangs up.
- The protocol is spoken by the serial library's own `PortManager`; no port of this machine is opened.
- While it is unplugged nobody answers at its number; plugged in again it has the same one.
- While `hung`, it stands as a server that hangs: its connection stays, and nothing is said or heard.
"""

from __future__ import annotations

import select
import socket
import time
from contextlib import suppress
from dataclasses import dataclass
from types import SimpleNamespace

from serial.rfc2217 import PortManager

_CALL_BYTES = 4096
_MOST_WAITING = 65_536


@dataclass
class _Lines:
    """What the protocol sets and asks of a serial port."""

    baudrate: int = 9600
    bytesize: int = 8
    parity: str = "N"
    stopbits: float = 1
    xonxoff: bool = False
    rtscts: bool = False
    break_condition: bool = False
    rts: bool = False
    dtr: bool = False
    cts: bool = False
    dsr: bool = False
    ri: bool = False
    cd: bool = False

    def reset_input_buffer(self) -> None:
        """Have nothing waiting: what is not sent at once is lost."""

    def reset_output_buffer(self) -> None:
        """Have nothing waiting."""


class NetworkPort:
    """A port behind a serial server on this machine. Used as a context."""

    def __init__(self) -> None:
        self.lines = _Lines()
        self.lost_bytes = 0
        self.hung = False
        self._number = 0
        self._listening: socket.socket | None = None
        self._caller: socket.socket | None = None
        self._manager: PortManager | None = None
        self._out = b""
        self._heard = b""

    def __enter__(self) -> NetworkPort:
        self.plug()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    @property
    def address(self) -> str:
        """Give where to call it."""
        return f"rfc2217://127.0.0.1:{self._number}"

    def plug(self) -> None:
        """Answer calls. Raises `OSError` where another program listens there by now."""
        if self._listening is None:
            self._listening = socket.create_server(("127.0.0.1", self._number), backlog=2)
            self._listening.setblocking(False)
            self._number = self._listening.getsockname()[1]

    def unplug(self) -> None:
        """Hang up, and answer no more."""
        self._hang_up()
        if self._listening is not None:
            self._listening.close()
            self._listening = None

    def send(self, raw: bytes) -> None:
        """Send to whoever has called. What nobody is there for, or does not take, is lost and counted."""
        self._work()
        if self._manager is None or len(self._out) > _MOST_WAITING:
            self.lost_bytes += len(raw)
            return
        self._out += b"".join(self._manager.escape(raw))
        self._flush()

    def heard(self) -> bytes:
        """Give what the other side has sent since the last call."""
        self._work()
        heard, self._heard = self._heard, b""
        return heard

    def wait(self, timeout_s: float) -> None:
        """Wait until the other side has called or sent something, at most `timeout_s`."""
        either = self._caller or self._listening
        if either is None or self.hung:
            time.sleep(timeout_s)
        else:
            select.select([either], [], [], timeout_s)

    def _work(self) -> None:
        """Answer a call, hear what was said, tell lines that moved."""
        if self.hung:
            return
        if self._caller is None and self._listening is not None:
            with suppress(BlockingIOError):
                self._take(self._listening.accept()[0])
        if self._caller is None or self._manager is None:
            return
        try:
            said = self._caller.recv(_CALL_BYTES)
        except BlockingIOError:
            pass
        except OSError:
            self._hang_up()
            return
        else:
            if not said:
                self._hang_up()
                return
            self._heard = (self._heard + b"".join(self._manager.filter(said)))[-_CALL_BYTES:]
        self._manager.check_modem_lines()
        self._flush()

    def _take(self, caller: socket.socket) -> None:
        caller.setblocking(False)
        caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._caller = caller
        self._manager = PortManager(self.lines, SimpleNamespace(write=self._keep))

    def _keep(self, raw: bytes) -> None:
        self._out += raw

    def _flush(self) -> None:
        if self._caller is None or self.hung:
            return
        try:
            self._out = self._out[self._caller.send(self._out) :]
        except BlockingIOError:
            pass
        except OSError:
            self._hang_up()

    def _hang_up(self) -> None:
        if self._caller is not None:
            self._caller.close()
        self._caller = self._manager = None
        self._out = self._heard = b""
