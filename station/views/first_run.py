"""The page on which a bench is set up: port and speed, what the scale sends, a known weight, and the station file."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtGui import QCloseEvent
from PyQt6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout

from station.views.form import Field, Form, labelled
from station.views.lettering import FAMILY
from station.views.page import Page, scrolled
from station.views.palette import Look, LookName, look_named
from station.views.work import Progress

_FRAME_MS = 100
_LINES = 6  # of what comes
_PAD = 12


class Shown(NamedTuple):
    """What the page shows of the wire: words, the last six reads, the reading, the comparison, and the foot.

    `tried` is how many tries are over, of how many, while some are still to come.
    """

    words: str
    heard: Sequence[str]
    reading: str
    compared: str
    foot: str
    may_save: bool
    tried: tuple[int, int] | None = None


class FirstRunPage(Page):
    """The wire and its answers at the right, what a person says at the left.

    `read` gives what to show, ten times a second. Each of `actions`, by its words, takes the answers by key and gives
    problems by key. The last of them saves. `stop` ends the trying.
    """

    def __init__(
        self,
        look: LookName,
        fields: Sequence[Field],
        read: Callable[[], Shown],
        actions: Mapping[str, Callable[[Mapping[str, str]], Mapping[str, str]]],
        stop: Callable[[], None],
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, "Set up this bench", scale=scale)
        colours = look_named(look)
        self._read = read
        halves = QHBoxLayout()
        halves.setSpacing(round(48 * scale))
        self.form = Form(fields)
        halves.addWidget(scrolled(self.form, self), 1)
        self.progress = Progress(self)
        self.progress.stop_button.clicked.connect(lambda _checked: stop())
        halves.addLayout(self._wire(colours, scale), 1)
        self.body.addLayout(halves, 1)
        self.buttons = {words: self._button(words, do) for words, do in actions.items()}
        self.save_button = list(self.buttons.values())[-1]
        self.save_button.setProperty("role", "main")
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.frame)
        self._timer.start(_FRAME_MS)
        self.frame()

    def frame(self) -> None:
        """Show how things stand."""
        now = self._read()
        self.reading.setText(now.reading)
        self.compared.setText(now.compared)
        self.words.setText(now.words)
        self.heard.setText("\n".join(self._fitting(each) for each in now.heard))
        self.foot_words.setText(now.foot)
        if now.tried is not None:
            done, of = now.tried
            self.progress.bar.setRange(0, of)
            self.progress.bar.setValue(done)
            self.progress.bar.setAccessibleName(f"{done} of {of} tries")
            self.progress.words.setText(f"{done} of {of} tried")
        self.progress.setVisible(now.tried is not None)
        for label in (self.compared, self.foot_words):
            label.setVisible(bool(label.text()))
        self.save_button.setEnabled(now.may_save)
        self.save_button.setVisible(now.may_save)

    def _fitting(self, line: str) -> str:
        room = self.heard.contentsRect().width() - 2 * _PAD
        return self.heard.fontMetrics().elidedText(line, Qt.TextElideMode.ElideRight, room)

    def _wire(self, colours: Look, scale: float) -> QVBoxLayout:
        right = QVBoxLayout()
        right.setSpacing(round(14 * scale))
        self.reading = self._large(round(84 * scale))
        self.compared = labelled("", "group", self)
        self.words = labelled("", "label", self)
        self.heard = QLabel(self)
        self.heard.setTextFormat(Qt.TextFormat.PlainText)
        self.heard.setStyleSheet(f"font-family: monospace; background: {colours.card}; padding: {_PAD}px;")
        self.heard.ensurePolished()
        self.heard.setFixedHeight((_LINES + 1) * self.heard.fontMetrics().lineSpacing() + 2 * _PAD)
        self.heard.setMinimumWidth(1)
        self.heard.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.foot_words = labelled("", "label", self)
        for widget in (
            self.reading,
            self.compared,
            self.words,
            self.progress,
            labelled("What it sends", "soft", self),
            self.heard,
        ):
            right.addWidget(widget)
        right.addWidget(self.foot_words)
        right.addStretch(1)
        right.addWidget(
            labelled(
                "A line under tension can whip. Hang weights low, over nothing that can be hurt. This check shows that "
                "the scale is read rightly; it does not replace the scale check.",
                "soft",
                self,
            )
        )
        return right

    def _large(self, pixels: int) -> QLabel:
        label = labelled("", "label", self)
        label.setStyleSheet(f"font-family: {FAMILY}; font-size: {pixels}px; font-weight: bold;")
        label.setAccessibleName("the scale's reading")
        return label

    def _button(self, words: str, do: Callable[[Mapping[str, str]], Mapping[str, str]]) -> QPushButton:
        button = self.button(words)
        button.clicked.connect(lambda _checked: self.form.say(do(self.form.answers())))
        return button

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Show no more, and say that the page was closed."""
        self._timer.stop()
        super().closeEvent(event)
