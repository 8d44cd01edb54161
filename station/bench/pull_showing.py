"""What the bench shows while a line is pulled: the pull, the hold under way, the comparison.

A pure function of the bench model, in the bench's own unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from station.bench.bench import Bench
from station.bench.comparing import NOT_EQUAL, Comparing, marking_limits_mn
from station.bench.hold_watch import HoldWatch
from station.bench.job import JobStep
from station.bench.snapshot import (
    Card,
    Command,
    Gauge,
    LengthNumber,
    Number,
    Progress,
    Pull,
    PullsCard,
    TensionNumber,
    Tone,
    Toward,
    TraceCard,
    Words,
)
from station.linework.plan_words import HIGHEST_SHARE, LOWEST_SHARE
from station.measuring.hold import acceptance_limits
from station.measuring.live_hold import LiveHold
from station.measuring.trace import FAULT
from station.measuring.words import said, seconds
from station.settings.hold import HoldSpecification
from station.units import in_unit, length_text, stacked_length

NAMES = {"lbf": "pounds", "N": "newtons", "kgf": "kilograms-force", "daN": "decanewtons", "kN": "kilonewtons"}
HANDLE = "Pull with a handle or cleat, never wrap line round a hand. Ease off, never let go."
COLD = "Cut cold, to a taper: a melted end chafes the braid around it. No flame or hot knife near HMPE."
METHODS = {
    "in turn": "in turn, each alone, on the same board",
    "balanced": "balanced: both on one bar, the scale reads the sum",
    "two cells": "two cells: the opposite number on the first scale, the new line on the second",
}
TITLES = {
    "in turn": "pull, in turn, on the same board",
    "balanced": "pull, balanced: half the sum each",
    "two cells": "pull, a cell on each line",
}
MAKER = "The maker's instructions, local rules and licensed practice come first."
EYES = "Eyes covered; keep out of the line's path. Ease off, never let go."


@dataclass(frozen=True)
class Act:
    """What a step shows that differs from step to step; the rest of a snapshot is the same for all."""

    sentence: Words
    number: Number | None = None
    second: tuple[Words, ...] = ()
    arrow: Toward | None = None
    under: str = ""
    gauge: Gauge | None = None
    progress: Progress | None = None
    card: Card | None = None
    caution: str = MAKER
    commands: tuple[Command, ...] = ()  # where the model does not say itself what it offers


class PullShowing:
    """Shows pulls of one bench, in its unit."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    # ------------------------------------------------------------------ the pull

    def force(self, mn: float) -> float:
        """Give a pull in mN as a number of the bench's unit."""
        return in_unit(mn / 1000, self._bench.settings.unit)

    def pounds(self, mn: float) -> str:
        """Give a pull in words: "30 pounds", "1 pound", "133 newtons"."""
        number = f"{self.force(mn):.1f}".removesuffix(".0")
        name = NAMES[self._bench.settings.unit]
        return f"{number} {name.removesuffix('s') if number == '1' and name == 'pounds' else name}"

    def tension(self, tone: Tone = "plain") -> TensionNumber:
        """Give the live pull as the large number."""
        bench = self._bench
        pull = bench.pull_mn
        if pull is None:
            return TensionNumber("--", bench.settings.unit, "warn")
        return TensionNumber(self._figure(pull), bench.settings.unit, tone)

    def _figure(self, mn: int | None) -> str:
        text = "--" if mn is None else f"{self.force(mn):.1f}"
        return "0.0" if text == "-0.0" else text

    def gauge(self, low_mn: int, high_mn: int, top_mn: int, ceiling_mn: int | None = None) -> Gauge:
        """Give the live pull on a straight scale up to `top_mn`."""
        pull = self._bench.pull_mn
        return Gauge(
            tension=None if pull is None else self.force(pull),
            unit=self._bench.settings.unit,
            top=self.force(top_mn),
            low=self.force(low_mn),
            high=self.force(high_mn),
            accept_low=self.force(low_mn),
            accept_high=self.force(high_mn),
            ceiling=None if ceiling_mn is None else self.force(ceiling_mn),
        )

    def marking_gauge(self) -> Gauge:
        """Give the live pull with the window of the marking pull."""
        low, high = marking_limits_mn(self._bench.marking_pull_mn)
        return self.gauge(low, high, 2 * self._bench.marking_pull_mn)

    def pull_line(self) -> Words:
        """Say whether the marking pull is there, for steps in which the number is a length."""
        bench = self._bench
        if bench.by_hand:
            return Words("pull by hand, not measured", "quiet")
        wanted = self.pounds(bench.marking_pull_mn)
        if bench.pull_mn is None:
            return Words("no reading from the scale", "warn")
        live = f"pull {self.force(bench.pull_mn):.1f} {bench.settings.unit}"
        return Words(f"{live}: right", "good") if bench.pull_is_right() else Words(f"{live}: pull to {wanted}", "warn")

    def length(self, length_m: float) -> str:
        """Give a length as the bench reads it."""
        return length_text(length_m, self._bench.settings.lengths)

    def length_number(self, length_m: float) -> LengthNumber:
        """Give a length as the large number."""
        if self._bench.settings.lengths == "metric":
            return LengthNumber(None, length_text(length_m, "metric"))
        return LengthNumber(stacked_length(length_m), None)

    def reference(self) -> str:
        """Give what the line is matched to."""
        return self._bench.state.reference

    # ------------------------------------------------------------------ comparing

    def compare(self, step: JobStep, comparing: Comparing) -> Act:
        """Show a comparison: which line to pull now, how equal the pulls are, what was found."""
        bench = self._bench
        right = comparing.pull_is_right(bench.pulls)
        number: Number | None = None if bench.by_hand else self.tension("good" if right else "plain")
        arrow: Toward | None = None
        apart_um = comparing.apart_um(bench.pulls.gauge_um) if comparing.phase == "line" else None
        if comparing.phase in {"reference", "line"}:
            sentence, second = self._pull_words(step, comparing)
            if comparing.phase == "line" and comparing.method == "in turn":
                number = None  # the length is what is asked for; the card shows the pulls
        elif comparing.phase == "which":
            sentence, number = "Is the new line long, or short?", None
            second = (Words("long: tap", "act"), Words("short: press long", "act"))
        else:
            side = "long" if comparing.long else "short"
            um = comparing.count * 25_400 / 16
            number = self.length_number(um / 1e6)
            arrow = "canopy" if comparing.long else "link"
            if comparing.phase == "count":
                sentence = f"How much {side}? A tap for each sixteenth"
                second = (Words("tap, tap, then wait"), Words(f"new line {side}", "act"))
            else:
                sentence = f"New line {self.length(um / 1e6)} {side}?"
                second = (Words("yes: tap", "act"), Words("no: press long"))
        gauge = None if bench.by_hand else self._comparing_gauge(comparing)
        if comparing.method == "two cells" and isinstance(number, TensionNumber) and gauge:
            number = replace(number, text=self._figure(bench.pulls.line_mn))  # the new line's, on the second scale
            gauge = replace(gauge, tension=None if bench.pulls.line_mn is None else self.force(bench.pulls.line_mn))
        if apart_um is not None:
            gauge = None  # the length is what matters; the card shows the pulls
            number, arrow, second = self._by_gauge(apart_um, right)
        return Act(
            Words(sentence),
            number,
            second,
            arrow,
            under=METHODS[comparing.method] + ("; read by the length gauge" if comparing.zero_um is not None else ""),
            gauge=gauge,
            card=self._pulls(comparing),
            caution=EYES,
        )

    def _same_pull(self, comparing: Comparing) -> Words:
        """Say whether the new line is pulled as its opposite number was."""
        bench = self._bench
        if bench.by_hand:
            return Words("pull by hand, not measured", "quiet")
        if bench.pull_mn is None:
            return Words("no reading from the scale", "warn")
        live = f"pull {self.force(bench.pull_mn):.1f} {bench.settings.unit}"
        if comparing.pull_is_right(bench.pulls):
            return Words(f"{live}: the same", "good")
        reference_mn = comparing.pull_mn if comparing.reference_mn is None else comparing.reference_mn
        return Words(f"{live}: pull to {self.pounds(reference_mn)}", "warn")

    def _pull_words(self, step: JobStep, comparing: Comparing) -> tuple[str, tuple[Words, ...]]:
        """Say what to pull now, by the method of comparing, and what a tap says."""
        bench = self._bench
        reference, pull = self.reference(), self.pounds(comparing.pull_mn)
        again = " again" if step.round > 1 or step.after_sewing else ""
        zeroing = comparing.phase == "reference" and comparing.gauge is not None
        level: tuple[Words, ...] = (Words("Level? Tap", "quiet" if comparing.why_not(bench.pulls) else "act"),)
        level += (Words("Long or short? Press long"),)
        why = comparing.why_not(bench.pulls)
        uneven = (Words(why.capitalize(), "warn"),) if why == NOT_EQUAL else ()
        if comparing.method == "balanced":
            both = self.pounds(2 * comparing.pull_mn)
            sentence = f"Compare {step.line}{again}: both on the bar, pull to {both} in all"
        elif comparing.method == "two cells":
            sentence = f"Compare {step.line}{again}: both to {pull}, each on its own scale"
            if unchecked := self._unchecked():
                level += (Words(f"{unchecked}: not checked", "warn"),)
        elif comparing.phase == "reference":
            sentence = f"Compare {step.line}{again}: {reference} first, pull to {pull}"
            level = (Words("read it on the board,"), Words("then tap", "act"))
        else:
            sentence = "Now the new line, the same pull"
            asked: Tone = "quiet" if why else "act"
            level = (self._same_pull(comparing), Words("Level? Tap", asked), Words("Long or short? Press long"))
        if zeroing and bench.pulls.gauge_um is not None:
            level = (Words(f"gauge on the {reference},"), Words("tap to zero it there", "act"))
        elif zeroing:
            level = (Words("the gauge says nothing", "warn"), Words("tap, and count sixteenths", "act"))
        elif comparing.zero_um is not None and comparing.phase == "line":
            level = (Words("the gauge says nothing", "warn"), Words("press long, count sixteenths", "act"))
        return sentence, uneven or level

    def _by_gauge(self, apart_um: int, right: bool) -> tuple[Number, Toward | None, tuple[Words, ...]]:
        """Show large what the gauge reads on the new line, and whether a tap takes it."""
        bench = self._bench
        side = "level" if not apart_um else "long" if apart_um > 0 else "short"
        toward: Toward | None = None if not apart_um else "canopy" if apart_um > 0 else "link"
        if not right:
            take = self.pull_line() if bench.state.method == "in turn" else Words("the pull is not right yet", "warn")
        elif bench.pulls.gauge_steady_um is None:
            take = Words("the gauge moves: hold still", "warn")
        else:
            take = Words("it stands: tap takes it", "act")
        return self.length_number(abs(apart_um) / 1e6), toward, (Words(f"new line {side}"), take)

    def _comparing_gauge(self, comparing: Comparing) -> Gauge:
        """Give the live pull with its window; of a balance bar, the sum of both."""
        if comparing.method != "balanced":
            return self.marking_gauge()
        low, high = marking_limits_mn(comparing.pull_mn)
        return self.gauge(2 * low, 2 * high, 4 * comparing.pull_mn)

    def _pulls(self, comparing: Comparing) -> PullsCard:
        bench = self._bench
        unit = bench.settings.unit
        top = 2 * comparing.pull_mn

        def shown(label: str, mn: int | None, live: bool, limits: tuple[int, int]) -> Pull:
            gauge = replace(self.gauge(*limits, top), tension=None if mn is None else self.force(mn))
            inside = mn is not None and limits[0] <= mn <= limits[1]
            text = "--" if mn is None else f"{self.force(mn):.1f} {unit}"
            tone: Tone = "good" if inside else "warn" if live and mn is not None else "quiet"
            return Pull(label, text, gauge, tone)

        first = comparing.phase == "reference"
        kept = comparing.phase in {"which", "count", "confirm"}
        pulls, both = bench.pulls, marking_limits_mn(comparing.pull_mn)
        if comparing.method == "in turn":
            reference_mn = pulls.line_mn if first else comparing.reference_mn
            line_mn = comparing.line_mn if comparing.line_mn is not None else None if first else pulls.line_mn
        elif kept:
            reference_mn, line_mn = comparing.reference_mn, comparing.line_mn
        else:
            line_mn = pulls.line_mn
            reference_mn = pulls.reference_mn if comparing.method == "two cells" else pulls.line_mn
        equal = comparing.equal_mn
        note = "how equal the pull must be is unknown: the plan gives no stiffness"
        if comparing.method == "balanced":
            note = "the scale reads the sum: each line has half, where the bar swings free"
        elif equal is not None and equal >= (HIGHEST_SHARE - LOWEST_SHARE) * comparing.pull_mn:
            note = "equal enough for this plan: anywhere in the window of the pull"
        elif equal is not None:
            note = f"equal enough for this plan: within {self.force(equal):.1f} {unit}"
            if not first and comparing.pull_is_right(pulls):
                note = f"the same pull, right for this plan: within {self.force(equal):.1f} {unit}"
        if comparing.method == "two cells":
            note = self._two_cells(comparing) or note
        live = first or comparing.method != "in turn"
        return PullsCard(
            TITLES[comparing.method],
            (
                shown(self.reference(), reference_mn, live, both),
                shown("new line", line_mn, not first, both if first else comparing.limits_mn()),
            ),
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
        out = f"{self.force(out_mn):.2f} {self._bench.settings.unit}"
        if pulls.line_mn is None or pulls.reference_mn is None or equal_mn is None:
            return ""
        if out_mn > equal_mn:
            return f"the two scales may be out by {out}: too much to prove the same pull for this plan"
        if equal_mn - out_mn < abs(pulls.line_mn - pulls.reference_mn) <= equal_mn:
            return f"nearly: even them out more; the two scales may be out by {out}"
        return ""

    # ------------------------------------------------------------------ the pre-stretch

    def pre_stretch(self, step: JobStep, watch: HoldWatch) -> Act:
        """Show a hold: how far to the band, time held and left, what broke the span, what comes."""
        bench, spec = self._bench, watch.spec
        target = self.pounds(spec.target_mn)
        pieces = bench.state.hold_pieces(step)
        what = f"the whole length, pieces {', '.join(pieces)}," if len(pieces) > 1 else step.line
        if bench.by_hand:
            return Act(
                Words(f"Pre-stretch {what.removesuffix(',')}: pull to {target} for {seconds(spec.duration_us, 0)}"),
                under="No scale: press H when it was pulled by hand. The record says: not measured.",
                caution=HANDLE,
            )
        attempt = watch.attempt
        held_us, complete = self._held(watch)
        tone: Tone = "plain"
        held = Words(f"held {seconds(held_us, 0)} of {seconds(spec.duration_us, 0)}", "quiet")
        second: tuple[Words, ...] = (held,)
        if bench.blocked_piece:
            sentence = Words(f"Stop: scrap piece {bench.blocked_piece}, or have it released", "stop")
            second = (Words("it saw more than it may; nobody can see set-in damage", "stop"),)
        elif attempt is not None and attempt.spoilt:
            sentence, second, tone = self._spoilt(attempt)
        elif watch.phase == "ease off":
            sentence, second, tone = self._ease_off(watch, held)
        elif attempt is None:
            sentence, second = self._waiting(what, watch, target)
        elif complete:
            sentence, tone = Words("Time complete: ease off to finish", "good"), "good"
            if spec.zero_limit_mn is not None and bench.pull_mn is not None and bench.pull_mn <= watch.slack_mn:
                sentence = Words("Take everything off the scale: it must show zero", "act")
        elif not bench.reading_is_fresh:
            sentence = Words("No reading: nothing counts until the scale speaks again", "warn")
        else:
            sentence, tone, more = self._pulling(attempt)
            second = (held, *more)
        return Act(
            sentence,
            self.tension(tone),
            second,
            gauge=self._hold_gauge(spec, watch),
            progress=Progress(held_us / 1e6, spec.duration_us / 1e6, complete),
            card=self._trace(watch),
            caution=HANDLE,
        )

    def _spoilt(self, attempt: LiveHold) -> tuple[Words, tuple[Words, ...], Tone]:
        """Say at once that a hold is void, whatever comes."""
        first = attempt.spoilt[0]
        what = {"overload": "Over capacity: ease off", "over-ceiling": "Over the ceiling: ease off"}.get(first)
        sentences = said("void", attempt.spoilt, attempt.spec, 0, self._bench.settings.unit)
        return Words(what or "Void: ease off, then pull again", "stop"), (Words(sentences[0], "stop"),), "stop"

    def _ease_off(self, watch: HoldWatch, held: Words) -> tuple[Words, tuple[Words, ...], Tone]:
        """Say what was judged, while the line is still to be eased off."""
        closed = watch.judged.closed if watch.judged else None
        if closed is None or closed.judgement.verdict == "held":
            return Words("Time complete: ease off to finish", "good"), (held,), "good"
        found = closed.judgement
        lines = said(found.verdict, found.reasons, watch.spec, found.held_us, self._bench.settings.unit)
        why = Words(lines[0].removesuffix(" Pull again."), "warn")
        return Words("Ease off, then pull again", "warn"), (why,), "warn"

    def _held(self, watch: HoldWatch) -> tuple[int, bool]:
        """Give how long the running span has lasted, and whether the time is complete."""
        attempt = watch.attempt
        if attempt is None:
            judged = watch.judged
            span = judged.completed if judged and watch.phase == "ease off" else None
            return (span.length_us, True) if span else (0, False)
        if attempt.completed:
            return attempt.completed.length_us, not attempt.spoilt
        if attempt.spoilt or not self._bench.span_is_watched:
            return 0, False
        return (attempt.running.length_us if attempt.running else 0), False

    def _waiting(self, what: str, watch: HoldWatch, target: str) -> tuple[Words, tuple[Words, ...]]:
        spec = watch.spec
        if watch.judged and watch.judged.closed:
            judgement = watch.judged.closed.judgement
            lines = said(judgement.verdict, judgement.reasons, spec, judgement.held_us, self._bench.settings.unit)
            first, _, rest = lines[0].partition(": ")
            return Words(f"{first}. Pull to {target} again", "warn"), (
                Words(rest.removesuffix(" Pull again."), "warn"),
            )
        return Words(f"Pull {what} to {target}"), (
            Words(f"and hold it {seconds(spec.duration_us, 0)}"),
            Words("the time starts by itself", "act"),
        )

    def _pulling(self, attempt: LiveHold) -> tuple[Words, Tone, tuple[Words, ...]]:
        """Say how far to the band and on which side, or how long to go and what is foretold."""
        bench, spec, band = self._bench, attempt.spec, attempt.state.watched
        pull = bench.pull_mn
        if pull is None or bench.last_status == FAULT:
            return Words("The scale has a fault: nothing counts until it reads again", "warn"), "warn", ()
        if attempt.running and bench.span_is_watched:
            to_go = f"{-(-(spec.duration_us - attempt.running.length_us) // 1_000_000)} s to go"
            if bench.forecast:
                falls_s = max(1, round((bench.forecast.crosses_us - bench.now_us) / 1e6))
                more = self._whole_pounds(bench.forecast.add_mn)
                return Words(f"Pull {more} more: you fall below in {falls_s} s", "warn"), "good", (Words(to_go),)
            return Words(f"Pre-stretch, {to_go}"), "good", ()
        pull = bench.recent.now_mn(over_us=0) or 0  # the last reading's: who leaves the band is not told to stay
        if pull > band.high_mn:
            return Words(f"Ease off {self.pounds(pull - band.high_mn)}", "warn"), "warn", ()
        if pull < band.low_mn:
            missing = self.pounds(max(spec.target_mn - pull, 500))
            near = pull >= spec.low_mn
            why = (Words("in the band, but too near its edge for this scale", "warn"),) if near else ()
            return Words(f"Pull {missing} more", "plain"), "plain", why
        return Words("Hold it there"), "plain", ()

    def _whole_pounds(self, mn: float) -> str:
        """Give a pull in whole pounds, at least one: what a hand can add."""
        number, name = max(1, round(self.force(mn))), NAMES[self._bench.settings.unit]
        return f"{number} {name.removesuffix('s') if number == 1 and name == 'pounds' else name}"

    def _hold_gauge(self, spec: HoldSpecification, watch: HoldWatch) -> Gauge:
        gauge = self.gauge(spec.low_mn, spec.high_mn, spec.ceiling_mn, spec.ceiling_mn)
        accept = self._accept(watch)
        return replace(gauge, accept_low=accept[0], accept_high=accept[1])

    def _accept(self, watch: HoldWatch) -> tuple[float | None, float | None]:
        limits = acceptance_limits(watch.spec, watch.uncertainty)
        if limits is None or limits[0] > limits[1]:
            return None, None
        return self.force(limits[0]), self.force(limits[1])

    def _trace(self, watch: HoldWatch) -> TraceCard:
        bench, spec, attempt = self._bench, watch.spec, watch.attempt
        at_us, tension_mn, joined = bench.recent.window(bench.now_us)
        accept = self._accept(watch)
        span = attempt.completed or attempt.running if attempt else None
        origin_us = attempt.first_us if attempt and attempt.first_us is not None else 0
        forecast = bench.forecast
        line = None
        if forecast:
            (from_us, from_mn), (to_us, to_mn) = forecast.line
            line = (
                ((from_us - bench.now_us) / 1e6, self.force(from_mn)),
                ((to_us - bench.now_us) / 1e6, self.force(to_mn)),
            )
        return TraceCard(
            ago_s=(at_us - bench.now_us) / 1e6,
            tension=tension_mn / (1000 / in_unit(1, bench.settings.unit)),
            joined=np.asarray(joined),
            unit=bench.settings.unit,
            window_s=60.0,
            top=self.force(spec.ceiling_mn) * 1.05,
            low=self.force(spec.low_mn),
            high=self.force(spec.high_mn),
            accept_low=accept[0],
            accept_high=accept[1],
            ceiling=self.force(spec.ceiling_mn),
            span_s=None
            if span is None
            else ((origin_us + span.start_us - bench.now_us) / 1e6, (origin_us + span.end_us - bench.now_us) / 1e6),
            forecast=line,
        )
