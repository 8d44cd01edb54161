"""Modbus RTU: vectors, every way to hold a number, a server of another make over a pair of ports, and hostile bytes."""

from __future__ import annotations

import asyncio
import contextlib
import os
import struct
import threading
import tty
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.checksums import crc16_modbus
from drivers.events import Frame, Garbage, LinkUp, Noise, Reading
from drivers.link import Link, LinkSettings
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, answer, gap_us, question, refusal
from drivers.template import FormatFault
from tests.drivers.cables import DEADLINE_S, Heard, NullModem, of, running

FLOAT = ModbusFormat(unit="lbf", register=10, number="float32")


def sealed(message: bytes) -> bytes:
    """Close a message with its CRC."""
    return message + crc16_modbus(message).to_bytes(2, "little")


def read(form: ModbusFormat, raw: bytes) -> list[Frame | Noise]:
    """Ask, and read what is answered."""
    decoder = ModbusDecoder(form)
    decoder.request()
    return [*decoder.feed(raw), *decoder.rejoin()]


# Published values


def test_the_check_value_of_the_crc() -> None:
    """The nine digits have the check value that catalogues of CRCs list for CRC-16/MODBUS (from memory)."""
    assert crc16_modbus(b"123456789") == 0x4B37


@pytest.mark.parametrize(
    ("order", "sent"), [("ABCD", "47F12000"), ("CDAB", "200047F1"), ("BADC", "F1470020"), ("DCBA", "0020F147")]
)
def test_the_four_orders_of_a_float(order: Any, sent: str) -> None:
    """123456.0, which IEEE 754 writes 47F12000, is read in each order of its bytes."""
    assert struct.pack(">f", 123456.0).hex().upper() == "47F12000"
    form = ModbusFormat(unit="N", register=0, number="float32", word_order=order)
    raw = sealed(bytes.fromhex("010304" + sent))
    assert read(form, raw) == [Frame(123456.0, "N", None)]
    assert answer(form, 123456.0) == raw


@pytest.mark.parametrize(
    ("baud", "silence_us"),
    [(110, 350_000), (1200, 32084), (9600, 4011), (19_200, 2006), (19_201, 1750), (38_400, 1750)],
)
def test_the_silence_before_a_question(baud: int, silence_us: int) -> None:
    """The line is silent for 3.5 characters of 11 bits, and for 1.75 ms above 19200 baud (serial line 2.5.1.1)."""
    assert gap_us(baud) == silence_us


# Numbers


