"""A plan of lines as a person writes it: what the lines are, how their ends are trapped, what is known of the errors.

Form is checked here: every key known, every quantity with its unit, nothing below zero. Whether the work can be done
(traps that clash, a line that joins itself) is `station.linework`'s to say. A figure not given is None, unknown; only
`spare` and `minimum_trap` are 0 and `pull_share` is 1/4 where the file is silent. `read_plan` takes the table of a
file already read, so that a plan needs no file.

A lower control line, say, has a loop in mid-line for the brakes and a mark for the toggle:

    [[line]]
    name = "lower control"
    lot = "L7"                                          # trials of this lot are the ones that count
    link_end = { loop = "1 in", trap = "17 in" }        # folded here; the running end comes out at the brake loop
    loops = [{ name = "brake loop", at = "18 in", loop = "1 in", trap = "4 in", leg = "running end" }]
    marks = [{ name = "toggle", at = "60 in" }]
    canopy_end = { trap = "5 in" }

>>> plan = read_plan(Table("a.toml", "", {
...     "plan": {"name": "centre A", "pull": "10 lbf", "tolerance": "1/2 in"},
...     "shrinkage": {"coefficient": 0.0625},
...     "line": [{"name": "A", "link_end": {"loop": "1 1/2 in", "trap": "5 in"}, "canopy_end": {"trap": "5 in"}}],
... }))
>>> plan.lines[0].link_end.loop_m, plan.lines[0].length_m, plan.shrinkage.standard_uncertainty
(0.0381, None, None)
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, get_args

from station import units
from station.settings.materials import MaterialSettings, material_named
from station.settings.tables import SettingsFault, Table, bounded, plain_number, whole_number
from station.settings.trials import Trial, load_trials

ARCHIVE = "the archive"
"""Written in a trials file's place: the trials are those of the jobs in the archive."""

REFERENCES = ("opposite number", "adjacent line", "chart", "old line")
_LONGEST_NAME = 60
# Past these a length is a slip of the pen, and too far from the others to be reckoned with beside them.
_LONGEST_M, _SHORTEST_M = 10_000.0, 1e-6

Leg = Literal["own piece", "running end"]


@dataclass(frozen=True)
class SewingSettings:
    """A tack on a trap: a bar tack of so many stitches, or a zigzag of so many per inch."""

    kind: Literal["bar-tack", "zigzag"]
    length_m: float
    stitches: int | None  # of a bar tack
    per_inch: float | None  # of a zigzag
    from_entry_m: float = 0.0
    taper_m: float | None = None


@dataclass(frozen=True)
class ShrinkageSettings:
    """Where a shortening comes from: typed in, a material's braid, the shop's trials, or trials upon a material.

    `trials_file` is where the trials were read, for messages; '' where they stand in the plan itself, and `ARCHIVE`
    where they are those of the archive, which only `load_plan` and `plan_text` can be given.
    """

    coefficient: float | None = None
    standard_uncertainty: float | None = None
    material: MaterialSettings | None = None
    trials: tuple[Trial, ...] = ()
    trials_file: str = field(default="", compare=False)


@dataclass(frozen=True)
class LinkEnd:
    """A line's own end at the connector link: a loop of `loop_m` height, trapped in its own line."""

    loop_m: float
    trap_m: float
    minimum_trap_m: float | None = None
    sewing: SewingSettings | None = None
    shrinkage: ShrinkageSettings | None = None


@dataclass(frozen=True)
class Joint:
    """A cascade's lower end: it enters line `joins` at `at_m` and runs down inside it."""

    joins: str
    at_m: float
    trap_m: float
    minimum_trap_m: float | None = None
    sewing: SewingSettings | None = None
    shrinkage: ShrinkageSettings | None = None


@dataclass(frozen=True)
class CanopyEnd:
    """A line's end at its attachment: a loop, a knot or both, and a trap in its own line."""

    trap_m: float
    loop_m: float = 0.0
    knot_m: float = 0.0
    minimum_trap_m: float | None = None
    sewing: SewingSettings | None = None
    shrinkage: ShrinkageSettings | None = None


@dataclass(frozen=True)
class MidLoop:
    """A loop in mid-line: from `at_m`, its end nearer the link, a second leg lies beside the line for `loop_m`.

    The leg is a short piece of its own, trapped `trap_m` deep below the loop and above it; or it is the running end of
    the link end, which comes out where the loop begins, and goes in again above it.
    """

    name: str
    at_m: float
    loop_m: float
    trap_m: float
    leg: Leg = "own piece"
    minimum_trap_m: float | None = None
    sewing: SewingSettings | None = None
    shrinkage: ShrinkageSettings | None = None


