"""Checking the scale by foot: one weight after another, each read once it hangs still.

The full check asks for nothing, then each weight upward, three times, the third time down again as well, with nothing
on between the runs and at the end. The daily check asks for one known weight near the target. A tap counts where the
scale is steady and reads about what hangs there; where it does not, that is said. A long press goes back one weight:
what was read for it is set aside, not erased, and is kept with the check.

A check is worked out from the text of its own CSV, which `fidbench scale-check` reads to the same result.
"""

from __future__ import annotations

import hashlib
from abc import abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from drivers.events import Reading
from station.bench.hearing import Hearing
from station.bench.hook import Hook
from station.bench.snapshot import Command, Words
from station.bench.weights import Load, Place, check_daily_weight, check_range, full_plan
from station.measuring.hold import ScaleUncertainty
from station.measuring.scale_check import Indication, Point, ScaleCheck, ScaleUncertaintyAt, check_scale, uncertainty_at
from station.records.entries import DailyChecked, Entry, ScaleChecked
from station.units import QuantityFault, force_text, quantity

COLUMNS = ("run", "direction", "applied", "indicated")
Row = tuple[str, str, str, str]
"""A row of a check's CSV."""
AWAY_SHARE = 0.1  # a reading farther than this from what should hang there is doubted
AWAY_STEPS = 5
STEADY_STEPS = 3
UNKNOWN_STEP = 1000  # where no resolution is known, steady is within this part of the capacity


class Weighed(NamedTuple):
    """A load and what the scale read with it, in whole micronewtons."""

    load: Load
    indicated_un: int

    @property
    def error_pct(self) -> float:
        """Give the error in percent of the applied force; only where something hangs."""
        return 100 * (self.indicated_un / 1e6 - self.load.applied_n) / self.load.applied_n


class CheckFiling(Protocol):
    """Files a fact, durably, and a check's CSV (with what was set aside in another) beside the archive."""

    def __call__(self, entry: Entry, check_csv: str = "", set_aside_csv: str = "") -> int:
        """File one fact and give its number."""

    def keep_unfinished(self, check_csv: str) -> object:
        """Keep what was read of a check that was never filed."""


@dataclass(frozen=True)
class WeighingSettings:
    """What a check works by. `scale` is the scale's name in records, `station` the bench's.

    `scale_words` say how well the scale is known as the check begins; `known` says it anew once something was filed.
    """

    scale: str
    station: str
    capacity_mn: int
    resolution_mn: int | None
    scale_words: Words
    unit: str = "lbf"
    pedal: bool = True
    known: Callable[[], Words] | None = None

    @property
    def step_mn(self) -> float:
        """Give the scale's smallest step, or what stands for it where it is not known."""
        return self.resolution_mn or self.capacity_mn / UNKNOWN_STEP / STEADY_STEPS


