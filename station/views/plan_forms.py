"""What the page of line plans asks, and beside which field a fault of a plan belongs.

Keys are those of the file, a line's from its number on (`line.0.link_end.trap`), so that a form is a part of the file.

>>> faults = SettingsFault("a.toml: [line B] length: found '5'", "line B.length", "found '5'")
>>> blamed(faults, ["A", "B"])
Blame(key='line.1.length', words="found '5'")
>>> blamed(PlanFault("a.toml: line 'A', trap 'B into A': the trap is too long"), ["A", "B"])
Blame(key='line.1.link_end.trap', words="line 'A', trap 'B into A': the trap is too long")
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple, get_args

from station.linework.traps import PlanFault
from station.settings.plan import REFERENCES, Leg
from station.settings.tables import SettingsFault
from station.views.form import Field

NAME = "plan.name"
LINK = "a connector link"
NO_MATERIAL, PLAN_MATERIAL, NO_TACK = "none", "as the whole plan's", "none"
NEW_PLAN = '[plan]\nname = ""\n\n[shrinkage]\n\n[sewing]\n\n[[line]]\nname = "A"\n'
_BAR_TACK, _ZIGZAG = "bar-tack", "zigzag"
_UNTYPED = {"shrinkage.material": NO_MATERIAL, "sewing.kind": NO_TACK}
_UNTYPED_OF_LINE = {"material": PLAN_MATERIAL, "joins": LINK, "leg": get_args(Leg)[0]}


class Blame(NamedTuple):
    """Where a fault belongs, empty where it is no one field's, and what it says."""

    key: str
    words: str


def plan_fields(values: Mapping[str, str], materials: Sequence[str]) -> list[Field]:
    """Give the fields of what is true of the whole plan; what the file says in a table of its own has none."""
    fields = [
        Field(NAME, "Name", True, hint="centre A and B, left", group="The plan"),
        Field("plan.reference", "Matched to the", choices=REFERENCES, group="The plan"),
        Field("plan.pull", "Marking pull", True, hint="10 lbf", group="The plan"),
        Field("plan.tolerance", "Tolerance", True, hint="1/2 in, from the maker", group="The plan"),
        Field("plan.spare", "Spare to cut", hint="8 in", group="The plan"),
        Field("plan.minimum_trap", "Shortest trap", hint="3 in, from the maker", group="The plan"),
        Field("shrinkage.coefficient", "Of a trap's length", hint="0.0625", group="Shortening"),
        Field("shrinkage.standard_uncertainty", "Its standard uncertainty", hint="0.01", group="Shortening"),
        Field("shrinkage.material", "Or of the material", choices=(NO_MATERIAL, *materials), group="Shortening"),
        Field("shrinkage.trials", "Or by your trials", hint="the archive, or ../trials/ours.csv", group="Shortening"),
        Field("plan.mark_uncertainty", "Of a mark", hint="1/32 in", group="Standard uncertainties"),
        Field("plan.eye_uncertainty", "Of seeing level", hint="1/32 in", group="Standard uncertainties"),
        Field("plan.comparing_uncertainty", "Of two equal pulls", hint="0.5 lbf", group="Standard uncertainties"),
        Field("plan.pull_share", "Tolerance left to pulls", hint="0.25", group="Standard uncertainties"),
        Field("sewing.kind", "Tack", choices=(NO_TACK, _BAR_TACK, _ZIGZAG), group="Sewing"),
        Field("sewing.length", "Length", hint="1 in", group="Sewing"),
        Field("sewing.stitches", "Stitches of a bar tack", hint="42", group="Sewing"),
        Field("sewing.per_inch", "Stitches per inch, zigzag", hint="9", group="Sewing"),
        Field("sewing.from_entry", "Begins from the entry", hint="0 in", group="Sewing"),
        Field("sewing.taper", "Taper to stay clear of", hint="1/2 in", group="Sewing"),
        Field("plan.source", "Where the figures are from", hint="maker's manual, page", group="Source", rows=2),
    ]
    return [field for field in fields if not _has_below(values, field.key)]