@pytest.mark.parametrize(
    ("number", "content", "force"),
    [
        ("int16", "fb2e", -1234),
        ("uint16", "fb2e", 64302),
        ("int32", "fffffb2e", -1234),
        ("uint32", "fffffb2e", 4294966062),
        ("float32", "c49a4000", -1234),
    ],
)
def test_every_kind_of_number(number: Any, content: str, force: float) -> None:
    """Whole numbers are read with and without a sign, of one and of two registers, and floats."""
    form = ModbusFormat(unit="N", register=0, number=number)
    raw = sealed(bytes((1, 3, len(content) // 2)) + bytes.fromhex(content))
    assert read(form, raw) == [Frame(force, "N", None)]


def test_one_question_reads_number_decimals_and_status() -> None:
    """The decimal-point and status registers are read with the number, wherever they lie around it."""
    form = ModbusFormat(
        unit="kgf",
        register=7,
        number="int32",
        address=17,
        function=4,
        factor=0.5,
        decimals_register=4,
        status_register=9,
        status={"0": "overload", "3": "stable", "not 3": "unstable", "15": "fault"},
    )
    assert question(form) == sealed(bytes.fromhex("1104 0004 0006"))
    assert read(form, answer(form, 12.25, status_bits=0b1000, decimals=2)) == [Frame(12.25, "kgf", "stable")]
    assert read(form, answer(form, 12.25, status_bits=0, decimals=3)) == [Frame(12.25, "kgf", "unstable")]
    assert read(form, answer(form, 99.0, status_bits=0b1001)) == [Frame(None, "kgf", "overload")]
    assert read(form, answer(form, 99.0, status_bits=0x8001)) == [Frame(None, "kgf", "fault")]
    (noise,) = read(form, answer(form, 0.0, decimals=10))
    assert isinstance(noise, Noise)
    assert noise.why == "the decimal-point register holds 10, expected 0 to 9"


@pytest.mark.parametrize("content", ["7fc00000", "7f800000", "ff800000"])
def test_a_float_that_is_no_number(content: str) -> None:
    """Not-a-number and the infinities are noise, for nobody knows what the device means by them."""
    (noise,) = read(FLOAT, sealed(bytes.fromhex("010304" + content)))
    assert isinstance(noise, Noise)
    assert noise.why.endswith("where a number was expected")


@given(
    st.sampled_from(["int16", "uint16", "int32", "uint32", "float32"]),
    st.sampled_from(["ABCD", "CDAB", "BADC", "DCBA"]),
    st.integers(0, 32767),
    st.integers(0, 4),
)
def test_written_and_read_is_the_same(number: Any, order: Any, steps: int, decimals: int) -> None:
    """What a scale of any form writes is read as what it meant."""
    order = "ABCD" if number.endswith("16") else order
    form = ModbusFormat(unit="N", register=3, number=number, word_order=order, decimals_register=0)
    (frame,) = read(form, answer(form, steps / 10**decimals, decimals=decimals))
    assert isinstance(frame, Frame)
    assert frame.force == pytest.approx(steps / 10**decimals, rel=1e-6)


def test_a_number_too_large_for_its_register() -> None:
    """A force that the register cannot hold is refused when it is written."""
    with pytest.raises(FormatFault, match="int16 cannot hold 40000"):
        answer(ModbusFormat(unit="N", register=0, number="int16"), 40_000)


# Noise


@pytest.mark.parametrize(
    ("exception", "words"),
    [
        (1, "does not know this function"),
        (2, "no such register"),
        (3, "does not accept this count"),
        (4, "has failed"),
        (5, "at work on something long"),
        (6, "busy"),
        (8, "memory is damaged"),
        (10, "gateway has no path"),
        (11, "does not answer the gateway"),
        (77, "its handbook"),
    ],
)
def test_a_refusal_is_said_in_words(exception: int, words: str) -> None:
    """A device that refuses is quoted with the number of its exception and what to do.

    Modbus Application Protocol V1.1b3, section 7 (from memory): illegal function, data address, data value, device
    failure, acknowledge, busy, memory parity, gateway path unavailable, gateway target failed to respond.
    """
    (noise,) = read(FLOAT, refusal(FLOAT, exception))
    assert isinstance(noise, Noise)
    assert f"(exception {exception})" in noise.why
    assert words in noise.why


@pytest.mark.parametrize(("function", "refused"), [(3, "83"), (4, "84")])
def test_a_refusal_names_the_function_it_refuses(function: Any, refused: str) -> None:
    """A refusal bears the function asked for plus 0x80 (application protocol, section 7, from memory)."""
    form = ModbusFormat(unit="lbf", register=0, number="int16", function=function)
    assert refusal(form, 2) == sealed(bytes.fromhex(f"01 {refused} 02"))


def test_a_frame_on_the_line_is_256_bytes_at_most() -> None:
    """What is no answer comes out in pieces of the longest frame, 256 bytes (serial line, from memory)."""
    decoder = ModbusDecoder(FLOAT)
    decoder.request()
    assert decoder.feed(bytes(511)) == []
    assert decoder.feed(bytes(1)) == [Noise(bytes(256), "no answer to the question")]


@pytest.mark.parametrize(
    ("before", "why"),
    [
        (question(FLOAT), "the adapter sends our own question back"),
        (answer(FLOAT, 1.0)[:-1] + b"\0", "its CRC is"),
        (sealed(bytes.fromhex("07030441200000")), "an answer of the device with address 7, expected 1"),
        (answer(FLOAT, 1.0)[:5], "broke off within an answer"),
        (b"\x00\xff", "no answer to the question"),
    ],
)
def test_an_answer_is_found_after_noise(before: bytes, why: str) -> None:
    """What comes before an answer is noise that says what it was, and the answer is read all the same."""
    noise, frame = read(FLOAT, before + answer(FLOAT, 30.0))
    assert isinstance(noise, Noise)
    assert noise.raw == before
    assert noise.why.startswith(why)
    assert frame == Frame(30.0, "lbf", None)


def test_nobody_asked() -> None:
    """An answer without a question is noise, and is told with what comes next; so is one that was given up."""
    decoder = ModbusDecoder(FLOAT)
    assert decoder.feed(answer(FLOAT, 1.0)) == []
    decoder.request()
    assert decoder.feed(answer(FLOAT, 2.0)) == [
        Noise(answer(FLOAT, 1.0), "nobody had asked for these bytes"),
        Frame(2.0, "lbf", None),
    ]
    decoder.request()
    decoder.feed(answer(FLOAT, 3.0)[:4])
    decoder.request()
    assert decoder.rejoin() == [Noise(answer(FLOAT, 3.0)[:4], "broke off within an answer")]
    assert not decoder.awaiting


pieces = st.one_of(
    st.binary(max_size=12),
    st.sampled_from([answer(FLOAT, 30.0), question(FLOAT), refusal(FLOAT, 2), answer(FLOAT, 1.0)[:6], bytes(600)]),
)


@given(st.lists(pieces, max_size=6).map(b"".join), st.lists(st.integers(0, 80), max_size=20))
def test_any_chunking_gives_the_same(raw: bytes, cuts: list[int]) -> None:
    """However the bytes after a question are cut, the same comes out, and every byte of it once."""
    whole = read(FLOAT, raw)
    decoder = ModbusDecoder(FLOAT)
    decoder.request()
    events: list[Frame | Noise] = []
    rest = raw
    for cut in cuts:
        events += decoder.feed(rest[:cut])
        rest = rest[cut:]
        assert len(decoder._waiting) < 2 * decoder.longest
    assert [*events, *decoder.feed(rest), *decoder.rejoin()] == whole
    told = [answer(FLOAT, 30.0) if isinstance(each, Frame) else each.raw for each in whole]
    assert b"".join(told) == raw


# What is refused


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"address": 0}, "address: found 0"),
        ({"address": 248}, "expected the device's address, 1 to 247"),
        ({"function": 6}, "function: found 6"),
        ({"number": "int8"}, "number: found 'int8'"),
        ({"unit": "lb"}, "unit: found 'lb'"),
        ({"word_order": "DBCA"}, "word_order: found 'DBCA'"),
        ({"number": "int16", "word_order": "CDAB"}, "one order"),
        ({"factor": 0.0}, "factor: found 0"),
        ({"register": 65535}, "expected a register from 0 to 65534"),
        ({"decimals_register": -1}, "decimals_register: found -1"),
        ({"decimals_register": 65536}, "decimals_register: found 65536, expected a register from 0 to 65535"),
        ({"status_register": 65536, "status": {"0": "stable"}}, "expected a register from 0 to 65535"),
        ({"decimals_register": 200}, "are 191, and one question reads at most 125"),
        ({"status": {"0": "stable"}}, "status_register: is missing"),
        ({"status_register": 11}, "status: is missing"),
        ({"status_register": 11, "status": {"16": "stable"}}, "expected a bit"),
        ({"status_register": 11, "status": {"1": "steady"}}, "found 'steady'"),
    ],
)
def test_what_cannot_work_is_refused(settings: dict[str, Any], words: str) -> None:
    """A description that cannot work is refused with its key, what was found and what was expected."""
    with pytest.raises(FormatFault) as refused:
        ModbusFormat(**{"unit": "lbf", "register": 10, "number": "float32"} | settings)
    assert words in str(refused.value)


