"""The page of whole relines: a set's groups of lines, each by a line plan, as the job file that says so.

What is typed is read by the same strict loader as a file that a person wrote, and every line's plan is worked out. What
comes with the program is shown and can be copied.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QScrollArea

from station.bench.members import members_of
from station.linework.traps import PlanFault
from station.records.words import count
from station.settings.plan import Learned
from station.settings.reline import METHODS, SIDES, RelineSettings, load_reline
from station.settings.shop import Sheet, Shelf
from station.settings.shop import relines as reline_files
from station.settings.tables import SettingsFault
from station.settings.writing import Value, edited, plain_number, values_of
from station.views.form import Field, Form, labelled
from station.views.page import scrolled
from station.views.palette import LookName
from station.views.sheet_page import NAME, ListedPage

_TEXT = (
    "Left and right of a number follow each other; an old line comes off only while its opposite number stands. The "
    "maker's instructions and local rules come first. A job keeps the set as it was when the job began."
)
_NEW = '[reline]\nname = ""\n'
_BOTH = " and ".join(SIDES)
_NO_PLAN = "none: no such group"


class RelinePage(ListedPage):
    """The shop's relines and one of them in a form. `use` takes the file of one that a job is to be begun from.

    `plans` are the line plans that can be named, the shop's own before the ready-made.
    """

    def __init__(
        self,
        look: LookName,
        shop: Path,
        plans: Sequence[Sheet],
        use: Callable[[Path], None],
        *,
        learned: Learned | None = None,
        named_by: Callable[[str], str] = lambda _: "",
        scale: float = 1.0,
    ) -> None:
        shelf = relines(shop, learned)
        super().__init__(look, shelf, "Whole relines", _TEXT, _about, named_by=named_by, scale=scale)
        self._use, self._learned = use, learned
        self._plans = {
            sheet.path.name: sheet.name if sheet.own else f"ready-made: {sheet.name}"
            for sheet in sorted(plans, key=lambda sheet: not sheet.own)
        }
        self._has_own = any(sheet.own for sheet in plans)
        self._text = _NEW
        self.follows = labelled("", "plain", self)
        self.room = QScrollArea(self)
        self.right.addWidget(self.room, 1)
        self.right.addWidget(self.follows)
        self.new_button = self.button("New whole reline")
        self.new_button.clicked.connect(self.begin_new)
        self.add_remove_button()
        self.group_button = self.button("Another group")
        self.group_button.clicked.connect(self.add_group)
        self.use_button = self.button("Use for a new job")
        self.use_button.clicked.connect(self.use)
        self.keep_button = self.button("Keep it", main=True)
        self.keep_button.clicked.connect(self.keep)
        self.show_sheets(None)
        self.rows.setFocus()

    # ------------------------------------------------------------------ which reline

    def unkept(self) -> str:
        """Say that something was typed and not kept."""
        return "What you typed of this whole reline" if self.form.is_changed else ""

    def _chosen(self, row: int) -> None:
        sheet = self._sheets[row] if 0 <= row < len(self._sheets) else None
        self.chose(sheet)
        self.say("")
        if sheet is None:
            self._fill(_NEW, "")
            return
        ready = "Ready-made, and invented: give a name of your own to keep a copy."
        whose = f"Your own, in {sheet.path}." if sheet.own else ready
        self.whose.setText(" ".join(filter(None, (whose, sheet.fault))))
        self._fill(sheet.text if sheet.values else _NEW, sheet.name if sheet.own else "")
        try:
            self.follows.setText("" if sheet.fault else follows(load_reline(sheet.path, learned=self._learned)))
        except (SettingsFault, PlanFault) as fault:
            self.follows.setText(str(fault))

    def begin_new(self) -> None:
        """Empty the form for one of the shop's own."""
        if not self.may_leave():
            return
        self.mark_row(-1)
        self._chosen(-1)
        invented = " There is no line plan of your own yet, and the ready-made are invented: make one first."
        self.whose.setText(f"A new whole reline of your own.{'' if self._has_own else invented}")
        self.form.inputs[NAME].setFocus()

    def _fill(self, text: str, name: str, groups: int | None = None) -> None:
        """Show a reline's text in a form of so many groups, at least as many as it has."""
        self._text, values = text, values_of(text)
        groups = max(_groups(values), 1) if groups is None else groups
        fields = self._fields(values, groups)
        self.form = Form(fields)
        choices = {field.key: field.choices[0] for field in fields if field.choices}
        self.form.fill({**choices, **self._shown(text, values, groups), NAME: name})
        room = scrolled(self.form, self)
        self.right.replaceWidget(self.room, room)
        self.room.hide()
        self.room.deleteLater()
        self.room = room
        room.show()
        QTimer.singleShot(0, self._order_tabs)

    def _order_tabs(self) -> None:
        before = self.rows
        for field in self.form.inputs.values():
            self.setTabOrder(before, field)
            before = field  # type: ignore[assignment]  # any widget can be in the round

    def add_group(self) -> None:
        """Add room for one more group; what is typed stays."""
        typed = self.form.answers()
        groups = sum(key.endswith(".group") for key in typed)
        self._fill(self._text, typed[NAME], groups + 1)
        self.form.fill({**self.form.answers(), **typed}, settled=False)
        self.form.inputs[f"lines.{groups}.group"].setFocus()

    # ------------------------------------------------------------------ the form

    def _fields(self, values: Mapping[str, str], groups: int) -> list[Field]:
        head = "The whole set"
        fields = [
            Field(NAME, "Name", True, hint="Teasel 190, both sides", group=head),
            Field("reline.comparing", "Lines are compared", choices=METHODS, group=head),
            Field("reline.pieces_together", "Lines cut from one stretched length", hint="1", group=head),
        ]
        for number in range(groups):
            key, group = f"lines.{number}", f"Group {number + 1}"
            there = values.get(f"{key}.plan", "")
            plans = tuple(self._plans.values()) + ((there,) if there and there not in self._plans else ())
            fields += [
                Field(f"{key}.group", "Its letter or name", hint="A", group=group),
                Field(f"{key}.plan", "Made by the plan", choices=(_NO_PLAN, *plans), group=group),
                Field(f"{key}.numbers", "Numbers, from the centre", hint="1, 2, 3, 4", group=group),
                Field(f"{key}.sides", "Sides", choices=(_BOTH, *SIDES), group=group),
            ]
        return fields

    def _shown(self, text: str, values: Mapping[str, str], groups: int) -> dict[str, str]:
        """Give what stands in the fields for what the file says."""
        shown = dict(values)
        tables = tomllib.loads(text).get("lines", [])
        for number in range(groups):
            key = f"lines.{number}"
            plan = values.get(f"{key}.plan", "")
            shown[f"{key}.plan"] = self._plans.get(plan, plan) or _NO_PLAN
            table = tables[number] if number < len(tables) else {}
            shown[f"{key}.numbers"] = ", ".join(_listed(table, "numbers"))
            shown[f"{key}.sides"] = " and ".join(_listed(table, "sides")) or _BOTH
        return shown

    def text(self) -> str:
        """Give the reline as it is typed now; a group without a plan is left out."""
        typed = self.form.answers()
        files = {name: file for file, name in self._plans.items()}
        before = values_of(self._text)
        together = typed["reline.pieces_together"]
        compared = typed["reline.comparing"]
        is_usual = compared == METHODS[0] and "reline.comparing" not in before
        values: dict[str, Value | None] = {
            "reline.name": typed[NAME],
            "reline.comparing": None if is_usual else compared,
            "reline.pieces_together": plain_number(together) if together else None,
        }
        out = 0
        for number in range(sum(key.endswith(".group") for key in typed)):
            key, put = f"lines.{number}", f"lines.{number - out}"
            plan = typed[f"{key}.plan"]
            if plan == _NO_PLAN and not typed[f"{key}.group"]:
                values |= {f"{put}.plan": None} if number >= _groups(before) else {}
                out += 1
                continue
            sides = typed[f"{key}.sides"]
            values |= {
                f"{put}.plan": None if plan == _NO_PLAN else files.get(plan, plan),
                f"{put}.group": typed[f"{key}.group"] or None,
                f"{put}.numbers": tuple(_number(each) for each in _parts(typed[f"{key}.numbers"])) or None,
                f"{put}.sides": None if sides == _BOTH else (sides,),
            }
        last = sum(key.endswith(".group") for key in typed) - out
        values |= {f"lines.{number}": None for number in range(_groups(before) - 1, last - 1, -1)}
        return edited(self._text, values)

    # ------------------------------------------------------------------ keeping and using

    def keep(self) -> bool:
        """Write the reline, where every line of it can be worked; else say what is wrong. Tell whether it was kept."""
        self.say("")
        missing = self.form.missing()
        self.form.say(missing)
        if missing:
            return False
        try:
            self.keep_as(self.form.answers()[NAME], {}, self.text())
        except SettingsFault as fault:
            self._refuse(fault)
            return False
        return True

    def _refuse(self, fault: SettingsFault) -> None:
        at = re.fullmatch(r"lines (\d+)\.(\w+)", fault.key)
        key = f"lines.{int(at[1]) - 1}.{at[2]}" if at else NAME if fault.key == "reline.name" else fault.key
        if key in self.form.inputs:
            self.form.say({key: fault.why or str(fault)})
        else:
            self.say(str(fault), wrong=True)

    def use(self) -> None:
        """Keep the reline as it is, and begin a job from it; a ready-made one is used as it stands."""
        is_ready = self._sheet is not None and not self._sheet.own and not self.form.is_changed
        if (is_ready or self.keep()) and self._sheet is not None:
            self._use(self._sheet.path)


