"""The look at the machine: what is unknown is never called good, and every finding says what to do."""

from __future__ import annotations

import datetime
import json
import os
import sqlite3
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivers.discovery import Port
from station import checkup
from station.checkup import (
    judge_clock,
    judge_ports,
    judge_python,
    judge_room,
    judge_sqlite,
    judge_window,
    look,
    look_at_archive,
)
from station.cli import group
from station.records.archive import Archive
from station.records.entries import Checked
from station.settings.station import load_station

NOON = datetime.datetime(2026, 6, 12, 12, tzinfo=datetime.UTC)
SEEN = {"qt": "6.8.0", "platform": "xcb", "font": True, "sound": None}
STATION = """
[station]
name = "Bench 1"
[scale]
url = "/dev/none-such"
format = "text"
frame = "{value}"
end = "\\r\\n"
unit = "lbf"
capacity = "100 lbf"
[pedal]
kind = "contact"
url = "rfc2217://192.0.2.1:4000"
line = "cts"
"""
BESIDE = """
[second_scale]
url = "/dev/second"
format = "text"
frame = "{value}"
end = "\\r\\n"
unit = "lbf"
capacity = "100 lbf"
[gauge]
url = "/dev/gauge"
frame = "{value}"
end = "\\r\\n"
unit = "in"
"""


def filed(path: Path) -> Path:
    """Make an archive of two entries."""
    with Archive.open(path, bench="Bench 1", create=True) as archive:
        for check in ("no twist", "pins counted"):
            archive.append(Checked(job="26-0001", check=check), at="2026-03-04T05:06:07.000000Z")
    return path


def test_a_machine_that_has_everything_has_nothing_to_mend() -> None:
    """A window, the font and a loudspeaker are good, each said in words."""
    assert [each.state for each in judge_window(SEEN)] == ["good", "good", "good"]
    assert judge_python((3, 13)).state == judge_sqlite((3, 37, 0)).state == "good"


@pytest.mark.parametrize(
    ("found", "name", "state"),
    [
        (SEEN | {"font": False}, "font", "to mend"),
        (SEEN | {"sound": "no loudspeaker is connected"}, "sound", "without"),
        (SEEN | {"sound": "libpulse.so.0: cannot open"}, "sound", "without"),
        (SEEN | {"platform": "offscreen"}, "window", "without"),
        ("ImportError: libGL.so.1", "window", "to mend"),
    ],
)
def test_what_the_window_lacks_is_named_with_what_to_do(found: dict[str, object] | str, name: str, state: str) -> None:
    """Each lack has a state of its own and a next step."""
    (lack,) = [each for each in judge_window(found) if each.name == name]
    assert lack.state == state
    assert lack.do


def test_an_old_python_and_an_old_sqlite_are_to_mend() -> None:
    """What the program needs is named beside what was found."""
    assert judge_python((3, 10)).what == "Python 3.10; 3.11 or later is needed"
    assert judge_sqlite((3, 36, 2)).what == "SQLite 3.36.2; 3.37 or later is needed"


def test_a_port_this_user_may_not_open_names_the_group() -> None:
    """The next step is the one that the link itself would give."""
    ports = [Port("/dev/ttyUSB9", "/dev/ttyUSB9", "an adapter")]
    (denied,) = judge_ports(ports, None, lambda *_: False)
    assert denied.state == "to mend"
    assert "usermod -aG" in denied.do
    assert judge_ports(ports, None, lambda *_: True)[0].state == "good"


def test_no_port_at_all_is_something_the_bench_works_without() -> None:
    """A bench without hardware has simulators."""
    (none,) = judge_ports([], None, os.access)
    assert (none.state, "fidbench simulate" in none.do) == ("without", True)


def test_the_ports_of_a_station_are_looked_at(tmp_path: Path) -> None:
    """A port that is not there is to mend; one on the network cannot be judged from here and is not called good."""
    file = tmp_path / "station.toml"
    file.write_text(STATION)
    _, scale, pedal = judge_ports([], load_station(file), os.access)
    assert (scale.name, scale.state, scale.what) == ("scale", "to mend", "there is no port /dev/none-such")
    assert (pedal.name, pedal.state) == ("pedal", "without")


def test_a_second_scale_and_a_gauge_are_looked_at(tmp_path: Path) -> None:
    """Whatever the station file gives a port of its own is looked for by its name."""
    file = tmp_path / "station.toml"
    file.write_text(STATION + BESIDE)
    names = {each.name: each.what for each in judge_ports([], load_station(file), os.access)}
    assert names["second scale"] == "there is no port /dev/second"
    assert names["gauge"] == "there is no port /dev/gauge"


