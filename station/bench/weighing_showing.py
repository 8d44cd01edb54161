"""What the bench shows while the scale is checked: what to hang, what it reads, whether it hangs still, what was found.

A pure function of a `FullCheck` or `DailyCheck`, in the bench's own unit.
"""

from __future__ import annotations

import math

from station.bench.pull_showing import NAMES, Act
from station.bench.snapshot import (
    Command,
    CountNumber,
    ErrorPoint,
    ErrorsCard,
    Gauge,
    Header,
    ListCard,
    Snapshot,
    StepMark,
    StepState,
    TensionNumber,
    Tone,
    Words,
)
from station.bench.weighing import DailyCheck, FullCheck, Result, Weighing, class_words
from station.bench.weights import Load
from station.measuring.scale_check import CLASSES
from station.units import in_unit

WEIGHTS = "Weights fall: hang them low, over something soft, feet clear. Never past the scale's capacity."
LIMITS = tuple((name, limits[0]) for name, limits in CLASSES.items())


def weighing_snapshot(work: FullCheck | DailyCheck) -> Snapshot:
    """Give what a check of the scale shows now."""
    showing = _FullShowing(work) if isinstance(work, FullCheck) else _DailyShowing(work)
    act = showing.act()
    sentence = work.sentence(act.sentence)
    return Snapshot(
        header=showing.header(),
        sentence=sentence,
        number=act.number,
        second=act.second,
        arrow=None,
        under=act.under,
        gauge=act.gauge,
        progress=None,
        card=act.card,
        drawing=None,
        steps=showing.steps(),
        caution=act.caution,
        notice=work.said_beside(sentence),
        recorded=work.recorded,
        commands=act.commands,
    )


class _Showing:
    """What both checks show alike."""

    title = ""
    offered: tuple[Command, ...] = ("done", "back")

    def __init__(self, work: Weighing) -> None:
        self._work = work
        self.unit = work.settings.unit
        step = in_unit(work.settings.step_mn / 1000, self.unit)
        self._decimals = min(3, max(1, math.ceil(-math.log10(step) - 1e-9)))

    def force(self, mn: float) -> float:
        return in_unit(mn / 1000, self.unit)

    def written(self, mn: float, sign: str = "") -> str:
        """Write a force with as many decimals as the scale shows."""
        text = f"{self.force(mn):{sign}.{self._decimals}f}"
        return text.replace("-", "−") if float(text.replace("−", "-")) else text.lstrip("+-")

    def named(self, mn: float) -> str:
        """Write a force as it is said: "30 pounds"."""
        return f"{self.force(mn):.1f}".removesuffix(".0") + f" {NAMES[self.unit]}"

    def header(self) -> Header:
        work, count = self._work, len(self._work.loads)
        now = min(len(work.weighed) + 1, count)
        scale = work.scale_words if work.now_mn is not None else Words("no reading from the scale", "warn")
        foot = work.foot_standing(work.settings.pedal)
        return Header(
            line=self.title,
            piece="",
            canopy=work.settings.station,
            step=f"reading {now} of {count}" if count > 1 else "",
            scale=scale,
            foot=foot,
        )

    def steps(self) -> tuple[StepMark, ...]:
        done = len(self._work.weighed)
        return tuple(
            StepMark(load.text or "nothing on", "done" if n < done else "now" if n == done else "to come")
            for n, load in enumerate(self._work.loads)
        )

    def act(self) -> Act:
        load = self._work.load
        return self.hanging(load) if load else self.found()

    def found(self) -> Act:
        raise NotImplementedError

    def number(self, tone: Tone = "plain") -> TensionNumber:
        now_mn = self._work.now_mn
        return TensionNumber("--", self.unit, "warn") if now_mn is None else self._tension(now_mn, tone)

    def _tension(self, mn: float, tone: Tone) -> TensionNumber:
        return TensionNumber(self.written(mn), self.unit, tone)

    def ask(self, load: Load) -> str:
        if not load.text:
            return "Take everything off the scale"
        return f"Take weights off, down to {load.text}" if load.down else f"Hang {load.text}"

    def expected(self, load: Load) -> str:
        """Say what a load applies, where it was given as a mass or in another unit."""
        return f"{load.text} pulls {self.written(load.applied_n * 1000)} {self.unit} here." if load.text else ""

    def hanging(self, load: Load) -> Act:
        work = self._work
        now_mn, ready = work.now_mn, work.is_ready
        near = now_mn is not None and abs(now_mn - load.applied_n * 1000) <= work.away_mn(load)
        what = load.text or "nothing on"
        tone: Tone = "good" if ready else "plain"
        if now_mn is None:
            sentence, then = Words("No reading: look at the scale and its cable", "warn"), Words("", "quiet")
        elif ready:
            sentence, then = Words("Steady: tap", "act"), Words(f"{what}: read it", "good")
        elif near:
            sentence, then = Words(self.ask(load)), Words("let it hang still", "act")
        else:
            sentence, then = Words(self.ask(load)), Words("then let it hang still", "quiet")
        second = tuple(words for words in (Words(self.where(load), "quiet"), then) if words.text)
        return Act(
            sentence,
            self.number(tone),
            second,
            under=f"{self.expected(load)} {self.advice()}".strip(),
            gauge=self.gauge(load),
            card=self.card(),
            caution=WEIGHTS,
            commands=self.offered,
        )

    def where(self, load: Load) -> str:
        raise NotImplementedError

    def advice(self) -> str:
        return ""

    def card(self) -> ErrorsCard | ListCard | None:
        return None

    def gauge(self, load: Load) -> Gauge:
        """Show the reading among what these weights ask for, and within which of it a tap counts."""
        work = self._work
        now_mn, away = work.now_mn, work.away_mn(load)
        top_mn = max(load.applied_n for load in work.loads) * 1200
        low, high = (self.force(max(0.0, load.applied_n * 1000 + side * away)) for side in (-1, 1))
        tension = None if now_mn is None else self.force(now_mn)
        return Gauge(tension, self.unit, self.force(top_mn), low, high, low, high, None)


