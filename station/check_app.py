"""Checking the scale at its window: what is typed before and after, the window while weights hang, the files.

A full check's CSV is written to `checks/` beside the archive before the check is filed, and one that is left unfinished
is kept there as such; no file is ever written over.
What is typed wrong is asked for again, with what was found.
"""

from __future__ import annotations

import csv
import dataclasses
import math
import os
import re
from collections.abc import Callable, Mapping, Sequence
from itertools import count
from pathlib import Path

from drivers.events import Event, PedalEdge
from station.app import now_us
from station.bench.snapshot import Command, Snapshot, Words
from station.bench.weighing import COLUMNS, DailyCheck, FullCheck, Row, WeighingSettings
from station.bench.weighing_showing import weighing_snapshot
from station.bench.weights import Load, Place, WeightsFault, load_of, read_weights
from station.filing import Filer, WallClock, wall_clock
from station.measuring.scale_check import AIR_DENSITY, WEIGHT_DENSITY
from station.records.archive import Archive
from station.records.entries import Entry
from station.records.store import is_server
from station.scale_today import VALID, ScaleRecord
from station.settings.preferences import data_folder
from station.settings.station import StationSettings
from station.units import QuantityFault, force_mn, in_unit, quantity
from station.views.form import Field
from station.views.palette import LookName
from station.views.start import DAILY, FULL
from station.views.window import BenchWindow

Ask = Callable[[str, str, Sequence[Field]], Mapping[str, str] | None]
"""Asks a form with a title and a text; gives the answers, or None where the person leaves it."""

GO_ON, ANEW = "go on after it", "begin anew"
FULL_TEXT = (
    "Each weight three times up, the third time down again, with nothing on in between. Without a latitude, the "
    "spread of gravity over the earth is added to the uncertainty."
)
FILE = (
    Field("by", "Who checked", required=True),
    Field("weights", "Which weights: set, certificate", required=True, hint="set 2, weighed 2026-03-01"),
)
_PLACE = (
    Field("latitude", "Latitude", hint="47.5 deg", group="Place"),
    Field("height", "Height above the sea", hint="300 m", group="Place"),
    Field("density", "Density of the weights, kg/m3", default=f"{WEIGHT_DENSITY:g}", group="Place"),
)
DAILY_FIELDS: tuple[Field, ...] = (Field("weight", "Weight", required=True, hint="15 kg, or 30 lbf"), *_PLACE)
_ANY_WEIGHTS = "5 kg, 10 kg, 15 kg, 20 kg"


class CheckFiler:
    """Files facts about a scale, and a check's CSV beside the archive before the check itself."""

    def __init__(self, archive: Archive, clock: WallClock = wall_clock) -> None:
        beside = data_folder() if is_server(archive.where) else Path(archive.path).parent
        self._folder = beside / "checks"
        self._file = Filer(archive, clock)
        self._clock = clock

    def __call__(self, entry: Entry, check_csv: str = "", set_aside_csv: str = "") -> int:
        """File one fact; give its number. Raises `ArchiveFault` or `OSError` where something cannot be kept."""
        if check_csv:
            self._write(check_csv, set_aside_csv)
        return self._file(entry)

    def unfinished(self) -> list[Row]:
        """Give the rows of the check that was left unfinished last, where that was today; nothing else."""
        today = self._clock().astimezone().date().isoformat()
        left = sorted(self._folder.glob(f"{today}-not-filed*.csv"), key=lambda path: (len(path.name), path.name))
        if not left:
            return []
        with left[-1].open(encoding="utf-8", newline="") as file:
            rows = [tuple(row) for row in csv.reader(file)]
        return [(a, b, c, d) for a, b, c, d in rows[1:]] if all(len(row) == len(COLUMNS) for row in rows) else []

    def keep_unfinished(self, check_csv: str) -> Path:
        """Keep what was read of a check that was left before it was filed; give the file."""
        return self._write_new(check_csv, "-not-filed")

    def _write(self, check_csv: str, set_aside_csv: str) -> None:
        path = self._write_new(check_csv)
        if set_aside_csv:
            _write(path.with_name(f"{path.stem}-set-aside.csv"), set_aside_csv)

    def _write_new(self, text: str, what: str = "") -> Path:
        self._folder.mkdir(exist_ok=True)
        name = self._clock().astimezone().date().isoformat() + what
        numbered = (name if number == 1 else f"{name}-{number}" for number in count(1))
        path = next(path for each in numbered if not (path := self._folder / f"{each}.csv").exists())
        _write(path, text)
        return path


