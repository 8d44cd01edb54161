from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from station.views.form import Field
from station.views.start import PLAN_KEY, StartPage
from tests.station.views.test_dialogs import errors

JOBS = [
    ("J1", "Centre A and B, left", "Teasel 190", "next: mark where B enters"),
    ("J2", "Rear C, right", "Teasel 190", "signed off"),
]
FIELDS = (
    Field("title", "Which line", required=True, group="line"),
    Field("side", "Side", choices=("left", "right"), group="line"),
    Field("canopy.type", "Type", required=True, default="Teasel 190", group="canopy"),
)


class Page:
    """A start page, and what it was asked for."""

    def __init__(self, qtbot: QtBot, jobs: list[tuple[str, str, str, str]], **options: Any) -> None:
        self.gone_on: list[str] = []
        self.begun: list[tuple[Path, Mapping[str, str]]] = []
        self.problems: dict[str, str] = {}
        self.page = StartPage("light", jobs, FIELDS, self.gone_on.append, self.begin, **options)
        qtbot.addWidget(self.page)
        self.page.show()
        qtbot.waitExposed(self.page)
        self.page.activateWindow()
        qtbot.waitUntil(self.page.isActiveWindow)

    def begin(self, plan: Path, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Remember what was to be begun, and say what is wrong with it."""
        self.begun.append((plan, answers))
        return self.problems

    def write(self, name: str, text: str) -> None:
        """Fill a field."""
        edit = self.page.form.inputs[name]
        assert isinstance(edit, QLineEdit)
        edit.setText(text)


def test_jobs_are_listed_with_where_they_stand(qtbot: QtBot) -> None:
    """Each job shows its title, its canopy and where it stands, and says the same to those who hear the screen."""
    page = Page(qtbot, JOBS).page
    texts = [item.text() for item in (page.jobs.item(row) for row in range(page.jobs.count())) if item]
    assert texts == [
        "J1  Centre A and B, left\nTeasel 190 · next: mark where B enters",
        "J2  Rear C, right\nTeasel 190 · signed off",
    ]
    first = page.jobs.item(0)
    assert first is not None
    assert first.data(Qt.ItemDataRole.AccessibleTextRole) == (
        "J1  Centre A and B, left, Teasel 190 · next: mark where B enters"
    )


def test_the_keyboard_goes_on_with_a_job(qtbot: QtBot) -> None:
    """The list has the focus first; arrow down and Enter go on with the second job."""
    shown = Page(qtbot, JOBS)
    assert QApplication.focusWidget() is shown.page.jobs
    qtbot.keyClick(shown.page.jobs, Qt.Key.Key_Down)
    qtbot.keyClick(shown.page.jobs, Qt.Key.Key_Return)
    assert shown.gone_on == ["J2"]


def test_enter_presses_the_button_that_has_the_focus(qtbot: QtBot) -> None:
    """Enter on a button of the first page does what a click does; Esc leads nowhere and closes nothing."""
    opened: list[str] = []
    page = Page(qtbot, JOBS, pages=[("Settings", lambda: opened.append("settings"))]).page
    page.page_buttons[0].setFocus()
    qtbot.keyClick(page.page_buttons[0], Qt.Key.Key_Return)
    assert opened == ["settings"]
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert page.isVisible()


def test_the_button_goes_on_with_the_chosen_job(qtbot: QtBot) -> None:
    """The button below the list goes on with the job that is chosen there."""
    shown = Page(qtbot, JOBS)
    qtbot.mouseClick(shown.page.go_on_button, Qt.MouseButton.LeftButton)
    assert shown.gone_on == ["J1"]


def test_an_empty_archive_says_so(qtbot: QtBot) -> None:
    """Without jobs there is no list and no button, words say what to do, and the plan's field has the focus."""
    shown = Page(qtbot, [])
    assert not shown.page.jobs.isVisible()
    assert not shown.page.go_on_button.isVisible()
    assert QApplication.focusWidget() is shown.page.form.inputs[PLAN_KEY]


def test_a_job_is_begun_with_what_was_typed(qtbot: QtBot) -> None:
    """The plan's path and the answers by key are handed on, the defaults among them."""
    shown = Page(qtbot, JOBS, plan=Path("plans/centre.toml"))
    shown.write("title", "Centre A")
    qtbot.mouseClick(shown.page.begin_button, Qt.MouseButton.LeftButton)
    assert shown.begun == [
        (Path("plans/centre.toml"), {"title": "Centre A", "side": "left", "canopy.type": "Teasel 190"})
    ]
    assert errors(shown.page) == []


def test_what_is_missing_is_said_before_anything_is_begun(qtbot: QtBot) -> None:
    """With needed fields empty nothing is begun, and each says so in words beside it."""
    shown = Page(qtbot, [])
    qtbot.mouseClick(shown.page.begin_button, Qt.MouseButton.LeftButton)
    assert shown.begun == []
    assert errors(shown.page) == ["This is needed, and it is empty."] * 2


def test_a_wrong_plan_is_said_beside_its_field(qtbot: QtBot) -> None:
    """What is wrong with the plan stands in words beside its field, and is gone once it is right."""
    shown = Page(qtbot, [])
    shown.write(PLAN_KEY, "~/no-such.toml")
    shown.write("title", "Centre A")
    shown.problems = {PLAN_KEY: "no-such.toml: there is no such file"}
    qtbot.mouseClick(shown.page.begin_button, Qt.MouseButton.LeftButton)
    assert errors(shown.page) == ["no-such.toml: there is no such file"]
    assert shown.begun[0][0] == Path.home() / "no-such.toml"
    shown.problems = {}
    qtbot.mouseClick(shown.page.begin_button, Qt.MouseButton.LeftButton)
    assert errors(shown.page) == []


@pytest.mark.parametrize("size", [(1600, 960), (1280, 800), (1024, 640)])
def test_the_form_is_never_wider_than_its_room(qtbot: QtBot, size: tuple[int, int]) -> None:
    """At every size the fields end inside the page, so that nothing must be scrolled sideways."""
    shown = Page(qtbot, JOBS)
    shown.page.resize(*size)
    QApplication.processEvents()
    for edit in shown.page.form.inputs.values():
        right = edit.mapTo(shown.page, edit.rect().topRight()).x()
        assert right < shown.page.width()


def test_what_else_can_be_done_is_a_quiet_button(qtbot: QtBot) -> None:
    """Each action has a button at the top, in its words, reached by mouse and keyboard; without any there is none."""
    done: list[str] = []
    actions = [("Check the scale", lambda: done.append("full")), ("Daily check", lambda: done.append("daily"))]
    shown = Page(qtbot, JOBS, notice="Bench 1", actions=actions)
    assert [button.text() for button in shown.page.action_buttons] == ["Check the scale", "Daily check"]
    qtbot.mouseClick(shown.page.action_buttons[0], Qt.MouseButton.LeftButton)
    shown.page.action_buttons[1].setFocus()
    qtbot.keyClick(shown.page.action_buttons[1], Qt.Key.Key_Space)
    assert done == ["full", "daily"]
    assert Page(qtbot, JOBS).page.action_buttons == []


def test_closing_the_page_is_told(qtbot: QtBot) -> None:
    """Closing the page is told to whoever opened it."""
    shown = Page(qtbot, JOBS)
    with qtbot.waitSignal(shown.page.closed, timeout=2000):
        shown.page.close()
