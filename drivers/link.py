"""The wire: opens the port, reads it in one thread, stamps what comes, watches it, and opens it again by itself.

- One thread opens, reads and closes a port; `start` begins it, `stop` ends it. Time enters here and nowhere else:
  bytes are stamped with the monotonic clock right after they were read.
- A fault of the port is a `LinkLost` (of a pedal, a `PedalLost`) in words, said once for as long as it stays the same;
  then the port is tried again, ever less often, down to once a second. At each opening the decoder is told that bytes
  may be missing.
- A port named by the kernel ("/dev/ttyUSB0") is opened again by its identity, so that no other adapter takes its place.
- A scale that only answers is asked: with `poll` at set times, or by a decoder that gives its own questions. Of those
  one is in flight: the next waits for the answer, or for `answer_within_us`, and for `gap_us` of silence on the line.
- Where nothing comes for `silence_us`, the link is lost as well. A port of this machine stays open and may speak again;
  one on the network is called anew, for a server that died is silent for ever. A connection is kept alive by the
  system, so that a server that is gone is noticed where silence is nothing unusual, as with a pedal; one that hangs is
  noticed where it speaks RFC 2217, for it can be asked (`drivers.server_watch`). `PedalUp` says whether it is.
- The thread never ends unheard: a fault of the program is a `LinkLost`, and the fault itself goes to `on_fault`.

>>> LinkSettings("/dev/serial/by-id/some-adapter", baud=19_200).silence_us
2000000
"""

from __future__ import annotations

import errno
import os
import select
import socket
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

import serial

from drivers import port_faults
from drivers.asking import AskingDecoder
from drivers.discovery import lasting_name
from drivers.events import (
    Frame,
    Garbage,
    LinkEvent,
    LinkLost,
    LinkUp,
    Noise,
    PedalEdge,
    PedalLinkEvent,
    PedalLost,
    PedalUp,
)
from drivers.pedal import PedalText
from drivers.server_watch import ServerWatch, end_quietly
from drivers.stamps import Stamper, stamped

try:
    from termios import error as TerminalFault  # noqa: N812 - its own name says nothing, and it is no OSError
except ImportError:  # another platform than ours
    TerminalFault = OSError  # type: ignore[misc,assignment]

_TIMEOUT_US = 100_000
_SHORTEST_POLL_US = 5_000
_CONTACT_ASKED_US = 5_000
_FIRST_RETRY_US = 20_000
_LAST_RETRY_US = 1_000_000
_READ_LIMIT = 4096  # bytes taken in one read, so that no flood holds a batch back
_PORT_FAULTS = (OSError, TerminalFault)


@dataclass(frozen=True)
class PortSettings:
    """A serial port and how it speaks. `url` is whatever pyserial opens: a port, socket://, rfc2217://."""

    url: str
    baud: int = 9600
    bytesize: Literal[5, 6, 7, 8] = 8
    parity: Literal["N", "E", "O", "M", "S"] = "N"
    stopbits: float = 1


@dataclass(frozen=True)
class LinkSettings(PortSettings):
    """The port of a scale. With `poll`, these bytes are sent every `poll_every_us`, for a scale that only answers.

    A decoder that gives its own questions is asked for one as often; `answer_within_us` is how long an answer may take,
    `gap_us` how long the line is silent before a question. `period_us` is the nominal time between readings, where it
    is known. `silence_us` is how long the scale may be silent before the link counts as lost; None never gives it up.
    Raises `ValueError` for times that cannot be.
    """

    poll: bytes = b""
    poll_every_us: int = 100_000
    period_us: int | None = None
    silence_us: int | None = 2_000_000
    answer_within_us: int = 500_000
    gap_us: int = 0

    def __post_init__(self) -> None:
        if self.poll_every_us < _SHORTEST_POLL_US:
            raise ValueError(
                f"found a question every {self.poll_every_us} us, expected {_SHORTEST_POLL_US} us or more between two"
            )
        Stamper(self.period_us)


@dataclass(frozen=True)
class PedalLinkSettings(PortSettings):
    """The port of a pedal: a contact on the modem line `line`, or a text pedal that sends `down` and `up`.

    Raises `ValueError` where the two texts cannot be told apart, and for a contact where there can be none.
    """

    kind: Literal["contact", "text"] = "contact"
    line: Literal["cts", "dsr", "dcd", "ri"] = "cts"
    down: bytes = b"D"
    up: bytes = b"U"

    def __post_init__(self) -> None:
        PedalText(self.down, self.up)
        if self.kind == "contact" and self.url.lower().startswith("socket:"):
            raise ValueError(
                f"found a contact at {self.url}, but a bare socket carries no lines; expected a server that speaks "
                'RFC 2217 (rfc2217://), or kind = "text"'
            )