def _write(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


class AtScale:
    """A check of the scale at its window: `events` gives what came from the hardware since it was last asked."""

    def __init__(
        self,
        work: FullCheck | DailyCheck,
        events: Callable[[], Sequence[Event]],
        look: LookName,
        key_pedal: bool = False,
        muted: bool = False,
    ) -> None:
        self.work = work
        self._events = events
        self._key_edges: list[Event] = []
        self.window = BenchWindow(
            look, self.read, self.send, on_pedal=self._key if key_pedal else None, on_fault=work.fail, muted=muted
        )
        self.window.closed.connect(work.leave)

    def read(self) -> Snapshot:
        """Take what came, sound what it calls for, and give what to show."""
        edges, self._key_edges = self._key_edges, []
        for cue in self.work.take([*self._events(), *edges]):
            self.window.cue(cue)
        return weighing_snapshot(self.work)

    def send(self, command: Command) -> None:
        """Carry out what a person did; ask who checked, with which weights, before a check is filed."""
        if command == "file":
            answers = self.window.ask("File this check", "The record shows who checked, and with what.", FILE)
            if answers is not None:
                self.work.do(command, answers)
        elif command == "another weight" and isinstance(self.work, DailyCheck):
            self._another_weight(self.work)
        else:
            self.work.do(command)

    def _another_weight(self, work: DailyCheck) -> None:
        text, fields = "One known weight near the target.", DAILY_FIELDS
        while (answers := self.window.ask(DAILY, text, fields)) is not None:
            try:
                work.hang_instead(load_of(answers["weight"], place_of(answers)))
            except (WeightsFault, QuantityFault) as fault:
                text, fields = str(fault), _filled(fields, answers)
            else:
                return

    def _key(self, down: bool) -> None:
        self._key_edges.append(PedalEdge(now_us(), down))


class ScaleChecks:
    """Begins checks of one station's scale, filed in one archive."""

    def __init__(
        self, station: StationSettings, archive: Archive, unit: str = "lbf", clock: WallClock = wall_clock
    ) -> None:
        self.station = station
        self._archive = archive
        self._unit = unit
        self._clock = clock
        self._scale = station.scale.link.url

    @property
    def record(self) -> ScaleRecord:
        """Give what is filed of this scale."""
        return ScaleRecord.of(self._archive, self._scale)

    @property
    def target_mn(self) -> int | None:
        """Give the pull to be judged: the station's hold's, else that of the last check; None where neither is."""
        if self.station.hold is not None:
            return self.station.hold.target_mn
        last = self.record.last_check
        return last.target_mn if last else None

    def standing(self) -> str:
        """Say how well the scale is known today."""
        target_mn = self.target_mn
        now = self._clock().astimezone()
        known = self.record.today(self.station.scale, target_mn or 0, now, self._unit)
        if target_mn is None and known.uncertainty is None:
            return "scale not checked: nothing is proven"
        return known.words.text

    def until(self) -> str:
        """Say until when what is known of the scale is in force."""
        check, target_mn = self.record.full_at(self.target_mn), self.target_mn
        typed = self.station.scale.uncertainty_until
        said = []
        if check is not None and target_mn is not None:
            last_day = (check.at.astimezone() + VALID).date()
            said.append(f"Full check at {self._force(target_mn)} of {check.at.astimezone().date()}: until {last_day}.")
        if typed is not None:
            said.append(f"Typed in the station file: until {typed}.")
        return " ".join(said) or "No check with weights is filed, and no uncertainty is typed in the station file."

    def full(self, ask: Ask) -> FullCheck | None:
        """Ask what will be hung, and begin a full check; None where the person leaves it."""
        fields, text = self._full_fields(), FULL_TEXT
        while (answers := ask(FULL, text, fields)) is not None:
            try:
                work = self._full_of(answers)
            except (WeightsFault, QuantityFault) as fault:
                text, fields = str(fault), _filled(fields, answers)
            else:
                return self._after_unfinished(work, ask)
        return None

    def _after_unfinished(self, work: FullCheck, ask: Ask) -> FullCheck | None:
        """Ask whether to go on after what was read today and not filed, where that is this check's beginning."""
        rows = self._filer().unfinished()
        before = work.read_before(rows)
        if before:
            text = (
                f"A check with these weights was left today after {len(before)} of {len(work.loads)} readings. Go on "
                "only if the scale was neither moved nor switched off since."
            )
            answers = ask(FULL, text, (Field("before", "What was read", choices=(GO_ON, ANEW)),))
            if answers is None:
                return None
            if answers["before"] == GO_ON:
                work.go_on_after(before, rows)
        return work

    def daily(self, ask: Ask) -> DailyCheck | None:
        """Begin a daily check with the weight that is known, else ask for one; None where there is nothing to renew."""
        record, target_mn, now = self.record, self.target_mn, self._clock().astimezone()
        known = record.to_renew(self.station.scale, target_mn, now) if target_mn is not None else None
        if target_mn is None or known is None:
            ask(DAILY, "There is no check in date that a daily weight could renew: check the scale first.", ())
            return None
        revisit = record.to_revisit(now.tzinfo)

        def begun(weight: Load) -> DailyCheck:
            return DailyCheck(self._settings(target_mn), weight, target_mn, known.expanded_mn, revisit, self._filer())

        weight = record.known_weight(target_mn)
        if weight is not None:
            return begun(weight)
        text, fields = "One known weight near the target, hung once.", DAILY_FIELDS
        while (answers := ask(DAILY, text, fields)) is not None:
            try:
                return begun(load_of(answers["weight"], place_of(answers)))
            except (WeightsFault, QuantityFault) as fault:
                text, fields = str(fault), _filled(fields, answers)
        return None

    def _filer(self) -> CheckFiler:
        return CheckFiler(self._archive, self._clock)

    def _known(self, target_mn: int) -> Words:
        return self.record.today(self.station.scale, target_mn, self._clock().astimezone(), self._unit).words

    def _settings(self, target_mn: int) -> WeighingSettings:
        scale = self.station.scale
        return WeighingSettings(
            scale=self._scale,
            station=self.station.name,
            capacity_mn=scale.capacity_mn,
            resolution_mn=scale.resolution_mn,
            scale_words=self._known(target_mn),
            unit=self._unit,
            pedal=self.station.pedal is not None,
            known=lambda: self._known(target_mn),
        )

    def _full_fields(self) -> tuple[Field, ...]:
        last, scale = self.record.last_check, self.station.scale
        weights = last.weights.split(";")[0] if last else ""
        latitude = (last.latitude or "") if last else ""
        target = "" if self.target_mn is None else self._force(self.target_mn)
        resolution = "" if scale.resolution_mn is None else self._force(scale.resolution_mn)
        hang = Field("weights", "Weights, lightest first", True, weights, hint=_ANY_WEIGHTS, group="Weights")
        judged = Field("target", "The pull to be judged", required=True, default=target, hint="30 lbf", group="Weights")
        place = (dataclasses.replace(_PLACE[0], default=latitude), *_PLACE[1:])
        return (
            hang,
            judged,
            *place,
            Field("resolution", "Resolution", default=resolution, hint="0.02 lbf; no class without it", group="Scale"),
            Field("capacity", "Capacity", required=True, default=self._force(scale.capacity_mn), group="Scale"),
        )

    def _full_of(self, answers: Mapping[str, str]) -> FullCheck:
        place = place_of(answers)
        target_mn = _above_zero(answers["target"])
        resolution = answers.get("resolution", "")
        settings = dataclasses.replace(
            self._settings(target_mn),
            capacity_mn=_above_zero(answers["capacity"]),
            resolution_mn=_above_zero(resolution) if resolution else None,
        )
        weights = read_weights(answers["weights"], place)
        error_before_un = self.record.error_before_un(target_mn)
        return FullCheck(settings, weights, place, target_mn, error_before_un, self._filer())

    def _force(self, mn: int) -> str:
        return f"{in_unit(mn / 1000, self._unit):.3f}".rstrip("0").rstrip(".") + f" {self._unit}"


def place_of(answers: Mapping[str, str]) -> Place:
    """Read where weights hang and what they are made of. Raises `WeightsFault` or `QuantityFault`."""
    latitude = answers.get("latitude") or None
    if latitude is not None and abs(float(quantity(latitude, "angle"))) > math.pi / 2:
        raise WeightsFault(f"found a latitude of {latitude}, expected one from -90 deg to 90 deg")
    height_m = float(quantity(answers["height"], "length")) if answers.get("height") else 0.0
    density = answers.get("density") or f"{WEIGHT_DENSITY:g}"
    if not re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", density, re.ASCII) or float(density) <= AIR_DENSITY:
        raise WeightsFault(f"found a density of {density!r}, expected a number of kg/m3 above that of air, as in 8000")
    return Place(latitude, height_m, float(density))


def _above_zero(text: str) -> int:
    value_mn = force_mn(text)
    if value_mn <= 0:
        raise WeightsFault(f"found {text!r}, expected a force above 0 lbf")
    return value_mn


def _filled(fields: Sequence[Field], answers: Mapping[str, str]) -> tuple[Field, ...]:
    """Give the fields with what was answered standing in them."""
    return tuple(dataclasses.replace(field, default=answers.get(field.key, "")) for field in fields)
