from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import cast

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from drivers.events import Event, LinkUp, PedalEdge, Reading
from drivers.link import PedalLinkSettings
from drivers.text_frames import TextFormat
from station.settings import shop
from station.settings.hold import HoldSpecification, load_hold
from station.settings.materials import load_material, material_named
from station.settings.preferences import Paper, Preferences, load_preferences
from station.settings.station import KeyPedal, load_station
from station.views.archive_page import ArchivePage, FiledJob, write_record
from station.views.page import Page
from station.views.plan_page import PlanPage, plan_shelf
from station.views.scale_page import Known, ScalePage
from station.views.settings_page import SettingsPage
from station.views.sheet_page import NAME
from station.views.shelf_page import HOLDS, MATERIALS, ShelfPage
from station.views.work import Tell, Work
from tests.station.cli.test_records import alter
from tests.station.records.sample_job import JOB, file_job
from tests.station.views.pages_gallery import PAGES, STATION
from tests.station.views.test_dialogs import errors

PRESS = Qt.MouseButton.LeftButton


def shown(qtbot: QtBot, page: Page) -> None:
    """Show a page as a person would see it."""
    qtbot.addWidget(page)
    page.show()
    qtbot.waitExposed(page)
    page.activateWindow()
    qtbot.waitUntil(page.isActiveWindow)


@pytest.fixture(autouse=True)
def own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Keep what a page writes out of the user's own folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


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


# ---------------------------------------------------------------------- holds and materials


@st.composite
def specifications(draw: st.DrawFn) -> HoldSpecification:
    """Give any hold specification that is one."""
    low = draw(st.integers(1, 10**6))
    target = draw(st.integers(low, low + 10**6))
    high = draw(st.integers(max(target, low + 1), target + 10**6))
    return HoldSpecification(
        name="ours",
        target_mn=target,
        low_mn=low,
        high_mn=high,
        ceiling_mn=draw(st.integers(high + 1, high + 10**6)),
        duration_us=draw(st.integers(1, 10**10)),
        max_gap_us=draw(st.integers(1, 10**6)),
        zero_limit_mn=draw(st.none() | st.integers(0, low - 1)),
        still_limit_us=draw(st.none() | st.integers(1, 10**9)),
        guarded=draw(st.booleans()),
    )


def typed_of(spec: HoldSpecification) -> dict[str, str]:
    """Give what a person would type for a specification."""

    def force(mn: int | None) -> str:
        return "" if mn is None else f"{mn // 1000}.{mn % 1000:03} N"

    def time_text(us: int | None) -> str:
        return "" if us is None else f"{us // 10**6}.{us % 10**6:06} s"

    return {
        NAME: spec.name,
        "hold.target": force(spec.target_mn),
        "hold.low": force(spec.low_mn),
        "hold.high": force(spec.high_mn),
        "hold.ceiling": force(spec.ceiling_mn),
        "hold.duration": time_text(spec.duration_us),
        "hold.max_gap": time_text(spec.max_gap_us),
        "hold.zero_limit": force(spec.zero_limit_mn),
        "hold.still_limit": time_text(spec.still_limit_us),
        "hold.decision": "taken off the limits" if spec.guarded else "not taken off",
        "hold.source": "a test",
    }


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spec=specifications())
def test_a_hold_kept_by_the_page_is_read_back_equal(qtbot: QtBot, tmp_path: Path, spec: HoldSpecification) -> None:
    """Whatever specification is typed and kept, a strict reading of its file gives that specification."""
    folder = tmp_path / str(time.monotonic_ns())
    page = ShelfPage("dark", shop.holds(folder), HOLDS)
    qtbot.addWidget(page)
    page.begin_new()
    page.form.fill(typed_of(spec))
    page.keep()
    assert errors(page) == []
    assert load_hold(folder / "holds/ours.toml") == spec


