"""Ports to try the links with: cables that can be pulled, contacts, servers, and ports that follow a script."""

from __future__ import annotations

import errno
import os
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Self

import pytest
import serial.rfc2217
from serial.urlhandler import protocol_loop as loop

from drivers.link import Link, PedalLink, PortSettings

DEADLINE_S = 20.0


class Heard:
    """All that a link handed on, to be waited for."""

    def __init__(self) -> None:
        self.events: list[Any] = []
        self.faults: list[BaseException] = []
        self._more = threading.Condition()

    def __call__(self, batch: list[Any]) -> None:
        """Take a batch."""
        assert batch, "an empty batch was handed on"
        with self._more:
            self.events += batch
            self._more.notify_all()

    def fault(self, fault: BaseException) -> None:
        """Take a fault of the program."""
        with self._more:
            self.faults.append(fault)
            self._more.notify_all()

    def until(self, done: Callable[[list[Any]], bool]) -> list[Any]:
        """Wait until `done` holds of what was heard, and give it; fail at the deadline."""
        with self._more:
            self._more.wait_for(lambda: done(self.events) or bool(self.faults), DEADLINE_S)
            if not done(self.events):
                pytest.fail(f"waited in vain; heard {self.events[-10:]}, and these faults: {self.faults}")
            return list(self.events)

    def count(self, kind: type, number: int = 1) -> list[Any]:
        """Wait until `number` events of a kind were heard, and give all of that kind."""
        return of(self.until(lambda events: len(of(events, kind)) >= number), kind)

    def within(self, seconds: float, kind: type) -> bool:
        """Say whether an event of a kind was heard, or is heard within so many seconds."""
        with self._more:
            return self._more.wait_for(lambda: bool(of(self.events, kind)), seconds)

    def failed(self) -> BaseException:
        """Wait for a fault of the program."""
        with self._more:
            if not self._more.wait_for(lambda: bool(self.faults), DEADLINE_S):
                pytest.fail("waited in vain for a fault")
            return self.faults[0]


def of(events: list[Any], kind: type) -> list[Any]:
    """Give the events of one kind."""
    return [event for event in events if isinstance(event, kind)]


class Cable:
    """A pty pair behind a name that stays, with a plug that can be pulled."""

    def __init__(self, name: Path) -> None:
        self.url = str(name)
        self._name = name
        self._master: int | None = None

    def plug(self) -> None:
        """Put the plug in: the name leads to a new pty."""
        self._master, slave = os.openpty()
        self._name.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self) -> None:
        """Pull the plug: name and pty are gone."""
        if self._master is not None:
            self._name.unlink()
            os.close(self._master)
            self._master = None

    def send(self, data: bytes) -> None:
        """Send as the scale or the pedal."""
        assert self._master is not None
        while data:
            data = data[os.write(self._master, data) :]

    def asked(self, count: int) -> bytes:
        """Wait for `count` bytes that the link sends."""
        assert self._master is not None
        data = b""
        while len(data) < count:
            data += os.read(self._master, count - len(data))
        return data


@contextmanager
def running(link: Link | PedalLink) -> Iterator[None]:
    """Run a link for as long as this lasts."""
    link.start()
    try:
        yield
    finally:
        link.stop()


class Scripted:
    """An opener whose ports give what a script says, and raise what it holds; then they wait as a quiet port does."""

    def __init__(self, script: list[bytes | BaseException], first: BaseException | None = None) -> None:
        self._script = script
        self._first = first
        self._quiet = threading.Event()
        self.closed = 0
        self.in_waiting = 0

    def __call__(self, _settings: PortSettings, _timeout_s: float) -> Scripted:
        """Open the port."""
        if self._first is not None:
            fault, self._first = self._first, None
            raise fault
        return self

    def read(self, _size: int = 1, /) -> bytes:
        """Give what the script says next, or wait until woken."""
        if not self._script:
            self._quiet.wait(DEADLINE_S)
            return b""
        said = self._script.pop(0)
        if isinstance(said, BaseException):
            raise said
        return said

    def write(self, data: bytes, /) -> None:
        """Never send."""
        raise AssertionError(f"nobody asked for {data!r} to be sent")

    def cancel_read(self) -> None:
        """Wake who waits."""
        self._quiet.set()

    def close(self) -> None:
        """Count how often it was closed."""
        self.closed += 1


