"""The bench at its window: a station, an archive and a job wired to `BenchWindow`.

A timer of the window drains the wire's queue, the bench takes what came, and the window draws what the bench shows. A
command that needs a name or a reason asks for it with a form of the keyboard.
"""

from __future__ import annotations

import dataclasses
import signal
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication

from drivers.events import Event, PedalEdge
from station.app import Wire, now_us
from station.bench.bench import Bench, BenchSettings
from station.bench.commands import FormFault, carry_out
from station.bench.showing import Showing
from station.bench.snapshot import Command, Snapshot, Words
from station.bench.weighing import DailyCheck, FullCheck
from station.check_app import DAILY, FULL, AtScale, ScaleChecks
from station.faults import is_fault
from station.filing import Filer, data_folder, default_archive, facts_of, job_state, next_piece, wall_clock
from station.first_run_app import FirstRunAt
from station.linework.line_plan import make_plan
from station.linework.traps import PlanFault
from station.one_hold import software
from station.records.archive import Archive
from station.records.entries import JobOpened, SignedOff
from station.scale_today import ScaleRecord, ScaleToday
from station.set_app import MEASURE, measure
from station.settings.hold import HoldSpecification, ready_made_hold, ready_made_holds
from station.settings.plan import load_plan, plan_text
from station.settings.station import KeyPedal, StationSettings, check_capacity, load_station
from station.settings.tables import SettingsFault
from station.units import LengthSystem, QuantityFault, force_mn
from station.views.dialogs import ask
from station.views.form import Field
from station.views.palette import LookName, look_named
from station.views.set_view import SetPage
from station.views.start import PLAN_KEY, StartPage
from station.views.window import BenchWindow

_BY = Field("by", "Name", required=True)
_REASON = Field("reason", "Reason", required=True, rows=2)
_CERTIFICATE = Field("certificate", "Certificate, kind and number")
FORMS: Mapping[Command, tuple[str, str, Sequence[Field]]] = {
    "sign": (
        "Sign off",
        "You sign for what was done and on whose instructions. The printed record has room for ink.",
        (_BY, _CERTIFICATE, Field("statement", "Statement", rows=2)),
    ),
    "inspect": (
        "Second person",
        "Somebody other than who did the work looks at it from the canopy down.",
        (_BY, _CERTIFICATE, Field("finding", "What was found", required=True, rows=2)),
    ),
    "override": ("Pass this step without what it asks for", "The record shows who did and why.", (_BY, _REASON)),
    "accept": ("Leave the difference", "The record shows who left it, and why.", (_BY, _REASON)),
    "by hand": ("Pulled by hand, not measured", "The record says so in these words.", (_BY,)),
    "scrap": ("Scrap the piece", "The job goes on with a new piece.", (_BY, _REASON)),
    "release": ("Release the piece", "Nobody can see set-in damage. The record shows who and why.", (_BY, _REASON)),
    "long?": (
        "How much is the new line long?",
        "Short is written with a minus, level is 0 in.",
        (Field("difference", "Difference", required=True, hint="3/16 in, or -1/8 in"),),
    ),
}
SET_UP = "Set up a scale"
STATION_FILE = "station.toml"  # in the user's own data folder: what the first run writes
STATION_HOLD = "as the station file says"
NEW_JOB = (
    Field("title", "Which line", required=True, hint="Centre A and B", group="Line"),
    Field("side", "Side", required=True, choices=("left", "right"), group="Line"),
    Field("number", "Number", group="Line"),
    Field("canopy.kind", "Canopy", required=True, choices=("main", "reserve", "emergency", "tandem"), group="Canopy"),
    Field("canopy.type", "Type", required=True, group="Canopy"),
    Field("canopy.serial", "Serial number", group="Canopy"),
    Field("owner.name", "Owner", group="Canopy"),
    Field("owner.address", "Owner's address", group="Canopy"),
    Field("hold", "Pre-stretch", required=True, choices=tuple(ready_made_holds()), group="Work"),
    Field("rated_strength", "Line's rated strength", hint="725 lbf", group="Work"),
    Field("work.cause", "Why it failed", group="Work"),
    Field("work.document", "Maker's document, revision, page", group="Work"),
    Field("work.place", "Place", group="Work"),
    Field("work.drop_tests", "Drop tests", default="none made", group="Work"),
    Field("stock.specification", "Stock", group="Work"),
    Field("stock.lot", "Lot", group="Work"),
    Field("people.worker", "Who works", required=True, group="People"),
    Field("people.authority", "Under what authority", required=True, group="People"),
    Field("people.certificate", "Certificate", group="People"),
)


