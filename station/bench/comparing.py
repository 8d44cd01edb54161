"""Comparing a new line with its opposite number, by foot: equal pulls first, then the difference.

- *In turn*: the opposite number is pulled to the comparing pull and its pull kept at the tap; then the new line, whose
  pull must come within `equal_mn` of it, inside the same window. Between the two the pull must have been let off, or it
  is still the opposite number that hangs there, which is level with itself.
- *Balanced*: both on a pulley or balance bar. The scale reads the sum, so that each line's pull is half of it.
- *Two cells*: one each, the opposite number on the first scale and the new line on the second; both must be inside the
  window, and within `equal_mn` of each other.
- *By the chart*: there is no line to hold the new one against, but its length on the maker's chart, marked on the
  board. The new line alone is pulled, to the comparing pull.

A tap says level. A long press opens "long or short": a long press says long, a tap short. Then each tap counts a
sixteenth of an inch; after three seconds of rest the difference is shown large; a tap confirms it, a long press clears
it. Where the pull is not right, a tap is not counted, and why is said. With a length gauge the first tap zeroes it on
the opposite number, and a tap on the new line takes what it reads from there, if it stands still.

>>> compare = Comparing(pull_mn=44_482, equal_mn=3_000)
>>> compare.tap(0, Pulls(44_400)), compare.phase
(None, 'line')
>>> compare.tap(500_000, Pulls(44_400))
'that pull was kept already: ease off, then pull the new line'
>>> compare.see(0)
>>> compare.tap(1_000_000, Pulls(50_000))
'the pull is not the same: pull as on the other line'
>>> compare.long_press(2_000_000, Pulls(44_500)), compare.long_press(3_000_000, Pulls(None)), compare.phase
(None, None, 'count')
>>> for tap in range(3):
...     _ = compare.tap(4_000_000 + tap, Pulls(None))
>>> compare.tick(7_100_000)
>>> compare.tap(8_000_000, Pulls(None))
Difference(difference_um=4762, reference_mn=44400, line_mn=44500, reference_gauge_um=None, line_gauge_um=None)
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from station.bench.snapshot import Command
from station.linework.plan_words import HIGHEST_SHARE, LOWEST_SHARE

Phase = Literal["reference", "line", "which", "count", "confirm"]
BY_THE_CHART = "by the chart"
"""The method of comparing where the reference is no line."""

SIXTEENTH_UM = 25_400 / 16
REST_US = 3_000_000
NO_READING = "there is no reading from the scale"
NOT_THE_SAME = "the pull is not the same: pull as on the other line"
NOT_EQUAL = "the two pulls are not the same: even them out"
NOT_EASED = "that pull was kept already: ease off, then pull the new line"
NOT_YET = "the pull is not right yet"
GAUGE_MOVES = "the gauge does not stand still: hold the pull, wait a second, tap again"
GAUGE_SILENT = "the gauge says nothing: wait for it, or press long and count sixteenths"


class Pulls(NamedTuple):
    """What pulls now: the line asked for (of a balance bar, half the sum); with two cells its opposite number too.

    `gauge_um` is what a length gauge reads, `gauge_steady_um` the same where it may be taken.
    """

    line_mn: int | None
    reference_mn: int | None = None
    gauge_um: int | None = None
    gauge_steady_um: int | None = None


class Difference(NamedTuple):
    """What a comparison found: the new line is long by so much (below zero: short), under these two pulls.

    With a gauge, what it read on each of the two.
    """

    difference_um: int
    reference_mn: int | None
    line_mn: int | None
    reference_gauge_um: int | None = None
    line_gauge_um: int | None = None


class Comparing:
    """One comparison; see the module's docstring. `measured` is False where there are no instruments.

    `gauge` is 1 where a length gauge rises as a line is longer, -1 where it falls, None where there is none.
    """

    def __init__(
        self,
        pull_mn: int,
        equal_mn: int | None,
        measured: bool = True,
        method: str = "in turn",
        gauge: int | None = None,
    ) -> None:
        self.method = method if measured or method != "two cells" else "in turn"
        self.pull_mn = pull_mn
        self.equal_mn = equal_mn
        self.measured = measured
        self.gauge = gauge
        self.phase: Phase = self._first
        self.reference_mn: int | None = None
        self.line_mn: int | None = None
        self.zero_um: int | None = None  # what the gauge read on the opposite number
        self.asked_us = 0  # since when the phase's question is asked
        self.eased = True  # False from the tap on the opposite number until its pull is let off
        self.long = True
        self.count = 0
        self._counted_us = 0

    @property
    def _first(self) -> Phase:
        return "reference" if self.method == "in turn" or self.gauge is not None else "line"

    def limits_mn(self) -> tuple[int, int]:
        """Give the limits of the pull wanted now, on one line."""
        low, high = marking_limits_mn(self.pull_mn)
        kept_mn = self.reference_mn if self.method == "in turn" else None
        if self.phase != "reference" and kept_mn is not None and self.equal_mn is not None:
            return max(low, kept_mn - self.equal_mn), min(high, kept_mn + self.equal_mn)
        return low, high

    def see(self, lowest_mn: int) -> None:
        """Take the lowest pull of the last readings: well below the window the line is let off."""
        self.eased = self.eased or lowest_mn < marking_limits_mn(self.pull_mn)[0] // 2

    @property
    def reference_alone(self) -> bool:
        """Tell whether the first scale pulls the opposite number alone."""
        return self.method == "two cells" or (
            self.method == "in turn" and (self.phase == "reference" or not self.eased)
        )

    def why_not(self, pulls: Pulls) -> str:
        """Say why the live pull does not count for what is asked now; nothing where it does."""
        if not self.measured or (self.phase == "reference" and self.method == BY_THE_CHART):
            return ""
        low, high = self.limits_mn()
        wanted = [pulls.line_mn, pulls.reference_mn] if self.method == "two cells" else [pulls.line_mn]
        if any(each is None for each in wanted):
            return NO_READING
        if not self.eased:
            return NOT_EASED
        if any(each is not None and not low <= each <= high for each in wanted):
            return NOT_THE_SAME if self.phase == "line" and self.method == "in turn" else NOT_YET
        if self.method == "two cells" and self.equal_mn is not None:
            apart_mn = abs((pulls.line_mn or 0) - (pulls.reference_mn or 0))
            return NOT_EQUAL if apart_mn > self.equal_mn else ""
        return ""

    def pull_is_right(self, pulls: Pulls) -> bool:
        """Tell whether the live pull counts for what is asked now."""
        return not self.why_not(pulls)

    def apart_um(self, gauge_um: int | None) -> int | None:
        """Give how much longer the new line is by the gauge; None where it was not zeroed, or says nothing."""
        if self.gauge is None or self.zero_um is None or gauge_um is None:
            return None
        return self.gauge * (gauge_um - self.zero_um)

    def why_no_tap(self, pulls: Pulls) -> str:
        """Say why a tap does not count now; nothing where it does."""
        if self.phase not in {"reference", "line"}:
            return ""
        why = self.why_not(pulls)
        if why or self.gauge is None or pulls.gauge_steady_um is not None:
            return why
        if self.phase == "line" and self.zero_um is not None and pulls.gauge_um is None:
            return GAUGE_SILENT
        is_read = self.zero_um is not None if self.phase == "line" else pulls.gauge_um is not None
        return GAUGE_MOVES if is_read else ""

    def tap_does(self, pulls: Pulls) -> Command:
        """Name what a tap does now, where it counts."""
        match self.phase:
            case "reference":
                return "done" if self.gauge is None or pulls.gauge_um is None else "zero gauge"
            case "line":
                return "level" if self.zero_um is None else "take reading"
            case "which":
                return "is short"
            case "count":
                return "one more"
            case "confirm":
                return "yes"

    @property
    def long_press_does(self) -> Command | None:
        """Name what a long press does here; None where it goes back a step."""
        named: dict[Phase, Command] = {"line": "long or short", "which": "is long"}
        return None if self.phase == "reference" else named.get(self.phase, "clear")

    def tap(self, at_us: int, pulls: Pulls) -> Difference | str | None:
        """Take a tap: give the difference once it is known, why the tap did not count, or None."""
        if self.phase in {"reference", "line"}:
            return self.why_no_tap(pulls) or self._pulled(at_us, pulls)
        if self.phase == "which":
            self._begin_count(at_us, long=False)
            return None
        if self.phase == "count":
            self.count += 1
            self._counted_us = at_us
            return None
        return self._found(round(self.count * SIXTEENTH_UM) * (1 if self.long else -1))

    def _ask(self, phase: Phase, at_us: int) -> None:
        self.phase, self.asked_us = phase, at_us

    def _pulled(self, at_us: int, pulls: Pulls) -> Difference | None:
        """Take a tap that counts: keep the opposite number's pull, then say level or what the gauge reads."""
        if self.phase == "reference":
            self.zero_um = pulls.gauge_steady_um
            self.reference_mn = self._reference_of(pulls)
            self._ask("line", at_us)
            self.eased = not self.measured or self.method != "in turn"
            return None
        self._keep(pulls)
        return self._found(self.apart_um(pulls.gauge_steady_um) or 0, pulls.gauge_steady_um)

    def _reference_of(self, pulls: Pulls) -> int | None:
        if self.method == BY_THE_CHART:
            return None
        return pulls.reference_mn if self.method == "two cells" else pulls.line_mn

    def _keep(self, pulls: Pulls) -> None:
        """Keep the pull of the new line, and of its opposite number where both are pulled at once."""
        self.line_mn = pulls.line_mn
        if self.method in {"balanced", "two cells"}:
            self.reference_mn = self._reference_of(pulls)

    def long_press(self, at_us: int, pulls: Pulls) -> str | None:
        """Take a long press: open the difference, say long, or clear the count; give why it did not count, or None.

        On the opposite number a long press is not the comparison's: it goes back a step (see `long_press_does`).
        """
        if self.phase == "line":
            if why := self.why_not(pulls):
                return why
            self._keep(pulls)
            self._ask("which", at_us)
        elif self.phase == "which":
            self._begin_count(at_us, long=True)
        elif self.phase in {"count", "confirm"}:
            self._ask("which", at_us)
        return None

    def back(self, at_us: int) -> bool:
        """Go back one phase; tell whether there was one: on the opposite number there is none."""
        if self.phase == self._first:
            return False
        before: dict[Phase, Phase] = {"line": "reference", "which": "line", "count": "which", "confirm": "which"}
        self._ask(before[self.phase], at_us)
        self.eased |= self.phase == "reference"
        return True

    def tick(self, at_us: int) -> None:
        """Take note that time has passed: after a rest the count is shown to be confirmed."""
        if self.phase == "count" and self.count and at_us - self._counted_us >= REST_US:
            self._ask("confirm", at_us)

    def found(self, difference_um: int, pulls: Pulls) -> Difference:
        """Take a difference that was typed."""
        if self.line_mn is None:
            self._keep(pulls)
        return self._found(difference_um)

    def _begin_count(self, at_us: int, long: bool) -> None:
        self.long, self.count, self._counted_us = long, 0, at_us
        self._ask("count", at_us)

    def _found(self, difference_um: int, gauge_um: int | None = None) -> Difference:
        zero_um = None if gauge_um is None else self.zero_um
        return Difference(
            difference_um, self.reference_mn, self.line_mn, zero_um, None if zero_um is None else gauge_um
        )


def marking_limits_mn(pull_mn: int) -> tuple[int, int]:
    """Give the window of a marking or comparing pull."""
    return round(pull_mn * LOWEST_SHARE), round(pull_mn * HIGHEST_SHARE)
