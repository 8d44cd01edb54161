"""A plain form for the keyboard: fields with labels, what must be answered said in words, errors beside their field."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from PyQt6.QtCore import QPointF, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QPainter, QPaintEvent, QPolygonF, QShowEvent
from PyQt6.QtWidgets import QComboBox, QGridLayout, QLabel, QLineEdit, QPlainTextEdit, QScrollArea, QSizePolicy, QWidget

from station.units import NO_BREAK, kept_together
from station.views.lettering import FAMILY
from station.views.palette import Look

_JOINER = "\N{WORD JOINER}"


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to answer. With `choices` it is one of them; `rows` above 1 gives room to write.

    Fields of one `group` stand together under its name.
    """

    key: str
    label: str
    required: bool = False
    default: str = ""
    group: str = ""
    hint: str = ""
    choices: tuple[str, ...] = ()
    rows: int = 1


Input = QLineEdit | QComboBox | QPlainTextEdit


def dress(look: Look, scale: float = 1.0) -> str:
    """Give the style sheet in which forms, lists and plain buttons stand in a look, to be read at arm's length."""
    label, title, group = round(21 * scale), round(34 * scale), round(24 * scale)
    pad, edge, strong, round_by = round(9 * scale), max(1, round(2 * scale)), max(2, round(4 * scale)), round(6 * scale)
    return f"""
        QWidget {{ background: {look.ground}; color: {look.ink}; font-family: {FAMILY}; font-size: {label}px; }}
        QLabel[role="title"] {{ font-size: {title}px; font-weight: bold; }}
        QLabel[role="group"] {{ font-size: {group}px; font-weight: bold; padding: {2 * pad}px 0 0 0; }}
        QLabel[role="soft"] {{ color: {look.soft}; }}
        QLabel[role="error"] {{ color: {look.ceiling}; font-weight: bold; }}
        QLabel[role="label"] {{ padding: {pad + edge}px 0; }}
        QLineEdit, QPlainTextEdit, QTextEdit, QComboBox, QListWidget {{
            background: {look.card}; border: {edge}px solid {look.soft}; border-radius: {round_by}px; padding: {pad}px;
            selection-background-color: {look.act}; selection-color: {look.ground};
            placeholder-text-color: {look.soft};
        }}
        QLineEdit:focus, QPlainTextEdit:focus, QTextEdit:focus, QComboBox:focus, QListWidget:focus {{
            border: {strong}px solid {look.act}; padding: {pad + edge - strong}px;
        }}
        QComboBox::drop-down {{ border: none; width: {5 * pad}px; }}
        QComboBox {{ combobox-popup: 0; }}  /* a plain list under the box: a menu has edges that no look reaches */
        QComboBox QAbstractItemView {{ background: {look.card}; border: {edge}px solid {look.soft}; outline: 0; }}
        QComboBox QAbstractItemView::item {{ padding: {pad}px; }}
        QComboBox QAbstractItemView::item:selected {{ background: {look.act}; color: {look.ground}; }}
        QListWidget::item {{ padding: {pad}px; border-bottom: {edge}px solid {look.rule}; }}
        QListWidget::item:selected {{ background: {look.act}; color: {look.ground}; }}
        QListWidget::indicator {{ border: {edge}px solid {look.ink}; background: {look.card}; }}
        QListWidget::indicator {{ width: {round(12 * scale)}px; height: {round(12 * scale)}px; }}
        QListWidget::indicator:checked {{ background: {look.ink}; }}  /* full: as what is to be remade is drawn */
        QPushButton {{
            background: {look.card}; border: {edge}px solid {look.soft}; border-radius: {round_by}px;
            padding: {pad}px {3 * pad}px; min-height: {round(34 * scale)}px; outline: 0;
        }}
        QPushButton:focus {{ border: {strong}px solid {look.act}; }}
        QPushButton[role="main"] {{ background: {look.act}; color: {look.ground}; font-weight: bold; }}
        QPushButton[role="main"]:focus {{ border: {strong}px solid {look.ink}; }}
        QPushButton:disabled {{ color: {look.soft}; border: {edge}px dashed {look.soft}; background: {look.ground}; }}
        QProgressBar {{
            background: {look.track}; border: {edge}px solid {look.soft}; border-radius: {round_by}px;
            text-align: center; min-height: {round(34 * scale)}px;
        }}
        QProgressBar::chunk {{ background: {look.act}; }}
        QScrollArea {{ border: none; }}
        QScrollBar:vertical {{ background: {look.ground}; width: {round(14 * scale)}px; }}
        QScrollBar::handle:vertical {{ background: {look.soft}; border-radius: {round_by}px; min-height: 40px; }}
        QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
    """


