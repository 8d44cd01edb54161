"""Bytes as they come, unread: what `fidbench listen` and the first run hear from a port nobody has described yet."""

from __future__ import annotations

import queue
from types import TracebackType
from typing import Any, Literal, cast

from drivers.capture import Capture, CaptureLine, Heard
from drivers.events import Garbage, PedalLost, PedalUp, Reading
from drivers.foot_watch import FootWatch, LineMoved, PedalSaid
from drivers.link import Decoder, Link, LinkSettings, PedalLinkSettings
from drivers.questions import Question

_ASK_EVERY_US = 200_000


def unread(url: str, baud: int, asked: Question | None = None) -> LinkSettings:
    """Give a port that nobody has described yet; with `asked`, that question is sent five times a second."""
    return LinkSettings(
        url,
        baud,
        parity=asked.parity if asked else "N",
        poll=asked.raw if asked else b"",
        poll_every_us=_ASK_EVERY_US,
    )


class Ear:
    """A port listened to, open while in use as a context: what came, byte for byte; with a `decoder`, readings too."""

    def __init__(self, settings: LinkSettings, decoder: Decoder | None = None, capture: Capture | None = None) -> None:
        self._lines: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._readings: queue.SimpleQueue[Reading] = queue.SimpleQueue()
        self._capture = capture
        self._link = Link(settings, decoder or _Unread(), self._told, self._lines.put, on_heard=self._heard)

    def __enter__(self) -> Ear:
        self._link.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._link.stop()

    def lines(self, wait_s: float = 0.0) -> list[CaptureLine]:
        """Give what came since the last call, waiting for the first of it at most so long. Raises the link's fault."""
        came: list[CaptureLine] = []
        while True:
            try:
                line = self._lines.get(timeout=wait_s) if wait_s and not came else self._lines.get_nowait()
            except queue.Empty:
                return came
            if isinstance(line, BaseException):
                raise line
            came.append(line)

    def readings(self) -> list[Reading]:
        """Give what was read since the last call."""
        return [self._readings.get() for _ in range(self._readings.qsize())]

    def _heard(self, at_us: int, raw: bytes) -> None:
        if self._capture is not None:
            self._capture.heard(at_us, raw)
        self._lines.put(Heard(at_us, raw))

    def _told(self, batch: list[Any]) -> None:
        if self._capture is not None:
            self._capture.told(batch)
        for event in batch:
            if isinstance(event, Reading):
                self._readings.put(event)
            elif not isinstance(event, Garbage):
                self._lines.put(event)


class Foot:
    """A port watched for a foot, its lines and its bytes, open while in use as a context.

    `bits` are data bits, parity and stop bits, as in "8N1".
    """

    def __init__(self, url: str, baud: int, bits: str = "8N1") -> None:
        self._events: queue.SimpleQueue[Any] = queue.SimpleQueue()
        kind: Literal["contact", "text"] = "text" if url.lower().startswith("socket:") else "contact"
        settings = PedalLinkSettings(  # a socket has no lines to look at
            url, baud, cast(Any, int(bits[0])), cast(Any, bits[1]), int(bits[2]), kind=kind
        )
        self._link = FootWatch(settings, self._told, self._events.put)

    def __enter__(self) -> Foot:
        self._link.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._link.stop()

    def events(self) -> list[LineMoved | PedalSaid | PedalUp | PedalLost]:
        """Give what came since the last call. Raises the link's fault."""
        came: list[LineMoved | PedalSaid | PedalUp | PedalLost] = []
        while not self._events.empty():
            event = self._events.get_nowait()
            if isinstance(event, BaseException):
                raise event
            came.append(event)
        return came

    def _told(self, batch: list[Any]) -> None:
        for event in batch:
            self._events.put(event)


class _Unread:
    """A decoder for bytes that nobody reads yet."""

    def feed(self, chunk: bytes, /) -> list[Any]:  # noqa: ARG002 -- the face of a decoder
        return []

    def rejoin(self) -> list[Any]:
        return []