@dataclass(frozen=True)
class HeightMark:
    """A plain mark that ends up at a finished height: where a toggle goes, where a grommet stops."""

    name: str
    at_m: float


@dataclass(frozen=True)
class LineSettings:
    """One line: one piece with two ends. Without a length it matches its reference, and marks are offsets alone."""

    name: str
    link_end: LinkEnd | Joint
    canopy_end: CanopyEnd
    length_m: float | None = None
    stiffness_n: float | None = None
    shrinkage: ShrinkageSettings | None = None
    material: MaterialSettings | None = None
    lot: str = ""
    loops: tuple[MidLoop, ...] = ()
    marks: tuple[HeightMark, ...] = ()


@dataclass(frozen=True)
class PlanSettings:
    """A whole plan; `file` is where it was read, for messages."""

    file: str
    name: str
    pull_n: float
    tolerance_m: float
    lines: tuple[LineSettings, ...]
    reference: str = REFERENCES[0]
    comparing_uncertainty_n: float | None = None
    mark_uncertainty_m: float | None = None
    eye_uncertainty_m: float | None = None
    pull_share: float = 0.25
    spare_m: float = 0.0
    minimum_trap_m: float = 0.0
    shrinkage: ShrinkageSettings | None = None


Learned = Callable[[], Sequence[Trial]]


def load_plan(path: Path | str, learned: Learned | None = None, at: Path | None = None) -> PlanSettings:
    """Read a plan file; `learned` gives the archive's trials, and is asked only where the plan wants them.

    It is read as one that will stand `at`, where that is given: from there a file of trials is named.

    Raises `SettingsFault` naming the file, the key, what was found and what was expected.
    """
    top = Table.load(path)
    top = top if at is None else Table(str(at), "", {key: top.get(key, lambda value: value) for key in top})
    plan = read_plan(top)
    return with_learned(plan, learned)


def with_learned(plan: PlanSettings, learned: Learned | None) -> PlanSettings:
    """Give a plan that asks for the archive's trials those that were learned; any other as it is."""
    if learned is None or not any(source.trials_file == ARCHIVE for source in sources_of(plan)):
        return plan
    trials = tuple(learned())

    def filled(source: ShrinkageSettings | None) -> ShrinkageSettings | None:
        return source if source is None or source.trials_file != ARCHIVE else replace(source, trials=trials)

    lines = [
        replace(
            line,
            shrinkage=filled(line.shrinkage),
            link_end=replace(line.link_end, shrinkage=filled(line.link_end.shrinkage)),
            canopy_end=replace(line.canopy_end, shrinkage=filled(line.canopy_end.shrinkage)),
            loops=tuple(replace(loop, shrinkage=filled(loop.shrinkage)) for loop in line.loops),
        )
        for line in plan.lines
    ]
    return replace(plan, shrinkage=filled(plan.shrinkage), lines=tuple(lines))


def plan_text(path: Path | str, learned: Learned | None = None) -> str:
    """Give a plan file's text with the trials it names written into it, so that it needs no other file.

    What is kept with a job must say the same in ten years. Raises `SettingsFault` as `load_plan` does, and where the
    text cannot be made to say the same.
    """
    path = Path(path)
    plan, text = load_plan(path, learned), path.read_text(encoding="utf-8-sig")
    trials = {source.trials_file: source.trials for source in sources_of(plan) if source.trials_file}

    def written_in(found: re.Match[str]) -> str:
        if found["file"] not in trials:
            return found[0]
        return f"trials = [{', '.join(map(_trial_text, trials[found['file']]))}]"

    text = re.sub(r"""trials\s*=\s*(?P<quote>["'])(?P<file>[^"'\n]+)(?P=quote)""", written_in, text)
    try:
        again = read_plan(Table(str(path), "", tomllib.loads(text)))
    except tomllib.TOMLDecodeError:
        again = None
    if again != plan or any(source.trials_file for source in sources_of(again)):
        raise SettingsFault(f"{path}: its trials cannot be kept with it; write them into it, as trials = [{{ ... }}]")
    return text


def sources_of(plan: PlanSettings) -> list[ShrinkageSettings]:
    """Give every source of a shortening that a plan names."""
    found = [plan.shrinkage]
    for line in plan.lines:
        found += [each.shrinkage for each in (line, line.link_end, line.canopy_end, *line.loops)]
    return [each for each in found if each is not None]


def _trial_text(trial: Trial) -> str:
    told = ("lot", "guest", "material", *(["made"] if trial.made else []))
    words = [f"{key} = {json.dumps(getattr(trial, key), ensure_ascii=False)}" for key in told]
    if trial.standard_uncertainty_m is not None:
        words.append(f'uncertainty = "{trial.standard_uncertainty_m!r} m"')
    return f'{{ trap = "{trial.trap_m!r} m", shortening = "{trial.shortening_m!r} m", {", ".join(words)} }}'


