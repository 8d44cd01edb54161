"""What the bench shows while a new line is compared: which pull is wanted, whether it is right, what can be said of it.

A tap and a long press are named as their buttons are, and only while they count; a pull that does not count is said,
with what to do about it.
"""

from __future__ import annotations

import math
from dataclasses import replace

from station.bench.bench import Bench
from station.bench.comparing import BY_THE_CHART, NO_READING, NOT_EASED, NOT_EQUAL, Comparing, marking_limits_mn
from station.bench.job import JobStep
from station.bench.pull_showing import Act, PullShowing
from station.bench.snapshot import (
    Command,
    Gauge,
    Number,
    Pull,
    PullsCard,
    TensionNumber,
    Tone,
    Toward,
    Words,
)
from station.linework.plan_words import HIGHEST_SHARE, LOWEST_SHARE

EYES = "Eyes covered; keep out of the line's path. Ease off, never let go."
METHODS = {
    "in turn": "in turn, each alone, on the same board",
    "balanced": "balanced: both on one bar, the scale reads the sum",
    "two cells": "two cells: the {reference} on the first scale, the new line on the second",
    BY_THE_CHART: "by the chart: the new line alone, its length from the chart marked on the board",
}
TITLES = {
    "in turn": "pull, in turn, on the same board",
    "balanced": "pull, balanced: half the sum each",
    "two cells": "pull, a cell on each line",
    BY_THE_CHART: "pull, the new line alone",
}
TAP_WORDS: dict[Command, tuple[Words, ...]] = {
    "level": (Words("Level? Tap", "act"),),
    "take reading": (Words("steady. Take it? Tap", "act"),),
    "is short": (Words("Short? Tap", "act"),),
    "one more": (Words("One more? Tap", "act"), Words("Enough? Wait 3 s")),
    "yes": (Words("Yes? Tap", "act"),),
}
"""What a tap does, in the words of its button; what it does on the reference is said with what to do there."""
LONG_PRESS_WORDS: dict[Command, Words] = {
    "long or short": Words("Long or short? Press long"),
    "is long": Words("Long? Press long", "act"),
    "clear": Words("Clear? Press long"),
}
SMALLEST_SAID_MN = 445  # a tenth of a pound: less is not said of a pull


