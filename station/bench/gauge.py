"""A length gauge at the bench: what it reads now, and whether that may be taken.

A value is taken only where the gauge spoke within the last second and stood: over that second, and over at least three
readings, nothing but numbers came, none said to be unstable, and they spread over no more than a sixty-fourth of an
inch. What is taken is their mean. The spread is ours: a hand's pull lets a line breathe by less than that.

>>> gauge = LengthGauge()
>>> for at in range(0, 2_000_000, 200_000):
...     gauge.add(GaugeReading(at, 12_700, "stable"))
>>> gauge.now_um(1_900_000), gauge.steady_um(1_900_000), gauge.now_um(3_000_000)
(12700, 12700, None)
>>> gauge.add(GaugeReading(2_000_000, 13_700, "stable"))
>>> gauge.now_um(2_000_000), gauge.steady_um(2_000_000)
(13700, None)
"""

from __future__ import annotations

from collections import deque

from drivers.events import GaugeReading

STOOD_US = 1_000_000
SPREAD_UM = 25_400 // 64
FEWEST = 3


class LengthGauge:
    """The last readings of a length gauge; see the module's docstring."""

    def __init__(self) -> None:
        self._last: deque[GaugeReading] = deque()
        self.lost = False

    def add(self, reading: GaugeReading) -> None:
        """Take the next reading; what is older than it needs is let go."""
        self.lost = False
        self._last.append(reading)
        while len(self._last) > FEWEST and reading.at_us - self._last[1].at_us >= STOOD_US:
            self._last.popleft()

    def now_um(self, now_us: int) -> int | None:
        """Give what the gauge reads; None where it has said nothing for a second, or gave no number."""
        if self.lost or not self._last or now_us - self._last[-1].at_us > STOOD_US:
            return None
        return self._last[-1].length_um

    def steady_um(self, now_us: int) -> int | None:
        """Give what the gauge reads where that may be taken; None where it is stale or moves."""
        if self.now_um(now_us) is None or len(self._last) < FEWEST:
            return None
        if self._last[-1].at_us - self._last[0].at_us < STOOD_US:
            return None
        lengths = [each.length_um for each in self._last if each.status in {None, "stable"}]
        known = [each for each in lengths if each is not None]
        if len(known) < len(self._last) or max(known) - min(known) > SPREAD_UM:
            return None
        return round(sum(known) / len(known))