class SerialPort(Protocol):
    """What a link needs of an open port."""

    @property
    def in_waiting(self) -> int:
        """Give how many bytes can be read at once, at least."""

    def read(self, size: int = 1, /) -> bytes:
        """Wait for `size` bytes, until the port's time-out."""

    def write(self, data: bytes, /) -> Any:
        """Send bytes."""

    def close(self) -> None:
        """Close the port."""


class Decoder(Protocol):
    """What a link needs of a decoder."""

    def feed(self, chunk: bytes, /) -> Sequence[Frame | Noise]:
        """Take bytes and give what they complete."""

    def rejoin(self) -> Sequence[Noise]:
        """Take notice that bytes may be missing, and give what can no longer be completed."""


OpenPort = Callable[[PortSettings, float], SerialPort]


def open_port(settings: PortSettings, timeout_s: float) -> SerialPort:
    """Open a port, alone where the platform has that. Raises OSError, `UnusablePort` for settings that cannot be."""
    port_faults.refuse_bad_address(settings.url)
    try:
        port = serial.serial_for_url(
            settings.url,
            do_not_open=True,
            baudrate=settings.baud,
            bytesize=settings.bytesize,
            parity=settings.parity,
            stopbits=settings.stopbits,
            timeout=timeout_s,
            write_timeout=None if settings.url.lower().startswith("rfc2217:") else 1.0,  # that one knows none
            exclusive=None if "://" in settings.url else True,
        )
        end_quietly(port)
        port.open()
    except (ValueError, OverflowError, NotImplementedError) as fault:
        raise port_faults.UnusablePort(str(fault)) from fault
    _keep_alive(getattr(port, "_socket", None))
    opened: SerialPort = port
    return opened


def _keep_alive(connection: socket.socket | None) -> None:
    """Have the system ask now and then whether the other end of a connection is still there.

    A pedal is silent for hours, and so is a server whose power failed: only this tells them apart, within some 10 s. A
    server that hangs while its system runs answers all the same; for a scale its silence tells.
    """
    if connection is None:
        return
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (("TCP_KEEPIDLE", 4), ("TCP_KEEPINTVL", 2), ("TCP_KEEPCNT", 3)):
        option = getattr(socket, name, None)  # seconds of silence, seconds between questions, questions in vain
        if option is not None:
            connection.setsockopt(socket.IPPROTO_TCP, option, value)


def now_us() -> int:
    """Give the clock that everything is stamped with."""
    return time.monotonic_ns() // 1000


class _Downstream(Exception):
    """What was handed a batch failed, and the port did not: carries that fault past the handling of the port's own."""


class _CalledAnew(Exception):
    """The port is to be closed and opened again, without another word."""


