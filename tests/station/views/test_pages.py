from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from station.settings import shop
from station.settings.preferences import Preferences, load_preferences
from station.views.page import Page
from station.views.plan_page import PlanPage, plan_shelf
from station.views.scale_page import ScalePage
from station.views.settings_page import SettingsPage
from station.views.sheet_page import NAME
from station.views.shelf_page import HOLDS, ShelfPage
from tests.station.views.pages import PRESS, shown
from tests.station.views.pages_gallery import PAGES, STATION
from tests.station.views.test_dialogs import errors

pytestmark = pytest.mark.usefixtures("own_folder")


# ---------------------------------------------------------------------- every page


@pytest.mark.parametrize("make", PAGES)
def test_the_keyboard_reaches_everything_that_can_be_pressed(
    qtbot: QtBot, tmp_path: Path, make: Callable[..., Page]
) -> None:
    """Tab goes round through every field, list and button that is shown, each has a name, and Esc goes back."""
    page = make(tmp_path, "dark", 1.0)
    shown(qtbot, page)
    wanted = {
        each
        for each in page.findChildren(QWidget)
        if each.focusPolicy() & Qt.FocusPolicy.TabFocus.value and each.isVisible() and each.isEnabled()
    }
    reached: set[QWidget] = set()
    for _ in range(len(wanted) + 5):
        focus = QApplication.focusWidget()
        assert focus is not None
        reached.add(focus)
        qtbot.keyClick(focus, Qt.Key.Key_Tab)
    assert wanted <= reached
    assert all(each.accessibleName() or getattr(each, "text", str)() for each in wanted)
    if page.unkept():
        qtbot.keyClick(page, Qt.Key.Key_Escape)
        assert page.isVisible()
    with qtbot.waitSignal(page.closed, timeout=2000):
        qtbot.keyClick(page, Qt.Key.Key_Escape)


def typed_pages(folder: Path) -> Iterator[tuple[Page, QWidget]]:
    """Give pages that write something, each with a field to type into."""
    shelf = ShelfPage("dark", shop.holds(folder), HOLDS)
    yield shelf, shelf.form.inputs[NAME]
    preferences = SettingsPage("dark", lambda _: None, file=folder / "settings.toml")
    yield preferences, preferences.form.inputs["places.shop"]
    plan = PlanPage("dark", plan_shelf(folder), lambda _: None)
    yield plan, plan.form.inputs["plan.name"]
    file = folder / "station.toml"
    file.write_text(STATION)
    scale = ScalePage("dark", file, lambda _: None)
    assert scale.form is not None
    yield scale, scale.form.inputs["station.name"]


def test_what_is_typed_is_not_lost_by_one_press_of_esc(qtbot: QtBot, tmp_path: Path) -> None:
    """Where something is typed and not kept, going back is asked about once; where nothing is, it goes at once."""
    for page, field in typed_pages(tmp_path):
        shown(qtbot, page)
        qtbot.keyClicks(field, "x")
        qtbot.keyClick(page, Qt.Key.Key_Escape)
        assert page.isVisible()
        assert page.said.text().endswith("is not kept yet. Keep it, or do that once more and it is gone.")
        qtbot.keyClick(page, Qt.Key.Key_Escape)
        assert not page.isVisible()
    for page, _ in typed_pages(tmp_path):
        shown(qtbot, page)
        qtbot.keyClick(page, Qt.Key.Key_Escape)
        assert not page.isVisible()


