"""A line set in the window: one line after the other while it is measured, the whole set to scale beside it.

The page draws what the model says and sends it what is typed; a timer feeds it what the foot and a gauge did.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PyQt6.QtCore import QPointF, QSize, Qt, QTimer
from PyQt6.QtGui import QCloseEvent, QColor, QFont, QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import (
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from station.bench.measuring_set import MeasuringSet
from station.bench.snapshot import Words
from station.faults import is_fault
from station.linework.line_set import LineSet
from station.linework.set_picture import Disc, Picture, Shape, Text, layout
from station.linework.set_words import make_words, nm_words, verdict_words
from station.linework.svg_page import WIDTH
from station.settings.line_table import MeasuredSide
from station.units import LengthSystem
from station.views.form import dress, labelled
from station.views.lettering import FAMILY, load_fonts
from station.views.page import Keyed, Rows
from station.views.palette import Look, LookName, look_named

_BEAT_MS = 50
ForLines = Callable[[LineSet, Sequence[MeasuredSide]], str | None]
"""Does something for lines of a set that were chosen; gives what to say, or None where the person left it."""


class SetPicture(QWidget):
    """A line set's picture, as wide as there is room."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = look
        self._picture = Picture()
        self.setAccessibleName("the line set to scale")

    def show_picture(self, picture: Picture, about: str) -> None:
        """Show another picture; `about` says the same in words."""
        self._picture = picture
        self.setAccessibleDescription(about)
        self._fit()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 Qt's name
        """Give the picture's own size."""
        return QSize(round(WIDTH), round(self._picture.height + 30))

    def _fit(self) -> None:
        self.setFixedHeight(max(1, round((self._picture.height + 30) * self.width() / WIDTH)))

    def resizeEvent(self, event: object) -> None:  # noqa: N802, ARG002 Qt's name
        """Keep the height to the width."""
        self._fit()

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802, ARG002 Qt's name
        """Draw from the bottom up."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self._look.ground))
        painter.scale(self.width() / WIDTH, self.width() / WIDTH)
        for part in self._picture.parts:
            if isinstance(part, Text):
                self._text(painter, part)
            elif isinstance(part, Disc):
                painter.setPen(QPen(self._colour(part.edge), 2))
                painter.setBrush(self._colour(part.fill))
                painter.drawEllipse(QPointF(part.x, part.y), part.radius, part.radius)
            else:
                self._shape(painter, part)
        painter.end()

    def _text(self, painter: QPainter, text: Text) -> None:
        font = QFont(FAMILY)
        font.setPixelSize(max(1, round(text.size)))
        font.setBold(text.bold)
        painter.setFont(font)
        painter.setPen(self._colour(text.colour))
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor]
        x = text.x - shift * QFontMetricsF(font).horizontalAdvance(text.text)
        painter.drawText(QPointF(x, text.y), text.text)

    def _shape(self, painter: QPainter, shape: Shape) -> None:
        pen = QPen(Qt.PenStyle.NoPen)
        if shape.edge is not None:
            pen = QPen(self._colour(shape.edge), shape.width)
        if shape.dashes is not None:  # in widths of the pen
            pen.setDashPattern([each / shape.width for each in shape.dashes])
        painter.setPen(pen)
        points = QPolygonF([QPointF(x, y) for x, y in shape.points])
        if shape.fill is None:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline(points)
            return
        colour = self._colour(shape.fill)
        colour.setAlphaF(0.16 if shape.see_through else 1.0)
        painter.setBrush(colour)
        painter.drawPolygon(points)

    def _colour(self, use: str) -> QColor:
        return QColor(getattr(self._look, use))


class SetPage(Keyed):
    """Entry at the left, the set at the right; once every line has its length, what to remake: the fewest, or others.

    `check` gives the set as it is checked; `beat` feeds the model; `write_plans` and `open_jobs` do that for the lines
    chosen, `write_page` puts the whole set on paper. What cannot be kept was not entered, and is said.
    """

    def __init__(
        self,
        look: LookName,
        name: str,
        work: MeasuringSet,
        check: Callable[[Sequence[MeasuredSide]], LineSet],
        beat: Callable[[], None],
        write_plans: ForLines,
        open_jobs: ForLines,
        write_page: ForLines,
        *,
        system: LengthSystem = "imperial",
        pull_n: float | None = None,
        scale: float = 1.0,
    ) -> None:
        super().__init__()
        load_fonts()
        self._name, self._work, self._check, self._beat = name, work, check, beat
        self._write_plans, self._open_jobs, self._write_page = write_plans, open_jobs, write_page
        self._system: LengthSystem = system
        self._pull_n = pull_n
        self._shown: tuple[object, ...] = ()
        self._notice: Words | None = None
        self.setWindowTitle(f"fidbench: line set {name}")
        self.setStyleSheet(dress(look_named(look), scale))
        self.resize(round(1760 * scale), round(1000 * scale))
        row = QHBoxLayout(self)
        margin = round(36 * scale)
        row.setContentsMargins(margin, margin, margin, margin)
        row.setSpacing(margin)
        row.addLayout(self._entry(), 2)
        self.picture = SetPicture(look_named(look))
        room = QScrollArea(self)
        room.setWidgetResizable(True)
        room.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        room.setAccessibleName("the line set to scale, scrolls")
        room.setWidget(self.picture)
        row.addWidget(room, 5)
        self._timer = QTimer(self)
        self._timer.timeout.connect(self.frame)
        self._timer.start(_BEAT_MS)
        self.frame()
        self.length.setFocus()

    def _entry(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(16)
        self.title = labelled("", "title", self)
        self.told = labelled("", "soft", self)
        self.length = QLineEdit(self)
        self.length.setAccessibleName("length of this line")
        self.length.setPlaceholderText("120 1/4 in, or 3054 mm")
        self.length.returnPressed.connect(self._typed)
        self.problem = labelled("", "error", self)
        self.enter = QPushButton("Enter this length", self)
        self.enter.setProperty("role", "main")
        self.enter.clicked.connect(lambda _checked: self._typed())
        self.back = QPushButton("Back one line", self)
        self.back.clicked.connect(lambda _checked: self._went_back())
        self.lines = QListWidget(self)
        self.lines.setAccessibleName("lines and their lengths")
        self.lines.itemActivated.connect(self._chosen)
        self.choices = Rows(self)
        self.choices.setAccessibleName("lines to remake")
        self.said = labelled("", "soft", self)
        self.jobs = QPushButton("Open a job for each line ticked…", self)
        self.jobs.setProperty("role", "main")
        self.jobs.clicked.connect(lambda _checked: self._do(self._open_jobs))
        self.plans = QPushButton("Only write their line plans…", self)
        self.plans.clicked.connect(lambda _checked: self._do(self._write_plans))
        self.paper = QPushButton("Write the set's page (PDF)", self)
        self.paper.clicked.connect(lambda _checked: self._tell(self._write_page, self._check(self._work.sides()), ()))
        buttons = QHBoxLayout()
        buttons.addWidget(self.enter, 1)
        buttons.addWidget(self.back)
        for part in (self.title, self.told, self.length, self.problem):
            column.addWidget(part)
        column.addLayout(buttons)
        column.addWidget(self.lines, 2)
        column.addWidget(self.choices, 2)
        column.addWidget(self.said)
        column.addWidget(self.jobs)
        column.addWidget(self.plans)
        column.addWidget(self.paper)
        self.add_back(column)
        return column

    def frame(self) -> None:
        """Take what came, and show what has changed."""
        self._tried(self._beat)
        work = self._work
        gauge_nm = work.gauge_nm
        state = (work.asked, work.now, work.notice, work.foot_words, gauge_nm)
        if state == self._shown:
            return
        rows_changed = not self._shown or self._shown[:2] != state[:2]
        notice_was, self._notice = self._notice, work.notice
        self._shown = state
        now = work.now
        self.title.setText(f"Measure {now.words}" if now else "Every line is measured")
        opposite = work.opposite_nm
        said = [f"{work.done} of {len(work.asked)} measured"]
        said += [f"its opposite number is {nm_words(opposite, self._system)}"] if opposite is not None else []
        said += [f"the gauge reads {nm_words(gauge_nm, self._system)}"] if gauge_nm is not None else []
        self.told.setText(f"{'; '.join(said)}. {work.foot_words if now else ''}")
        if work.notice is not None:
            self.problem.setText(work.notice.text)
        elif notice_was is not None and self.problem.text() == notice_was.text:
            self.problem.clear()
        for part in (self.length, self.enter):
            part.setVisible(now is not None)
        if rows_changed:
            self._fill()

    def _fill(self) -> None:
        work = self._work
        self.lines.clear()
        for each in work.asked:
            length = "to come" if each.length_nm is None else nm_words(each.length_nm, self._system)
            item = QListWidgetItem(f"{each.words}: {length}", self.lines)
            item.setData(Qt.ItemDataRole.UserRole, each.name)
        if work.now is not None:
            self.lines.setCurrentRow(work.asked.index(work.now))
        sides = work.sides()
        whole = work.done == len(work.asked)
        found = self._check(sides) if sides else None
        if found is not None:
            unfinished = "" if whole else f"{work.done} of {len(work.asked)} measured: no verdict before the last."
            picture = layout(found, self._name, self._system, self._pull_n, unfinished)
            self.picture.show_picture(picture, unfinished or verdict_words(found))
        self.choices.clear()
        for part in (self.choices, self.said, self.jobs, self.plans, self.paper):
            part.setVisible(whole)
        if found is not None and whole:
            self._offer(found)

    def _offer(self, found: LineSet) -> None:
        """Offer the fewest first, ticked, then what else is out, then the rest: the person may know better."""
        fewest = found.mending.remake or ()
        others = [side for side in found.can_be_remade if side not in fewest]
        for side in (*fewest, *sorted(others, key=lambda side: side.line not in found.out_of_tolerance)):
            item = QListWidgetItem(make_words(found, side, self._system), self.choices)
            item.setData(Qt.ItemDataRole.UserRole, side.name)
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            item.setCheckState(Qt.CheckState.Checked if side in fewest else Qt.CheckState.Unchecked)
        self.choices.fit()

    def _typed(self) -> None:
        """Enter what was typed; a length that cannot be one stays there with what is wrong with it."""
        self.problem.clear()
        why: list[str | None] = []
        if self._tried(lambda: why.append(self._work.typed(self.length.text()))):
            self.problem.setText(why[0] or "")
            if why[0] is None:
                self.length.clear()
        self.frame()

    def _tried(self, do: Callable[[], object]) -> bool:
        """Do something that may fail to be kept; say so where it does."""
        try:
            do()
        except Exception as fault:
            if not is_fault(fault):
                raise
            self.problem.setText(str(fault))
            return False
        return True

    def _went_back(self) -> None:
        self._work.back()
        self.problem.clear()
        self.frame()
        self.length.setFocus()

    def _chosen(self, item: QListWidgetItem) -> None:
        self._work.go_to(item.data(Qt.ItemDataRole.UserRole))
        self.frame()
        self.length.setFocus()

    def _do(self, do: ForLines) -> None:
        """Do something for the lines that are ticked, and say what was done, or why not."""
        found = self._check(self._work.sides())
        rows = (self.choices.item(row) for row in range(self.choices.count()))
        names = {
            item.data(Qt.ItemDataRole.UserRole)
            for item in rows
            if item is not None and item.checkState() == Qt.CheckState.Checked
        }
        ticked = [side for side in found.sides if side.name in names]
        if not ticked:
            self.said.clear()
            self.problem.setText("Tick at least one line.")
            return
        self._tell(do, found, ticked)

    def _tell(self, do: ForLines, found: LineSet, sides: Sequence[MeasuredSide]) -> None:
        """Do something, and say what was done, or why not."""
        self.problem.clear()
        self.said.clear()
        said: list[str | None] = []
        if self._tried(lambda: said.append(do(found, sides))):
            self.said.setText(said[0] or "")

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Say that the page was closed; every length entered is kept already."""
        self._timer.stop()
        self.closed.emit()
        super().closeEvent(event)
