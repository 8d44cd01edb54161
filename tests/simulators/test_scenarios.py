from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from drivers.asking import AskingDecoder
from drivers.events import Frame, Reading
from drivers.modbus_rtu import ModbusFormat, question
from drivers.scpi import ScpiFormat
from drivers.stamps import Stamper
from drivers.text_frames import TextFormat
from simulators.scale import ScaleModel
from simulators.scenarios import DEFAULT, SCENARIOS, Scenario, VirtualBench
from simulators.serve import station_toml
from station.app import decoder_of
from station.measuring.hold import Judgement, judge, typed_uncertainty
from station.measuring.trace import Trace
from station.settings.station import StationSettings, load_station
from station.units import force_n

S = 1_000_000


def played(scenario: Scenario, seed: int) -> tuple[list[Reading], int]:
    """Give the readings of a scenario through the production decoder and stamper, and how often there was noise.

    A scale that only answers is asked every 0.1 s.
    """
    decoder, stamper = decoder_of(scenario.scale.format), Stamper(scenario.scale.period_us)
    bench = VirtualBench(scenario, seed)
    readings: list[Reading] = []
    noise = 0

    def take(arrived_us: int, raw: bytes) -> None:
        nonlocal noise, readings
        found = decoder.feed(raw)
        frames = [each for each in found if isinstance(each, Frame)]
        noise += len(found) - len(frames)
        stamps = stamper.stamp(len(frames), arrived_us)
        readings += [Reading(at_us, *frame, arrived_us) for at_us, frame in zip(stamps, frames, strict=True)]

    if not scenario.scale.request:
        for arrived_us, raw in bench.bytes_until(scenario.duration_us):
            take(arrived_us, raw)
        return readings, noise
    for at_us in range(0, scenario.duration_us, 100_000):
        asked = decoder.request() if isinstance(decoder, AskingDecoder) else scenario.scale.request
        for arrived_us, raw in bench.answer(at_us, asked):
            take(arrived_us, raw)
    return readings, noise


def station(scenario: Scenario, directory: Path) -> StationSettings:
    """Give the settings that the scenario's own station file reads as."""
    path = directory / "station.toml"
    path.write_text(station_toml(scenario, "/dev/scale", "/dev/pedal"), encoding="utf-8")
    return load_station(path)


def judged(scenario: Scenario, directory: Path, seed: int = 1) -> Judgement:
    """Judge what a scenario sent, by the hold and the uncertainty of its own station file."""
    settings = station(scenario, directory)
    assert settings.hold is not None
    readings, _ = played(scenario, seed)
    known_n = settings.scale.uncertainty_n
    uncertainty = None if known_n is None else typed_uncertainty(round(known_n * 1000), known_n)
    return judge(Trace.of(readings), settings.hold, uncertainty, settings.scale.response_us)


@pytest.mark.parametrize("name", SCENARIOS)
def test_scenario_gets_the_verdict_it_states(name: str, tmp_path: Path):
    """Every scenario, through real bytes, decoder, stamper and rule, gets the verdict and reasons it states."""
    scenario = SCENARIOS[name]
    judgement = judged(scenario, tmp_path)
    assert (judgement.verdict, judgement.reasons) == (scenario.verdict, scenario.reasons)


_STEADY = SCENARIOS["steady"]


@pytest.mark.parametrize(
    "scenario",
    [
        *SCENARIOS.values(),
        replace(_STEADY, scale=ScaleModel(TextFormat("\x02{value:8}", b"\x03", "kgf", decimal=","), "kgf")),
        replace(
            _STEADY,
            scale=ScaleModel(
                TextFormat('"{value} {unit}"{check}', b"\n", checksum="xor8", check_range=(1, -2), check_form="bytes"),
                "N",
                capacity_n=500.0,
            ),
        ),
    ],
    ids=lambda scenario: scenario.name,
)
def test_station_file_says_what_the_simulated_scale_does(scenario: Scenario, tmp_path: Path):
    """The station file of a scenario reads back as the format, poll, period and figures of its scale."""
    read, model = station(scenario, tmp_path).scale, scenario.scale
    assert read.format == model.format
    match read.format:
        case ModbusFormat():
            asked = question(read.format)
        case ScpiFormat():
            asked = read.format.query.encode() + read.format.end
        case _:
            asked = read.link.poll
    assert (read.link.url, asked) == ("/dev/scale", model.request)
    assert read.link.period_us == (None if model.request else model.period_us)
    assert read.capacity_mn == pytest.approx(model.capacity_n * 1000, abs=1)
    assert read.resolution_mn == pytest.approx(model.resolution_n * 1000, abs=1)
    assert read.response_us == model.settling_us


