"""The page of scale and pedal: which they are, what they send now, how well the scale is known, and until when.

Hearing opens the ports and lets go of them again; nothing is judged or filed by it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import NamedTuple

from PyQt6.QtCore import QTimer
from PyQt6.QtGui import QCloseEvent
from PyQt6.QtWidgets import QFileDialog, QHBoxLayout, QPushButton, QVBoxLayout

from drivers.events import Event, LinkLost, LinkUp, PedalEdge, Reading
from station.faults import is_fault
from station.records.words import count
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from station.settings.writing import edited, keep, plain_number, values_of
from station.views.form import Field, Form, labelled
from station.views.page import Page, scrolled
from station.views.palette import LookName

Hear = Callable[[], AbstractContextManager[Callable[[], Sequence[Event]]]]
"""Opens the ports of the station; what it gives gives what came since it was last asked."""

HEAR_MS = 100
NUMBERS = ("scale.baud",)
FIELDS = (
    Field("station.name", "Name of the bench", required=True, group="Bench"),
    Field("scale.url", "Port of the scale", required=True, hint="as fidbench ports gives it", group="Scale"),
    Field("scale.baud", "Speed, baud", hint="9600", group="Scale"),
    Field("scale.frame", "What it sends", hint="{value} {unit}", group="Scale"),
    Field("scale.capacity", "Capacity", required=True, hint="100 lbf", group="Scale"),
    Field("scale.resolution", "Smallest step", hint="0.02 lbf", group="Scale"),
    Field("scale.response", "Response", hint="0.1 s", group="Scale"),
    Field("scale.uncertainty", "Uncertainty, from a certificate", hint="0.2 lbf", group="Scale"),
    Field("scale.uncertainty_until", "in force until", hint="2027-06-30", group="Scale"),
)
PEDAL_FIELDS = (
    Field("pedal.url", "Port of the pedal", hint="as fidbench ports gives it", group="Pedal"),
    Field("pedal.line", "Pin it closes", choices=("cts", "dsr", "dcd", "ri"), group="Pedal"),
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
        fields = [each for each in FIELDS if each.key != "scale.frame" or each.key in values]
        if "pedal.url" in values:
            fields += PEDAL_FIELDS[: 2 if values.get("pedal.kind") == "contact" else 1]
        self.form = Form(fields)
        self.form.fill({"pedal.line": "cts"} | values)
        halves.addWidget(scrolled(self.form, self), 3)

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
        answers = {
            key: (plain_number(text) if key in NUMBERS else text) if text else None
            for key, text in self.form.answers().items()
        }
        try:
            keep(self._file, edited(self._text, answers), load_station)
        except SettingsFault as fault:
            if fault.key in self.form.inputs:
                self.form.say({fault.key: fault.why})
            else:
                self.say(str(fault), wrong=True)
            return
        self._let_go_if_heard()
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
        """Let go of the ports before the page goes."""
        self._let_go_if_heard()
        super().closeEvent(event)


def _said(known: Known | None) -> str:
    if known is None:
        return "Choose a station file first."
    return f"Today: {known.standing}.\n{known.until}"
