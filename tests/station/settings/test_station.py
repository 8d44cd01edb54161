"""Station files: how each kind of scale is described, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from drivers.modbus_rtu import ModbusDecoder, ModbusFormat
from drivers.scpi import ScpiDecoder, ScpiFormat
from drivers.text_frames import TextDecoder
from station.app import decoder_of
from station.settings.station import load_station
from station.settings.tables import SettingsFault

HEAD = '[station]\nname = "Bench 1"\n[scale]\nurl = "/dev/ttyUSB0"\ncapacity = "100 lbf"\n'
TEXT = 'format = "text"\nframe = "{value} {unit}"\nend = "\\r\\n"\n'
MODBUS = 'format = "modbus-rtu"\nunit = "lbf"\nregister = 4\nnumber = "float32"\n'
SCPI = 'format = "scpi"\nunit = "N"\nquery = "FETCH?"\n'


def written(folder: Path, text: str) -> Path:
    """Write a station file."""
    path = folder / "station.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return path


def test_a_scale_of_text_frames(tmp_path: Path) -> None:
    """A text scale is asked only where the file says what to send."""
    station = load_station(written(tmp_path, TEXT + 'poll = "?\\r"\npoll_every = "0.2 s"\n'))
    assert (station.scale.link.poll, station.scale.link.poll_every_us) == (b"?\r", 200_000)
    assert isinstance(decoder_of(station.scale.format), TextDecoder)


def test_a_modbus_scale(tmp_path: Path) -> None:
    """Every key of a Modbus scale is read, silence follows from its speed, and all has defaults."""
    scale = load_station(written(tmp_path, MODBUS)).scale
    assert scale.format == ModbusFormat(unit="lbf", register=4, number="float32")
    assert (scale.link.gap_us, scale.link.answer_within_us, scale.link.poll_every_us) == (4011, 500_000, 100_000)
    assert isinstance(decoder_of(scale.format), ModbusDecoder)
    keys = """
    baud = 38400
    parity = "E"
    address = 17
    function = 4
    word_order = "CDAB"
    factor = 0.1
    decimals_register = 6
    status_register = 7
    status = { "0" = "overload", "not 1" = "unstable" }
    poll_every = "0.02 s"
    answer_within = "0.25 s"
    """
    scale = load_station(written(tmp_path, MODBUS + keys)).scale
    assert scale.format == ModbusFormat(
        unit="lbf",
        register=4,
        number="float32",
        address=17,
        function=4,
        word_order="CDAB",
        factor=0.1,
        decimals_register=6,
        status_register=7,
        status={"0": "overload", "not 1": "unstable"},
    )
    assert (scale.link.gap_us, scale.link.answer_within_us, scale.link.poll_every_us) == (1750, 250_000, 20_000)


def test_a_scpi_scale(tmp_path: Path) -> None:
    """Every key of an instrument that speaks SCPI is read."""
    scale = load_station(written(tmp_path, SCPI)).scale
    assert scale.format == ScpiFormat(unit="N", query="FETCH?")
    assert isinstance(decoder_of(scale.format), ScpiDecoder)
    scale = load_station(written(tmp_path, SCPI + 'end = "\\r\\n"\nfield = 2\nanswer_within = "2 s"\n')).scale
    assert scale.format == ScpiFormat(unit="N", query="FETCH?", end=b"\r\n", field=2)
    assert (scale.link.answer_within_us, scale.link.gap_us) == (2_000_000, 0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('format = "modbus"\n', "[scale] format: found 'modbus', expected one of text, modbus-rtu, scpi"),
        (MODBUS.replace("register = 4", ""), "[scale] register: is missing"),
        (MODBUS.replace("float32", "float"), "[scale] number: found 'float'"),
        (MODBUS + "addres = 2\n", "unknown key 'addres'; the nearest known is 'address'"),
        (MODBUS + "address = 0\n", "[scale] address: found 0"),
        (MODBUS + 'poll = "?"\n', "unknown key 'poll'"),
        (MODBUS + 'status = { "0" = "stable" }\n', "[scale] status_register: is missing"),
        (MODBUS + 'poll_every = "0.001 s"\n', "[scale] found a question every 1000 us, expected 5000 us or more"),
        (SCPI.replace("FETCH?", "FETCH"), "[scale] query: found 'FETCH'"),
        (SCPI.replace('"N"', '"kg"'), "[scale] unit: found 'kg'"),
        (TEXT + "register = 4\n", "unknown key 'register'"),
        (TEXT + 'response = "-0.1 s"\n', "[scale] response: found '-0.1 s', expected a time of 0 s or more"),
        (TEXT + 'resolution = "0 lbf"\n', "[scale] resolution: found '0 lbf', expected a force above 0 lbf"),
        (TEXT + 'uncertainty = "-1 lbf"\n', "[scale] uncertainty: found '-1 lbf', expected a force of 0 lbf or more"),
        (TEXT + '\n[pedal]\nkind = "text"\nurl = "/dev/x"\nbaud = 3\n', "[pedal] baud: found 3, expected a speed"),
        (TEXT + '\n[pedal]\nkind = "text"\nurl = "/dev/x"\nparity = "X"\n', "[pedal] parity: found 'X'"),
        (TEXT + '\n[pedal]\nkind = "text"\nurl = "/dev/x"\nbytesize = 9\n', "[pedal] bytesize: found 9"),
    ],
)
def test_what_cannot_work_is_refused(tmp_path: Path, text: str, words: str) -> None:
    """A description that cannot work is refused with its file, its key, what was found and what was expected."""
    path = written(tmp_path, text)
    with pytest.raises(SettingsFault) as refused:
        load_station(path)
    assert str(refused.value).startswith(f"{path}: ")
    assert words in str(refused.value)


@pytest.mark.parametrize(("url", "found"), [
    ("", "found ''"), ("  ", "found '  '"), ("foo://x", "foo:// is no kind of address"), ("../x://y", "../x://"),
])  # fmt: skip
def test_a_url_that_nothing_opens_is_refused(tmp_path: Path, url: str, found: str) -> None:
    """An empty url and an unknown kind of address are the file's fault, for the scale as for the pedal."""
    text = written(tmp_path, TEXT).read_text().replace("/dev/ttyUSB0", url)
    pedal = written(tmp_path, TEXT).read_text() + f'[pedal]\nkind = "contact"\nurl = "{url}"\n'
    for name, content in (("scale", text), ("pedal", pedal)):
        path = tmp_path / f"{name}.toml"
        path.write_text(content)
        with pytest.raises(SettingsFault) as refused:
            load_station(path)
        assert f"{name}.toml: [{name}] url: " in str(refused.value)
        assert found in str(refused.value)


