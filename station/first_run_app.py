"""The first run wired: the model to a listened-to port and a footswitch, the answers to a station file.

Nothing is ever written over, and a file is in place only once `load_station` has read it.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from drivers.capture import Heard
from drivers.discovery import ports
from drivers.events import LinkLost, PedalLost
from drivers.link import LineMoved
from drivers.questions import QUESTIONS
from station.app import now_us
from station.bench.first_run import FirstRun, Try, shown_force
from station.listening import Ear, Foot
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from station.units import QuantityFault, force_mn
from station.views.first_run import FirstRunPage, Shown
from station.views.form import Field
from station.views.palette import LookName

SPEEDS = (9600, 4800, 2400, 1200, 19_200, 38_400, 57_600, 115_200)
ANY_SPEED, BY_ITSELF, ANY_QUESTION = "find it by trying", "nothing: it sends by itself", "try the usual questions"
TYPED, NO_FOOT, FROM_FRAMES = "typed below", "none", "as its frames say"
LISTEN, COMPARE, PRESS, SAVE = "Listen", "Compare with the weight", "Watch the footswitch", "Save this bench"
BACK = "Back to the jobs"


def fields(found: Sequence[str], file: Path) -> tuple[Field, ...]:
    """Give what the page asks, with the ports that are there."""
    return (
        Field("port", "Port", choices=(*found, TYPED), group="Scale"),
        Field("address", "Address, if typed", hint="socket://192.168.0.9:4001", group="Scale"),
        Field("speed", "Speed, baud", choices=(ANY_SPEED, *map(str, SPEEDS)), group="Scale"),
        Field("ask", "What it is asked", choices=(BY_ITSELF, ANY_QUESTION, *QUESTIONS), group="Scale"),
        Field("unit", "It shows", choices=(FROM_FRAMES, "lbf", "kgf", "N"), group="Scale"),
        Field("weight", "Known weight", hint="15 kg, or 30 lbf", group="Scale"),
        Field("capacity", "Capacity", hint="100 lbf, from its plate", group="Scale"),
        Field("resolution", "Smallest step", hint="0.02 lbf", group="Scale"),
        Field("pedal", "Footswitch on", choices=(NO_FOOT, *found), group="Bench"),
        Field("name", "Name of this bench", hint="Bench 1", group="Bench"),
        Field("file", "Station file", default=str(file), group="Bench"),
    )


class FirstRunAt:
    """The first run at its window; `saved` is told the station file once it is written."""

    def __init__(self, look: LookName, file: Path, saved: Callable[[Path], None], scale: float = 1.0) -> None:
        self.model = FirstRun()
        self._saved = saved
        self._open, self._foot_open = ExitStack(), ExitStack()
        self._ear: Ear | None = None
        self._open_as: Try | None = None
        self._foot: Foot | None = None
        self._foot_words = ""
        self._compared = ""
        self._line: str | None = None
        self._pedal_port = ""
        actions = {BACK: self.leave, LISTEN: self.listen, COMPARE: self.compare, PRESS: self.watch, SAVE: self.save}
        asked = fields([port.url for port in ports()], file)
        self.page = FirstRunPage(look, asked, self.read, actions, self.model.stop, scale)
        self.page.closed.connect(self.close)

    def close(self) -> None:
        """Let go of the ports."""
        self._open.close()
        self._foot_open.close()
        self._ear = self._foot = None

    def leave(self, _answers: Mapping[str, str]) -> Mapping[str, str]:
        """Leave without a file."""
        self.page.close()
        return {}

    def read(self) -> Shown:
        """Take what came and give what to show."""
        at_us = now_us()
        for line in self._ear.lines() if self._ear else ():
            if isinstance(line, Heard):
                self.model.hear(line.at_us, line.raw)
            elif isinstance(line, LinkLost):
                self.model.lose(f"{line.why}: {line.advice}")
        self.model.tick(at_us)
        self._reopen()
        self._take_foot()
        reading = shown_force(self.model.reading(at_us))
        may_save = self.model.proposal is not None
        model = self.model
        return Shown(model.words(), model.heard, reading, self._compared, self._foot_words, may_save, model.tried)

    def listen(self, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Begin to listen; give what is wrong, by field."""
        url = answers["address"] if answers["port"] == TYPED else answers["port"]
        if not url:
            return {"address": "is empty; expected a port or an address, as in socket://192.168.0.9:4001"}
        asked = {BY_ITSELF: (None,), ANY_QUESTION: (None, *QUESTIONS.values())}.get(answers["ask"])
        questions = asked or (QUESTIONS[answers["ask"]],)
        speeds = SPEEDS if answers["speed"] == ANY_SPEED else (int(answers["speed"]),)
        self._compared = ""
        self.model.begin(url, [(baud, each) for baud in speeds for each in questions], now_us())
        self._say_unit(answers)
        self._open_as = None
        self._reopen()
        return {}

    def compare(self, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Compare with the known weight; give what is wrong, by field."""
        self._say_unit(answers)
        try:
            resolution = answers["resolution"]
            if resolution:
                force_mn(resolution)
        except QuantityFault as fault:
            return {"resolution": str(fault)}
        try:
            self._compared = self.model.compare(answers["weight"], resolution, now_us()).words
        except QuantityFault as fault:
            return {"weight": str(fault)}
        return {}

    def watch(self, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Watch all four lines of a port for the foot; give what is wrong, by field."""
        self._foot_open.close()
        self._foot, self._line = None, None
        self._pedal_port = answers["pedal"]
        if self._pedal_port == NO_FOOT:
            self._foot_words = "No footswitch: the space bar of the keyboard is the pedal."
            return {}
        self._foot_words = "Press the footswitch and let it go."
        self._foot = self._foot_open.enter_context(Foot(self._pedal_port))
        return {}

    def save(self, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Write the station file; give what is wrong, by field."""
        self._say_unit(answers)
        needed = {key: "is empty, and is needed" for key in ("name", "capacity", "file") if not answers[key]}
        if self.model.proposal is not None and not (self.model.proposal.names_unit or self.model.unit):
            needed["unit"] = "no frame names the unit; expected what the scale shows: lbf, kgf or N"
        if needed:
            return needed
        known = {"capacity": answers["capacity"]}
        if answers["resolution"]:
            known["resolution"] = answers["resolution"]
        for key, force in known.items():
            try:
                force_mn(force)
            except QuantityFault as fault:
                return {key: str(fault)}
        path = Path(answers["file"]).expanduser()
        try:
            write_station(path, self.model.toml(answers["name"], known, self._pedal()))
        except FileExistsError:
            return {"file": f"{path} is there already, and nothing is written over; give another name"}
        except (OSError, SettingsFault) as fault:
            return {"file": str(fault)}
        self.close()
        self._saved(path)
        return {}

    def _pedal(self) -> str:
        if self._line is None:
            return '\n[pedal]\nkind = "key"\n'
        url = json.dumps(self._pedal_port, ensure_ascii=False)
        return f'\n[pedal]\nkind = "contact"\nurl = {url}\nline = "{self._line}"\n'

    def _say_unit(self, answers: Mapping[str, str]) -> None:
        units = {"lbf": "lbf", "kgf": "kgf", "N": "N"}
        self.model.unit = units.get(answers["unit"])  # type: ignore[assignment]  # the keys are the units themselves

    def _reopen(self) -> None:
        """Have the port open as the model wants it."""
        wanted = self.model.wanted
        if wanted is None or wanted == self._open_as:
            return
        self._open.close()
        self._open_as = wanted
        self._ear = self._open.enter_context(Ear(self.model.url, *wanted))

    def _take_foot(self) -> None:
        for event in self._foot.events() if self._foot else ():
            if isinstance(event, PedalLost):
                self._foot_words = f"{event.why[0].upper()}{event.why[1:]}: {event.advice}."
            elif isinstance(event, LineMoved):
                self._line = event.line
                self._foot_words = f"The foot moves {event.line.upper()}: this line is used."


def write_station(path: Path, text: str) -> None:
    """Write a station file that is read rightly. Raises `FileExistsError`, `OSError`, `SettingsFault`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".station-") as folder:
        draft = Path(folder, path.name)
        with draft.open("x", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        load_station(draft)
        os.link(draft, path)
