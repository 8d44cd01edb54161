"""Control charts in the window: what is charted and how apart, at the top; the charts below one another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from station.linework.set_picture import Picture
from station.views.form import Choice, labelled
from station.views.page import Page
from station.views.palette import LookName, look_named
from station.views.set_view import SetPicture

Draw = Callable[[str, str], tuple[Sequence[tuple[Picture, str]], str]]
TITLE = "In control?"
TOGETHER = "all together"


class ControlPage(Page):
    """Charts of what is chosen.

    `what` names what there is, by its key. `draw` takes a key and a condition, and gives pictures with the same in
    words, and what is to be said above them: what could not be read, or that there is nothing to chart.
    """

    def __init__(
        self, look: LookName, what: Mapping[str, str], conditions: Sequence[str], draw: Draw, scale: float = 1.0
    ) -> None:
        super().__init__(look, TITLE, scale=scale)
        self._look, self._draw = look, draw
        column = self.body
        top = QHBoxLayout()
        self.what = self._choice("what is charted", [(words, key) for key, words in what.items()])
        self.by = self._choice("a chart for each", [(TOGETHER, ""), *((f"each {each}", each) for each in conditions)])
        top.addWidget(self.what)
        top.addWidget(self.by)
        top.addStretch(1)
        column.addLayout(top)
        self.notice = labelled("", "soft", self)
        column.addWidget(self.notice)
        self._charts = QWidget(self)
        self._rows = QVBoxLayout(self._charts)
        self._rows.setContentsMargins(0, 0, 0, 0)
        room = QScrollArea(self)
        room.setWidgetResizable(True)
        room.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        room.setAccessibleName("control charts, scrolls")
        room.setWidget(self._charts)
        column.addWidget(room, 1)
        self.pictures: list[SetPicture] = []
        self.show_charts()
        for box in (self.what, self.by):
            box.currentIndexChanged.connect(lambda _index: self.show_charts())

    def _choice(self, name: str, words: Sequence[tuple[str, str]]) -> Choice:
        box = Choice(self)
        box.setSizeAdjustPolicy(Choice.SizeAdjustPolicy.AdjustToContents)
        box.setAccessibleName(name)
        for shown, value in words:
            box.addItem(shown, value)
        return box

    def show_charts(self) -> None:
        """Draw what is chosen now."""
        for old in self.pictures:
            self._rows.removeWidget(old)
            old.deleteLater()
        drawn, said = self._draw(self.what.currentData(), self.by.currentData())
        self.notice.setText(said)
        self.notice.setVisible(bool(said))
        self.pictures = []
        for picture, words in drawn:
            made = SetPicture(look_named(self._look), self._charts)
            made.setAccessibleName("a control chart")
            made.show_picture(picture, words)
            self._rows.addWidget(made)
            self.pictures.append(made)