def test_a_sound_archive_is_worked_out_anew(tmp_path: Path) -> None:
    """Its entries are counted and its last entry's time is known."""
    (health, room), last = look_at_archive(filed(tmp_path / "a.sqlite"))
    assert health.what.endswith("a.sqlite: 2 entries, nothing damaged, no verdict changed")
    assert room.name == "disk"
    assert last == datetime.datetime(2026, 3, 4, 5, 6, 7, tzinfo=datetime.UTC)


def test_an_altered_archive_is_to_mend(tmp_path: Path) -> None:
    """What was altered is said, and where to see the whole of it."""
    path = filed(tmp_path / "a.sqlite")
    with sqlite3.connect(path) as direct:
        direct.execute("DROP TRIGGER IF EXISTS entries_stay")
        for (name,) in direct.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            direct.execute(f"DROP TRIGGER {name}")
        direct.execute("UPDATE entries SET body = replace(body, 'no twist', 'no twits')")
    direct.close()
    (health, _), _ = look_at_archive(path)
    assert health.state == "to mend"
    assert "records verify" in health.do


@pytest.mark.parametrize("content", [b"no archive at all, but some text that is long enough", b""])
def test_a_file_that_is_no_archive_is_to_mend(tmp_path: Path, content: bytes) -> None:
    """Another file, or an empty one, is never called an archive."""
    path = tmp_path / "a.sqlite"
    path.write_bytes(content)
    (health, _), last = look_at_archive(path)
    assert (health.state, last) == ("to mend", None)


def test_an_archive_that_is_not_there_is_made_later(tmp_path: Path) -> None:
    """A first day has none; the look makes none either."""
    (none, _), _ = look_at_archive(tmp_path / "a.sqlite")
    assert none.state == "without"
    assert not (tmp_path / "a.sqlite").exists()


def test_an_address_that_is_no_archive_is_said(tmp_path: Path) -> None:
    """An unknown kind of address is to mend."""
    (wrong,), _ = look_at_archive("mysql://somewhere/archive")
    assert wrong.state == "to mend"
    assert judge_room(tmp_path / "new" / "folder" / "a.sqlite").what.endswith(f"are free in {tmp_path}")


@pytest.mark.parametrize(
    ("now", "last", "kept", "tick", "state"),
    [
        (NOON, None, True, 1e-9, "good"),
        (NOON, NOON, True, 1e-9, "good"),
        (NOON, NOON + datetime.timedelta(seconds=1), True, 1e-9, "to mend"),
        (datetime.datetime(2001, 1, 1, tzinfo=datetime.UTC), None, True, 1e-9, "to mend"),
        (NOON, None, False, 1e-9, "to mend"),
        (NOON, None, None, 1e-9, "without"),
        (NOON, None, True, 0.0156, "to mend"),
    ],
)
def test_the_clock(
    now: datetime.datetime, last: datetime.datetime | None, kept: bool | None, tick: float, state: str
) -> None:
    """A clock before the last entry, before the program, kept by nothing, or too coarse is to mend."""
    judged = judge_clock(now, last, kept, tick)
    assert judged.state == state
    assert bool(judged.do) == (state != "good")


def test_this_machine_is_looked_at(tmp_path: Path) -> None:
    """Qt really starts in its own process, and everything has a name."""
    names = {each.name for each in look(filed(tmp_path / "a.sqlite"), None, NOON)}
    assert {"python", "window", "font", "sound", "port", "sqlite", "archive", "disk", "clock"} <= names


def test_a_qt_that_does_not_start_gives_its_last_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """A platform that Qt does not have ends its process; what it said is handed on."""
    monkeypatch.setenv("WAYLAND_DISPLAY", "wayland-0")
    monkeypatch.setenv("QT_QPA_PLATFORM", "none-such")
    said = checkup._probe()
    assert isinstance(said, str)
    assert "none-such" in said


@pytest.mark.skipif(sys.platform != "linux", reason="a display is found this way on Linux alone")
def test_a_display_at_which_nobody_answers_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the named display is gone, Qt still loads, and nobody is told to install what is there."""
    for name in ("WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("DISPLAY", ":7343")
    window, *_ = judge_window(checkup._probe())
    assert (window.state, "there is no display here" in window.what) == ("without", True)


def test_the_command_answers_in_json_and_ends_with_what_it_found(tmp_path: Path) -> None:
    """The status is 1 where something is to mend, 2 where the station file is wrong."""
    path = tmp_path / "a.sqlite"
    path.write_bytes(b"no archive")
    done = CliRunner().invoke(group, ["checkup", "--archive", str(path), "--json"], standalone_mode=False)
    answer = json.loads(done.output)
    assert (answer["good"], done.return_value) == (False, 1)
    archive = next(each for each in answer["looked_at"] if each["name"] == "archive")
    assert set(archive) == {"name", "state", "what", "do"}
    told = CliRunner().invoke(group, ["checkup", "--archive", str(path)], standalone_mode=False)
    assert "TO MEND  archive" in told.output
    assert told.output.rstrip().endswith("to mend.")