class ComparisonShowing:
    """Shows comparisons of one bench, with pulls and lengths as `pull` says them."""

    def __init__(self, bench: Bench, pull: PullShowing) -> None:
        self._bench, self._pull = bench, pull

    def compare(self, step: JobStep, comparing: Comparing) -> Act:
        """Show a comparison: which line to pull now, how equal the pulls are, what was found."""
        bench = self._bench
        right = comparing.pull_is_right(bench.pulls)
        number: Number | None = None if bench.by_hand else self._pull.tension("good" if right else "plain")
        arrow: Toward | None = None
        apart_um = comparing.apart_um(bench.pulls.gauge_um) if comparing.phase == "line" else None
        second = self._can_be_said(comparing)
        if comparing.phase in {"reference", "line"}:
            sentence = self._pull_sentence(step, comparing)
            second = self._wrong_pull(comparing) or (self._right_pull(comparing), *second)
            if comparing.phase == "line" and comparing.method in {"in turn", BY_THE_CHART}:
                number = None  # the length is what is asked for; the card shows the pulls
        elif comparing.phase == "which":
            sentence, number = "Is the new line long, or short?", None
        else:
            side = "long" if comparing.long else "short"
            um = comparing.count * 25_400 / 16
            number = self._pull.length_number(um / 1e6)
            arrow = "canopy" if comparing.long else "link"
            sentence = f"{side.capitalize()} by how much? A tap for each sixteenth"
            if bench.settings.lengths == "metric":  # a sixteenth is no whole number of millimetres
                second = (Words(f"{comparing.count}/16 in by taps"), *second)
            if comparing.phase == "confirm":
                sentence = f"New line {self._pull.length(um / 1e6)} {side}?"
        counts = comparing.phase in {"count", "confirm"}  # then the length is what matters; the card shows the pulls
        gauge = None if bench.by_hand or counts else self._comparing_gauge(comparing)
        if comparing.method == "two cells" and isinstance(number, TensionNumber) and gauge:
            number = replace(number, text=self._pull.figure(bench.pulls.line_mn))  # the new line's, on the second scale
            gauge = replace(
                gauge, tension=None if bench.pulls.line_mn is None else self._pull.force(bench.pulls.line_mn)
            )
        if apart_um is not None and right:  # under another pull a gauge's length says nothing
            gauge = None
            number, arrow, sentence, second = self._by_gauge(apart_um, comparing)
        method = METHODS[comparing.method].format(reference=self._pull.reference())
        return Act(
            Words(sentence),
            number,
            second,
            arrow,
            under=method + ("; read by the length gauge" if comparing.zero_um is not None else ""),
            gauge=gauge,
            card=self._pulls(comparing),
            caution=EYES,
        )

    def _pull_sentence(self, step: JobStep, comparing: Comparing) -> str:
        """Say what to do now, by the method of comparing: pull, and once the pull counts look, or ease off."""
        reference, pull = self._pull.reference(), self._pull.pounds(comparing.pull_mn)
        why = comparing.why_not(self._bench.pulls)
        if why == NOT_EASED:
            return f"Ease off the {reference}"
        if not why and not self._bench.by_hand:
            if comparing.phase == "line":
                level = "at the chart's length" if comparing.method == BY_THE_CHART else "level"
                return f"Is the new {step.line} {level}?"
            if comparing.gauge is None:
                return f"Read the {reference} on the board"
            if comparing.method != BY_THE_CHART:
                return f"Set the gauge on the {reference}"
        again = " again" if step.round > 1 or step.after_sewing else ""
        first = comparing.phase == "reference"
        what = f"Compare {step.line}{again}"
        if comparing.zero_um is not None and comparing.method in {"balanced", "two cells"} and not first:
            return "Now the gauge on the new line, the same pull"
        match comparing.method:
            case "balanced":
                return f"{what}: both on the bar, pull to {self._pull.pounds(2 * comparing.pull_mn)} in all"
            case "two cells":
                return f"{what}: both to {pull}, each on its own scale"
            case "by the chart" if first:
                return f"{what}: the gauge first, at the chart's length"
            case "by the chart":
                return f"{what} with the chart's length: pull to {pull}"
        return f"{what}: the {reference} first, pull to {pull}" if first else "Now the new line, the same pull"

    def _can_be_said(self, comparing: Comparing) -> tuple[Words, ...]:
        """Say what a tap and a long press do now, as far as they count, in the words of their buttons."""
        bench = self._bench
        tap, pressed = comparing.tap_does(bench.pulls), comparing.long_press_does
        words = TAP_WORDS.get(tap, ())
        if comparing.phase == "reference" and comparing.gauge is None:
            read = (Words("read it on the board."),) if bench.by_hand else ()  # else the sentence says it
            words = (*read, Words("Done? Tap", "act"))
        elif tap == "zero gauge":
            words = (Words("Zero the gauge? Tap", "act"),)
            if comparing.method == BY_THE_CHART:
                words = (Words("gauge at the chart's length."), *words)
            elif bench.by_hand:  # else the sentence says it
                words = (Words(f"gauge on the {self._pull.reference()}."), *words)
        elif tap == "done":
            words = (Words("the gauge says nothing: without it, count sixteenths", "warn"), Words("Done? Tap", "act"))
        if comparing.why_no_tap(bench.pulls):
            moves = bench.pulls.gauge_um is not None
            words = (Words("the gauge moves: hold still" if moves else "the gauge says nothing", "warn"),)
        if pressed is not None:
            words += (LONG_PRESS_WORDS[pressed],)
        if comparing.method == "two cells" and (unchecked := self._unchecked()):
            words += (Words(f"{unchecked}: not checked", "warn"),)
        return words

    def _right_pull(self, comparing: Comparing) -> Words:
        """Say that the pull counts."""
        bench = self._bench
        if bench.by_hand:
            return Words("pull by hand, not measured", "quiet")
        if comparing.phase == "reference" and comparing.method == BY_THE_CHART:
            return Words("no pull is needed for this", "quiet")
        live = f"pull {self._live(bench.pull_mn)}"
        if comparing.phase == "reference" or comparing.method not in {"in turn", "two cells"}:
            return Words(f"{live}: good", "good")
        if comparing.equal_mn is not None:
            return Words(f"{live}: the same", "good")
        # How equal the pulls must be is not known: both are said, and nothing of the two together.
        if comparing.method == "two cells":
            return Words(f"{live} and {self._live(bench.pulls.line_mn)}", "good")
        return Words(f"{live}, before it {self._live(comparing.reference_mn)}", "good")

    def _wrong_pull(self, comparing: Comparing) -> tuple[Words, ...]:
        """Say that the pull does not count, and what to do; nothing where it does."""
        bench, pulls = self._bench, self._bench.pulls
        why = comparing.why_not(pulls)
        if not why:
            return ()
        low, high = comparing.limits_mn()
        two = comparing.method == "two cells"
        wanted_mn = comparing.pull_mn if comparing.reference_mn is None or two else comparing.reference_mn
        ends = (
            ((self._pull.reference(), pulls.reference_mn), ("new line", pulls.line_mn))
            if two
            else (("", pulls.line_mn),)
        )
        if why == NO_READING:
            silent = [name for name, mn in ends if mn is None]
            of = f", {' and '.join(silent)}" if two else ""
            return Words(f"no reading from the scale{of}", "warn"), Words("look at it and its cable", "act")
        if why == NOT_EASED:
            kept = f"{self._pull.reference()} {self._live(comparing.reference_mn)}: kept"
            return Words(kept, "good"), Words("then the new line, the same pull")
        if why == NOT_EQUAL:
            apart_mn = (pulls.line_mn or 0) - (pulls.reference_mn or 0)
            apart = f"{self._pull.pounds(max(SMALLEST_SAID_MN, abs(apart_mn)))} {'more' if apart_mn > 0 else 'less'}"
            return Words("the two pulls are not the same", "warn"), Words(f"new line {apart}: even them out", "act")
        said: list[Words] = []
        lines = 2 if comparing.method == "balanced" else 1
        for name, mn in ends:
            if mn is None or low <= mn <= high:
                continue
            off = self._pull.pounds(max(SMALLEST_SAID_MN, lines * abs(wanted_mn - mn)))
            do = f"pull {off} more" if mn < wanted_mn else f"ease off {off}"
            said.append(Words(f"{name}: {do}" if name else do, "act"))
        same = " the same" if comparing.phase == "line" and comparing.method == "in turn" else " there"
        live = "" if two else f" {self._live(bench.pull_mn)}:"
        return Words(f"pull{live} not{same} yet", "warn"), *said

    def _live(self, mn: int | None) -> str:
        return f"{self._pull.figure(mn)} {self._bench.settings.unit}"

    def _by_gauge(self, apart_um: int, comparing: Comparing) -> tuple[Number, Toward | None, str, tuple[Words, ...]]:
        """Show large what the gauge reads on the new line, and whether a tap takes it."""
        side = "level" if not apart_um else "long" if apart_um > 0 else "short"
        toward: Toward | None = None if not apart_um else "canopy" if apart_um > 0 else "link"
        number = self._pull.length_number(abs(apart_um) / 1e6)
        at_once = comparing.method in {"balanced", "two cells"}  # then nothing but a hand moves the gauge across
        sentence = f"Now the gauge on the new line: it reads {side}" if at_once else f"New line {side}, by the gauge"
        return number, toward, sentence, self._can_be_said(comparing)

    def _comparing_gauge(self, comparing: Comparing) -> Gauge:
        """Give the live pull with its window; of a balance bar, the sum of both."""
        if comparing.method != "balanced":
            return self._pull.marking_gauge()
        low, high = marking_limits_mn(comparing.pull_mn)
        return self._pull.gauge(2 * low, 2 * high, 4 * comparing.pull_mn)

    def _pulls(self, comparing: Comparing) -> PullsCard:
        bench = self._bench
        unit = bench.settings.unit
        top = 2 * comparing.pull_mn

        def shown(label: str, mn: int | None, live: bool, limits: tuple[int, int]) -> Pull:
            gauge = replace(self._pull.gauge(*limits, top), tension=None if mn is None else self._pull.force(mn))
            inside = mn is not None and limits[0] <= mn <= limits[1]
            text = "--" if mn is None else f"{self._pull.force(mn):.1f} {unit}"
            tone: Tone = "good" if inside else "warn" if live and mn is not None else "quiet"
            return Pull(label, text, gauge, tone)

        first = comparing.phase == "reference"
        on_reference = first or not comparing.eased
        kept = comparing.phase in {"which", "count", "confirm"}
        pulls, both = bench.pulls, marking_limits_mn(comparing.pull_mn)
        if comparing.method == "in turn":
            reference_mn = pulls.line_mn if first else comparing.reference_mn
            line_mn = comparing.line_mn if comparing.line_mn is not None else None if on_reference else pulls.line_mn
        elif kept:
            reference_mn, line_mn = comparing.reference_mn, comparing.line_mn
        else:
            line_mn = pulls.line_mn
            reference_mn = pulls.reference_mn if comparing.method == "two cells" else pulls.line_mn
        equal = comparing.equal_mn
        if comparing.method == BY_THE_CHART:
            equal = None
        note = "how equal the pull must be is unknown: the plan gives no stiffness"
        if comparing.method == BY_THE_CHART:
            low_mn, high_mn = both
            note = f"good: from {self._pull.force(low_mn):.1f} to {self._pull.force(high_mn):.1f} {unit}"
        elif comparing.method == "balanced":
            note = "the scale reads the sum: each line has half, where the bar swings free"
        elif equal is not None and equal >= (HIGHEST_SHARE - LOWEST_SHARE) * comparing.pull_mn:
            note = "equal enough for this plan: anywhere in the window of the pull"
        elif equal is not None:
            note = f"equal enough for this plan: within {self._pull.force(equal):.1f} {unit}"
            if not first and comparing.pull_is_right(pulls):
                note = f"the same pull, good for this plan: within {self._pull.force(equal):.1f} {unit}"
        if comparing.method == "two cells":
            note = self._two_cells(comparing) or note
        live = first or comparing.method != "in turn"
        new = shown("new line", line_mn, not on_reference, both if first else comparing.limits_mn())
        return PullsCard(
            TITLES[comparing.method],
            (new,)
            if comparing.method == BY_THE_CHART
            else (shown(self._pull.reference(), reference_mn, live, both), new),
            note if not bench.by_hand else "pulled by hand, not measured",
        )

    def _unchecked(self) -> str:
        """Name the cells of a comparison that nobody checked; nothing where both are known, or nothing is measured."""
        known_mn = zip(("first", "second"), self._bench.cells_known_mn, strict=True)
        unchecked = [which for which, each in known_mn if each is None]
        return f"{' and '.join(unchecked)} cell" if unchecked else ""

    def _two_cells(self, comparing: Comparing) -> str:
        """Say why two scales that read the same do not prove that the pulls are; nothing where they do.

        What two scales together may be out by is the root of the sum of their squared uncertainties (JCGM 100:2008,
        5.1.2: the two are independent).
        """
        known_mn = self._bench.cells_known_mn
        if unchecked := self._unchecked():
            return f"{unchecked}: not checked; that the pulls are the same is not proven"
        pulls, equal_mn = self._bench.pulls, comparing.equal_mn
        out_mn = math.hypot(*(each for each in known_mn if each is not None))
        out = f"{self._pull.force(out_mn):.2f} {self._bench.settings.unit}"
        if pulls.line_mn is None or pulls.reference_mn is None or equal_mn is None:
            return ""
        if out_mn > equal_mn:
            return f"the two scales may be out by {out}: too much to prove the same pull for this plan"
        if equal_mn - out_mn < abs(pulls.line_mn - pulls.reference_mn) <= equal_mn:
            return f"nearly: even them out more; the two scales may be out by {out}"
        return ""
