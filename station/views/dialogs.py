"""What only a keyboard may say: sign-off, inspection, override, scrap or release. Never the foot.

The keys of a foot pedal do nothing here, and Space writes a space. Enter answers from wherever it is pressed; in a
field of several rows Shift and Enter begin a new one. What was typed is left only once that was asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PyQt6.QtCore import QEvent, QObject, Qt
from PyQt6.QtGui import QKeyEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QDialog, QHBoxLayout, QPlainTextEdit, QPushButton, QScrollArea, QVBoxLayout, QWidget

from station.views.form import Field, Form, dress, labelled
from station.views.palette import Look
from station.views.signs import pen_of

__all__ = ["Field", "Question", "ask"]


class Question(QDialog):
    """A title, what it is about, the fields, and two buttons: the answer, and the way back."""

    def __init__(
        self, parent: QWidget | None, look: Look, title: str, text: str, fields: Sequence[Field], answer: str
    ) -> None:
        super().__init__(parent)
        self._look = look
        self._asked_before = False  # whether it was said that what is typed would be lost
        self.setWindowTitle(title)
        self.setModal(True)
        self.setAccessibleName(title)
        self.setAccessibleDescription(text)
        scale = min(1.0, max(0.6, (parent.height() if parent is not None else 1080) / 1080))
        self.setStyleSheet(dress(look, scale))
        column = QVBoxLayout(self)
        margin = round(40 * scale)
        column.setContentsMargins(margin, margin, margin, margin)
        column.setSpacing(round(20 * scale))
        column.addWidget(labelled(title, "title", self))
        if text:
            column.addWidget(labelled(text, "soft", self))
        self.form = Form(fields)
        for edit in self.form.findChildren(QPlainTextEdit):
            edit.installEventFilter(self)
        room = QScrollArea(self)
        room.setWidgetResizable(True)
        room.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        room.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        room.setWidget(self.form)
        column.addWidget(room, 1)
        row = QHBoxLayout()
        row.addStretch(1)
        self.leave_button = QPushButton("Back (Esc)", self)
        self.leave_button.setAutoDefault(False)
        self.leave_button.clicked.connect(self.reject)
        self.answer_button = QPushButton(f"{answer} (Enter)", self)
        self.answer_button.setProperty("role", "main")
        self.answer_button.setDefault(True)
        self.answer_button.clicked.connect(self._answered)
        if not fields:  # nothing is asked: there is only to go back
            self.answer_button.hide()
            self.leave_button.setProperty("role", "main")
            self.leave_button.setDefault(True)
        row.addWidget(self.leave_button)
        row.addWidget(self.answer_button)
        column.addLayout(row)
        needed = sum(field.required for field in fields)  # each may need a line that says so
        wanted = self.form.sizeHint().height() + round((300 + 32 * needed) * scale)
        most = parent.height() if parent is not None else 900
        self.resize(round(960 * scale), min(wanted, most))
        if self.form.inputs:
            next(iter(self.form.inputs.values())).setFocus()

    def reject(self) -> None:
        """Go back; where something was typed, ask first."""
        if self.form.is_changed and not self._asked_before:
            self._asked_before = True
            self.leave_button.setText("Back, and lose what you typed (Esc)")
            self.leave_button.setAccessibleName(self.leave_button.text())
            return
        super().reject()

    def _answered(self) -> None:
        missing = self.form.missing()
        self.form.say(missing)
        if not missing:
            self.accept()

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:  # noqa: N802 Qt's name
        """Take Enter, which a field of several rows would make a new row of, unless Shift is held."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            shifted = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not shifted:
                self.keyPressEvent(event)
                return True
        return super().eventFilter(watched, event)

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint an edge, so that it stands off from the window below where the screen gives it no frame."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setPen(pen_of(self._look.soft, 4))
        painter.drawRect(self.rect())
        painter.end()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:  # noqa: N802 Qt's name
        """Take Enter and Esc once for each press, never by themselves repeating."""
        if event is not None and not event.isAutoRepeat():
            super().keyPressEvent(event)


def ask(
    parent: QWidget | None, look: Look, title: str, text: str, fields: Sequence[Field], answer: str = "Done"
) -> Mapping[str, str] | None:
    """Ask, and give the answers by key once every needed field is filled; None where the person leaves it."""
    question = Question(parent, look, title, text, fields, answer)
    try:
        return question.form.answers() if question.exec() == QDialog.DialogCode.Accepted else None
    finally:
        question.deleteLater()
