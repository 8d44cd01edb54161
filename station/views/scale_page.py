"""The page of scale and pedal: which they are, what they send now, how well the scale is known, and until when.

Hearing opens the ports and lets go of them again; nothing is judged or filed by it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import NamedTuple, get_args

from PyQt6.QtCore import QTimer
from PyQt6.QtGui import QCloseEvent
from PyQt6.QtWidgets import QComboBox, QFileDialog, QHBoxLayout, QPushButton, QVBoxLayout

from drivers.events import Event, ForceUnit, LinkLost, LinkUp, PedalEdge, PedalLost, PedalUp, Reading
from station.faults import is_fault
from station.records.words import count
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from station.settings.writing import Key, Value, edited, keep, plain_number, values_of
from station.views.form import Field, Form, labelled
from station.views.page import Page, scrolled
from station.views.palette import LookName

Hear = Callable[[], AbstractContextManager[Callable[[], Sequence[Event]]]]
"""Opens the ports of the station; what it gives gives what came since it was last asked."""

HEAR_MS = 100
NUMBERS = ("scale.baud", "pedal.baud")
UNITS = "scale.units"
NAMED = "as its frames say"
FIELDS = (
    Field("station.name", "Name of the bench", required=True, group="Bench"),
    Field("scale.url", "Port of the scale", required=True, hint="as fidbench ports gives it", group="Scale"),
    Field("scale.baud", "Speed, baud", hint="9600", group="Scale"),
    Field("scale.frame", "What it sends", hint="{value} {unit}", group="Scale"),
    Field("scale.unit", "Unit, where it names none", choices=(NAMED, *get_args(ForceUnit)), group="Scale"),
    Field(UNITS, "Its words for units", hint="lb = lbf, kg = kgf", group="Scale"),
    Field("scale.capacity", "Capacity", required=True, hint="100 lbf", group="Scale"),
    Field("scale.resolution", "Smallest step", hint="0.02 lbf", group="Scale"),
    Field("scale.response", "Response", hint="0.1 s", group="Scale"),
    Field("scale.uncertainty", "Uncertainty, from a certificate", hint="0.2 lbf", group="Scale"),
    Field("scale.uncertainty_until", "in force until", hint="2027-06-30", group="Scale"),
)
PEDALS = {
    "": "none",
    "contact": "a footswitch between two pins",
    "text": "a box that sends text",
    "key": "a key of the keyboard",
}
PEDAL_KEYS = {
    "": (),
    "contact": ("url", "line"),
    "text": ("url", "baud", "down", "up"),
    "key": (),
}
"""What is asked of each kind of pedal."""
PEDAL_FIELDS = (
    Field("pedal.kind", "Pedal", choices=tuple(PEDALS.values()), group="Pedal"),
    Field("pedal.url", "Port of the pedal", hint="as fidbench ports gives it", group="Pedal"),
    Field("pedal.line", "Pin it closes", choices=("cts", "dsr", "dcd", "ri"), group="Pedal"),
    Field("pedal.baud", "Speed, baud", hint="9600", group="Pedal"),
    Field("pedal.down", "It sends, pressed", hint="D", group="Pedal"),
    Field("pedal.up", "It sends, let go", hint="U", group="Pedal"),
)


class Known(NamedTuple):
    """What is known of the scale today, and until when its check is in force; in words."""

    standing: str
    until: str


class ScalePage(Page):
    """The scale and pedal of the station file `file`; without one, only the way to choose it.

    `use` takes a station file that was chosen or kept. `full` and `daily` begin a check of the scale.
    """

    def __init__(
        self,
        look: LookName,
        file: Path | None,
        use: Callable[[Path], None],
        known: Known | None = None,
        hear: Hear | None = None,
        full: Callable[[], None] | None = None,
        daily: Callable[[], None] | None = None,
        *,
        choose: Callable[[], str] | None = None,
        scale: float = 1.0,
    ) -> None:
        text = f"Station file: {file}." if file else "No station file: pulls are by hand and not measured."
        super().__init__(look, "Scale and pedal", text, scale=scale)
        self._file, self._use, self._hear = file, use, hear
        self._choose = choose if choose is not None else self._ask_file
        self._ports = ExitStack()
        self._came: Callable[[], Sequence[Event]] | None = None
        self._count = 0
        self._timer = QTimer(self)
        self._timer.setInterval(HEAR_MS)
        self._timer.timeout.connect(self.listen)
        self.form: Form | None = None
        halves = QHBoxLayout()
        halves.setSpacing(round(48 * scale))
        halves.addLayout(self._left(known), 2)
        if file is not None:
            self._fill(file, halves)
        self.body.addLayout(halves, 1)
        self.choose_button = self.button("Choose a station file…")
        self.choose_button.clicked.connect(self._chosen)
        self.check_buttons: list[QPushButton] = []
        for words, do in (("Daily check", daily), ("Check the scale", full)):
            if do is not None:
                button = self.button(words)
                button.clicked.connect(lambda _checked, do=do: self._leave_for(do))
                self.check_buttons.append(button)
        if self.form is not None:
            self.keep_button = self.button("Keep it", main=True)
            self.keep_button.clicked.connect(self.keep)
        (self.hear_button if hear is not None else self.choose_button).setFocus()

    def _left(self, known: Known | None) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(round(14 * self.scale))
        column.addWidget(labelled("How well it is known", "group", self))
        self.known = labelled(_said(known), "plain", self)
        column.addWidget(self.known)
        heading = labelled("What it sends", "group", self)
        self.reading = labelled("not heard", "title", self)
        self.reading.setAccessibleName("reading: not heard")
        self.more = labelled("Press the pedal while you hear: it is shown here too.", "soft", self)
        self.hear_button = QPushButton("Hear it", self)
        self.hear_button.clicked.connect(self.turn_hearing)
        for widget in (heading, self.reading, self.more, self.hear_button):
            widget.setVisible(self._hear is not None)
            column.addWidget(widget)
        column.addStretch(1)
        return column

    def _fill(self, file: Path, halves: QHBoxLayout) -> None:
        try:
            self._text = file.read_text(encoding="utf-8-sig")
            values = values_of(self._text)
        except (OSError, UnicodeDecodeError, SettingsFault) as fault:
            self.say(f"{file}: {fault}", wrong=True)
            return
        self._units = units_of(self._text)
        fields = [each for each in FIELDS if "scale.frame" in values or each.key not in ("scale.frame", UNITS)]
        self.form = Form([*fields, *PEDAL_FIELDS])
        kind = PEDALS.get(values.get("pedal.kind", ""), PEDALS[""])
        words = ", ".join(f"{word} = {unit}" for word, unit in self._units.items())
        self.form.fill({"pedal.line": "cts", "scale.unit": NAMED, **values, "pedal.kind": kind, UNITS: words})
        chosen = self.form.inputs["pedal.kind"]
        if isinstance(chosen, QComboBox):
            chosen.currentTextChanged.connect(self._ask_of_pedal)
        self._ask_of_pedal(kind)
        halves.addWidget(scrolled(self.form, self), 3)

    def _ask_of_pedal(self, words: str) -> None:
        """Show what is asked of the kind of pedal that is chosen."""
        asked = PEDAL_KEYS[_kind_of(words)]
        if self.form is not None:
            for field in PEDAL_FIELDS[1:]:
                self.form.show_field(field.key, field.key.partition(".")[2] in asked)

    def _answers(self, form: Form) -> dict[Key, Value | None]:
        """Give what is typed, key by key. Raises `SettingsFault` for words for units that are none."""
        typed = form.answers()
        kind = _kind_of(typed["pedal.kind"])
        kept = ("pedal.kind", *(f"pedal.{key}" for key in PEDAL_KEYS[kind]))
        typed = {key: text if not key.startswith("pedal.") or key in kept else "" for key, text in typed.items()}
        typed["pedal.kind"] = kind
        typed["scale.unit"] = "" if typed["scale.unit"] == NAMED else typed["scale.unit"]
        units = {} if UNITS not in typed else typed_units(typed.pop(UNITS))
        answers: dict[Key, Value | None] = {
            key: (plain_number(text) if key in NUMBERS else text) if text else None for key, text in typed.items()
        }
        return answers | {("scale", "units", word): units.get(word) for word in {**self._units, **units}}

    def unkept(self) -> str:
        """Say that something was typed and not kept."""
        return "What you typed" if self.form is not None and self.form.is_changed else ""

    @property
    def is_hearing(self) -> bool:
        """Tell whether the ports are open."""
        return self._came is not None

    def turn_hearing(self) -> None:
        """Open the ports and show what comes, or let go of them."""
        if self.is_hearing:
            self._let_go()
            return
        if self._hear is None:
            return
        try:
            self._came = self._ports.enter_context(self._hear())
        except Exception as fault:
            if not is_fault(fault) and not isinstance(fault, OSError):
                raise
            self.say(str(fault), wrong=True)
            return
        self.say("")
        self._count, self._pedal, self._link = 0, "", "waiting for it"
        self.hear_button.setText("Stop hearing")
        self._show("no reading yet")
        self._timer.start()

    def listen(self) -> None:
        """Show what came since."""
        if self._came is None:
            return
        words = ""
        try:
            events = self._came()
        except Exception as fault:
            if not is_fault(fault) and not isinstance(fault, OSError):
                raise
            self._let_go()
            self.say(str(fault), wrong=True)
            return
        for event in events:
            match event:
                case Reading():
                    self._count += 1
                    words = self._words(event)
                case LinkUp():
                    self._link = f"{event.url} is open"
                case LinkLost():
                    self._link, words = f"{event.why}: {event.advice}", "no reading"
                case PedalUp() if not event.watched:
                    self._pedal = "nothing would show that the pedal's server hangs: press it to test it"
                case PedalLost():
                    self._pedal = f"{event.why}: {event.advice}"
                case PedalEdge():
                    self._pedal = f"pedal {'down' if event.down else 'up'}"
                case _:
                    pass
        self._show(words)

    def _words(self, reading: Reading) -> str:
        if reading.force is None:
            return f"no force: the scale says {reading.status or 'nothing'}"
        return f"{reading.force:g} {reading.unit}" if reading.unit else f"{reading.force:g}, without a unit"

    def _show(self, words: str) -> None:
        if words:
            self.reading.setText(words)
            self.reading.setAccessibleName(f"reading: {words}")
        self.more.setText(" · ".join(filter(None, (self._link, count(self._count, "reading"), self._pedal))))

    def _let_go(self) -> None:
        self._timer.stop()
        self._came = None
        self._ports.close()
        self.hear_button.setText("Hear it")
        self._show("not heard")

    def _leave_for(self, do: Callable[[], None]) -> None:
        if not self.may_leave():
            return
        self._let_go_if_heard()
        do()

    def _let_go_if_heard(self) -> None:
        if self.is_hearing:
            self._let_go()

    def keep(self) -> None:
        """Write what is typed into the station file, where the loader takes it; else say what is wrong."""
        if self.form is None or self._file is None:
            return
        self.say("")
        missing = self.form.missing()
        self.form.say(missing)
        if missing:
            return
        try:
            keep(self._file, edited(self._text, self._answers(self.form)), load_station)
        except SettingsFault as fault:
            key = UNITS if fault.key.startswith(f"{UNITS}.") else fault.key
            if key in self.form.inputs:
                self.form.say({key: fault.why})
            else:
                self.say(str(fault), wrong=True)
            return
        self._let_go_if_heard()
        self.form.settle()
        self._use(self._file)

    def _chosen(self) -> None:
        name = self._choose()
        if not name:
            return
        self.say("")
        try:
            load_station(name)
        except SettingsFault as fault:
            self.say(str(fault), wrong=True)
            return
        self._let_go_if_heard()
        self._use(Path(name))

    def _ask_file(self) -> str:
        found, _ = QFileDialog.getOpenFileName(
            self, "Choose a station file", "", "station files (*.toml);;all files (*)"
        )
        return found

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Let go of the ports as the page goes."""
        super().closeEvent(event)
        if event is None or event.isAccepted():
            self._let_go_if_heard()


