"""The program from its first page to the last closed window: a station, an archive, and the windows and pages on them.

The first page is painted before the archive is opened and read, and what that page does not need itself (the archive,
the bench's window, the other pages) is imported where it is used: so it stands within 1.5 s of the command.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PyQt6.QtCore import QSize, QTimer
from PyQt6.QtWidgets import QApplication

from station.display import give_back_large_blocks
from station.faults import is_fault
from station.settings.preferences import Preferences, data_folder, load_preferences, preferences_file
from station.settings.station import KeyPedal, StationSettings, load_station
from station.settings.writing import edited, keep
from station.units import LengthSystem
from station.views.dialogs import ask
from station.views.form import Field
from station.views.job_forms import job_fields
from station.views.page import SIZE, Page
from station.views.palette import LookName, look_named
from station.views.start import DAILY, FULL, MEASURE, PLAN_KEY, SET_UP, StartPage

if TYPE_CHECKING:
    from drivers.events import Event
    from station.at_window import AtWindow
    from station.bench.weighing import DailyCheck, FullCheck
    from station.check_app import AtScale, ScaleChecks
    from station.first_run_app import FirstRunAt
    from station.records.archive import Archive
    from station.views.scale_forms import Instrument
    from station.views.set_view import SetPage
    from station.views.window import BenchWindow

STATION_FILE = "station.toml"  # in the user's own data folder: what the first run writes


def application() -> QApplication:
    """Give the one Qt application, answering Ctrl-C."""
    give_back_large_blocks()
    app = QApplication.instance() or QApplication(sys.argv[:1])
    signal.signal(signal.SIGINT, lambda *_: app.quit())
    if not isinstance(app, QApplication):
        raise TypeError("another Qt application without windows is running in this process")
    return app


def _room() -> QSize:
    screen = QApplication.primaryScreen()
    return QSize(*SIZE) if screen is None else screen.availableSize()


class Sitting:
    """From the first page to the last closed window, on one station and one archive.

    `archive` opens it, when it is first needed.
    """

    def __init__(
        self,
        station: StationSettings | None,
        archive: Callable[[], Archive],
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
        self._open_archive = archive
        self._look: LookName = look
        self._lengths: LengthSystem = lengths
        self._unit = unit
        self._preferences = Preferences() if preferences is None else preferences
        self._open = ExitStack()
        self._jobs_shown: list[tuple[str, str, str, str]] = []
        self._draft: dict[str, str] = {}  # of a new job
        self.page: Page | None = None
        self._plan: Path | None = None
        self.start: StartPage | None = None
        self.bench: AtWindow | None = None
        self.check: AtScale | None = None
        self.set_page: SetPage | None = None
        self.first_run: FirstRunAt | None = None

    @cached_property
    def _archive(self) -> Archive:
        return self._open_archive()

    @cached_property
    def _checks(self) -> ScaleChecks | None:
        from station.check_app import ScaleChecks

        return None if self._station is None else ScaleChecks(self._station.alone("scale"), self._archive, self._unit)

    def show(self, plan: Path | None = None) -> None:
        """Show the first page, with the jobs of the archive."""
        self.show_first(plan).show()
        self.read()

    def read(self) -> None:
        """Read the archive, and let the first page go on from what it holds. Raises what opening it raises."""
        self._jobs_shown = self._jobs()
        if self.start is not None:
            self.start.list_jobs(self._jobs_shown, self._notice())

    def show_first(self, plan: Path | None = None) -> StartPage:
        """Give the first page as it is while the archive has not been read: nothing can be begun from it yet."""
        self._plan = plan
        self.start = StartPage(
            self._look,
            None,
            job_fields(self._station),
            self._go_on_or_say,
            self._begin_or_say,
            plan=plan,
            draft=self._draft,
            notice=self._bench_words(),
            actions=(
                *(() if self._station is None else ((how, partial(self._check, how)) for how in (DAILY, FULL))),
                (SET_UP, self._set_up),
                ("Scale and pedal", self.show_scale),
                (MEASURE, self._measure_set),
                ("Archive", self.show_archive),
            ),
            pages=(
                ("Line plans", self.show_plans),
                ("Whole relines", self.show_relines),
                ("Hold specifications", self.show_holds),
                ("Materials", self.show_materials),
                ("In control?", self.show_control),
                ("Settings", self.show_settings),
            ),
            scale=self._scale(),
        )
        return self.start

    def close(self) -> None:
        """Let go of the ports, and of the archive."""
        self._open.close()
        if "_archive" in self.__dict__:
            self._archive.close()

    def _scale(self) -> float:
        """Give how large pages are set, so that one stands whole on the screen."""
        return min(1.0, max(0.75, min(_room().width() / SIZE[0], _room().height() / SIZE[1])))

    def _turn_to(self, page: Page) -> None:
        """Show another page; when it is closed, the first page is shown as things are then."""
        page.closed.connect(self._turned_back)
        page.show()
        self._make_room(page)

    def _make_room(self, page: Page | None = None) -> None:
        """Close what was shown before; `page` is shown now, where it is one of those beside the bench."""
        for old in (self.page, self.start):
            if old is not None:
                old.blockSignals(True)  # it makes room, and nobody went back
                old.close()
        self.page, self.start = page, None

    def _turned_back(self) -> None:
        self.page = None
        self.show(self._plan)

    def show_scale(self, shown: Instrument = "scale", file: Path | None = None) -> None:
        """Show the page of scales, gauge and pedal, with one instrument of it; of `file` where none is in use."""
        from station.check_app import ScaleChecks
        from station.pages_app import scale_page

        station, checks = self._station, None
        if station is not None and shown in station.scales:
            checks = ScaleChecks(station.alone(shown), self._archive, self._unit)
        self._turn_to(
            scale_page(
                self._look,
                self._station_file or file,
                checks,
                self._use,
                self._weigh_by,
                shown=shown,
                turn=lambda name: self.show_scale(name, file),
                describe=lambda: self.show_scale(file=data_folder() / STATION_FILE),
                set_up=self._set_up,
                scale=self._scale(),
            )
        )

    def _weigh_by(self, checks: ScaleChecks | None, how: str) -> None:
        if checks is not None:
            self._weigh((checks.full if how == FULL else checks.daily)(self._ask), checks.station)

    def show_plans(self) -> None:
        """Show the page of line plans."""
        from station.pages_app import plan_page

        more: dict[str, Any] = {"mirrored": self._preferences.canopy == "left", "scale": self._scale()}
        self._turn_to(plan_page(self._look, self._archive, self._begin_from, self._lengths, **more))

    def show_relines(self) -> None:
        """Show the page of whole relines."""
        from station.pages_app import reline_page

        self._turn_to(reline_page(self._look, self._archive, self._begin_from, self._scale()))

    def _begin_from(self, plan: Path) -> None:
        """Show the first page with a plan that a job is to be begun from."""
        self._plan = plan
        if self.page is not None:
            self.page.close()

    def show_holds(self) -> None:
        """Show the page of hold specifications."""
        from station.pages_app import hold_page

        self._turn_to(hold_page(self._look, self._archive, self._scale()))

    def show_materials(self) -> None:
        """Show the page of materials."""
        from station.pages_app import material_page

        self._turn_to(material_page(self._look, self._archive, self.show_trials, self._scale()))

    def show_control(self) -> None:
        """Show the control charts of the archive."""
        from station.control_app import control_page

        self._turn_to(control_page(self._archive, self._look, self._lengths, self._scale()))

    def show_trials(self) -> None:
        """Show the archive's trials."""
        from station.trials_app import trials_page

        self._turn_to(trials_page(self._archive, self._ask, self._look, self._lengths, self._scale()))

    def show_archive(self) -> None:
        """Show the page of the archive."""
        from station.pages_app import archive_page

        stands = [(job, where) for job, _, _, where in self._jobs_shown]
        self._turn_to(archive_page(self._look, self._archive, stands, self._preferences.paper, self._scale()))

    def show_settings(self) -> None:
        """Show the page of settings."""
        from station.views.settings_page import SettingsPage

        self._turn_to(SettingsPage(self._look, self._set, scale=self._scale()))

    def _set(self, found: Preferences) -> None:
        """Go by settings that were kept just now; the page is shown anew where its look is another."""
        is_other = found.look != self._look
        self._preferences = found
        self._look, self._lengths, self._unit = found.look, found.units, found.force_unit
        self.__dict__.pop("_checks", None)  # made anew for the other unit
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
            from station.records.archive import Archive

            where = self._archive.where
            self._archive.close()
            self._archive = Archive.open(where, bench=station.name, create=True, key=self._key_file)
        self._station, self._station_file = station, file
        self.__dict__.pop("_checks", None)  # made anew for the other scale
        self.show_scale()
        if self.page is not None:
            self.page.say(f"In use, now and the next time: {file}.")

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

    def _bench_words(self) -> str:
        """Say what the bench works with."""
        if self._station is None:
            return (
                "No station file: pulls are by hand and not measured, as the record says. Set up a scale, or choose "
                "one under Scale and pedal."
            )
        return f"{self._station.name}, scale on {self._station.scale.link.url}."

    def _notice(self) -> str:
        """Say what the bench works with, and what the archive knows of its scale."""
        words = self._bench_words()
        if self._checks is None:
            return words
        standing = self._checks.standing()
        return f"{words} Archive: {self._archive.path}. {standing[:1].upper()}{standing[1:]}."

    def _set_up(self) -> None:
        """Open the first run; its station file is the bench from then on."""
        from station.first_run_app import FirstRunAt

        self.first_run = FirstRunAt(self._look, data_folder() / STATION_FILE, self._set_up_as, self._scale())
        self.first_run.page.closed.connect(self._turned_back)
        self.first_run.page.show()
        self._make_room()

    def _set_up_as(self, path: Path) -> None:
        """Go by the station file just made; its page is shown in place of the first run's."""
        if self.first_run is not None:
            self.first_run.page.closed.disconnect(self._turned_back)
        self._use(path)
        if self.first_run is not None:
            self.first_run.page.close()

    def _check(self, how: str) -> None:
        self._weigh_by(self._checks, how)

    def _measure_set(self) -> None:
        """Open a line set to measure; when its page is closed, the first page is shown again."""
        if self.start is None:
            return
        from station.app import Wire
        from station.job_app import ask_and_begin_each
        from station.set_app import measure

        open_jobs = partial(
            ask_and_begin_each, self._archive, self._station, self._ask_there, job_fields(self._station)
        )
        events: Callable[[], Sequence[Event]] = list
        if self._station is not None and (self._station.pedal is not None or self._station.gauge is not None):
            events = self._open.enter_context(Wire(self._station)).waiting
        page = measure(self._ask_there, events, open_jobs, self._look, self._lengths)
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

    def _weigh(self, work: FullCheck | DailyCheck | None, station: StationSettings) -> None:
        """Open a check of a scale; when its window is closed, the first page is shown as things are then."""
        if work is None:
            return
        from station.app import Wire
        from station.check_app import AtScale

        wire = self._open.enter_context(Wire(station.alone("scale")))
        key_pedal = isinstance(station.pedal, KeyPedal)
        self.check = AtScale(work, wire.waiting, self._look, key_pedal, muted=self._preferences.sound == "off")
        wire.on_come = self.check.window.wake
        self.check.window.closed.connect(self._left_bench)
        self._show(self.check.window)

    def _show(self, window: BenchWindow) -> None:
        """Show a window at the bench, in the place of the page that was shown."""
        if self._preferences.opens == "filling the screen":
            window.showFullScreen()
        else:
            window.resize(_room())  # read at two metres: as large as there is room
            window.showMaximized()
        window.start()
        self._make_room()

    def _left_bench(self) -> None:
        self._open.close()
        self.show(self._plan)

    def _jobs(self) -> list[tuple[str, str, str, str]]:
        from station.job_app import jobs_of

        return jobs_of(self._archive)

    def _begin(self, plan: Path, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Open a new job; give what is wrong, by field."""
        from station.job_app import begin

        job, problems = begin(self._archive, self._station, plan, answers)
        if not problems:
            self._go_on(job)
        return problems

    def _go_on(self, job: str) -> None:
        """Open the bench window on a job where its entries left it."""
        from station.app import Wire, time_alone
        from station.at_window import AtWindow
        from station.job_app import bench_of, known_today

        station, preferences = self._station, self._preferences
        bench = bench_of(self._archive, station, job, self._unit, self._lengths)
        target_mn = bench.settings.pre_stretch.target_mn
        wire = None if station is None else self._open.enter_context(Wire(station))
        self.bench = AtWindow(
            bench,
            time_alone if wire is None else wire.waiting,
            self._look,
            bool(station and isinstance(station.pedal, KeyPedal)),
            mirrored=preferences.canopy == "left",
            muted=preferences.sound == "off",
            far=preferences.seen == "from afar",
            known=lambda: known_today(self._archive, self._station, target_mn, self._unit),
        )
        if wire is not None:
            wire.on_come = self.bench.window.wake
        self.bench.window.closed.connect(self._left_bench)
        self._show(self.bench.window)


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
    lengths = preferences.units if lengths is None else lengths
    unit = "N" if lengths == "metric" else "lbf"
    signing = Path(key) if key else None

    def opened() -> Archive:
        from station.filing import default_archive
        from station.records.archive import Archive
        from station.records.store import is_server

        where = archive or default_archive()
        if archive is None and not is_server(where):
            Path(where).expanduser().parent.mkdir(parents=True, exist_ok=True)
        return Archive.open(where, bench=settings.name if settings else "Bench", create=True, key=signing)

    app = application()
    sitting = Sitting(settings, opened, look or preferences.look, lengths, unit, file, preferences, signing)
    faults: list[Exception] = []

    def read() -> None:
        """Read the archive; what it raises ends the program, and is raised where that began."""
        try:
            sitting.read()
        except Exception as fault:
            faults.append(fault)
            app.exit()
        else:
            import station.at_window  # noqa: F401 -- while the page is read, so that a job opens at once

    try:
        first = sitting.show_first(Path(plan) if plan else None)
        first.painted.connect(read)
        first.show()
        beat = QTimer()  # lets Python answer Ctrl-C while Qt waits
        beat.timeout.connect(lambda: None)
        beat.start(200)
        status = app.exec()
    finally:
        sitting.close()
    if faults:
        raise faults[0]
    return status
