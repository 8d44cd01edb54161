"""What came over a wire, byte for byte and stamped, in a file; and back from it through the same decoder.

- A capture is a text. After the line that names it, each line is a moment in whole microseconds since the first, and
  what came then: bytes in hexadecimal, one read a line; or `up` and the port; or `lost`, why, and what to do. Empty
  lines and lines that begin with # are passed over.
- A line is written out at once, so that a capture that was cut off is whole up to its last line. A last line without an
  end that cannot be read was cut off, and is told as a link that was lost. A file that is there already stays as it is.
- `replay` gives the events that the link gave, from the stamps in the file, with ticks where nothing came, for ever:
  after its last line the capture is a link that was lost.
- What cannot be read is refused with its file, its line, what was found and what was expected.

>>> from drivers.text_frames import TextDecoder, TextFormat
>>> heard = read_lines("a.capture", [FIRST_LINE, "0 up /dev/ttyUSB0", "12500 33 30 20 6c", "13000 62 66 0d 0a"])
>>> events = replay(heard, TextDecoder(TextFormat("{value} {unit}")))
>>> [type(event).__name__ for _ in range(2) for event in next(events)]
['LinkUp', 'Garbage']
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple

from drivers.asking import AskingDecoder
from drivers.events import Event, Frame, LinkLost, LinkUp, Noise, Tick
from drivers.link import Decoder
from drivers.stamps import Stamper, stamped

FIRST_LINE = "# fidbench capture 1: microseconds, then bytes in hexadecimal, or what became of the port"

_TICK_US = 50_000
_LINE = re.compile(
    r"(?P<at>[0-9]{1,15}) +(?:up (?P<up>.+)|lost (?P<lost>.+)|(?P<raw>[0-9A-Fa-f]{2}(?: ?[0-9A-Fa-f]{2})*)) *"
)
_LONGEST_LINE = 40
_NO_MORE = "nothing more follows"


class CaptureFault(ValueError):
    """A capture cannot be read, or not be written; the message begins with its file."""


class Heard(NamedTuple):
    """Bytes that were taken in one read, and when."""

    at_us: int
    raw: bytes


CaptureLine = Heard | LinkUp | LinkLost


class Capture:
    """A capture being written, used as a context. Raises `CaptureFault` for a file that is there, or cannot be made."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self._begun_us: int | None = None
        try:
            self._file = self.path.open("x", encoding="utf-8")
        except FileExistsError:
            raise CaptureFault(f"{path}: is there already; name a file that is not") from None
        except OSError as fault:
            raise CaptureFault(f"{path}: cannot be written: {fault.strerror}") from None
        self._write(FIRST_LINE)

    def __enter__(self) -> Capture:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._file.close()

    def heard(self, at_us: int, raw: bytes) -> None:
        """Write bytes that came in one read."""
        self._line(at_us, raw.hex(" "))

    def told(self, batch: Iterable[Any]) -> None:
        """Write what a batch of events says of the port; what it says of the bytes comes out of them again."""
        for event in batch:
            if isinstance(event, LinkUp):
                self._line(event.at_us, f"up {_one_line(event.url)}")
            elif isinstance(event, LinkLost):
                self._line(event.at_us, f"lost {_one_line(event.why)} | {_one_line(event.advice)}")

    def _line(self, at_us: int, says: str) -> None:
        if self._begun_us is None:
            self._begun_us = at_us
        self._write(f"{at_us - self._begun_us} {says}")

    def _write(self, line: str) -> None:
        try:
            self._file.write(line + "\n")
            self._file.flush()
        except OSError as fault:
            raise CaptureFault(f"{self.path}: cannot be written: {fault.strerror}") from None


def _one_line(text: str) -> str:
    return " ".join(text.split())


def is_capture(url: str) -> bool:
    """Say whether the url of a station file names a file, and no port."""
    try:
        return "://" not in url and Path(url).is_file()
    except OSError:  # where it may not even be looked at, opening it says why
        return False


