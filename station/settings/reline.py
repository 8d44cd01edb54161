"""A set job as a person writes it: many lines of one canopy, by group, number and side, that share line plans.

    [reline]
    name = "Teasel 190, both sides"
    comparing = "in turn"              # or balanced, or two cells
    pieces_together = 2                # pieces of so many lines are cut from one stretched length and share one hold

    [[lines]]
    plan = "one-cascade.toml"          # a line plan, by its file beside this one, or a ready-made; it has one main line
    group = "A"
    numbers = [1, 2, 3]
    sides = ["left", "right"]          # in this order, number by number; both unless given

What is kept with a job carries the plans' own text in a table [plans], so that it needs no other file. A line is named
by group, number and side ("A 3 left"), its cascades by their own name in the plan ("B 3 left"), and no name stands
twice.

>>> RelineLine("A", "3", "left", "one-cascade.toml").name
'A 3 left'
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from station.settings.plan import Joint, Learned, PlanSettings, load_plan, plan_text, read_plan
from station.settings.tables import SettingsFault, Table

SIDES = ("left", "right")
METHODS = ("in turn", "balanced", "two cells")
_ONE_HOOK = ("one hook", "both on one hook", "same hook", "together")


@dataclass(frozen=True)
class RelineLine:
    """One main line of the set, with the name of the plan it is made by."""

    group: str
    number: str
    side: str
    plan: str

    @property
    def name(self) -> str:
        """Give its name: group, number and side."""
        return f"{self.group} {self.number} {self.side}"

    @property
    def pair(self) -> str:
        """Give the name that it shares with its opposite number."""
        return f"{self.group} {self.number}"


@dataclass(frozen=True)
class RelineSettings:
    """A whole set job; `plans` are the shared plans by name, `together` how many lines share one stretched length."""

    file: str
    name: str
    comparing: str
    together: int
    lines: tuple[RelineLine, ...]
    plans: Mapping[str, PlanSettings]

    def plan_of(self, line: RelineLine) -> PlanSettings:
        """Give a line's own plan: the shared one, with every line in it named for its number and side."""
        shared = self.plans[line.plan]
        names = {
            each.name: f"{each.name} {line.number} {line.side}" if isinstance(each.link_end, Joint) else line.name
            for each in shared.lines
        }
        lines = tuple(
            replace(
                each,
                name=names[each.name],
                link_end=replace(each.link_end, joins=names.get(each.link_end.joins, each.link_end.joins))
                if isinstance(each.link_end, Joint)
                else each.link_end,
            )
            for each in shared.lines
        )
        return replace(shared, lines=lines)


def is_reline(top: Table) -> bool:
    """Tell whether a job file lists a set of lines, rather than one plan."""
    return "reline" in top


def load_reline(path: Path | str, at: Path | None = None, learned: Learned | None = None) -> RelineSettings:
    """Read a set job from its file, as one that stands `at`, where that is given: its plans are named from there.

    `learned` gives the archive's trials to the plans that ask for them.
    """
    top = Table.load(path)
    content = {key: top.get(key, lambda value: value) for key in top}
    return read_reline(Table(str(path if at is None else at), "", content), learned)


def read_reline(top: Table, learned: Learned | None = None) -> RelineSettings:
    """Read a set job from the top table of a file. Raises `SettingsFault` as `load_plan` does."""
    head = top.table("reline")
    own = top.table("plans", None)
    texts = {name: own.text(name) for name in own} if own is not None else None
    lines: list[RelineLine] = []
    for table in top.tables("lines"):
        lines += _lines(table)
    if not lines:
        raise SettingsFault(f"{top.file}: [lines] is missing and is required: one [[lines]] for each group")
    plans: dict[str, PlanSettings] = {}
    for name in dict.fromkeys(line.plan for line in lines):
        plans[name] = _plan(top.file, name, texts, learned)
    settings = RelineSettings(
        file=top.file,
        name=head.text("name"),
        comparing=head.get("comparing", method_named, METHODS[0]),
        together=head.get("pieces_together", _together, 1),
        lines=tuple(lines),
        plans=plans,
    )
    head.done()
    top.done()
    _refuse_two_of_a_name(settings)
    return settings


def method_named(text: object) -> str:
    """Give a method of comparing by its name. Raises `ValueError`; both lines on one hook is refused in words."""
    if text in METHODS:
        return str(text)
    if isinstance(text, str) and text.strip().lower() in _ONE_HOOK:
        raise ValueError(
            f"found {text!r}: both lines on one hook share the pull unequally while they look level, which hides what "
            f"is to be seen; expected {', '.join(METHODS)}"
        )
    raise ValueError(f"found {text!r}, expected one of {', '.join(METHODS)}")