class Contact:
    """An opener of ports whose modem lines a test holds; while `broken` is set they fail as an unplugged one does."""

    def __init__(self) -> None:
        self.cts = self.dsr = self.cd = self.ri = False
        self.broken = False
        self.in_waiting = 0
        self._never = threading.Event()

    def __call__(self, _settings: PortSettings, timeout_s: float) -> Contact:
        """Open the port."""
        self._timeout_s = timeout_s
        if self.broken:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory")
        return self

    def read(self, _size: int = 1, /) -> bytes:
        """Wait for what never comes."""
        self._never.wait(self._timeout_s)
        if self.broken:
            raise OSError(errno.EIO, "Input/output error")
        return b""

    def write(self, data: bytes, /) -> None:
        """Never send."""
        raise AssertionError(f"{data!r} was sent to a contact")

    def close(self) -> None:
        """Close nothing."""


class Loop(loop.Serial):  # type: ignore[misc]  # the serial library's own loop has no types
    """A port whose RTS is wired to CTS, until `foot` says what CTS is."""

    foot: bool | None = None

    @property
    def cts(self) -> bool:
        """Give what the contact says."""
        return bool(super().cts) if self.foot is None else self.foot


class Rfc2217Server:
    """A serial server by RFC 2217, of the serial library's own, with one port: a loop, where RTS is wired to CTS.

    It takes `calls`, one after the other. While `hung` is set it says nothing, and its connection stands.
    """

    def __init__(self, calls: int = 1) -> None:
        self.port: Any = Loop("loop://", timeout=0)
        self._calls = calls
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._listening.settimeout(DEADLINE_S)
        self.hang_up, self.hung = threading.Event(), threading.Event()
        self.url = f"rfc2217://127.0.0.1:{self._listening.getsockname()[1]}"
        self._thread = threading.Thread(target=self._serve, name="serial server")

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.hang_up.set()
        self._thread.join()
        self._listening.close()
        self.port.close()

    def _serve(self) -> None:
        for _ in range(self._calls):
            try:
                connection, _ = self._listening.accept()
            except TimeoutError:
                return
            with connection:
                self._speak(connection)
        self._listening.close()

    def _speak(self, connection: socket.socket) -> None:
        client = SimpleNamespace(write=connection.sendall)
        manager = serial.rfc2217.PortManager(self.port, client)
        with suppress(OSError):
            while not self.hang_up.is_set():
                if select.select([connection], [], [], 0.002)[0]:
                    asked = connection.recv(1024)
                    if not asked:
                        return
                    if not self.hung.is_set():
                        self.port.write(b"".join(manager.filter(asked)))
                if self.hung.is_set():
                    continue
                manager.check_modem_lines()
                if waiting := self.port.in_waiting:
                    connection.sendall(b"".join(manager.escape(self.port.read(waiting))))


class NullModem:
    """Two ports joined by a cable: what is written to one is read from the other."""

    def __enter__(self) -> tuple[str, str]:
        self._ends = [os.openpty(), os.openpty()]
        for _, port in self._ends:
            tty.setraw(port)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._carry, name="null modem")
        self._thread.start()
        return os.ttyname(self._ends[0][1]), os.ttyname(self._ends[1][1])

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        for end in self._ends:
            for descriptor in end:
                os.close(descriptor)

    def _carry(self) -> None:
        across = {self._ends[0][0]: self._ends[1][0], self._ends[1][0]: self._ends[0][0]}
        while not self._stop.is_set():
            for device in select.select([*across], [], [], 0.02)[0]:
                os.write(across[device], os.read(device, 4096))
