"""The first run at its window, on real ports: from a strange scale to a station file that reads it."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from PyQt6.QtWidgets import QComboBox, QLineEdit
from pytestqt.qtbot import QtBot

import station.bench.first_run as model
from drivers.modbus_rtu import ModbusFormat, answer
from drivers.questions import QUESTIONS
from station.first_run_app import ANY_QUESTION, COMPARE, LISTEN, SAVE, TYPED, FirstRunAt, write_station
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from tests.station.views.test_dialogs import errors

FLOAT = ModbusFormat(unit="lbf", register=0, number="float32")


@contextmanager
def scale(work: Callable[[int, threading.Event], None]) -> Iterator[str]:
    """Give a port at whose other end `work` is the scale."""
    device, port = os.openpty()
    tty.setraw(port)
    os.set_blocking(device, False)
    stop = threading.Event()
    thread = threading.Thread(target=work, args=(device, stop))
    thread.start()
    try:
        yield os.ttyname(port)
    finally:
        stop.set()
        thread.join()
        os.close(device)
        os.close(port)


def streaming(device: int, stop: threading.Event) -> None:
    """Send 33.07 pounds, the weight of 15 kg, over and over."""
    count = 0
    while not stop.wait(0.02):
        count += 1
        os.write(device, b"%7.2f lb\r\n" % (33.06 + count % 2 / 50))


def silent(_device: int, stop: threading.Event) -> None:
    """Send nothing."""
    stop.wait()


def by_modbus(device: int, stop: threading.Event) -> None:
    """Answer the question for the holding registers, and nothing else."""
    waiting = b""
    while not stop.wait(0.005):
        try:
            waiting += os.read(device, 100)
        except OSError:
            continue
        asked = QUESTIONS["Modbus: holding registers, even parity"].raw
        if waiting.endswith(asked):
            os.write(device, answer(FLOAT, 33.07))
            waiting = b""


def fill(at: FirstRunAt, **answers: str) -> None:
    """Answer fields."""
    for key, answered in answers.items():
        edit = at.page.form.inputs[key]
        if isinstance(edit, QComboBox):
            assert edit.findText(answered) >= 0
            edit.setCurrentText(answered)
        else:
            assert isinstance(edit, QLineEdit)
            edit.setText(answered)


@pytest.fixture
def saved() -> list[Path]:
    """Give where saved files are told."""
    return []


@pytest.fixture
def at(qtbot: QtBot, tmp_path: Path, saved: list[Path], monkeypatch: pytest.MonkeyPatch) -> Iterator[FirstRunAt]:
    """Give a first run, with tries that are short."""
    monkeypatch.setattr(model, "A_TRY_US", 1_000_000)
    at = FirstRunAt("dark", tmp_path / "new" / "station.toml", saved.append)
    qtbot.addWidget(at.page)
    at.page.show()
    yield at
    at.close()


def test_a_newcomer_reaches_a_checked_reading_and_a_file(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """A scale that streams is heard, read, compared with a known weight, and described in a file that is read."""
    with scale(streaming) as url:
        fill(at, port=TYPED, address=url, speed="9600", weight="15 kg", capacity="100 lbf", name="Bench 1")
        at.page.buttons[LISTEN].click()
        qtbot.waitUntil(lambda: at.page.reading.text().startswith("33.0"), timeout=8000)
        assert any("lb" in line for line in at.page.heard.text().splitlines())
        qtbot.wait(300)
        at.page.buttons[COMPARE].click()
        at.page.frame()
        assert "they agree" in at.page.compared.text()
        fill(at, weight="30 kg")
        at.page.buttons[COMPARE].click()
        at.page.frame()
        assert "they do not agree" in at.page.compared.text()
        at.page.buttons[SAVE].click()
    read = load_station(saved[0])
    assert (read.name, read.scale.link.url, read.scale.capacity_mn) == ("Bench 1", url, 444_822)
    assert errors(at.page) == []


def test_a_silent_scale_is_asked_by_modbus(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """Where asking was asked for, questions are tried until one is answered; the unit is a person's to say."""
    with scale(by_modbus) as url:
        fill(at, port=TYPED, address=url, speed="9600", ask=ANY_QUESTION, capacity="100 lbf", name="Bench 2")
        at.page.buttons[LISTEN].click()
        qtbot.waitUntil(lambda: at.page.reading.text() == "33.07", timeout=40_000)
        at.page.buttons[SAVE].click()
        assert "no frame names the unit" in errors(at.page)[0]
        fill(at, unit="lbf", weight="30 kg")
        at.page.buttons[COMPARE].click()
        at.page.frame()
        assert at.page.reading.text() == "33.07 lbf"
        assert "they do not agree" in at.page.compared.text()
        at.page.buttons[SAVE].click()
    form: Any = load_station(saved[0]).scale.format
    assert isinstance(form, ModbusFormat)
    assert (form.word_order, form.function, form.unit) == ("ABCD", 3, "lbf")


def test_trying_says_how_far_it_is_and_can_be_stopped(at: FirstRunAt) -> None:
    """While speeds are tried a bar says how many of how many; stopped, it goes, and the page says what was tried."""
    with scale(silent) as url:
        fill(at, port=TYPED, address=url)
        at.page.buttons[LISTEN].click()
        at.page.frame()
        progress = at.page.progress
        assert progress.isVisibleTo(at.page)
        assert progress.words.text() == "0 of 8 tried"
        progress.stop_button.click()
        at.page.frame()
        assert not progress.isVisibleTo(at.page)
        assert "stopped after 0 of 8 tries" in at.page.words.text()


def test_a_port_that_is_away_is_said(qtbot: QtBot, at: FirstRunAt) -> None:
    """A port that is not there is said in words; without an address nothing is opened, and nothing can be saved."""
    fill(at, port=TYPED)
    at.page.buttons[LISTEN].click()
    assert "expected a port or an address" in errors(at.page)[0]
    fill(at, address="/dev/none-such")
    at.page.buttons[LISTEN].click()
    qtbot.waitUntil(lambda: "There is no port" in at.page.words.text(), timeout=4000)
    assert at.page.reading.text() == "no reading"
    assert not at.page.save_button.isVisible()


def test_nothing_is_written_over_and_nothing_unreadable_is_kept(tmp_path: Path) -> None:
    """A file that is there stays as it is, and a text that is no station file leaves nothing behind."""
    path = tmp_path / "station.toml"
    with pytest.raises(SettingsFault):
        write_station(path, "[station]\nname = 'x'\n")
    assert list(tmp_path.iterdir()) == []
    good = '[station]\nname = "x"\n[scale]\nurl = "/dev/x"\nformat = "text"\nframe = "{value}"\n'
    good += 'end = "\\n"\nunit = "N"\ncapacity = "100 N"\n'
    write_station(path, good)
    with pytest.raises(FileExistsError):
        write_station(path, good)
    assert path.read_text(encoding="utf-8") == good
