"""What a scale of a thousand readings a second costs at the bench, with its window drawing."""

from __future__ import annotations

import statistics
import time
from typing import Any

from PyQt6.QtWidgets import QApplication

from drivers.events import Reading, Tick
from station.at_window import AtWindow
from tests.station.bench.workbench import Workbench

SECONDS, RATE, FRAMES = 90, 1000, 40
TRACE_S = 60  # what the window draws; from then on its trace is whole


def workbench() -> Workbench:
    """Give the tests' bench, at its first pre-stretch."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    return desk


def figures() -> list[dict[str, Any]]:
    """Work a thousand readings a second through bench and window, and see what it took."""
    app = QApplication.instance() or QApplication([])
    desk = workbench()
    waiting: list[Any] = []

    def events() -> list[Any]:
        came = list(waiting)
        waiting.clear()
        return came

    at_window = AtWindow(desk.bench, events, "dark")
    at_window.window.resize(1920, 1080)
    at_window.window.show()
    at_us, drawn = desk.at_us, []
    period_us, frame_us = 1_000_000 // RATE, 1_000_000 // FRAMES
    began = time.process_time()
    for frame in range(SECONDS * FRAMES):
        until_us = desk.at_us + (frame + 1) * frame_us
        while at_us < until_us:
            at_us += period_us
            waiting.append(Reading(at_us, 22 + at_us % 700_000 / 1e6, "lbf", None, at_us))
        waiting.append(Tick(at_us))
        began_frame = time.process_time()
        at_window.window.frame()
        app.processEvents()
        drawn.append(time.process_time() - began_frame)
    share = (time.process_time() - began) / SECONDS
    whole_s = statistics.median(drawn[TRACE_S * FRAMES :])
    at_window.window.close()
    return [
        {
            "name": "share of a core at 1 000 readings/s, window of 1920x1080 drawing 40 times a second",
            "value": share,
            "unit": "",
            "asked": "below 1",
            "ceiling": None,
            "ratio": None,
            "met": share < 1,
        },
        {
            "name": "one frame with a 60 s trace at 1 000 readings/s (readings judged, drawn), median",
            "value": whole_s * 1000,
            "unit": "ms",
            "asked": "at most 16",
            "ceiling": None,
            "ratio": None,
            "met": whole_s <= 0.016,
        },
    ]
