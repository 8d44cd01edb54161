"""The page of line plans: a plan's parts at the left, one of them in a form, what follows from it at the right.

As it is typed a plan is read by the strict loader and worked out. Where that can be done the line lies there to scale,
with the order of work, every mark and every length to cut; where it cannot there is no drawing and no number, but a
sentence that says why, also beside the field it belongs to. A plan that comes with the program is shown and copied.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from html import escape
from pathlib import Path

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtWidgets import QHBoxLayout, QListWidget, QPushButton, QScrollArea, QTextEdit, QVBoxLayout

from station.bench.snapshot import DrawingState
from station.linework.drawing import layout
from station.linework.line_plan import LinePlan, make_plan
from station.linework.plan_text import marks_text
from station.linework.traps import PlanFault
from station.settings.plan import Learned, PlanSettings, read_plan, with_learned
from station.settings.shop import Shelf, plans
from station.settings.tables import SettingsFault, Table
from station.settings.writing import Value, edited, plain_number, values_of
from station.units import IMPERIAL, Said, kept_together
from station.views.bench_line import DrawingPanel, Lying, drawing_title
from station.views.form import Choice, Form, labelled
from station.views.page import add_row, scrolled
from station.views.palette import LookName, look_named
from station.views.plan_forms import (
    NAME,
    NEW_PLAN,
    answers_of,
    blamed,
    line_fields,
    plan_fields,
    shown_in_form,
    tack_problem,
)
from station.views.sheet_page import NAME as SHEET_NAME
from station.views.sheet_page import SheetPage

AFTER_TYPING_MS = 300
_TEXT = (
    "The maker's instructions and local rules come before every number here. A job keeps the plan as it was when the "
    "job began."
)
_DRAWN_SMALLER = 0.62  # than at the bench: this is read at arm's length


class PlanPage(SheetPage):
    """The plans of a shop and one of them in forms. `use` takes the file of one that a job is to be begun from.

    `materials` are the names a plan can choose from. `mirrored` draws the canopy at the left.
    """

    def __init__(
        self,
        look: LookName,
        shelf: Shelf,
        use: Callable[[Path], None],
        *,
        materials: Sequence[str] = (),
        said: Said = IMPERIAL,
        mirrored: bool = False,
        learned: Learned | None = None,
        named_by: Callable[[str], str] = lambda _: "",
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, shelf, "Line plans", _TEXT, named_by=named_by, scale=scale)
        self._use, self._materials, self._said, self._mirrored = use, materials, said, mirrored
        self._learned = learned
        self._text = NEW_PLAN  # as it stood when the form was filled
        self._as_shown = ""  # as it stood when the plan was chosen or kept
        self._part = 0
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(AFTER_TYPING_MS)
        self._timer.timeout.connect(self.work_out)
        top = QHBoxLayout()
        label = labelled("Plan", "label", self)
        label.setWordWrap(False)
        self.sheets = Choice(self)
        self.sheets.setAccessibleName("Plan")
        label.setBuddy(self.sheets)
        self.whose = labelled("", "soft", self)
        top.addWidget(label)
        top.addWidget(self.sheets, 2)
        top.addSpacing(round(24 * scale))
        top.addWidget(self.whose, 3)
        self.body.addLayout(top)
        columns = QHBoxLayout()
        columns.setSpacing(round(36 * scale))
        columns.addLayout(self._left(), 4)
        self.room = QScrollArea(self)
        columns.addWidget(self.room, 10)
        columns.addLayout(self._right(look), 12)
        self.columns = columns
        self.body.addLayout(columns, 1)
        self.new_button = self.button("New plan")
        self.new_button.clicked.connect(self.begin_new)
        self.add_remove_button()
        self.use_button = self.button("Use for a new job")
        self.use_button.clicked.connect(self.use)
        self.keep_button = self.button("Keep it", main=True)
        self.keep_button.clicked.connect(self.keep)
        self.sheets.currentIndexChanged.connect(self._chose)
        self.parts.currentRowChanged.connect(self._turn_to)
        self.show_sheets(None)
        self.sheets.setFocus()

    def _left(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(round(12 * self.scale))
        self.parts = QListWidget(self)
        self.parts.setAccessibleName("parts of the plan")
        self.parts.setWordWrap(True)
        self.parts.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.add_button = QPushButton("Add a line", self)
        self.add_button.clicked.connect(self.add_line)
        self.drop_button = QPushButton("Take line out", self)
        self.drop_button.clicked.connect(self.drop_line)
        column.addWidget(self.parts, 1)
        column.addWidget(self.add_button)
        column.addWidget(self.drop_button)
        return column

    def _right(self, look: LookName) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(round(10 * self.scale))
        self.state = labelled("", "group", self)
        self.why = labelled("", "error", self)
        self.drawing_title = labelled("", "soft", self)
        self.drawing = DrawingPanel("the line", look_named(look), lambda fault: self.say(str(fault), wrong=True), self)
        self.drawing.on_card = True
        self.drawing.setStyleSheet("QLabel { background: transparent; }")  # the page's own would lie over it
        self.drawing.scale = _DRAWN_SMALLER * self.scale
        self.drawing.setMinimumHeight(round(220 * self.scale))
        self.marks = QTextEdit(self)
        self.marks.setReadOnly(True)
        self.marks.setTabChangesFocus(True)
        self.marks.setAccessibleName("what to mind, lengths to cut, order of work and marks")
        for widget in (self.state, self.why, self.drawing_title):
            column.addWidget(widget)
        column.addWidget(self.drawing, 2)
        column.addWidget(self.marks, 3)
        column.addStretch(0)
        return column

    # ------------------------------------------------------------------ which plan

    def show_sheets(self, path: Path | None) -> None:
        """Show the shelf anew, and choose the plan at `path`, the first where it is None."""
        self._listed = self._shelf.sheets()
        self.sheets.blockSignals(True)
        self.sheets.clear()
        for sheet in self._listed:
            self.sheets.addItem(f"{sheet.name} · {'your own' if sheet.own else 'ready-made'}")
        row = next((row for row, sheet in enumerate(self._listed) if sheet.path == path), 0)
        self.sheets.setCurrentIndex(row)
        self.sheets.blockSignals(False)
        self._chosen(row)

    def unkept(self) -> str:
        """Say that something was typed into a plan and not kept."""
        is_typed = self.text() != self._as_shown
        return f"What you typed of {self._sheet.name if self._sheet else 'the new plan'}" if is_typed else ""

    def _chose(self, row: int) -> None:
        """Show another plan, once what was typed may go; else stay with the one that is shown."""
        if self.may_leave():
            self._chosen(row)
            return
        self.sheets.blockSignals(True)
        self.sheets.setCurrentIndex(next((n for n, each in enumerate(self._listed) if each is self._sheet), -1))
        self.sheets.blockSignals(False)

    def _chosen(self, row: int) -> None:
        if not 0 <= row < len(self._listed):
            return
        sheet = self._listed[row]
        self.chose(sheet)
        whose = f"Your own, in {sheet.path}." if sheet.own else "Ready-made: a name of your own keeps a copy."
        self.whose.setText(whose)
        self.say("")
        self._take(sheet.text if sheet.values else NEW_PLAN)
        self._as_shown = self.text()
        if sheet.fault and not sheet.values:
            self.say(sheet.fault, wrong=True)

    def begin_new(self) -> None:
        """Begin a plan of one line, with nothing known of it."""
        if not self.may_leave():
            return
        self.sheets.blockSignals(True)
        self.sheets.setCurrentIndex(-1)
        self.sheets.blockSignals(False)
        self.chose(None)
        self.whose.setText("A new plan of your own.")
        self.say("")
        self._take(NEW_PLAN)
        self._as_shown = self.text()
        self.form.inputs[NAME].setFocus()

    def _take(self, text: str, part: int = 0) -> None:
        """Show a plan's text in the forms, from `part` on."""
        self._text = text
        self._fill_parts(part)
        self._fill_form()

    # ------------------------------------------------------------------ its parts

    @property
    def names(self) -> list[str]:
        """Give the names of the lines as they are typed now, '' where there is none."""
        return _names(values_of(self.text()))

    def _fill_parts(self, part: int) -> None:
        self.parts.blockSignals(True)
        self.parts.clear()
        values = values_of(self._text)
        add_row(self.parts, "The whole plan\npull, shortening, tack", 0)
        for number, name in enumerate(_names(values)):
            add_row(self.parts, _part_words(values, number, name), number + 1)
        self._part = min(part, self.parts.count() - 1)
        self.parts.setCurrentRow(self._part)
        self.parts.blockSignals(False)
        self.drop_button.setEnabled(self._part > 0 and self.parts.count() > 2)

    def _fill_form(self) -> None:
        values = values_of(self._text)
        if self._part == 0:
            fields = plan_fields(values, self._materials)
        else:
            fields = line_fields(values, self._part - 1, _names(values), self._materials)
        self.form = Form(fields)
        shown = shown_in_form(values)
        if self._part == 0 and self._sheet is not None and not self._sheet.own and shown.get(NAME) == self._sheet.name:
            shown[NAME] = ""
        self.form.fill({**{field.key: field.choices[0] for field in fields if field.choices}, **shown})
        self.form.typed.connect(self._timer.start)
        room = scrolled(self.form, self)
        self.columns.replaceWidget(self.room, room)
        self.room.hide()
        self.room.deleteLater()
        self.room = room
        room.show()
        QTimer.singleShot(0, self._order_tabs)
        self.work_out()

    def _order_tabs(self) -> None:
        before = self.drop_button
        for field in self.form.inputs.values():
            self.setTabOrder(before, field)
            before = field  # type: ignore[assignment]  # any widget can be in the round
        self.setTabOrder(before, self.marks)

    def _turn_to(self, row: int) -> None:
        if row >= 0 and row != self._part:
            self._take(self.text(), row)

    def add_line(self) -> None:
        """Add a line after the last, under the next free letter."""
        number = len(self.names)
        taken = {name.casefold() for name in self.names}
        name = next((each for each in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if each.casefold() not in taken), f"line {number}")
        self._take(edited(self.text(), {f"line.{number}.name": name}), number + 1)
        self.form.inputs[f"line.{number}.name"].setFocus()

    def drop_line(self) -> None:
        """Take the line that is shown out of the plan."""
        if self._part > 0 and self.parts.count() > 2:
            self._take(edited(self.text(), {f"line.{self._part - 1}": None}), self._part - 1)
            self.parts.setFocus()

    # ------------------------------------------------------------------ what follows

    def text(self) -> str:
        """Give the plan as it is typed now; what joins a line goes with it when that is renamed."""
        answers = answers_of(self.form.answers())
        if not answers.get(NAME, "-") and self._sheet is not None:
            answers[NAME] = self._sheet.name
        values: dict[str, Value | None] = {
            key: None if not text else plain_number(text) if key in self._shelf.numbers else text
            for key, text in answers.items()
        }
        before = values_of(self._text)
        own = f"line.{self._part - 1}.name"
        if self._part > 0 and before.get(own) and answers.get(own):
            values |= {
                key: answers[own]
                for key, text in before.items()
                if key.endswith(".link_end.joins") and text == before[own] and key not in answers
            }
        return edited(self._text, values)

    def work_out(self) -> None:
        """Read what is typed and show what follows from it, or why nothing does."""
        self._timer.stop()
        file = str(self._sheet.path) if self._sheet is not None else str(self._shelf.folder / "new.toml")
        text = self.text()
        values = values_of(text)
        names = _names(values)
        problem = tack_problem(values)
        try:
            if problem is not None:
                self._refuse(problem, names)
            else:
                settings = with_learned(read_plan(Table(file, "", tomllib.loads(text))), self._learned)
                self._show(make_plan(settings, said=self._said))
                self.form.say({}, go=False)
        except (SettingsFault, PlanFault) as fault:
            self._refuse(fault, names)
        for number, name in enumerate(names):
            item = self.parts.item(number + 1)
            if item is not None:
                item.setText(_part_words(values, number, name))

    def _show(self, plan: LinePlan) -> None:
        rows = marks_text(plan).splitlines()
        minded = [row for row in rows if row.startswith("Mind: ")]
        self.state.setText("Marks and trap lengths are ready" + (f"; {len(minded)} to mind" if minded else ""))
        self.why.hide()
        state = DrawingState(layout(plan), frozenset(), frozenset(), None, None)
        self.drawing.present(Lying(state, self._mirrored))
        self.drawing_title.setText(drawing_title(state))
        rest = [row for row in rows[2:] if row not in minded]
        self.marks.setHtml(_rich([*minded, *rest], round(19 * self.scale)))
        for widget in (self.drawing, self.drawing_title, self.marks):
            widget.show()

    def _refuse(self, fault: SettingsFault | PlanFault, names: Sequence[str]) -> None:
        key, words = blamed(fault, names)
        here = _field_of(key, list(self.form.inputs))
        label = next((field.label for field in self.form.fields if field.key == here), "")
        number = int(key.split(".")[1]) if key.startswith("line.") else -1
        of = "" if here else f"Line {names[number]}: " if 0 <= number < len(names) else ""
        if of and words.startswith("line "):
            of = ""
        self.state.setText("Not ready: no marks yet")
        sentence = f"{of}{label + ': ' if label and not words.startswith('line ') else ''}{words}".rstrip(".")
        self.why.setText(f"{sentence[:1].upper()}{sentence[1:]}.")
        self.why.show()
        for widget in (self.drawing, self.drawing_title, self.marks):
            widget.hide()
        is_only_empty = words.startswith("is missing")  # nobody needs to be told while the form is being filled
        self.form.say({here: words} if here and not is_only_empty else {}, go=False)

    # ------------------------------------------------------------------ keeping and using

    def keep(self) -> bool:
        """Write the plan, where it can be worked; else say what is wrong beside its field. Tell whether it was kept."""
        self.say("")
        self.work_out()
        text, part = self.text(), self._part
        problem = tack_problem(values_of(text))
        if problem is not None:
            self._fault_at(problem.key, problem.why)
            return False
        name = values_of(text).get(NAME, "")
        if not name or self._is_copy(name):
            self._fault_at(
                NAME, "This is needed, and it is empty." if not name else "Give your copy a name of its own."
            )
            return False
        try:
            self.keep_as(name, {}, text)
        except SettingsFault as fault:
            key, words = blamed(fault, self.names)
            self._fault_at(NAME if key == SHEET_NAME else key, words)
            return False
        if part:
            self._take(self._text, part)
        return True

    def _is_copy(self, name: str) -> bool:
        return self._sheet is not None and not self._sheet.own and name == self._sheet.name

    def _fault_at(self, key: str, words: str) -> None:
        """Say a fault beside its field, on the part of the plan that has it."""
        part = int(key.split(".")[1]) + 1 if key.startswith("line.") else 0
        if key and part != self._part and part < self.parts.count():
            self._take(self.text(), part)
        field = _field_of(key, list(self.form.inputs))
        if field:
            self.form.say({field: words})
        else:
            self.say(words, wrong=True)

    def use(self) -> None:
        """Keep the plan as it is, and begin a job from it."""
        if self.keep() and self._sheet is not None:
            self._use(self._sheet.path)


