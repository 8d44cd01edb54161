"""`fidbench demo`: an invented job on simulated hardware, from zeroing the scale to sign-off.

Simulated bytes go through the production decoder, the bench and the archive, as a real scale's would; only the rigger,
the line and the clock are simulated. The rigger works by what the bench says: taps the pedal, pulls when told, tops up
on cue. Person, loft and canopy are invented.

The point: the rigger counts "thirty" in the head while the trace says 22 lbf for 20 s, so the first hold is not held;
the second is topped up on cue and held. A line that comes out 3/16 in long is taken in by the computed amount and
lands level. At the end one digit is altered in a throw-away copy of the archive, and verification names it.
"""

from __future__ import annotations

import datetime
import hashlib
import importlib.resources
import random
from collections import deque
from collections.abc import Callable, Iterator

from drivers.events import Event, Frame, Garbage, LinkUp, PedalEdge, Reading, Tick
from drivers.stamps import Stamper
from drivers.text_frames import TextDecoder, TextFormat
from simulators.hand import Puller
from simulators.line import BraidedLine, Stock
from simulators.pedal import FootPedal
from simulators.scale import ScaleModel, VirtualScale
from station.bench.bench import Bench
from station.bench.bench_settings import BenchSettings
from station.bench.commands import carry_out
from station.bench.cues import Cue
from station.bench.job import JobStep
from station.bench.snapshot import Words
from station.bench.weighing import point_facts, uncertainty_of
from station.filing import Filer, job_state
from station.measuring.hold import ScaleUncertainty
from station.measuring.scale_check import Indication, check_scale, uncertainty_at
from station.measuring.trace import Trace
from station.measuring.words import said
from station.records.archive import Archive
from station.records.entries import Adjusted, HoldJudged, JobOpened, ScaleChecked
from station.settings.hold import HoldSpecification, ready_made_hold
from station.units import factor, force_text, length_text

LBF_N = float(factor("lbf", "force"))
TICK_US = 50_000
SECOND_US = 1_000_000
BEGINS = datetime.datetime(2026, 6, 12, 9, 0, tzinfo=datetime.UTC)  # an invented morning
KNOWN_LBF = (10, 20, 30, 40, 50)  # hung on the scale before the job begins
TRUE_SHRINKAGE = 0.058  # what the braid really does; the plan assumes 0.0625 and does not know
# New braid that relaxes as much as makes the point within half a minute: invented.
NEW_BRAID = Stock("new braid", 10_000 * LBF_N, 0.004, 28 * LBF_N, 0.045, 0.03)

Tell = Callable[[str], None]
Work = Iterator[None]


def opening(job: str, software: str) -> JobOpened:
    """Give the invented job."""
    plan = importlib.resources.files("config").joinpath("jobs/one-cascade.toml").read_text(encoding="utf-8")
    return JobOpened(
        job=job,
        title="Centre A and B",
        side="left",
        number="1",
        reference="opposite number",
        canopy={
            "kind": "main",
            "type": "Teasel 190",
            "make": "invented",
            "size": "190 sq ft",
            "serial": "TS-0417",
            "made": "2019-03",
            "jumps": 412,
        },
        owner={"name": "Brona Teal (invented)", "address": "Grey Gate Loft"},
        work={
            "kind": "main line and cascade remade",
            "cause": "burr on the connector link, line chafed through",
            "cause_removed": "link replaced",
            "neighbours": "looked at, sound",
            "place": "Grey Gate Loft (invented)",
            "drop_tests": "none made",
            "document": "the maker's line chart, revision 3 (invented)",
        },
        people={
            "worker": "Ansa Velling (invented)",
            "authority": "the loft's own, for the demo",
            "certificate": "D-1 (invented)",
        },
        stock={"maker": "invented", "specification": "hollow braid, HMPE", "strength": "725 lbf", "lot": "L-31"},
        sewing={"thread": "E", "machine": "bar tacker"},
        measuring={"cell": "simulated", "indicator": "simulated"},
        plan_toml=plan,
        software=software,
    )