class AtWindow:
    """One job at its window: `events` gives what came from the hardware since it was last asked."""

    def __init__(
        self,
        bench: Bench,
        events: Callable[[], Sequence[Event]],
        look: LookName,
        key_pedal: bool = False,
    ) -> None:
        self.bench = bench
        self.showing = Showing(bench)
        self._events = events
        self._key_edges: list[Event] = []
        self.window = BenchWindow(
            look,
            self.read,
            self.send,
            on_pedal=self._key if key_pedal else None,
            on_fault=bench.fail,
        )

    def read(self) -> Snapshot:
        """Take what came, sound what it calls for, and give what to show."""
        edges, self._key_edges = self._key_edges, []
        for cue in self.bench.take([*self._events(), *edges]):
            self.window.cue(cue)
        return self.showing.snapshot()

    def send(self, command: Command) -> None:
        """Carry out what a person did; ask first where a name or a reason is needed."""
        if command not in FORMS:
            carry_out(self.bench, command)
            return
        title, text, fields = FORMS[command]
        while True:
            answers = self.window.ask(title, text, fields)
            if answers is None:
                return
            try:
                carry_out(self.bench, command, answers)
            except (FormFault, QuantityFault) as fault:
                text = str(fault)
            else:
                return

    def _key(self, down: bool) -> None:
        self._key_edges.append(PedalEdge(now_us(), down))


def application() -> QApplication:
    """Give the one Qt application, answering Ctrl-C."""
    app = QApplication.instance() or QApplication(sys.argv[:1])
    signal.signal(signal.SIGINT, lambda *_: app.quit())
    if not isinstance(app, QApplication):
        raise TypeError("another Qt application without windows is running in this process")
    return app