def checked(settings: PlanSettings) -> LinePlan:
    """Work a plan out. Raises `SettingsFault` where nobody could work it."""
    try:
        return make_plan(settings)
    except PlanFault as fault:
        raise SettingsFault(str(fault)) from fault


def plan_shelf(shop: Path, learned: Learned | None = None) -> Shelf:
    """Give the shelf of the shop's line plans, each of which can be worked, with the archive's trials where it asks."""
    return plans(shop, checked, learned)


def _names(values: dict[str, str]) -> list[str]:
    count = max((int(key.split(".")[1]) + 1 for key in values if key.startswith("line.")), default=0)
    return [values.get(f"line.{number}.name", "").strip() for number in range(count)]


def _part_words(values: dict[str, str], number: int, name: str) -> str:
    joins = values.get(f"line.{number}.link_end.joins")
    where = f"joins {joins}" if joins else "to a link"
    return f"Line {name or '?'}\n{values.get(f'line.{number}.length', 'no length')}, {where}"


def _field_of(key: str, fields: Sequence[str]) -> str:
    """Give the field for a key: its own, else the trap or else the first of the table it names, else none."""
    below = [each for each in fields if key and each.startswith(f"{key}.")]
    if key in fields:
        return key
    return next((each for each in below if each == f"{key}.trap"), below[0] if below else "")


def _rich(rows: Sequence[str], size: int) -> str:
    """Give rows of text as paragraphs that hang by their own indent, the headings strong."""
    parts = []
    for at, row in enumerate(rows):
        if not row:
            continue
        indent = len(row) - len(row.lstrip())
        below = rows[at + 1] if at + 1 < len(rows) else ""
        words = escape(kept_together(row.strip()))
        is_head = indent == 0 and below.startswith(" ")
        left = size * (indent // 2)
        style = f"margin: {size // 2 if indent == 0 or row.lstrip()[:1].isdecimal() else 0}px 0 0 {left}px;"
        parts.append(f'<p style="{style} font-size: {size}px;">{f"<b>{words}</b>" if is_head else words}</p>')
    return "".join(parts)