class SimulatedBench:
    """A scale and a pedal without hardware: gives, up to a stamp, the events that the drivers would give."""

    def __init__(self, seed: int) -> None:
        frames = TextFormat(
            "{status} {value} {unit}", b"\r\n", units={"lb": "lbf"}, status={"ST": "stable", "OL": "overload"}
        )
        self.scale = VirtualScale(seed, ScaleModel(frames, "lbf", rate_hz=80, response_us=20_000))
        self.pedal = FootPedal(seed)
        self.edges: deque[PedalEdge] = deque()
        self.hand: Puller | None = None
        self.known_n = 0.0  # what hangs on the scale while no hand pulls
        self._decoder = TextDecoder(frames)
        self._stamper = Stamper(self.scale.model.period_us)
        self._seed = seed
        self._pieces = 0

    def take_up(self, clamp: bool) -> Puller:
        """Take a line up: a new piece under a clamp, or a line in the hand."""
        self._pieces += 1
        line = BraidedLine(self._seed + self._pieces, NEW_BRAID, 3.0)
        self.hand = Puller(line, grip="clamp" if clamp else "hand", seed=self._seed + self._pieces)
        return self.hand

    def until(self, at_us: int) -> list[Event]:
        """Give the events up to a stamp: readings through the production decoder, edges of the pedal, a tick."""
        events: list[Event] = []
        hand = self.hand
        for sent in self.scale.bytes_until(at_us, hand.tension_n if hand else lambda _: self.known_n):
            decoded = self._decoder.feed(sent.raw)
            stamps = self._stamper.stamp(sum(isinstance(each, Frame) for each in decoded), sent.at_us)
            for each in decoded:
                if isinstance(each, Frame):
                    events.append(Reading(stamps.pop(0), each.force, each.unit, each.status, sent.at_us))
                else:
                    events.append(Garbage(sent.at_us, each.raw, each.why))
        while self.edges and self.edges[0].at_us <= at_us:
            events.append(self.edges.popleft())
        events.append(Tick(at_us))
        return sorted(events, key=lambda event: event.at_us)


def scale_check(seed: int, target_mn: int) -> ScaleChecked:
    """Check the simulated scale against known forces: three runs up, of which the last goes down again as well."""
    hardware = SimulatedBench(seed)
    up = [(False, force) for force in (0, *KNOWN_LBF)]
    down = [(True, force) for force in (*reversed(KNOWN_LBF[:-1]), 0)]
    loads = [(run, *load) for run in (1, 2, 3) for load in [*up, *(down if run == 3 else [(False, 0)])]]
    indications, rows = [], ["run,direction,applied,indicated"]
    for n, (run, is_down, force) in enumerate(loads, 1):
        hardware.known_n = force * LBF_N
        events = hardware.until(2 * n * SECOND_US)
        settled = Trace.of([each for each in events if isinstance(each, Reading)][-80:])
        indicated_n = float(settled.tension_mn.mean()) / 1000
        indications.append(Indication(run, is_down, force * LBF_N, indicated_n))
        rows.append(f"{run},{'down' if is_down else 'up'},{force} lbf,{indicated_n:.6f} N")
    check = check_scale(indications, resolution_n=hardware.scale.model.resolution_n)
    return ScaleChecked(
        scale="S-1 (simulated)",
        target_mn=target_mn,
        uncertainty=uncertainty_of(uncertainty_at(check, target_mn / 1000)).facts(),
        scale_class=check.scale_class,
        points=tuple(point_facts(point) for point in check.points),
        by="Ansa Velling (invented)",
        weights=f"forces of {', '.join(map(str, KNOWN_LBF))} lbf, simulated",
        latitude=None,
        check_hash=hashlib.sha256("\n".join(rows).encode()).hexdigest(),
    )


