r"""A virtual length gauge: a slide that is moved from place to place and says where it is, ten times a second.

While it is moved it says that it moves; it trembles by a few hundredths of a millimetre, as a hand on a line does. A
gauge says nothing of force.

>>> gauge = VirtualGauge([GaugeMove(0, 100.0), GaugeMove(500_000, 103.175)], seed=1)
>>> [sent.raw.split(b";")[1] for sent in gauge.bytes_until(300_000)]
[b'still\r\n', b'still\r\n', b'still\r\n', b'still\r\n']
>>> gauge.bytes_until(900_000)[2].raw.split(b";")[1]
b'moving\r\n'
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import NamedTuple

from drivers.text_frames import TextFormat
from simulators.scale import Sent

GAUGE = TextFormat(
    frame="{value} mm;{status}",
    end=b"\r\n",
    unit="mm",
    status={"still": "stable", "moving": "unstable"},
    measures="length",
)
PERIOD_US = 100_000
MOVING_US = 400_000  # how long a move from one place to another takes


class GaugeMove(NamedTuple):
    """From `at_us` on the slide is brought to `mm`."""

    at_us: int
    mm: float


class VirtualGauge:
    """A gauge at work; see the module's docstring. Every call takes the time from its beginning, never running back."""

    def __init__(self, moves: Sequence[GaugeMove], seed: int) -> None:
        self._moves = tuple(moves)
        self._random = random.Random(seed)  # noqa: S311 -- a hand's tremor, not a secret
        self._next_us = 0

    def bytes_until(self, at_us: int) -> list[Sent]:
        """Give what the gauge has sent since the last call."""
        sent = []
        while self._next_us <= at_us:
            place_mm, moving = self._place(self._next_us)
            tremor_mm = self._random.gauss(0.0, 0.02)
            raw = f"{place_mm + tremor_mm:.2f} mm;{'moving' if moving else 'still'}".encode() + GAUGE.end
            sent.append(Sent(self._next_us, raw))
            self._next_us += PERIOD_US
        return sent

    def _place(self, at_us: int) -> tuple[float, bool]:
        """Give where the slide is, and whether it is being moved."""
        before_mm = self._moves[0].mm if self._moves else 0.0
        for move in self._moves:
            if at_us < move.at_us:
                break
            share = (at_us - move.at_us) / MOVING_US
            if share < 1 and move is not self._moves[0]:
                return before_mm + (move.mm - before_mm) * share, True
            before_mm = move.mm
        return before_mm, False