class _PortThread(ABC):
    """The thread that both links are: it opens the port, takes turns with it, tells its loss and opens it again."""

    _what: str  # what hangs on the port, in a person's words
    _came: type[LinkUp | PedalUp]  # the events of this link's coming and going
    _went: type[LinkLost | PedalLost]

    def __init__(
        self,
        settings: PortSettings,
        on_batch: Callable[[list[Any]], None],
        on_fault: Callable[[BaseException], None] | None,
        opener: OpenPort,
        timeout_us: int = _TIMEOUT_US,
    ) -> None:
        self._at = settings
        self._on_batch = on_batch
        self._on_fault = on_fault
        self._opener = opener
        self._timeout_us = timeout_us
        self._stopping = threading.Event()
        self._guard = threading.Lock()  # over `_port`, which `stop` wakes while the thread may be closing it
        self._port: SerialPort | None = None
        self._wait: _Wait | None = None  # on the open port, where it is one of this machine
        self._was_up = False
        self._retry_us = _FIRST_RETRY_US
        self._told: port_faults.Told | None = None  # the loss that holds now
        self._thread = threading.Thread(target=self._run, name=f"{self._what} link", daemon=True)

    def start(self) -> None:
        """Begin to read. A link is started once."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread and close the port; nothing is handed on after this returns. May be called twice."""
        self._stopping.set()
        with self._guard:
            wake = getattr(self._port, "cancel_read", None)
            if wake is not None:
                wake()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join()

    @abstractmethod
    def _opened(self, port: SerialPort) -> None:
        """Begin anew with a port that has just been opened."""

    @abstractmethod
    def _turn(self, port: SerialPort) -> None:
        """Wait shortly for what comes, and hand it on."""

    @abstractmethod
    def _broken_off(self) -> list[Garbage]:
        """Give up what has begun and can no longer be completed."""

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                try:
                    self._use_port()
                except _CalledAnew:
                    pass
                except _PORT_FAULTS as fault:
                    self._lose(port_faults.told(fault, self._at.url, self._what, self._was_up))
                self._stopping.wait(self._retry_us / 1_000_000)
                self._retry_us = min(2 * self._retry_us, _LAST_RETRY_US)
        except BaseException as fault:
            bug = fault.__cause__ if isinstance(fault, _Downstream) and fault.__cause__ else fault
            with suppress(_Downstream):  # who failed once may fail again; the fault itself is handed on below
                self._lose(port_faults.failed(self._what))
            if self._on_fault is None:
                raise bug from None
            self._on_fault(bug)

    def _use_port(self) -> None:
        port = self._opener(self._at, self._timeout_us / 1_000_000)
        try:
            with self._guard:
                self._port = port
            self._at = replace(self._at, url=lasting_name(self._at.url))
            self._wait = _Wait(port) if isinstance(getattr(port, "fd", None), int) else None
            self._was_up = True
            self._opened(port)
            while not self._stopping.is_set():
                self._turn(port)
                self._retry_us = _FIRST_RETRY_US
        finally:
            with self._guard:
                self._port = None
            connection = getattr(port, "_socket", None)
            with suppress(*_PORT_FAULTS):
                port.close()
            if connection is not None:  # the library leaves one open that the other end has reset
                connection.close()

    def _up(self, at_us: int) -> None:
        self._told = None
        self._hand_on([self._came(at_us, self._at.url)])

    def _lose(self, told: port_faults.Told) -> None:
        """Tell a loss, once for as long as it is the same."""
        batch: list[Any] = [*self._broken_off()]
        if told != self._told:
            self._told = told
            batch.append(self._went(now_us(), *told))
        self._hand_on(batch)

    def _hand_on(self, batch: list[Any]) -> None:
        if batch:
            self._handed(self._on_batch, batch)

    @staticmethod
    def _handed(taker: Callable[..., None], *what: Any) -> None:
        try:
            taker(*what)
        except Exception as fault:
            raise _Downstream from fault

    def _read(self, port: SerialPort) -> tuple[bytes, int]:
        """Take all that has come, waiting for a first byte, and the moment it was taken."""
        if self._wait is not None:  # a port of this machine: one wait and one read, whatever came
            return self._wait.read(), now_us()
        chunk = port.read(1)
        while chunk and len(chunk) < _READ_LIMIT and (more := port.in_waiting):
            chunk += port.read(more)
            if more > 1:  # a count, and taken; a socket tells only that there is more. To ask is the dearest part of it
                break
        return chunk, now_us()


class _Wait:
    """What waits on an open port of this machine, made once for each opening: an idle bench does little else."""

    def __init__(self, port: Any) -> None:
        self._number: int = port.fd
        self._timeout_ms = 1000 * port.timeout
        self._ready = select.poll()
        self._ready.register(self._number, select.POLLIN)
        self._ready.register(port.pipe_abort_read_r, select.POLLIN)  # what `cancel_read` writes to

    def read(self) -> bytes:
        """Read what is there, or what comes first within the port's time-out. Empty when told to stop."""
        if self._number not in {each for each, _ in self._ready.poll(self._timeout_ms)}:
            return b""
        chunk = os.read(self._number, _READ_LIMIT)
        if not chunk:  # nothing can be read, and yet it is ready: it hung up
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return chunk


