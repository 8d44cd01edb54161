from __future__ import annotations

import threading
import time
from pathlib import Path

from drivers.events import Beside, GaugeReading
from drivers.text_frames import TextDecoder
from simulators.gauge import GAUGE, GaugeMove, VirtualGauge
from simulators.scenarios import SCENARIOS, VirtualBench
from simulators.serve import serve, station_toml
from station.app import Wire
from station.settings.station import load_station

DEADLINE_S = 15.0


def test_what_a_gauge_sends_is_read_as_lengths() -> None:
    """Every frame decodes to millimetres near the slide's place, and says whether the slide moves."""
    gauge = VirtualGauge([GaugeMove(0, 100.0), GaugeMove(2_000_000, 103.0)], seed=3)
    frames = TextDecoder(GAUGE).feed(b"".join(sent.raw for sent in gauge.bytes_until(4_000_000)))
    assert len(frames) == 41
    still = [frame for frame in frames if frame.status == "stable"]  # type: ignore[union-attr]
    assert all(min(abs(frame.force - 100), abs(frame.force - 103)) < 0.2 for frame in still)  # type: ignore[union-attr, operator]
    assert {frame.unit for frame in frames} == {"mm"}  # type: ignore[union-attr]
    assert sum(frame.status == "unstable" for frame in frames) == 4  # type: ignore[union-attr]


def test_a_bench_without_a_gauge_sends_nothing_of_one() -> None:
    """Where a scenario has no gauge, none is heard."""
    assert VirtualBench(SCENARIOS["steady"], 1).gauge_until(1_000_000) == []


def test_a_served_gauge_is_heard_through_its_station_file(tmp_path: Path) -> None:
    """A real port, the station file beside it, and the wire of the bench: lengths arrive as micrometres."""
    scenario = SCENARIOS["gauge"]
    paths: dict[str, str] = {}
    ready, stop = threading.Event(), threading.Event()

    def announce(device: str, path: str) -> None:
        paths[device] = path
        if len(paths) == 3:
            ready.set()

    thread = threading.Thread(target=serve, args=(scenario, 1, tmp_path, announce, stop), daemon=True)
    thread.start()
    try:
        assert ready.wait(DEADLINE_S)
        file = tmp_path / "station.toml"
        file.write_text(station_toml(scenario, paths["scale"], paths["pedal"], paths["gauge"]))
        heard: list[GaugeReading] = []
        deadline = time.monotonic() + DEADLINE_S
        with Wire(load_station(file)) as wire:
            for batch in wire.events():
                heard += [e.event for e in batch if isinstance(e, Beside) and isinstance(e.event, GaugeReading)]
                if len(heard) >= 5 or time.monotonic() > deadline:
                    break
    finally:
        stop.set()
        thread.join(DEADLINE_S)
    assert len(heard) >= 5
    assert all(abs((each.length_um or 0) - 100_000) < 300 for each in heard)
