"""Pictures of the window for tests, the guide and the demonstration, at any size, with or without a display."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PyQt6.QtCore import QCoreApplication, QPoint, QRectF, QSize, Qt

from station.views.lettering import Written
from station.views.panel import Panel
from station.views.steps import LargeButton
from station.views.window import BenchWindow


def save_picture(window: BenchWindow, path: Path, size: tuple[int, int] = (1920, 1080)) -> None:
    """Draw what `window` would show now at `size` pixels and save it as PNG.

    Raises `OSError` where the file cannot be written.
    """
    window.resize(QSize(*size))
    if not window.isVisible():
        window.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
        window.show()
    window.frame()
    QCoreApplication.sendPostedEvents()
    if not window.grab().save(str(path), "PNG"):
        raise OSError(f"{path}: the picture could not be written; is there room, and may this folder be written to?")


@dataclass(frozen=True, slots=True)
class Shown:
    """A run of text on show: where its ink lies and where its panel stands, both in the window's own pixels."""

    panel: str
    written: Written
    ink: QRectF
    panel_box: QRectF


def texts_shown(window: BenchWindow) -> list[Shown]:
    """Give every run of text that the window painted when it last painted."""
    found: list[Shown] = []
    painted: list[Panel[Any] | LargeButton] = [*window.findChildren(Panel), *window.findChildren(LargeButton)]
    for widget in painted:
        if not widget.isVisible():
            continue
        corner = widget.mapTo(window, QPoint(0, 0))
        box = QRectF(corner.x(), corner.y(), widget.width(), widget.height())
        for written in widget.written:
            ink = written.ink.translated(corner.x(), corner.y())
            found.append(Shown(widget.accessibleName(), written, ink, box))
    return found
