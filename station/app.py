"""Where the parts are wired: a station file to an open link, its batches to a queue, a bench to its window.

Threads put batches of events into one queue; whoever works takes them out and never waits longer than a tick, so that
a scale that says nothing is noticed.
"""

from __future__ import annotations

import datetime
import queue
import time
from collections.abc import Iterator, Sequence
from fractions import Fraction
from types import TracebackType

from drivers.events import Event, Tick
from drivers.link import Link, PedalLink, PedalLinkSettings
from drivers.text_frames import TextDecoder
from station.measuring.hold import ScaleUncertainty, typed_uncertainty
from station.settings.station import ScaleSettings, StationSettings

TICK_S = 0.05


def now_us() -> int:
    """Give the monotonic clock in microseconds: the clock that links stamp with."""
    return time.monotonic_ns() // 1000


class Wire:
    """The links of a station, open while in use as a context; `events` gives what comes, in batches."""

    def __init__(self, station: StationSettings, with_pedal: bool = True) -> None:
        self._batches: queue.SimpleQueue[list[Event]] = queue.SimpleQueue()
        self._faults: queue.SimpleQueue[BaseException] = queue.SimpleQueue()
        scale = station.scale
        self._links: list[Link | PedalLink] = [Link(scale.link, TextDecoder(scale.format), self._put, self._faults.put)]
        if with_pedal and isinstance(station.pedal, PedalLinkSettings):
            self._links.append(PedalLink(station.pedal, self._put, self._faults.put))

    def __enter__(self) -> Wire:
        for link in self._links:
            link.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        for link in self._links:
            link.stop()

    def _put(self, batch: Sequence[Event]) -> None:
        self._batches.put(list(batch))

    def waiting(self) -> list[Event]:
        """Give everything that has come since, without waiting, closed by a tick."""
        self._raise_fault()
        events: list[Event] = []
        while True:
            try:
                events += self._batches.get_nowait()
            except queue.Empty:
                return [*events, Tick(now_us())]

    def events(self) -> Iterator[list[Event]]:
        """Give batches for ever, each as it comes; a tick at least every twentieth of a second."""
        while True:
            self._raise_fault()
            try:
                yield self._batches.get(timeout=TICK_S)
            except queue.Empty:
                yield [Tick(now_us())]

    def _raise_fault(self) -> None:
        try:
            fault = self._faults.get_nowait()
        except queue.Empty:
            return
        raise fault


def uncertainty_in_force(scale: ScaleSettings, day: datetime.date) -> ScaleUncertainty | None:
    """Give what is known of a scale on `day`; None where nothing is, or no longer."""
    typed: Fraction | None = scale.uncertainty_on(day)
    return None if typed is None else typed_uncertainty(round(typed * 1000), typed)
