"""Comparing a new line with its opposite number, in turn, by foot: equal pulls first, then the difference.

The opposite number is pulled to the comparing pull and its pull kept at the tap; then the new line, whose pull must
come within `equal_mn` of it, inside the same window. A tap says level. A long press opens "long or short": a tap says
long, a long press short. Then each tap counts a sixteenth of an inch; after three seconds of rest the difference is
shown large; a tap confirms it, a long press clears it. Where the pull is not right, a tap is not counted, and why is
said.

>>> compare = Comparing(pull_mn=44_482, equal_mn=3_000)
>>> compare.tap(0, 44_400), compare.phase
(None, 'line')
>>> compare.tap(1_000_000, 50_000)
'the pull is not the same: pull as on the opposite number'
>>> compare.long_press(2_000_000, 44_500), compare.tap(3_000_000, None), compare.phase
(None, None, 'count')
>>> for tap in range(3):
...     _ = compare.tap(4_000_000 + tap, None)
>>> compare.tick(7_100_000)
>>> compare.tap(8_000_000, None)
Difference(difference_um=4762, reference_mn=44400, line_mn=44500)
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from station.linework.plan_words import HIGHEST_SHARE, LOWEST_SHARE

Phase = Literal["reference", "line", "which", "count", "confirm"]

SIXTEENTH_UM = 25_400 / 16
REST_US = 3_000_000
NO_READING = "there is no reading from the scale"
NOT_THE_SAME = "the pull is not the same: pull as on the opposite number"


class Difference(NamedTuple):
    """What a comparison found: the new line is long by so much (below zero: short), under these two pulls."""

    difference_um: int
    reference_mn: int | None
    line_mn: int | None


class Comparing:
    """One comparison in turn; see the module's docstring. `measured` is False where there are no instruments."""

    def __init__(self, pull_mn: int, equal_mn: int | None, measured: bool = True) -> None:
        self.phase: Phase = "reference"
        self.pull_mn = pull_mn
        self.equal_mn = equal_mn
        self.measured = measured
        self.reference_mn: int | None = None
        self.line_mn: int | None = None
        self.long = True
        self.count = 0
        self._counted_us = 0

    def limits_mn(self) -> tuple[int, int]:
        """Give the limits of the pull wanted now."""
        low, high = marking_limits_mn(self.pull_mn)
        if self.phase != "reference" and self.reference_mn is not None and self.equal_mn is not None:
            return max(low, self.reference_mn - self.equal_mn), min(high, self.reference_mn + self.equal_mn)
        return low, high

    def pull_is_right(self, pull_mn: int | None) -> bool:
        """Tell whether the live pull counts for what is asked now."""
        if not self.measured:
            return True
        low, high = self.limits_mn()
        return pull_mn is not None and low <= pull_mn <= high

    def tap(self, at_us: int, pull_mn: int | None) -> Difference | str | None:
        """Take a tap: give the difference once it is known, why the tap did not count, or None."""
        if self.phase in {"reference", "line"} and not self.pull_is_right(pull_mn):
            if pull_mn is None:
                return NO_READING
            return NOT_THE_SAME if self.phase == "line" else "the pull is not right yet"
        if self.phase == "reference":
            self.reference_mn, self.phase = pull_mn, "line"
            return None
        if self.phase == "line":
            self.line_mn = pull_mn
            return self._found(0)
        if self.phase == "which":
            self._begin_count(at_us, long=True)
            return None
        if self.phase == "count":
            self.count += 1
            self._counted_us = at_us
            return None
        return self._found(round(self.count * SIXTEENTH_UM) * (1 if self.long else -1))

    def long_press(self, at_us: int, pull_mn: int | None) -> str | None:
        """Take a long press: open the difference, say short, or clear the count; give why it did not count, or None.

        On the opposite number a long press is not the comparison's: it goes back a step (see `takes_long_press`).
        """
        if self.phase == "line":
            if not self.pull_is_right(pull_mn):
                return NO_READING if pull_mn is None else NOT_THE_SAME
            self.line_mn, self.phase = pull_mn, "which"
        elif self.phase == "which":
            self._begin_count(at_us, long=False)
        elif self.phase in {"count", "confirm"}:
            self.phase = "which"
        return None

    @property
    def takes_long_press(self) -> bool:
        """Tell whether a long press means something here, rather than going back a step."""
        return self.phase != "reference"

    def back(self) -> bool:
        """Go back one phase; tell whether there was one: on the opposite number there is none."""
        if self.phase == "reference":
            return False
        before: dict[Phase, Phase] = {"line": "reference", "which": "line", "count": "which", "confirm": "which"}
        self.phase = before[self.phase]
        return True

    def tick(self, at_us: int) -> None:
        """Take note that time has passed: after a rest the count is shown to be confirmed."""
        if self.phase == "count" and self.count and at_us - self._counted_us >= REST_US:
            self.phase = "confirm"

    def found(self, difference_um: int, pull_mn: int | None) -> Difference:
        """Take a difference that was typed."""
        self.line_mn = pull_mn if self.line_mn is None else self.line_mn
        return self._found(difference_um)

    def _begin_count(self, at_us: int, long: bool) -> None:
        self.long, self.count, self.phase, self._counted_us = long, 0, "count", at_us

    def _found(self, difference_um: int) -> Difference:
        return Difference(difference_um, self.reference_mn, self.line_mn)


def marking_limits_mn(pull_mn: int) -> tuple[int, int]:
    """Give the window of a marking or comparing pull."""
    return round(pull_mn * LOWEST_SHARE), round(pull_mn * HIGHEST_SHARE)
