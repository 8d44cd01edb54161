"""A whole job through the real window, with whatever a day at the bench does in the middle of it.

Runs on the display there is (a real X display where DISPLAY is set), else offscreen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from PyQt6.QtCore import QCoreApplication, Qt, QTimer
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from drivers.events import Event
from station.at_window import AtWindow
from station.bench.bench import Bench
from station.records.entries import HoldByHand, HoldJudged, Overridden, SignedOff, SteppedBack
from station.views.dialogs import Question
from tests.station.bench.workbench import MAIN, Workbench


class ThroughWindow:
    """Stands in the place of a workbench's bench: what comes waits, and the window takes it with its next frame."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.waiting: list[Event] = []
        self.frames = 0
        self.at_window = AtWindow(bench, self.taken, "dark")
        self.at_window.window.resize(1920, 1080)
        self.at_window.window.show()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.bench, name)

    def taken(self) -> list[Event]:
        """Give what came since it was last asked."""
        came, self.waiting = self.waiting, []
        return came

    def take(self, events: Sequence[Event]) -> list[Any]:
        """Let events come, and the window take them; each eighth frame is painted."""
        self.waiting += events
        self.at_window.window.frame()
        self.frames += 1
        if self.frames % 8 == 0:
            QCoreApplication.processEvents()
        return []


class Job:
    """A job at its window, worked by pull, foot and keys, that can be closed and opened again."""

    def __init__(self, qtbot: QtBot) -> None:
        self.qtbot = qtbot
        self.desk = Workbench(replace(MAIN, duration_us=6_000_000))
        self.lay_on_the_bench(self.desk.bench)

    def lay_on_the_bench(self, bench: Bench) -> None:
        """Open the window on a bench."""
        self.desk.bench = ThroughWindow(bench)  # type: ignore[assignment]  # it stands in its place
        self.qtbot.addWidget(self.window)
        self.window.frame()

    @property
    def window(self) -> Any:
        """Give the window."""
        return self.desk.bench.at_window.window  # type: ignore[attr-defined]  # stands in the bench's place

    def close_and_reopen(self) -> None:
        """Close the window and come back: the job is folded anew from its entries alone."""
        self.window.close()
        bench = Bench(self.desk.folded(), self.desk.settings, self.desk.file)
        bench.now_us = self.desk.at_us
        self.lay_on_the_bench(bench)

    def key(self, key: Qt.Key) -> None:
        """Press a key."""
        self.qtbot.keyClick(self.window, key)
        self.window.frame()

    def ask(self, key: Qt.Key, answers: Mapping[str, str]) -> None:
        """Press the key of what only a keyboard may do, and type the answers into the form that opens."""
        asked: list[bool] = []

        def fill() -> None:
            question = QApplication.activeModalWidget()
            if not isinstance(question, Question):
                QTimer.singleShot(20, fill)
                return
            for name, text in answers.items():
                self.qtbot.keyClicks(question.form.inputs[name], text)
            asked.append(True)
            question.answer_button.click()

        self.desk.wait(0.1)
        QTimer.singleShot(20, fill)
        self.qtbot.keyClick(self.window, key)
        assert asked
        self.window.frame()

    def entries(self, kind: type) -> list[Any]:
        """Give the facts of a kind."""
        return [entry for entry in self.desk.entries if isinstance(entry, kind)]

    def do_step(self) -> None:
        """Do the step at hand, by keyboard where the foot may not."""
        step = self.desk.bench.step
        assert step is not None
        if step.kind == "inspect":
            self.ask(Qt.Key.Key_I, {"by": "Second Person", "finding": "good"})
        elif step.kind == "sign":
            self.ask(Qt.Key.Key_S, {"by": "First Person"})
        else:
            self.desk.do_step()


def test_a_disturbed_job_comes_to_its_signature(qtbot: QtBot) -> None:
    """Back by foot, an unplugged scale, other sizes and views, silence, an override, a closed window: it is signed."""
    job = Job(qtbot)
    desk = job.desk

    desk.work_to("A: cut")
    job.desk.wait(2.2)
    desk.press()
    after_cut = desk.step
    desk.press(held_s=1.2)
    assert desk.step == "A: cut"
    assert len(job.entries(SteppedBack)) == 1
    desk.wait(2.2)
    desk.press()
    assert desk.step == after_cut

    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 4.0)
    desk.unplug()
    desk.wait(1.0)
    assert job.window.snapshot.sentence.text.startswith("No reading")
    assert "unplugged" in job.window.snapshot.notice.text
    desk.replug()
    desk.pull(31.0, 4.0)
    assert desk.step == "A: pre-stretch"
    assert job.entries(HoldJudged) == []
    job.window.resize(1280, 800)
    job.key(Qt.Key.Key_V)
    job.key(Qt.Key.Key_M)
    desk.pull(31.0, 3.0)
    desk.pull(0.0, 1.5)
    assert [each.judgement["verdict"] for each in job.entries(HoldJudged)] == ["held"]
    assert job.window.far
    assert job.window.tones.muted
    job.window.resize(1920, 1080)
    job.key(Qt.Key.Key_V)
    job.key(Qt.Key.Key_M)

    at_closing, held = desk.step, desk.bench.state.index
    job.close_and_reopen()
    assert (desk.step, desk.bench.state.index) == (at_closing, held)

    desk.work_to("B: pre-stretch")
    desk.pull(0.0, 1.0)
    job.ask(Qt.Key.Key_O, {"by": "First Person", "reason": "the cell is wanted elsewhere"})
    assert [each.reason for each in job.entries(Overridden)] == ["the cell is wanted elsewhere"]
    assert desk.step != "B: pre-stretch"
    job.key(Qt.Key.Key_Backspace)
    assert desk.step == "B: pre-stretch"
    job.ask(Qt.Key.Key_H, {"by": "First Person"})
    assert len(job.entries(HoldByHand)) == 1
    while desk.bench.step.kind != "mark":
        job.do_step()
    desk.pull(0.0, 1.0)
    marked = desk.step
    desk.press()
    assert desk.step == marked  # a tap without the marking pull does not count

    for _ in range(100):
        if desk.bench.step is None:
            break
        job.do_step()
    assert desk.bench.step is None
    assert len(job.entries(SignedOff)) == 1
    assert len(job.entries(HoldJudged)) == 1
    assert job.window.last_words == ""
    assert desk.folded().now is None
    job.window.close()
