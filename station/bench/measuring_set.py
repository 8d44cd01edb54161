r"""Measuring a whole line set, line by line: lengths typed, read by a gauge, or tapped against the opposite number.

Lines come in the table's order. A length is entered for the line asked for, and the next without one is asked for; a
length typed or sent by a gauge is taken whatever the foot was about to do. Once its opposite number is measured, a line
can be entered by foot as in a comparison: a tap says level; a long press opens "long or short", then a long press says
long, a tap short; each further tap counts a sixteenth, and after three seconds of rest a tap confirms. Before the
opposite number is measured a tap is not counted. Nothing is guessed: what has no length stays without one.

With a length gauge a tap takes what it reads, once it stands still, as the length itself. A number more than a tenth
from the chart, or without one from the opposite number, is no length of this line (a dial that reads a difference,
say): the foot then does what it does without a gauge.

What was entered is kept at once: `keep` takes the table's text after every entry, with empty cells for what is to come,
and `begin` goes on from such a text.

>>> kept = []
>>> work = MeasuringSet(begin("set.csv", text="line,side,length\nA1,L,\nA1,R,\n"), kept.append)
>>> work.now.name, work.typed("120 in"), work.now.name
('A1 L', None, 'A1 R')
>>> work.tap(0)
>>> work.now, kept[-1].splitlines()[1:]
(None, ['A1,L,3048 mm,', 'A1,R,3048 mm,'])
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from drivers.events import Beside, Event, GaugeReading, LinkLost, Reading, Tick
from station.bench.comparing import GAUGE_MOVES, Comparing, Pulls
from station.bench.gauge import LengthGauge
from station.bench.hearing import Hearing
from station.bench.snapshot import Words
from station.linework.set_words import SIDES
from station.settings.line_table import MeasuredSide, Side, is_far, line_length_nm, load_line_table
from station.settings.sheet import read_sheet

SIXTEENTH_NM = 1_587_500
TYPE_FIRST = "its opposite number is not measured: type the length"


@dataclass(frozen=True)
class AskedSide:
    """One line and side to measure, and its length once it has one."""

    line: str
    side: Side
    chart_nm: int | None = None
    length_nm: int | None = None

    @property
    def name(self) -> str:
        """Give the line's name with its side."""
        return f"{self.line} {self.side}"

    @property
    def words(self) -> str:
        """Give the line's name with its side, in words."""
        return f"{self.line} {SIDES[self.side]}"


def begin(path: Path | str, text: str | None = None) -> tuple[AskedSide, ...]:
    """Read what to measure from a line table whose lengths may be empty: a chart, or a set left unfinished.

    Raises `SettingsFault` as a full table does.
    """
    rows = read_sheet(path, ("line", "side", "length"), ("chart",), text=text)
    whole = io.StringIO()
    write = csv.writer(whole)
    write.writerow(("line", "side", "length", "chart"))
    for row in rows:  # where there is no length yet, any that a line can have stands in while the rest is checked
        write.writerow((row.text("line"), row.text("side"), row.text("length") or "1 m", row.text("chart")))
    sides = load_line_table(path, whole.getvalue(), measured=False)
    empty = [not row.text("length") for row in rows]
    return tuple(
        AskedSide(side.line, side.side, side.chart_nm, None if none else side.length_nm)
        for side, none in zip(sides, empty, strict=True)
    )