def test_the_last_register_may_hold_anything_of_one_register() -> None:
    """Registers count to 65535, and a number of one register, its decimals and its status may stand there."""
    last: dict[str, Any] = {"decimals_register": 65535, "status_register": 65535, "status": {"0": "stable"}}
    form = ModbusFormat(unit="N", register=65535, number="int16", **last)
    assert (form.first, form.count) == (65535, 1)


# A server of another make


@contextlib.contextmanager
def modbus_server(url: str, registers: list[int]) -> Iterator[None]:
    """Serve registers from 10 on with pymodbus, at address 1."""
    pymodbus_server = pytest.importorskip("pymodbus.server")
    simulator = pytest.importorskip("pymodbus.simulator")
    loop = asyncio.new_event_loop()
    ready = threading.Event()
    servers: list[Any] = []

    async def serve() -> None:
        data = simulator.SimData(10, values=registers, datatype=simulator.DataType.REGISTERS)
        servers.append(pymodbus_server.ModbusSerialServer(simulator.SimDevice(1, [data]), port=url, baudrate=19_200))
        assert await servers[0].listen()
        ready.set()
        await servers[0].serving

    def run() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            loop.run_until_complete(serve())

    thread = threading.Thread(target=run, name="modbus server")
    thread.start()
    try:
        assert ready.wait(DEADLINE_S)
        yield
    finally:
        asyncio.run_coroutine_threadsafe(servers[0].shutdown(), loop).result(DEADLINE_S)
        thread.join(DEADLINE_S)
        loop.close()