def units_of(text: str) -> dict[str, str]:
    """Give a station file's words for units, each with the unit it means."""
    units = tomllib.loads(text).get("scale", {}).get("units", {})
    return {word: str(unit) for word, unit in units.items()} if isinstance(units, dict) else {}


def typed_units(text: str) -> dict[str, str]:
    """Read words for units as they are typed. Raises `SettingsFault` for what is none.

    >>> typed_units("lb = lbf, kg = kgf"), typed_units("")
    ({'lb': 'lbf', 'kg': 'kgf'}, {})
    """
    found: dict[str, str] = {}
    for part in filter(None, (each.strip() for each in text.split(","))):
        word, _, unit = (each.strip() for each in part.rpartition("="))
        if not word or not unit or word in found:
            why = f"found {part!r}, expected each of its words once with the unit it means, as in lb = lbf"
            raise SettingsFault(why, UNITS, why)
        found[word] = unit
    return found


def _kind_of(words: str) -> str:
    return next((kind for kind, said in PEDALS.items() if said == words), "")


def _said(known: Known | None) -> str:
    if known is None:
        return (
            "No scale is known. Set up a scale, from the first page, listens to one, compares it with a known weight "
            "and writes its station file; or choose a file that is there."
        )
    return f"Today: {known.standing}.\n{known.until}"
