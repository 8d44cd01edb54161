"""The last minute of readings, for the eye: a ring written twice, so that any stretch of it is one array.

Nothing is judged from it. A reading without a tension, and one that came later than `max_gap` after the one before,
is not joined to it, so that gaps are drawn as gaps.

>>> from drivers.events import Reading
>>> recent = Recent(window_us=1_000_000, max_gap_us=250_000, capacity=8)
>>> recent.add(Trace.of([Reading(at, 10.0, "N", None, at) for at in range(0, 1_200_000, 200_000)]))
>>> at_us, tension_mn, joined = recent.since(500_000)
>>> at_us.tolist(), joined.tolist()
([600000, 800000, 1000000], [True, True, True])
>>> recent.now_mn()
10000
"""

from __future__ import annotations

import numpy as np

from station.measuring.trace import Bools, Int64s, Trace


class Recent:
    """The readings of the last `window_us`; at most `capacity` of them are kept."""

    def __init__(self, window_us: int, max_gap_us: int, capacity: int = 1 << 17) -> None:
        self._window_us = window_us
        self._max_gap_us = max_gap_us
        self._capacity = capacity
        self._at_us = np.zeros(2 * capacity, np.int64)
        self._tension_mn = np.zeros(2 * capacity, np.int64)
        self._joined = np.zeros(2 * capacity, np.bool_)
        self._written = 0
        self._last_carried = False
        self.last_us: int | None = None

    def add(self, chunk: Trace) -> None:
        """Take the next readings."""
        chunk = chunk[-self._capacity :]
        if not len(chunk):
            return
        gaps_us = np.diff(chunk.at_us, prepend=self.last_us if self.last_us is not None else chunk.at_us[0])
        joined = chunk.has_tension & (gaps_us >= 0) & (gaps_us <= self._max_gap_us)
        joined[1:] &= chunk.has_tension[:-1]
        joined[0] &= self._last_carried
        self._last_carried = bool(chunk.has_tension[-1])
        self.last_us = int(chunk.at_us[-1])
        rows = chunk.has_tension
        at_us, tension_mn, joined = chunk.at_us[rows], chunk.tension_mn[rows], joined[rows]
        place = (self._written + np.arange(len(at_us))) % self._capacity
        for column, values in ((self._at_us, at_us), (self._tension_mn, tension_mn), (self._joined, joined)):
            column[place] = values
            column[place + self._capacity] = values
        self._written += len(at_us)

    def since(self, at_us: int) -> tuple[Int64s, Int64s, Bools]:
        """Give stamps, tensions and whether each joins the one before, of the readings not before `at_us`."""
        count = min(self._written, self._capacity)
        end = self._written % self._capacity + self._capacity
        window = slice(end - count, end)
        first = int(np.searchsorted(self._at_us[window], at_us))
        window = slice(end - count + first, end)
        return self._at_us[window], self._tension_mn[window], self._joined[window]

    def window(self, now_us: int) -> tuple[Int64s, Int64s, Bools]:
        """Give the readings of the window before `now_us`."""
        return self.since(now_us - self._window_us)

    def now_mn(self, over_us: int = 200_000) -> int | None:
        """Give the median of the last readings, for a number that can be read; None where there is none."""
        if self.last_us is None:
            return None
        _, tension_mn, _ = self.since(self.last_us - over_us)
        return round(float(np.median(tension_mn))) if tension_mn.size else None