class _Label(QLabel):
    """A label whose lines end within no figure, no line's name and not after the slash that a path begins with."""

    def __init__(self, text: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setText(text)

    def setText(self, text: str | None) -> None:  # noqa: N802 Qt's name
        """Show a text."""
        super().setText(re.sub(r"(?<!\S)/(?=\S)", f"/{_JOINER}", kept_together(text or "")))

    def text(self) -> str:
        """Give the text as it was set."""
        return super().text().replace(NO_BREAK, " ").replace(_JOINER, "")


def labelled(text: str, role: str, parent: QWidget | None = None) -> QLabel:
    """Give a label that plays a part: title, group, label, soft or error."""
    label = _Label(text, parent)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setProperty("role", role)
    label.setWordWrap(True)
    label.setIndent(0)
    policy = label.sizePolicy()
    policy.setVerticalPolicy(QSizePolicy.Policy.Maximum)
    label.setSizePolicy(policy)
    return label


class Choice(QComboBox):
    """A choice of a few, with a wedge large enough to be seen; a long one makes the form no wider."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(8)

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint the box, and the wedge over it."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.palette().text())
        middle, side = self.height() / 2, self.height() * 0.16
        right = self.width() - self.height() * 0.36
        painter.drawPolygon(
            QPolygonF(
                [
                    QPointF(right - 2 * side, middle - side * 0.6),
                    QPointF(right, middle - side * 0.6),
                    QPointF(right - side, middle + side * 0.8),
                ]
            )
        )
        painter.end()


class Form(QWidget):
    """The fields, in their groups, with room for an error beside each. `typed` tells that something was changed."""

    typed = pyqtSignal()

    def __init__(self, fields: Sequence[Field], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.fields = tuple(fields)
        self.inputs: dict[str, Input] = {}
        self._as_filled: dict[str, str] = {}
        self._labels: dict[str, QLabel] = {}
        self._sought = ""
        self._seeking = QTimer(self)  # the form's own, so that it goes with the form
        self._seeking.setSingleShot(True)
        self._seeking.timeout.connect(self._bring_into_sight)
        self._errors: dict[str, QLabel] = {}
        grid = QGridLayout(self)
        grid.setColumnStretch(0, 2)
        grid.setColumnStretch(1, 3)
        grid.setContentsMargins(0, 0, 14, 0)
        grid.setHorizontalSpacing(24)
        group, row = "", 0
        for field in self.fields:
            if field.group != group:
                group = field.group
                grid.addWidget(labelled(group, "group", self), row, 0, 1, 2)
                row += 1
            label = labelled(field.label + (" (needed)" if field.required else ""), "label", self)
            edit = _input(field, self)
            label.setBuddy(edit)
            edit.setAccessibleName(label.text())
            changed = edit.currentTextChanged if isinstance(edit, QComboBox) else edit.textChanged
            changed.connect(partial(self._typed_in, field.key))
            error = labelled("", "error", self)
            error.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)  # as many rows as it takes
            error.hide()
            grid.addWidget(label, row, 0, Qt.AlignmentFlag.AlignTop)
            grid.addWidget(edit, row, 1)
            grid.addWidget(error, row + 1, 1)
            row += 2
            self.inputs[field.key] = edit
            self._labels[field.key] = label
            self._errors[field.key] = error
        grid.setRowStretch(row, 1)
        self.settle()

    def showEvent(self, event: QShowEvent | None) -> None:  # noqa: N802 Qt's name
        """Give fields of several rows their height, once the style has said how high a row is."""
        super().showEvent(event)
        for field in self.fields:
            edit = self.inputs[field.key]
            if isinstance(edit, QPlainTextEdit):
                edit.ensurePolished()
                edit.setFixedHeight(edit.fontMetrics().lineSpacing() * field.rows + 2 * edit.fontMetrics().height())

    def answers(self) -> dict[str, str]:
        """Give what stands in every field, without spaces at its ends."""
        return {key: _text(edit).strip() for key, edit in self.inputs.items()}

    def fill(self, answers: Mapping[str, str], *, settled: bool = True) -> None:
        """Let `answers` stand in the fields, and nothing in a field without one; not `settled`, as if typed."""
        for key, edit in self.inputs.items():
            text = answers.get(key, "")
            if isinstance(edit, QComboBox):
                edit.setCurrentText(text)
            elif isinstance(edit, QPlainTextEdit):
                edit.setPlainText(text)
            else:
                edit.setText(text)
                edit.setCursorPosition(0)
        if settled:
            self.settle()

    def settle(self) -> None:
        """Take what stands in the fields now for what they were filled with."""
        self._as_filled = self.answers()

    @property
    def is_changed(self) -> bool:
        """Tell whether something else stands in the fields than they were filled with."""
        return self.answers() != self._as_filled

    def show_field(self, key: str, is_asked: bool) -> None:
        """Show a field or hide it, with its label and what was said of it."""
        for part in (self._labels[key], self.inputs[key]):
            part.setVisible(is_asked)
        self._errors[key].setVisible(is_asked and bool(self._errors[key].text()))

    def missing(self) -> dict[str, str]:
        """Give, for each needed field that is empty, words that say so."""
        answers = self.answers()
        return {
            field.key: "This is needed, and it is empty."
            for field in self.fields
            if field.required and not answers[field.key]
        }

    def say(self, problems: Mapping[str, str], *, go: bool = True) -> None:
        """Show each problem beside its field, clear all others, and `go` to the first. Unknown keys are a KeyError."""
        for key in problems:
            if key not in self.inputs:
                raise KeyError(key)
        for key in self.inputs:
            self._tell(key, problems.get(key, ""))
        first = next((key for key in self.inputs if problems.get(key)), None)
        if first is not None and go:
            self.inputs[first].setFocus(Qt.FocusReason.OtherFocusReason)
            self._sought = first
            self._seeking.start()

    def _typed_in(self, key: str, *_text: str) -> None:
        """Take away what was said of a field before it was changed, and tell that something was typed."""
        self._tell(key, "")
        self.typed.emit()

    def _tell(self, key: str, text: str) -> None:
        label = self._errors[key]
        label.setText(text)
        label.setVisible(bool(text))
        self.inputs[key].setAccessibleDescription(text)

    def _bring_into_sight(self) -> None:
        """Scroll to what was said, once it has its place."""
        above = self.parentWidget()
        room = above.parentWidget() if above is not None else None
        if isinstance(room, QScrollArea):
            room.ensureWidgetVisible(self._errors[self._sought])


def _input(field: Field, parent: QWidget) -> Input:
    if field.choices:
        choice = Choice(parent)
        choice.addItems(list(field.choices))
        choice.setCurrentText(field.default or field.choices[0])
        return choice
    if field.rows > 1:
        text = QPlainTextEdit(field.default, parent)
        text.setTabChangesFocus(True)
        text.setPlaceholderText(field.hint)
        return text
    line = QLineEdit(field.default, parent)
    line.setPlaceholderText(field.hint)
    return line


def _text(edit: Input) -> str:
    if isinstance(edit, QComboBox):
        return edit.currentText()
    return edit.toPlainText() if isinstance(edit, QPlainTextEdit) else edit.text()
