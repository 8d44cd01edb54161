"""A scale that sends and is never read: a wrong speed, a wrong parity, or a description of something else.

Its port is open and bytes come, so nothing is lost and nothing is silent; and yet there is no reading. Where garbage
has come for `after_us` with no reading among it, that is said, once until a reading comes. A frame that is garbled now
and then says nothing.

>>> ear = Unread()
>>> [ear.garbled(Garbage(at_us, b"x", "an empty frame")) is None for at_us in (0, 1_999_999, 2_000_000, 2_100_000)]
[True, True, False, True]
"""

from __future__ import annotations

from drivers.events import Garbage
from drivers.port_faults import Told
from drivers.template import shown

AFTER_US = 2_000_000
_SHOWN = 8  # bytes


class Unread:
    """Notice that what comes is never a reading; see the module's docstring."""

    def __init__(self, after_us: int = AFTER_US) -> None:
        self._after_us = after_us
        self._since_us: int | None = None
        self.is_told = False

    def begin(self) -> None:
        """Take note of a reading, or that the port opened: what is garbled counts from here on."""
        self._since_us, self.is_told = None, False

    def garbled(self, garbage: Garbage) -> Told | None:
        """Take what was no frame; give what to say where nothing else has come for too long, else None."""
        if self._since_us is None:
            self._since_us = garbage.at_us
        if self.is_told or garbage.at_us - self._since_us < self._after_us:
            return None
        self.is_told = True
        return Told(
            f"nothing that comes from the scale can be read: {garbage.why}, in {shown(garbage.raw[:_SHOWN])}",
            "check its speed (baud) and its description; fidbench listen shows what it sends, or answers (--ask)",
        )
