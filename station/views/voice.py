"""A voice that says aloud what is spoken, where the machine has one.

- It never speaks over itself: what is new cuts off what is old, since at the bench only the newest counts.
- It never blocks: whatever takes time runs beside the window.
- It never throws: a voice that fails is silent from then on, and `silent_because` says why, in words.

Qt's own speech is taken where it finds an engine; else a speaking program that is installed.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from typing import NamedTuple, Protocol

from PyQt6.QtCore import QProcess


class SpeakingProgram(NamedTuple):
    """An installed program that speaks: the text follows `say` as one argument, never as part of a command line.

    `cut_off` tells a server behind the program to drop what it is saying; empty where ending the program does that.
    """

    name: str
    say: tuple[str, ...]
    cut_off: tuple[str, ...] = ()


PROGRAMS = (
    SpeakingProgram("espeak-ng", ("-s", "165", "--")),
    SpeakingProgram("espeak", ("-s", "165", "--")),
    SpeakingProgram("spd-say", ("--wait", "--"), ("--cancel",)),
)
NO_VOICE = "No voice on this machine. Everything spoken stands on the screen."


class Speaker(Protocol):
    """What can speak."""

    def say(self, text: str) -> None:
        """Say it, and drop what was being said."""

    def stop(self) -> None:
        """Fall silent and let go."""


class ProgramSpeaker:
    """Speaks by an installed program at `path`: one process at a time."""

    def __init__(self, path: str, program: SpeakingProgram, on_fault: Callable[[str], None]) -> None:
        self._path, self._program, self._on_fault = path, program, on_fault
        self._to_run: list[tuple[str, ...]] = []
        self._process = QProcess()
        self._process.finished.connect(self._finished)
        self._process.errorOccurred.connect(self._failed)

    def say(self, text: str) -> None:
        """Say it; where something is being said, cut that off first and go on when it has gone."""
        said = (*self._program.say, text)
        if self._process.state() == QProcess.ProcessState.NotRunning:
            self._process.start(self._path, said)
        else:
            self._to_run = [cut_off, said] if (cut_off := self._program.cut_off) else [said]
            self._process.kill()

    def stop(self) -> None:
        """Fall silent."""
        self._process.blockSignals(True)
        if self._process.state() != QProcess.ProcessState.NotRunning:
            self._process.kill()
            self._process.waitForFinished(200)
            if self._program.cut_off:
                QProcess.startDetached(self._path, self._program.cut_off)

    def _finished(self, *_: object) -> None:
        if self._to_run:
            self._process.start(self._path, self._to_run.pop(0))

    def _failed(self, error: QProcess.ProcessError) -> None:
        if error == QProcess.ProcessError.FailedToStart:
            self._on_fault(f"{self._program.name} does not start")


class _QtSpeaker:
    """Speaks by Qt's own speech."""

    def __init__(self) -> None:
        from PyQt6.QtTextToSpeech import QTextToSpeech

        engines = [engine for engine in QTextToSpeech.availableEngines() if engine != "mock"]
        if not engines:
            raise OSError("Qt finds no speech engine")
        self._speech = QTextToSpeech(engines[0])
        if self._speech.state() == QTextToSpeech.State.Error:
            raise OSError(self._speech.errorString())

    def say(self, text: str) -> None:
        self._speech.stop()
        self._speech.say(text)

    def stop(self) -> None:
        self._speech.stop()


class Voice:
    """Says texts aloud unless muted. What can speak is looked for at the first text, not before.

    `find` gives the path of a program by its name, or None.
    """

    def __init__(self, *, muted: bool = False, find: Callable[[str], str | None] = shutil.which) -> None:
        self.silent_because: str | None = None
        self._muted = muted
        self._find = find
        self._speaker: Speaker | None = None

    @property
    def muted(self) -> bool:
        """Tell whether it is muted."""
        return self._muted

    @muted.setter
    def muted(self, muted: bool) -> None:
        self._muted = muted
        if muted:
            self.stop()

    def say(self, text: str) -> None:
        """Say it, cutting off what is being said; nothing where there is no voice, or it is muted."""
        if self._muted or self.silent_because is not None or not text:
            return
        try:
            if self._speaker is None:
                self._speaker = self._found()
            if self._speaker is not None:
                self._speaker.say(text)
        except Exception as fault:  # whatever a voice does wrong, the bench goes on
            self._fell_silent(str(fault) or type(fault).__name__)

    def stop(self) -> None:
        """Fall silent and let the voice go; it is looked for again at the next text."""
        speaker, self._speaker = self._speaker, None
        if speaker is None:
            return
        try:
            speaker.stop()
        except Exception as fault:  # whatever a voice does wrong, the bench goes on
            self._fell_silent(str(fault) or type(fault).__name__)

    def _found(self) -> Speaker | None:
        try:
            return _QtSpeaker()
        except (ImportError, OSError):
            pass  # the next one may speak
        for program in PROGRAMS:
            path = self._find(program.name)
            if path is not None:
                return ProgramSpeaker(path, program, self._fell_silent)
        self.silent_because = NO_VOICE
        return None

    def _fell_silent(self, why: str) -> None:
        """Be silent from now on. The speaker is let go later: it may be the one that is telling this."""
        self.silent_because = f"The voice of this machine failed ({why}). Everything spoken stands on the screen."
