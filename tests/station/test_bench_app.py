from __future__ import annotations

import datetime
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from station.at_window import AtWindow
from station.bench.commands import carry_out, offered
from station.bench.snapshot import Words, tap_of
from station.bench_app import Sitting, open_bench
from station.filing import facts_of
from station.pages_app import hold_page, material_page
from station.records.archive import Archive, ArchiveFault
from station.records.entries import HoldByHand, HoldJudged, JobOpened, Overridden, PieceCut, SteppedBack
from station.records.words import BASIS, CANOPY, LINE, MEASURING, OWNER, PEOPLE, SEWING, STOCK, WORK
from station.scale_today import ScaleToday
from station.settings.materials import load_material
from station.settings.preferences import load_preferences
from station.settings.station import StationSettings, load_station
from station.views.job_forms import FORMS, NEW_JOB, job_fields
from station.views.plan_page import PlanPage
from station.views.scale_page import ScalePage
from station.views.settings_page import SettingsPage
from station.views.shelf_page import ShelfPage
from tests.station.bench.workbench import Workbench

sys.path.insert(0, str(Path(__file__).parent / "cli"))
from commands import FOREIGN_STATION, HOLD, ForeignScale

PLAN = Path("config/jobs/one-cascade.toml")
ANSWERS = {
    "title": "Centre A",
    "side": "left",
    "canopy.kind": "main",
    "canopy.type": "Teasel 190",
    "hold": "main-hmpe",
    "rated_strength": "",
    "people.worker": "A. Person",
    "people.authority": "a test",
}


class Opened:
    """The program opened on an archive, as `fidbench open` does it, without its event loop."""

    def __init__(self, qtbot: QtBot, folder: Path, station: StationSettings | None = None) -> None:
        self._qtbot = qtbot
        name = station.name if station else "Bench"
        self.archive = Archive.open(folder / "a.sqlite", bench=name, create=True)
        self.sitting = Sitting(station, lambda: self.archive, "dark", "imperial", "lbf")
        self.sitting.show()
        assert self.sitting.start is not None
        qtbot.addWidget(self.sitting.start)

    @property
    def at_window(self):
        """Give the bench at its window."""
        assert self.sitting.bench is not None
        return self.sitting.bench

    def begin(self, **changed: str) -> dict[str, str]:
        """Fill in the form of a new job and begin it."""
        return dict(self.sitting._begin(PLAN, ANSWERS | changed))

    def key(self, key: Qt.Key) -> None:
        """Press a key in the window and let it draw."""
        window = self.at_window.window
        window.frame()
        QTest.keyClick(window, key)
        window.frame()

    def entries(self) -> list[object]:
        """Give the facts filed so far."""
        return [entry for _, entry in facts_of(self.archive)]

    def close(self) -> None:
        """Close the windows and the archive, as a person does."""
        if self.sitting.bench is not None:
            self.sitting.bench.window.close()
        if self.sitting.start is not None:
            self.sitting.start.close()
        self.sitting.close()
        self.archive.close()
        QApplication.processEvents()


@pytest.fixture(autouse=True)
def own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Keep what is set out of the user's own folder; give where it goes."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path / "data/fidbench"


