"""Captures through the command line: what was heard once is judged again to the same verdict."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from commands import FOREIGN_STATION, HOLD, ForeignScale, run

from drivers.events import Garbage, LinkLost, Reading, Tick
from station.app import Wire
from station.settings.station import load_station

CAPTURES = Path(__file__).parents[2] / "captures"
STATION = """
[station]
name = "Bench of a capture"
[scale]
url = "pulled-plug.capture"
format = "text"
frame = "{value};{unit};{status}"
end = "\\r\\n"
units = { pounds = "lbf" }
status = { steady = "stable", moving = "unstable", over = "overload" }
capacity = "100 lbf"
response = "0.05 s"
uncertainty = "0.2 lbf"
uncertainty_until = "2099-01-01"
"""


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """Put a station file beside the capture that it names."""
    capture = tmp_path / "pulled-plug.capture"
    capture.write_text((CAPTURES / "pulled-plug.capture").read_text())
    path = tmp_path / "station.toml"
    path.write_text(STATION + HOLD)
    return path


def test_a_capture_is_judged_as_the_hold_that_it_was(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A pulled plug breaks the span, and the second and a half after it is held; it takes no time to hear it again."""
    began = time.monotonic()
    ran = run(capfd, "hold", "--station", station, "--json")
    assert time.monotonic() - began < 5
    assert ran.status == 0
    events = [each["event"] for each in ran.lines]
    assert events[:2] == ["link-up", "reading"]
    assert events.count("reading") == 2
    assert events.count("link-lost") == 1
    assert events[-1] == "verdict"
    assert ran.lines[-1]["verdict"] == "held"
    assert ran.lines[-1]["span"] == pytest.approx([2.1, 3.1], abs=0.3)
    assert run(capfd, "hold", "--station", station, "--json").lines == ran.lines


def test_a_capture_that_ends_too_soon(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A capture without a full hold is not held; one without a frame was never a scale."""
    capture = station.parent / "pulled-plug.capture"
    lines = capture.read_text().splitlines()
    capture.write_text("\n".join(lines[:60]) + "\n")
    ran = run(capfd, "hold", "--station", station, "--json")
    assert (ran.status, ran.lines[-1]["verdict"]) == (1, "not-held")
    capture.write_text(lines[0] + "\n")
    assert run(capfd, "hold", "--station", station).status == 3


def test_a_capture_that_another_description_reads(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A description of another scale reads nothing in a capture: status 3, and how to find the right one."""
    station.write_text(station.read_text().replace("{value};{unit};{status}", "{status},{value} {unit}"))
    ran = run(capfd, "hold", "--station", station)
    assert ran.status == 3
    assert f"fidbench listen {station.parent / 'pulled-plug.capture'} shows what is in it" in ran.err


def test_nobody_is_told_to_pull_before_the_scale_is_read(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """An open port is no scale: "pull" is said at the first reading, and never where nothing can be read."""
    read = run(capfd, "hold", "--station", station)
    assert read.out.index("the port is open: wait for a reading") < read.out.index("the scale is read: pull to")
    station.write_text(station.read_text().replace("{value};{unit};{status}", "{status},{value} {unit}"))
    unread = run(capfd, "hold", "--station", station)
    assert "the port is open" in unread.out
    assert "pull to" not in unread.out


def test_a_pull_over_the_ceiling_is_told_at_once(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A pull that spoils the hold is told when it comes, "hold it" no more after it, and the verdict says it once."""
    pulls = [*[30.0] * 20, *[65.0] * 3, *[30.0] * 60]
    lines = [f"{at * 20_000} {(b'%.1f;pounds;steady' % pull).hex()} 0d 0a" for at, pull in enumerate(pulls)]
    name = (CAPTURES / "pulled-plug.capture").read_text().splitlines()[0]
    (station.parent / "pulled-plug.capture").write_text("\n".join([name, *lines]) + "\n")
    ran = run(capfd, "hold", "--station", station)
    told, _, verdict = ran.out.partition("Ease off: it cannot count.")
    assert ran.status == 1
    assert told.count("went over the ceiling") == 1
    assert "hold it" in told
    assert "hold it" not in verdict
    assert verdict.count("went over the ceiling") == 1
    events = [each["event"] for each in run(capfd, "hold", "--station", station, "--json").lines]
    assert events.count("spoilt") == 1
    assert events[-1] == "verdict"


def test_what_breaks_again_and_again_is_told_once(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A scale too slow for the hold breaks it at each reading: a person is told once, JSON each time."""
    name = (CAPTURES / "pulled-plug.capture").read_text().splitlines()[0]
    times = [*range(0, 8_000_000, 500_000), *range(8_000_000, 9_200_000, 50_000)]
    lines = [f"{at_us} {b'30.0;pounds;steady'.hex()} 0d 0a" for at_us in times]
    (station.parent / "pulled-plug.capture").write_text("\n".join([name, *lines]) + "\n")
    ran = run(capfd, "hold", "--station", station)
    assert ran.status == 0
    assert ran.out.count("The scale said nothing for too long") == 2
    assert ran.out.count("again and again: each time it starts anew") == 1
    assert ran.out.count("hold it") == 2
    events = [each["event"] for each in run(capfd, "hold", "--station", station, "--json").lines]
    assert events.count("broken") == 15


def test_what_is_no_capture_is_refused(capfd: pytest.CaptureFixture[str], station: Path) -> None:
    """A file that is no capture is refused with its name and its line, and status 2."""
    capture = station.parent / "pulled-plug.capture"
    capture.write_text(capture.read_text() + "12 zz\n")
    ran = run(capfd, "hold", "--station", station)
    assert ran.status == 2
    assert f"{capture}: line " in ran.err
    assert "found '12 zz', expected microseconds" in ran.err


def test_a_hold_is_captured_and_judged_again(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """What `hold --capture` writes, named as a url, gives the same events and the same verdict, to the microsecond."""
    station, capture = tmp_path / "station.toml", tmp_path / "run.capture"
    station.write_text(FOREIGN_STATION.format(url=tmp_path / "scale") + HOLD)
    with ForeignScale(tmp_path / "scale"):
        live = run(capfd, "hold", "--station", station, "--capture", capture, "--json")
        again = run(capfd, "hold", "--station", station, "--capture", capture)
    assert live.status == 0
    assert (again.status, "is there already" in again.err) == (2, True)
    station.write_text(FOREIGN_STATION.format(url="run.capture") + HOLD)
    replayed = run(capfd, "hold", "--station", station, "--json")
    assert replayed.status == 0
    assert replayed.lines == live.lines


def test_the_window_hears_a_capture_at_its_own_pace(station: Path) -> None:
    """What the window takes from a capture comes no sooner than it came, and is stamped as if it came now."""
    before_us = time.monotonic_ns() // 1000
    events = []
    with Wire(load_station(station), with_pedal=False) as wire:
        while not any(isinstance(event, LinkLost) for event in events):
            events += wire.waiting()
            time.sleep(0.02)
            assert time.monotonic_ns() // 1000 - before_us < 10_000_000
    after_us = time.monotonic_ns() // 1000
    readings = [event for event in events if isinstance(event, Reading)]
    assert after_us - before_us >= 1_190_000
    assert all(before_us <= each.at_us <= each.arrived_us <= after_us for each in readings)
    assert len(readings) >= 47
    assert any(isinstance(event, Garbage) and b"pou~ds" in event.raw for event in events)
    assert any(isinstance(event, Tick) for event in events)
