from __future__ import annotations

import datetime
import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from drivers.events import Event
from station.bench_app import Sitting
from station.check_app import ANEW, FILE, GO_ON, AtScale, CheckFiler, ScaleChecks, place_of
from station.filing import Filer, facts_of
from station.measuring.hold import ScaleUncertainty
from station.records.archive import Archive
from station.records.entries import DailyChecked, HoldJudged, ScaleChecked
from station.settings.station import StationSettings, load_station
from station.views.form import Field
from tests.station.bench.weighbench import Weighbench
from tests.station.cli.commands import FOREIGN_STATION, HOLD, ForeignScale, run
from tests.station.test_bench_app import ANSWERS, PLAN

NOON = datetime.datetime(2026, 6, 1, 12, tzinfo=datetime.UTC)
FULL_FORM = {
    "weights": "5 kg, 10 kg, 15 kg, 20 kg",
    "target": "30 lbf",
    "latitude": "47.5 deg",
    "height": "300 m",
    "density": "8000",
    "resolution": "0.02 lbf",
    "capacity": "100 lbf",
}


class Answers:
    """Somebody who fills in forms: one answer after another, None where the form is left."""

    def __init__(self, *answers: Mapping[str, str] | None) -> None:
        self.asked: list[tuple[str, str, Sequence[Field]]] = []
        self._answers = iter(answers)

    def __call__(self, title: str, text: str, fields: Sequence[Field]) -> Mapping[str, str] | None:
        """Answer a form."""
        self.asked.append((title, text, fields))
        return next(self._answers)


class Loft:
    """A station and its archive, at noon."""

    def __init__(self, folder: Path, more: str = HOLD) -> None:
        self.folder = folder
        file = folder / "station.toml"
        scale = re.sub(r"uncertainty.*\n", "", FOREIGN_STATION).format(url=folder / "scale")
        file.write_text(scale + 'resolution = "0.02 lbf"\n' + more)
        self.station = load_station(file)
        self.archive = Archive.open(folder / "a.sqlite", bench=self.station.name, create=True)
        self.now = NOON
        self.checks = self.checks_of(self.station)

    def checks_of(self, station: StationSettings) -> ScaleChecks:
        """Give the checks of a station."""
        return ScaleChecks(station, self.archive, clock=lambda: self.now)

    def full(self, gain: float = 1.001, **changed: str) -> ScaleChecked:
        """Make a full check and file it."""
        bench = Weighbench(gain=gain)
        work = self.checks.full(Answers(FULL_FORM | changed))
        assert work is not None
        bench.work = work
        bench.weigh()
        work.do("file", {"by": "A. Person", "weights": "set 2"})
        filed = facts_of(self.archive)[-1][1]
        assert isinstance(filed, ScaleChecked)
        return filed

    def daily(self, gain: float = 1.001) -> DailyChecked:
        """Make a daily check."""
        bench = Weighbench(gain=gain)
        work = self.checks.daily(Answers())
        assert work is not None
        bench.work = work
        bench.weigh()
        filed = facts_of(self.archive)[-1][1]
        assert isinstance(filed, DailyChecked)
        return filed


@pytest.fixture
def loft(tmp_path: Path) -> Iterator[Loft]:
    """Open a station with a hold at 30 lbf, whose scale nobody checked."""
    opened = Loft(tmp_path)
    yield opened
    opened.archive.close()


def test_a_year_with_a_scale(loft: Loft) -> None:
    """Checked, renewed by the day, found off, and checked again: what is known of the scale follows."""
    assert loft.checks.standing() == "scale not checked: nothing is proven"
    first = loft.full()
    assert loft.checks.standing() == "scale not checked today: hang the daily weight"
    assert loft.daily().agreed
    assert loft.checks.standing() == "scale checked today, ±0.05 lbf"
    loft.now += datetime.timedelta(days=100)
    assert loft.checks.standing() == "scale not checked today: hang the daily weight"
    assert not loft.daily(gain=1.01).agreed
    assert loft.checks.standing() == "scale did not agree: nothing is proven"
    second = loft.full(gain=1.01)
    assert second.uncertainty["expanded_mn"] > first.uncertainty["expanded_mn"] + 1000  # its error, and its drift
    assert loft.daily(gain=1.01).agreed