def relines(shop: Path, learned: Learned | None = None) -> Shelf:
    """Give the shelf of the shop's relines, each line of which can be worked, with the archive's trials if it asks."""

    def worked(settings: RelineSettings) -> None:
        try:
            members_of(settings)
        except PlanFault as fault:
            raise SettingsFault(str(fault)) from fault

    return reline_files(shop, worked, learned)


def follows(settings: RelineSettings) -> str:
    """Say what follows from a reline: how many lines, in which order they are worked."""
    members = members_of(settings)
    lines = sum(len(member.lines) for member in members)
    lengths = len({member.batch for member in members})
    shared = f", from {count(lengths, 'stretched length')}" if lengths < len(members) else ""
    first = ", ".join(member.name.replace(" ", "\u00a0") for member in members[:4])
    order = first + (" and on" if len(members) > 4 else "")
    return f"{count(len(members), 'line')} on links, {lines} with what joins them{shared}. In this order: {order}."


def _about(values: Mapping[str, str]) -> str:
    names = [values.get(f"lines.{number}.group", "?") for number in range(_groups(values))]
    return f"groups {', '.join(names)}" if names else "no group yet"


def _groups(values: Mapping[str, str]) -> int:
    found = (re.match(r"lines\.(\d+)\.", key) for key in values)
    return max((int(each[1]) + 1 for each in found if each), default=0)


def _listed(table: Mapping[str, Any], key: str) -> list[str]:
    found = table.get(key, [])
    return [str(each) for each in found] if isinstance(found, list) else [str(found)]


def _parts(text: str) -> list[str]:
    return [part for part in re.split(r"[,\s]+", text) if part]


def _number(text: str) -> int | str:
    return int(text) if re.fullmatch(r"[0-9]{1,6}", text, re.ASCII) else text
