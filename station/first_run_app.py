"""The first run wired: the model to a listened-to port and a footswitch, the answers to a station file.

Nothing is ever written over, and a file is in place only once `load_station` has read it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

from drivers.capture import Heard
from drivers.discovery import ports
from drivers.events import LinkLost, PedalLost
from drivers.foot_watch import LineMoved, PedalSaid
from drivers.link import LinkSettings
from drivers.modbus_rtu import ModbusFormat, gap_us
from drivers.proposal import Proposal
from drivers.questions import QUESTIONS
from station.app import decoder_of, now_us
from station.bench.first_run import FirstRun, Try, shown_force
from station.bench.foot_finding import FootFinder, pedal_toml
from station.listening import Ear, Foot, unread
from station.settings.station import load_station
from station.settings.tables import SettingsFault
from station.settings.writing import keep
from station.units import QuantityFault, force_mn
from station.views.first_run import FirstRunPage, Shown
from station.views.form import Field
from station.views.palette import LookName
from station.views.scale_forms import NAMED
from station.views.scale_page import LISTEN

SPEEDS = (9600, 4800, 2400, 1200, 19_200, 38_400, 57_600, 115_200)
BITS = ("8N1", "7E1", "7O1", "8E1", "8O1", "7N1", "7N2", "8N2")  # data bits, parity, stop bits; the commonest first
ANY_SPEED, BY_ITSELF, ANY_QUESTION = "find it by trying", "nothing: it sends by itself", "try the usual questions"
TYPED, NO_FOOT = "typed below", "none"
COMPARE, PRESS, SAVE = "Compare with the weight", "Watch the footswitch", "Keep it"
_UNWATCHED = " At this address nothing would show that the server hangs: tap to test it before you rely on it."


def fields(found: Sequence[str], file: Path) -> tuple[Field, ...]:
    """Give what the page asks, with the ports that are there."""
    return (
        Field("port", "Port", choices=(*found, TYPED), group="Scale"),
        Field("address", "Address, if typed", hint="socket://192.168.0.9:4001", group="Scale"),
        Field("speed", "Speed, baud", choices=(ANY_SPEED, *map(str, SPEEDS)), group="Scale"),
        Field("ask", "What it is asked", choices=(BY_ITSELF, ANY_QUESTION, *QUESTIONS), group="Scale"),
        Field("unit", "Unit, if it sends none", choices=(NAMED, "lbf", "kgf", "N"), group="Scale"),
        Field("weight", "Known weight", hint="15 kg, or 30 lbf", group="Scale"),
        Field("capacity", "Capacity", hint="100 lbf, from its plate", group="Scale"),
        Field("resolution", "Smallest step", hint="0.02 lbf", group="Scale"),
        Field("pedal", "Footswitch on", choices=(NO_FOOT, *found, TYPED), group="Footswitch"),
        Field("pedal_address", "Its address, if typed", hint="rfc2217://192.168.0.9:4002", group="Footswitch"),
        Field("pedal_speed", "Its speed, if it sends text", choices=tuple(map(str, SPEEDS)), group="Footswitch"),
        Field("pedal_bits", "Its bits and parity, likewise", choices=BITS, group="Footswitch"),
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
        self._open_as: tuple[Try | None, Proposal | None] = (None, None)
        self._foot: Foot | None = None
        self._finder = FootFinder()
        self._foot_words = self._unwatched = ""
        self._compared = ""
        self._pedal_at = ("", SPEEDS[0], BITS[0])
        actions = {LISTEN: self.listen, COMPARE: self.compare, PRESS: self.watch, SAVE: self.save}
        asked = fields([port.url for port in ports()], file)
        self.page = FirstRunPage(look, asked, self.read, actions, self.stop, scale)
        self.page.closed.connect(self.close)

    def close(self) -> None:
        """Let go of the ports."""
        self._open.close()
        self._foot_open.close()
        self._ear = self._foot = None

    def read(self) -> Shown:
        """Take what came and give what to show."""
        at_us = now_us()
        for line in self._ear.lines() if self._ear else ():
            if isinstance(line, Heard):
                self.model.hear(line.raw)
            elif isinstance(line, LinkLost):
                self.model.lose(f"{line.why}: {line.advice}")
            else:
                self.model.opened(line.at_us)
        self.model.take(self._ear.readings() if self._ear else ())
        self.model.tick(at_us)
        self._reopen()
        self._take_foot(at_us)
        reading = shown_force(self.model.reading(at_us))
        foot = self._foot_words or (self._finder.words + self._unwatched if self._foot else "")
        may_save = self.model.proposal is not None
        model = self.model
        return Shown(model.words(), model.heard, reading, self._compared, foot, may_save, model.tried)

    def stop(self) -> None:
        """Try no more of what is tried now."""
        self.model.stop()

    def listen(self, answers: Mapping[str, str]) -> Mapping[str, str]:
        """Begin to listen; give what is wrong, by field."""
        url = answers["address"] if answers["port"] == TYPED else answers["port"]
        if not url:
            return {"address": "is empty; expected a port or an address, as in socket://192.168.0.9:4001"}
        asked = {BY_ITSELF: (None,), ANY_QUESTION: (None, *QUESTIONS.values())}.get(answers["ask"])
        questions = asked or (QUESTIONS[answers["ask"]],)
        speeds = SPEEDS if answers["speed"] == ANY_SPEED else (int(answers["speed"]),)
        self._compared = ""
        self.model = FirstRun(url, [(baud, each) for baud in speeds for each in questions], now_us())
        self._say_unit(answers)
        self._open_as = (None, None)
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
        """Watch a port for the foot; give what is wrong, by field."""
        self._foot_open.close()
        self._foot, self._finder = None, FootFinder()
        if answers["pedal"] == NO_FOOT:
            self._foot_words = "No footswitch: the space bar of the keyboard is the pedal."
            return {}
        url = answers["pedal_address"] if answers["pedal"] == TYPED else answers["pedal"]
        if not url:
            self._foot_words = ""
            return {"pedal_address": "is empty; expected a port or an address, as in rfc2217://192.168.0.9:4002"}
        if url == self.model.url:
            self._foot_words = ""
            return {"pedal": f"{url} is the scale's port, and one port has one owner; plug the footswitch in elsewhere"}
        self._pedal_at = (url, int(answers["pedal_speed"]), answers["pedal_bits"])
        self._foot_words = f"Opening {url} …"
        self._foot = self._foot_open.enter_context(Foot(*self._pedal_at))
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
            keep(path, self.model.toml(answers["name"], known, self._pedal()), load_station, over=False)
        except SettingsFault as fault:
            return {"file": str(fault)}
        self.close()
        self._saved(path)
        return {}

    def _pedal(self) -> str:
        found = self._finder.found
        if found is None:
            return '\n[pedal]\nkind = "key"\n'
        return "\n" + pedal_toml(found, *self._pedal_at)

    def _say_unit(self, answers: Mapping[str, str]) -> None:
        units = {"lbf": "lbf", "kgf": "kgf", "N": "N"}
        self.model.unit = units.get(answers["unit"])  # type: ignore[assignment]  # the keys are the units themselves

    def _reopen(self) -> None:
        """Have the port open as the model wants it: for a try, then as the proposal describes it."""
        wanted, proposal = as_wanted = self.model.wanted, self.model.proposal
        if wanted is None or as_wanted == self._open_as:
            return
        self._open.close()
        self._open_as = as_wanted
        baud, asked = wanted
        ear = Ear(unread(self.model.url, baud, asked))
        if proposal is not None:
            ear = Ear(described(self.model.url, baud, proposal), decoder_of(proposal.form))
        self._ear = self._open.enter_context(ear)

    def _take_foot(self, at_us: int) -> None:
        if self._foot is None:
            return
        for event in self._foot.events():
            if isinstance(event, PedalLost):
                self._foot_words = f"{event.why[0].upper()}{event.why[1:]}: {event.advice}."
            elif isinstance(event, LineMoved | PedalSaid):
                self._finder.take(event)
            else:
                self._foot_words, self._unwatched = "", "" if event.watched else _UNWATCHED
        self._finder.tick(at_us)


def described(url: str, baud: int, proposal: Proposal) -> LinkSettings:
    """Give a port as the station file with this proposal will have it."""
    return LinkSettings(
        url,
        baud,
        bytesize=7 if proposal.seven_bits else 8,
        parity=proposal.seven_bits or proposal.parity,
        poll=proposal.poll.encode("latin-1"),
        gap_us=gap_us(baud) if isinstance(proposal.form, ModbusFormat) else 0,
    )