def line_fields(values: Mapping[str, str], number: int, names: Sequence[str], materials: Sequence[str]) -> list[Field]:
    """Give the fields of one line, with room for one more loop in mid-line and one more mark."""
    own = f"line.{number}"
    others = [name for at, name in enumerate(names) if at != number and name]
    low, top = "End at the link, or in another line", "End at the canopy"
    fields = [
        Field(f"{own}.name", "Name", True, hint="A", group="Line"),
        Field(f"{own}.length", "Finished length", hint="120 in; empty: marks are offsets alone", group="Line"),
        Field(f"{own}.stiffness", "Pull over strain", hint="10000 lbf", group="Line"),
        Field(f"{own}.material", "Material", choices=(PLAN_MATERIAL, *materials), group="Line"),
        Field(f"{own}.lot", "Lot", hint="L7", group="Line"),
        Field(f"{own}.link_end.joins", "Goes to", choices=(LINK, *others), group=low),
        Field(f"{own}.link_end.at", "Enters that line at", hint="48 in from its link end", group=low),
        Field(f"{own}.link_end.loop", "Loop at the link", hint="1 1/2 in high", group=low),
        Field(f"{own}.link_end.trap", "Trap", True, hint="5 in", group=low),
        Field(f"{own}.link_end.minimum_trap", "Shortest trap", hint="as the whole plan's", group=low),
        Field(f"{own}.canopy_end.loop", "Loop", hint="1 in high", group=top),
        Field(f"{own}.canopy_end.knot", "Line for a knot", hint="1 1/4 in", group=top),
        Field(f"{own}.canopy_end.trap", "Trap", True, hint="5 in", group=top),
        Field(f"{own}.canopy_end.minimum_trap", "Shortest trap", hint="as the whole plan's", group=top),
    ]
    for each in range(_count(values, f"{own}.loops") + 1):
        key, group = f"{own}.loops.{each}", f"Loop in mid-line {each + 1}"
        fields += [
            Field(f"{key}.name", "Name", hint="brake loop; none: leave all empty", group=group),
            Field(f"{key}.at", "Begins at", hint="18 in from the link end", group=group),
            Field(f"{key}.loop", "Loop", hint="1 1/2 in high", group=group),
            Field(f"{key}.trap", "Trap", hint="4 in", group=group),
            Field(f"{key}.leg", "Its second leg is", choices=get_args(Leg), group=group),
        ]
    for each in range(_count(values, f"{own}.marks") + 1):
        key, group = f"{own}.marks.{each}", f"Mark {each + 1}"
        fields.append(Field(f"{key}.name", "Name", hint="toggle; none: leave both empty", group=group))
        fields.append(Field(f"{key}.at", "Ends up at", hint="60 in from the link end", group=group))
    return [field for field in fields if not _has_below(values, field.key)]


def shown_in_form(values: Mapping[str, str]) -> dict[str, str]:
    """Give what stands in the fields for what a file says."""
    return _UNTYPED | {"plan.reference": REFERENCES[0]} | dict(values)


def answers_of(typed: Mapping[str, str]) -> dict[str, str]:
    """Give, key by key, what a form's answers say in a file; empty is not said."""
    found = dict(typed)
    for key, text in typed.items():
        last = key.rpartition(".")[2]
        untyped = _UNTYPED_OF_LINE.get(last) if key.startswith("line.") else _UNTYPED.get(key)
        if text == untyped:
            found[key] = ""
    return found


def tack_problem(values: Mapping[str, str]) -> SettingsFault | None:
    """Give what is wrong with a tack that has what no such tack has."""
    kind = values.get("sewing.kind")
    if not kind:
        first = next((key for key in values if key.startswith("sewing.")), "")
        why = "No tack is chosen above. Choose one, or leave this empty"
    elif kind == _BAR_TACK:
        first, why = "sewing.per_inch", "Stitches per inch belong to a zigzag; leave this empty"
    else:
        first, why = "sewing.stitches", "A zigzag has stitches per inch; leave this empty"
    return SettingsFault(why, first, why) if values.get(first) else None


def blamed(fault: SettingsFault | PlanFault, names: Sequence[str]) -> Blame:
    """Say which field is to blame for a fault of a plan whose lines are called `names`."""
    words = re.sub(r"^.*?\.toml: ", "", str(fault))
    if isinstance(fault, SettingsFault) and fault.key:
        return Blame(_form_key(fault.key, names), fault.why or words)
    for number, name in enumerate(names):
        own = f"line.{number}"
        ends = {f"'{name} canopy end'": "canopy_end.trap", f"'{name} link end'": "link_end.trap"}
        ends |= {f"'{name} into ": "link_end.trap", f"line {name!r} joins": "link_end.joins"}
        for said, key in ends.items():
            if said in words:
                return Blame(f"{own}.{key}", words)
    named = re.search(r"(?:line|called|circle,) (['\"])(?P<name>.*?)\1", words)
    if named is None or named["name"] not in names:
        return Blame("", words)
    number = len(names) - 1 - list(reversed(names)).index(named["name"])
    return Blame(f"line.{number}.{'link_end.joins' if 'circle' in words else 'name'}", words)


def _form_key(key: str, names: Sequence[str]) -> str:
    number, below = next(
        ((at, key[len(f"line {name}.") :]) for at, name in enumerate(names) if key.startswith(f"line {name}.")),
        (-1, ""),
    )
    counted = re.fullmatch(r"line (\d+)\.(.*)", key)
    if number < 0 and counted is not None:
        number, below = int(counted[1]) - 1, counted[2]
    if number < 0:
        return key
    return f"line.{number}." + re.sub(r"^(loops|marks) (\d+)", lambda at: f"{at[1]}.{int(at[2]) - 1}", below)


def _has_below(values: Mapping[str, str], key: str) -> bool:
    return any(each.startswith(f"{key}.") for each in values)


def _count(values: Mapping[str, str], key: str) -> int:
    found = (re.match(rf"{re.escape(key)}\.(\d+)\.", each) for each in values)
    return max((int(each[1]) + 1 for each in found if each), default=0)
