"""Jobs of an archive: listed with where each stands, begun from a plan and answers, laid on the bench to go on with."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from station.bench.bench import Bench
from station.bench.bench_settings import BenchSettings
from station.bench.snapshot import Words
from station.faults import is_fault
from station.filing import Filer, job_state, next_piece, wall_clock
from station.learned import learned
from station.linework.line_plan import make_plan
from station.linework.traps import PlanFault
from station.one_hold import software
from station.records.archive import Archive, ArchiveFault
from station.records.entries import JobOpened, line_called
from station.scale_today import ScaleRecord, ScaleToday
from station.settings.hold import HoldSpecification
from station.settings.preferences import shop_folder
from station.settings.reline import job_text
from station.settings.shop import hold_named
from station.settings.station import ScaleSettings, StationSettings, check_capacity
from station.settings.tables import SettingsFault, Table
from station.units import LengthSystem, QuantityFault, force_mn
from station.views.form import Field
from station.views.job_forms import AS_THE_FILE, STATION_HOLD
from station.views.start import PLAN_KEY

_LISTED = ("entry.title", "entry.side", "entry.number", "entry.canopy.type", "entry.plan_toml")


def jobs_of(archive: Archive) -> list[tuple[str, str, str, str]]:
    """Give the jobs with a plan: identity, which line, canopy, and in words where each stands.

    The entries of one that is signed off are not read: of a shop's years those are nearly all.
    """
    signed = {each.job for each in archive.said("signed-off", ())}
    rows = []
    for each in archive.said("job-opened", _LISTED):
        title, side, number, canopy, plan_toml = each.told
        if not plan_toml:
            continue
        try:
            where = "signed off" if each.job in signed else _stands(archive, each.job)
        except Exception as fault:
            if not is_fault(fault):
                raise
            where = f"cannot be read: {fault}"
        rows.append((each.job, line_called(title, side, number), canopy, where))
    return sorted(rows)


def begin(
    archive: Archive, station: StationSettings | None, plan: Path, answers: Mapping[str, str]
) -> tuple[str, Mapping[str, str]]:
    """Open a new job; give its identity, or what is wrong, by field."""
    opened, problems = begin_each(archive, station, [(plan, answers)])
    return (opened[0] if opened else ""), problems


def begin_each(
    archive: Archive, station: StationSettings | None, jobs: Sequence[tuple[Path, Mapping[str, str]]]
) -> tuple[list[str], Mapping[str, str]]:
    """Open a job from each plan with its answers; give their identities, or none and what is wrong, by field.

    Raises `ArchiveFault` where one cannot be kept; it names those that were opened before.
    """
    openings: list[JobOpened] = []
    for plan, answers in jobs:
        opening = _opening(archive, station, plan, answers)
        if not isinstance(opening, JobOpened):
            return [], opening
        openings.append(opening)
    opened: list[str] = []
    for opening in openings:
        job = archive.new_job_id(wall_clock().year, station.mark if station else "")
        try:
            Filer(archive)(replace(opening, job=job))
        except ArchiveFault as fault:
            if not opened:
                raise
            raise ArchiveFault(f"opened before this: {', '.join(opened)}; {fault}") from fault
        opened.append(job)
    return opened, {}


def ask_and_begin_each(
    archive: Archive,
    station: StationSettings | None,
    ask: Callable[[str, str, Sequence[Field]], Mapping[str, str] | None],
    fields: Sequence[Field],
    lines: Sequence[tuple[Path, Mapping[str, str]]],
) -> Sequence[str]:
    """Ask once what all these lines' jobs share, and open each from its plan; give none where the person leaves it.

    Of each line comes its plan, and the answers that are its own. What is wrong is asked for again.
    """
    own = {key for _, known in lines for key in known}
    text = f"For {', '.join(known['title'] for _, known in lines)}. What is said here goes into each of these jobs."
    fields = [field for field in fields if field.key not in own]
    while (answers := ask("Open a job for each line", text, fields)) is not None:
        opened, problems = begin_each(archive, station, [(plan, {**answers, **known}) for plan, known in lines])
        if not problems:
            return opened
        text = " ".join(problems.values())
        fields = [replace(field, default=answers[field.key]) for field in fields]
    return []


def answers_in(file: Path | str, fields: Sequence[Field]) -> dict[str, str]:
    """Read what is answered to a new job's fields from a file, by their keys: `worker` of [people], `hold` of [job].

    Raises `SettingsFault` as for any settings file; what must be answered and has no default must stand there.
    """
    top = Table.load(file)
    tables: dict[str, Table] = {}
    answers: dict[str, str] = {}
    for field in fields:
        group, name = f"job.{field.key}".split(".")[-2:]
        if group not in tables:
            tables[group] = top.table(group, Table(str(file), group, {}))
        table = tables[group]
        default = {} if field.required and not field.default else {"default": field.default}
        answer = table.one_of(name, field.choices, **default) if field.choices else table.text(name, **default)
        if field.required and not answer.strip():
            raise table.fault(name, "is empty and is required")
        answers[field.key] = answer.strip()
    for table in (*tables.values(), top):
        table.done()
    return answers


def _opening(
    archive: Archive, station: StationSettings | None, plan: Path, answers: Mapping[str, str]
) -> JobOpened | Mapping[str, str]:
    """Give what opens a job, without its number yet, or what is wrong, by field."""
    try:
        text, settings, sides = job_text(plan, lambda: learned(archive).counted())
        make_plan(settings)
    except (OSError, UnicodeDecodeError) as fault:
        return {PLAN_KEY: f"{plan}: cannot be read: {fault}"}
    except (SettingsFault, PlanFault, tomllib.TOMLDecodeError) as fault:
        return {PLAN_KEY: str(fault)}
    try:
        _hold_named(station, answers["hold"], answers.get("rated_strength", ""))
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
    return JobOpened(
        job="",
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


def bench_of(archive: Archive, station: StationSettings | None, job: str, unit: str, lengths: LengthSystem) -> Bench:
    """Give the bench with a job on it where its entries left it. Raises the faults of the archive and of settings."""
    _, of = archive.job_names().read(job)
    if of not in (None, archive.bench):
        raise ArchiveFault(f"{job}: {archive.bench} has a job of that number too; go on with this one at {of}")
    state = job_state(archive, job)
    named = state.opened.measuring
    hold = _hold_named(station, str(named.get("pre_stretch") or "main-hmpe"), str(named.get("rated_strength") or ""))
    if station is not None and state.method == "two cells" and station.second_scale is None:
        raise SettingsFault(
            "comparing with two cells needs a second one: [second_scale] is missing from the station file; "
            "declare it with the keys of [scale]"
        )
    known = known_today(archive, station, hold.target_mn, unit)
    second = station.second_scale if station else None
    settings = BenchSettings(
        pre_stretch=hold,
        uncertainty=known.uncertainty,
        response_us=station.scale.response_us if station else None,
        scale=station.scale.link.url if station else None,
        scale_words=known.words,
        unit=unit,
        lengths=lengths,
        next_piece=next_piece(archive),
        pedal=bool(station and station.pedal),
        gauge=None if station is None or station.gauge is None else 1 if station.gauge.rising_is_long else -1,
        second_uncertainty=None if second is None else _today(archive, second, hold.target_mn, unit).uncertainty,
    )
    return Bench(state, settings, Filer(archive))


def known_today(archive: Archive, station: StationSettings | None, target_mn: int, unit: str) -> ScaleToday:
    """Give what is known of the scale today."""
    if station is None:
        return ScaleToday(None, Words("no scale: pulled by hand, not measured", "quiet"))
    return _today(archive, station.scale, target_mn, unit)


def _today(archive: Archive, scale: ScaleSettings, target_mn: int, unit: str) -> ScaleToday:
    now = wall_clock().astimezone()
    return ScaleRecord.of(archive, scale.link.url).today(scale, target_mn, now, unit)


def _hold_named(station: StationSettings | None, name: str, rated_strength: str) -> HoldSpecification:
    own = station.hold if station else None
    if name == STATION_HOLD:
        if own is None:
            raise SettingsFault(
                "its pre-stretch is the one of the station file it was begun with, and the station in use has none; "
                "choose that file under Scale and pedal, or give it [hold]"
            )
        return own
    hold = hold_named(name, shop_folder(), force_mn(rated_strength) if rated_strength else None)
    if station is not None:
        check_capacity(name, hold, station.scale)
    return hold


def _stands(archive: Archive, job: str) -> str:
    state = job_state(archive, job)
    step = state.now
    if step is None:
        return "all steps done"
    name = state.unit_of(step).name
    return f"next: {'' if name in step.label else f'{name}, '}{step.label}"  # of a set, in which line
