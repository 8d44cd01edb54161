"""A page of the program beside the bench: a title, its content, what there is to say at the foot, and the way back.

Esc goes back; what was typed and not kept is asked about first, and goes only when that is done once more. A page never
takes a foot pedal's key for an answer: it has nothing that the foot may do.
"""

from __future__ import annotations

from PyQt6.QtCore import QSize, Qt, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QKeyEvent, QResizeEvent
from PyQt6.QtWidgets import (
    QBoxLayout,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from station.views.form import Form, dress, labelled
from station.views.lettering import load_fonts
from station.views.palette import LookName, look_named

SIZE = (1600, 960)


class Keyed(QWidget):
    """A page on which Enter presses the button that has the focus, and Esc the one that leads back, if there is one."""

    closed = pyqtSignal()
    back_button: QPushButton | None = None

    def keyPressEvent(self, event: QKeyEvent | None) -> None:  # noqa: N802 Qt's name
        """Press a button; a key that repeats by itself presses none."""
        if event is None or event.isAutoRepeat():
            return
        focus = self.focusWidget()
        if event.key() == Qt.Key.Key_Escape and self.back_button is not None:
            self.back_button.click()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and isinstance(focus, QPushButton):
            focus.click()
        else:
            super().keyPressEvent(event)

    def add_back(self, row: QBoxLayout) -> None:
        """Put the button that leads back into a row."""
        self.back_button = QPushButton("Back (Esc)", self)
        self.back_button.clicked.connect(lambda _checked: self.close())
        row.addWidget(self.back_button)


class Page(Keyed):
    """One page; `body` takes its content, `foot` its buttons. `say` writes the line above them."""

    asked_before = False  # whether it was said that what is typed would be lost

    def __init__(self, look: LookName, title: str, text: str = "", *, scale: float = 1.0) -> None:
        super().__init__()
        load_fonts()
        self.scale = scale
        self.setWindowTitle(f"fidbench: {title.lower()}")
        self.setAccessibleName(title)
        self.setStyleSheet(dress(look_named(look), scale))
        self.resize(round(SIZE[0] * scale), round(SIZE[1] * scale))
        margin = round(40 * scale)
        page = QVBoxLayout(self)
        page.setContentsMargins(margin, margin, margin, margin)
        page.setSpacing(round(20 * scale))
        page.addWidget(labelled(title, "title", self))
        if text:
            page.addWidget(labelled(text, "soft", self))
        self.body = QVBoxLayout()
        page.addLayout(self.body, 1)
        self.said = labelled("", "soft", self)
        self.said.hide()
        page.addWidget(self.said)
        self.foot = QHBoxLayout()
        self.foot.setSpacing(round(16 * scale))
        self.add_back(self.foot)
        self.foot.addStretch(1)
        page.addLayout(self.foot)

    def unkept(self) -> str:
        """Say what was typed and is kept nowhere; nothing where all is kept."""
        return ""

    def may_leave(self) -> bool:
        """Tell whether what is typed may go: where nothing is, or once that was asked before. Else ask."""
        what = self.unkept()
        if not what or self.asked_before:
            self.asked_before = False
            return True
        self.asked_before = True
        self.say(f"{what} is not kept yet. Keep it, or do that once more and it is gone.", wrong=True)
        return False

    def say(self, words: str, *, wrong: bool = False) -> None:
        """Say what came of it; what went wrong is set apart, and begins with a word that says so."""
        self.said.setProperty("role", "error" if wrong else "plain")
        self.said.setText(f"Not done: {words}" if wrong else words)
        self.said.setAccessibleName(self.said.text())
        self.said.setStyleSheet(self.said.styleSheet())  # asks the page's style again
        self.said.setVisible(bool(words))

    def button(self, words: str, *, main: bool = False) -> QPushButton:
        """Give a new button at the foot of the page."""
        button = QPushButton(words, self)
        if main:
            button.setProperty("role", "main")
        self.foot.addWidget(button)
        return button

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Ask about what is not kept, where somebody goes back; say that the page was closed."""
        if event is not None and not self.signalsBlocked() and not self.may_leave():
            event.ignore()
            return
        self.closed.emit()
        super().closeEvent(event)


class Rows(QListWidget):
    """A list whose rows are as high as their words: Qt itself forgets padding and scroll bar, and cuts them off."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWordWrap(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    def resizeEvent(self, event: QResizeEvent | None) -> None:  # noqa: N802 Qt's name
        """Keep the heights to the width."""
        super().resizeEvent(event)
        self.fit()

    def fit(self) -> None:
        """Give every row its height."""
        metrics, viewport = self.fontMetrics(), self.viewport()
        width = (viewport.width() if viewport is not None else self.width()) - 2 * metrics.height()  # padding and box
        for row in range(self.count()):
            item = self.item(row)
            if item is not None:
                room = metrics.boundingRect(0, 0, width, 10_000, Qt.TextFlag.TextWordWrap, item.text())
                item.setSizeHint(QSize(0, room.height() + metrics.height()))


def scrolled(form: Form, parent: QWidget) -> QScrollArea:
    """Give room in which a form is scrolled up and down, never sideways."""
    room = QScrollArea(parent)
    room.setWidgetResizable(True)
    room.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    room.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    room.setWidget(form)
    return room


def add_row(rows: QListWidget, words: str, key: object) -> None:
    """Add a row of one or two lines to a list, heard as one."""
    item = QListWidgetItem(words, rows)
    item.setData(Qt.ItemDataRole.UserRole, key)
    item.setData(Qt.ItemDataRole.AccessibleTextRole, words.replace("\n", ", "))
