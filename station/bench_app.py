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

from PyQt6.QtCore import QSize, QTimer
from PyQt6.QtWidgets import QApplication

from drivers.events import Event
from station.app import Wire
from station.at_window import AtWindow
from station.bench.bench import Bench
from station.bench.bench_settings import BenchSettings
from station.bench.snapshot import Words
from station.bench.weighing import DailyCheck, FullCheck
from station.check_app import DAILY, FULL, AtScale, ScaleChecks
from station.faults import is_fault
from station.filing import Filer, default_archive, facts_of, job_state, next_piece, wall_clock
from station.first_run_app import FirstRunAt
from station.learned import learned
from station.linework.line_plan import make_plan
from station.linework.traps import PlanFault
from station.one_hold import software
from station.pages_app import archive_page, hold_page, material_page, plan_page, scale_page
from station.records.archive import Archive
from station.records.entries import JobOpened, SignedOff
from station.records.store import is_server
from station.scale_today import ScaleRecord, ScaleToday
from station.set_app import MEASURE, measure
from station.settings.hold import HoldSpecification
from station.settings.preferences import Preferences, data_folder, load_preferences, preferences_file, shop_folder
from station.settings.reline import job_text
from station.settings.shop import hold_named, hold_names
from station.settings.station import KeyPedal, ScaleSettings, StationSettings, check_capacity, load_station
from station.settings.tables import SettingsFault
from station.settings.writing import edited, keep
from station.units import LengthSystem, QuantityFault, force_mn
from station.views.dialogs import ask
from station.views.form import Field
from station.views.job_forms import AS_THE_FILE, NEW_JOB, STATION_HOLD
from station.views.page import SIZE, Page
from station.views.palette import LookName, look_named
from station.views.set_view import SetPage
from station.views.settings_page import SettingsPage
from station.views.start import PLAN_KEY, StartPage
from station.views.window import BenchWindow

