"""How soon the window is there, how soon it shows what changed, and how soon the commands answer."""

from __future__ import annotations

import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

from PyQt6.QtCore import QEventLoop, QTimer
from PyQt6.QtWidgets import QApplication

from drivers.events import Event, Reading, Tick
from station.at_window import AtWindow
from tests.benchmarks.bench import workbench

CHANGES, RATE = 150, 1000
STARTS = 5
FIRST_PAINT = """
import sys, time
from PyQt6.QtCore import QEvent, QObject, QTimer
from PyQt6.QtWidgets import QApplication, QWidget
from station import cli
app = QApplication(sys.argv[:1])
class First(QObject):
    def eventFilter(self, of, event):
        if event.type() == QEvent.Type.Paint and isinstance(of, QWidget):
            app.removeEventFilter(self)
            QTimer.singleShot(0, self.painted)
        return False
    def painted(self):
        print(time.monotonic())
        app.closeAllWindows()
        app.quit()
first = First()
app.installEventFilter(first)
sys.argv = ["fidbench", *sys.argv[1:]]
cli.main()
"""


def start_s(platform: str, folder: Path, display: str | None = None) -> float:
    """Give how long `fidbench open` takes from the command to its first painted window, at the median."""
    environment = {**os.environ, "QT_QPA_PLATFORM": platform, "XDG_DATA_HOME": str(folder)}
    if display is not None:
        environment["DISPLAY"] = display
    took = []
    for _ in range(STARTS):
        began = time.monotonic()
        run = subprocess.run(
            [sys.executable, "-c", FIRST_PAINT, "open", "--archive", str(folder / "a.sqlite")],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        )
        took.append(float(run.stdout.split()[-1]) - began)
    return statistics.median(took)


def started_on_x(folder: Path) -> float | None:
    """Give the same on a real X display; None where no virtual one is installed."""
    xvfb = shutil.which("Xvfb")
    if xvfb is None:
        return None
    readable, writable = os.pipe()
    server = subprocess.Popen(
        [xvfb, "-displayfd", str(writable), "-screen", "0", "1920x1080x24"],
        pass_fds=[writable],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writable)
    try:
        with os.fdopen(readable) as number:
            return start_s("xcb", folder, f":{number.readline().strip()}")
    finally:
        server.terminate()
        server.wait()


def help_s() -> float:
    """Give how long `fidbench --help` takes, at the median."""
    took = []
    for _ in range(9):
        began = time.monotonic()
        subprocess.run(
            [sys.executable, "-c", "from station.cli import main; main()", "--help"], capture_output=True, check=True
        )
        took.append(time.monotonic() - began)
    return statistics.median(took)


def shown_after_ms() -> list[float]:
    """Give, for each change of state, the time from the reading that caused it to the painted sentence.

    Readings come a thousand a second from a thread, as from a port; the pull leaves the band and comes back at moments
    drawn at random. The window runs as it does at the bench, on its own timer.
    """
    app = QApplication.instance() or QApplication([])
    desk = workbench()
    chance = random.Random(1)  # noqa: S311 -- repeatable, no secret
    queue: deque[Event] = deque()
    caused: deque[tuple[float, bool]] = deque()
    took: list[float] = []
    done = threading.Event()
    origin_us, origin = desk.at_us + 1000, time.monotonic()

    def now_us() -> int:
        return origin_us + round((time.monotonic() - origin) * 1e6)

    def hands() -> None:
        inside, number, next_s, due = True, 0, origin + 2.0, origin
        while True:
            due += 1 / RATE
            time.sleep(max(0.0, due - time.monotonic()))
            at_us = now_us()
            if time.monotonic() >= next_s:
                if number == CHANGES:
                    break
                inside, number, next_s = not inside, number + 1, time.monotonic() + chance.uniform(0.08, 0.18)
                caused.append((time.monotonic(), inside))
            queue.append(Reading(at_us, 31.0 if inside else 22.0, "lbf", None, at_us))
            at_window.window.wake()
        time.sleep(0.3)
        done.set()

    def events() -> list[Event]:
        came = [queue.popleft() for _ in range(len(queue))]
        return [*came, Tick(now_us())]

    at_window = AtWindow(desk.bench, events, "dark")
    window = at_window.window
    window.resize(1920, 1080)
    sentence = window.sentence
    draw = sentence.draw

    def drawn(sheet: Any, content: Any) -> None:
        draw(sheet, content)
        text = content.sentence.text
        is_inside = "to go" in text or "fall below" in text  # the time is running
        shown = max((n for n, (_, state) in enumerate(list(caused), 1) if state == is_inside), default=0)
        # One that was overtaken before it was shown is late until here.
        took.extend((time.monotonic() - caused.popleft()[0]) * 1000 for _ in range(shown))

    sentence.draw = drawn
    window.show()
    window.start()
    thread = threading.Thread(target=hands, daemon=True)
    thread.start()
    loop, watch = QEventLoop(), QTimer()
    watch.timeout.connect(lambda: loop.quit() if done.is_set() else None)
    watch.start(50)
    loop.exec()
    thread.join()
    window.close()
    app.processEvents()
    return took + [(time.monotonic() - began) * 1000 for began, _ in caused]  # never shown: late until now


def figures() -> list[dict[str, Any]]:
    """Measure all of it."""
    took = shown_after_ms()
    with tempfile.TemporaryDirectory() as folder:
        offscreen, on_x, helped = start_s("offscreen", Path(folder)), started_on_x(Path(folder)), help_s()
    slow = sorted(took)[int(0.99 * CHANGES)]
    rows: list[tuple[str, float | None, str, str, float]] = [
        (f"from the reading to its change of state on the screen, 99 % of {CHANGES}", slow, "ms", "at most 50", 50),
        ("from `fidbench open` to its window, without a display, median", offscreen, "s", "at most 1.5", 1.5),
        ("from `fidbench open` to its window, on an X display, median", on_x, "s", "at most 1.5", 1.5),
        ("`fidbench --help`, median", helped, "s", "at most 0.25", 0.25),
    ]
    return [
        {
            "name": name,
            "value": value,
            "unit": unit,
            "asked": asked,
            "ceiling": None,
            "ratio": None,
            "met": None if value is None else value <= most,
        }
        for name, value, unit, asked, most in rows
    ]