@pytest.mark.parametrize(("key", "text", "said"), [
    (NAME, "main hmpe", "the name of a ready-made one"),
    ("hold.target", "30", "expected a force with its unit"),
    ("hold.target", "30 kg", "a mass and a force is meant"),
    ("hold.low", "46 lbf", "must be below high"),
    ("hold.low", "31 lbf", "must lie between low and high"),
    ("hold.high", "100 N", "low, 124.55 N, must be below high, 100 N"),  # in the unit that was typed last
    ("hold.high", "27.5 lbf", "low, 28 lbf, must be below high, 27.5 lbf"),
    ("hold.ceiling", "44 lbf", "must be above high"),
    ("hold.duration", "30", "expected a time with its unit"),
    ("hold.duration", "__import__('os')", "expected a time with its unit"),
    ("hold.max_gap", "2 s", "at most 1 s"),
    ("hold.zero_limit", "28 lbf", "must be below low"),
    ("hold.rated_strength", "50 lbf", "none above the rated strength"),
    ("hold.source", "", "This is needed"),
])  # fmt: skip
def test_each_wrong_entry_of_a_hold_is_said_beside_a_field(
    qtbot: QtBot, tmp_path: Path, key: str, text: str, said: str
) -> None:
    """What the loader refuses stands in one sentence beside a field, and no file is written."""
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    page.form.fill({**page.form.answers(), NAME: "ours"} | {key: text})
    qtbot.mouseClick(page.keep_button, PRESS)
    (found,) = errors(page)
    assert said in found
    assert not list(tmp_path.glob("holds/*"))


def test_a_copy_is_made_typed_and_changed_by_keyboard(qtbot: QtBot, tmp_path: Path) -> None:
    """Down to a ready-made hold, a name of one's own, Enter on the button: the copy is kept, listed and chosen."""
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    qtbot.keyClick(page.rows, Qt.Key.Key_Down)
    name = page.form.inputs[NAME]
    name.setFocus()
    qtbot.keyClicks(name, "Our mark")
    page.keep_button.setFocus()
    qtbot.keyClick(page.keep_button, Qt.Key.Key_Return)
    assert page.said.text().startswith("Kept: our-mark")
    item = page.rows.currentItem()
    assert item is not None
    assert item.text() == "our-mark\n20 lbf for 5 s · your own"
    ready, ours = shop.hold_named("mark-round-nylon", tmp_path), shop.hold_named("our-mark", tmp_path)
    assert ours.facts() == ready.facts() | {"name": "our-mark"}
    assert (tmp_path / "holds/our-mark.toml").read_text().startswith("#")  # the copied file's own words


