"""The ready descriptions of scales: each is read in a station file, and decodes what such a scale sends."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from drivers.asking import AskingDecoder
from drivers.checksums import crc16_modbus
from drivers.events import Frame
from station.app import decoder_of
from station.settings.station import load_station

STATION = '[station]\nname = "Bench 1"\n'
REST = 'url = "/dev/ttyUSB0"\ncapacity = "100 lbf"\n'
# What such a scale sends, byte for byte, and what it means.
SAMPLES: dict[str, list[tuple[bytes, Frame]]] = {
    "plain-numbers": [(b"  29.96\r\n", Frame(29.96, "lbf", None)), (b"-0.02\r\n", Frame(-0.02, "lbf", None))],
    "sign-value-unit": [(b"+  29.96 lb\r\n", Frame(29.96, "lbf", None)), (b"-   0.2 kg\r\n", Frame(-0.2, "kgf", None))],
    "status-value-unit-check": [
        (b"ST,+  29.96 lb*04\r\n", Frame(29.96, "lbf", "stable")),
        (b"OL,------- lb*2C\r\n", Frame(None, "lbf", "overload")),
    ],
    "polled": [(b"  29.96 lb\r\n", Frame(29.96, "lbf", None))],
    "modbus-float": [(bytes.fromhex("010304 41efae14"), Frame(29.959999084472656, "lbf", None))],
    "modbus-integer-status": [
        (bytes.fromhex("010408 00000bb4 0002 0001"), Frame(29.96, "lbf", "stable")),
        (bytes.fromhex("010408 00000bb4 0002 0003"), Frame(None, "lbf", "overload")),
    ],
    "scpi": [(b"+2.996000E+01\n", Frame(29.96, "N", None)), (b"9.9E37\n", Frame(None, "N", "overload"))],
}


def test_every_description_has_a_sample() -> None:
    """There is a sample of what each kind of scale sends, and a description of each kind."""
    assert {Path(each.name).stem for each in files("config").joinpath("scales").iterdir()} == SAMPLES.keys()


@pytest.mark.parametrize("name", SAMPLES)
def test_a_description_reads_what_such_a_scale_sends(name: str, tmp_path: Path) -> None:
    """Put into a station file, the description is read whole and decodes every sample, one after another."""
    path = tmp_path / "station.toml"
    path.write_text(STATION + files("config").joinpath(f"scales/{name}.toml").read_text("utf-8") + REST, "utf-8")
    scale = load_station(path).scale
    decoder: Any = decoder_of(scale.format)
    for raw, frame in SAMPLES[name]:
        if isinstance(decoder, AskingDecoder) and decoder.request().startswith(b"SYST"):
            assert decoder.feed(b'0,"No error"\n') == []
            decoder.request()
        if name.startswith("modbus"):
            raw += crc16_modbus(raw).to_bytes(2, "little")  # noqa: PLW2901 -- the sample, sealed
        assert decoder.feed(raw) == [frame]
    assert bool(scale.link.poll) == (name == "polled")
