from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from station.bench.commands import carry_out
from station.bench_app import FORMS, Sitting
from station.filing import facts_of
from station.records.archive import Archive
from station.records.entries import HoldByHand, HoldJudged, JobOpened, Overridden, PieceCut, SteppedBack
from station.settings.station import StationSettings, load_station

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
        self.sitting = Sitting(station, self.archive, "dark", "imperial", "lbf")
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
    for _ in range(3):
        program.key(Qt.Key.Key_Space)
    assert isinstance(program.entries()[-1], PieceCut)
    program.key(Qt.Key.Key_Backspace)
    assert isinstance(program.entries()[-1], SteppedBack)
    program.close()
    again = Opened(qtbot, tmp_path)
    assert again.sitting._jobs() == [("26-0001", "Centre A", "Teasel 190", "next: cut A")]
    again.sitting._go_on("26-0001")
    assert again.at_window.bench.step.key == "A: cut"
    again.close()


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
    assert "50.00 lbf" in told[0]
    assert again.sitting.bench is None
    again.close()


def test_the_stations_own_hold_stands_first(qtbot: QtBot, tmp_path: Path) -> None:
    """Where the station file says what the hold is, a new job may take it."""
    station = tmp_path / "station.toml"
    station.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    program = Opened(qtbot, tmp_path, load_station(station))
    field = next(each for each in program.sitting._fields() if each.key == "hold")
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
    for command in ("sign", "inspect", "override", "by hand", "scrap", "release"):
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
        assert desk.window.snapshot.sentence.text == "Time complete: ease off to finish"
        scale.lbf = 0.0
        qtbot.waitUntil(lambda: desk.bench.step.key == "A: route", timeout=5000)
        hold = next(each for each in program.entries() if isinstance(each, HoldJudged))
        assert hold.judgement["verdict"] == "held"
        program.close()