class Demo:
    """The whole job: `advance` works it forward by one tick of simulated time until `finished`."""

    def __init__(self, archive: Archive, seed: int, software: str, tell: Tell) -> None:
        self.at_us = 0
        self.tell = tell
        self.hold = ready_made_hold("main-hmpe")
        self.hardware = SimulatedBench(seed)
        filer = Filer(archive, lambda: BEGINS + datetime.timedelta(microseconds=self.at_us))
        job = archive.new_job_id(BEGINS.year)
        check = scale_check(seed, self.hold.target_mn)
        filer(check)
        filer(opening(job, software))
        self.bench = Bench(
            job_state(archive, job),
            BenchSettings(
                pre_stretch=self.hold,
                uncertainty=ScaleUncertainty.of_facts(check.uncertainty),
                response_us=self.hardware.scale.model.settling_us,
                scale=check.scale,
                scale_words=Words(
                    f"scale known to ±{check.uncertainty['expanded_mn'] / 1000 / LBF_N:.2f} lbf", "quiet"
                ),
                next_piece=12,
            ),
            filer,
        )
        self.job = job
        self.finished = False
        self.cues: list[Cue] = []
        self.bench.take([LinkUp(0, "simulated")])
        self._chance = random.Random(f"rigger {seed}")  # noqa: S311  # repeatable, no secret
        self._long_m = {"B": 3 / 16 * 0.0254, "A": 0.0}  # how long each line comes out, before anybody knows
        self._holds = 0
        self._work = self._rig()

    def advance(self) -> None:
        """Let one tick of simulated time pass."""
        self.at_us += TICK_US
        self.cues = self.bench.take(self.hardware.until(self.at_us))
        try:
            next(self._work)
        except StopIteration:
            self.finished = True

    # ------------------------------------------------------------------ what the rigger does

    def _rig(self) -> Work:
        self.tell("The scale reads zero. Ansa Velling opens the job: Teasel 190, centre A and B, left.")
        yield from self._wait(2)
        while (step := self.bench.step) is not None:
            before = step.key
            yield from self._do(step)
            yield from self._wait(0.3)
            if self.bench.step and self.bench.step.key == before and step.kind != "pre-stretch":
                raise RuntimeError(f"the step {before!r} was not done: {self.bench.notice}")

    def _do(self, step: JobStep) -> Work:
        if step.kind == "pre-stretch":
            yield from self._pre_stretch(step)
        elif step.kind in {"mark", "set"}:
            yield from self._under_pull(step)
        elif step.kind == "compare":
            yield from self._compare(step)
        elif step.kind in {"sew", "trial tack"}:
            yield from self._wait(1)
            yield from self._tap()
            yield from self._wait(2)
            yield from self._tap()
            yield from self._wait(3)
            yield from self._tap()
        elif step.kind == "sign":
            self.tell("All checks made, pins counted back. Signed off at the keyboard, never by foot.")
            form = {"by": "Ansa Velling (invented)", "certificate": "D-1 (invented)", "statement": "a demo, no canopy"}
            carry_out(self.bench, "sign", form)
        else:
            yield from self._wait(2.2)
            yield from self._tap()
            self._tell_done(step)

    def _pre_stretch(self, step: JobStep) -> Work:
        self._holds += 1
        if self._holds > 10:
            raise RuntimeError(f"no hold is held: {self.bench.notice}")
        if self._holds == 1:
            yield from self._counted_hold(step)
        else:
            yield from self._watched_hold(step, clamp=self._holds == 2)

    def _counted_hold(self, step: JobStep) -> Work:
        self.tell(
            f"Piece {self.bench.state.pieces[step.line]}, pre-stretch. Ansa looks away from the screen, pulls by feel"
        )
        self.tell("and counts to thirty in the head, a little fast, as everybody does.")
        hand = self.hardware.take_up(clamp=False)
        hand.pull_to(22 * LBF_N, self.at_us, 2 * SECOND_US)
        yield from self._wait(22)
        self.tell('"... twenty-nine, thirty." Ease off.')
        hand.ease_off(self.at_us, SECOND_US)
        yield from self._wait(3.5)
        self._tell_verdict()

    def _watched_hold(self, step: JobStep, clamp: bool) -> Work:
        piece = self.bench.state.pieces[step.line]
        hand = self.hardware.take_up(clamp)
        if clamp:
            self.tell(f"Piece {piece} again, this time by the screen, with the clamp.")
        else:
            self.tell(f"Piece {piece}, pre-stretch of {step.line}, by the screen.")
        hand.pull_to((30.2 if clamp else 32) * LBF_N, self.at_us, 3 * SECOND_US)
        watch = self.bench.watch
        topped, before = False, watch.judged if watch else None
        while watch is not None and watch.judged is before and self.bench.watch is watch:
            forecast = self.bench.forecast
            if forecast and not topped:
                add = max(1, round(forecast.add_mn / 1000 / LBF_N))
                falls = max(1, round((forecast.crosses_us - self.at_us) / SECOND_US))
                self.tell(f'The line creeps. The screen says: "Pull {add} pounds more: you fall below in {falls} s."')
                self.tell("Topped up, on cue.")
                yield from self._wait(1.5)
                hand.pull_to(hand.tension_n(self.at_us) + forecast.add_mn / 1000, self.at_us, SECOND_US)
                topped = True
            yield
        hand.ease_off(self.at_us, 2 * SECOND_US)
        yield from self._wait(2.5)
        self._tell_verdict()

    def _under_pull(self, step: JobStep) -> Work:
        hand = self.hardware.take_up(clamp=False)
        hand.pull_to(10.2 * LBF_N, self.at_us, SECOND_US)
        yield from self._wait(2.5)
        if step.kind == "mark":
            yield from self._tap()
            self._tell_done(step)
        hand.ease_off(self.at_us, SECOND_US)
        yield from self._wait(1.2)
        if step.kind == "set":
            yield from self._tap()

    def _compare(self, step: JobStep) -> Work:
        hand = self.hardware.take_up(clamp=False)
        hand.pull_to(10.1 * LBF_N, self.at_us, SECOND_US)
        yield from self._wait(2.5)
        yield from self._tap()
        hand.ease_off(self.at_us, SECOND_US)
        yield from self._wait(1.2)
        hand = self.hardware.take_up(clamp=False)
        hand.pull_to(10.0 * LBF_N, self.at_us, SECOND_US)
        yield from self._wait(2.5)
        sixteenths = round(self._long_m[step.line] / (0.0254 / 16))
        if sixteenths == 0:
            yield from self._tap()
            self.tell(f"{step.line} against its opposite number, equal pull: level.")
        else:
            yield from self._press(1.3)
            yield from self._wait(0.5)
            yield from self._press(1.3)
            for _ in range(sixteenths):
                yield from self._wait(0.4)
                yield from self._tap()
            yield from self._wait(4.2)
            yield from self._tap()
            self.tell(f"{step.line} against its opposite number, equal pull: {sixteenths}/16 in long.")
        hand.ease_off(self.at_us, SECOND_US)
        yield from self._wait(1.5)

    # ------------------------------------------------------------------ hands and feet

    def _wait(self, time_s: float) -> Work:
        until_us = self.at_us + round(time_s * SECOND_US)
        while self.at_us < until_us:
            yield

    def _tap(self) -> Work:
        yield from self._press(self._chance.uniform(0.12, 0.25))

    def _press(self, held_s: float) -> Work:
        self.hardware.edges.extend(self.hardware.pedal.press(self.at_us + 1, round(held_s * SECOND_US)))
        yield from self._wait(held_s + 0.1)

    # ------------------------------------------------------------------ what is told

    def _tell_done(self, step: JobStep) -> None:
        state, trap = self.bench.state, step.trap
        done = state.done.get(step.key)
        if step.kind == "cut" and done:
            self.tell(f"{step.line} cut with spare, cold and tapered: piece {state.pieces[step.line]}.")
        elif step.kind == "mark" and trap:
            offset = length_text(trap.marks[0].offset_m)
            what = f"where {trap.guest} enters {trap.host}" if trap.end == "joint" else f"{trap.guest} at the canopy"
            self.tell(
                f"Marked {what}, {offset} past the opposite number, toward the canopy: the trap will take it back."
            )
        elif step.kind in {"trap", "link loop"} and trap:
            self.tell(f"{trap.trap}: {length_text(trap.trap_m)} trapped.")
        elif step.kind == "adjust":
            moved = state.done[step.key]
            if not isinstance(moved, Adjusted):
                return
            self._long_m[step.line] -= moved.move_um / 1e6 * (1 + TRUE_SHRINKAGE)
            self.tell(
                f"Taken in by {length_text(moved.move_um / 1e6)}, computed; "
                f"{length_text(moved.trap_after_um / 1e6)} is trapped now."
            )

    def _tell_verdict(self) -> None:
        entry = self.bench.state.last_hold
        if entry is not None:
            self.tell("  " + verdict_line(entry, self.hold))


def verdict_line(entry: HoldJudged, spec: HoldSpecification) -> str:
    """Say what the trace says of a hold, beside what was asked."""
    facts = entry.judgement
    if facts["verdict"] == "held":
        return " ".join(said("held", (), spec, facts["held_us"]))
    peak = force_text(facts["peak_mn"] / 1000, decimals=0)
    sentences = " ".join(said(facts["verdict"], facts["reasons"], spec, facts["held_us"]))
    return f"The trace says: {peak} at the most, of {force_text(spec.target_mn / 1000, decimals=0)}. {sentences}"
