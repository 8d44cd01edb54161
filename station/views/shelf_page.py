"""Pages for the files of a shelf, hold specifications or materials: a list at the left, a form at the right.

What comes with the program is shown and can be copied; a copy, under a name of its own, is the shop's. What is typed
is read by the same strict loader as a file that a person wrote, and what it refuses is said beside its field.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from station.settings.shop import Shelf
from station.settings.tables import SettingsFault
from station.views.form import Field, Form
from station.views.page import scrolled
from station.views.palette import LookName
from station.views.sheet_page import NAME, ListedPage


class Kind(NamedTuple):
    """What a page says of its kind of sheet: its title, what one is called, its caution, its fields."""

    title: str
    one: str
    text: str
    fields: Sequence[Field]
    answers: Callable[[Mapping[str, str]], dict[str, str]] = dict
    """What was typed, by the keys of the file."""
    typed: Callable[[Mapping[str, str]], dict[str, str]] = dict
    """What a file says, by the keys of the fields."""
    about: Callable[[Mapping[str, str]], str] = lambda _: ""
    """A line about a sheet, for the list."""


_GUARDED, _PLAIN = "taken off the limits", "not taken off"


def _hold_answers(typed: Mapping[str, str]) -> dict[str, str]:
    return {**typed, "hold.decision": "plain" if typed.get("hold.decision") == _PLAIN else ""}


def _hold_typed(values: Mapping[str, str]) -> dict[str, str]:
    return {**values, "hold.decision": _PLAIN if values.get("hold.decision") == "plain" else _GUARDED}


def _hold_about(values: Mapping[str, str]) -> str:
    return f"{values.get('hold.target', '?')} for {values.get('hold.duration', '?')}"


def _hold_field(key: str, label: str, hint: str, required: bool = False, group: str = "The pull") -> Field:
    return Field(f"hold.{key}", label, required, hint=hint, group=group)


HOLDS = Kind(
    "Hold specifications",
    "hold",
    "The maker's instructions and local rules come before every figure here. A pull over the ceiling scraps the piece. "
    "What you change counts from the next job that is opened.",
    (
        Field(NAME, "Name", required=True, hint="reserve-900", group="Hold"),
        _hold_field("target", "Target", "30 lbf", True),
        _hold_field("low", "Low, not below", "28 lbf", True),
        _hold_field("high", "High, not above", "45 lbf", True),
        _hold_field("duration", "Duration", "30 s", True),
        _hold_field("ceiling", "Ceiling, never above", "60 lbf; a fifth of the rated strength if empty"),
        _hold_field("rated_strength", "Line's rated strength", "725 lbf, where limits are shares, as in 10 %"),
        Field(
            "hold.decision",
            "Scale's uncertainty",
            choices=(_GUARDED, _PLAIN),
            group="How it is judged",
        ),
        _hold_field("max_gap", "Longest gap between readings", "0.25 s", group="How it is judged"),
        _hold_field("zero_limit", "Zero must be within", "0.5 lbf", group="How it is judged"),
        _hold_field("still_limit", "Readings may stand still for", "5 s", group="How it is judged"),
        Field(
            "hold.source",
            "Where the figures are from",
            required=True,
            hint="maker's manual, revision, page",
            group="Source",
            rows=2,
        ),
    ),
    _hold_answers,
    _hold_typed,
    _hold_about,
)

_FIGURES: Sequence[tuple[str, str, Sequence[tuple[str, str, str]]]] = (
    ("rated_strength", "Rated strength", (("value", "Rated strength", "725 lbf"),)),
    ("line_mass", "Mass of the line", (("mass", "Mass", "2 g"), ("per", "of this much line", "1 m"))),
    ("fibre_density_kg_per_m3", "Density of the fibre", (("value", "Density, kg/m3", "970"),)),
    ("fibre_modulus_n_per_tex", "Modulus of the yarn", (("value", "Modulus, N/tex", "124"),)),
    ("stiffness", "Stiffness of the line", (("value", "Pull over strain", "14000 lbf"),)),
    ("braid_angle", "Braid angle", (("value", "Angle under pull", "15 deg"),)),
    ("carriers", "Carriers", (("value", "Number", "16"),)),
    ("picks", "Picks", (("picks", "Picks", "24"), ("per", "in this much line", "1 in"))),
    ("flat_width", "Width laid flat", (("value", "Width", "2.5 mm"),)),
)
_READ, _ASSUMED = "read in", "assumed, because"


def _material_fields() -> list[Field]:
    fields = [
        Field(NAME, "Name", required=True, hint="polyester 600, lot 12", group="Material"),
        Field("material.fibre", "Fibre, by its generic name", required=True, hint="polyester", group="Material"),
    ]
    for key, title, values in _FIGURES:
        base = f"material.{key}"
        fields += [Field(f"{base}.{name}", label, hint=hint, group=title) for name, label, hint in values]
        fields.append(Field(f"{base}.known", "Known how", choices=(_READ, _ASSUMED), group=title))
        fields.append(
            Field(f"{base}.words", "Where read, or why assumed", hint="maker's sheet, 2026", group=title, rows=2)
        )
    return fields


def _material_answers(typed: Mapping[str, str]) -> dict[str, str]:
    found = {key: text for key, text in typed.items() if not key.endswith((".known", ".words"))}
    for key, _, _ in _FIGURES:
        base = f"material.{key}"
        assumed = typed.get(f"{base}.known") == _ASSUMED
        words = typed.get(f"{base}.words", "")
        found |= {f"{base}.source": "" if assumed else words, f"{base}.assumed": words if assumed else ""}
    return found


def _material_typed(values: Mapping[str, str]) -> dict[str, str]:
    found = dict(values)
    for key, _, _ in _FIGURES:
        base = f"material.{key}"
        assumed = f"{base}.assumed" in values
        found[f"{base}.known"] = _ASSUMED if assumed else _READ
        found[f"{base}.words"] = values.get(f"{base}.assumed" if assumed else f"{base}.source", "")
    return found


def _material_about(values: Mapping[str, str]) -> str:
    assumed = sum(key.endswith(".assumed") for key in values)
    read = sum(key.endswith(".source") for key in values)
    return f"{values.get('material.fibre', '?')}; {read} figures read, {assumed} assumed"


MATERIALS = Kind(
    "Materials",
    "material",
    "A figure that is assumed is nobody's measurement: put the maker's own in its place, and make trials of the "
    "shortening on scrap of the same lot before you rely on it. Fibres go by their generic names.",
    tuple(_material_fields()),
    _material_answers,
    _material_typed,
    _material_about,
)


class ShelfPage(ListedPage):
    """The sheets of one shelf, and one of them in a form. `more` says more of a sheet by its name."""

    def __init__(
        self,
        look: LookName,
        shelf: Shelf,
        kind: Kind,
        *,
        more: Callable[[str], str] = lambda _: "",
        named_by: Callable[[str], str] = lambda _: "",
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, shelf, kind.title, kind.text, kind.about, named_by=named_by, scale=scale)
        self._kind, self._more = kind, more
        self.form = Form(kind.fields)
        self.right.addWidget(scrolled(self.form, self), 1)
        self.new_button = self.button(f"New {kind.one}")
        self.new_button.clicked.connect(self.begin_new)
        self.add_remove_button()
        self.keep_button = self.button("Keep it", main=True)
        self.keep_button.clicked.connect(self.keep)
        self.show_sheets(None)
        self.rows.setFocus()

    def unkept(self) -> str:
        """Say that something was typed into a sheet and not kept."""
        name = self.form.answers()[NAME] or (self._sheet.name if self._sheet else "the new one")
        return f"What you typed of {name}" if self.form.is_changed else ""

    def _chosen(self, row: int) -> None:
        if not 0 <= row < len(self._sheets):
            return
        sheet = self._sheets[row]
        self.chose(sheet)
        self.form.say({})
        self.say("")
        self.form.fill(self._kind.typed(sheet.values) | {NAME: sheet.name if sheet.own else ""})
        whose = (
            f"Your own, in {sheet.path}."
            if sheet.own
            else f"{sheet.name} is ready-made and stays as it is. Give a name of your own to keep a copy."
        )
        self.whose.setText(" ".join(filter(None, (whose, sheet.fault, self._more(sheet.name)))))

    def begin_new(self) -> None:
        """Empty the form for one of the shop's own."""
        if not self.may_leave():
            return
        self.mark_row(-1)
        self.chose(None)
        self.form.say({})
        self.say("")
        self.form.fill(self._kind.typed({}))
        self.whose.setText(f"A new {self._kind.one} of your own.")
        self.form.inputs[NAME].setFocus()

    def keep(self) -> None:
        """Write what is typed, where the loader takes it; else say what is wrong beside its field."""
        missing = self.form.missing()
        self.say("")
        self.form.say(missing)
        if missing:
            return
        typed = self.form.answers()
        name = typed.pop(NAME)
        try:
            self.keep_as(name, self._kind.answers(typed))
        except SettingsFault as fault:
            self._refuse(fault)

    def _refuse(self, fault: SettingsFault) -> None:
        words = fault.key.replace(".source", ".words").replace(".assumed", ".words")
        fields = list(self.form.inputs)
        found = next((key for key in fields if key in (fault.key, words)), None)
        if found is None and fault.key:
            found = next((key for key in reversed(fields) if key.startswith(f"{fault.key}.")), None)
        if found is None:
            self.say(str(fault), wrong=True)
        else:
            self.form.say({found: fault.why or str(fault)})
