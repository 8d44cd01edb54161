"""The window's own two switches, sound and the view from afar: each a large button with its key's letter."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent
from PyQt6.QtWidgets import QAbstractButton, QWidget

from station.views.lettering import Sheet, draw_text
from station.views.palette import Look
from station.views.panel import OnFault
from station.views.signs import loudspeaker, pen_of, two_frames
from station.views.type_sizes import CAP_SHARE, SMALL

Act = Literal["sound", "far"]
_KEYS: dict[Act, str] = {"sound": "M", "far": "V"}
_NAMES: dict[Act, tuple[str, str]] = {  # off, on
    "sound": ("turn sound and voice on", "turn sound and voice off"),
    "far": ("view from afar", "view from the bench"),
}


class SignButton(QAbstractButton):
    """A button with a sign and a letter, which is on or off. Only the Tab key gives it the focus."""

    def __init__(self, act: Act, look: Look, on_fault: OnFault, parent: QWidget) -> None:
        super().__init__(parent)
        self.act, self.look, self.scale, self._on_fault = act, look, 1.0, on_fault
        self._is_on = False
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.show_state(is_on=False)

    def show_state(self, *, is_on: bool) -> None:
        """Show whether what it turns is on."""
        self._is_on = is_on
        name = _NAMES[self.act][is_on]
        if name != self.accessibleName():
            self.setAccessibleName(name)
            self.setAccessibleDescription(f"key: {_KEYS[self.act]}")
            self.setToolTip(f"{name} ({_KEYS[self.act]})")
            self.update()

    def paintEvent(self, _event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint the plate, the sign and the letter; a strong edge where it has the focus."""
        painter = QPainter(self)
        try:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            look = self.look
            sheet = Sheet(painter, look, self.scale, look.card, self.width(), self.height())
            painter.fillRect(self.rect(), QColor(look.ground))
            is_strong = self.hasFocus() or self.isDown()
            edge = sheet.px(4 if is_strong else 2)
            painter.setPen(pen_of(look.act if is_strong else look.rule, edge))
            painter.setBrush(QColor(look.card))
            inset = edge / 2 + 1
            plate = QRectF(self.rect()).adjusted(inset, inset, -inset, -inset)
            painter.drawRoundedRect(plate, sheet.px(8), sheet.px(8))
            side = sheet.px(28)
            box = QRectF(sheet.px(13), (sheet.height - side) / 2, side, side)
            if self.act == "sound":
                loudspeaker(sheet, box, look.ink, is_on=self._is_on)
            else:
                two_frames(sheet, box, look.ink, is_large=not self._is_on)
            baseline = (sheet.height + sheet.px(SMALL.size * CAP_SHARE)) / 2
            draw_text(sheet, _KEYS[self.act], sheet.width - sheet.px(14), baseline, SMALL, look.soft, "right")
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._on_fault(fault)
        finally:
            painter.end()


class Switches(QWidget):
    """Both buttons, at the end of the strip of steps, under the rule that begins it; alone when seen from afar."""

    def __init__(self, look: Look, on_fault: OnFault, do: Callable[[Act], None], parent: QWidget) -> None:
        super().__init__(parent)
        self._look = look
        self.is_ruled = True
        self._scale = 1.0
        self.sound = SignButton("sound", look, on_fault, self)
        self.far = SignButton("far", look, on_fault, self)
        for button in (self.sound, self.far):
            button.clicked.connect(lambda _=False, act=button.act: do(act))

    def arrange(self, scale: float, *, is_ruled: bool) -> None:
        """Place both buttons from the right."""
        self._scale, self.is_ruled = scale, is_ruled
        right, gap, wide, high = self.width() - 40 * scale, 10 * scale, 84 * scale, 54 * scale
        for place, button in enumerate((self.far, self.sound)):
            button.scale = scale
            left = right - wide - place * (wide + gap)
            button.setGeometry(round(left), round((self.height() - high) * 0.56), round(wide), round(high))
        self.update()

    def paintEvent(self, _event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint the rule."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(self._look.ground))
        if self.is_ruled:
            thick = 2 * self._scale
            painter.fillRect(QRectF(0, 0, self.width(), thick), QColor(self._look.rule))
        painter.end()
