"""Where the parts are wired: a station file to an open link, its batches to a queue, a bench to its window.

Threads put batches of events into one queue; whoever works takes them out and never waits longer than a tick, so that
a scale that says nothing is noticed.
"""

from __future__ import annotations

import gc
import queue
import time
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType

from drivers.capture import Capture, is_capture, read_capture, replay
from drivers.events import Beside, Event, GaugeReading, LinkEvent, LinkLost, LinkUp, Reading, Source, Tick
from drivers.link import Decoder, Link, PedalLink, PedalLinkSettings
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat
from drivers.scpi import ScpiDecoder, ScpiFormat
from drivers.text_frames import TextDecoder
from station.settings.station import ScaleFormat, StationSettings
from station.units import factor

TICK_S = 0.05
_NEW_OBJECTS = 10_000  # between two searches for circular garbage


def now_us() -> int:
    """Give the monotonic clock in microseconds: the clock that links stamp with."""
    return time.monotonic_ns() // 1000


def spare_the_collector() -> None:
    """Let Python search for circular garbage less often: readings are many, live for a moment and are never circular.

    With its own measure (700 objects) every few reads were searched, which took half the time of the live path.
    """
    gc.set_threshold(_NEW_OBJECTS)


def time_alone() -> list[Event]:
    """Give what comes where there are no instruments: that time passes. A check must have been shown for a while."""
    return [Tick(now_us())]


def decoder_of(form: ScaleFormat) -> Decoder:
    """Give the decoder that reads what a scale sends."""
    match form:
        case ModbusFormat():
            return ModbusDecoder(form)
        case ScpiFormat():
            return ScpiDecoder(form)
        case _:
            return TextDecoder(form)


class Wire:
    """The links of a station, open while in use as a context; `events` gives what comes, in batches.

    Where the scale's url is a capture, its readings come from there, stamped as they were; `opened_us` is when that
    began. `events` gives them as fast as they are taken, `waiting` at the pace at which they came. With `capture`, all
    that the scale's link hears is written there. `on_come` is called, in a link's thread, when something waits. Raises
    `CaptureFault` for a capture that cannot be read.
    """

    def __init__(self, station: StationSettings, with_pedal: bool = True, capture: Capture | None = None) -> None:
        self._batches: queue.SimpleQueue[list[Event]] = queue.SimpleQueue()
        self._faults: queue.SimpleQueue[BaseException] = queue.SimpleQueue()
        self._capture = capture
        self._links: list[Link | PedalLink] = []
        self._replay: Iterator[list[Event]] | None = None
        self.on_come: Callable[[], None] = _nobody
        self.opened_us = now_us()
        scale = station.scale
        if is_capture(scale.link.url):
            lines = read_capture(scale.link.url)
            self.opened_us = lines[0].at_us if lines else 0
            self._replay = replay(lines, decoder_of(scale.format), scale.link.period_us)
            self._late_us, self._next = now_us() - self.opened_us, next(self._replay)
        else:
            heard = None if capture is None else capture.heard
            decoder = decoder_of(scale.format)
            self._links.append(Link(scale.link, decoder, self._put_scale, self._faults.put, on_heard=heard))
        if with_pedal and station.second_scale is not None:
            second = station.second_scale
            heard_by = self._put_beside("second scale")
            self._links.append(Link(second.link, decoder_of(second.format), heard_by, self._faults.put))
        if with_pedal and station.gauge is not None:
            gauge = station.gauge
            self._links.append(Link(gauge.link, TextDecoder(gauge.format), self._put_beside("gauge"), self._faults.put))
        if with_pedal and isinstance(station.pedal, PedalLinkSettings):
            self._links.append(PedalLink(station.pedal, self._put, self._faults.put))

    def __enter__(self) -> Wire:
        spare_the_collector()
        for link in self._links:
            link.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        for link in self._links:
            link.stop()

    def _put(self, batch: Sequence[Event]) -> None:
        self._batches.put(list(batch))
        self.on_come()

    def _put_scale(self, batch: Sequence[Event]) -> None:
        if self._capture is not None:
            self._capture.told(batch)
        self._put(batch)

    def _put_beside(self, source: Source) -> Callable[[Sequence[LinkEvent]], None]:
        def put(batch: Sequence[LinkEvent]) -> None:
            self._put([beside(source, each) for each in batch if isinstance(each, Reading | LinkUp | LinkLost)])

        return put

    def waiting(self) -> list[Event]:
        """Give everything that has come since, without waiting, closed by a tick."""
        self._raise_fault()
        events: list[Event] = self._due()
        while True:
            try:
                events += self._batches.get_nowait()
            except queue.Empty:
                return [*events, Tick(now_us())]

    def events(self) -> Iterator[list[Event]]:
        """Give batches for ever, each as it comes; a tick at least every twentieth of a second."""
        if self._replay is not None:
            yield self._next
            yield from self._replay
        while True:
            self._raise_fault()
            try:
                yield self._batches.get(timeout=TICK_S)
            except queue.Empty:
                yield [Tick(now_us())]

    def _due(self) -> list[Event]:
        """Give what a capture holds up to now, as if it came now."""
        events: list[Event] = []
        while self._replay is not None and self._next[-1].at_us + self._late_us <= now_us():
            events += [_later(event, self._late_us) for event in self._next if not isinstance(event, Tick)]
            self._next = next(self._replay)
        return events

    def _raise_fault(self) -> None:
        try:
            fault = self._faults.get_nowait()
        except queue.Empty:
            return
        raise fault


def beside(source: Source, event: Reading | LinkUp | LinkLost) -> Beside:
    """Give what an instrument beside the scale said; a gauge's number is a length, in its own unit.

    >>> beside("gauge", Reading(7, 25.4, "mm", None, 7)).event  # type: ignore[arg-type]
    GaugeReading(at_us=7, length_um=25400, status=None)
    """
    if source == "gauge" and isinstance(event, Reading):
        um = None if event.force is None else round(event.force * float(factor(str(event.unit), "length")) * 1e6)
        return Beside(event.at_us, source, GaugeReading(event.at_us, um, event.status))
    return Beside(event.at_us, source, event)


def _nobody() -> None:
    """Wake nobody: whoever works looks often enough."""


def _later(event: Event, by_us: int) -> Event:
    if isinstance(event, Reading):
        return event._replace(at_us=event.at_us + by_us, arrived_us=event.arrived_us + by_us)
    return event._replace(at_us=event.at_us + by_us)