@pytest.fixture(autouse=True)
def reads_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let whoever taps here have read at once what is asked: `test_bench` holds the bench to its second."""
    monkeypatch.setattr("station.bench.bench.READ_US", 0)


@pytest.fixture
def opened(qtbot: QtBot, tmp_path: Path) -> Iterator[Opened]:
    """Open the program without instruments."""
    program = Opened(qtbot, tmp_path)
    yield program
    program.close()


def test_a_job_is_begun_worked_closed_and_gone_on_with(qtbot: QtBot, tmp_path: Path) -> None:
    """A job begun at the first page goes on, the next time the program is opened, where it was."""
    program = Opened(qtbot, tmp_path)
    assert program.begin() == {}
    assert isinstance(program.entries()[0], JobOpened)
    assert program.at_window.window.isMaximized()  # it is read at two metres
    for _ in range(3):
        program.key(Qt.Key.Key_Space)
    assert isinstance(program.entries()[-1], PieceCut)
    program.key(Qt.Key.Key_Backspace)
    assert isinstance(program.entries()[-1], SteppedBack)
    program.close()
    again = Opened(qtbot, tmp_path)
    assert again.sitting._jobs() == [("26-0001", "Centre A, left", "Teasel 190", "next: cut A")]
    again.sitting._go_on("26-0001")
    assert again.at_window.bench.step.key == "A: cut"
    again.close()


def test_every_fact_that_page_1_of_a_record_names_can_be_typed_and_is_kept(opened: Opened) -> None:
    """What 14 CFR 65.131(a) asks for, and all else that page 1 has a place for, is asked for when a job is opened."""
    named = {
        "canopy": CANOPY,
        "owner": OWNER,
        "work": (*WORK, *BASIS),
        "people": PEOPLE,
        "stock": STOCK,
        "sewing": SEWING,
        "measuring": MEASURING,
        "line": LINE,
    }
    keys = {f"{group}.{key}" for group, labels in named.items() for key, _ in labels}
    assert keys == {field.key for field in NEW_JOB if "." in field.key}
    assert opened.begin(**{key: f"the {key}" for key in keys - ANSWERS.keys()}) == {}
    job = opened.entries()[0]
    assert isinstance(job, JobOpened)
    for group, labels in named.items():
        kept = getattr(job, group)
        for key, _ in labels:
            assert kept[key] == ANSWERS.get(f"{group}.{key}", f"the {group}.{key}")
    assert job.measuring["pre_stretch"] == "main-hmpe"


def test_mistakes_at_the_first_page_are_said_beside_their_field(opened: Opened, tmp_path: Path) -> None:
    """A plan that cannot be read or worked, a strength that is none and a hold that needs one are named."""
    bad = tmp_path / "bad.toml"
    bad.write_text(PLAN.read_text().replace('at = "48 in"', 'at = "200 in"'))
    assert "line" in opened.sitting._begin(bad, ANSWERS)["plan"]
    bad.write_text("[plan")
    assert "TOML" in opened.sitting._begin(bad, ANSWERS)["plan"]
    assert "cannot be read" in opened.sitting._begin(tmp_path / "none.toml", ANSWERS)["plan"]
    assert "725" in opened.begin(rated_strength="725")["rated_strength"]
    assert "rated" in opened.begin(hold="round-reserve")["hold"]
    assert opened.entries() == []


def test_a_job_that_cannot_be_opened_is_said_and_the_first_page_stays(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hold whose ceiling this station's scale cannot read is named, and the program goes on."""
    program = Opened(qtbot, tmp_path)
    program.begin()
    program.close()
    station = tmp_path / "station.toml"
    small = FOREIGN_STATION.format(url=tmp_path / "scale").replace('capacity = "100 lbf"', 'capacity = "50 lbf"')
    station.write_text(small.replace("Bench of another make", "Bench"))
    again = Opened(qtbot, tmp_path, load_station(station))
    told: list[str] = []
    monkeypatch.setattr(again.sitting, "_ask", lambda _title, text, _fields: told.append(text))
    again.sitting._go_on_or_say("26-0001")
    assert "above the scale's capacity, 50 lbf" in told[0]
    assert again.sitting.bench is None
    again.close()


def test_the_stations_own_hold_stands_first(qtbot: QtBot, tmp_path: Path) -> None:
    """Where the station file says what the hold is, a new job may take it."""
    station = tmp_path / "station.toml"
    station.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    program = Opened(qtbot, tmp_path, load_station(station))
    field = next(each for each in job_fields(program.sitting._station) if each.key == "hold")
    assert field.choices[0] == "as the station file says"
    assert program.begin(hold=field.choices[0]) == {}
    assert program.at_window.bench.settings.pre_stretch.duration_us == 1_000_000
    program.close()