@pytest.mark.parametrize("url", ["socket://10.0.0.5:4001", "rfc2217://bench:2217", "loop://", "RFC2217://bench:2217"])
def test_a_url_that_is_opened_is_kept_as_it_is(tmp_path: Path, url: str) -> None:
    """Whatever kind of address pyserial knows is taken."""
    path = written(tmp_path, TEXT)
    path.write_text(path.read_text().replace("/dev/ttyUSB0", url))
    assert load_station(path).scale.link.url == url


def test_a_bench_may_carry_a_mark_for_its_job_numbers(tmp_path: Path) -> None:
    """The mark is one to three capital letters; there need be none, and anything else is refused with the key."""
    assert load_station(written(tmp_path, TEXT)).mark == ""
    for text, mark in (("B", "B"), ("XYZ", "XYZ")):
        path = written(tmp_path, TEXT)
        path.write_text(path.read_text().replace("[station]\n", f'[station]\nmark = "{text}"\n'))
        assert load_station(path).mark == mark
    for text in ('"b"', '"B1"', '"ABCD"', '"\u00c4"', "2"):
        path = written(tmp_path, TEXT)
        path.write_text(path.read_text().replace("[station]\n", f"[station]\nmark = {text}\n"))
        with pytest.raises(SettingsFault, match=r"\[station\] mark: found .* expected one to three capital letters"):
            load_station(path)
