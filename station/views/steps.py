"""The lowest band: the steps of the job, the caution that fits, and what can be done now with a mouse."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent
from PyQt6.QtWidgets import QAbstractButton, QWidget

from station.bench.snapshot import Command, StepMark, tap_of
from station.views.lettering import LINE_PITCH, Sheet, Written, draw_lines, draw_text, fitted, text_width
from station.views.palette import Look
from station.views.panel import OnFault, Panel
from station.views.signs import pen_of, step_sign
from station.views.type_sizes import CAP_SHARE, LABEL, SMALL, STEP, STEP_NOW, Style

_MARGIN = 40.0

COMMAND_WORDS: dict[Command, tuple[str, str]] = {
    "done": ("Done, next", ""),
    "back": ("Back", "Backspace"),
    "level": ("Level", "L"),
    "long or short": ("Long or short?", "U"),
    "long?": ("Type the difference", "D"),
    "zero gauge": ("Zero the gauge", ""),
    "take reading": ("Take it", ""),
    "is long": ("Long", "Plus"),
    "is short": ("Short", ""),
    "one more": ("One more", ""),
    "clear": ("Clear", "C"),
    "yes": ("Yes", ""),
    "accept": ("Leave it as it is", "A"),
    "sign": ("Sign off", "S"),
    "inspect": ("Second person", "I"),
    "override": ("Override", "O"),
    "by hand": ("By hand, not measured", "H"),
    "not sound": ("Reference not sound", "N"),
    "scrap": ("Scrap the piece", "X"),
    "release": ("Release the piece", "R"),
    "another line": ("Another line", "T"),
    "file": ("Name and file it", "F"),
    "another weight": ("Another weight", "W"),
}
"""What a command is called on its button, and the key that does it."""


class StepsPanel(Panel[tuple[StepMark, ...]]):
    """The steps: what is done, what is now, what is to come; now is always in view and what is left is counted."""

    def words(self, content: tuple[StepMark, ...]) -> str:
        """Say the step that is now and how many are done and to come."""
        done = sum(step.state == "done" for step in content)
        now = [step.label for step in content if step.state == "now"]
        to_come = sum(step.state == "to come" for step in content)
        return ". ".join([f"{done} steps done", *(f"now: {label}" for label in now), f"{to_come} to come"])

    def draw(self, sheet: Sheet, content: tuple[StepMark, ...]) -> None:
        """Paint a rule, then as many steps as fit around the one that is now."""
        look = sheet.look
        sheet.fill(QRectF(0, 0, sheet.width, sheet.px(2)), look.rule)
        if not content:
            return
        left, right = sheet.px(_MARGIN), sheet.width - sheet.px(24)
        start, stop = self._window(sheet, content, right - left)
        middle = sheet.height * 0.56
        baseline = middle + sheet.px(STEP.size * CAP_SHARE / 2)
        x = left
        counted = replace(STEP, size=28)
        if start > 0:
            x += draw_text(sheet, _counted(start, "done"), x, baseline, counted, look.in_band).width()
            x += sheet.px(44)
        for step in content[start:stop]:
            side = sheet.px(32)
            step_sign(sheet, QRectF(x, middle - side / 2, side, side), step.state)
            x += sheet.px(44)
            style, colour = _set(sheet, step)
            room = right - x
            style, lines, cut = fitted(step.label, style, sheet.scale, room, 1, 26)
            if lines:
                draw_text(sheet, lines[0], x, baseline, style, colour, cut=cut)
            x += text_width(step.label, style, sheet.scale) + sheet.px(44)
        left_over = len(content) - stop
        if left_over > 0:
            draw_text(sheet, _counted(left_over, "to come"), right, baseline, counted, look.soft, "right")

    def _window(self, sheet: Sheet, content: tuple[StepMark, ...], room: float) -> tuple[int, int]:
        """Give which steps to show: the one that is now, one before it, and as many after it as fit."""
        now = next((place for place, step in enumerate(content) if step.state == "now"), None)
        if now is None:
            now = min(sum(step.state == "done" for step in content), len(content) - 1)

        def wide(start: int, stop: int) -> float:
            steps = sum(
                sheet.px(44 + 44) + text_width(step.label, _set(sheet, step)[0], sheet.scale)
                for step in content[start:stop]
            ) - sheet.px(44)
            counted = replace(STEP, size=28)
            before = text_width(_counted(start, "done"), counted, sheet.scale) + sheet.px(44) if start else 0.0
            rest = len(content) - stop
            after = text_width(_counted(rest, "to come"), counted, sheet.scale) + sheet.px(44) if rest else 0.0
            return before + steps + after

        start, stop = now, now + 1
        for grown in ((now - 1, stop), (now - 1, stop + 1), (now, stop + 1)):
            if grown[0] >= 0 and grown[1] <= len(content) and wide(*grown) <= room:
                start, stop = grown
                break
        grew = True
        while grew:
            grew = False
            for grown in ((start, stop + 1), (start - 1, stop)):
                if grown[0] >= 0 and grown[1] <= len(content) and wide(*grown) <= room:
                    start, stop = grown
                    grew = True
                    break
        return start, stop


def _set(sheet: Sheet, step: StepMark) -> tuple[Style, str]:
    match step.state:
        case "done":
            return STEP, sheet.look.in_band
        case "now":
            return STEP_NOW, sheet.look.ink
        case "to come":
            return STEP, sheet.look.soft


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if what == "done" else f"{number} more {what}"


class CautionPanel(Panel[str]):
    """The caution that fits the step."""

    def words(self, content: str) -> str:
        """Say it."""
        return content

    def draw(self, sheet: Sheet, content: str) -> None:
        """Paint it whole, on as few lines as it takes."""
        left = sheet.px(_MARGIN)
        style, lines, cut = fitted(content, LABEL, sheet.scale, sheet.width - left, 1, 28)
        if cut:
            style, lines, cut = fitted(content, replace(LABEL, size=26), sheet.scale, sheet.width - left, 2, 24)
        if cut:
            style, lines, cut = fitted(content, replace(LABEL, size=22), sheet.scale, sheet.width - left, 3, 18)
        high = sheet.px(style.size * (CAP_SHARE + LINE_PITCH * (len(lines) - 1)))
        top = (sheet.height - high) / 2
        draw_lines(sheet, lines, left, top + sheet.px(style.size * CAP_SHARE), style, sheet.look.soft, cut=cut)


@dataclass(frozen=True, slots=True)
class ButtonText:
    """What stands on a button."""

    words: str
    key: str


class LargeButton(QAbstractButton):
    """A large, quiet button. It takes the focus from the Tab key alone, so that Space after a click is still a tap."""

    def __init__(
        self, command: Command, is_tap: bool, look: Look, scale: float, on_fault: OnFault, parent: QWidget
    ) -> None:
        super().__init__(parent)
        self.command = command
        self.written: list[Written] = []
        self.look = look
        self.scale = scale
        self.stacked = False  # the name of its key stands below the words, where one row has no room for both
        self._on_fault = on_fault
        words, key = COMMAND_WORDS[command]
        self._text = ButtonText(words, "Space" if is_tap else key)
        self.setText(self._text.words)
        self.setAccessibleName(self._text.words)
        if self._text.key:
            self.setAccessibleDescription(f"key: {self._text.key}")
            self.setToolTip(self._text.key)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)

    def sizeHint(self) -> QSize:  # noqa: N802 Qt's name
        """Give the room its words need."""
        return QSize(round(self.wide()), round(64 * self.scale))

    def wide(self) -> float:
        """Give how wide it is, with the name of its key."""
        words = text_width(self._text.words, LABEL, self.scale)
        key = text_width(self._text.key, SMALL, self.scale)
        if self.stacked or not self._text.key:
            return 44 * self.scale + max(words, key)
        return 76 * self.scale + words + key

    def paintEvent(self, _event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Paint a quiet plate, with a strong edge where it has the focus."""
        painter = QPainter(self)
        try:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            ground = self.look.card
            sheet = Sheet(painter, self.look, self.scale, ground, self.width(), self.height())
            painter.fillRect(self.rect(), QColor(self.look.ground))
            edge = 4 * self.scale if self.hasFocus() else 2 * self.scale
            colour = self.look.act if self.hasFocus() or self.isDown() else self.look.rule
            painter.setPen(pen_of(colour, edge))
            painter.setBrush(QColor(ground))
            inset = edge / 2 + 1
            radius = 8 * self.scale
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(inset, inset, -inset, -inset), radius, radius)
            baseline = (self.height() + sheet.px(LABEL.size * CAP_SHARE)) / 2
            if self.stacked:
                middle, up = sheet.width / 2, sheet.px(18) if self._text.key else 0
                draw_text(sheet, self._text.words, middle, baseline - up, LABEL, self.look.ink, "centre")
                draw_text(sheet, self._text.key, middle, baseline + sheet.px(15), SMALL, self.look.soft, "centre")
            else:
                right = sheet.width - sheet.px(28)
                draw_text(sheet, self._text.words, sheet.px(28), baseline, LABEL, self.look.ink)
                draw_text(sheet, self._text.key, right, baseline, SMALL, self.look.soft, "right")
            self.written = sheet.written
        except Exception as fault:  # whatever it is, the hold is void and a person must be told
            self._on_fault(fault)
        finally:
            painter.end()


