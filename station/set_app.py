"""Measuring a line set at its window: which table, where what is entered is kept, and plans for the lines to remake.

What is entered goes to `NAME-measured.csv` beside the table that says what to measure, after every length; where that
file is there already the work goes on from it. No plan is written over another file.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from drivers.events import Event
from station.bench.measuring_set import MeasuringSet, begin
from station.faults import is_fault
from station.linework.line_set import LineSet, check
from station.linework.set_jobs import job_answers, write_plans
from station.linework.set_words import name_words
from station.settings.line_table import NM_PER_M, MeasuredSide
from station.settings.preferences import load_preferences
from station.settings.tables import SettingsFault
from station.units import LengthSystem, quantity
from station.views.form import Field
from station.views.palette import LookName
from station.views.set_view import SetPage
from station.views.start import MEASURE

OpenJobs = Callable[[Sequence[tuple[Path, Mapping[str, str]]]], Sequence[str]]
"""Opens a job from each plan, with what is known of its line; gives their numbers, none where the person left it."""
Ask = Callable[[str, str, Sequence[Field]], Mapping[str, str] | None]

TEXT = (
    "The table names each line and side, with its chart length where there is one (CSV: line,side,length,chart; the "
    "lengths empty). Makers permit 1/2 in to 1 in between left and right (common practice): their instructions come "
    "first."
)
FIELDS: tuple[Field, ...] = (
    Field("table", "Table of lines", required=True, hint="a .csv file"),
    Field("tolerance", "Tolerance, left to right", required=True, default="1/2 in"),
    Field("tilt", "Tolerance of tilt", required=True, default="1/2 in"),
    Field("pull", "Pull while measuring", hint="10 lbf"),
)
PLANS = "A line plan for each line"
_PLAN_FIELDS = (
    Field("template", "Template plan", required=True, hint="a .toml file of such a line"),
    Field("folder", "Folder for the plans", required=True),
)


def kept_file(table: Path) -> Path:
    """Give where the lengths entered for a table are kept."""
    return table if table.stem.endswith("-measured") else table.with_name(f"{table.stem}-measured.csv")


def keep_in(path: Path) -> Callable[[str], None]:
    """Give what keeps a text in a file: whole and on the disk, or the one before it stays."""

    def keep(text: str) -> None:
        part = path.with_name(f"{path.name}.part")
        try:
            with part.open("w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        except OSError as fault:
            raise SettingsFault(
                f"{path}: this length was not kept: {fault.strerror}; make room, enter it again"
            ) from None

    return keep


def measure(
    ask: Ask,
    events: Callable[[], Sequence[Event]],
    open_jobs: OpenJobs,
    look: LookName,
    system: LengthSystem,
    scale: float = 1.0,
) -> SetPage | None:
    """Ask which set, and open its page; None where the person leaves it. What is wrong is asked for again."""
    fields, text = FIELDS, TEXT
    while (answers := ask(MEASURE, text, fields)) is not None:
        try:
            return _page(answers, ask, events, open_jobs, look, system, scale)
        except Exception as fault:
            if not is_fault(fault):
                raise
            text = str(fault)
            fields = tuple(replace(field, default=answers.get(field.key, "")) for field in FIELDS)
    return None


def _page(
    answers: Mapping[str, str],
    ask: Ask,
    events: Callable[[], Sequence[Event]],
    open_jobs: OpenJobs,
    look: LookName,
    system: LengthSystem,
    scale: float,
) -> SetPage:
    table = Path(answers["table"]).expanduser()
    kept = kept_file(table)
    tolerance, tilt = (_above_zero(answers[key], key) * NM_PER_M for key in ("tolerance", "tilt"))
    pull_n = float(quantity(answers["pull"], "force")) if answers.get("pull") else None
    work = MeasuringSet(begin(kept if kept.exists() else table), keep_in(kept))
    if not work.asked:
        raise SettingsFault(f"{table}: has no rows; expected one for each line and side")

    def checked(sides: Sequence[MeasuredSide]) -> LineSet:
        return check(sides, tolerance, tilt)

    def beat() -> None:
        work.take(events())

    def planned(found: LineSet, sides: Sequence[MeasuredSide]) -> list[Path]:
        """Write plans as the person says; none where the person leaves it. What is wrong is asked for again."""
        names = ", ".join(map(name_words, sides))
        text = f"For {names}. Each is the template with the line's length; read it before you cut."
        fields: Sequence[Field] = (
            _PLAN_FIELDS[0],
            replace(_PLAN_FIELDS[1], default=str(kept.parent / f"{kept.stem}-plans")),
        )
        while (chosen := ask(PLANS, text, fields)) is not None:
            template, folder = (Path(chosen[key]).expanduser() for key in ("template", "folder"))
            try:
                return write_plans(found, sides, template, folder)
            except Exception as fault:
                if not is_fault(fault):
                    raise
                text = str(fault)
                fields = tuple(replace(field, default=chosen[field.key]) for field in fields)
        return []

    def plans(found: LineSet, sides: Sequence[MeasuredSide]) -> str | None:
        made = planned(found, sides)
        names = ", ".join(path.name for path in made)
        return f"Written: {names} in {made[0].parent}. Begin a job with each." if made else None

    def jobs(found: LineSet, sides: Sequence[MeasuredSide]) -> str | None:
        made = planned(found, sides)
        if not made:
            return None
        opened = open_jobs([(path, job_answers(side, pull_n, system)) for path, side in zip(made, sides, strict=True)])
        if not opened:
            return f"No job was opened. Their plans are in {made[0].parent}."
        numbers = ", ".join(f"{job} for {name_words(side)}" for job, side in zip(opened, sides, strict=True))
        return f"Opened: {numbers}. Each goes on from the first page."

    def page(found: LineSet, _: Sequence[MeasuredSide]) -> str:
        from station.records.set_page import set_page

        target = kept.with_suffix(".pdf")
        try:
            target.write_bytes(set_page(found, table.name, system, pull_n, load_preferences().paper))
        except OSError as fault:
            raise SettingsFault(f"{target}: cannot be written: {fault.strerror}") from None
        return f"Written: {target}."

    return SetPage(look, table.stem, work, checked, beat, plans, jobs, page, system=system, pull_n=pull_n, scale=scale)


def _above_zero(text: str, what: str) -> Fraction:
    length = quantity(text, "length")
    if not 0 < length <= 100:
        raise SettingsFault(f"{what}: found {text!r}, expected a length above zero")
    return length