def read_plan(top: Table) -> PlanSettings:
    """Read a plan from the top table of a file."""
    plan = top.table("plan")
    shrinkage = top.table("shrinkage", None)
    sewing_table = top.table("sewing", None)
    sewing = _sewing(sewing_table) if sewing_table is not None else None
    line_tables = top.tables("line")
    if not line_tables:
        raise SettingsFault(f"{top.file}: [line] is missing and is required: one [[line]] for each line")
    settings = PlanSettings(
        file=top.file,
        name=plan.get("name", _name),
        pull_n=plan.get("pull", _above_zero_force_n),
        tolerance_m=plan.get("tolerance", _above_zero_m),
        lines=tuple(_line(table, sewing) for table in line_tables),
        reference=plan.one_of("reference", REFERENCES, REFERENCES[0]),
        comparing_uncertainty_n=plan.get("comparing_uncertainty", _zero_up_force_n, None),
        mark_uncertainty_m=plan.get("mark_uncertainty", _zero_up_m, None),
        eye_uncertainty_m=plan.get("eye_uncertainty", _zero_up_m, None),
        pull_share=plan.get("pull_share", _share, 0.25),
        spare_m=plan.get("spare", _zero_up_m, 0.0),
        minimum_trap_m=plan.get("minimum_trap", _zero_up_m, 0.0),
        shrinkage=_shrinkage(shrinkage) if shrinkage is not None else None,
    )
    plan.text("source", "")
    plan.done()
    top.done()
    return settings


def _line(table: Table, sewing: SewingSettings | None) -> LineSettings:
    name = table.get("name", _name)
    table.name = f"line {name}"
    link_end = table.table("link_end")
    canopy_end = table.table("canopy_end")
    shrinkage = table.table("shrinkage", None)
    line = LineSettings(
        name=name,
        link_end=_link_end(link_end, sewing),
        canopy_end=_canopy_end(canopy_end, sewing),
        length_m=table.get("length", _above_zero_m, None),
        stiffness_n=table.get("stiffness", _above_zero_force_n, None),
        shrinkage=_shrinkage(shrinkage) if shrinkage is not None else None,
        material=table.get("material", _material, None),
        lot=table.get("lot", _name, ""),
        loops=tuple(_loop(below, sewing) for below in table.tables("loops")),
        marks=tuple(_mark(below) for below in table.tables("marks")),
    )
    table.done()
    return line


def _loop(table: Table, sewing: SewingSettings | None) -> MidLoop:
    loop = MidLoop(
        name=table.get("name", _name),
        at_m=table.get("at", _above_zero_m),
        loop_m=table.get("loop", _zero_up_m),
        trap_m=table.get("trap", _zero_up_m),
        leg="running end" if table.one_of("leg", get_args(Leg), "own piece") == "running end" else "own piece",
        minimum_trap_m=table.get("minimum_trap", _zero_up_m, None),
        sewing=_sewing_of_end(table, sewing),
        shrinkage=_shrinkage_of_end(table),
    )
    table.done()
    return loop


def _mark(table: Table) -> HeightMark:
    mark = HeightMark(table.get("name", _name), table.get("at", _zero_up_m))
    table.done()
    return mark


def _link_end(table: Table, sewing: SewingSettings | None) -> LinkEnd | Joint:
    end: LinkEnd | Joint
    if "joins" in table:
        if "loop" in table:
            raise table.fault("loop", "found beside joins; a line that joins another has no loop there")
        end = Joint(
            joins=table.get("joins", _name),
            at_m=table.get("at", _above_zero_m),
            trap_m=table.get("trap", _zero_up_m),
            minimum_trap_m=table.get("minimum_trap", _zero_up_m, None),
            sewing=_sewing_of_end(table, sewing),
            shrinkage=_shrinkage_of_end(table),
        )
    else:
        if "at" in table:
            raise table.fault("at", "found without joins; write which line it joins, or leave at out")
        end = LinkEnd(
            loop_m=table.get("loop", _zero_up_m),
            trap_m=table.get("trap", _zero_up_m),
            minimum_trap_m=table.get("minimum_trap", _zero_up_m, None),
            sewing=_sewing_of_end(table, sewing),
            shrinkage=_shrinkage_of_end(table),
        )
    table.done()
    return end