class Sitting:
    """From the first page to the last closed window, on one station and one archive."""

    def __init__(
        self, station: StationSettings | None, archive: Archive, look: LookName, lengths: LengthSystem, unit: str
    ) -> None:
        self._station = station
        self._archive = archive
        self._look: LookName = look
        self._lengths: LengthSystem = lengths
        self._unit = unit
        self._open = ExitStack()
        self._checks = ScaleChecks(station, archive, unit) if station is not None else None
        self._plan: Path | None = None
        self.start: StartPage | None = None
        self.bench: AtWindow | None = None
        self.check: AtScale | None = None
        self.set_page: SetPage | None = None
        self.first_run: FirstRunAt | None = None

    def show(self, plan: Path | None = None) -> None:
        """Show the first page."""
        self._plan = plan
        self.start = StartPage(
            self._look,
            self._jobs(),
            self._fields(),
            self._go_on_or_say,
            self._begin_or_say,
            plan=plan,
            notice=self._notice(),
            actions=(
                *(() if self._checks is None else ((FULL, self._check_scale), (DAILY, self._check_daily))),
                (MEASURE, self._measure_set),
                (SET_UP, self._set_up),
            ),
        )
        self.start.show()

    def close(self) -> None:
        """Let go of the ports."""
        self._open.close()

    def _fields(self) -> tuple[Field, ...]:
        """Give the fields of a new job; the station's own hold stands first where it has one."""
        if self._station is None or self._station.hold is None:
            return NEW_JOB
        choices = (STATION_HOLD, *ready_made_holds())
        return tuple(dataclasses.replace(each, choices=choices) if each.key == "hold" else each for each in NEW_JOB)

    def _go_on_or_say(self, job: str) -> None:
        """Open a job; what a person can mend is said, and the first page stays."""
        try:
            self._go_on(job)
        except Exception as fault:
            if not is_fault(fault):
                raise
            self._open.close()
            self._ask("This job cannot be opened", str(fault), ())

    def _begin_or_say(self, plan: Path, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Begin a job; a fault that belongs to no field is said beside the plan."""
        try:
            return self._begin(plan, answers)
        except Exception as fault:
            if not is_fault(fault):
                raise
            return {PLAN_KEY: str(fault)}

    def _notice(self) -> str:
        if self._station is None:
            return (
                "No station file: pulls are by hand and not measured, and the record says so. Set up a scale, or use "
                "--station FILE."
            )
        standing = f" Today: {self._checks.standing()}." if self._checks else ""
        return (
            f"{self._station.name}, scale on {self._station.scale.link.url}. Archive: {self._archive.path}.{standing}"
        )

    def _set_up(self) -> None:
        """Open the first run; its station file is the bench from then on."""
        self.first_run = FirstRunAt(self._look, data_folder() / STATION_FILE, self._set_up_as)
        self.first_run.page.closed.connect(self._set_up_left)
        self.first_run.page.show()
        if self.start is not None:
            self.start.close()

    def _set_up_as(self, path: Path) -> None:
        self._station = load_station(path)
        self._checks = ScaleChecks(self._station, self._archive, self._unit)
        if self.first_run is not None:
            self.first_run.page.close()

    def _set_up_left(self) -> None:
        self.show(self._plan)

    def _check_scale(self) -> None:
        if self._checks is not None:
            self._weigh(self._checks.full(self._ask))

    def _check_daily(self) -> None:
        if self._checks is not None:
            self._weigh(self._checks.daily(self._ask))

    def _measure_set(self) -> None:
        """Open a line set to measure; when its page is closed, the first page is shown again."""
        if self.start is None:
            return
        events: Callable[[], Sequence[Event]] = list
        if self._station is not None and self._station.pedal is not None:
            events = self._open.enter_context(Wire(self._station)).waiting
        page = measure(self._ask_there, events, self._look, self._lengths)
        if page is None:
            self._open.close()
            return
        self.set_page = page
        page.closed.connect(self._weighed)
        page.show()
        self.start.close()

    def _ask_there(self, title: str, text: str, fields: Sequence[Field]) -> Mapping[str, str] | None:
        parent = self.set_page if self.set_page is not None and self.set_page.isVisible() else self.start
        return ask(parent, look_named(self._look), title, text, fields, "Go on")

    def _ask(self, title: str, text: str, fields: Sequence[Field]) -> Mapping[str, str] | None:
        return ask(self.start, look_named(self._look), title, text, fields, "Go on")

    def _weigh(self, work: FullCheck | DailyCheck | None) -> None:
        """Open a check of the scale; when its window is closed, the first page is shown as things are then."""
        if work is None or self._station is None or self.start is None:
            return
        events = self._open.enter_context(Wire(self._station)).waiting
        self.check = AtScale(work, events, self._look, isinstance(self._station.pedal, KeyPedal))
        self.check.window.closed.connect(self._weighed)
        self.check.window.show()
        self.check.window.start()
        self.start.close()

    def _weighed(self) -> None:
        self._open.close()
        self.show(self._plan)

    def _jobs(self) -> list[tuple[str, str, str, str]]:
        rows = []
        for job in self._archive.jobs():
            opened = facts_of(self._archive, job)
            first = opened[0][1]
            if not isinstance(first, JobOpened) or not first.plan_toml:
                continue
            signed = any(isinstance(entry, SignedOff) for _, entry in opened)
            try:
                where = "signed off" if signed else _stands(self._archive, job)
            except Exception as fault:
                if not is_fault(fault):
                    raise
                where = f"cannot be read: {fault}"
            rows.append((job, first.title, str(first.canopy.get("type") or ""), where))
        return rows

    def _begin(self, plan: Path, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Open a new job; give what is wrong, by field."""
        try:
            text = plan_text(plan)
            make_plan(load_plan(plan))
        except (OSError, UnicodeDecodeError) as fault:
            return {PLAN_KEY: f"{plan}: cannot be read: {fault}"}
        except (SettingsFault, PlanFault, tomllib.TOMLDecodeError) as fault:
            return {PLAN_KEY: str(fault)}
        try:
            self._hold_named(answers["hold"], answers.get("rated_strength", ""))
        except QuantityFault as fault:
            return {"rated_strength": str(fault)}
        except SettingsFault as fault:
            return {"hold": str(fault)}
        grouped: dict[str, dict[str, str | int | None]] = {}
        for key, answer in answers.items():
            group, _, name = key.partition(".")
            if name and answer:
                grouped.setdefault(group, {})[name] = answer
        hold: dict[str, str | int | None] = {"pre_stretch": answers["hold"]}
        if answers.get("rated_strength"):
            hold["rated_strength"] = answers["rated_strength"]
        job = self._archive.new_job_id(wall_clock().year)
        Filer(self._archive)(
            JobOpened(
                job=job,
                title=answers["title"],
                side=answers["side"],
                number=answers.get("number", ""),
                reference=load_plan(plan).reference,
                canopy=grouped.get("canopy", {}),
                owner=grouped.get("owner", {}),
                work=grouped.get("work", {}),
                people=grouped.get("people", {}),
                stock=grouped.get("stock", {}),
                measuring=hold,
                plan_toml=text,
                software=software(),
            )
        )
        self._go_on(job)
        return {}

    def _hold_named(self, name: str, rated_strength: str) -> HoldSpecification:
        own = self._station.hold if self._station else None
        if name == STATION_HOLD and own is not None:
            return own
        hold = ready_made_hold(name, force_mn(rated_strength) if rated_strength else None)
        if self._station is not None:
            check_capacity(name, hold, self._station.scale)
        return hold

    def _go_on(self, job: str) -> None:
        """Open the bench window on a job where its entries left it."""
        state = job_state(self._archive, job)
        named = state.opened.measuring
        hold = self._hold_named(str(named.get("pre_stretch") or "main-hmpe"), str(named.get("rated_strength") or ""))
        station = self._station
        events: Callable[[], Sequence[Event]] = list
        if station is not None:
            events = self._open.enter_context(Wire(station)).waiting
        known = ScaleToday(None, Words("no scale: pulled by hand, not measured", "quiet"))
        if station is not None:
            record = ScaleRecord.of(self._archive, station.scale.link.url)
            known = record.today(station.scale, hold.target_mn, wall_clock().astimezone(), self._unit)
        settings = BenchSettings(
            pre_stretch=hold,
            uncertainty=known.uncertainty,
            response_us=station.scale.response_us if station else None,
            scale=station.scale.link.url if station else None,
            scale_words=known.words,
            unit=self._unit,
            lengths=self._lengths,
            next_piece=next_piece(self._archive),
            pedal=bool(station and station.pedal),
        )
        bench = Bench(state, settings, Filer(self._archive))
        key_pedal = bool(station and isinstance(station.pedal, KeyPedal))
        self.bench = AtWindow(bench, events, self._look, key_pedal)
        self.bench.window.closed.connect(self._open.close)
        self.bench.window.show()
        self.bench.window.start()
        if self.start is not None:
            self.start.close()


def _stands(archive: Archive, job: str) -> str:
    step = job_state(archive, job).now
    return "all steps done" if step is None else f"next: {step.label}"


def open_bench(
    station: str | None,
    archive: str | None,
    plan: str | None = None,
    look: LookName = "dark",
    lengths: LengthSystem = "imperial",
    unit: str = "lbf",
    key: str | None = None,
) -> int:
    """Open the program at its first page and stay until its windows are closed. Raises the faults of its files."""
    known = data_folder() / STATION_FILE
    settings = load_station(station) if station else load_station(known) if known.is_file() else None
    where = archive or str(default_archive())
    if archive is None:
        default_archive().parent.mkdir(parents=True, exist_ok=True)
    name = settings.name if settings else "Bench"
    with Archive.open(where, bench=name, create=True, key=Path(key) if key else None) as opened:
        app = application()
        sitting = Sitting(settings, opened, look, lengths, unit)
        try:
            sitting.show(Path(plan) if plan else None)
            beat = QTimer()  # lets Python answer Ctrl-C while Qt waits
            beat.timeout.connect(lambda: None)
            beat.start(200)
            return app.exec()
        finally:
            sitting.close()
