"""What hangs on the scale's hook, and whether it hangs still.

Steady means: over the last 1.5 s, and over at least five readings, the readings spread over no more than `spread_mn`,
each joined to the one before, and none said to be unstable, overloaded or faulty. A scale slower than that is given the
time it needs for five. What is read is the mean of the last second, in whole micronewtons.

>>> from drivers.events import Reading
>>> hook = Hook(spread_mn=267)
>>> hook.add([Reading(at, 49.0, "N", None, at) for at in range(0, 2_000_000, 100_000)])
>>> hook.is_steady, hook.read_un()
(True, 49000000)
>>> hook.add([Reading(2_000_000, 55.0, "N", None, 2_000_000)])
>>> hook.is_steady, hook.now_mn(2_100_000), hook.now_mn(4_000_000)
(False, 49000, None)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drivers.events import Reading
from station.bench.recent import Recent
from station.measuring.trace import FAULT, OVERLOAD, STATUSES, Trace

STEADY_US = 1_500_000
READ_US = 1_000_000
FEWEST_READINGS = 5
SILENT_US = 1_000_000  # after this long without a reading there is none
_KEPT_US = 10_000_000
_MOVING = (STATUSES.index("unstable"), OVERLOAD, FAULT)


class Hook:
    """The last readings of a scale on which something hangs; see the module's docstring."""

    def __init__(self, spread_mn: int) -> None:
        self._spread_mn = spread_mn
        self._recent = Recent(_KEPT_US, SILENT_US, capacity=1 << 14)
        self._moving_us: int | None = None  # the last reading that said so itself

    def add(self, readings: Sequence[Reading]) -> None:
        """Take the next readings."""
        chunk = Trace.of(readings)
        self._recent.add(chunk)
        moving = chunk.at_us[np.isin(chunk.status, _MOVING) | ~chunk.has_tension]
        if moving.size:
            self._moving_us = int(moving[-1])

    def now_mn(self, now_us: int) -> int | None:
        """Give what the scale reads; None where it has said nothing for a second."""
        last_us = self._recent.last_us
        return None if last_us is None or now_us - last_us > SILENT_US else self._recent.now_mn()

    @property
    def is_steady(self) -> bool:
        """Tell whether what hangs there hangs still."""
        last_us = self._recent.last_us
        if last_us is None:
            return False
        at_us, tension_mn, joined = self._recent.since(last_us - _KEPT_US)
        if len(at_us) < FEWEST_READINGS or int(at_us[-1]) != last_us:
            return False
        from_us = min(last_us - STEADY_US, int(at_us[-FEWEST_READINGS]))
        first = int(np.searchsorted(at_us, from_us))
        watched = at_us[0] <= from_us and bool(joined[first + 1 :].all())
        still = self._moving_us is None or self._moving_us < at_us[first]
        return watched and still and int(np.ptp(tension_mn[first:])) <= self._spread_mn

    def read_un(self) -> int:
        """Give the mean of the last second, in micronewtons. Ask only where it is steady."""
        last_us = self._recent.last_us or 0
        _, tension_mn, _ = self._recent.since(last_us - READ_US)
        return round(float(tension_mn.mean()) * 1000)