def read_capture(path: Path | str) -> list[CaptureLine]:
    """Read a capture. Raises `CaptureFault` naming the file, the line, what was found and what was expected."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as fault:
        raise CaptureFault(f"{path}: cannot be read: {fault.strerror}") from None
    except UnicodeDecodeError:
        raise CaptureFault(f"{path}: is no text, and so no capture") from None
    *lines, last = text.splitlines() or [""]
    if not lines or text.endswith("\n") or not last.strip() or last.startswith("#") or _LINE.fullmatch(last):
        return read_lines(str(path), text.splitlines())
    read = read_lines(str(path), lines)
    return [*read, LinkLost(read[-1].at_us if read else 0, "the capture was cut off within a line", _NO_MORE)]


def read_lines(file: str, lines: Sequence[str]) -> list[CaptureLine]:
    """Read the lines of a capture; `file` is how a fault names it."""
    name = FIRST_LINE.partition(":")[0]
    if not lines or lines[0].partition(":")[0] != name:
        found = lines[0][:_LONGEST_LINE] if lines else ""
        raise CaptureFault(f"{file}: found {found!r} in its first line, expected {name!r}: it is no capture")
    read: list[CaptureLine] = []
    for number, line in enumerate(lines[1:], 2):
        if not line.strip() or line.startswith("#"):
            continue
        match = _LINE.fullmatch(line)
        if match is None:
            raise CaptureFault(
                f"{file}: line {number}: found {line[:_LONGEST_LINE]!r}, expected microseconds and bytes in "
                "hexadecimal, as in '12500 33 30 0d 0a', or 'up' or 'lost'"
            )
        at_us = int(match["at"])
        if read and at_us < read[-1].at_us:
            raise CaptureFault(f"{file}: line {number}: found {at_us} after {read[-1].at_us}, expected no earlier time")
        read.append(_said(at_us, match))
    return read


def _said(at_us: int, match: re.Match[str]) -> CaptureLine:
    if match["up"]:
        return LinkUp(at_us, match["up"])
    if match["lost"]:
        why, _, advice = match["lost"].partition(" | ")
        return LinkLost(at_us, why, advice)
    return Heard(at_us, bytes.fromhex(match["raw"]))


def replay(lines: Iterable[CaptureLine], decoder: Decoder, period_us: int | None = None) -> Iterator[list[Event]]:
    """Give, in batches, the events that a link gave while a capture was made, and ticks for ever after.

    `period_us` is the nominal time between readings, as the link had it. A capture that does not begin with `up` is
    of a port that was open.
    """
    stamper = Stamper(period_us)
    at_us, was_up = 0, False
    for line in lines:
        yield from _ticks(at_us, line.at_us)
        at_us = line.at_us
        if isinstance(line, LinkLost):
            was_up = False
            yield [*stamped(decoder.rejoin(), stamper, at_us), line]
            continue
        if isinstance(line, LinkUp) or not was_up:
            was_up = True
            decoder.rejoin()
            stamper.resume(at_us)
            yield [line if isinstance(line, LinkUp) else LinkUp(at_us, "a port that was open")]
        if isinstance(line, Heard) and (batch := stamped(_decoded(decoder, line.raw), stamper, at_us)):
            yield [*batch]
    yield [*stamped(decoder.rejoin(), stamper, at_us), LinkLost(at_us, "the capture ends here", _NO_MORE)]
    while True:
        at_us += _TICK_US
        yield [Tick(at_us)]


def _decoded(decoder: Decoder, raw: bytes) -> Sequence[Frame | Noise]:
    if isinstance(decoder, AskingDecoder) and not decoder.awaiting:
        decoder.request()  # it was asked, or these bytes would not have come
    return decoder.feed(raw)


def _ticks(after_us: int, until_us: int) -> Iterator[list[Event]]:
    for at_us in range(after_us + _TICK_US, until_us, _TICK_US):
        yield [Tick(at_us)]
