r"""The first run: from an unknown scale on some port to a checked live reading and a station file, without an editor.

- What comes is tried with `propose`; speeds and questions are tried one after the other, each for `A_TRY_US`, and only
  those that were asked for. The first that explains nine frames in ten is taken.
- From then on the port is open as the description says, and read and asked by its decoder, as at the bench; the
  reading shown is the last one, and after `STALE_US` of silence there is none.
- A known weight is compared with the mean of the last second. They agree within one per cent, or two steps of the
  scale's resolution where that is more (common practice); this is no scale check, and says so. A disagreement that is
  another unit or a factor of ten is named as that.

>>> first = FirstRun("/dev/x", [(9600, None)], at_us=0)
>>> for k in range(20):
...     first.hear(b" %6.2f lb\r\n" % (33.0 + k / 100))
>>> first.tick(2_000_000)
>>> first.proposal.form.frame
'{value} {unit}'
>>> first.take([Reading(at_us=2_100_000, force=33.1, unit="lbf", status=None, arrived_us=2_100_000)])
>>> first.reading(2_200_000).force, first.compare("15 kg", "", 2_200_000).agrees
(33.1, True)
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Sequence
from typing import NamedTuple

from drivers.events import ForceUnit, Reading
from drivers.proposal import Proposal, readable
from drivers.questions import Question, propose_answers
from drivers.template import shown
from station.units import force_n, force_text, quantity

A_TRY_US = 2_000_000
STALE_US = 2_000_000
_MEAN_US = 1_000_000
_KEPT = 16_384  # bytes of one try
_SHOWN = 6  # reads
_ENOUGH = 0.9
_AGREE = 0.01
_STANDARD_GRAVITY = 9.80665  # m/s2, the third General Conference on Weights and Measures, 1901

Try = tuple[int, Question | None]
"""A speed, and what is asked at it."""


class Comparison(NamedTuple):
    """What a known weight showed: whether they agree, None where it cannot be told, and in words."""

    agrees: bool | None
    words: str


class FirstRun:
    """What is known of a scale on the port `url`, of which `tries` are made in order; see the module's docstring.

    Every call takes the time, never running back. Without tries nothing was begun.
    """

    def __init__(self, url: str = "", tries: Sequence[Try] = (), at_us: int = 0) -> None:
        self.url = url
        self.proposal: Proposal | None = None
        self.lost = ""
        self.over = False  # every try was made or a person stopped it, and nothing reads what came
        self.unit: ForceUnit | None = None  # as a person said, where no frame names it
        self._tries = list(tries)
        self._at = 0
        self._began_us = at_us
        self._heard = b""
        self._lines: deque[str] = deque(maxlen=_SHOWN)
        self._stopped = False
        self._best = (-1.0, "")  # of the tries so far: the readable share of what came, and the try in words
        self._readings: deque[Reading] = deque()

    @property
    def wanted(self) -> Try | None:
        """Give how the port should be open now."""
        return self._tries[self._at] if self._tries else None

    @property
    def heard(self) -> Sequence[str]:
        """Give the last reads, with what cannot be printed as an escape."""
        return tuple(self._lines)

    def hear(self, raw: bytes) -> None:
        """Take bytes that came."""
        self.lost = ""
        self._lines.append(shown(raw))
        if self.proposal is None:
            self._heard = (self._heard + raw)[-_KEPT:]

    def take(self, readings: Sequence[Reading]) -> None:
        """Take what the proposed description read."""
        self._readings += readings
        while self._readings and self._readings[-1].at_us - self._readings[0].at_us > _MEAN_US:
            self._readings.popleft()

    def opened(self, at_us: int) -> None:
        """Take note that the port is open: a try begins here, however long a server took to answer the call."""
        self.lost = ""
        if not self._heard:
            self._began_us = at_us

    def lose(self, words: str) -> None:
        """Take note of a fault of the port, in words."""
        self.lost = words
        self._readings.clear()

    def tick(self, at_us: int) -> None:
        """Let time pass: when a try is over, take its proposal or go on with the next."""
        if self.proposal is not None or self.wanted is None or self.over or at_us - self._began_us < A_TRY_US:
            return
        baud, asked = self._tries[self._at]
        found = propose_answers(asked, self._heard)
        share = readable(self._heard)
        what = f"{baud} baud" + (f", asked {asked.name}" if asked else "")
        frames = f", {found.explained} of {found.frames} frames read" if found else ""
        told = f"{what}: {len(self._heard)} bytes, {share:.0%} of them readable{frames}"
        self._best = max(self._best, (share if self._heard else -0.5, told), key=lambda each: each[0])
        if found is not None and found.explained >= _ENOUGH * found.frames:
            self.proposal, self._heard = found, b""
        elif self._at + 1 < len(self._tries):
            self._at += 1
            self._heard, self._began_us = b"", at_us
        else:
            self.over = True

    @property
    def tried(self) -> tuple[int, int] | None:
        """Give how many tries are over, of how many; None while nothing is being tried."""
        is_trying = self.wanted is not None and self.proposal is None and not self.over
        return (self._at, len(self._tries)) if is_trying else None

    def stop(self) -> None:
        """Try no more."""
        if self.tried is not None:
            self.over, self._stopped = True, True

    def words(self) -> str:
        """Say where things stand, and what to do next."""
        if self.wanted is None:
            return "Choose the port that the scale is on, then listen."
        baud, asked = self.wanted
        if self.lost:
            return f"{self.lost[0].upper()}{self.lost[1:]}."
        if self.proposal is not None:
            found = self.proposal
            unit = "" if found.names_unit or self.unit else " No frame names the unit: say below what the scale shows."
            guesses = "".join(f" {guess[0].upper()}{guess[1:]}." for guess in found.guesses)
            return f"{found.explained} of {found.frames} frames are read at {baud} baud.{unit}{guesses}"
        if self.over:
            if self._stopped:
                came = f"Stopped after {self._at} of {len(self._tries)} tries"
            elif self._best[0] < 0:
                came = "Nothing came" if len(self._tries) == 1 else f"Nothing came in {len(self._tries)} tries"
            else:
                came = f"Nothing reads what came. The best was {self._best[1]}"
            return (
                f"{came}. See that the scale is switched on and sending, look at its cable, and let every speed be "
                "tried; a scale that only answers must be asked."
            )
        asks = f", asking {asked.name}" if asked else ""
        return f"Listening at {baud} baud{asks} ({self._at + 1} of {len(self._tries)}) …"

    def reading(self, at_us: int) -> Reading | None:
        """Give the last reading, in the unit that a person said where no frame names it; None once it is stale."""
        if not self._readings or at_us - self._readings[-1].at_us > STALE_US:
            return None
        last = self._readings[-1]
        return last._replace(unit=self._unit_of(last))

    def compare(self, weight: str, resolution: str, at_us: int) -> Comparison:
        """Compare a known weight, a mass or a force, with the mean of the last second. Raises `QuantityFault`."""
        known_n = _weight_n(weight)
        step_n = force_n(resolution) if resolution else 0.0
        forces = [
            in_newtons
            for each in self._readings
            if at_us - each.at_us <= _MEAN_US and (in_newtons := self._newtons(each)) is not None
        ]
        if not forces:
            return Comparison(None, "There is no reading with a unit now, so nothing can be compared.")
        unit = self._unit_of(self._readings[-1]) or "N"
        shows_n = sum(forces) / len(forces)
        told = f"The scale shows {force_text(shows_n, unit, 2)} where {force_text(known_n, unit, 2)} hangs"
        if max(forces) - min(forces) > max(2 * step_n, _AGREE * known_n):
            return Comparison(None, "The reading still moves. Wait until the weight hangs still, then compare again.")
        allowed_n = max(_AGREE * known_n, 2 * step_n)
        if abs(shows_n - known_n) <= allowed_n:
            return Comparison(True, f"{told}: they agree. The scale check tells how well.")
        return Comparison(False, f"{told}: they do not agree. {self._why(shows_n, known_n, unit)}")

    def toml(self, name: str, known: dict[str, str], pedal: str = "") -> str:
        """Give the station file: what was found, and what a person says of it. Raises `ValueError` with no proposal."""
        if self.proposal is None or self.wanted is None:
            raise ValueError("nothing reads this scale yet")
        if self.unit and not self.proposal.names_unit:
            known = {"unit": self.unit, **known}
        table = self.proposal.toml(self.url, self.wanted[0], known)
        return f"[station]\nname = {json.dumps(name, ensure_ascii=False)}\n\n{table}{pedal}"

    def _unit_of(self, reading: Reading) -> ForceUnit | None:
        return reading.unit if self.proposal is not None and self.proposal.names_unit else self.unit

    def _newtons(self, reading: Reading) -> float | None:
        unit = self._unit_of(reading)
        if reading.force is None or unit is None or reading.status in ("overload", "fault"):
            return None
        return reading.force * force_n(f"1 {unit}")

    def _why(self, shows_n: float, known_n: float, unit: ForceUnit) -> str:
        for other in ("lbf", "kgf", "N"):
            as_other = shows_n * force_n(f"1 {other}") / force_n(f"1 {unit}")
            if other != unit and abs(as_other - known_n) <= _AGREE * known_n:
                return f"They would if the number were in {other}: look at what the scale shows, and at the unit below."
        for power in (10, 100, 1000, 0.1, 0.01, 0.001):
            if abs(shows_n * power - known_n) <= _AGREE * known_n:
                return f"It is wrong by a factor of {1 / power:g}: look at the decimal point."
        return "Set the scale to zero with nothing on it and hang the weight again, or have the scale adjusted."


def _weight_n(text: str) -> float:
    """Give the pull of a known weight: a mass at standard gravity, or a force as it is."""
    try:
        return float(quantity(text, "mass")) * _STANDARD_GRAVITY
    except ValueError:
        return force_n(text)


def shown_force(reading: Reading | None) -> str:
    """Give the live reading in words, as the scale has it."""
    if reading is None:
        return "no reading"
    if reading.force is None or reading.status in ("overload", "fault"):
        return reading.status or "no number"
    number = f"{reading.force:.2f}".replace("-", "−")
    return number if reading.unit is None else f"{number} {reading.unit}"
