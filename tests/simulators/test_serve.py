from __future__ import annotations

import os
import select
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from drivers.events import Frame, Garbage, LinkLost, LinkUp, PedalEdge, Reading
from drivers.pedal import PedalText
from drivers.text_frames import TextDecoder
from simulators.faults import Fault
from simulators.hand import Pull
from simulators.scenarios import SCENARIOS, Scenario, Tap
from simulators.serve import Port, serve, station_toml
from station.app import Wire
from station.measuring.hold import HoldSpecification
from station.one_hold import run as one_hold
from station.settings.station import load_station
from station.units import force_n

DEADLINE_S = 10.0


@contextmanager
def served(scenario: Scenario, directory: Path, speed: float = 1.0) -> Iterator[dict[str, str]]:
    """Serve a scenario in a thread; give the paths announced, and stop it at the end."""
    paths: dict[str, str] = {}
    ready, stop = threading.Event(), threading.Event()

    def announce(device: str, path: str) -> None:
        paths[device] = path
        if len(paths) == 2:
            ready.set()

    thread = threading.Thread(
        target=serve, args=(scenario, 1, directory, announce, stop), kwargs={"speed": speed}, daemon=True
    )
    thread.start()
    try:
        assert ready.wait(DEADLINE_S)
        yield paths
    finally:
        stop.set()
        thread.join(DEADLINE_S)
        assert not thread.is_alive()


@contextmanager
def opened(path: str | Path) -> Iterator[int]:
    """Open a port as any program would: raw, and without waiting."""
    port = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        tty.setraw(port)
        yield port
    finally:
        os.close(port)


def read_until(port: int, enough: int) -> bytes:
    """Read until `enough` bytes have come, or the deadline."""
    got, deadline = b"", time.monotonic() + DEADLINE_S
    while len(got) < enough and (left := deadline - time.monotonic()) > 0:
        if select.select([port], [], [], left)[0]:
            got += os.read(port, 4096)
    assert len(got) >= enough
    return got


def test_another_program_reads_frames_from_the_port(tmp_path: Path):
    """What is read from the scale's port decodes as frames of the scenario, but for a first piece."""
    scenario = SCENARIOS["steady"]
    with served(scenario, tmp_path, speed=5) as paths, opened(paths["scale"]) as port:
        assert paths == {"scale": str(tmp_path / "scale"), "pedal": str(tmp_path / "pedal")}
        found = TextDecoder(scenario.scale.format).feed(read_until(port, 1000))
    assert sum(isinstance(each, Frame) for each in found) >= 40
    assert all(isinstance(each, Frame) for each in found[1:])


def test_a_modbus_scale_is_read_through_its_station_file(tmp_path: Path):
    """The scale that speaks Modbus is asked and read over its port as its own station file says, without noise."""
    scenario = SCENARIOS["by-modbus"]
    with served(scenario, tmp_path) as paths:
        file = tmp_path / "station.toml"
        file.write_text(station_toml(scenario, paths["scale"], paths["pedal"]), encoding="utf-8")
        with Wire(load_station(file), with_pedal=False) as wire:
            events: list[object] = []
            for batch in wire.events():
                events += batch
                if sum(isinstance(each, Reading) for each in events) >= 5:
                    break
    assert not [each for each in events if isinstance(each, Garbage)]
    assert {each.unit for each in events if isinstance(each, Reading)} == {"lbf"}


PULL = tuple(Pull(round(at_s * 1e6), force_n(force), 200_000) for at_s, force in ((1.5, "32 lbf"), (6, "0 lbf")))
SHORT = HoldSpecification("short", 133_447, 124_550, 200_170, 266_893, 1_200_000)


@pytest.mark.parametrize("name", ["polled", "by-modbus", "by-scpi", "on-the-network"])
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_hold_on_every_kind_of_port(name: str, tmp_path: Path):
    """A pull on a scale that answers, by whatever protocol, or stands on the network, is held, and nothing is lost."""
    scenario = replace(SCENARIOS[name], plan=PULL, every_us=None, taps=())
    with served(scenario, tmp_path) as addresses:
        file = tmp_path / "station.toml"
        file.write_text(station_toml(scenario, addresses["scale"], addresses["pedal"]), encoding="utf-8")
        said = list(one_hold(load_station(file), SHORT, 20_000_000, None))
    events = [each.event for each in said]
    assert (events[0], events[-1], said[-1].more["verdict"]) == ("link-up", "verdict", "held")
    assert "link-lost" not in events


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_scale_on_the_network_is_unplugged_and_its_foot_is_a_contact(tmp_path: Path):
    """Its server hangs up while the cable is out and answers at the same number after; taps come as edges of CTS."""
    scenario = replace(
        SCENARIOS["on-the-network"],
        plan=(),
        taps=(Tap(800_000, 300_000),),
        every_us=1_200_000,
        faults=(Fault("unplug", from_us=1_500_000, until_us=2_000_000),),
    )
    with served(scenario, tmp_path) as addresses:
        file = tmp_path / "station.toml"
        file.write_text(station_toml(scenario, addresses["scale"], addresses["pedal"]), encoding="utf-8")
        events: list[Any] = []
        deadline = time.monotonic() + 3 * DEADLINE_S
        with Wire(load_station(file)) as wire:
            for batch in wire.events():
                events += batch
                kinds = [type(each) for each in events]
                lost = kinds.index(LinkLost) if LinkLost in kinds else len(kinds)
                if (Reading in kinds[lost:] and kinds.count(PedalEdge) >= 4) or time.monotonic() > deadline:
                    break
    edges = [each.down for each in events if isinstance(each, PedalEdge)]
    assert kinds.count(LinkUp) >= 2
    assert edges == [number % 2 == 0 for number in range(len(edges))]
    assert next(each for each in events if isinstance(each, LinkLost)).why.endswith("is gone")


