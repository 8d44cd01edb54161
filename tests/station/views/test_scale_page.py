from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from drivers.events import Event, LinkUp, PedalEdge, Reading
from drivers.link import PedalLinkSettings
from drivers.text_frames import TextFormat
from station.settings.station import KeyPedal, load_station
from station.views.scale_page import Known, ScalePage
from tests.station.views.pages import PRESS, shown
from tests.station.views.pages_gallery import STATION
from tests.station.views.test_dialogs import errors

pytestmark = pytest.mark.usefixtures("own_folder")


class Bench:
    """A station's ports, of which a test says what comes."""

    def __init__(self) -> None:
        self.open = 0
        self.coming: list[Event] = []

    @contextmanager
    def hear(self) -> Iterator[Callable[[], Sequence[Event]]]:
        """Open the ports."""
        self.open += 1
        yield self._taken
        self.open -= 1

    def _taken(self) -> list[Event]:
        came, self.coming = self.coming, []
        return came


def test_what_the_scale_sends_is_shown_and_the_ports_are_let_go(qtbot: QtBot, tmp_path: Path) -> None:
    """A reading is shown as it came, the pedal too; without a force there is no number; closing lets the ports go."""
    file, bench = tmp_path / "station.toml", Bench()
    file.write_text(STATION)
    known = Known("scale checked today, ±0.12 lbf", "until 2027-06-01")
    page = ScalePage("dark", file, lambda _: None, known, bench.hear)
    shown(qtbot, page)
    assert page.known.text() == "Scale checked today, ±0.12 lbf.\nuntil 2027-06-01"
    qtbot.keyClick(page.hear_button, Qt.Key.Key_Space)
    bench.coming = [LinkUp(0, "usb-scale"), Reading(1, 30.02, "lbf", None, 1), PedalEdge(2, True)]
    page.listen()
    assert page.reading.text() == "30.02 lbf"
    assert page.more.text() == "usb-scale is open · 1 reading · pedal down"
    bench.coming = [Reading(3, None, None, "overload", 3)]
    page.listen()
    assert page.reading.text() == "no force: the scale says overload"
    assert bench.open == 1
    page.close()
    assert bench.open == 0


def test_a_station_file_is_changed_in_the_form(qtbot: QtBot, tmp_path: Path) -> None:
    """A new capacity is kept among the person's own comments; a wrong one is said, and the file stays."""
    file, used = tmp_path / "station.toml", list[Path]()
    file.write_text(STATION)
    page = ScalePage("dark", file, used.append)
    shown(qtbot, page)
    assert page.form is not None
    page.form.fill({**page.form.answers(), "scale.capacity": "200"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert "expected a force with its unit" in errors(page)[0]
    assert (file.read_text(), used) == (STATION, [])
    page.form.fill({**page.form.answers(), "scale.capacity": "200 lbf", "scale.baud": "19200"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert used == [file]
    assert load_station(file).scale.link.baud == 19_200
    assert file.read_text() == STATION.replace("100 lbf", "200 lbf").replace("9600", "19200")


def test_the_pedal_is_changed_in_the_form(qtbot: QtBot, tmp_path: Path) -> None:
    """Each kind of pedal asks for what it needs alone, and the file then says that and nothing of another kind."""
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    page = ScalePage("dark", file, lambda _: None)
    shown(qtbot, page)
    form = page.form
    assert form is not None
    url = form.inputs["pedal.url"]
    assert url.isVisibleTo(page)
    for kind, changes, pedal in (
        ("a key of the keyboard", {}, KeyPedal()),
        ("none", {}, None),
        (
            "a box that sends text",
            {"pedal.url": "/dev/box", "pedal.down": "1", "pedal.up": "0", "pedal.baud": "4800"},
            PedalLinkSettings(url="/dev/box", baud=4800, kind="text", down=b"1", up=b"0"),
        ),
        (
            "a footswitch between two pins",
            {"pedal.url": "/dev/foot", "pedal.line": "ri"},
            PedalLinkSettings(url="/dev/foot", kind="contact", line="ri"),
        ),
    ):
        form.fill({**form.answers(), "pedal.kind": kind, **changes})
        assert url.isVisibleTo(page) == bool(changes)
        page.keep()
        assert errors(page) == []
        assert load_station(file).pedal == pedal
    form.fill({**form.answers(), "pedal.url": ""})
    page.keep()
    assert errors(page) == ["is missing and is required"]


@pytest.mark.parametrize(("typed", "units", "said"), [
    ("lb = lbf, kg = kgf", {"lb": "lbf", "kg": "kgf"}, ""),
    ("lb. = lbf", {"lb.": "lbf"}, ""),
    ('"=" = N', {"=": "N"}, ""),
    ("lb", None, "expected each of its words once"),
    ("lb = lbf, lb = N", None, "expected each of its words once"),
    ("lb = pounds", None, "expected one of"),
    ("", {}, ""),
])  # fmt: skip
def test_its_words_for_units_are_typed(
    qtbot: QtBot, tmp_path: Path, typed: str, units: dict[str, str] | None, said: str
) -> None:
    """What the scale calls its units is typed in a row; what is none is said, and the file stays."""
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    page = ScalePage("dark", file, lambda _: None)
    shown(qtbot, page)
    assert page.form is not None
    page.form.fill({**page.form.answers(), "scale.units": typed})
    page.keep()
    form = load_station(file).scale.format
    assert isinstance(form, TextFormat)
    assert form.units == ({"lb": "lbf"} if units is None else units)
    assert any(said in found for found in errors(page)) if units is None else errors(page) == []


def test_a_station_file_that_is_none_is_refused(qtbot: QtBot, tmp_path: Path) -> None:
    """Choosing a file that is no station file says so, and the one in use stays; without one nothing can be heard."""
    used: list[Path] = []
    bad = tmp_path / "bad.toml"
    bad.write_text("[scale]\n")
    page = ScalePage("dark", None, used.append, choose=lambda: str(bad))
    shown(qtbot, page)
    assert not page.hear_button.isVisible()
    qtbot.keyClick(page.choose_button, Qt.Key.Key_Return)
    assert page.said.text().startswith(f"Not done: {bad}")
    assert used == []
