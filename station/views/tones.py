"""Tones the program makes itself, one for each thing worth hearing with both hands full.

They differ in how many notes they have and which way those go, not in pitch alone, so that they can be told apart on
any loudspeaker. Where the machine has no sound the bench works without: `silent_because` says why, once, in words, and
the sign that belongs to each tone is always shown (`station.views.signs.cue_sign`).

>>> [len(TONES[cue]) for cue in ("in band", "leaving band", "time complete", "broken", "step done")]
[2, 4, 3, 2, 1]
>>> waveform("step done").dtype, len(waveform("step done")) == round(0.06 * RATE_HZ)
(dtype('int16'), True)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from station.bench.cues import Cue

RATE_HZ = 44_100
_LOUDNESS = 0.5
_EDGE_S = 0.006  # each note swells and fades this long, or it would click


@dataclass(frozen=True, slots=True)
class Note:
    """One note: it glides from one pitch to another (the same for a plain note); silence where the pitch is 0."""

    from_hz: float
    to_hz: float
    duration_s: float


TONES: Mapping[Cue, tuple[Note, ...]] = MappingProxyType(
    {
        "in band": (Note(660, 660, 0.09), Note(880, 880, 0.14)),
        "leaving band": (Note(740, 740, 0.07), Note(0, 0, 0.05), Note(740, 740, 0.07), Note(620, 520, 0.2)),
        "time complete": (Note(523, 523, 0.14), Note(659, 659, 0.14), Note(1047, 1047, 0.5)),
        "broken": (Note(440, 330, 0.18), Note(262, 196, 0.42)),
        "step done": (Note(1320, 1320, 0.06),),
        "not counted": (
            Note(196, 196, 0.1),
            Note(0, 0, 0.06),
            Note(196, 196, 0.1),
            Note(0, 0, 0.06),
            Note(196, 196, 0.1),
        ),
        "long press": (Note(440, 1320, 0.3),),
    }
)


@cache
def waveform(cue: Cue) -> npt.NDArray[np.int16]:
    """Give a tone as samples, one channel, `RATE_HZ` a second."""
    samples = np.concatenate([_sounded(note) for note in TONES[cue]])
    samples.flags.writeable = False
    return samples


def _sounded(note: Note) -> npt.NDArray[np.int16]:
    samples = round(note.duration_s * RATE_HZ)
    pitch_hz = np.linspace(note.from_hz, note.to_hz, samples)
    turns = np.cumsum(pitch_hz) / RATE_HZ
    swell = np.clip(np.minimum(np.arange(samples), np.arange(samples)[::-1]) / (_EDGE_S * RATE_HZ), 0, 1)
    wave = np.sin(2 * np.pi * turns) + 0.25 * np.sin(4 * np.pi * turns)
    return np.asarray(wave * swell * _LOUDNESS / 1.25 * 32_767, dtype=np.int16)


class Tones:
    """Plays tones where the machine can. The sound part of Qt is loaded at the first tone, not before."""

    def __init__(self, *, muted: bool = False) -> None:
        self.muted = muted
        self.silent_because: str | None = None
        self._output: _Output | None = None

    def play(self, cue: Cue) -> str | None:
        """Sound a tone unless muted. Give the reason, the first time it turns out that there is no sound here."""
        if self.muted or self.silent_because is not None:
            return None
        if (why := self.why_silent()) is not None:
            self.silent_because = f"No sound on this machine ({why}). Every tone has its sign beside the sentence."
            return self.silent_because
        if self._output is not None:
            self._output.play(waveform(cue).tobytes())
        return None

    def why_silent(self) -> str | None:
        """Reach for the loudspeaker unless it is in hand; give why there is none."""
        if self._output is None:
            try:
                self._output = _Output()
            except (ImportError, OSError) as fault:
                return str(fault)
        return None

    def stop(self) -> None:
        """Stop what sounds and let the loudspeaker go."""
        if self._output is not None:
            self._output.stop()
            self._output = None


class _Output:
    """The loudspeaker, through Qt's sound part."""

    def __init__(self) -> None:
        from PyQt6.QtCore import QBuffer
        from PyQt6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices

        device = QMediaDevices.defaultAudioOutput()
        if device.isNull():
            raise OSError("no loudspeaker is connected")
        described = QAudioFormat()
        described.setSampleRate(RATE_HZ)
        described.setChannelCount(1)
        described.setSampleFormat(QAudioFormat.SampleFormat.Int16)
        if not device.isFormatSupported(described):
            raise OSError(f"the loudspeaker takes no {RATE_HZ} samples a second")
        self._sink: Any = QAudioSink(device, described)
        self._buffer = QBuffer()

    def play(self, samples: bytes) -> None:
        from PyQt6.QtCore import QIODevice

        self._sink.stop()
        self._buffer.close()
        self._buffer.setData(samples)
        self._buffer.open(QIODevice.OpenModeFlag.ReadOnly)
        self._sink.start(self._buffer)

    def stop(self) -> None:
        self._sink.stop()
        self._buffer.close()