class FootBand(QWidget):
    """The caution at the left, and at the right a button for each thing that can be done now."""

    def __init__(self, look: Look, on_fault: OnFault, send: Callable[[Command], None], parent: QWidget) -> None:
        super().__init__(parent)
        self.look = look
        self.caution = CautionPanel("caution", look, on_fault, self)
        self.buttons: list[LargeButton] = []
        self.then: tuple[QWidget, ...] = ()  # where Tab goes after the last button
        self._on_fault = on_fault
        self._send = send
        self._scale = 1.0

    def present(self, caution: str, commands: tuple[Command, ...]) -> None:
        """Show the caution and offer the commands."""
        self.caution.present(caution)
        if commands != tuple(button.command for button in self.buttons):
            focused = next((button.command for button in self.buttons if button.hasFocus()), None)
            whole = self.window()
            if focused is not None and focused not in commands and whole is not None:
                whole.setFocus()  # else it would go to a neighbour, which Space would press
            for button in self.buttons:
                button.hide()
                button.deleteLater()
            self.buttons = [
                LargeButton(each, each == tap_of(commands), self.look, self._scale, self._on_fault, self)
                for each in commands
            ]
            for button in self.buttons:
                button.clicked.connect(partial(self._clicked, button))
                button.show()
                if button.command == focused:
                    button.setFocus(Qt.FocusReason.TabFocusReason)
            self.arrange(self._scale)

    def _clicked(self, button: LargeButton, _checked: bool = False) -> None:
        self._send(button.command)

    def arrange(self, scale: float) -> None:
        """Place the buttons from the right, and give the caution the rest."""
        self._scale = scale
        gap, margin = 16 * scale, _MARGIN * scale
        most = self.width() - 2 * margin - 460 * scale
        for button in self.buttons:
            button.scale, button.stacked = scale, False
        stacked = sum(button.wide() + gap for button in self.buttons) > most
        for button in self.buttons:
            button.stacked = stacked
        high = (80 if stacked else 64) * scale
        x = self.width() - margin
        for button in reversed(self.buttons):
            wide = button.wide()
            x -= wide
            button.setGeometry(round(x), round((self.height() - high) / 2 - 4 * scale), round(wide), round(high))
            x -= gap
        for before, after in pairwise((*self.buttons, *self.then)):
            QWidget.setTabOrder(before, after)
        right = x if self.buttons else self.width() - margin
        self.caution.scale = scale
        self.caution.setGeometry(0, 0, round(right), self.height() - round(8 * scale))
        self.caution.update()
