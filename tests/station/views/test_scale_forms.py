from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PyQt6.QtWidgets import QComboBox
from pytestqt.qtbot import QtBot

from station.settings.station import load_station
from station.settings.writing import values_of
from station.views.form import Form
from station.views.scale_forms import (
    Instrument,
    shown_bytes,
    shown_of,
    shown_words,
    typed_bytes,
    typed_words,
)
from station.views.scale_page import Known, ScalePage
from tests.station.views.test_dialogs import errors

READY = sorted(Path("config/scales").glob("*.toml"))
FIRST = '[station]\nname = "Bench 1"\n\n[scale]\nurl = "/dev/scale"\ncapacity = "100 lbf"\n'
SECOND = """
[second_scale]
url = "/dev/second"
format = "text"
frame = "{value} {unit}"
end = "\\r\\n"
capacity = "50 lbf"
"""
GAUGE = """
[gauge]
url = "/dev/gauge"
frame = "{value} {unit};{status}"
end = "\\r\\n"
units = { inch = "in" }
status = { still = "stable", moving = "unstable" }
rising = "short"
"""


def station_of(ready: Path) -> str:
    """Give a station file with a ready-made description in it."""
    return FIRST + ready.read_text(encoding="utf-8").partition("[scale]\n")[2]


def page_of(qtbot: QtBot, file: Path, shown: Instrument = "scale") -> tuple[ScalePage, Form]:
    """Give the page of an instrument, and its form."""
    page = ScalePage("dark", file, lambda _: None, shown=shown)
    qtbot.addWidget(page)
    page.show()
    assert page.form is not None
    return page, page.form


@pytest.mark.parametrize("ready", READY, ids=lambda path: path.stem)
def test_a_description_is_shown_and_kept_as_it_was(qtbot: QtBot, tmp_path: Path, ready: Path) -> None:
    """Every ready-made description stands whole in the form, and keeping it unchanged changes not one byte."""
    file = tmp_path / "station.toml"
    file.write_text(station_of(ready))
    before = load_station(file)
    page, _ = page_of(qtbot, file)
    page.keep()
    assert errors(page) == []
    assert page.said.text() == ""
    assert load_station(file) == before
    assert file.read_text() == station_of(ready)


@pytest.mark.parametrize("ready", READY, ids=lambda path: path.stem)
def test_a_description_is_typed_with_no_text_editor(qtbot: QtBot, tmp_path: Path, ready: Path) -> None:
    """Typed into an empty form, each kind of scale is what the same description in a file is."""
    wanted = tmp_path / "wanted.toml"
    wanted.write_text(station_of(ready))
    text = wanted.read_text()
    file = tmp_path / "new.toml"
    page, form = page_of(qtbot, file)
    form.fill({**form.answers(), "station.name": "Bench 1", **shown_of("scale", values_of(text), text)})
    page.keep()
    assert errors(page) == []
    assert load_station(file) == load_station(wanted)


@pytest.mark.parametrize(("table", "declared"), [("second_scale", SECOND), ("gauge", GAUGE)])
def test_a_second_scale_and_a_gauge_are_declared_beside_the_first(
    qtbot: QtBot, tmp_path: Path, table: Instrument, declared: str
) -> None:
    """What is typed on its own page is the table that a person would write, and the first scale stays as it was."""
    wanted = tmp_path / "wanted.toml"
    first = station_of(READY[-1])
    wanted.write_text(first + declared)
    file = tmp_path / "station.toml"
    file.write_text(first)
    page, form = page_of(qtbot, file, table)
    form.fill({**form.answers(), **shown_of(table, values_of(wanted.read_text()), wanted.read_text())})
    page.keep()
    assert errors(page) == []
    assert load_station(file) == load_station(wanted)
    assert file.read_text().startswith(first.rstrip())