def test_default_scenario_is_there_and_goes_on_for_ever():
    """The default scenario pulls in its tenth round as in its first, and taps the pedal once a round."""
    scenario = SCENARIOS[DEFAULT]
    assert scenario.every_us is not None
    bench = VirtualBench(scenario, 1)
    tensions = [bench.puller.tension_n(20 * S + lap * scenario.every_us) for lap in range(10)]
    assert min(tensions) > force_n("29 lbf")
    edges = bench.edges_until(10 * scenario.every_us)
    assert sum(1 for edge in edges if (edge.at_us - scenario.taps[0].at_us) % scenario.every_us == 0) == 10
    assert bench.edges_until(10 * scenario.every_us) == []


def test_edges_come_out_when_they_are_due():
    """However often the pedal is looked at, each edge comes out once, no sooner than its stamp."""
    looked, whole = VirtualBench(SCENARIOS["steady"], 4), VirtualBench(SCENARIOS["steady"], 4)
    edges = []
    for at_us in range(0, 100 * S, 999):
        due = looked.edges_until(at_us)
        assert all(at_us - 999 < edge.at_us <= at_us for edge in due)
        edges += due
    assert edges == whole.edges_until(100 * S)
    assert VirtualBench(SCENARIOS["dashes"], 4).edges_until(100 * S) == []


def test_scenario_is_the_same_for_the_same_seed():
    """Two plays of one seed give the same bytes at the same stamps; another seed gives others."""
    first, again, other = (VirtualBench(SCENARIOS["garbled"], seed).bytes_until(20 * S) for seed in (6, 6, 7))
    assert first == again
    assert first != other


def test_lagging_filter_hides_a_slip_and_the_judgement_says_so(tmp_path: Path):
    """The slip below the band is real, no reading shows it, and it is shorter than what the judgement is blind to."""
    scenario = SCENARIOS["lagging-filter"]
    bench = VirtualBench(scenario, 1)
    slipping_us = range(19 * S, 22 * S, 1_000)
    below_us = sum(1_000 for at_us in slipping_us if bench.puller.tension_n(at_us) < force_n("28 lbf"))
    judgement = judged(scenario, tmp_path)
    assert judgement.blind_to_us is not None
    assert 300_000 <= below_us < judgement.blind_to_us
    assert judgement.verdict == "held"


def test_garbled_frames_are_noise_and_never_readings():
    """With a check in the frame every garbled frame is told from a good one: none reads as a tension."""
    scenario = SCENARIOS["garbled"]
    bench = VirtualBench(scenario, 1)
    sent = len(bench.scale.bytes_until(scenario.duration_us, bench.puller.tension_n))
    readings, noise = played(scenario, 1)
    hit = sent // 10
    assert 0 < noise <= 2 * hit
    assert sent - 2 * hit <= len(readings) <= sent - hit
    assert max(reading.force or 0 for reading in readings) < 33


def test_frozen_indicator_would_pass_without_a_still_limit(tmp_path: Path):
    """A frozen number cannot be told from a dead weight: the scenario is caught by its still limit alone."""
    frozen = SCENARIOS["frozen"]
    (reading, _) = played(frozen, 1)
    settings = station(frozen, tmp_path)
    assert settings.hold is not None
    trace = Trace.of(reading)
    blind = type(settings.hold)(**{**settings.hold.facts(), "still_limit_us": None})
    assert judge(trace, blind, typed_uncertainty(890)).verdict == "held"
    assert judge(trace, settings.hold, typed_uncertainty(890)).reasons == ("short",)


def test_an_instrument_tells_the_error_it_began_with_and_what_it_did_not_understand():
    """Its error queue gives each error once, oldest first, and then says that there is none."""
    bench = VirtualBench(SCENARIOS["by-scpi"], 1)
    said = b"".join(raw for _, raw in bench.answer(S, b"SYST:ERR?\nHELLO\nREAD?\nSYST:ERR?\nSYST:ERR?\n"))
    first, number, second, none = said.split(b"\n")[:-1]
    assert first.startswith(b"-314,")
    assert -1 < float(number) < 1
    assert second == b'-113,"Undefined header"'
    assert none == b'0,"No error"'