def test_polled_scale_answers_on_the_port(tmp_path: Path):
    """A polled scale is silent until the request has been written, and then sends one frame."""
    scenario = SCENARIOS["polled"]
    with served(scenario, tmp_path) as paths, opened(paths["scale"]) as port:
        assert not select.select([port], [], [], 0.1)[0]
        os.write(port, scenario.scale.request)
        raw = read_until(port, 10)
        assert not select.select([port], [], [], 0.1)[0]
    (frame,) = TextDecoder(scenario.scale.format).feed(raw)
    assert isinstance(frame, Frame)


def test_pedal_sends_its_edges_as_lines(tmp_path: Path):
    """The taps arrive as lines that the production reader of a text pedal takes for presses and releases."""
    scenario = replace(SCENARIOS["steady"], taps=(Tap(300_000),), every_us=500_000, plan=())
    with served(scenario, tmp_path) as paths, opened(paths["pedal"]) as port:
        raw = read_until(port, 30)
    levels = PedalText(down=b"D", up=b"U").feed(raw)
    assert set(raw.splitlines()[:-1]) == {b"D", b"U"}
    assert len(levels) >= 9
    assert all(later is not sooner for sooner, later in pairwise(levels))


def test_slow_reader_loses_bytes_and_holds_nobody_up(tmp_path: Path):
    """A port that nobody empties takes what fits and drops the rest at once, and works again when it is read."""
    with Port(tmp_path / "scale") as port, opened(tmp_path / "scale") as reader:
        began = time.monotonic()
        for _ in range(1000):
            port.send(b"x" * 1000)
        assert time.monotonic() - began < DEADLINE_S
        assert port.lost_bytes > 900_000
        assert len(read_until(reader, 1_000_000 - port.lost_bytes)) == 1_000_000 - port.lost_bytes
        port.send(b"again")
        assert read_until(reader, 5) == b"again"


def test_what_nobody_was_there_for_is_lost(tmp_path: Path):
    """Bytes sent before a reader comes, or between two readers, are never delivered late; the port stays raw."""
    with Port(tmp_path / "scale") as port:
        port.send(b"too early")
        for message in (b"one\r\n\x04\x11", b"two\r\n\x04\x11"):
            reader = os.open(tmp_path / "scale", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            port.send(message)
            assert read_until(reader, len(message)) == message
            assert port.heard() == b""
            os.close(reader)
            port.send(b"nobody here")
            assert port.heard() == b""
        assert port.lost_bytes == len(b"too early" + 2 * b"nobody here")


def test_unplugged_cable_takes_the_port_away_and_brings_it_back(tmp_path: Path):
    """While the cable is out the port's name is gone and its reader finds it dead; then the name works again."""
    scenario = replace(SCENARIOS["steady"], faults=(Fault("unplug", from_us=300_000, until_us=600_000),))
    with served(scenario, tmp_path) as paths:
        with opened(paths["scale"]) as port:
            assert read_until(port, 20)
            with pytest.raises(OSError, match="Input/output"):  # noqa: PT012  # reads until the port dies
                while True:
                    assert select.select([port], [], [], DEADLINE_S)[0]
                    if not os.read(port, 4096):
                        raise OSError("Input/output: end of file")
        assert not Path(paths["scale"]).exists()
        deadline = time.monotonic() + DEADLINE_S
        while not Path(paths["scale"]).exists() and time.monotonic() < deadline:
            select.select([], [], [], 0.01)
        with opened(paths["scale"]) as port:
            assert read_until(port, 20)


def test_ports_are_gone_when_serving_ends(tmp_path: Path):
    """Serving leaves no link behind, and takes over one left by a run that was killed."""
    (tmp_path / "scale").symlink_to("/dev/pts/gone")
    with served(SCENARIOS["steady"], tmp_path) as paths:
        assert Path(paths["scale"]).exists()
    assert list(tmp_path.iterdir()) == []


def test_file_in_the_way_is_left_alone(tmp_path: Path):
    """A file that bears the port's name is never replaced; the error names it."""
    (tmp_path / "scale").write_text("mine")
    with pytest.raises(FileExistsError, match="scale: is there already"):
        Port(tmp_path / "scale").plug()
    assert (tmp_path / "scale").read_text() == "mine"