class MeasuringSet(Hearing):
    """One line set being measured; see the module's docstring. `keep` may raise, and then nothing was entered."""

    def __init__(self, asked: Sequence[AskedSide], keep: Callable[[str], None]) -> None:
        super().__init__()
        self.asked = tuple(asked)
        self._keep = keep
        self._at = self._next(0)
        self.comparing = self._begun()
        self.gauge = LengthGauge()

    @property
    def now(self) -> AskedSide | None:
        """Give the line asked for; None where every one has its length."""
        return None if self._at is None else self.asked[self._at]

    @property
    def done(self) -> int:
        """Give how many have their length."""
        return sum(each.length_nm is not None for each in self.asked)

    @property
    def opposite_nm(self) -> int | None:
        """Give the length of the opposite number of the line asked for."""
        now = self.now
        return (
            None
            if now is None
            else next((each.length_nm for each in self.asked if each.line == now.line and each.side != now.side), None)
        )

    @property
    def like_nm(self) -> int | None:
        """Give what the line asked for should be like: its chart, or without one its opposite number."""
        chart_nm = None if self.now is None else self.now.chart_nm
        return self.opposite_nm if chart_nm is None else chart_nm

    @property
    def gauge_nm(self) -> int | None:
        """Give the length that a gauge reads now; None where it says nothing, or no length of the line asked for."""
        read_um = self.gauge.now_um(self.now_us)
        like_nm = self.like_nm
        if read_um is None or like_nm is None or is_far(1000 * read_um, like_nm):
            return None
        return 1000 * read_um

    def typed(self, text: str) -> str | None:
        """Take a length that was typed; give why it cannot be one, or None."""
        try:
            length_nm = line_length_nm(text)
        except ValueError as fault:
            return str(fault)
        if is_far(length_nm, self.like_nm):
            like = "its opposite number" if self.now is None or self.now.chart_nm is None else "its chart"
            return f"found {text!r}: more than a tenth from {like}; measure again"
        self.gauged(length_nm)
        return None

    def gauged(self, length_nm: int) -> None:
        """Take a length from a gauge, in whole nanometres above zero."""
        if self._at is None:
            self.not_counted("every line has its length; go to the one to measure again")
            return
        asked = (
            *self.asked[: self._at],
            replace(self.asked[self._at], length_nm=length_nm),
            *self.asked[self._at + 1 :],
        )
        self._keep(table_text(asked))
        self.asked = asked
        self.notice = None
        self._at = self._next(self._at + 1)
        self.comparing = self._begun()

    def go_to(self, name: str) -> None:
        """Ask for one line again; what it has stays until another length comes. KeyError where there is none."""
        names = [each.name for each in self.asked]
        if name not in names:
            raise KeyError(name)
        self._at = names.index(name)
        self.comparing = self._begun()

    def back(self) -> None:
        """Go back: out of a count, else to the line before."""
        if self.comparing is not None and self.comparing.phase != "line":
            self.comparing.back(self.now_us)
            return
        at = len(self.asked) if self._at is None else self._at
        if at:
            self.go_to(self.asked[at - 1].name)

    def tap(self, at_us: int) -> None:
        """Take a tap of the foot."""
        if self.gauge_nm is not None and (self.comparing is None or self.comparing.phase == "line"):
            steady_um = self.gauge.steady_um(self.now_us)
            if steady_um is None:
                self.not_counted(GAUGE_MOVES)
            else:
                self.gauged(1000 * steady_um)
            return
        if self.comparing is None:
            self.not_counted(TYPE_FIRST if self.now else "every line has its length")
            return
        count, sign = self.comparing.count, 1 if self.comparing.long else -1
        level = self.comparing.phase == "line"
        opposite_nm = self.opposite_nm
        if self.comparing.tap(at_us, Pulls(None)) is not None and opposite_nm is not None:
            length_nm = opposite_nm + (0 if level else sign * count * SIXTEENTH_NM)
            if length_nm <= 0:
                self.not_counted("no length would be left")
                self.comparing = self._begun()
                return
            self.gauged(length_nm)
        else:
            self.counted()

    @property
    def foot_words(self) -> str:
        """Say what the foot does now."""
        if self.now is None:
            return "Every line has its length."
        if self.gauge_nm is not None and (self.comparing is None or self.comparing.phase == "line"):
            return "Tap to take what the gauge reads, or type the length."
        if self.comparing is None:
            return "Type the length."
        if self.comparing.phase == "line":
            return "Tap when level with the opposite number; press long when it is not."
        if self.comparing.phase == "which":
            return "Long? Press long. Short? Tap."
        many = "" if self.comparing.count == 1 else "s"
        said = f"{self.comparing.count} sixteenth{many} {'long' if self.comparing.long else 'short'}"
        if self.comparing.phase == "count":
            return f"Tap for each sixteenth, then rest: {said}"
        return f"{said}: tap if right, press long to count again"

    def sides(self) -> list[MeasuredSide]:
        """Give what has been measured."""
        return [
            MeasuredSide(each.line, each.side, each.length_nm, each.chart_nm)
            for each in self.asked
            if each.length_nm is not None
        ]

    def _hear(self, readings: Sequence[Reading]) -> None:
        """Leave the scale alone: the pull is the rigger's to keep, and is stated once for the set."""

    def _tapped(self, at_us: int) -> None:
        self.tap(at_us)

    def _pressed_long(self, at_us: int) -> None:
        if self.comparing is None:
            self.back()
        else:
            self.comparing.long_press(at_us, Pulls(None))
            self.counted()

    def _take_other(self, event: Event) -> None:
        if isinstance(event, Beside):
            if isinstance(event.event, GaugeReading):
                self.gauge.add(event.event)
            elif isinstance(event.event, LinkLost):
                self.gauge.lost |= event.source == "gauge"
                self.notice = Words(f"The {event.source}: {event.event.why}: {event.event.advice}", "warn")
            return
        super()._take_other(event)
        if isinstance(event, Tick) and self.comparing is not None:
            self.comparing.tick(event.at_us)

    def _next(self, start: int) -> int | None:
        """Give the next line without a length, from `start` on and then from the first."""
        order = [*range(start, len(self.asked)), *range(min(start, len(self.asked)))]
        return next((at for at in order if self.asked[at].length_nm is None), None)

    def _begun(self) -> Comparing | None:
        if self.opposite_nm is None:
            return None
        comparing = Comparing(0, None, measured=False)
        comparing.phase = "line"
        return comparing


def table_text(asked: Sequence[AskedSide]) -> str:
    """Write a set as a line table, empty where there is no length yet."""
    rows = (f"{each.line},{each.side},{_mm(each.length_nm)},{_mm(each.chart_nm)}" for each in asked)
    return "\n".join(["line,side,length,chart", *rows, ""])


def _mm(length_nm: int | None) -> str:
    """Write whole nanometres exactly."""
    if length_nm is None:
        return ""
    return f"{length_nm // 1_000_000}.{length_nm % 1_000_000:06d}".rstrip("0").rstrip(".") + " mm"