def test_the_files_of_a_check_are_never_written_over(loft: Loft, capfd: pytest.CaptureFixture[str]) -> None:
    """Two checks of one day leave two files, each with the hash that was filed; the command reads both."""
    filed = [loft.full(), loft.full()]
    files = sorted((loft.folder / "checks").iterdir())
    assert [file.name for file in files] == ["2026-06-01-2.csv", "2026-06-01.csv"]
    hashes = {hashlib.sha256(file.read_bytes()).hexdigest() for file in files}
    assert hashes == {entry.check_hash for entry in filed}
    ran = run(
        capfd, "scale-check", files[1], "--at", "30 lbf", "--latitude", "47.5 deg", "--height", "300 m",
        "--capacity", "100 lbf", "--resolution", "0.02 lbf", "--json",
    )  # fmt: skip
    assert ran.json["expanded_uncertainty_n"] == pytest.approx(filed[0].uncertainty["expanded_mn"] / 1000, abs=0.001)


def test_what_was_set_aside_lies_beside_the_check(loft: Loft) -> None:
    """Readings that were gone back on are kept in a file of their own."""
    CheckFiler(loft.archive, lambda: NOON)(
        DailyChecked(scale="A", known_mn=1, indicated_mn=1, agreed=True, within_mn=1), "check\n", "aside\n"
    )
    assert (loft.folder / "checks/2026-06-01-set-aside.csv").read_text() == "aside\n"


def test_a_check_whose_window_is_closed_is_kept(qtbot: QtBot, loft: Loft) -> None:
    """Closing the window in mid-check leaves what was read in a file that says it was not filed."""
    bench = Weighbench()
    work = loft.checks.full(Answers(FULL_FORM))
    assert work is not None
    bench.work = work
    at_scale = AtScale(work, list, "dark")
    qtbot.addWidget(at_scale.window)
    at_scale.window.show()
    bench.weigh(4)
    at_scale.window.close()
    text = (loft.folder / "checks/2026-06-01-not-filed.csv").read_text()
    assert [line.split(",")[2] for line in text.splitlines()[1:]] == ["0 N", "5 kg", "10 kg", "15 kg"]
    assert facts_of(loft.archive) == []


def test_a_check_left_unfinished_is_gone_on_with(loft: Loft) -> None:
    """What was read today is not asked for again; the result is that of a check made in one go, set aside and all."""
    begun = loft.checks.full(Answers(FULL_FORM))
    assert begun is not None
    bench = Weighbench(gain=1.001)
    bench.work = begun
    bench.weigh(6)
    begun.long_press()
    begun.leave()
    asked = Answers(FULL_FORM, {"before": GO_ON})
    work = loft.checks.full(asked)
    assert work is not None
    assert f"after 5 of {len(work.loads)} readings" in asked.asked[1][1]
    assert (work.weighed, work.set_aside) == (begun.weighed, begun.set_aside)
    bench.work = work
    bench.weigh()
    assert work.result is not None
    assert [each.load for each in work.weighed] == list(work.loads)
    anew = loft.checks.full(Answers(FULL_FORM, {"before": ANEW}))
    assert anew is not None
    assert anew.weighed == []
    assert loft.checks.full(Answers(FULL_FORM, None)) is None


@pytest.mark.parametrize(("changed", "days"), [({"weights": "5 kg, 10 kg, 16 kg"}, 0), ({}, 1)])
def test_only_todays_check_with_the_same_weights_is_gone_on_with(
    loft: Loft, changed: dict[str, str], days: int
) -> None:
    """Other weights, or another day, begin a check anew without a question."""
    begun = loft.checks.full(Answers(FULL_FORM))
    assert begun is not None
    bench = Weighbench()
    bench.work = begun
    bench.weigh(4)
    begun.leave()
    loft.now += datetime.timedelta(days=days)
    work = loft.checks.full(Answers(FULL_FORM | changed))
    assert work is not None
    assert work.weighed == []


def test_until_when_a_check_is_in_force_is_said(loft: Loft) -> None:
    """A full check is in force for a year; without one, and without a typed uncertainty, that is said."""
    assert loft.checks.until().startswith("No check with weights is filed")
    loft.full()
    assert loft.checks.until() == "Full check at 30 lbf of 2026-06-01: until 2027-06-01."


def test_the_form_stands_as_it_was_filled_in(loft: Loft) -> None:
    """Defaults come from the station and the last check; what is wrong is said, and what was typed is kept."""
    asked = Answers(FULL_FORM | {"weights": "5 kg, 10 kg", "height": "12 ft"}, None)
    assert loft.checks.full(asked) is None
    (_, _, first), (_, said, second) = asked.asked
    assert {field.key: field.default for field in first} == {
        "weights": "", "target": "30 lbf", "latitude": "", "height": "", "density": "8000", "resolution": "0.02 lbf",
        "capacity": "100 lbf",
    }  # fmt: skip
    assert said == "weights: found 2, expected at least 3, parted by commas"
    assert {field.key: field.default for field in second}["height"] == "12 ft"
    loft.full()
    again = Answers(None)
    loft.checks.full(again)
    defaults = {field.key: field.default for field in again.asked[0][2]}
    assert (defaults["weights"], defaults["latitude"]) == ("5 kg, 10 kg, 15 kg, 20 kg", "47.5 deg")