class _FullShowing(_Showing):
    title = "Scale check"

    def __init__(self, work: FullCheck) -> None:
        super().__init__(work)
        self._full = work

    def where(self, load: Load) -> str:
        way = "down" if load.down else "up"
        return f"run {load.run} of {max(each.run for each in self._work.loads)}, {way}"

    def advice(self) -> str:
        aside = len(self._work.set_aside)
        return f"{aside} reading{'s' * (aside > 1)} set aside, kept with the check." if aside else ""

    def card(self) -> ErrorsCard:
        loaded = [each for each in self._work.weighed if each.load.applied_n]
        points = tuple(
            ErrorPoint(in_unit(each.load.applied_n, self.unit), each.error_pct, each.load.down) for each in loaded
        )
        largest = max((abs(point.error_pct) for point in points), default=0.0)
        inside = next((limit for _, limit in LIMITS if largest <= limit), None) if points else None
        title = "errors, % of the force"
        if self._full.result and self._full.settings.resolution_mn is not None:
            name = self._full.result.check.scale_class
            title = f"{title}: {class_words(name)}"
            inside = None if name is None else CLASSES[name][0]
        forces = tuple(in_unit(weight.applied_n, self.unit) for weight in self._full.weights)
        top = forces[-1] * 1.08
        return ErrorsCard(title, self.unit, top, forces, self.force(self._full.target_mn), points, LIMITS, inside)

    def found(self) -> Act:
        result = self._full.result
        if result is None:
            raise ValueError("all weights were read and nothing was worked out")
        expanded_mn, error_mn = result.at_target.expanded_n * 1000, result.at_target.error_n * 1000
        known = f"±{self._fine(expanded_mn)}"
        target = self.named(self._full.target_mn)
        if self._full.filed:
            sentence = Words(f"Filed: known to {known} {self.unit} at {target}", "good")
            second: tuple[Words, ...] = (
                Words("now the daily check:"),
                Words("hang one known weight", "act"),
            )
            under = "Valid for a year, on days whose daily check agreed. Close this window."
        else:
            sentence = self._class(result)
            second = (
                Words(f"at {target}, mean error {self._fine(error_mn, '+')} {self.unit} included"),
                Words(f"proves no band narrower than {self._fine(2 * expanded_mn)} {self.unit}"),
                Words("press F to name and file it", "act"),
            )
            under = self._shares(result)
        return Act(
            sentence,
            CountNumber(known, self.unit),
            second,
            under=under,
            card=self.card(),
            caution=WEIGHTS if not self._full.filed else "The figures are filed with the readings they came from.",
            commands=() if self._full.filed else ("file", "back"),
        )

    def _fine(self, mn: float, sign: str = "") -> str:
        """Write a small force with two figures that count, at least."""
        size = abs(self.force(mn))
        decimals = min(4, max(self._decimals, 1 - math.floor(math.log10(size)))) if size > 0 else self._decimals
        return f"{self.force(mn):{sign}.{decimals}f}".replace("-", "−")

    def _class(self, result: Result) -> Words:
        if self._full.settings.resolution_mn is None:
            return Words("All read. No class: the scale's resolution is not known", "warn")
        if result.check.scale_class is None:
            return Words("All read. This scale fits no class", "warn")
        return Words(f"All read. This scale is of class {result.check.scale_class}", "good")

    def _shares(self, result: Result) -> str:
        """Name what the uncertainty comes from, the largest first."""
        shares = sorted(result.at_target.parts_n.items(), key=lambda share: -share[1])
        named = [f"{name} {self._fine(newtons * 1000)}" for name, newtons in shares[:3] if newtons > 0]
        return f"k {result.at_target.coverage_factor:.2f}; most from {', '.join(named)} {self.unit}"


