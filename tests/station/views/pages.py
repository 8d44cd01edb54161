"""A page as a person sees it, and how its buttons are pressed."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from station.views.page import Page

PRESS = Qt.MouseButton.LeftButton


def shown(qtbot: QtBot, page: Page) -> None:
    """Show a page as a person would see it."""
    qtbot.addWidget(page)
    page.show()
    qtbot.waitExposed(page)
    page.activateWindow()
    qtbot.waitUntil(page.isActiveWindow)