def test_turning_to_another_sheet_asks_about_what_is_typed(qtbot: QtBot, tmp_path: Path) -> None:
    """Another hold, another plan or a new one takes the place of what is typed only once it was asked before."""
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    qtbot.keyClicks(page.form.inputs[NAME], "ours")
    page.rows.setCurrentRow(2)
    assert (page.rows.currentRow(), page.form.answers()[NAME]) == (0, "ours")
    page.new_button.click()
    assert page.form.answers()[NAME] == ""
    plan = PlanPage("dark", plan_shelf(tmp_path), lambda _: None)
    shown(qtbot, plan)
    qtbot.keyClicks(plan.form.inputs["plan.name"], "ours")
    plan.sheets.setCurrentIndex(1)
    assert plan.sheets.currentIndex() == 0
    assert plan.form.answers()["plan.name"] == "ours"
    plan.sheets.setCurrentIndex(1)
    assert plan.sheets.currentIndex() == 1
    plan.close()


@pytest.mark.parametrize("make", PAGES)
def test_nothing_of_a_page_is_cut_off(qtbot: QtBot, tmp_path: Path, make: Callable[..., Page]) -> None:
    """At both sizes every button has room for its words, is large, and lies inside the page."""
    for scale, size in ((1.0, (1600, 960)), (0.75, (1200, 720))):
        page = make(tmp_path, "light", scale)
        page.resize(*size)
        shown(qtbot, page)
        assert (page.width(), page.height()) == size
        for index in range(page.foot.count()):
            item = page.foot.itemAt(index)
            button = item.widget() if item is not None else None
            if button is not None and button.isVisible():
                assert button.width() >= button.sizeHint().width()
                assert button.height() >= 44 * scale
                assert page.rect().contains(button.geometry())
        page.close()


def test_a_page_takes_enter_for_the_button_that_has_the_focus(qtbot: QtBot, tmp_path: Path) -> None:
    """Enter presses the focused button, and F13, a foot pedal's key, presses nothing."""
    page = SettingsPage("dark", lambda _: None, file=tmp_path / "settings.toml")
    shown(qtbot, page)
    page.keep_button.setFocus()
    qtbot.keyClick(page.keep_button, Qt.Key.Key_F13)
    assert not (tmp_path / "settings.toml").exists()
    qtbot.keyClick(page.keep_button, Qt.Key.Key_Return)
    assert load_preferences(tmp_path / "settings.toml") == Preferences()


# ---------------------------------------------------------------------- settings


def test_settings_are_kept_and_told(qtbot: QtBot, tmp_path: Path) -> None:
    """What is set is written, read back, told, and stands in the form the next time."""
    told: list[Preferences] = []
    file = tmp_path / "settings.toml"
    page = SettingsPage("dark", told.append, file=file)
    shown(qtbot, page)
    qtbot.keyClick(page.form.inputs["window.look"], Qt.Key.Key_Down)
    page.form.fill(
        {**page.form.answers(), "window.units": "metric", "records.paper": "a4", "places.shop": str(tmp_path)}
    )
    qtbot.mouseClick(page.keep_button, PRESS)
    assert told == [load_preferences(file)]
    assert told[0] == Preferences(look="light", units="metric", paper="a4", shop=tmp_path)
    again = SettingsPage("light", told.append, file=file)
    qtbot.addWidget(again)
    assert again.form.answers() == page.form.answers()


@pytest.mark.parametrize(("key", "text", "said"), [
    ("places.shop", "/no/such/folder", "make it first"),
    ("places.archive", "archive.sqlite", "from / or ~ on"),
    ("places.archive", "/", "is a folder"),
    ("places.station", "/no/such.toml", "cannot be read"),
])  # fmt: skip
def test_each_wrong_place_is_said_beside_its_field(
    qtbot: QtBot, tmp_path: Path, key: str, text: str, said: str
) -> None:
    """A place that is not there is named, and nothing is kept or told."""
    told: list[Preferences] = []
    page = SettingsPage("dark", told.append, file=tmp_path / "settings.toml")
    shown(qtbot, page)
    page.form.fill({**page.form.answers(), key: text})
    qtbot.mouseClick(page.keep_button, PRESS)
    (found,) = errors(page)
    assert said in found
    assert (told, (tmp_path / "settings.toml").exists()) == ([], False)