FORMS = {
    "ABCD": [0x47F1, 0x2000],
    "CDAB": [0x2000, 0x47F1],
    "BADC": [0xF147, 0x0020],
    "DCBA": [0x0020, 0xF147],
}


@pytest.mark.parametrize("order", FORMS)
@pytest.mark.parametrize("function", [3, 4])
def test_a_server_of_another_make_is_read(order: Any, function: Any) -> None:
    """A pymodbus server at the other end of a pair of ports is asked and read, again and again, without noise."""
    form = ModbusFormat(
        unit="N",
        register=10,
        number="float32",
        word_order=order,
        function=function,
        decimals_register=12,
        status_register=13,
        status={"2": "stable"},
    )
    heard = Heard()
    with NullModem() as (ours, theirs), modbus_server(theirs, [*FORMS[order], 3, 0b100]):
        settings = LinkSettings(ours, baud=19_200, poll_every_us=10_000, gap_us=gap_us(19_200))
        with running(Link(settings, ModbusDecoder(form), heard, heard.fault)):
            readings = heard.count(Reading, 5)
    assert {(each.force, each.unit, each.status) for each in readings} == {(123.456, "N", "stable")}
    assert not of(heard.events, Garbage)


def test_a_server_of_another_make_refuses() -> None:
    """A register that a pymodbus server does not have is said in words, and asked for again."""
    heard = Heard()
    with NullModem() as (ours, theirs), modbus_server(theirs, [1, 2]):
        form = ModbusFormat(unit="N", register=500, number="int16")
        with running(Link(LinkSettings(ours, poll_every_us=10_000), ModbusDecoder(form), heard, heard.fault)):
            garbage = heard.count(Garbage, 2)
    assert {each.why for each in garbage} == {
        "the device refuses (exception 2): it has no such register; check register, function and count in its handbook"
    }
    assert not of(heard.events, Reading)


def test_one_question_at_a_time() -> None:
    """While an answer is awaited nobody asks; when it does not come in time, the question is put again."""
    heard = Heard()
    device, port = os.openpty()
    tty.setraw(port)
    try:
        settings = LinkSettings(os.ttyname(port), poll_every_us=10_000, answer_within_us=150_000, silence_us=None)
        with running(Link(settings, ModbusDecoder(FLOAT), heard, heard.fault)):
            (up,) = heard.count(LinkUp)
            asked = b""
            while len(asked) < 16:
                asked += os.read(device, 16)
            os.write(device, answer(FLOAT, 30.0))
            (reading,) = heard.count(Reading)
    finally:
        os.close(device)
        os.close(port)
    assert asked == 2 * question(FLOAT)
    assert reading.at_us - up.at_us >= 150_000


def test_the_description_is_a_value() -> None:
    """Two descriptions that say the same are equal, and can be kept in a set."""
    assert len({FLOAT, ModbusFormat(unit="lbf", register=10, number="float32")}) == 1
