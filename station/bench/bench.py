"""The bench without a window: stamped events in, facts filed and cues out, and a snapshot of what to show.

It keeps the work order (`job`), watches holds (`hold_watch`) and comparisons (`comparing`), and gives the foot its one
meaning in each step. Every fact is filed before it counts: what is shown as recorded is recorded. When filing fails
the work stops and says so. A failure of the program itself voids the hold under way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from drivers.events import Beside, Event, Garbage, GaugeReading, LinkLost, Reading, Tick
from station.bench.bench_settings import BenchSettings, Filing
from station.bench.comparing import BY_THE_CHART, Comparing, Difference, Pulls, marking_limits_mn
from station.bench.facts import compared_fact, completed_fact, fact_of, judged_fact, said_of, tacked_fact
from station.bench.gauge import LengthGauge
from station.bench.hearing import Hearing
from station.bench.hold_watch import HoldWatch
from station.bench.job import JobState, JobStep, adjustment
from station.bench.recent import Recent
from station.bench.snapshot import Words
from station.bench.work_order import sew_key
from station.measuring.forecast import Forecast, forecast
from station.measuring.hold import ScaleUncertainty
from station.measuring.live_hold import Broken, Closed, Completed, HoldFact, InBand, LiveHold
from station.measuring.trace import OVERLOAD, Trace
from station.measuring.words import starts_again
from station.records.entries import (
    Entry,
    HoldCompleted,
    PieceCut,
    PieceOverpulled,
    SteppedBack,
)

WINDOW_US = 60_000_000
SHOWN_US = 2_000_000  # how long a check must have been shown before a tap counts
READ_US = 1_000_000  # how long anything else: a tap is shorter, so the foot went down after it came up
ARMED_US = (1_500_000, 4_000_000)  # two taps this far apart arm a sewing step: a sewing pedal's own taps do not
LOOK_FIRST = "look first: a check counts once it has been shown for two seconds"
READ_FIRST = "it came within a second of what it answers. Read first, then tap"
FORECAST_EVERY_US = 500_000
SILENT_US = 1_000_000  # after this long without a reading the number is not shown any more


class Bench(Hearing):
    """One job at the bench; see the module's docstring. All stamps are of one monotonic clock, in microseconds."""

    def __init__(self, state: JobState, settings: BenchSettings, file: Filing) -> None:
        super().__init__()
        self.state = state
        self.settings = settings
        self.recent = Recent(WINDOW_US, settings.pre_stretch.max_gap_us)
        self.second = Recent(WINDOW_US, settings.pre_stretch.max_gap_us)  # the second cell of a comparison
        self.second_lost = False
        self.gauge = LengthGauge()
        self.recorded = ""
        self.stopped: str | None = None  # why no more can be filed
        self.by_hand = settings.scale is None
        self.step: JobStep | None = None  # the step at hand: after a held hold, still that one until the line is slack
        self.step_since_us = 0
        self.pull_seen = False  # in a setting step: the line saw the marking pull
        self.last_status = 0  # of the last reading: see `station.measuring.trace.STATUSES`
        self.armed_us: int | None = None
        self.first_tap_us: int | None = None
        self.watch: HoldWatch | None = None
        self.forecast: Forecast | None = None
        self.comparing: Comparing | None = None
        self._file = file
        self._highest_mn = 0  # of this step, where it is a trap's setting
        self._over = False  # the pull is over the ceiling now, and that is filed
        self._silent_told = False  # that the running span ended in silence was said
        self._held_waiting = False  # a hold is held, and the line still to be eased off
        self._next_piece = settings.next_piece
        self._forecast_us = 0
        self._enter_step()

    def know_scale(self, uncertainty: ScaleUncertainty | None, words: Words) -> bool:
        """Go by what is known of the scale now. False, and nothing is changed, while a hold is judged by the old."""
        if self.watch is not None and self.watch.attempt is not None:
            return False
        self.settings = replace(self.settings, uncertainty=uncertainty, scale_words=words)
        if self.watch is not None:
            self.watch.uncertainty = uncertainty
        return True

    @property
    def back_words(self) -> str:
        """Give what is said when the scale is heard again: of a hold, that the time before does not count."""
        broken = self.watch is not None and self.watch.attempt is not None
        return "The scale is back. What was held before does not count." if broken else super().back_words

    # ------------------------------------------------------------------ what comes in

    def fail(self, fault: BaseException) -> None:
        """Void the hold under way, which then says so itself: the program failed. Where there is none, say that."""
        voided = self.watch.fail(self.now_us) if self.watch else []
        name = type(fault).__name__
        self.notice = (
            None if voided else Words(f"The program failed ({name}). What was recorded is safe: go on.", "stop")
        )
        self._hold_facts(voided)

    def _hear(self, readings: Sequence[Reading]) -> None:
        chunk = Trace.of(readings)
        self.last_status = int(chunk.status[-1])
        self.recent.add(chunk)
        step = self.step
        if step is None:
            return
        if step.kind == "pre-stretch" and (watch := self.watch):
            if self.blocked_piece is None:
                self._hold_facts(watch.feed(readings))
                if watch.attempt and watch.attempt.spoilt:
                    self.notice = None  # the sentence says what is wrong, and no time starts again
                self._go_on_when_slack()
            return
        on_reference = self.comparing is not None and self.comparing.reference_alone
        self._see_overpull(step, chunk, on_reference)
        if self.comparing is not None and chunk.has_tension.any():
            self.comparing.see(int(chunk.tension_mn[chunk.has_tension].min()))
        if step.kind == "set":
            highest_mn = int(chunk.tension_mn[chunk.has_tension].max(initial=0))
            self._highest_mn = max(self._highest_mn, highest_mn)
            self.pull_seen = self.pull_seen or self.pull_is_right()

    @property
    def blocked_piece(self) -> str | None:
        """Give the piece at hand that must be scrapped or released first; None where there is none."""
        return self.state.blocked_piece(self.step)

    def _see_overpull(self, step: JobStep, chunk: Trace, on_reference: bool) -> None:
        """File a pull over the ceiling, or an overload, that no hold is judging: once for each pull."""
        overload = bool((chunk.status == OVERLOAD).any())
        peak_mn = int(chunk.tension_mn[chunk.has_tension].max(initial=0)) // self._lines_on_the_scale
        ceiling_mn = self.settings.pre_stretch.ceiling_mn
        over = overload or peak_mn > ceiling_mn
        if over and not self._over:
            pieces = () if on_reference else self.state.pieces_of(step)
            if not pieces and not on_reference:
                return  # nothing of this job hangs there: somebody leans on the scale
            pull_mn = None if overload else peak_mn
            self.record(PieceOverpulled(job=self.job, pieces=pieces, pull_mn=pull_mn, ceiling_mn=ceiling_mn), stay=True)
            what = f"the {self.state.reference}" if on_reference else "the piece"
            self.notice = Words(f"Over the ceiling: {what} saw more than it may. It is recorded.", "stop")
            self._cues.append("broken")
        self._over = over

    def _take_other(self, event: Event) -> None:
        super()._take_other(event)
        if self.watch and isinstance(event, LinkLost):
            self.watch.link_lost(event)
        elif self.watch and isinstance(event, Garbage):
            self.watch.garbage()
        elif isinstance(event, Beside):
            self._hear_beside(event)
        elif isinstance(event, Tick):
            self._tick(event.at_us)

    def _hear_beside(self, said: Beside) -> None:
        """Take what a second scale or a length gauge says."""
        event = said.event
        if isinstance(event, GaugeReading):
            self.gauge.add(event)
        elif isinstance(event, Reading):
            self.second_lost = False
            chunk = Trace.of([event])
            self.second.add(chunk)
            if self.step is not None and self.comparing is not None and self.comparing.method == "two cells":
                self._see_overpull(self.step, chunk, on_reference=False)
        elif isinstance(event, LinkLost):
            self.gauge.lost |= said.source == "gauge"
            self.second_lost |= said.source == "second scale"
            self.notice = Words(f"The {said.source}: {event.why}: {event.advice}", "warn")

    @property
    def _lines_on_the_scale(self) -> int:
        return 2 if self.comparing is not None and self.comparing.method == "balanced" else 1

    @property
    def cells_known_mn(self) -> tuple[int | None, int | None]:
        """Give how well the first and second cell of a comparison are known; None where one was not checked."""
        if self.comparing is None or self.comparing.method != "two cells":
            return None, None
        first, second = self.settings.uncertainty, self.settings.second_uncertainty
        return first.expanded_mn if first else None, second.expanded_mn if second else None

    @property
    def pulls(self) -> Pulls:
        """Give what a comparison goes by: each line's pull, and what a gauge reads."""
        method = self.comparing.method if self.comparing else "in turn"
        pull_mn, other_mn = self.pull_mn, None
        if method == "balanced" and pull_mn is not None:
            pull_mn = round(pull_mn / 2)
        elif method == "two cells":
            heard_us = self.second.last_us
            fresh = not self.second_lost and heard_us is not None and self.now_us - heard_us <= SILENT_US
            pull_mn, other_mn = (self.second.now_mn() if fresh else None), pull_mn
        return Pulls(pull_mn, other_mn, self.gauge.now_um(self.now_us), self.gauge.steady_um(self.now_us))

    def _tick(self, at_us: int) -> None:
        if self.comparing:
            self.comparing.tick(at_us)
        if self.watch:
            self._hold_facts(self.watch.tick(at_us))
            self._notice_silence()
        if at_us - self._forecast_us >= FORECAST_EVERY_US:
            self._forecast_us = at_us
            self._look_ahead()

    @property
    def span_is_watched(self) -> bool:
        """Tell whether the running span can still go on: silence beyond the largest gap has ended it."""
        last_us = self.recent.last_us
        return last_us is not None and self.now_us - last_us <= self.settings.pre_stretch.max_gap_us

    def _notice_silence(self) -> None:
        """Say at once, not when the scale speaks again, that silence has ended the running span."""
        attempt = self.watch.attempt if self.watch else None
        running = attempt.running if attempt and not attempt.completed else None
        if running is None or self.span_is_watched or self._silent_told:
            return
        self._silent_told = True
        self._cues.append("broken")
        if self.link_lost is None:
            self.notice = Words(starts_again("gap", running.length_us), "warn")

    def _look_ahead(self) -> None:
        """Tell whether the pull will leave the band before the time is complete."""
        attempt = self.watch.attempt if self.watch else None
        running = attempt.running if attempt and not attempt.completed else None
        before, self.forecast = self.forecast, None
        if attempt is None or running is None or attempt.first_us is None or not self.reading_is_fresh:
            return
        since_us = attempt.first_us + running.start_us
        at_us, tension_mn, _ = self.recent.since(since_us)
        band = attempt.state.watched
        end_us = since_us + attempt.spec.duration_us
        self.forecast = forecast(at_us, tension_mn, band.low_mn, band.high_mn, end_us)
        if self.forecast and before is None:
            self._cues.append("leaving band")

    # ------------------------------------------------------------------ the pull

    @property
    def reading_is_fresh(self) -> bool:
        """Tell whether the scale has spoken within the last second and the link stands."""
        last_us = self.recent.last_us
        return self.link_lost is None and last_us is not None and self.now_us - last_us <= SILENT_US

    @property
    def pull_mn(self) -> int | None:
        """Give the pull to show and to compare by; None where there is no fresh reading."""
        return self.recent.now_mn() if self.reading_is_fresh else None

    def pull_is_right(self) -> bool:
        """Tell whether the marking pull is there (always, where the work is done by hand without instruments)."""
        low, high = marking_limits_mn(self.marking_pull_mn)
        return self.by_hand or (self.pull_mn is not None and low <= self.pull_mn <= high)

    @property
    def marking_pull_mn(self) -> int:
        """Give the plan's marking and comparing pull."""
        return round(self.state.plan_of(self.step).settings.pull_n * 1000)

    def _hold_facts(self, facts: Sequence[HoldFact]) -> None:
        watch, step = self.watch, self.step
        if watch is None or step is None:
            return
        for fact in facts:
            attempt = watch.attempt or watch.judged
            if isinstance(fact, InBand):
                self._cues.append("in band")
                if not self._silent_told:
                    self.notice = None
                self._silent_told = False
            elif isinstance(fact, Broken):
                if not self._silent_told:
                    self.notice = Words(starts_again(fact.why, fact.held_us), "warn")
                    self._cues.append("broken")
            elif isinstance(fact, Completed) and attempt and not attempt.closed:
                self._completed(step, attempt)
            elif isinstance(fact, Closed) and attempt:
                self._judged(step, attempt, fact)

    def _completed(self, step: JobStep, attempt: LiveHold) -> None:
        entry, trace = completed_fact(self.job, step.key, self.state.hold_pieces(step), attempt)
        if self.record(entry, [trace]):
            self._cues.append("time complete")

    def _judged(self, step: JobStep, attempt: LiveHold, fact: Closed) -> None:
        scale = self.settings.scale or ""
        entry = judged_fact(self.job, step.key, self.state.hold_pieces(step), attempt, fact, scale)
        if not self.record(entry, [fact.trace], stay=True):
            return
        if fact.judgement.verdict == "held":
            self._held_waiting = True
            if attempt.spec.zero_limit_mn is None:
                self._cues.append("time complete")
        else:
            self._cues.append("not counted")
            if self.link_lost is None:
                self.notice = None  # the sentence says what came of it
        self._go_on_when_slack()

    def _go_on_when_slack(self) -> None:
        if self._held_waiting and self.watch and self.watch.phase == "waiting":
            self._held_waiting = False
            self._step_done()

    # ------------------------------------------------------------------ the foot

    def _tapped(self, at_us: int) -> None:
        self.tap(at_us)

    def _pressed_long(self, at_us: int) -> None:
        self.long_press(at_us)

    def tap(self, at_us: int) -> None:
        """Take a tap: done, next; in a comparison, level. What does not count is said."""
        step = self.step
        if step is None or self.stopped:
            return
        why = self._why_no_tap(step, at_us)
        if why:
            too_soon = why in (LOOK_FIRST, READ_FIRST)
            self.not_counted(why, too_soon, lambda: too_soon or bool(self._why_no_tap(step, self.now_us)))
        elif step.kind in {"sew", "trial tack"} and not self._armed(at_us):
            return
        elif self.comparing:
            found = self.comparing.tap(at_us, self.pulls)
            if isinstance(found, Difference):
                self.compared(step, found)
            elif found:
                self.not_counted(found, still=lambda: bool(self.comparing and self.comparing.why_no_tap(self.pulls)))
            else:
                self.counted()
                self._cues.append("step done")
        elif all(self.record(tacked_fact(self.state, sew_key(trap), trap), stay=True) for trap in step.also):
            self.record(self._fact_of(step))

    def key_tap(self) -> None:
        """Take a key that does what a tap does; it is not the sewing machine's pedal, so it needs no arming."""
        if self.step and self.step.kind in {"sew", "trial tack"}:
            self.armed_us = self.now_us
        self.tap(self.now_us)

    def long_press(self, at_us: int) -> None:
        """Take a long press: back one step; in a comparison, the difference."""
        if self.comparing and self.comparing.long_press_does:
            why = self.comparing.long_press(at_us, self.pulls)
            if why:
                self.not_counted(why)
            else:
                self.counted()
            return
        self.back()

    def back(self) -> None:
        """Go back one step: nothing is erased, and the step is to be done again."""
        before, step = self.state.before, self.step
        if self.comparing and self.comparing.back(self.now_us):
            self.counted()
            return
        if self.blocked_piece:
            self.not_counted("the piece must be scrapped or released first")
        elif self.watch and self.watch.phase != "waiting":
            self.not_counted("during a hold the foot does nothing: ease off to stop")
        elif before is None or step is None:
            self.not_counted("this is the first step" if before is None else "the job is signed off")
        else:
            for key in before.keys:  # of tacks sewn in one sitting each is named, so that the record says which
                self.record(SteppedBack(job=self.job, step=key), stay=key != before.key)
            self.notice = Words(f"Back to: {before.label}. What was recorded stands.", "plain")

    @property
    def asked_since_us(self) -> int:
        """Give when what a tap would answer came up: the step, or a comparison's question."""
        return max(self.step_since_us, self.comparing.asked_us if self.comparing else 0)

    def _why_no_tap(self, step: JobStep, at_us: int) -> str:
        """Say why a tap does not count now; nothing where it does."""
        if self.blocked_piece:
            return "the piece must be scrapped or released first"
        shown_us = at_us - self.asked_since_us
        if step.kind == "check" and shown_us < SHOWN_US:
            return LOOK_FIRST
        if shown_us < READ_US and not (self.comparing and self.comparing.phase == "count"):
            return READ_FIRST
        if step.kind == "pre-stretch":
            by_hand = "press H when it was pulled by hand"
            return by_hand if self.by_hand else "the pull itself moves this step on: pull, hold, ease off"
        if step.kind == "strip" and (why := self.state.why_not_strip(step)):
            return why
        if step.kind in {"sign", "inspect"}:
            return f"never by foot: press {'S to sign' if step.kind == 'sign' else 'I for the second person'}"
        if step.kind == "mark" and not self.pull_is_right():
            return self._pull_words("the marking pull is not there yet")
        if step.kind == "set" and not (self.by_hand or self.pull_seen):
            return self._pull_words("set it under the marking pull first")
        if step.kind == "adjust" and adjustment(self.state, step).warnings:
            return "too much to move: make the end anew, or leave it by name"
        return ""

    def _pull_words(self, what: str) -> str:
        return what if self.reading_is_fresh else "there is no reading from the scale"

    def _armed(self, at_us: int) -> bool:
        """Tell whether a tap counts in a sewing step: two taps two seconds apart arm the foot for the next one."""
        if self.armed_us is not None:
            return True
        since_us = at_us - self.first_tap_us if self.first_tap_us is not None else 0
        if ARMED_US[0] <= since_us <= ARMED_US[1]:
            self.armed_us, self.first_tap_us = at_us, None
            self.notice = None  # what to do is said large
        else:
            self.first_tap_us = at_us
            self.notice = Words("Tap again in two seconds to arm the foot.", "act")
        return False

    # ------------------------------------------------------------------ facts

    @property
    def job(self) -> str:
        """Give the job's ID."""
        return self.state.opened.job

    @property
    def next_piece(self) -> str:
        """Give the number of the piece to be cut: that of a piece cut before for the same line, else the next."""
        step = self.step
        cut = "" if step is None else step.trap.leg_piece if step.trap and step.kind == "cut leg" else step.line
        return self.state.pieces.get(cut or "", str(self._next_piece))

    def _fact_of(self, step: JobStep, piece: str = "") -> Entry:
        pull_mn = self._highest_mn if step.kind == "set" else self.pull_mn
        return fact_of(self.state, step, piece or self.next_piece, None if self.by_hand else pull_mn)

    def compared(self, step: JobStep, found: Difference) -> None:
        """File what a comparison found."""
        self.record(compared_fact(self.job, step, found, self._method, self.cells_known_mn))

    @property
    def _method(self) -> str:
        method = self.comparing.method if self.comparing else self.state.method
        return f"{method}, pulled by hand, not measured" if self.by_hand else method

    def record(self, entry: Entry, traces: Sequence[Trace] = (), stay: bool = False) -> bool:
        """File a fact, then let it count; tell whether it is. `stay` leaves the step to be moved on by the pull."""
        if self.stopped:
            return False
        try:
            seq = self._file(entry, traces)
        except RuntimeError as fault:
            self.stopped = str(fault)
            self.notice = None  # the sentence says it
            self._cues.append("broken")
            return False
        if isinstance(entry, PieceCut) and entry.piece.isdecimal():
            self._next_piece = max(self._next_piece, int(entry.piece) + 1)
        self.state = self.state.after(entry, seq)
        label = self.step.label if self.step else ""
        self.recorded = said_of(entry, self.settings.lengths) or f"{label}: done"
        if not stay and not isinstance(entry, HoldCompleted):
            self._step_done()
        return True

    def _step_done(self) -> None:
        self.notice = None
        self._cues.append("step done")
        self._enter_step()

    def _enter_step(self) -> None:
        step = self.step = self.state.now
        self.step_since_us = self.now_us
        self.pull_seen = False
        self._highest_mn = 0
        self.armed_us = self.first_tap_us = None
        self.watch = self.comparing = self.forecast = None
        self._held_waiting = False
        if step is None:
            return
        if step.kind == "pre-stretch":
            settings = self.settings
            self.watch = HoldWatch(settings.pre_stretch, settings.uncertainty, settings.response_us)
        elif step.kind == "compare":
            line = next(each for each in self.state.plan_of(step).lines if each.name == step.line)
            equal_mn = None if line.equal_pull_n is None else round(line.equal_pull_n * 1000)
            self.comparing = Comparing(
                self.marking_pull_mn,
                equal_mn,
                measured=not self.by_hand,
                method=BY_THE_CHART if self.state.reference == "chart" else self.state.method,
                gauge=self.settings.gauge,
            )
