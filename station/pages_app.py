"""The pages beside the bench, each with what it needs of the station, the archive and the shop's folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from drivers.events import Event
from station.app import Wire
from station.check_app import ScaleChecks
from station.faults import is_fault
from station.learned import learned
from station.records.archive import Archive
from station.records.entries import JobOpened
from station.records.register import JobLine, register
from station.records.store import is_server
from station.records.words import count
from station.settings import shop
from station.settings.preferences import Paper, data_folder, shop_folder
from station.settings.tables import SettingsFault
from station.settings.trials import load_trials
from station.settings.writing import values_of
from station.units import LengthSystem, Said
from station.views.archive_page import ArchivePage, FiledJob
from station.views.palette import LookName
from station.views.plan_page import PlanPage, plan_shelf
from station.views.reline_page import RelinePage
from station.views.scale_forms import Instrument
from station.views.scale_page import Known, ScalePage
from station.views.shelf_page import HOLDS, MATERIALS, ShelfPage
from station.views.start import DAILY, FULL


def hold_page(look: LookName, archive: Archive, scale: float = 1.0) -> ShelfPage:
    """Give the page of hold specifications."""
    shelf = shop.holds(shop_folder())
    return ShelfPage(look, shelf, HOLDS, named_by=lambda name: _jobs_with_hold(archive, name), scale=scale)


def material_page(look: LookName, archive: Archive, trials: Callable[[], None], scale: float = 1.0) -> ShelfPage:
    """Give the page of materials, each with how many of the shop's own trials there are; `trials` shows them."""
    folder = shop_folder()

    def named_by(name: str) -> str:
        return _plans_with_material(folder, name) or _jobs_with_material(archive, name)

    more = lambda name: trials_words(folder, name, archive)  # noqa: E731 -- as short as it is
    page = ShelfPage(look, shop.materials(folder), MATERIALS, more=more, named_by=named_by, scale=scale)
    page.button("Trials").clicked.connect(lambda _checked: trials() if page.may_leave() else None)
    return page


def plan_page(
    look: LookName,
    archive: Archive,
    use: Callable[[Path], None],
    lengths: LengthSystem,
    *,
    mirrored: bool,
    scale: float = 1.0,
) -> PlanPage:
    """Give the page of line plans. `use` takes the file of a plan that a job is to be begun from.

    The archive is asked for its trials once, when a plan first wants them.
    """
    folder = shop_folder()
    trials = cache(lambda: learned(archive).counted())
    names = [sheet.name for sheet in shop.materials(folder).sheets() if not sheet.fault]
    shelf, said = plan_shelf(folder, trials), Said(lengths)
    more: dict[str, Any] = {
        "materials": names,
        "learned": trials,
        "named_by": lambda name: _relines_with_plan(shelf, name),
    }
    return PlanPage(look, shelf, use, said=said, mirrored=mirrored, scale=scale, **more)


def reline_page(look: LookName, archive: Archive, use: Callable[[Path], None], scale: float = 1.0) -> RelinePage:
    """Give the page of whole relines. `use` takes the file of one that a job is to be begun from."""
    folder = shop_folder()
    trials = cache(lambda: learned(archive).counted())
    return RelinePage(look, folder, plan_shelf(folder, trials).sheets(), use, learned=trials, scale=scale)


def _jobs_with_hold(archive: Archive, name: str) -> str:
    """Say which jobs are pulled by a hold: they are opened with it again."""
    return _named([job for job, opened in _opened(archive) if opened.measuring.get("pre_stretch") == name], "is pulled")


def _jobs_with_material(archive: Archive, name: str) -> str:
    jobs = [job for job, opened in _opened(archive) if _asks_for(opened.plan_toml or "", name)]
    return _named(jobs, "is worked out")


def _plans_with_material(folder: Path, name: str) -> str:
    plans = plan_shelf(folder).sheets()
    return _named(
        [f"the plan {each.name}" for each in plans if each.own and _asks_for(each.text, name)], "is worked out"
    )


