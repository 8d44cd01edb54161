"""The page the program opens with: jobs to go on with, and a new one from a line plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from PyQt6.QtCore import Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QCloseEvent, QPaintEvent
from PyQt6.QtWidgets import (
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
)

from station.views.form import Field, Form, dress, labelled
from station.views.lettering import load_fonts
from station.views.page import Keyed
from station.views.palette import LookName, look_named

PLAN_KEY = "plan"
"""The key under which the plan file's path is answered, and its errors are said."""

FULL, DAILY, MEASURE, SET_UP = "Check the scale", "Daily check", "Measure a line set", "Set up a scale"
"""What else is done from the first page, as its buttons say it."""


class JobRow(NamedTuple):
    """A job in the archive: its identity there, its title, the canopy, and in words where it stands."""

    job: str
    title: str
    canopy: str
    stands: str


class StartPage(Keyed):
    """Jobs to go on with at the left, a new job at the right.

    `go_on` takes the identity of the chosen job. `begin` takes the plan file and the answers by key, and gives the
    problems by key, in words; none of them means that the job has begun. The plan's own key is `PLAN_KEY`. `actions`
    are what else can be done from here, in a row of quiet buttons; `pages` are the shop's own pages, in a row below it.
    `draft` holds what was typed for a new job, from one showing of the page to the next, until that job has begun.
    Where `jobs` is None they are still being read: `list_jobs` tells them, and until then nothing can be done.
    """

    painted = pyqtSignal()
    """The page has been painted for the first time."""

    def __init__(
        self,
        look: LookName,
        jobs: Sequence[tuple[str, str, str, str]] | None,
        fields: Sequence[Field],
        go_on: Callable[[str], None],
        begin: Callable[[Path, Mapping[str, str]], Mapping[str, str]],
        *,
        plan: Path | None = None,
        draft: dict[str, str] | None = None,
        notice: str = "",
        actions: Sequence[tuple[str, Callable[[], None]]] = (),
        pages: Sequence[tuple[str, Callable[[], None]]] = (),
        scale: float = 1.0,
    ) -> None:
        super().__init__()
        load_fonts()
        self._go_on, self._begin = go_on, begin
        self.setWindowTitle("fidbench: jobs")
        self.setStyleSheet(dress(look_named(look), scale))
        self.resize(round(1600 * scale), round(960 * scale))
        margin = round(40 * scale)
        page = QVBoxLayout(self)
        page.setContentsMargins(margin, margin, margin, margin)
        page.setSpacing(round(24 * scale))
        self._notice = labelled(notice, "soft", self)
        if notice:
            page.addWidget(self._notice)
        self.action_buttons = [self._action(words, do) for words, do in actions]
        self.page_buttons = [self._action(words, do) for words, do in pages]
        rows = QGridLayout()
        rows.setSpacing(round(12 * scale))
        for row, buttons in enumerate((self.action_buttons, self.page_buttons)):
            for column, button in enumerate(buttons):
                rows.addWidget(button, row, column)
                rows.setColumnStretch(column, 1)
        page.addLayout(rows)
        halves = QHBoxLayout()
        halves.setSpacing(round(64 * scale))
        halves.addLayout(self._left(), 4)
        halves.addLayout(self._right(fields, plan), 5)
        page.addLayout(halves, 1)
        self._draft = {} if draft is None else draft
        if self._draft:
            self.form.fill(
                {**self.form.answers(), **self._draft, **({PLAN_KEY: str(plan)} if plan is not None else {})}
            )
        self.form.typed.connect(lambda: self._draft.update(self.form.answers()))
        self._is_painted = False
        self._painted_soon = QTimer(self)
        self._painted_soon.setSingleShot(True)
        self._painted_soon.timeout.connect(self.painted)
        self._enable(is_ready=False)
        if jobs is not None:
            self.list_jobs(jobs)

    def list_jobs(self, jobs: Sequence[tuple[str, str, str, str]], notice: str = "") -> None:
        """List the jobs of the archive: from now on all can be done. `notice` takes the place of the one above."""
        if notice:
            self._notice.setText(notice)
        for job in map(JobRow._make, jobs):
            words = f"{job.job}  {job.title}\n{job.canopy} · {job.stands}"  # two of a pair have the same title
            item = QListWidgetItem(words, self.jobs)
            item.setData(Qt.ItemDataRole.UserRole, job.job)
            item.setData(Qt.ItemDataRole.AccessibleTextRole, words.replace("\n", ", "))
        self._reading.setVisible(not jobs)
        self._reading.setText("No job has been begun in this archive. Begin one at the right.")
        self.jobs.setVisible(bool(jobs))
        self.go_on_button.setVisible(bool(jobs))
        if jobs:
            self.jobs.setCurrentRow(0)
        self._enable(is_ready=True)
        (self.jobs if jobs else self.form.inputs[PLAN_KEY]).setFocus()

    def _enable(self, *, is_ready: bool) -> None:
        for button in (*self.action_buttons, *self.page_buttons, self.begin_button):
            button.setEnabled(is_ready)

    def _action(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words, self)
        button.clicked.connect(lambda _checked: do())
        return button

    def _left(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(20)
        column.addWidget(labelled("Go on with a job", "title", self))
        self.jobs = QListWidget(self)
        self.jobs.setAccessibleName("jobs in the archive")
        self.jobs.setWordWrap(True)
        self.jobs.itemActivated.connect(self._chosen)
        self.jobs.hide()
        self._reading = labelled("The archive is being read…", "soft", self)
        self.go_on_button = QPushButton("Go on with it", self)
        self.go_on_button.clicked.connect(self._chosen)
        self.go_on_button.hide()
        column.addWidget(self.jobs, 1)
        column.addWidget(self._reading)
        column.addStretch(0)
        column.addWidget(self.go_on_button)
        return column

    def _right(self, fields: Sequence[Field], plan: Path | None) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(20)
        column.addWidget(labelled("A new job", "title", self))
        path = Field(
            PLAN_KEY, "Line plan", True, str(plan) if plan is not None else "", hint="a .toml file, typed or chosen"
        )
        self.form = Form([path, *fields])
        room = QScrollArea(self)
        room.setWidgetResizable(True)
        room.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        room.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        room.setWidget(self.form)
        column.addWidget(room, 1)
        row = QHBoxLayout()
        self.choose_button = QPushButton("Choose a plan file…", self)
        self.choose_button.clicked.connect(self._choose)
        self.begin_button = QPushButton("Begin this job", self)
        self.begin_button.setProperty("role", "main")
        self.begin_button.clicked.connect(self._begun)
        row.addWidget(self.choose_button)
        row.addStretch(1)
        row.addWidget(self.begin_button)
        column.addLayout(row)
        return column

    def _chosen(self, *_ignored: object) -> None:
        item = self.jobs.currentItem()
        if item is not None:
            self._go_on(item.data(Qt.ItemDataRole.UserRole))

    def _choose(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Choose a plan file", "", "line plans (*.toml);;all files (*)")
        edit = self.form.inputs[PLAN_KEY]
        if name and isinstance(edit, QLineEdit):
            edit.setText(name)

    def _begun(self) -> None:
        problems: Mapping[str, str] = self.form.missing()
        if not problems:
            answers = self.form.answers()
            plan = Path(answers.pop(PLAN_KEY)).expanduser()
            problems = self._begin(plan, answers)
        if not problems:
            self._draft.clear()
        self.form.say(problems)

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802 Qt's name
        """Say, once all of it is on the screen, that the page has been painted."""
        super().paintEvent(event)
        if not self._is_painted:
            self._is_painted = True
            self._painted_soon.start(0)

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Say that the page was closed."""
        self.closed.emit()
        super().closeEvent(event)
