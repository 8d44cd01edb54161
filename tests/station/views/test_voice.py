from __future__ import annotations

import sys
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from station.bench.snapshot import Words
from station.views.pictures import texts_shown
from station.views.voice import NO_VOICE, Voice
from tests.station.views.gallery import GALLERY
from tests.station.views.shown import Bench

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the speaking program of these tests is a shell script")


@pytest.fixture(autouse=True)
def _no_qt_speech(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the machine's own voice out of these tests."""
    monkeypatch.setitem(sys.modules, "PyQt6.QtTextToSpeech", None)


class Program:
    """A speaking program that writes down what it is told, and takes long to say it unless told `short`."""

    def __init__(self, folder: Path, name: str = "espeak-ng", body: str = "") -> None:
        self.name, self.log, self.path = name, folder / "said", folder / name
        lasts = body or 'case "$*" in *short*|--cancel) ;; *) exec sleep 60;; esac'
        self.path.write_text(f'#!/bin/sh\nfor last; do :; done\necho "$last" >> "{self.log}"\n{lasts}\n')
        self.path.chmod(0o755)

    def find(self, name: str) -> str | None:
        """Give its path by its name."""
        return str(self.path) if name == self.name else None

    @property
    def said(self) -> list[str]:
        """Give what it was told."""
        return self.log.read_text().splitlines() if self.log.exists() else []


def test_what_is_new_cuts_off_what_is_old(qtbot: QtBot, tmp_path: Path) -> None:
    """A voice never speaks over itself: the newest text cuts off the one being said, and those between are dropped."""
    program = Program(tmp_path)
    voice = Voice(find=program.find)
    voice.say("a very long sentence")
    qtbot.waitUntil(lambda: program.said == ["a very long sentence"])
    voice.say("out of date at once")
    voice.say("the newest, short")
    qtbot.waitUntil(lambda: len(program.said) == 2)
    assert program.said[1] == "the newest, short"
    voice.stop()


def test_a_server_behind_the_program_is_told_to_drop_what_it_says(qtbot: QtBot, tmp_path: Path) -> None:
    """Where ending the program does not end the speech, its server is told to drop it before the next text."""
    program = Program(tmp_path, "spd-say")
    voice = Voice(find=program.find)
    voice.say("a very long sentence")
    qtbot.waitUntil(lambda: len(program.said) == 1)
    voice.say("short")
    qtbot.waitUntil(lambda: len(program.said) == 3)
    assert program.said == ["a very long sentence", "--cancel", "short"]
    voice.stop()


def test_a_text_is_never_a_command(qtbot: QtBot, tmp_path: Path) -> None:
    """What is spoken reaches the program as one argument, whatever it is."""
    program = Program(tmp_path)
    voice = Voice(find=program.find)
    for number, text in enumerate(("--version short", "$(touch x) short; `y`", '"short" \\ \' *'), 1):
        voice.say(text)
        qtbot.waitUntil(lambda: len(program.said) == number)  # noqa: B023 -- waited for before the next round
        assert program.said[-1] == text
    voice.stop()


def test_a_machine_without_a_voice_says_so_in_words() -> None:
    """Where nothing can speak the voice is silent, and the reason is plain."""
    asked: list[str] = []
    voice = Voice(find=asked.append)  # type: ignore[func-returns-value]  # None: not found
    voice.say("hello")
    voice.say("hello again")
    assert voice.silent_because == NO_VOICE
    assert asked == ["espeak-ng", "espeak", "spd-say"]


def test_a_voice_that_fails_is_silent_and_never_throws(qtbot: QtBot, tmp_path: Path) -> None:
    """A program that cannot be started, and one whose search fails, silence the voice with a reason."""
    gone = Voice(find=lambda name: str(tmp_path / "gone") if name == "espeak-ng" else None)
    gone.say("hello")
    qtbot.waitUntil(lambda: gone.silent_because is not None)
    assert "espeak-ng does not start" in str(gone.silent_because)

    def fail(_: str) -> str | None:
        raise RuntimeError("out of order")

    broken = Voice(find=fail)
    broken.say("hello")
    assert "out of order" in str(broken.silent_because)
    broken.say("hello")
    broken.stop()


def test_a_muted_voice_asks_nothing_of_the_machine() -> None:
    """A muted voice does not look for a program."""
    asked: list[str] = []
    voice = Voice(muted=True, find=asked.append)  # type: ignore[func-returns-value]  # None
    voice.say("hello")
    assert asked == []
    assert voice.silent_because is None


def test_the_window_speaks_what_stands_and_not_what_flickers(qtbot: QtBot, tmp_path: Path) -> None:
    """A sentence that stands is spoken once, one that is gone again at once is not, and M silences tones and voice."""
    program = Program(tmp_path)
    bench = Bench(qtbot, "marking", voice=Voice(find=program.find))
    qtbot.waitUntil(lambda: program.said == ["Mark where B enters. five sixteenths. toward the canopy"])
    marking = bench.snapshot
    bench.change(sentence=Words("Hold it there"))
    bench.snapshot = marking
    bench.draw()
    bench.snapshot = GALLERY["over_ceiling"]()
    bench.draw()
    qtbot.waitUntil(lambda: len(program.said) == 2)
    assert program.said[1] == "Ease off: the line saw 63 pounds"
    qtbot.keyClick(bench.window, Qt.Key.Key_M)
    assert bench.window.voice.muted
    assert bench.window.tones.muted
    bench.snapshot = GALLERY["comparing"]()
    bench.draw()
    qtbot.wait(600)
    assert len(program.said) == 2
    bench.window.close()


def test_the_window_says_where_there_is_no_voice(qtbot: QtBot) -> None:
    """Without a voice the top line says so, and the sound switch is named by what it does."""
    bench = Bench(qtbot, "marking", voice=Voice(find=lambda _: None))
    qtbot.waitUntil(lambda: bench.window.voice.silent_because is not None)
    bench.change(under="something new")
    assert "no voice" in {shown.written.text for shown in texts_shown(bench.window)}
    assert bench.window.switches.sound.accessibleName() == "turn sound and voice off"