class Link(_PortThread):
    """The wire to a scale: its frames as readings, in batches, from one thread of its own; see the module's docstring.

    `on_batch` is called from that thread with every batch, and should be quick. `on_fault` gets a fault of the program,
    after which the thread has ended; without it the fault is raised in the thread. `opener` opens ports. `on_heard` is
    told of every read, its moment and its bytes, before they are decoded.
    """

    _what = "scale"
    _came, _went = LinkUp, LinkLost

    def __init__(
        self,
        settings: LinkSettings,
        decoder: Decoder,
        on_batch: Callable[[list[LinkEvent]], None],
        on_fault: Callable[[BaseException], None] | None = None,
        opener: OpenPort = open_port,
        on_heard: Callable[[int, bytes], None] | None = None,
    ) -> None:
        asker = decoder if isinstance(decoder, AskingDecoder) else None
        timeout_us = min(_TIMEOUT_US, settings.poll_every_us // 5) if settings.poll or asker else _TIMEOUT_US
        super().__init__(settings, on_batch, on_fault, opener, timeout_us)
        self._settings = settings
        self._decoder = decoder
        self._asker = asker
        self._on_heard = on_heard
        self._stamper = Stamper(settings.period_us)
        self._heard_us = 0
        self._ask_us = 0
        self._give_up_us = 0

    def _opened(self, port: SerialPort) -> None:  # noqa: ARG002 - the port has nothing to say yet
        self._decoder.rejoin()
        self._heard_us = self._ask_us = now_us()
        if self._told is None or self._told != self._silence():
            self._up(self._heard_us)

    def _up(self, at_us: int) -> None:
        self._stamper.resume(at_us)
        super()._up(at_us)

    def _turn(self, port: SerialPort) -> None:
        self._ask(port)
        chunk, at_us = self._read(port)
        if chunk:
            self._take(chunk, at_us)
        elif self._settings.silence_us is not None and at_us - self._heard_us >= self._settings.silence_us:
            self._lose(self._silence())
            if port_faults.is_network(self._at.url):
                raise _CalledAnew

    def _ask(self, port: SerialPort) -> None:
        at_us = now_us()
        if at_us < self._ask_us or not self._may_ask(at_us):
            return
        port.write(self._asker.request() if self._asker else self._settings.poll)
        self._give_up_us = at_us + self._settings.answer_within_us
        due_us = self._ask_us + self._settings.poll_every_us
        self._ask_us = due_us if due_us > at_us else at_us + self._settings.poll_every_us

    def _may_ask(self, at_us: int) -> bool:
        if self._asker is None:
            return bool(self._settings.poll)
        answered = not self._asker.awaiting or at_us >= self._give_up_us
        return answered and at_us >= self._heard_us + self._settings.gap_us

    def _take(self, chunk: bytes, at_us: int) -> None:
        self._heard_us = at_us
        if self._told is not None:
            self._up(at_us)
        if self._on_heard is not None:
            self._handed(self._on_heard, at_us, chunk)
        self._hand_on([*stamped(self._decoder.feed(chunk), self._stamper, at_us)])

    def _broken_off(self) -> list[Garbage]:
        return [Garbage(now_us(), *noise) for noise in self._decoder.rejoin()]

    def _silence(self) -> port_faults.Told:
        is_asked = bool(self._settings.poll or self._asker)
        return port_faults.silent(self._at.url, self._what, self._settings.silence_us or 0, is_asked)


class PedalLink(_PortThread):
    """The wire to a pedal: a contact on a modem line, asked every 5 ms, or a text pedal; its edges, not debounced.

    An edge is given when the level changes while the link is up; the level that stands at opening is where it begins,
    and `PedalUp` says it.
    `on_batch`, `on_fault` and `opener` are those of `Link`. A pedal that is a key is read by the window.
    """

    _what = "pedal"
    _came, _went = PedalUp, PedalLost

    def __init__(
        self,
        settings: PedalLinkSettings,
        on_batch: Callable[[list[PedalLinkEvent]], None],
        on_fault: Callable[[BaseException], None] | None = None,
        opener: OpenPort = open_port,
    ) -> None:
        timeout_us = _CONTACT_ASKED_US if settings.kind == "contact" else _TIMEOUT_US
        super().__init__(settings, on_batch, on_fault, opener, timeout_us)
        self._line = {"dcd": "cd"}.get(settings.line, settings.line) if settings.kind == "contact" else None
        self._words = PedalText(settings.down, settings.up)
        self._level = False
        self._watch: ServerWatch | None = None

    def _opened(self, port: SerialPort) -> None:
        self._words.rejoin()
        if self._line:
            self._level = bool(getattr(port, self._line))
        self._watch = ServerWatch(port, now_us()) if hasattr(port, "rfc2217_send_subnegotiation") else None
        self._up(now_us())

    def _up(self, at_us: int) -> None:
        self._told = None
        is_watched = self._watch.watches if self._watch else not port_faults.is_network(self._at.url)
        self._hand_on([PedalUp(at_us, self._at.url, is_watched, self._level)])

    def _turn(self, port: SerialPort) -> None:
        if self._watch is not None and self._watch.is_dead(now_us()):
            self._lose(port_faults.hung(self._at.url))
            raise _CalledAnew
        if self._line is None:
            chunk, at_us = self._read(port)
            self._hand_on([PedalEdge(at_us, down) for down in self._words.feed(chunk)])
            return
        level, at_us = bool(getattr(port, self._line)), now_us()
        if level != self._level:
            self._level = level
            self._hand_on([PedalEdge(at_us, level)])
        self._read(port)  # waits for the time between two looks, and fails where a server has hung up: its lines do not

    def _broken_off(self) -> list[Garbage]:
        self._words.rejoin()
        return []
