"""A panel: one part of the window, which paints what it is given and knows when that has changed.

- It paints again only when what it shows has changed.
- What it paints is said a second time, as words, by a label that lies over it and paints nothing, so that a screen
  reader finds it.
- Nothing that goes wrong while it paints is swallowed: it is handed to `on_fault`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PyQt6.QtWidgets import QLabel, QWidget

from station.views.arrangement import Box
from station.views.lettering import Sheet, Written
from station.views.palette import Look

T = TypeVar("T")
OnFault = Callable[[BaseException], None]


class Mirror(QLabel):
    """Says what a panel paints, for those who hear the screen; seen, it is nothing. Its name is what stands there."""

    def __init__(self, panel: QWidget, name: str) -> None:
        super().__init__(panel)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAccessibleName(name)
        self.setAccessibleDescription(name)

    def paintEvent(self, _event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint nothing: the panel beneath has painted it all."""


class Panel(QWidget, Generic[T]):
    """One part of the window showing a content of type `T`; `on_card` sets it on the card's ground."""

    on_card = False

    def __init__(self, name: str, look: Look, on_fault: OnFault, parent: QWidget) -> None:
        super().__init__(parent)
        self.look = look
        self.scale = 1.0
        self.written: list[Written] = []
        self._content: T | None = None
        self._on_fault = on_fault
        self._mirror = Mirror(self, name)
        self.setAccessibleName(name)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    @property
    def ground(self) -> str:
        """Give the colour the panel stands on."""
        return self.look.card if self.on_card else self.look.ground

    def present(self, content: T) -> None:
        """Show `content`; do nothing where that is shown already."""
        if self._content is not None and self._same(self._content, content):
            return
        repaints = self.repaints(self._content, content)
        self._content = content
        words = self.words(content)
        if words != self._mirror.text():
            self._mirror.setText(words)
            self._mirror.setAccessibleName(words or self.accessibleName())
        self.changed(content)
        if repaints:
            self.update()

    def place(self, box: Box, scale: float) -> None:
        """Stand at `box`, drawn at `scale`."""
        if scale != self.scale:
            self.scale = scale
            self.update()
        self.setGeometry(box.x, box.y, box.width, box.height)

    @property
    def said(self) -> str:
        """Give what the panel says to those who hear the screen."""
        return self._mirror.text()

    def words(self, content: T) -> str:
        """Say the content in words."""
        raise NotImplementedError

    def draw(self, sheet: Sheet, content: T) -> None:
        """Paint the content."""
        raise NotImplementedError

    def changed(self, content: T) -> None:
        """Take up new content before it is painted; most panels need not."""

    def repaints(self, old: T | None, new: T) -> bool:  # noqa: ARG002 most panels paint whatever changes
        """Tell whether new content asks this panel itself to be painted."""
        return True

    def _same(self, old: T, new: T) -> bool:
        return old is new or old == new

    def resizeEvent(self, _event: QResizeEvent | None) -> None:  # noqa: N802 Qt's name
        """Keep the mirror over the whole panel."""
        self._mirror.setGeometry(self.rect())

    def paintEvent(self, _event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint the ground and then the content."""
        painter = QPainter(self)
        try:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            sheet = Sheet(painter, self.look, self.scale, self.ground, self.width(), self.height())
            if self.on_card:
                painter.fillRect(self.rect(), QColor(self.look.ground))
                sheet.fill(QRectF(self.rect()), self.look.card, sheet.px(10))
            else:
                painter.fillRect(self.rect(), QColor(self.look.ground))
            if self._content is not None:
                self.draw(sheet, self._content)
            self.written = sheet.written
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._on_fault(fault)
        finally:
            painter.end()