def test_by_hand_and_override_ask_for_a_name(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    """What only the keyboard may do asks first; a person who leaves the form changes nothing."""
    opened.begin()
    desk = opened.at_window
    for _ in range(4):
        opened.key(Qt.Key.Key_Space)
    carry_out(desk.bench, "done")
    assert desk.bench.step.key == "A: pre-stretch"
    monkeypatch.setattr(desk.window, "ask", lambda *_: None)
    desk.send("by hand")
    assert desk.bench.step.key == "A: pre-stretch"
    monkeypatch.setattr(desk.window, "ask", lambda *_: {"by": "A. Person", "reason": "a test"})
    desk.send("by hand")
    assert isinstance(opened.entries()[-1], HoldByHand)
    desk.bench.back()
    desk.send("override")
    assert isinstance(opened.entries()[-1], Overridden)


def test_without_instruments_the_list_of_checks_is_passed_all_the_same(opened: Opened) -> None:
    """Where nothing is heard time passes too: a check that has been shown for two seconds counts by key."""
    opened.begin()
    bench = opened.at_window.bench
    for _ in range(60):
        if bench.step.kind == "check":
            break
        opened.at_window.window.frame()
        tap = tap_of(offered(bench))
        carry_out(bench, tap if tap is not None else "by hand", {"by": "A. Person"})
    first = bench.step.key
    opened.key(Qt.Key.Key_Space)
    assert bench.step.key == first
    bench.step_since_us = bench.now_us - 2_000_000
    assert bench.step_since_us > 0
    opened.key(Qt.Key.Key_Space)
    assert bench.step.key != first


def test_what_was_written_for_one_step_is_not_taken_by_the_next(
    opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a tap said level while a difference was typed, what was typed is not counted for the line after it."""
    opened.begin()
    desk = opened.at_window
    for _ in range(60):
        if desk.bench.step.key == "B: compare after sewing 1":
            break
        tap = tap_of(offered(desk.bench))
        carry_out(desk.bench, tap if tap is not None else "by hand", {"by": "A. Person"})
    desk.bench.comparing.phase = "line"

    def ask(*_: object) -> dict[str, str]:
        desk.bench.tap(desk.bench.now_us)
        desk.bench.comparing.phase = "line"
        return {"difference": "3/16 in"}

    monkeypatch.setattr(desk.window, "ask", ask)
    desk.send("long?")
    assert desk.bench.step.key == "A: compare after sewing 1"
    assert "went on while that was written" in desk.bench.notice.text


def test_a_length_that_is_none_is_asked_for_again(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    """A difference typed wrong comes back with what was found; the next answer counts."""
    opened.begin()
    desk = opened.at_window
    for _ in range(60):
        if desk.bench.step.kind == "compare":
            break
        carry_out(desk.bench, "by hand" if desk.bench.step.kind == "pre-stretch" else "done", {"by": "A. Person"})
    desk.bench.comparing.phase = "line"
    answers = iter([{"difference": "3"}, {"difference": "3/16 in"}])
    asked: list[str] = []

    def ask(title: str, text: str, fields: object) -> dict[str, str]:  # noqa: ARG001 -- the window's own face
        asked.append(text)
        return next(answers)

    monkeypatch.setattr(desk.window, "ask", ask)
    desk.send("long?")
    assert "found '3'" in asked[1]
    assert desk.bench.step.kind == "adjust"


def test_every_form_belongs_to_a_command_that_needs_a_name(opened: Opened) -> None:
    """Whatever is never by foot asks who does it."""
    for command in ("sign", "inspect", "override", "by hand", "not sound", "scrap", "release"):
        assert any(field.key == "by" and field.required for field in FORMS[command][2])
    assert opened.sitting.bench is None


def test_a_hold_is_judged_through_the_window_on_a_real_port(qtbot: QtBot, tmp_path: Path) -> None:
    """A scale of another make on a real port, a real window: the hold is judged and filed while the window draws."""
    station = tmp_path / "station.toml"
    station.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    with ForeignScale(tmp_path / "scale", lbf=0.0) as scale:
        program = Opened(qtbot, tmp_path, load_station(station))
        program.begin(**{"hold": "measure-ram-air"})
        desk = program.at_window
        for _ in range(40):
            if desk.bench.step.key == "A: pre-stretch":
                break
            carry_out(desk.bench, "done")
        qtbot.waitUntil(lambda: desk.bench.reading_is_fresh, timeout=5000)
        time.sleep(0.3)
        scale.lbf = 10.0
        qtbot.waitUntil(lambda: any(isinstance(each, HoldJudged) for each in program.entries()), timeout=15000)
        complete = "Time complete: ease off to finish"
        qtbot.waitUntil(lambda: desk.window.snapshot.sentence.text == complete, timeout=5000)
        scale.lbf = 0.0
        qtbot.waitUntil(lambda: desk.bench.step.key == "A: route", timeout=5000)
        hold = next(each for each in program.entries() if isinstance(each, HoldJudged))
        assert hold.judgement["verdict"] == "held"
        program.close()


def test_a_job_open_past_midnight_asks_what_is_known_of_the_scale(qtbot: QtBot) -> None:
    """At midnight what is known of the scale is asked again, and a hold under way is judged by what was known."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    now = [datetime.datetime(2026, 6, 1, 12, tzinfo=datetime.UTC)]
    known = ScaleToday(None, Words("scale not checked today: hang the daily weight", "warn"))
    at = AtWindow(desk.bench, list, "dark", known=lambda: known, clock=lambda: now[0])
    qtbot.addWidget(at.window)
    before = desk.bench.settings.uncertainty
    assert before is not None
    desk.pull(0.0, 3.0)
    desk.pull(31.2, 5.0)
    now[0] += datetime.timedelta(days=1)
    at.read()
    assert desk.bench.settings.uncertainty == before
    desk.pull(0.0, 3.0)
    at.read()
    assert desk.bench.settings.uncertainty is None
    assert desk.bench.watch is not None
    assert desk.bench.watch.uncertainty is None
    assert at.read().header.scale == known.words
    at.window.close()


def test_every_page_is_reached_from_the_first_and_leads_back(qtbot: QtBot, opened: Opened) -> None:
    """Each button of the first page opens its page in the first one's place; Esc leads back to the first."""
    titles = ["Scale and pedal", "Line plans", "Whole relines", "Hold specifications", "Materials", "Archive"]
    titles += ["In control?", "Settings"]
    for title in titles:
        first = opened.sitting.start
        assert first is not None
        button = next(each for each in (*first.action_buttons, *first.page_buttons) if each.text() == title)
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        page = opened.sitting.page
        assert page is not None
        qtbot.addWidget(page)
        assert (page.accessibleName(), page.isVisible(), first.isVisible()) == (title, True, False)
        QTest.keyClick(page, Qt.Key.Key_Escape)
        assert opened.sitting.page is None
        assert opened.sitting.start is not None
        assert opened.sitting.start.isVisible()


def test_the_trials_are_reached_from_the_materials(qtbot: QtBot, opened: Opened) -> None:
    """The page of materials leads to its trials, and they back to the first; what was typed is asked about before."""
    opened.sitting.show_materials()
    materials = opened.sitting.page
    assert materials is not None
    qtbot.addWidget(materials)
    button = next(each for each in materials.findChildren(QPushButton) if each.text() == "Trials")
    assert isinstance(materials, ShelfPage)
    qtbot.keyClicks(materials.form.inputs["material.fibre"], "x")
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    assert "is not kept yet" in materials.said.text()
    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
    page = opened.sitting.page
    assert page is not None
    qtbot.addWidget(page)
    assert (page.accessibleName(), page.isVisible(), materials.isVisible()) == ("Trials", True, False)
    QTest.keyClick(page, Qt.Key.Key_Escape)
    assert opened.sitting.start is not None
    assert opened.sitting.start.isVisible()


def test_settings_count_at_once(opened: Opened, own_folder: Path) -> None:
    """Another look and other units are those of the next page and the next job; the settings say so in their file."""
    opened.sitting.show_settings()
    page = opened.sitting.page
    assert isinstance(page, SettingsPage)
    page.form.fill(
        {
            **page.form.answers(),
            "window.look": "light",
            "window.units": "metric",
            "window.sound": "off",
            "window.seen": "from afar",
        }
    )
    page.keep()
    again = opened.sitting.page
    assert again is not None
    assert again is not page
    assert again.said.text() == f"Kept, in {own_folder / 'settings.toml'}."
    again.close()
    assert opened.begin() == {}
    window = opened.at_window.window
    assert (window.look.name, window.tones.muted, window.far) == ("light", True, True)
    assert opened.at_window.bench.settings.unit == "N"


def test_a_hold_of_the_shop_can_be_chosen_for_a_job(opened: Opened, own_folder: Path) -> None:
    """A hold kept in the shop's folder stands among the choices of a new job, and the job is held to it."""
    ready = Path("config/holds/main-hmpe.toml").read_text()
    (own_folder / "holds").mkdir(parents=True)
    (own_folder / "holds/ours.toml").write_text(ready.replace('"30 lbf"', '"32 lbf"'))
    (field,) = [each for each in job_fields(opened.sitting._station) if each.key == "hold"]
    assert "ours" in field.choices
    assert opened.begin(hold="ours") == {}
    assert opened.at_window.bench.settings.pre_stretch.target_mn == 142_343


def test_a_hold_that_a_job_is_pulled_by_stays(opened: Opened, own_folder: Path) -> None:
    """What a job names is not removed, and says which job; under another name it is a second one, not renamed."""
    (own_folder / "holds").mkdir(parents=True)
    ours = own_folder / "holds/ours.toml"
    ours.write_text(Path("config/holds/main-hmpe.toml").read_text())
    assert opened.begin(hold="ours") == {}
    opened.at_window.window.close()
    page = hold_page("dark", opened.archive)
    page.show_sheets(ours)
    page.remove_or_put_back()
    assert page.said.text() == "Not done: ours stays: 26-0001 is pulled by it"
    page.form.fill({**page.form.answers(), "name": "ours two"})
    page.keep()
    assert page.said.text().endswith("ours stays beside it: 26-0001 is pulled by it.")
    assert sorted(each.name for each in ours.parent.iterdir()) == ["ours-two.toml", "ours.toml"]
    page.close()


def test_a_material_that_a_plan_or_a_job_asks_for_stays(opened: Opened, own_folder: Path) -> None:
    """A material that is named in a plan of the shop's, or in that of a job, is not removed."""
    (own_folder / "lines").mkdir(parents=True)
    ready = Path("config/lines/hmpe-725.toml").read_text()
    ours = own_folder / "lines/ours.toml"
    ours.write_text(ready.replace(f'"{load_material(Path("config/lines/hmpe-725.toml")).name}"', '"our braid"'))
    plan = own_folder / "plans/centre.toml"
    plan.parent.mkdir()
    plan.write_text(PLAN.read_text().replace('name = "A"', 'name = "A"\nmaterial = "our braid"'))
    opened.sitting._begin(plan, ANSWERS)
    opened.at_window.window.close()
    page = material_page("dark", opened.archive, lambda: None)
    for by in ("the plan Teasel 190, centre A and B, left", "26-0001"):
        page.show_sheets(ours)
        page.remove_or_put_back()
        assert page.said.text() == f"Not done: our braid stays: {by} is worked out by it"
        plan.unlink(missing_ok=True)
    page.close()


def test_a_plan_that_a_whole_reline_names_stays(opened: Opened, own_folder: Path) -> None:
    """A whole reline beside the plans is no line plan and is not listed; the plan that it names is not removed."""
    folder = own_folder / "plans"
    folder.mkdir(parents=True)
    (folder / "ours.toml").write_text(PLAN.read_text().replace("Teasel 190, centre A and B, left", "Ours"))
    (folder / "set.toml").write_text('[reline]\nname = "Set"\n[[lines]]\nplan = "ours.toml"\n')
    opened.sitting.show_plans()
    page = opened.sitting.page
    assert isinstance(page, PlanPage)
    listed = [page.sheets.itemText(row) for row in range(page.sheets.count())]
    assert [each for each in listed if "your own" in each] == ["Ours · your own"]
    page.show_sheets(folder / "ours.toml")
    page.remove_or_put_back()
    assert page.said.text() == "Not done: Ours stays: set.toml is made by it"
    page.close()


def test_a_job_is_begun_from_a_plan_made_in_the_window(opened: Opened, own_folder: Path) -> None:
    """A plan copied on its page and used leads to the first page with its file, and the job begins from it."""
    opened.sitting.show_plans()
    page = opened.sitting.page
    assert isinstance(page, PlanPage)
    page.sheets.setCurrentIndex(1)
    page.form.fill({**page.form.answers(), "plan.name": "Our centre"})
    QTest.mouseClick(page.use_button, Qt.MouseButton.LeftButton)
    start = opened.sitting.start
    assert start is not None
    file = own_folder / "plans/our-centre.toml"
    assert start.form.answers()["plan"] == str(file)
    assert opened.sitting._begin(file, ANSWERS) == {}
    assert opened.at_window.bench.state.plan.settings.name == "Our centre"


def test_a_station_chosen_is_in_use_now_and_the_next_time(opened: Opened, own_folder: Path) -> None:
    """A station file that is chosen is the one in use: its bench writes the archive, and the settings name it."""
    file = own_folder.parent / "station.toml"
    file.parent.mkdir(parents=True)
    file.write_text(FOREIGN_STATION.format(url=file.parent / "scale") + HOLD)
    opened.sitting._use(file)
    page = opened.sitting.page
    assert isinstance(page, ScalePage)
    assert page.said.text() == f"In use, now and the next time: {file}."
    assert opened.sitting._archive.bench == "Bench of another make"
    assert load_preferences().station == file
    page.close()
    assert opened.sitting.start is not None
    words = [button.text() for button in opened.sitting.start.action_buttons]
    assert words[:2] == ["Daily check", "Check the scale"]


def test_closing_the_bench_leads_back_to_the_first_page(opened: Opened) -> None:
    """A job's window that is closed gives the first page, with the job where it stands."""
    assert opened.begin() == {}
    opened.key(Qt.Key.Key_Space)
    assert opened.sitting.start is None or not opened.sitting.start.isVisible()
    opened.at_window.window.close()
    assert opened.sitting.start is not None
    assert opened.sitting.start.isVisible()
    assert opened.sitting.start.jobs.count() == 1


def test_the_first_page_is_painted_before_the_archive_is_opened(qtbot: QtBot, tmp_path: Path) -> None:
    """What a person sees first waits for no archive; nothing can be begun until it has been read, then all can."""
    file = tmp_path / "a.sqlite"
    sitting = Sitting(None, lambda: Archive.open(file, bench="Bench", create=True), "dark", "imperial", "lbf")
    page = sitting.show_first()
    qtbot.addWidget(page)
    seen: list[tuple[bool, bool]] = []
    page.painted.connect(lambda: seen.append((file.exists(), page.begin_button.isEnabled())))
    page.painted.connect(sitting.read)
    page.show()
    qtbot.waitUntil(page.begin_button.isEnabled, timeout=20_000)
    assert seen == [(False, False)]
    assert file.exists()
    assert all(button.isEnabled() for button in (*page.action_buttons, *page.page_buttons))
    sitting.close()


@pytest.mark.usefixtures("qapp")
def test_an_archive_that_cannot_be_opened_ends_the_program_with_its_words(tmp_path: Path) -> None:
    """What opening the archive says is raised by the command, though the first page was already there."""
    file = tmp_path / "a.sqlite"
    file.write_text("no archive at all, but a text that is long enough to be looked at as one\n" * 20)
    with pytest.raises(ArchiveFault, match=r"a\.sqlite"):
        open_bench(None, str(file))


def test_what_is_typed_for_a_new_job_stands_there_again(qtbot: QtBot, tmp_path: Path) -> None:
    """Turning to another page and back loses nothing of a job that is being typed; once it has begun it is gone."""
    program = Opened(qtbot, tmp_path)
    start = program.sitting.start
    assert start is not None
    start.form.inputs["title"].setText("A 3, left")  # type: ignore[union-attr]  # a line of text
    program.sitting.show_settings()
    assert program.sitting.page is not None
    program.sitting.page.close()
    start = program.sitting.start
    assert start is not None
    assert start.form.answers()["title"] == "A 3, left"
    program.close()


def test_a_bench_without_a_file_is_described_on_its_page(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no station file one is made by typing alone; a second scale is declared beside it, and can be checked."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    program = Opened(qtbot, tmp_path)
    sitting = program.sitting
    sitting.show_scale()
    page = sitting.page
    assert isinstance(page, ScalePage)
    page.set_up_button.click()
    assert sitting.first_run is not None
    assert (sitting.first_run.page.isVisible(), page.isVisible()) == (True, False)
    sitting.first_run.page.close()
    sitting.show_scale()
    page = sitting.page
    assert isinstance(page, ScalePage)
    page.describe_button.click()
    said = {"frame": "{value} {unit}", "end": r"\r\n", "units": "lb = lbf", "capacity": "100 lbf"}
    for table, url in (("scale", "/dev/one"), ("second_scale", "/dev/two")):
        page = sitting.page
        assert isinstance(page, ScalePage)
        assert page.form is not None
        typed = {f"{table}.{key}": text for key, text in {**said, "url": url}.items()}
        page.form.fill({**page.form.answers(), "station.name": "Bench 7", **typed}, settled=False)
        page.keep()
        assert page.said.text() == ""
        sitting.show_scale("second_scale")
    station = load_station(tmp_path / "data" / "fidbench" / "station.toml")
    assert [each.link.url for each in station.scales.values()] == ["/dev/one", "/dev/two"]
    page = sitting.page
    assert isinstance(page, ScalePage)
    assert [button.text() for button in page.check_buttons] == ["Daily check", "Check the scale"]
    assert "not checked" in page.known.text()
    program.close()