class Weighing(Hearing):
    """Loads asked for one after another; what a full and a daily check have in common. Stamps as in `Bench`."""

    doubt_yields = False  # whether a second tap on a doubted reading counts

    def __init__(self, settings: WeighingSettings, loads: Sequence[Load], file: CheckFiling) -> None:
        super().__init__()
        self.settings = settings
        self.loads = tuple(loads)
        self.weighed: list[Weighed] = []
        self.set_aside: list[Weighed] = []
        self.hook = Hook(round(STEADY_STEPS * settings.step_mn))
        self.recorded = ""
        self.scale_words = settings.scale_words
        self.filed = False
        self._file = file
        self._was_ready = False
        self._doubted: Load | None = None

    # ------------------------------------------------------------------ what comes in

    def fail(self, fault: BaseException) -> None:
        """Say that the program failed; what was read stands."""
        self.notice = Words(f"The program failed ({type(fault).__name__}): look at the last weight again.", "stop")

    def _hear(self, readings: Sequence[Reading]) -> None:
        self.hook.add(readings)
        if self.is_ready and not self._was_ready:
            self._cues.append("in band")
        self._was_ready = self.is_ready

    # ------------------------------------------------------------------ what hangs

    @property
    def load(self) -> Load | None:
        """Give what is to hang now; None once all was read."""
        return self.loads[len(self.weighed)] if len(self.weighed) < len(self.loads) else None

    @property
    def now_mn(self) -> int | None:
        """Give what the scale reads; None where it says nothing."""
        return None if self.link_lost else self.hook.now_mn(self.now_us)

    @property
    def is_steady(self) -> bool:
        """Tell whether what hangs there hangs still, and the scale is there to say so."""
        return self.now_mn is not None and self.hook.is_steady

    @property
    def is_ready(self) -> bool:
        """Tell whether a tap would count now."""
        return self.load is not None and self.is_steady and self._is_about(self.load, self.hook.read_un() / 1000)

    def away_mn(self, load: Load) -> float:
        """Give how far a reading may lie from a load before it is doubted.

        With nothing on, the lightest weight is the measure: a zero that did not come back is to be read, not refused.
        """
        applied_n = load.applied_n or min(each.applied_n for each in self.loads if each.applied_n)
        return max(AWAY_STEPS * self.settings.step_mn, AWAY_SHARE * applied_n * 1000)

    def _is_about(self, load: Load, read_mn: float) -> bool:
        """Tell whether a reading is near a load, and nearer to it than to any other of this check."""
        off_mn = abs(read_mn - load.applied_n * 1000)
        nearest = min(abs(read_mn - other.applied_n * 1000) for other in self.loads)
        return off_mn <= self.away_mn(load) and off_mn <= nearest + AWAY_STEPS * self.settings.step_mn

    # ------------------------------------------------------------------ the foot

    def _tapped(self, at_us: int) -> None:  # noqa: ARG002 -- a weight is read when it is, not when the foot was
        self.tap()

    def _pressed_long(self, at_us: int) -> None:  # noqa: ARG002 -- as above
        self.long_press()

    def tap(self) -> None:
        """Take a tap: this weight is read. What does not count is said."""
        load = self.load
        if load is None:
            return
        if why := self._why_not(load):
            self.not_counted(why)
            return
        self.weighed.append(Weighed(load, self.hook.read_un()))
        self.notice = self._doubted = None
        self._was_ready = False
        self._cues.append("step done")
        if self.load is None:
            self._all_read()

    def long_press(self) -> None:
        """Take a long press: back one weight, which is to be read again; nothing is erased."""
        if self.filed or not self.weighed:
            self.not_counted("the check is filed" if self.filed else "this is the first weight")
            return
        back = self.weighed.pop()
        self.set_aside.append(back)
        self.notice = Words(
            f"Back to {back.load.text or 'nothing on'}. What was read is set aside, not erased.", "plain"
        )

    def do(self, command: Command, form: Mapping[str, str] | None = None) -> None:
        """Carry out a command of the keyboard or mouse; `form` holds what was typed."""
        if command == "done":
            self.tap()
        elif command == "back":
            self.long_press()
        elif command == "file":
            self.sign(form or {})

    def sign(self, form: Mapping[str, str]) -> None:
        """File what was found under a name, where this check asks for one."""

    def leave(self) -> None:
        """Leave the check as it stands: what was read and not filed is kept, where there is enough of it to keep."""

    def _why_not(self, load: Load) -> str:
        """Say why a tap does not count now; nothing where it does."""
        if self.now_mn is None:
            return "there is no reading from the scale"
        if not self.is_steady:
            return "it is not steady yet: let it hang still"
        if self._is_about(load, self.hook.read_un() / 1000) or (self.doubt_yields and self._doubted is load):
            return ""
        self._doubted = load
        what = f"is {load.text} hanging" if load.text else "is everything off"
        again = " If so, tap again" if self.doubt_yields else ""
        return f"this reads {force_text(self.now_mn / 1000, self.settings.unit)}: {what}?{again}"

    @abstractmethod
    def _all_read(self) -> None:
        """Do what is due when the last load was read."""

    def _record(self, entry: Entry, check_csv: str = "", set_aside_csv: str = "") -> bool:
        """File a fact; tell whether it was. What could not be recorded is kept, to be filed again."""
        try:
            self._file(entry, check_csv, set_aside_csv)
        except (RuntimeError, OSError) as fault:
            self.notice = Words(f"Not recorded: {fault}", "stop")
            self._cues.append("broken")
            return False
        if self.settings.known is not None:
            self.scale_words = self.settings.known()
        return True


