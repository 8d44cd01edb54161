from __future__ import annotations

import sys
from itertools import combinations, pairwise

import numpy as np
import pytest

from station.bench.cues import CUES, Cue
from station.views.tones import RATE_HZ, TONES, Note, Tones, waveform


def shape(cue: Cue) -> tuple[int, tuple[int, ...]]:
    """Give what tells a tone from others on any loudspeaker: how many notes sound, and which way the pitch goes."""
    sounded = [note for note in TONES[cue] if note.from_hz]
    pitches = [pitch for note in sounded for pitch in (note.from_hz, note.to_hz)]
    return len(sounded), tuple(int(np.sign(after - before)) for before, after in pairwise(pitches))


def test_every_cue_has_a_tone() -> None:
    """Everything the bench says by ear has its tone, and no tone is left over."""
    assert set(TONES) == set(CUES)


@pytest.mark.parametrize(("one", "other"), list(combinations(CUES, 2)))
def test_no_two_tones_are_alike(one: Cue, other: Cue) -> None:
    """Any two tones differ in their number of notes or in which way these go, not in pitch alone."""
    assert shape(one) != shape(other)


@pytest.mark.parametrize("cue", CUES)
def test_a_tone_is_short_and_begins_and_ends_in_silence(cue: Cue) -> None:
    """No tone lasts a second, clips, or begins or ends with a click."""
    samples = waveform(cue)
    assert len(samples) < RATE_HZ
    assert np.abs(samples.astype(int)).max() < 32_767
    assert abs(int(samples[0])) < 100
    assert abs(int(samples[-1])) < 600


@pytest.mark.parametrize("cue", CUES)
def test_notes_sound_at_their_pitch(cue: Cue) -> None:
    """The strongest pitch of every plain note is the one that is written, within one step of its spectrum."""
    at = 0
    samples = waveform(cue)
    for note in TONES[cue]:
        count = round(note.duration_s * RATE_HZ)
        part, at = samples[at : at + count], at + count
        if note.from_hz == 0:
            assert not part.any()
        elif note.from_hz == note.to_hz:
            strongest = np.abs(np.fft.rfft(part)).argmax() * RATE_HZ / count
            assert abs(strongest - note.from_hz) <= RATE_HZ / count


def test_pitches_can_be_heard_from_a_small_loudspeaker() -> None:
    """Every note lies between 190 and 2000 Hz."""
    for note in (note for notes in TONES.values() for note in notes if note != Note(0, 0, note.duration_s)):
        assert 190 <= min(note.from_hz, note.to_hz) <= max(note.from_hz, note.to_hz) <= 2000


def test_a_machine_without_sound_says_so_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where Qt's sound part does not load, the first tone gives the reason and what stands in for it; then silence."""
    monkeypatch.setitem(sys.modules, "PyQt6.QtMultimedia", None)
    tones = Tones()
    said = tones.play("in band")
    assert said is not None
    assert "No sound on this machine" in said
    assert "sign beside the sentence" in said
    assert tones.silent_because == said
    assert tones.play("broken") is None
    tones.stop()


def test_muted_tones_ask_nothing_of_the_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A muted bench does not even look for a loudspeaker."""
    monkeypatch.setitem(sys.modules, "PyQt6.QtMultimedia", None)
    tones = Tones(muted=True)
    assert tones.play("broken") is None
    assert tones.silent_because is None