@pytest.mark.parametrize(("key", "text", "said"), [
    ("latitude", "47.5", "expected an angle with its unit"),
    ("latitude", "91 deg", "from -90 deg to 90 deg"),
    ("height", "300", "expected a length with its unit"),
    ("density", "nan", "found a density of 'nan'"),
    ("density", "1.1", "above that of air"),
    ("resolution", "0 lbf", "expected a force above 0 lbf"),
    ("capacity", "100 kg", "kg is a mass and a force is meant"),
    ("target", "100 lbf", "found a target of 100.0 lbf"),
    ("capacity", "40 lbf", "found 20 kg"),
])  # fmt: skip
def test_what_is_typed_wrong_is_named(loft: Loft, key: str, text: str, said: str) -> None:
    """Each mistake in the form of a full check comes back in words, and nothing has begun."""
    asked = Answers(FULL_FORM | {key: text}, None)
    assert loft.checks.full(asked) is None
    assert said in asked.asked[1][1]


def test_a_place_may_be_left_out() -> None:
    """Without latitude, height and density the standard ones count."""
    assert place_of({}) == place_of({"latitude": "", "height": "0 m", "density": "8000"})


def test_a_daily_check_needs_something_to_renew(tmp_path: Path) -> None:
    """Without a check in date it says to check the scale first; with a typed uncertainty it asks for a weight."""
    loft = Loft(tmp_path, "")
    asked = Answers(None)
    assert loft.checks.daily(asked) is None
    assert "check the scale first" in asked.asked[0][1]
    assert loft.checks.standing() == "scale not checked: nothing is proven"
    until = {"uncertainty_n": 1, "uncertainty_until": datetime.date(2026, 6, 30)}
    typed = replace(loft.station, scale=replace(loft.station.scale, **until))
    (tmp_path / "held").mkdir()
    held = Loft(tmp_path / "held")
    with_hold = replace(typed, hold=held.station.hold)
    held.archive.close()
    asked = Answers({"weight": "2 kg"}, {"weight": "30 lbf"})
    work = loft.checks_of(with_hold).daily(asked)
    assert work is not None
    assert work.within_mn == 1000
    assert "expected a weight near the target" in asked.asked[1][1]
    loft.archive.close()


def test_a_check_is_worked_and_filed_at_its_window(qtbot: QtBot, loft: Loft, monkeypatch: pytest.MonkeyPatch) -> None:
    """Space does what a tap does, F asks who checked, and only then is the check filed."""
    bench = Weighbench()
    work = loft.checks.full(Answers(FULL_FORM))
    assert work is not None
    bench.work = work
    at_scale = AtScale(work, list, "dark")
    qtbot.addWidget(at_scale.window)
    at_scale.window.show()
    bench.hang_asked()
    bench.wait_until_steady()
    at_scale.window.frame()
    QTest.keyClick(at_scale.window, Qt.Key.Key_Space)
    assert len(work.weighed) == 1
    bench.weigh()
    at_scale.window.frame()
    answers = Answers(None, {"by": "A. Person", "weights": "set 2"})
    monkeypatch.setattr(at_scale.window, "ask", answers)
    QTest.keyClick(at_scale.window, Qt.Key.Key_F)
    assert facts_of(loft.archive) == []
    QTest.keyClick(at_scale.window, Qt.Key.Key_F)
    assert all(field.required for field in FILE)
    assert isinstance(facts_of(loft.archive)[0][1], ScaleChecked)
    at_scale.window.close()


def test_a_pedal_that_is_a_key_works_here_too(qtbot: QtBot, loft: Loft) -> None:
    """A foot pedal that is a keyboard reaches the check as edges, stamped as they come."""
    taken: list[Event] = []
    work = loft.checks.full(Answers(FULL_FORM))
    assert work is not None
    at_scale = AtScale(work, lambda: [], "light", key_pedal=True)
    qtbot.addWidget(at_scale.window)
    at_scale.window.show()
    work.take = lambda events: taken.extend(events) or []  # type: ignore[method-assign,func-returns-value]  # a fake foot
    QTest.keyPress(at_scale.window, Qt.Key.Key_F13)
    QTest.keyRelease(at_scale.window, Qt.Key.Key_F13)
    at_scale.window.frame()
    assert [event.down for event in taken] == [True, False]  # type: ignore[union-attr]  # edges alone were sent
    at_scale.window.close()