@dataclass(frozen=True)
class Result:
    """What a full check found."""

    check: ScaleCheck
    at_target: ScaleUncertaintyAt


class FullCheck(Weighing):
    """A full check; the result is filed under a name. `error_before_un` is the check before's error at the target."""

    def __init__(
        self,
        settings: WeighingSettings,
        weights: Sequence[Load],
        place: Place,
        target_mn: int,
        error_before_un: int | None,
        file: CheckFiling,
    ) -> None:
        check_range(weights, target_mn, settings.capacity_mn, settings.unit)
        super().__init__(settings, full_plan(weights), file)
        self.weights = tuple(weights)
        self.place = place
        self.target_mn = target_mn
        self.error_before_un = error_before_un
        self.result: Result | None = None

    @property
    def csv(self) -> str:
        """Give the check as `fidbench scale-check` reads it."""
        return _csv(self.weighed)

    def read_before(self, rows: Sequence[Row]) -> list[Weighed]:
        """Give what `rows` of an unfinished check hold of this one's beginning: its last readings, in its order.

        A row is as the check's CSV has it. Nothing is given where they are of other weights.
        """
        for first in range(len(rows)):
            found = [weighed_of(load, row) for load, row in zip(self.loads, rows[first:], strict=False)]
            whole = [each for each in found if each is not None]
            if len(whole) == len(rows) - first <= len(self.loads):
                return whole
        return []

    def go_on_after(self, before: Sequence[Weighed], rows: Sequence[Row]) -> None:
        """Go on after what was read before the check was left; `rows` that came before those were set aside."""
        self.weighed = list(before)
        left_out = rows[: len(rows) - len(before)]
        loads = {(load.run, load.down, load.text): load for load in self.loads}
        for run, direction, applied, indicated in left_out:
            load = loads.get((int(run), direction == "down", "" if applied == "0 N" else applied))
            if load is not None and (weighed := weighed_of(load, (run, direction, applied, indicated))) is not None:
                self.set_aside.append(weighed)
        self.notice = Words(f"{len(before)} of {len(self.loads)} were read before.", "plain")
        if self.load is None:
            self._all_read()

    def _all_read(self) -> None:
        indications = [
            Indication(load.run, load.down, load.applied_n, indicated_un / 1e6) for load, indicated_un in self.weighed
        ]
        resolution_mn, place = self.settings.resolution_mn, self.place
        check = check_scale(
            indications,
            self.settings.capacity_mn / 1000,
            None if resolution_mn is None else resolution_mn / 1000,
            by_mass=any(weight.is_mass for weight in self.weights),
        )
        lightest, heaviest = self.weights[0].applied_n, self.weights[-1].applied_n
        target_n = min(max(self.target_mn / 1000, lightest), heaviest)  # a target on the last weight rounds either way
        found = uncertainty_at(check, target_n, place.latitude is not None)
        if self.error_before_un is not None:
            drift_n = found.error_n - self.error_before_un / 1e6
            found = uncertainty_at(check, target_n, place.latitude is not None, drift_n=drift_n)
        self.result = Result(check, found)
        self._cues.append("time complete")

    def long_press(self) -> None:
        """Take a long press: back one weight; a result is worked out again afterwards."""
        super().long_press()
        if not self.filed:
            self.result = None

    def leave(self) -> None:
        """Keep what was read of a check that was not filed."""
        if not self.filed and (self.weighed or self.set_aside):
            self._file.keep_unfinished(_csv([*self.set_aside, *self.weighed]))

    def sign(self, form: Mapping[str, str]) -> None:
        """File the result under the name of who checked, with which weights."""
        if self.result is None or self.filed:
            return
        text, weights = self.csv, ", ".join(weight.text for weight in self.weights)
        entry = ScaleChecked(
            scale=self.settings.scale,
            target_mn=self.target_mn,
            uncertainty=uncertainty_of(self.result.at_target).facts(),
            scale_class=self.result.check.scale_class,
            points=tuple(point_facts(point) for point in self.result.check.points),
            by=form["by"],
            weights=f"{weights}; {form['weights']}",
            latitude=self.place.latitude,
            check_hash=hashlib.sha256(text.encode()).hexdigest(),
        )
        self.filed = self._record(entry, text, _csv(self.set_aside) if self.set_aside else "")
        if self.filed:
            self.recorded = f"scale checked, {class_words(entry.scale_class)}"
            self.notice = None


