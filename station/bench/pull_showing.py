"""What the bench shows while a line is pulled: the pull, and the hold under way.

A pure function of the bench model, in the bench's own unit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from station.bench.bench import Bench
from station.bench.comparing import marking_limits_mn
from station.bench.hold_watch import HoldWatch
from station.bench.job import JobStep
from station.bench.snapshot import (
    Card,
    Command,
    Gauge,
    LengthNumber,
    Number,
    Progress,
    TensionNumber,
    Tone,
    Toward,
    TraceCard,
    Words,
)
from station.measuring.hold import acceptance_limits
from station.measuring.live_hold import LiveHold
from station.measuring.trace import FAULT
from station.measuring.words import said, seconds
from station.settings.hold import HoldSpecification
from station.units import in_unit, length_text, named, stacked_length

NAMES = {"lbf": "pounds", "N": "newtons", "kgf": "kilograms-force", "daN": "decanewtons", "kN": "kilonewtons"}
HANDLE = "Pull with a handle or cleat, never wrap line round a hand. Ease off, never let go."
COLD = "Cut cold, to a taper: a melted end chafes the braid around it. No flame or hot knife near HMPE."
_SHORT = 60  # letters of advice that a sentence has room for
MAKER = "The maker's instructions, local rules and licensed practice come first."


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
        return TensionNumber(self.figure(pull), bench.settings.unit, tone)

    def figure(self, mn: int | None) -> str:
        """Give a pull in mN as figures of the bench's unit, "--" where there is none."""
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
        return Words(f"{live}: good", "good") if bench.pull_is_right() else Words(f"{live}: pull to {wanted}", "warn")

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

    # ------------------------------------------------------------------ the pre-stretch

    def pre_stretch(self, step: JobStep, watch: HoldWatch) -> Act:
        """Show a hold: how far to the band, time held and left, what broke the span, what comes."""
        bench, spec = self._bench, watch.spec
        target = self.pounds(spec.target_mn)
        pieces = bench.state.hold_pieces(step)
        what = f"the whole length, {named('piece', pieces)}," if len(pieces) > 1 else step.line
        if bench.by_hand:
            return Act(
                Words(f"Pre-stretch {what.removesuffix(',')}: pull to {target} for {seconds(spec.duration_us, 0)}"),
                second=(Words("no scale: count the seconds;"), Words("then press H, or the button", "act")),
                under="The record says: pulled by hand, not measured.",
                caution=HANDLE,
            )
        attempt = watch.attempt
        held_us, complete = self._held(watch)
        tone: Tone = "plain"
        held = Words(f"held {seconds(held_us, 0)} of {seconds(spec.duration_us, 0)}", "quiet")
        second: tuple[Words, ...] = (held,)
        under = ""
        if bench.blocked_piece:
            sentence, second, under = self.blocked()
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
            sentence, second = self._no_reading(), (held, Words("nothing counts until it reads again", "warn"))
        else:
            sentence, tone, more = self._pulling(attempt)
            second = (held, *more)
        return Act(
            sentence,
            self.tension(tone),
            second,
            gauge=self._hold_gauge(spec, watch),
            under=under,
            progress=None if bench.blocked_piece else Progress(held_us / 1e6, spec.duration_us / 1e6, complete),
            card=self._trace(watch),
            caution=HANDLE,
        )

    def blocked(self) -> tuple[Words, tuple[Words, ...], str]:
        """Say that a piece must be scrapped or released, how many more are asked about, and by which keys."""
        piece, pieces = self._bench.blocked_piece or "", self._bench.state.blocked
        pull_mn, ceiling_mn = pieces[piece]
        pulled = "pulled past what the scale can weigh" if pull_mn is None else f"pulled to {self.pounds(pull_mn)}"
        second = [Words(f"it was {pulled}; the ceiling is {self.pounds(ceiling_mn)}", "stop")]
        if len(pieces) > 1:
            second.append(Words(f"{len(pieces)} pieces were: each is asked about", "warn"))
        under = "Nobody can see set-in damage. Press X to scrap it, R to have it released by name, with a reason."
        return Words(f"Stop: scrap piece {piece}, or have it released", "stop"), tuple(second), under

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
        if not self._bench.reading_is_fresh:
            return self._no_reading(), (Words(f"then pull {what.removesuffix(',')} to {target}"),)
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

    def _no_reading(self) -> Words:
        """Say that there is no reading, and what to do about it first."""
        lost = self._bench.link_lost
        do = lost.advice.partition(";")[0] if lost else ""
        if not 0 < len(do) <= _SHORT:  # what is longer stands in the notice
            do = "look at the scale and its cable"
        return Words(f"No reading: {do}", "warn")

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