def job_text(path: Path | str, learned: Learned | None = None) -> tuple[str, PlanSettings, str]:
    """Give a job file's text as it is kept with the job, its plan, and its sides; of one plan the sides are ''.

    Of a set the plan is the first line's, and the sides are those that it works on ("left and right"). `learned` gives
    the archive's trials to a plan that asks for them.

    Raises `SettingsFault` naming the file, the key, what was found and what was expected.
    """
    top = Table.load(path)
    if not is_reline(top):
        return plan_text(path, learned), load_plan(path, learned), ""
    text = reline_text(path, learned)
    settings = read_reline(Table(str(path), "", tomllib.loads(text)))
    sides = " and ".join(side for side in SIDES if any(line.side == side for line in settings.lines))
    return text, settings.plan_of(settings.lines[0]), sides


@lru_cache(maxsize=1024)
def line_names(text: str) -> tuple[str, ...]:
    r"""Name every line that a job's text, as it is kept with the job, works on; none where it cannot be read.

    >>> line_names('[[line]]\nname = "A2"\n[[line]]\nname = "B2"')
    ('A2', 'B2')
    """
    try:
        top = Table("", "", tomllib.loads(text))
        if not is_reline(top):
            return tuple(line.text("name") for line in top.tables("line"))
        settings = read_reline(top)
    except (tomllib.TOMLDecodeError, SettingsFault):
        return ()
    return tuple(each.name for line in settings.lines for each in settings.plan_of(line).lines)


def reline_text(path: Path | str, learned: Learned | None = None) -> str:
    """Give a set job's text with the plans it names, and their trials, written into it.

    Raises `SettingsFault` as reading it does.
    """
    settings = read_reline(Table.load(path))
    text = Path(path).read_text(encoding="utf-8-sig")
    if "plans" in tomllib.loads(text):
        return text
    texts = {name: plan_text(_plan_file(Path(path), name), learned) for name in settings.plans}
    return "\n".join([text.rstrip(), "", "[plans]", *(f"{json.dumps(n)} = {_quoted(t)}" for n, t in texts.items()), ""])


def _quoted(text: str) -> str:
    """Give a text as TOML: as it stands where that can be, so that a person can read it in the record."""
    plain = "'''" not in text and not text.endswith("'")
    return f"'''\n{text}'''" if plain else json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plan_file(file: Path, name: str) -> Path:
    """Give the file of a plan that a set job names: the one beside it, else the ready-made one of that name."""
    beside, ready = file.parent / name, Path(str(resources.files("config") / "jobs"))
    return ready / name if not beside.exists() and name in {each.name for each in ready.glob("*.toml")} else beside


def _plan(file: str, name: str, texts: Mapping[str, str] | None, learned: Learned | None) -> PlanSettings:
    if texts is None:
        try:
            plan = load_plan(_plan_file(Path(file), name), learned)
        except SettingsFault as fault:
            raise SettingsFault(f"{file}: plan {name!r}: {fault}") from None
    elif name not in texts:
        raise SettingsFault(f"{file}: [plans] has no {name!r}, which [[lines]] names")
    else:
        try:
            plan = read_plan(Table(f"{file}: {name}", "", tomllib.loads(texts[name])))
        except tomllib.TOMLDecodeError as fault:
            raise SettingsFault(f"{file}: [plans] {name}: is not valid TOML: {fault}") from None
    mains = [line.name for line in plan.lines if not isinstance(line.link_end, Joint)]
    if len(mains) != 1:
        raise SettingsFault(
            f"{file}: plan {name!r} has {len(mains)} main lines ({', '.join(mains)}); a set's plan has one, "
            "with whatever joins it"
        )
    return plan


def _lines(table: Table) -> list[RelineLine]:
    plan, group = table.text("plan"), table.text("group")
    numbers = table.get("numbers", _numbers)
    sides = table.get("sides", _sides, SIDES)
    table.done()
    return [RelineLine(group, number, side, plan) for number in numbers for side in sides]


def _numbers(value: Any) -> tuple[str, ...]:
    if (
        not isinstance(value, list)
        or not value
        or any(isinstance(each, bool) or not isinstance(each, int | str) or not str(each).strip() for each in value)
    ):
        raise ValueError(f"found {value!r}, expected the lines' numbers, as in [1, 2, 3]")
    return tuple(str(each).strip() for each in value)


def _sides(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value or any(each not in SIDES for each in value):
        raise ValueError(f'found {value!r}, expected ["left", "right"] or one of them')
    return tuple(value)


def _together(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 24:
        raise ValueError(f"found {value!r}, expected how many lines share one stretched length, from 1 to 24")
    return value


def _refuse_two_of_a_name(settings: RelineSettings) -> None:
    seen: set[str] = set()
    for line in settings.lines:
        for each in settings.plan_of(line).lines:
            if each.name in seen:
                raise SettingsFault(f"{settings.file}: two lines of the set are called {each.name!r}; rename a group")
            seen.add(each.name)
