"""How soon the bench acts on the wire with its window running: from a frame's last byte, and from a contact's edge.

The clock begins right before the last byte is written to a pseudo-terminal, or the contact's level is changed, and
ends when `Bench.take` has returned from the batch that holds that reading or edge: readings judged, tap counted. What
the window draws afterwards is measured in `tests.benchmarks.window`. The contact is a port object whose CTS is set
here, asked every 5 ms as any contact is; what a real adapter's USB adds is not in the figure. Causes come at random
moments between two frames of the window, which keeps drawing at 1920x1080.

The ceiling of the same run is the same link and the same moments with an event loop that has nothing to draw and
nothing to judge: it is woken in the same way and empties the queue.
"""

from __future__ import annotations

import os
import queue
import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

from PyQt6.QtCore import QEventLoop, QObject
from PyQt6.QtWidgets import QApplication

from drivers.events import LinkUp, PedalEdge, PedalUp, Reading, Tick
from drivers.link import Link, LinkSettings, PedalLink, PedalLinkSettings
from drivers.text_frames import TextDecoder, encode
from station.app import now_us
from station.at_window import AtWindow
from station.views.beat import Beat
from tests.benchmarks.bench import workbench
from tests.benchmarks.drivers import FORM, port
from tests.benchmarks.measuring import figure
from tests.drivers.cables import Contact

TIMES = 300
Cause = Callable[[int], None]


class Came(queue.SimpleQueue[list[Any]]):
    """What came from a link; whoever waits for it is woken."""

    on_come: Callable[[], None] = staticmethod(lambda: None)

    def bring(self, batch: list[Any]) -> None:
        """Take a batch from the link's thread."""
        self.put(batch)
        self.on_come()


@contextmanager
def scale(came: Came) -> Iterator[Cause]:
    """Give a scale whose every call sends a frame."""
    frame = encode(FORM, 30.0, "lbf", "stable")
    with port() as (device, name):
        link = Link(LinkSettings(name, period_us=12_500, silence_us=None), TextDecoder(FORM), came.bring)
        link.start()
        try:
            assert isinstance(came.get(timeout=20)[0], LinkUp)
            yield lambda _: os.write(device, frame)  # type: ignore[func-returns-value, return-value]
        finally:
            link.stop()


@contextmanager
def foot(came: Came) -> Iterator[Cause]:
    """Give a contact whose every call moves it to the other side."""
    contact = Contact()
    link = PedalLink(PedalLinkSettings("/dev/benchmark"), came.bring, opener=contact)
    link.start()
    try:
        assert isinstance(came.get(timeout=20)[0], PedalUp)
        yield lambda number: setattr(contact, "cts", number % 2 == 0)
    finally:
        link.stop()


def acted_ms(device: Any, kind: type, with_window: bool) -> float:
    """Give within how many ms 99 % of causes were acted on."""
    app = QApplication.instance() or QApplication([])
    came = Came()
    acted: queue.SimpleQueue[float] = queue.SimpleQueue()

    def events() -> list[Any]:
        found = [event for _ in range(came.qsize()) for event in came.get()]
        return [*found, Tick(now_us())]

    def note(taken: list[Any]) -> None:
        now_s = time.perf_counter()  # here: who waits for it hears only once the window's thread lets go
        for _ in range(sum(isinstance(event, kind) for event in taken)):
            acted.put(now_s)

    owner = QObject()
    beat = Beat(lambda: note(events()), lambda: note(events()), owner)
    window = None
    if with_window:
        bench = workbench().bench
        take = bench.take

        def taken(batch: list[Any]) -> Any:
            cues = take(batch)
            note(batch)
            return cues

        bench.take = taken
        window = AtWindow(bench, events, "dark", muted=True).window
        window.resize(1920, 1080)
        window.show()
        window.start()
        came.on_come = window.wake
    else:
        beat.start()
        came.on_come = beat.wake
    took: list[float] = []
    loop = QEventLoop()

    def causes(cause: Cause) -> None:
        chance = random.Random(1)  # noqa: S311 -- repeatable, no secret
        time.sleep(0.5)
        for number in range(TIMES):
            time.sleep(0.035 + chance.random() / 40)
            began_s = time.perf_counter()
            cause(number)
            with suppress(queue.Empty):
                took.append(1000 * (acted.get(timeout=5) - began_s))
        loop.quit()

    with device(came) as cause:
        thread = threading.Thread(target=causes, args=(cause,), daemon=True)
        thread.start()
        loop.exec()
        thread.join()
    beat.stop()
    if window is not None:
        window.close()
    app.processEvents()
    if len(took) < TIMES:
        raise AssertionError(f"of {TIMES} causes {len(took)} were acted on")
    return sorted(took)[int(0.99 * len(took))]


def figures() -> list[dict[str, Any]]:
    """Measure."""
    return [
        figure(name, acted_ms(device, kind, True), "ms", most, acted_ms(device, kind, False), more_is_better=False)
        for name, device, kind, most in (
            ("last byte to the hold's outcome, window running, 99 %", scale, Reading, 8),
            ("contact edge to the bench's action, window running, 99 %", foot, PedalEdge, 15),
        )
    ]
