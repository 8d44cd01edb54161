"""The page of scales, gauge and pedal: which they are, what they send now, how well a scale is known, and until when.

One instrument of the station file is shown, with all that the file can say of it; another is turned to at the top, and
one that is not there yet is declared by what is typed. Hearing opens the ports and lets go of them again; nothing is
judged or filed by it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import NamedTuple, cast

from PyQt6.QtCore import QTimer
from PyQt6.QtGui import QCloseEvent
from PyQt6.QtWidgets import QComboBox, QFileDialog, QHBoxLayout, QPushButton, QVBoxLayout

from drivers.events import Event, LinkLost, LinkUp, PedalEdge, PedalLost, PedalUp, Reading
from station.faults import is_fault
from station.records.words import count
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from station.settings.writing import Key, Value, edited, keep, plain_number, values_of
from station.views.form import Choice, Field, Form, labelled
from station.views.page import Page, scrolled
from station.views.palette import LookName
from station.views.scale_forms import (
    INSTRUMENTS,
    NEW_STATION,
    Instrument,
    answers_of,
    asked_of,
    blamed,
    fields_of,
    format_of,
    shown_of,
)
from station.views.start import SET_UP

Hear = Callable[[], AbstractContextManager[Callable[[], Sequence[Event]]]]
"""Opens the ports of the station; what it gives gives what came since it was last asked."""

LISTEN = "Listen"
HEAR_MS = 100
PEDAL_NUMBERS = ("pedal.baud",)
BENCH = (
    Field("station.name", "Name of the bench", required=True, group="Bench"),
    Field("station.mark", "Its letter in job numbers", hint="B, as in 26-B0001", group="Bench"),
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
    """The instruments and the pedal of the station file `file`; without one, only the ways to choose or make it.

    `use` takes a station file that was chosen or kept. `full` and `daily` begin a check of the scale. `shown` is the
    instrument that is shown, and `turn` shows another of them. Where there is no file, `describe` shows the page of one
    still to be made, and `set_up` makes one by listening.
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
        shown: Instrument = "scale",
        turn: Callable[[Instrument], None] | None = None,
        describe: Callable[[], None] | None = None,
        set_up: Callable[[], None] | None = None,
        scale: float = 1.0,
    ) -> None:
        text = f"Station file: {file}." if file else "No station file: pulls are by hand and not measured."
        super().__init__(look, "Scale and pedal", text, scale=scale)
        self._file, self._use, self._hear = file, use, hear
        self._shown, self._turn = shown, turn
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
        self.instruments: Choice | None = None
        if file is not None:
            self._fill(file, halves)
        self.body.addLayout(halves, 1)
        self.choose_button = self.button("Choose a station file…")
        self.choose_button.clicked.connect(self._chosen)
        if describe is not None:
            self.describe_button = self.button("Describe a scale")
            self.describe_button.clicked.connect(lambda _checked: describe())
        if set_up is not None:
            self.set_up_button = self.button(SET_UP, main=True)
            self.set_up_button.clicked.connect(lambda _checked: set_up())
        self.check_buttons: list[QPushButton] = []
        for words, do in (("Daily check", daily), ("Check the scale", full)):
            if do is not None:
                button = self.button(words)
                button.clicked.connect(lambda _checked, do=do: self._leave_for(do))
                self.check_buttons.append(button)
        if self.form is not None:
            self.keep_button = self.button("Keep it", main=True)
            self.keep_button.clicked.connect(self.keep)
        first = self.hear_button if hear is not None else self.choose_button if set_up is None else self.set_up_button
        first.setFocus()

    def _left(self, known: Known | None) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(round(14 * self.scale))
        if self._file is not None:
            column.addWidget(labelled("How well it is known", "group", self))
        self.known = labelled(_said(known, self._shown, self._file is not None), "plain", self)
        column.addWidget(self.known)
        heading = labelled("What it sends now", "group", self)
        self.reading = labelled("not heard", "title", self)
        self.reading.setAccessibleName("reading: not heard")
        self.more = labelled("Press the pedal while it listens: it is shown here too.", "soft", self)
        self.hear_button = QPushButton(LISTEN, self)
        self.hear_button.clicked.connect(self.turn_hearing)
        for widget in (heading, self.reading, self.more, self.hear_button):
            widget.setVisible(self._hear is not None)
            column.addWidget(widget)
        column.addStretch(1)
        return column

    def _fill(self, file: Path, halves: QHBoxLayout) -> None:
        try:
            self._text = file.read_text(encoding="utf-8-sig") if file.exists() else NEW_STATION
            self._values = values_of(self._text)
        except (OSError, UnicodeDecodeError, SettingsFault) as fault:
            self.say(f"{file}: {fault}", wrong=True)
            return
        self.form = Form([*BENCH, *fields_of(self._shown), *PEDAL_FIELDS])
        kind = PEDALS.get(self._values.get("pedal.kind", ""), PEDALS[""])
        shown = shown_of(self._shown, self._values, self._text)
        self.form.fill({"pedal.line": "cts", **self._values, **shown, "pedal.kind": kind})
        for key, ask in (("pedal.kind", self._ask_of_pedal), (f"{self._shown}.format", self._ask_of_format)):
            chosen = self.form.inputs.get(key)
            if isinstance(chosen, QComboBox):
                chosen.currentTextChanged.connect(ask)
                ask(chosen.currentText())
        column = QVBoxLayout()
        column.setSpacing(round(14 * self.scale))
        room = scrolled(self.form, self)
        bar = room.verticalScrollBar()
        if self._turn is not None and bar is not None:
            above = QHBoxLayout()
            above.addWidget(self._which())
            bar.rangeChanged.connect(  # the fields beneath make room for their bar
                lambda _low, high: above.setContentsMargins(0, 0, bar.sizeHint().width() if high else 0, 0)
            )
            column.addLayout(above)
        column.addWidget(room, 1)
        halves.addLayout(column, 3)

    def _which(self) -> Form:
        """Give the choice of the instrument that is shown."""
        names = tuple(
            words if any(key.startswith(f"{name}.") for key in self._values) else f"{words} (none yet)"
            for name, words in INSTRUMENTS.items()
        )
        asked = Form(
            [Field("instrument", "Shown here", choices=names, default=names[list(INSTRUMENTS).index(self._shown)])]
        )
        self.instruments = cast(Choice, asked.inputs["instrument"])
        self.instruments.activated.connect(self._turned)
        return asked

    def _turned(self, row: int) -> None:
        """Show another instrument, once what was typed may go."""
        name = list(INSTRUMENTS)[row]
        if name == self._shown or self._turn is None:
            return
        if self.may_leave():
            self._let_go_if_heard()
            self._turn(name)
        elif self.instruments is not None:
            self.instruments.setCurrentIndex(list(INSTRUMENTS).index(self._shown))

    def _ask_of_format(self, _words: str = "") -> None:
        """Show what is asked of the format that is chosen."""
        if self.form is not None:
            form = format_of(self._shown, self.form.answers())
            for each in asked_of(self._shown):
                self.form.show_field(f"{self._shown}.{each.key}", form in each.formats)

    def _ask_of_pedal(self, words: str) -> None:
        """Show what is asked of the kind of pedal that is chosen."""
        asked = PEDAL_KEYS[_kind_of(words)]
        if self.form is not None:
            for field in PEDAL_FIELDS[1:]:
                self.form.show_field(field.key, field.key.partition(".")[2] in asked)

    def _answers(self, form: Form) -> dict[Key, Value | None]:
        """Give what is typed, key by key. Raises `SettingsFault` for words or bytes that are none."""
        typed = form.answers()
        kind = _kind_of(typed["pedal.kind"])
        kept = ("pedal.kind", *(f"pedal.{key}" for key in PEDAL_KEYS[kind]))
        pedal = {key: text if key in kept else "" for key, text in typed.items() if key.startswith("pedal.")}
        pedal["pedal.kind"] = kind
        answers: dict[Key, Value | None] = {
            key: (plain_number(text) if key in PEDAL_NUMBERS else text) if text else None for key, text in pedal.items()
        }
        own = answers_of(self._shown, typed, self._values, self._text)
        return {**{each.key: typed[each.key] or None for each in BENCH}, **own, **answers}

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
        self.hear_button.setText("Stop listening")
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
                case PedalUp():
                    self._pedal = f"pedal {'down' if event.down else 'up'}"
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
        self.hear_button.setText(LISTEN)
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
            text = edited(self._text, self._answers(self.form))
            keep(self._file, text, load_station, over=self._file.exists())
        except SettingsFault as fault:
            key, why = blamed(self._shown, fault)
            key, why = (fault.key, fault.why) if not key and fault.key in self.form.inputs else (key, why)
            if key:
                self.form.say({key: why})
            else:
                self.say(why, wrong=True)
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


def _kind_of(words: str) -> str:
    return next((kind for kind, said in PEDALS.items() if said == words), "")


def _said(known: Known | None, shown: Instrument, is_there: bool) -> str:
    if known is not None:
        return f"{known.standing[:1].upper()}{known.standing[1:]}.\n{known.until}"
    if shown == "gauge":
        return "A length gauge reads how much longer the new line is. It is zeroed on the opposite number each time."
    if is_there:
        return "This scale is not known: describe it here and keep it, then check it with weights."
    return (
        f"No scale is known. \u201c{SET_UP}\u201d listens to one, compares it with a known weight and writes its "
        "station file. You can also choose a file that is there, or describe the scale yourself."
    )