SET_UP = "Set up a scale"
STATION_FILE = "station.toml"  # in the user's own data folder: what the first run writes


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
        self,
        station: StationSettings | None,
        archive: Archive,
        look: LookName,
        lengths: LengthSystem,
        unit: str,
        station_file: Path | None = None,
        preferences: Preferences | None = None,
        key: Path | None = None,
    ) -> None:
        self._station = station
        self._station_file = station_file
        self._key_file = key
        self._archive = archive
        self._look: LookName = look
        self._lengths: LengthSystem = lengths
        self._unit = unit
        self._preferences = Preferences() if preferences is None else preferences
        self._open = ExitStack()
        self._checks = ScaleChecks(station, archive, unit) if station is not None else None
        self._jobs_shown: list[tuple[str, str, str, str]] = []
        self.page: Page | None = None
        self._plan: Path | None = None
        self.start: StartPage | None = None
        self.bench: AtWindow | None = None
        self.check: AtScale | None = None
        self.set_page: SetPage | None = None
        self.first_run: FirstRunAt | None = None

    def show(self, plan: Path | None = None) -> None:
        """Show the first page."""
        self._plan = plan
        self._jobs_shown = self._jobs()
        self.start = StartPage(
            self._look,
            self._jobs_shown,
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
            pages=(
                ("Scale and pedal", self.show_scale),
                ("Line plans", self.show_plans),
                ("Hold specifications", lambda: self._turn_to(hold_page(self._look, self._archive, self._scale()))),
                ("Materials", lambda: self._turn_to(material_page(self._look, self._archive, self._scale()))),
                ("Archive", self.show_archive),
                ("Settings", self.show_settings),
            ),
            scale=self._scale(),
        )
        self.start.show()

    def close(self) -> None:
        """Let go of the ports, and of the archive."""
        self._open.close()
        self._archive.close()

    def _scale(self) -> float:
        """Give how large pages are set, so that one stands whole on the screen."""
        screen = QApplication.primaryScreen()
        room = screen.availableSize() if screen is not None else QSize(*SIZE)
        return min(1.0, max(0.75, min(room.width() / SIZE[0], room.height() / SIZE[1])))

    def _turn_to(self, page: Page) -> None:
        """Show another page; when it is closed, the first page is shown as things are then."""
        before, self.page = self.page, page
        page.closed.connect(self._turned_back)
        page.show()
        for old in (before, self.start):
            if old is not None:
                old.blockSignals(True)  # it makes room, and nobody went back
                old.close()
        self.start = None

    def _turned_back(self) -> None:
        self.page = None
        self.show(self._plan)

    def show_scale(self) -> None:
        """Show the page of scale and pedal."""
        self._turn_to(
            scale_page(
                self._look,
                self._station_file,
                self._station,
                self._checks,
                self._use,
                self._check_scale,
                self._check_daily,
                self._scale(),
            )
        )

    def show_plans(self) -> None:
        """Show the page of line plans."""
        mirrored = self._preferences.canopy == "left"
        self._turn_to(plan_page(self._look, self._begin_from, self._lengths, mirrored=mirrored, scale=self._scale()))

    def _begin_from(self, plan: Path) -> None:
        """Show the first page with a plan that a job is to be begun from."""
        self._plan = plan
        if self.page is not None:
            self.page.close()

    def show_archive(self) -> None:
        """Show the page of the archive."""
        stands = [(job, where) for job, _, _, where in self._jobs_shown]
        self._turn_to(archive_page(self._look, self._archive, stands, self._preferences.paper, self._scale()))

    def show_settings(self) -> None:
        """Show the page of settings."""
        self._turn_to(SettingsPage(self._look, self._set, scale=self._scale()))

    def _set(self, found: Preferences) -> None:
        """Go by settings that were kept just now; the page is shown anew where its look is another."""
        is_other = found.look != self._look
        self._preferences = found
        self._look, self._lengths, self._unit = found.look, found.units, found.force_unit
        if self._station is not None:
            self._checks = ScaleChecks(self._station, self._archive, self._unit)
        if is_other and self.page is not None:
            said = self.page.said.text()
            self.show_settings()
            self.page.say(said)

    def _use(self, file: Path) -> None:
        """Go by another station file, or by the same one as it is now, today and the next time."""
        file = file.expanduser().resolve()
        station = load_station(file)
        before = preferences_file().read_text(encoding="utf-8-sig") if preferences_file().exists() else ""
        keep(preferences_file(), edited(before, {"places.station": str(file)}), load_preferences)
        if station.name != self._archive.bench:
            where = self._archive.where
            self._archive.close()
            self._archive = Archive.open(where, bench=station.name, create=True, key=self._key_file)
        self._station, self._station_file = station, file
        self._checks = ScaleChecks(station, self._archive, self._unit)
        self.show_scale()
        if self.page is not None:
            self.page.say(f"In use, now and the next time: {file}.")

    def _fields(self) -> tuple[Field, ...]:
        """Give the fields of a new job; the station's own hold stands first where it has one."""
        names = tuple(hold_names(shop_folder()))
        choices = names
        if self._station is not None and self._station.hold is not None:
            choices = (STATION_HOLD, *names)
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
                "No station file: pulls are by hand and not measured, as the record says. Set up a scale, or choose "
                "one under Scale and pedal."
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
        """Go by the station file just made; its page is shown in place of the first run's."""
        if self.first_run is not None:
            self.first_run.page.closed.disconnect(self._set_up_left)
        self._use(path)
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
        page.closed.connect(self._left_bench)
        page.show()
        self.start.close()

    def _ask_there(self, title: str, text: str, fields: Sequence[Field]) -> Mapping[str, str] | None:
        parent = self.set_page if self.set_page is not None and self.set_page.isVisible() else self.start
        return ask(parent, look_named(self._look), title, text, fields, "Go on")

    def _ask(self, title: str, text: str, fields: Sequence[Field]) -> Mapping[str, str] | None:
        return ask(self.page or self.start, look_named(self._look), title, text, fields, "Go on")

    def _weigh(self, work: FullCheck | DailyCheck | None) -> None:
        """Open a check of the scale; when its window is closed, the first page is shown as things are then."""
        if work is None or self._station is None:
            return
        events = self._open.enter_context(Wire(self._station)).waiting
        key_pedal = isinstance(self._station.pedal, KeyPedal)
        self.check = AtScale(work, events, self._look, key_pedal, muted=self._preferences.sound == "off")
        self.check.window.closed.connect(self._left_bench)
        self._show(self.check.window)

    def _show(self, window: BenchWindow) -> None:
        """Show a window at the bench, in the place of the page that was shown."""
        if self._preferences.opens == "filling the screen":
            window.showFullScreen()
        else:
            window.show()
        window.start()
        for old in (self.page, self.start):
            if old is not None:
                old.blockSignals(True)  # it makes room, and nobody went back
                old.close()
        self.page = None

    def _left_bench(self) -> None:
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
            text, settings, sides = job_text(plan, lambda: learned(self._archive).counted())
            make_plan(settings)
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
        if answers.get("comparing", AS_THE_FILE) != AS_THE_FILE:
            hold["comparing"] = answers["comparing"]
        job = self._archive.new_job_id(wall_clock().year)
        Filer(self._archive)(
            JobOpened(
                job=job,
                title=answers["title"],
                side=sides or answers["side"],  # a set's sides are its job file's to say
                number=answers.get("number", ""),
                reference=settings.reference,
                canopy=grouped.get("canopy", {}),
                owner=grouped.get("owner", {}),
                work=grouped.get("work", {}),
                people=grouped.get("people", {}),
                stock=grouped.get("stock", {}),
                sewing=grouped.get("sewing", {}),
                line=grouped.get("line", {}),
                measuring=grouped.get("measuring", {}) | hold,
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
        hold = hold_named(name, shop_folder(), force_mn(rated_strength) if rated_strength else None)
        if self._station is not None:
            check_capacity(name, hold, self._station.scale)
        return hold

    def _go_on(self, job: str) -> None:
        """Open the bench window on a job where its entries left it."""
        state = job_state(self._archive, job)
        named = state.opened.measuring
        hold = self._hold_named(str(named.get("pre_stretch") or "main-hmpe"), str(named.get("rated_strength") or ""))
        station = self._station
        if station is not None and state.method == "two cells" and station.second_scale is None:
            raise SettingsFault(
                "comparing with two cells needs a second one: [second_scale] is missing from the station file; "
                "declare it with the keys of [scale]"
            )
        events: Callable[[], Sequence[Event]] = list
        if station is not None:
            events = self._open.enter_context(Wire(station)).waiting
        known = self._known(hold.target_mn)
        second = station.second_scale if station else None
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
            gauge=None if station is None or station.gauge is None else 1 if station.gauge.rising_is_long else -1,
            second_uncertainty=None if second is None else self._today(second, hold.target_mn).uncertainty,
        )
        bench = Bench(state, settings, Filer(self._archive))
        key_pedal = bool(station and isinstance(station.pedal, KeyPedal))
        self.bench = AtWindow(
            bench,
            events,
            self._look,
            key_pedal,
            mirrored=self._preferences.canopy == "left",
            muted=self._preferences.sound == "off",
            far=self._preferences.seen == "from afar",
            known=lambda: self._known(hold.target_mn),
        )
        self.bench.window.closed.connect(self._left_bench)
        self._show(self.bench.window)

    def _known(self, target_mn: int) -> ScaleToday:
        """Give what is known of the scale today."""
        if self._station is None:
            return ScaleToday(None, Words("no scale: pulled by hand, not measured", "quiet"))
        return self._today(self._station.scale, target_mn)

    def _today(self, scale: ScaleSettings, target_mn: int) -> ScaleToday:
        now = wall_clock().astimezone()
        return ScaleRecord.of(self._archive, scale.link.url).today(scale, target_mn, now, self._unit)


def _stands(archive: Archive, job: str) -> str:
    step = job_state(archive, job).now
    return "all steps done" if step is None else f"next: {step.label}"


def open_bench(
    station: str | None,
    archive: str | None,
    plan: str | None = None,
    look: LookName | None = None,
    lengths: LengthSystem | None = None,
    key: str | None = None,
) -> int:
    """Open the program at its first page and stay until its windows are closed. Raises the faults of its files.

    What is None is as the settings say.
    """
    preferences = load_preferences()
    file = Path(station) if station else preferences.station
    settings = load_station(file) if file else None
    where = archive or str(default_archive())
    if archive is None and not is_server(where):
        Path(where).expanduser().parent.mkdir(parents=True, exist_ok=True)
    lengths = preferences.units if lengths is None else lengths
    unit = "N" if lengths == "metric" else "lbf"
    signing = Path(key) if key else None
    opened = Archive.open(where, bench=settings.name if settings else "Bench", create=True, key=signing)
    app = application()
    sitting = Sitting(settings, opened, look or preferences.look, lengths, unit, file, preferences, signing)
    try:
        sitting.show(Path(plan) if plan else None)
        beat = QTimer()  # lets Python answer Ctrl-C while Qt waits
        beat.timeout.connect(lambda: None)
        beat.start(200)
        return app.exec()
    finally:
        sitting.close()