class DailyCheck(Weighing):
    """The daily check of a scale known to `within_mn`; `revisit` names the holds judged since it last agreed."""

    doubt_yields = True

    def __init__(
        self,
        settings: WeighingSettings,
        weight: Load,
        target_mn: int,
        within_mn: int,
        revisit: Sequence[str],
        file: CheckFiling,
    ) -> None:
        check_daily_weight(weight, target_mn, settings.unit)
        super().__init__(settings, [weight], file)
        self.target_mn = target_mn
        self.within_mn = within_mn
        self.revisit = tuple(revisit)
        self.looked_at = 0  # of the holds to revisit, the one that is pointed at
        self.found: DailyChecked | None = None

    def hang_instead(self, weight: Load) -> None:
        """Ask for another weight, as long as none was read. Raises `WeightsFault` for one not near the target."""
        check_daily_weight(weight, self.target_mn, self.settings.unit)
        if self.load is not None:
            self.loads = (weight,)
            self.notice = None

    def tap(self) -> None:
        """Take a tap: the weight is read; after that, the next of the holds to revisit."""
        if self.found and not self.found.agreed:
            self.looked_at = min(self.looked_at + 1, len(self.revisit) - 1)
        super().tap()

    def long_press(self) -> None:
        """Take a long press: the weight is to be hung again, and filed again."""
        self.found = None
        super().long_press()

    def _all_read(self) -> None:
        weighed = self.weighed[-1]
        known_mn, indicated_mn = round(weighed.load.applied_n * 1000), round(weighed.indicated_un / 1000)
        agreed = abs(indicated_mn - known_mn) <= self.within_mn
        found = DailyChecked(
            scale=self.settings.scale,
            known_mn=known_mn,
            indicated_mn=indicated_mn,
            agreed=agreed,
            within_mn=self.within_mn,
        )
        if self._record(found):
            self.found, self.looked_at = found, 0
            self.recorded = f"daily check {'agreed' if agreed else 'did not agree'}"
            self._cues.append("time complete" if agreed else "broken")
        else:
            self.weighed.pop()  # a tap tries again


def class_words(name: str | None) -> str:
    """Name a class, or say that there is none."""
    return "no class" if name is None else f"class {name}"


def uncertainty_of(found: ScaleUncertaintyAt) -> ScaleUncertainty:
    """Give what a check found as integers, as a hold is judged by it."""
    return ScaleUncertainty(round(found.expanded_n * 1000), round(found.standard_n * 1e6), round(found.error_n * 1e6))


def point_facts(point: Point) -> dict[str, int | None]:
    """Give a point as integers: forces in mN, shares in millionths, scatter and mean error in micronewtons."""
    return {
        "force_mn": round(point.force_n * 1000),
        "error_ppm": round(point.error_pct * 1e4),
        "largest_error_ppm": round(point.largest_error_pct * 1e4),
        "repeatability_ppm": round(point.repeatability_pct * 1e4),
        "reversibility_ppm": round(point.reversibility_pct * 1e4),
        "resolution_ppm": None if point.resolution_pct is None else round(point.resolution_pct * 1e4),
        "mean_error_un": round(point.mean_error_n * 1e6),
        "scatter_un": round(point.scatter_n * 1e6),
        "runs": point.runs,
    }


def weighed_of(load: Load, row: Row) -> Weighed | None:
    """Give what a row of a check says of a load; None where it is of another, or cannot be read."""
    if tuple(row[:3]) != _named(load):
        return None
    try:
        return Weighed(load, round(quantity(row[3], "force") * 1_000_000))
    except QuantityFault:
        return None


def _named(load: Load) -> tuple[str, str, str]:
    return str(load.run), "down" if load.down else "up", load.text or "0 N"


def _csv(weighed: Sequence[Weighed]) -> str:
    rows = [f"{','.join(_named(load))},{indicated_un / 1e6:.6f} N" for load, indicated_un in weighed]
    return "\n".join([",".join(COLUMNS), *rows, ""])
