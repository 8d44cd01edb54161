"""Long work beside the window: how far it is, and a button that stops it.

Work runs in a thread of its own and tells how far it is; telling is also where it learns that it was stopped. What was
stopped leaves nothing behind: whoever writes a file writes it whole or not at all.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from PyQt6.QtCore import QTimer, pyqtSignal
from PyQt6.QtWidgets import QHBoxLayout, QProgressBar, QPushButton, QWidget

from station.faults import is_fault
from station.views.form import labelled

Tell = Callable[[int, int], None]
"""Takes how many of how many are done, 0 of 0 where nobody knows; raises `Stopped` where the work was stopped."""


class Stopped(Exception):
    """The work was stopped by the person who began it."""


class Progress(QWidget):
    """A row that says how far something is, with a button to stop it."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        self.words = labelled("", "plain", self)
        self.bar = QProgressBar(self)
        self.bar.setTextVisible(False)
        self.stop_button = QPushButton("Stop", self)
        row.addWidget(self.words, 2)
        row.addWidget(self.bar, 3)
        row.addWidget(self.stop_button)
        self.hide()


class Work(Progress):
    """Shows one piece of work at a time; hidden while there is none. `said` gives what came of it where not done."""

    told = pyqtSignal(int, int)
    ended = pyqtSignal(object, object)
    said = pyqtSignal(str, bool)  # the words, and whether it went wrong

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._then: Callable[[Any], None] = lambda _: None
        self._last, self._called = 0, ""
        self.stop_button.clicked.connect(self.stop)
        self.told.connect(self._told)
        self.ended.connect(self._ended)

    @property
    def is_running(self) -> bool:
        """Tell whether work is under way."""
        return self._thread is not None

    def begin(self, words: str, run: Callable[[Tell], Any], then: Callable[[Any], None]) -> None:
        """Begin work called `words`; `then` takes what it gives, in the window's own thread."""
        if self.is_running:
            self.said.emit(f"{self._called} is still running. Stop it first, or wait", True)
            return
        self._stop.clear()
        self._then, self._last, self._called = then, 0, words
        self.words.setText(words)
        self.bar.setRange(0, 0)
        self.bar.setAccessibleName(words)
        self.stop_button.setEnabled(True)
        self.stop_button.setAccessibleName(f"Stop: {words}")
        self.show()
        self._thread = threading.Thread(target=self._run, args=(run,), name=words, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask the work to stop where it is next told how far it is."""
        if self.is_running:
            self._stop.set()
            self.stop_button.setEnabled(False)
            self.words.setText(f"{self._called}: stopping")

    def wait(self) -> None:
        """Stop the work, and come back when it has stopped."""
        thread = self._thread
        if thread is not None:
            self.stop()
            thread.join()
            self._thread = None

    def _run(self, run: Callable[[Tell], Any]) -> None:
        try:
            found, fault = run(self._tell), None
        except BaseException as thrown:
            found, fault = None, thrown
        if self._stop.is_set() and fault is None:
            fault = Stopped()
        self.ended.emit(found, fault)

    def _tell(self, done: int, of: int) -> None:
        if self._stop.is_set():
            raise Stopped
        share = done * 1000 // of if of else 0
        if share != self._last:  # the window hears of a thousandth at a time
            self._last = share
            self.told.emit(share, 1000)

    def _told(self, share: int, whole: int) -> None:
        if self.is_running:
            self.bar.setRange(0, whole)
            self.bar.setValue(share)
            if not self._stop.is_set():
                self.words.setText(f"{self._called}: {100 * share // whole} %")

    def _ended(self, found: object, fault: BaseException | None) -> None:
        if self._thread is None:
            return
        self._thread.join()
        self._thread = None
        had_focus = self.stop_button.hasFocus()
        self.hide()
        parent = self.parentWidget()
        if had_focus and parent is not None:
            QTimer.singleShot(0, parent.setFocus)
        if fault is None:
            self._then(found)
        elif isinstance(fault, Stopped):
            self.said.emit("Stopped. Nothing was written.", False)
        elif is_fault(fault) or isinstance(fault, OSError):
            self.said.emit(str(fault), True)
        else:
            raise fault
