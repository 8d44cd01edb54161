"""What decoders share that must ask before a device answers: one question in flight, and the bytes that come after it.

- `request` gives the next question; from then on the decoder is `awaiting`, until an answer is whole. Who asks while
  an answer is still awaited gives that answer up: it is noise when it comes.
- An answer is found wherever it stands among the bytes that come after its question; what stands before it is noise.
- Bytes that nobody asked for are noise. They are told with what comes next, or once there are too many to keep; where
  so many come in place of an answer, it is given up, so that the tail of something long never passes for one.
- Never raises on bytes, holds less than two answers of the longest kind, and any chunking of the bytes that come
  between two questions gives the same list.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import NamedTuple

from drivers.events import Frame, Noise

Events = list[Frame | Noise]


class Answer(NamedTuple):
    """Where a whole answer stands among the bytes, and what it says."""

    start: int
    stop: int
    says: Events


class AskingDecoder(ABC):
    """Questions out, bytes in, frames and noise out; see the module's docstring."""

    longest: int  # bytes in the longest answer there can be

    def __init__(self) -> None:
        self.awaiting = False
        self._waiting = b""
        self._untold: list[Noise] = []

    @abstractmethod
    def _question(self) -> bytes:
        """Give the next question to send."""

    @abstractmethod
    def _find(self, raw: bytes) -> Answer | None:
        """Find the first whole answer in `raw`: the one that ends first."""

    @abstractmethod
    def _why_none(self, raw: bytes) -> str:
        """Say why bytes that came in place of an answer are none."""

    def request(self) -> bytes:
        """Give the next question; an answer that is still awaited is given up."""
        self._untold += self._given_up()
        self.awaiting = True
        return self._question()

    def feed(self, chunk: bytes) -> Events:
        """Take the bytes that came and give what they complete, in order."""
        events: Events = [*self._untold]
        self._untold = []
        while chunk:
            room = 2 * self.longest - len(self._waiting)
            self._waiting, chunk = self._waiting + chunk[:room], chunk[room:]
            events += self._answered()
            if len(self._waiting) == 2 * self.longest:
                raw, self._waiting = self._waiting[: self.longest], self._waiting[self.longest :]
                events.append(self._noise(raw))
                self.awaiting = False
        return events

    def rejoin(self) -> list[Noise]:
        """Say that bytes may be missing from here on: what was awaited will not come."""
        told = [*self._untold, *self._given_up()]
        self._untold = []
        self.awaiting = False
        return told

    def _answered(self) -> Events:
        answer = self._find(self._waiting) if self.awaiting else None
        if answer is None:
            return []
        before, self._waiting = self._waiting[: answer.start], self._waiting[answer.stop :]
        events: Events = [self._noise(before)] if before else []
        self.awaiting = False
        return events + answer.says

    def _given_up(self) -> list[Noise]:
        raw, self._waiting = self._waiting, b""
        blocks = [raw[at : at + self.longest] for at in range(0, len(raw), self.longest)]
        return [self._noise(block) for block in blocks]

    def _noise(self, raw: bytes) -> Noise:
        return Noise(raw, self._why_none(raw) if self.awaiting else "nobody had asked for these bytes")
