"""A line plan for each line of a set that is to be remade, from a template plan for such lines.

Written into the template: the plan's name with the line and its side, the finished length of its first line, which must
be a main line, and what it is matched to: its chart, or without one its opposite number. Trials that the template names
by their file, which lies beside it, are written in, since the plan may lie elsewhere. All else stays as it stands,
comments too, and the text must read back as just that, or it is refused.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from station.linework.line_set import LineSet
from station.linework.set_words import SIDES, name_words, nm_words
from station.settings.line_table import NM_PER_M, MeasuredSide
from station.settings.plan import ARCHIVE, Joint, PlanSettings, load_plan, plan_text, read_plan, sources_of
from station.settings.tables import SettingsFault, Table
from station.units import LengthSystem, force_text

_PLAN = re.compile(r"(?ms)^\s*\[plan\]\s*?(?:#[^\n]*)?\n(?P<body>.*?)(?=^\s*\[|\Z)")
_LINE = re.compile(r"(?ms)^\s*\[\[line\]\]\s*?(?:#[^\n]*)?\n(?P<body>.*?)(?=^\s*\[|\Z)")


def plan_for(found: LineSet, side: MeasuredSide, template: Path | str) -> str:
    """Give the text of the plan for one line to remake. Raises `SettingsFault` where the template does not serve."""
    template = Path(template)
    plan = load_plan(template)
    named = {source.trials_file for source in sources_of(plan)} - {"", ARCHIVE}
    text = plan_text(template) if named else template.read_text(encoding="utf-8-sig")
    if isinstance(plan.lines[0].link_end, Joint):
        raise SettingsFault(f"{template}: its first line joins another; expected a main line first")
    try:
        length_m = float(found.target_nm(side) / NM_PER_M)
    except KeyError:
        raise SettingsFault(
            f"{name_words(side)}: has neither chart length nor opposite number; measure the other side first"
        ) from None
    reference = "opposite number" if side.chart_nm is None else "chart"
    name = f"{plan.name}: {name_words(side)}"
    text = _set_in(text, _PLAN, "name", name)
    text = _set_in(text, _PLAN, "reference", reference)
    text = _set_in(text, _LINE, "length", f"{length_m!r} m")
    try:
        made: PlanSettings | None = read_plan(Table(str(template), "", tomllib.loads(text)))
    except (tomllib.TOMLDecodeError, SettingsFault):
        made = None
    first = replace(plan.lines[0], length_m=length_m)
    if made != replace(plan, name=name, reference=reference, lines=(first, *plan.lines[1:])):
        raise SettingsFault(
            f"{template}: name, reference or length could not be written into it; put each on a line of its own"
        )
    return text


def file_name(side: MeasuredSide) -> str:
    """Give the name of a plan's file: letters and figures of the line, and its side."""
    return "".join(each if each.isalnum() else "-" for each in name_words(side)) + ".toml"


def write_plans(found: LineSet, sides: Sequence[MeasuredSide], template: Path, folder: Path) -> list[Path]:
    """Write a plan for each side to remake; all or none. Raises `SettingsFault`, also where another plan is there."""
    plans = {folder / file_name(side): plan_for(found, side, template) for side in sides}
    there = {path for path in plans if path.exists()}
    for path in there:
        if path.read_bytes() != plans[path].encode():
            raise SettingsFault(f"{path}: is there already; move it away, or name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in plans.items():
            if path not in there:
                with path.open("x", encoding="utf-8", newline="") as file:
                    file.write(text)
    except OSError as fault:
        raise SettingsFault(f"{folder}: cannot be written: {fault.strerror}") from None
    return list(plans)


def job_answers(side: MeasuredSide, pull_n: float | None, system: LengthSystem) -> dict[str, str]:
    """Give what a job for a line's remaking is opened with, as far as the set knows it."""
    under = "" if pull_n is None else f" under {force_text(pull_n, 'N' if system == 'metric' else 'lbf')}"
    return {
        "title": name_words(side),
        "side": SIDES[side.side],
        "number": side.line,
        "line.removed": f"{nm_words(side.length_nm, system)}{under}",
    }


def sides_named(found: LineSet, names: Sequence[str]) -> list[MeasuredSide]:
    """Give the sides of these names, as "A2 left" or "A2 L". Raises `SettingsFault` for one that was not measured."""
    known = {name.casefold(): side for side in found.sides for name in (name_words(side), side.name)}
    for name in names:
        if name.casefold() not in known:
            measured = ", ".join(map(name_words, found.sides))
            raise SettingsFault(f"--line: found {name!r}, expected a line and its side, of those measured: {measured}")
    return list(dict.fromkeys(known[name.casefold()] for name in names))


def _set_in(text: str, table: re.Pattern[str], key: str, value: str) -> str:
    """Write a key of the first such table, in place of the one there or as its first."""
    found = table.search(text)
    if found is None:
        return text
    body, written = found["body"], f"{key} = {json.dumps(value, ensure_ascii=False)}"
    there = re.compile(rf"(?m)^[ \t]*{key}[ \t]*=[ \t]*(?:\"[^\"\n]*\"|'[^'\n]*')")
    changed = there.sub(lambda _: written, body, count=1) if there.search(body) else f"{written}\n{body}"
    return text[: found.start("body")] + changed + text[found.end("body") :]
