"""When a reading was made: stamps from arrivals, by one rule.

- A frame that comes alone has its arrival as its stamp.
- Frames that come in one read are spread back from their arrival at the period. Where they do not fit between the last
  stamp and the arrival, they share that time evenly.
- The period is the nominal one where it is known, else the median, over the last 64 arrivals, of the spacing taken
  across 16 frames, so that bursts do not pass for a period. While neither is known, frames that come together are
  stamped at their arrival: time that nobody watched is never filled.
- After `resume`, no stamp is before the moment it names: what came in a silence or from a closed port, nobody heard.
- Stamps are whole microseconds and strictly increasing; none is before the last stamp.

>>> stamper = Stamper(period_us=12_500)
>>> stamper.stamp(1, 1_000_000), stamper.stamp(3, 1_037_500), stamper.stamp(2, 1_047_500)
([1000000], [1012500, 1025000, 1037500], [1042500, 1047500])
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import repeat
from statistics import median_low

from drivers.events import Frame, Garbage, Noise, Reading

_ACROSS = 16
_ARRIVALS = 64


class Stamper:
    """Give stamps to what arrives, in order; see the module's docstring. `period_us` is the nominal period."""

    def __init__(self, period_us: int | None = None) -> None:
        if period_us is not None and period_us <= 0:
            raise ValueError(f"found a period of {period_us} us, expected one above zero")
        self._nominal_us = period_us
        self._arrivals_us: deque[int] = deque(maxlen=_ARRIVALS + _ACROSS)
        self._last_us: int | None = None

    @property
    def period_us(self) -> int | None:
        """The period in use: the nominal one, else the measured one, or None while too little has arrived."""
        if self._nominal_us is not None or len(self._arrivals_us) <= _ACROSS:
            return self._nominal_us
        arrivals = list(self._arrivals_us)
        across = [late - early for early, late in zip(arrivals, arrivals[_ACROSS:], strict=False)]
        return median_low(across) // _ACROSS

    def stamp(self, count: int, arrived_us: int) -> list[int]:
        """Give the stamps of `count` frames that came in one read at `arrived_us`, oldest first."""
        if count < 1:
            return []
        self._arrivals_us.extend([arrived_us] * min(count, _ARRIVALS + _ACROSS))
        stamps = self._spread(count, arrived_us)
        self._last_us = stamps[-1]
        return stamps

    def resume(self, at_us: int) -> None:
        """Say that hearing begins at `at_us`: the port opened, or bytes came again after a silence."""
        self._last_us = at_us if self._last_us is None else max(at_us, self._last_us)

    def _spread(self, count: int, arrived_us: int) -> list[int]:
        last_us = self._last_us
        period_us = max(1, self.period_us or 1) if count > 1 else 1
        first_us = arrived_us - (count - 1) * period_us
        if last_us is None or first_us > last_us:
            return list(range(first_us, arrived_us + 1, period_us))
        room_us = max(arrived_us - last_us, count)  # a clock that stood still must not give one stamp twice
        return [last_us + room_us * nth // count for nth in range(1, count + 1)]


def stamped(decoded: Sequence[Frame | Noise], stamper: Stamper, arrived_us: int) -> list[Reading | Garbage]:
    """Give what a decoder made of one read, stamped."""
    stamps = stamper.stamp(len(decoded), arrived_us)
    if len(decoded) > 1 and {*map(type, decoded)} == {Frame}:  # as nearly always: made without a step in Python each
        columns = zip(*decoded, strict=True)
        return [*map(tuple.__new__, repeat(Reading), zip(stamps, *columns, repeat(arrived_us), strict=False))]
    return [
        Reading(stamp_us, *event, arrived_us) if isinstance(event, Frame) else Garbage(stamp_us, *event)
        for stamp_us, event in zip(stamps, decoded, strict=True)
    ]
