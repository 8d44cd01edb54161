"""When the window looks and draws: at a steady beat, and at once when something has come.

Readings come from the threads of the links. A look that waits for the next beat adds up to a whole beat to the time
from a reading to what it changes on the screen; so whoever brings readings calls `wake`, from any thread and as often
as it likes. Wakes that come together make one look, and two looks are never closer than `LEAST_MS`, so that a thousand
readings a second leave the window time to draw and to answer keys. After a beat a look is made at once: beats are rare.
"""

from __future__ import annotations

from collections.abc import Callable

from PyQt6.QtCore import QElapsedTimer, QObject, Qt, QTimer, pyqtSignal

FRAMES_PER_SECOND = 40
LEAST_MS = 8  # a look without a draw costs about 1 ms of processor, one with it about 5


class Beat(QObject):
    """Calls `frame` forty times a second while it runs, and `look` for what has come in between."""

    _woken = pyqtSignal()

    def __init__(self, frame: Callable[[], None], look: Callable[[], None], parent: QObject) -> None:
        super().__init__(parent)
        self._frame, self._look = frame, look
        self._is_waking = False  # a look is on its way already
        self._since = QElapsedTimer()
        self._since.start()  # since the last look
        self._woken.connect(self._plan_look)  # from another thread: queued
        self._soon = QTimer(self)
        self._soon.setTimerType(Qt.TimerType.PreciseTimer)
        self._soon.setSingleShot(True)
        self._soon.timeout.connect(self._look_now)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(round(1000 / FRAMES_PER_SECOND))
        self._timer.timeout.connect(self._frame)

    def start(self) -> None:
        """Begin to beat."""
        self._timer.start()

    def stop(self) -> None:
        """Stop: neither beats nor wakes call anything any more."""
        self._timer.stop()
        self._soon.stop()

    def wake(self) -> None:
        """Have a look made soon; may be called from any thread."""
        if not self._is_waking:
            self._is_waking = True
            self._woken.emit()

    def _plan_look(self) -> None:
        if self._timer.isActive():
            self._soon.start(max(0, LEAST_MS - self._since.elapsed()))
        else:
            self._is_waking = False

    def _look_now(self) -> None:
        self._is_waking = False  # before the look: what comes while it is made is looked at next
        self._look()
        self._since.restart()