def test_only_what_a_format_has_is_asked_and_kept(qtbot: QtBot, tmp_path: Path) -> None:
    """Turned from text to SCPI the form asks for a question and no frame, and the file loses what text alone has."""
    file = tmp_path / "station.toml"
    file.write_text(station_of(READY[-1]))
    page, form = page_of(qtbot, file)
    chosen = form.inputs["scale.format"]
    assert isinstance(chosen, QComboBox)
    assert form.inputs["scale.frame"].isVisibleTo(page)
    chosen.setCurrentText("SCPI")
    assert not form.inputs["scale.frame"].isVisibleTo(page)
    assert form.inputs["scale.query"].isVisibleTo(page)
    form.fill({**form.answers(), "scale.query": "MEAS:FORC?", "scale.unit": "N", "scale.end": r"\n"})
    page.keep()
    assert errors(page) == []
    assert "frame" not in file.read_text()
    assert 'query = "MEAS:FORC?"' in file.read_text()


@pytest.mark.parametrize(("key", "typed", "said"), [
    ("end", r"\q", r"expected \r, \n"),
    ("status", "OL", "expected each of its words once"),
    ("status", "OL = heavy", "expected one of"),
    ("checksum", "xor8", "check"),
    ("poll_every", "often", "expected"),
    ("frame", "{valeu}", "{valeu} is no field"),
])  # fmt: skip
def test_what_is_typed_wrong_is_said_beside_its_field(
    qtbot: QtBot, tmp_path: Path, key: str, typed: str, said: str
) -> None:
    """Bytes, words, a check without a place in the frame, a time: each fault is at its field, and the file stays."""
    file = tmp_path / "station.toml"
    ready = next(path for path in READY if path.stem == "sign-value-unit")
    file.write_text(station_of(ready))
    before = file.read_text()
    page, form = page_of(qtbot, file)
    form.fill({**form.answers(), f"scale.{key}": typed})
    page.keep()
    assert said in " ".join([*errors(page), page.said.text()])
    assert file.read_text() == before


def test_another_instrument_is_turned_to(qtbot: QtBot, tmp_path: Path) -> None:
    """The choice names what is declared and what is not yet; what is typed is asked about before another is shown."""
    file = tmp_path / "station.toml"
    file.write_text(station_of(READY[-1]) + SECOND)
    turned: list[str] = []
    page = ScalePage("dark", file, lambda _: None, Known("known", "until"), turn=turned.append)
    qtbot.addWidget(page)
    choice = page.instruments
    assert choice is not None
    assert [choice.itemText(row) for row in range(3)] == [
        "the scale",
        "a second scale, for two cells",
        "a length gauge (none yet)",
    ]
    choice.activated.emit(1)
    assert turned == ["second_scale"]
    assert page.form is not None
    page.form.inputs["scale.capacity"].setText("90 lbf")  # type: ignore[union-attr]  # a line of text
    choice.activated.emit(2)
    assert (turned, choice.currentIndex()) == (["second_scale"], 0)
    choice.activated.emit(2)
    assert turned == ["second_scale", "gauge"]


def test_a_scale_is_heard_and_checked_alone(tmp_path: Path) -> None:
    """A bench with one of its scales alone is that bench, with that scale and no other."""
    file = tmp_path / "station.toml"
    file.write_text(station_of(READY[-1]) + SECOND)
    station = load_station(file)
    alone = station.alone("second_scale")
    assert station.second_scale is not None
    assert (alone.scale, alone.second_scale, alone.name) == (station.second_scale, None, "Bench 1")
    assert list(station.scales) == ["scale", "second_scale"]
    assert list(alone.scales) == ["scale"]


@given(st.text(st.characters(max_codepoint=0x2FF), max_size=8))
def test_bytes_come_back_as_they_were(text: str) -> None:
    """Whatever bytes a file has, what is shown is typed back to the same."""
    assert typed_bytes(shown_bytes(text)) == text


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(st.text(st.characters(max_codepoint=0x2FF), min_size=1, max_size=4), st.sampled_from(["lbf", "N"]))
)
def test_words_come_back_as_they_were(words: dict[str, str]) -> None:
    """Whatever words a scale has, with commas, quotes or spaces in them, what is shown is typed back to the same."""
    assert typed_words(shown_words(words), "scale.units") == words
