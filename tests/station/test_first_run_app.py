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
from drivers.scpi import ScpiFormat
from station.bench_app import SET_UP, STATION_FILE, Sitting
from station.first_run_app import ANY_QUESTION, COMPARE, PRESS, SAVE, TYPED, FirstRunAt
from station.records.archive import Archive
from station.settings.preferences import data_folder, load_preferences, preferences_file
from station.settings.station import load_station
from station.views.scale_page import LISTEN
from tests.drivers.cables import Rfc2217Server
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
        assert "Stopped after 0 of 8 tries" in at.page.words.text()


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


def by_scpi(device: int, stop: threading.Event) -> None:
    """Answer READ? with a number now and then out of range, and the error queue with none; all else is no answer."""
    waiting, count = b"", 0
    while not stop.wait(0.005):
        try:
            waiting += os.read(device, 100)
        except OSError:
            continue
        *asked, waiting = waiting.split(b"\n")
        for each in asked:
            count += 1
            number = b"9.9E37" if count % 40 == 0 else b"+3.307000E+01"
            os.write(device, {b"READ?": number + b"\n", b"SYST:ERR?": b'0,"No error"\n'}.get(each, b""))


def test_an_instrument_is_read_by_its_own_decoder(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """From the proposal on it is asked and read as at the bench: 9.9E37 is an overload, and no force."""
    shown: list[str] = []
    with scale(by_scpi) as url:
        fill(at, port=TYPED, address=url, speed="9600", ask="SCPI: READ?", unit="lbf", capacity="100 lbf", name="B")
        at.page.buttons[LISTEN].click()

        def both() -> bool:
            shown.append(at.page.reading.text())
            return {"33.07 lbf", "overload"} <= set(shown)

        qtbot.waitUntil(both, timeout=20_000)
        at.page.buttons[SAVE].click()
    assert not any(each.startswith("9.9") for each in shown)
    assert isinstance(load_station(saved[0]).scale.format, ScpiFormat)


class SevenBits(Rfc2217Server):
    """A server whose port, as a real one does, takes the eighth bit for parity once it is open with 7 data bits."""

    def sent(self, stop: threading.Event) -> None:
        """Send 33.07 pounds with even parity, over and over."""
        while not stop.wait(0.03):
            raw = bytes(byte | 0x80 if byte.bit_count() % 2 else byte for byte in b"33.07 lb\r\n")
            self.port.write(bytes(byte & 0x7F for byte in raw) if self.port.bytesize == 7 else raw)


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_seven_bits_are_read_as_such(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """A scale of 7 bits and even parity is found with 8 and none, then opened as proposed, and read rightly."""
    stop = threading.Event()
    with SevenBits(calls=2) as server:
        sender = threading.Thread(target=server.sent, args=(stop,))
        sender.start()
        try:
            fill(at, port=TYPED, address=server.url, speed="9600", capacity="100 lbf", name="Bench 7")
            at.page.buttons[LISTEN].click()
            qtbot.waitUntil(lambda: at.page.reading.text() == "33.07 lbf", timeout=20_000)
            at.page.buttons[SAVE].click()
        finally:
            stop.set()
            sender.join()
            at.close()
    link = load_station(saved[0]).scale.link
    assert (link.bytesize, link.parity, server.port.bytesize, server.port.parity) == (7, "E", 7, "E")


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_footswitch_on_the_network_is_found(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """A contact on a serial server can be typed in; the line it moves stands in the station file."""
    with scale(streaming) as url, Rfc2217Server() as server:
        server.port.foot = False
        fill(at, port=TYPED, address=url, speed="9600", capacity="100 lbf", name="Bench 1")
        at.page.buttons[LISTEN].click()
        fill(at, pedal=TYPED)
        at.page.buttons[PRESS].click()
        assert "as in rfc2217://" in errors(at.page)[0]
        fill(at, pedal_address=server.url)
        at.page.buttons[PRESS].click()
        qtbot.waitUntil(lambda: "Press the footswitch" in at.page.foot_words.text(), timeout=8000)
        server.port.foot = True
        qtbot.waitUntil(lambda: "Pin 8 (CTS) moved" in at.page.foot_words.text(), timeout=8000)
        server.port.foot = False
        qtbot.waitUntil(lambda: at.page.foot_words.text() == "The foot closes pin 8 (CTS): it is used.", timeout=8000)
        qtbot.waitUntil(at.page.save_button.isVisible, timeout=8000)
        at.page.buttons[SAVE].click()
    pedal: Any = load_station(saved[0]).pedal
    assert (pedal.kind, pedal.url, pedal.line) == ("contact", server.url, "cts")


def test_a_footswitch_that_sends_text_is_found(qtbot: QtBot, at: FirstRunAt, saved: list[Path]) -> None:
    """A pedal that sends words on a port without lines is found by what it sends, on a port of its own."""

    def pedal(device: int, stop: threading.Event) -> None:
        pressed.wait(10)
        os.write(device, b"in\r\n")
        stop.wait(0.3)
        os.write(device, b"out\r\n")

    pressed = threading.Event()
    with scale(streaming) as url, scale(pedal) as foot:
        fill(at, port=TYPED, address=url, speed="9600", capacity="100 lbf", name="Bench 1")
        at.page.buttons[LISTEN].click()
        fill(at, pedal=TYPED, pedal_address=url)
        at.page.buttons[PRESS].click()
        assert "one port has one owner" in errors(at.page)[0]
        fill(at, pedal_address=foot, pedal_speed="4800", pedal_bits="7E1")
        at.page.buttons[PRESS].click()
        qtbot.waitUntil(lambda: "Press the footswitch" in at.page.foot_words.text(), timeout=8000)
        pressed.set()
        qtbot.waitUntil(lambda: "these are used" in at.page.foot_words.text(), timeout=8000)
        qtbot.waitUntil(at.page.save_button.isVisible, timeout=8000)
        at.page.buttons[SAVE].click()
    read: Any = load_station(saved[0]).pedal
    assert (read.kind, read.url, read.baud, read.down, read.up) == ("text", foot, 4800, b"in", b"out")
    assert (read.bytesize, read.parity, read.stopbits) == (7, "E", 1)


def test_a_fault_of_the_file_names_the_file_asked_for(qtbot: QtBot, at: FirstRunAt, tmp_path: Path) -> None:
    """What the strict loader refuses is said by the name that was typed, and nothing is left behind."""
    with scale(streaming) as url:
        fill(at, port=TYPED, address=url, speed="9600", capacity="0 lbf", name="Bench 1")
        at.page.buttons[LISTEN].click()
        qtbot.waitUntil(at.page.save_button.isVisible, timeout=8000)
        at.page.buttons[SAVE].click()
        assert errors(at.page) == [
            f"{tmp_path}/new/station.toml: [scale] capacity: found '0 lbf', expected a force above 0 lbf"
        ]
        assert list((tmp_path / "new").iterdir()) == []
        (tmp_path / "new" / "station.toml").write_text("mine")
        fill(at, capacity="100 lbf")
        at.page.buttons[SAVE].click()
        assert "nothing is written over" in errors(at.page)[0]
    assert (tmp_path / "new" / "station.toml").read_text() == "mine"


def test_a_bench_set_up_from_the_first_page_is_the_one_in_use(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the first page a scale is set up; its file lies in the data folder and is in use, now and the next time."""
    monkeypatch.setattr(model, "A_TRY_US", 400_000)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    archive = Archive.open(tmp_path / "a.sqlite", bench="none", create=True)
    sitting = Sitting(None, lambda: archive, "dark", "imperial", "lbf")
    sitting.show()
    assert sitting.start is not None
    qtbot.addWidget(sitting.start)
    next(each for each in sitting.start.action_buttons if each.text() == SET_UP).click()
    at = sitting.first_run
    assert at is not None
    qtbot.addWidget(at.page)
    with scale(streaming) as url:
        fill(at, port=TYPED, address=url, speed="9600", capacity="100 lbf", name="Bench 9")
        at.page.buttons[LISTEN].click()
        qtbot.waitUntil(at.page.save_button.isVisible, timeout=8000)
        at.page.buttons[SAVE].click()
    file = data_folder() / STATION_FILE
    assert load_station(file).name == "Bench 9"
    assert load_preferences(preferences_file()).station == file
    assert sitting.page is not None
    qtbot.addWidget(sitting.page)
    assert (at.page.isVisible(), sitting.page.isVisible()) == (False, True)
    sitting.page.blockSignals(True)  # nobody goes back to an archive that is closed
    sitting.close()
