from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from PyQt6.QtCore import QElapsedTimer, QObject
from pytestqt.qtbot import QtBot

from station.views.beat import LEAST_MS, Beat


class Counted:
    """A beat, and when it called what."""

    def __init__(self, parent: QObject) -> None:
        self.frames = 0
        self.looks_ms: list[int] = []
        self.clock = QElapsedTimer()
        self.clock.start()
        self.beat = Beat(self.frame, self.look, parent)

    def frame(self) -> None:
        """Count a frame."""
        self.frames += 1

    def look(self) -> None:
        """Note when a look was made."""
        self.looks_ms.append(self.clock.elapsed())


@pytest.fixture
def counted(qapp: QObject) -> Iterator[Counted]:
    """Give a beat that runs."""
    parent = QObject(qapp)
    found = Counted(parent)
    found.beat.start()
    yield found
    found.beat.stop()
    parent.deleteLater()


def test_what_comes_from_another_thread_is_looked_at(qtbot: QtBot, counted: Counted) -> None:
    """A wake from a link's thread makes a look in the window's thread."""
    thread = threading.Thread(target=counted.beat.wake)
    thread.start()
    thread.join()
    assert counted.looks_ms == []
    qtbot.waitUntil(lambda: len(counted.looks_ms) == 1, timeout=20_000)


def test_many_wakes_make_few_looks_and_starve_no_frame(qtbot: QtBot, counted: Counted) -> None:
    """A thread that wakes without pause gets looks no closer than the least time apart, and frames go on."""
    done = threading.Event()

    def hands() -> None:
        while not done.is_set():
            counted.beat.wake()

    thread = threading.Thread(target=hands)
    thread.start()
    try:
        qtbot.waitUntil(lambda: len(counted.looks_ms) >= 8 and counted.frames >= 8, timeout=60_000)
    finally:
        done.set()
        thread.join()
    assert min(after - before for before, after in zip(counted.looks_ms, counted.looks_ms[1:], strict=False)) >= (
        LEAST_MS - 2  # whole milliseconds of two clocks
    )


def test_a_look_follows_a_wake_that_came_while_looking(qtbot: QtBot, counted: Counted) -> None:
    """Nothing that comes while a look is made waits for the next beat unseen."""
    looks = counted.looks_ms
    counted.beat._look = lambda: (
        looks.append(counted.clock.elapsed()),
        counted.beat.wake() if len(looks) < 3 else None,
    )
    counted.beat.wake()
    qtbot.waitUntil(lambda: len(looks) == 3, timeout=20_000)


def test_a_stopped_beat_looks_no_more(qtbot: QtBot, counted: Counted) -> None:
    """Once the window is closed, a wake of a link that still runs calls nothing; begun again, the beat looks again."""
    counted.beat.stop()
    counted.beat.wake()
    qtbot.wait(3 * LEAST_MS)
    assert counted.looks_ms == []
    counted.beat.start()
    counted.beat.wake()
    qtbot.waitUntil(lambda: len(counted.looks_ms) == 1, timeout=20_000)