def test_a_file_that_is_wrong_is_listed_and_mended(qtbot: QtBot, tmp_path: Path) -> None:
    """A hold of the shop's own that cannot be read says why, and can be mended in the form."""
    (tmp_path / "holds").mkdir()
    bad = tmp_path / "holds/bad.toml"
    bad.write_text('[hold]\ntarget = "30"\nlow = "28 lbf"\nhigh = "45 lbf"\nduration = "30 s"\nceiling = "60 lbf"\n')
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    page.rows.setCurrentRow(page.rows.count() - 1)
    assert "expected a force with its unit" in page.whose.text()
    page.form.fill({**page.form.answers(), "hold.target": "30 lbf", "hold.source": "a manual"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert load_hold(bad).target_mn == 133_447


def test_a_ready_made_material_copied_is_that_material(qtbot: QtBot, tmp_path: Path) -> None:
    """Copied under another name and read back, every figure and every source is as it was."""
    page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
    shown(qtbot, page)
    for row, sheet in enumerate(shop.materials(tmp_path).sheets()):
        page.rows.setCurrentRow(row)
        page.form.fill({**page.form.answers(), NAME: f"our {sheet.name}"})
        page.keep()
        assert errors(page) == []
        ours = load_material(shop.materials(tmp_path).sheets()[-1].path)
        before = load_material(sheet.path)
        assert {**vars(ours), "name": ""} == {**vars(before), "name": ""}
        next(iter((tmp_path / "lines").glob("*.toml"))).unlink()
        page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
        qtbot.addWidget(page)


@pytest.mark.parametrize(("changes", "said"), [
    ({"rated_strength.value": "700"}, "expected a force with its unit"),
    ({"rated_strength.words": ""}, "expected either source"),
    ({"carriers.value": "15"}, "expected an even number"),
    ({"carriers.value": "many"}, "expected a whole number"),
    ({"fibre_density_kg_per_m3.value": "nan"}, "expected a plain number"),
    ({"flat_width.value": "0 mm"}, "expected more than zero"),
    ({"stiffness.value": ""}, "is missing"),
    ({"picks.picks": "24"}, "expected a length"),
])  # fmt: skip
def test_each_wrong_entry_of_a_material_is_said(
    qtbot: QtBot, tmp_path: Path, changes: dict[str, str], said: str
) -> None:
    """What the loader refuses of a material is said beside a field, and no file is written."""
    page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
    shown(qtbot, page)
    changed = {f"material.{key}": text for key, text in changes.items()}
    if "picks.picks" in changes:
        changed |= {"material.picks.words": "counted", "material.picks.per": "1"}
    page.form.fill({**page.form.answers(), NAME: "ours"} | changed)
    page.keep()
    (found,) = errors(page)
    assert said in found
    assert not list(tmp_path.glob("lines/*"))


def test_a_material_of_the_shop_counts_in_a_plan(qtbot: QtBot, tmp_path: Path) -> None:
    """A material kept in the shop's folder is found by its name, as a plan asks for it."""
    page = ShelfPage("dark", shop.materials(tmp_path / "data/fidbench"), MATERIALS)
    qtbot.addWidget(page)
    page.form.fill({**page.form.answers(), NAME: "our braid, lot 12"})
    page.keep()
    assert material_named("our braid, lot 12").fibre == "aramid"


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


# ---------------------------------------------------------------------- scale and pedal


class Bench:
    """A station's ports, of which a test says what comes."""

    def __init__(self) -> None:
        self.open = 0
        self.coming: list[Event] = []

    @contextmanager
    def hear(self) -> Iterator[Callable[[], Sequence[Event]]]:
        """Open the ports."""
        self.open += 1
        yield self._taken
        self.open -= 1

    def _taken(self) -> list[Event]:
        came, self.coming = self.coming, []
        return came


def test_what_the_scale_sends_is_shown_and_the_ports_are_let_go(qtbot: QtBot, tmp_path: Path) -> None:
    """A reading is shown as it came, the pedal too; without a force there is no number; closing lets the ports go."""
    file, bench = tmp_path / "station.toml", Bench()
    file.write_text(STATION)
    known = Known("scale checked today, ±0.12 lbf", "until 2027-06-01")
    page = ScalePage("dark", file, lambda _: None, known, bench.hear)
    shown(qtbot, page)
    assert page.known.text() == "Scale checked today, ±0.12 lbf.\nuntil 2027-06-01"
    qtbot.keyClick(page.hear_button, Qt.Key.Key_Space)
    bench.coming = [LinkUp(0, "usb-scale"), Reading(1, 30.02, "lbf", None, 1), PedalEdge(2, True)]
    page.listen()
    assert page.reading.text() == "30.02 lbf"
    assert page.more.text() == "usb-scale is open · 1 reading · pedal down"
    bench.coming = [Reading(3, None, None, "overload", 3)]
    page.listen()
    assert page.reading.text() == "no force: the scale says overload"
    assert bench.open == 1
    page.close()
    assert bench.open == 0


def test_a_station_file_is_changed_in_the_form(qtbot: QtBot, tmp_path: Path) -> None:
    """A new capacity is kept among the person's own comments; a wrong one is said, and the file stays."""
    file, used = tmp_path / "station.toml", list[Path]()
    file.write_text(STATION)
    page = ScalePage("dark", file, used.append)
    shown(qtbot, page)
    assert page.form is not None
    page.form.fill({**page.form.answers(), "scale.capacity": "200"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert "expected a force with its unit" in errors(page)[0]
    assert (file.read_text(), used) == (STATION, [])
    page.form.fill({**page.form.answers(), "scale.capacity": "200 lbf", "scale.baud": "19200"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert used == [file]
    assert load_station(file).scale.link.baud == 19_200
    assert file.read_text() == STATION.replace("100 lbf", "200 lbf").replace("9600", "19200")


def test_the_pedal_is_changed_in_the_form(qtbot: QtBot, tmp_path: Path) -> None:
    """Each kind of pedal asks for what it needs alone, and the file then says that and nothing of another kind."""
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    page = ScalePage("dark", file, lambda _: None)
    shown(qtbot, page)
    form = page.form
    assert form is not None
    url = form.inputs["pedal.url"]
    assert url.isVisibleTo(page)
    for kind, changes, pedal in (
        ("a key of the keyboard", {}, KeyPedal()),
        ("none", {}, None),
        (
            "a box that sends text",
            {"pedal.url": "/dev/box", "pedal.down": "1", "pedal.up": "0", "pedal.baud": "4800"},
            PedalLinkSettings(url="/dev/box", baud=4800, kind="text", down=b"1", up=b"0"),
        ),
        (
            "a footswitch between two pins",
            {"pedal.url": "/dev/foot", "pedal.line": "ri"},
            PedalLinkSettings(url="/dev/foot", kind="contact", line="ri"),
        ),
    ):
        form.fill({**form.answers(), "pedal.kind": kind, **changes})
        assert url.isVisibleTo(page) == bool(changes)
        page.keep()
        assert errors(page) == []
        assert load_station(file).pedal == pedal
    form.fill({**form.answers(), "pedal.url": ""})
    page.keep()
    assert errors(page) == ["is missing and is required"]


@pytest.mark.parametrize(("typed", "units", "said"), [
    ("lb = lbf, kg = kgf", {"lb": "lbf", "kg": "kgf"}, ""),
    ("lb. = lbf", {"lb.": "lbf"}, ""),
    ('"=" = N', {"=": "N"}, ""),
    ("lb", None, "expected each of its words once"),
    ("lb = lbf, lb = N", None, "expected each of its words once"),
    ("lb = pounds", None, "expected one of"),
    ("", {}, ""),
])  # fmt: skip
def test_its_words_for_units_are_typed(
    qtbot: QtBot, tmp_path: Path, typed: str, units: dict[str, str] | None, said: str
) -> None:
    """What the scale calls its units is typed in a row; what is none is said, and the file stays."""
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    page = ScalePage("dark", file, lambda _: None)
    shown(qtbot, page)
    assert page.form is not None
    page.form.fill({**page.form.answers(), "scale.units": typed})
    page.keep()
    form = load_station(file).scale.format
    assert isinstance(form, TextFormat)
    assert form.units == ({"lb": "lbf"} if units is None else units)
    assert any(said in found for found in errors(page)) if units is None else errors(page) == []


def test_a_station_file_that_is_none_is_refused(qtbot: QtBot, tmp_path: Path) -> None:
    """Choosing a file that is no station file says so, and the one in use stays; without one nothing can be heard."""
    used: list[Path] = []
    bad = tmp_path / "bad.toml"
    bad.write_text("[scale]\n")
    page = ScalePage("dark", None, used.append, choose=lambda: str(bad))
    shown(qtbot, page)
    assert not page.hear_button.isVisible()
    qtbot.keyClick(page.choose_button, Qt.Key.Key_Return)
    assert page.said.text().startswith(f"Not done: {bad}")
    assert used == []


# ---------------------------------------------------------------------- archive


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive with the invented job; no test alters it."""
    return file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")


JOBS = [FiledJob(JOB, "centre A and B, left\nTeasel 190 · Ansa Velling"), FiledJob("26-0002", "rear C\nBurdock 143")]


class Shown:
    """An archive's page, with what it handed to the system."""

    def __init__(self, qtbot: QtBot, where: Path, folder: Path, name: str = "") -> None:
        self.handed: list[Path] = []
        self.can_show = True
        choose = lambda _title, _name: str(folder / name) if name else ""  # noqa: E731 -- as short as it is
        self.page = ArchivePage("dark", str(where), JOBS, folder / "records", choose=choose, show_file=self.show_file)
        shown(qtbot, self.page)
        self._qtbot = qtbot

    def show_file(self, path: Path) -> bool:
        """Take a file as the system's viewer would."""
        self.handed.append(path)
        return self.can_show

    def press(self, words: str) -> str:
        """Press a button, wait until the work is done, and give what is said then."""
        self._qtbot.mouseClick(self.page.buttons[words], PRESS)
        self._qtbot.waitUntil(lambda: not self.page.work.is_running, timeout=20_000)
        return self.page.said.text()


def test_jobs_are_found_by_what_is_typed(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Every word must be in number, line, canopy or name, in any case; what is not found leaves nothing to open."""
    page = Shown(qtbot, filed, tmp_path).page
    qtbot.keyClicks(page.search, "TEASEL velling")
    assert (page.rows.count(), page.found.text()) == (1, "1 of 2")
    qtbot.keyClicks(page.search, " rear")
    assert page.rows.count() == 0
    assert not page.buttons["Open the record"].isEnabled()


def test_a_record_is_drawn_and_handed_over(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Enter on a job draws its record and hands it over; where nothing shows PDF the path is said all the same."""
    at = Shown(qtbot, filed, tmp_path)
    qtbot.keyClick(at.page.rows, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: not at.page.work.is_running, timeout=20_000)
    assert at.handed == [tmp_path / f"records/{JOB}.pdf"]
    assert at.handed[0].read_bytes().startswith(b"%PDF")
    at.can_show = False
    assert at.press("Open the record").endswith("Nothing here shows PDF files: open it elsewhere.")


def test_a_record_is_drawn_on_the_chosen_paper(filed: Path, tmp_path: Path) -> None:
    """On A4 and on letter the record's page has that paper's size, as a printer counts it."""
    for paper, width in (("a4", 595.28), ("letter", 612.0)):
        path = write_record(str(filed), JOB, tmp_path / "r.pdf", lambda *_: None, cast(Paper, paper))
        (found, *_) = re.findall(rb"/MediaBox \[ 0 0 ([0-9.]+) ", path.read_bytes())
        assert float(found) == pytest.approx(width, abs=0.01)


def test_a_good_archive_is_verified_exported_and_copied(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Verification says that nothing is damaged; the export has a line for each entry; the copy is an archive."""
    said = Shown(qtbot, filed, tmp_path).press("Verify all")
    assert "30 entries and 3 judged holds worked out anew. Nothing is damaged" in said
    Shown(qtbot, filed, tmp_path, "all.jsonl").press("Export all")
    lines = [json.loads(line) for line in (tmp_path / "all.jsonl").read_text().splitlines()]
    assert sum("trace" not in line for line in lines) == 30
    copied = Shown(qtbot, filed, tmp_path, "copy.sqlite")
    assert copied.press("Copy all").startswith("Copied to")
    assert copied.press("Copy all").startswith("Not done:")  # no file is written over


def test_a_damaged_archive_is_named_damaged(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """An altered digit is named with its entry, in words that say damaged."""
    altered = alter(
        filed, tmp_path, "UPDATE entries SET body = replace(body, 'Teasel 190', 'Teasel 191') WHERE seq = 1"
    )
    before = altered.read_bytes()
    said = Shown(qtbot, altered, tmp_path).press("Verify all")
    assert said.startswith("Damaged. ")
    assert "entry 1: " in said
    assert altered.read_bytes() == before


def test_what_cannot_be_read_is_said(qtbot: QtBot, tmp_path: Path) -> None:
    """An archive that went away is said in words, and the page stays."""
    at = Shown(qtbot, tmp_path / "gone.sqlite", tmp_path)
    assert at.press("Verify all").startswith("Not done: ")
    assert at.page.isVisible()


# ---------------------------------------------------------------------- long work


def test_work_is_stopped_where_it_tells_how_far_it_is(qtbot: QtBot) -> None:
    """Stop ends work at its next telling, says that nothing was written, and another can begin."""
    parent = QWidget()
    qtbot.addWidget(parent)
    work = Work(parent)
    said: list[tuple[str, bool]] = []
    work.said.connect(lambda words, wrong: said.append((words, wrong)))
    parent.show()
    begun = threading.Event()

    def run(tell: Tell) -> None:
        for number in range(10**9):
            begun.set()
            tell(number, 10**9)

    done: list[object] = []
    work.begin("Counting", run, done.append)
    assert begun.wait(10)
    assert work.isVisible()
    work.begin("Another", run, done.append)
    assert said == [("Counting is still running. Stop it first, or wait", True)]
    qtbot.mouseClick(work.stop_button, PRESS)
    qtbot.waitUntil(lambda: not work.is_running, timeout=10_000)
    assert said[1:] == [("Stopped. Nothing was written.", False)]
    work.begin("Adding", lambda tell: tell(1, 2) or 3, done.append)
    qtbot.waitUntil(lambda: done == [3], timeout=10_000)
    assert not work.isVisible()


def test_a_page_that_is_closed_stops_its_work(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Closing the page waits for the work to stop, and leaves no half a file."""
    at = Shown(qtbot, filed, tmp_path, "half.jsonl")
    waiting = threading.Event()

    def run(tell: Tell) -> None:
        while True:
            waiting.set()
            tell(0, 0)

    at.page.work.begin("Waiting", run, print)
    assert waiting.wait(10)
    at.page.close()
    assert not at.page.work.is_running
    assert not (tmp_path / "half.jsonl").exists()


def test_stopping_an_export_leaves_no_file(filed: Path, tmp_path: Path) -> None:
    """An export stopped in the middle leaves neither the file nor a part of it, and the one before stays."""
    from station.views.archive_page import export_archive
    from station.views.work import Stopped

    def tell(done: int, _of: int) -> None:
        if done == 10:
            raise Stopped

    target = tmp_path / "all.jsonl"
    target.write_text("before")
    with pytest.raises(Stopped):
        export_archive(str(filed), target, tell)
    assert [(each.name, each.read_text()) for each in tmp_path.iterdir()] == [("all.jsonl", "before")]