def _relines_with_plan(shelf: shop.Shelf, name: str) -> str:
    """Say which whole relines beside the plans name one by its file."""
    files = {sheet.path.name for sheet in shelf.sheets() if sheet.own and sheet.name == name}
    found: list[str] = []
    for path in sorted(shelf.folder.glob("*.toml")):
        try:
            values = values_of(path.read_text(encoding="utf-8-sig"))
        except (OSError, UnicodeDecodeError, SettingsFault):
            continue
        if any(key.startswith("lines.") and key.endswith(".plan") and text in files for key, text in values.items()):
            found.append(path.name)
    return _named(found, "is made")


def _named(what: Sequence[str], done: str) -> str:
    rest = f" and {len(what) - 1} more" if len(what) > 1 else ""
    return f"{what[0]} {done} by it{rest}" if what else ""


def _asks_for(plan_toml: str, material: str) -> bool:
    try:
        return any(key.endswith("material") and text == material for key, text in values_of(plan_toml).items())
    except SettingsFault:
        return False


def _opened(archive: Archive) -> Iterator[tuple[str, JobOpened]]:
    for job in archive.jobs():
        first = next((row.entry for row in archive.entries(job)), None)
        if isinstance(first, JobOpened):
            yield job, first


def trials_words(folder: Path, material: str, archive: Archive) -> str:
    """Say how many trials of a material the archive's own jobs gave, and which files in the shop's folder have some."""
    said: list[str] = []
    if made := sum(trial.material == material for trial in learned(archive).counted()):
        said.append(f'{count(made, "trial")} of it in the archive; a plan with trials = "the archive" uses them.')
    for path in sorted((folder / "trials").glob("*.csv")):
        try:
            found = sum(trial.material == material for trial in load_trials(path))
        except Exception as fault:
            if not is_fault(fault):
                raise
            said.append(str(fault))
            continue
        if found:
            trials = count(found, "trial")
            said.append(f"{trials} of it in {path}; a plan that names the file uses them.")
    return " ".join(said) or f"No trials of it in the archive or in {folder / 'trials'}."


def archive_page(
    look: LookName, archive: Archive, jobs: Sequence[tuple[str, str]], paper: Paper, scale: float = 1.0
) -> ArchivePage:
    """Give the page of the archive. `jobs` are numbers with where each stands, as far as it is known."""
    beside = data_folder() if is_server(archive.where) else Path(archive.path).parent
    stands = dict(jobs)
    filed = [FiledJob(line.job, _about(line, stands.get(line.job, ""))) for line in reversed(register(archive))]
    return ArchivePage(look, str(archive.where), filed, beside / "records", paper=paper, scale=scale)


def _about(line: JobLine, stands: str) -> str:
    if not line.called:
        return "its first entry is not that of a job"
    lots = [f"{of} lot {lot}" for of, lot in (("line", line.lot), ("thread", line.thread_lot)) if lot]
    words = [line.canopy.get("type"), line.canopy.get("serial"), line.people.get("worker"), line.owner.get("name")]
    return f"{line.called}\n" + " · ".join(str(word) for word in (line.opened[:10], *words, *lots, stands) if word)


def scale_page(
    look: LookName,
    file: Path | None,
    checks: ScaleChecks | None,
    use: Callable[[Path], None],
    weigh: Callable[[ScaleChecks, str], None],
    *,
    shown: Instrument,
    turn: Callable[[Instrument], None],
    describe: Callable[[], None],
    set_up: Callable[[], None],
    scale: float = 1.0,
) -> ScalePage:
    """Give the page of scales, gauge and pedal; `checks` are those of the scale that is shown, if it is one.

    `weigh` begins a full or a daily check, by its words.
    """
    more: dict[str, Any] = {"shown": shown, "scale": scale, "turn": turn}
    if file is None:
        return ScalePage(look, file, use, describe=describe, set_up=set_up, scale=scale)
    if checks is None:
        return ScalePage(look, file, use, **more)

    @contextmanager
    def hear() -> Iterator[Callable[[], Sequence[Event]]]:
        with Wire(checks.station) as wire:
            yield wire.waiting

    known = Known(checks.standing(), checks.until())
    more |= {"full": lambda: weigh(checks, FULL), "daily": lambda: weigh(checks, DAILY)}
    return ScalePage(look, file, use, known, hear, **more)