def _canopy_end(table: Table, sewing: SewingSettings | None) -> CanopyEnd:
    end = CanopyEnd(
        trap_m=table.get("trap", _zero_up_m),
        loop_m=table.get("loop", _zero_up_m, 0.0),
        knot_m=table.get("knot", _zero_up_m, 0.0),
        minimum_trap_m=table.get("minimum_trap", _zero_up_m, None),
        sewing=_sewing_of_end(table, sewing),
        shrinkage=_shrinkage_of_end(table),
    )
    table.done()
    return end


def _sewing_of_end(table: Table, whole_plan: SewingSettings | None) -> SewingSettings | None:
    own = table.table("sewing", None)
    return _sewing(own) if own is not None else whole_plan


def _shrinkage_of_end(table: Table) -> ShrinkageSettings | None:
    own = table.table("shrinkage", None)
    return _shrinkage(own) if own is not None else None


def _sewing(table: Table) -> SewingSettings | None:
    kind = table.one_of("kind", ("bar-tack", "zigzag", "none"))
    if kind == "none":
        table.done()
        return None
    sewing = SewingSettings(
        kind="bar-tack" if kind == "bar-tack" else "zigzag",
        length_m=table.get("length", _above_zero_m),
        stitches=table.get("stitches", _above_zero_count) if kind == "bar-tack" else None,
        per_inch=table.get("per_inch", _above_zero_number) if kind == "zigzag" else None,
        from_entry_m=table.get("from_entry", _zero_up_m, 0.0),
        taper_m=table.get("taper", _zero_up_m, None),
    )
    table.done()
    return sewing


def _shrinkage(table: Table) -> ShrinkageSettings:
    def trials(value: Any) -> tuple[Trial, ...]:
        if isinstance(value, list):
            return tuple(_trial(below, row) for row, below in enumerate(table.tables("trials"), 1))
        if not isinstance(value, str):
            raise ValueError(f"found {value!r}, expected the name of a trials file in quotes")
        return () if value == ARCHIVE else tuple(load_trials(Path(table.file).parent / value))

    if "coefficient" in table:
        for other in ("material", "trials"):
            if other in table:
                raise table.fault(other, "found beside coefficient; the shortening has one source, give one of them")
    elif "material" not in table and "trials" not in table:
        table.get("coefficient", _coefficient)
    settings = ShrinkageSettings(
        coefficient=table.get("coefficient", _coefficient, None),
        standard_uncertainty=table.get("standard_uncertainty", _zero_up_number, None),
        material=table.get("material", _material, None),
        trials=table.get("trials", trials, ()),
        trials_file=table.get("trials", lambda value: value if isinstance(value, str) else "", ""),
    )
    if settings.coefficient is None and settings.standard_uncertainty is not None:
        raise table.fault("standard_uncertainty", "found without a coefficient, whose uncertainty it would be")
    table.done()
    return settings


def _trial(table: Table, row: int) -> Trial:
    trial = Trial(
        trap_m=table.get("trap", _above_zero_m),
        shortening_m=table.length_m("shortening"),
        lot=table.text("lot", ""),
        guest=table.text("guest", ""),
        material=table.text("material", ""),
        row=row,
        standard_uncertainty_m=table.get("uncertainty", _above_zero_m, None),
        made=table.text("made", ""),
    )
    table.done()
    return trial


def _material(value: Any) -> MaterialSettings:
    if not isinstance(value, str):
        raise ValueError(f"found {value!r}, expected a material's name in quotes")
    return material_named(value)


def _name(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise ValueError(f"found {value!r}, expected a name in quotes")
    if len(value) > _LONGEST_NAME:
        raise ValueError(f"found a name of {len(value)} characters, expected at most {_LONGEST_NAME}")
    return value.strip()


def _ordinary_m(value: Any) -> float:
    length_m = units.length_m(value)
    if abs(length_m) > _LONGEST_M or 0 < abs(length_m) < _SHORTEST_M:
        raise ValueError(f"found {value!r}, expected a length that a line can have")
    return length_m


def _coefficient(value: Any) -> float:
    number = plain_number(value)
    if not 0 <= number < 1:
        raise ValueError(f"found {value!r}, expected the shortening per unit of trap length, from 0 to below 1")
    return number


def _share(value: Any) -> float:
    number = plain_number(value)
    if not 0 < number <= 1:
        raise ValueError(f"found {value!r}, expected a share above 0 and at most 1")
    return number


_zero_up_m = bounded(_ordinary_m, True, "a length of zero or more")
_above_zero_m = bounded(_ordinary_m, False, "a length above zero")
_zero_up_force_n = bounded(units.force_n, True, "a force of zero or more")
_above_zero_force_n = bounded(units.force_n, False, "a force above zero")
_zero_up_number = bounded(plain_number, True, "a number of zero or more")
_above_zero_number = bounded(plain_number, False, "a number above zero")
_above_zero_count = bounded(whole_number, False, "a whole number above 0")