def test_another_weight_is_asked_for_until_it_is_one(qtbot: QtBot, loft: Loft, monkeypatch: pytest.MonkeyPatch) -> None:
    """W asks for another daily weight; one that is far from the target comes back with what was expected."""
    loft.full()
    work = loft.checks.daily(Answers())
    assert work is not None
    assert work.load is not None
    assert work.load.text == "15 kg"
    at_scale = AtScale(work, list, "dark")
    qtbot.addWidget(at_scale.window)
    at_scale.window.show()
    at_scale.window.frame()
    answers = Answers({"weight": "5 kg"}, {"weight": "14 kg"})
    monkeypatch.setattr(at_scale.window, "ask", answers)
    QTest.keyClick(at_scale.window, Qt.Key.Key_W)
    assert "expected a weight near the target" in answers.asked[1][1]
    assert work.load.text == "14 kg"
    at_scale.window.close()


def test_the_first_page_opens_a_daily_check_on_a_real_port(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the first page's quiet button to a filed agreement, on a scale of another make; then the page comes back."""
    file = tmp_path / "station.toml"
    file.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + 'resolution = "0.02 lbf"\n' + HOLD)
    with (
        ForeignScale(tmp_path / "scale", lbf=30.0),
        Archive.open(tmp_path / "a.sqlite", bench="Bench of another make", create=True) as archive,
    ):
        sitting = Sitting(load_station(file), lambda: archive, "dark", "imperial", "lbf")
        sitting.show()
        page = sitting.start
        assert page is not None
        qtbot.addWidget(page)
        assert [button.text() for button in page.findChildren(QPushButton) if button in page.action_buttons] == [
            "Daily check",
            "Check the scale",
            "Set up a scale",
            "Scale and pedal",
            "Measure a line set",
            "Archive",
        ]
        monkeypatch.setattr("station.bench_app.ask", lambda *_: {"weight": "30 lbf"})
        page.action_buttons[0].click()
        check = sitting.check
        assert check is not None
        qtbot.waitUntil(lambda: check.work.is_ready, timeout=8000)
        check.window.frame()
        QTest.keyClick(check.window, Qt.Key.Key_Space)
        (entry,) = [fact for _, fact in facts_of(archive)]
        assert isinstance(entry, DailyChecked)
        assert entry.agreed
        check.window.close()
        QApplication.processEvents()
        assert sitting.start is not page
        assert sitting.start.isVisible()
        sitting.start.close()
        sitting.close()


def filed_now(archive: Archive, scale: str, expanded_mn: int) -> None:
    """File a full check at the hold's target and a daily check that agreed, both today."""
    file = Filer(archive)
    uncertainty = {"expanded_mn": expanded_mn, "standard_un": 200_000, "error_un": 0}
    file(
        ScaleChecked(
            scale=scale, target_mn=133_447, uncertainty=uncertainty, scale_class="0.5", points=(), by="A. Person",
            weights="5 kg, 10 kg, 15 kg; set 2", latitude=None, check_hash="0" * 64,
        )
    )  # fmt: skip
    file(DailyChecked(scale=scale, known_mn=147_100, indicated_mn=147_100, agreed=True, within_mn=expanded_mn))


def test_a_hold_is_judged_by_the_check_that_is_filed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Without a window too, a hold that is filed is judged by what the archive knows of the scale today."""
    link, station, archive = tmp_path / "scale", tmp_path / "station.toml", tmp_path / "a.sqlite"
    station.write_text(FOREIGN_STATION.format(url=link) + HOLD)
    with Archive.open(archive, bench="Bench of another make", create=True) as opened:
        filed_now(opened, str(link), 543)
    with ForeignScale(link, lbf=30.0):
        run(capfd, "hold", "--station", station, "--archive", archive, "--timeout", "20 s")
    with Archive.open(archive) as opened:
        hold = next(fact for _, fact in facts_of(opened) if isinstance(fact, HoldJudged))
    assert hold.uncertainty == {"expanded_mn": 543, "standard_un": 200_000, "error_un": 0}


def test_a_jobs_window_says_how_the_scale_stands(qtbot: QtBot, loft: Loft) -> None:
    """The job's top line and its holds go by the check that is filed and was renewed today."""
    filed_now(loft.archive, loft.station.scale.link.url, 543)
    sitting = Sitting(loft.station, lambda: loft.archive, "dark", "imperial", "lbf")
    sitting.show()
    assert sitting.start is not None
    qtbot.addWidget(sitting.start)
    assert sitting._begin(PLAN, ANSWERS) == {}
    assert sitting.bench is not None
    settings = sitting.bench.bench.settings
    assert settings.scale_words.text == "scale checked today, ±0.12 lbf"
    assert settings.uncertainty == ScaleUncertainty(543, 200_000)
    sitting.bench.window.close()
    sitting.close()