class _DailyShowing(_Showing):
    title = "Daily check of the scale"
    offered = ("done", "another weight")

    def __init__(self, work: DailyCheck) -> None:
        super().__init__(work)
        self._daily = work

    def where(self, load: Load) -> str:
        known = self.written(load.applied_n * 1000)
        return f"it should read {known} {self.unit}, within {self.written(self._daily.within_mn)}"

    def expected(self, load: Load) -> str:  # noqa: ARG002 `where` says it
        return ""

    def advice(self) -> str:
        return "One known weight, hung once, each day before work."

    def steps(self) -> tuple[StepMark, ...]:
        states: tuple[StepState, StepState] = ("now", "to come")
        if self._daily.found:
            states = ("done", "done" if self._daily.found.agreed else "now")
        return (StepMark(f"hang {self._work.loads[0].text}", states[0]), StepMark("does it agree?", states[1]))

    def found(self) -> Act:
        found = self._daily.found
        if found is None:
            raise ValueError("the weight was read and nothing was found")
        off = found.indicated_mn - found.known_mn
        allowed = f"it may be {self.written(found.within_mn)} {self.unit} off"
        said = f"{self.written(off, '+')} {self.unit} off; {allowed}"
        if found.agreed:
            return Act(
                Words("The scale agrees: good for today", "good"),
                self._tension(found.indicated_mn, "good"),
                (
                    Words(f"{self._work.loads[0].text} pulls {self.written(found.known_mn)} {self.unit}", "quiet"),
                    Words(said),
                ),
                under="Take the weight off. Close this window to go on.",
                caution=WEIGHTS,
                commands=("back",),
            )
        items: tuple[tuple[str, StepState], ...] = tuple(
            (hold, "now" if n == self._daily.looked_at else "to come") for n, hold in enumerate(self._daily.revisit)
        )
        much = "much" if off > 0 else "little"
        card = ListCard("holds to revisit", items) if items else None
        revisit = (
            Words("revisit the holds judged since it agreed", "stop") if items else Words("no hold is to be revisited")
        )
        return Act(
            Words(f"Stop: the scale reads {self.written(abs(off))} {self.unit} too {much}", "stop"),
            self._tension(found.indicated_mn, "stop"),
            (Words(allowed, "quiet"), Words("nothing it reads is proven", "warn"), revisit),
            under="Look at the hook and the zero, then do the daily check again."
            + (" Tap: the next hold." if len(items) > 1 else ""),
            card=card,
            caution=WEIGHTS,
            commands=("done", "back") if len(items) > 1 else ("back",),
        )
