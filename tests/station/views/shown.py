"""A bench window that shows an invented moment, and remembers what was sent from it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PyQt6.QtCore import QCoreApplication, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from station.bench.snapshot import Command, Snapshot, TraceCard
from station.views.palette import LookName
from station.views.window import BenchWindow
from tests.station.views.gallery import GALLERY

PX_PER_M = 1920 / 0.5314  # of a 24-inch screen


class Bench:
    """One window and what it was given and sent."""

    def __init__(
        self,
        qtbot: QtBot,
        name: str,
        look: LookName = "dark",
        size: tuple[int, int] = (1920, 1080),
        **options: Any,
    ) -> None:
        self.snapshot: Snapshot = GALLERY[name]()
        self.sent: list[Command] = []
        self.pedal: list[bool] = []
        self.faults: list[BaseException] = []
        settings: dict[str, Any] = {
            "on_pedal": self.pedal.append,
            "on_fault": self.faults.append,
            "px_per_m": PX_PER_M,
            **options,
        }
        send = settings.pop("send", self.sent.append)
        self.window = BenchWindow(look, lambda: self.snapshot, send, **settings)
        qtbot.addWidget(self.window)
        self.window.resize(*size)
        self.window.show()
        qtbot.waitExposed(self.window)
        self.window.activateWindow()
        qtbot.waitUntil(self.window.isActiveWindow)
        self.draw()

    def draw(self) -> None:
        """Let the window draw one frame, whole."""
        self.window.frame()
        QCoreApplication.sendPostedEvents()
        QApplication.processEvents()

    def change(self, **changes: Any) -> None:
        """Show the same moment with something changed."""
        self.snapshot = replace(self.snapshot, **changes)
        self.draw()

    def card(self, **changes: Any) -> TraceCard:
        """Give the trace that is shown with something changed."""
        card = self.snapshot.card
        assert isinstance(card, TraceCard)
        return replace(card, **changes)


def key(target: QWidget, which: Qt.Key, *, down: bool, repeats: bool = False, text: str = "") -> None:
    """Send one key event."""
    kind = QKeyEvent.Type.KeyPress if down else QKeyEvent.Type.KeyRelease
    QApplication.sendEvent(target, QKeyEvent(kind, which, Qt.KeyboardModifier.NoModifier, text, repeats))
