"""SCPI: the numbers of IEEE 488.2, what stands for no number, and the error queue."""

from __future__ import annotations

import os
import tty

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.events import Frame, Garbage, Noise, Reading
from drivers.link import Link, LinkSettings
from drivers.scpi import ScpiDecoder, ScpiFormat
from drivers.template import FormatFault
from tests.drivers.cables import Heard, of, running

METER = ScpiFormat(unit="N")


def ready(form: ScpiFormat = METER) -> ScpiDecoder:
    """Give a decoder whose query is in flight, the error queue having been empty."""
    decoder = ScpiDecoder(form)
    decoder.request()
    decoder.feed(b'+0,"No error"' + form.end)
    decoder.request()
    return decoder


@pytest.mark.parametrize(
    ("sent", "force"),
    [
        (b"12", 12.0),  # NR1
        (b"-0012", -12.0),
        (b"+12.50", 12.5),  # NR2
        (b".5", 0.5),
        (b"5.", 5.0),
        (b"+1.2500E+01", 12.5),  # NR3
        (b"1.25e1", 12.5),
        (b" -1.25 E -2 ", -0.0125),
    ],
)
def test_the_number_forms_of_ieee_488_2(sent: bytes, force: float) -> None:
    """NR1, NR2 and NR3, with and without signs and spaces, are numbers (IEEE 488.2, section 8.7, from memory)."""
    assert ready().feed(sent + b"\n") == [Frame(force, "N", None)]


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"9.9E37", "overload"),
        (b"+9.90000000E+37", "overload"),
        (b"-9.9E37", "overload"),
        (b"9.89999978E37", "overload"),  # the nearest number of 32 bits
        (b"1E400", "overload"),
        (b"9.91E37", "fault"),
        (b"+9.91000000E+37", "fault"),
    ],
)
def test_what_stands_for_no_number(sent: bytes, status: str) -> None:
    """The numbers that SCPI-99 keeps for infinity and for not-a-number (from memory) come without a force."""
    assert ready().feed(sent + b"\n") == [Frame(None, "N", status)]  # type: ignore[arg-type]


@pytest.mark.parametrize("sent", [b"", b"12,5 N", b"0x1F", b"1.2.3", b"nan", b"inf", b"1_0", b"12 N", b"--1", b"1e"])
def test_nothing_is_guessed(sent: bytes) -> None:
    """What is no whole number is noise that quotes what was found, and then the error queue is asked for."""
    form = ScpiFormat(unit="N", field=1 if sent != b"12,5 N" else 2)
    decoder = ready(form)
    (noise,) = decoder.feed(sent + b"\n")
    assert isinstance(noise, Noise)
    assert "should be a number" in noise.why
    assert decoder.request() == b"SYST:ERR?\n"


def test_a_field_among_several() -> None:
    """The force is taken from the field named, counted from 1."""
    decoder = ready(ScpiFormat(unit="lbf", query="READ?", end=b"\r\n", field=2))
    assert decoder.feed(b"+17,+1.25E+01,3\r\n") == [Frame(12.5, "lbf", None)]
    assert decoder.request() == b"READ?\r\n"


def test_the_error_queue_is_read_until_it_is_empty() -> None:
    """At the beginning, and after a query without an answer, each error is said once; then the query is put again."""
    decoder = ScpiDecoder(METER)
    assert decoder.request() == b"SYST:ERR?\n"
    (noise,) = decoder.feed(b'-350,"Queue overflow"\n')
    assert noise == Noise(b'-350,"Queue overflow"\n', "the instrument says: -350, Queue overflow")
    assert decoder.request() == b"SYST:ERR?\n"
    assert decoder.feed(b'0,"No error"\n') == []
    assert decoder.request() == b"FETCH?\n"
    assert decoder.request() == b"SYST:ERR?\n"
    (noise,) = decoder.feed(b'-113,"Undefined header;FETCH?"\n')
    assert isinstance(noise, Noise)
    assert noise.why == "the instrument says: -113, Undefined header;FETCH?"


def test_an_error_queue_without_end_or_without_answer() -> None:
    """Errors for ever, or no answer to the question for them, do not keep the query from being asked."""
    decoder = ScpiDecoder(METER)
    asked = 0
    while decoder.request() == b"SYST:ERR?\n":
        asked += 1
        decoder.feed(b'-310,"System error"\n')
    assert asked == 20
    silent = ScpiDecoder(METER)
    assert [silent.request() for _ in range(3)] == [b"SYST:ERR?\n", b"FETCH?\n", b"SYST:ERR?\n"]
    strange = ScpiDecoder(METER)
    strange.request()
    (noise,) = strange.feed(b"+1.2E1\n")
    assert isinstance(noise, Noise)
    assert noise.why == r"found '+1.2E1\n' where the error queue was asked for"
    assert strange.request() == b"FETCH?\n"


def test_an_instrument_that_echoes() -> None:
    """Our own question sent back is noise that says so, and the answer behind it is read."""
    noise, frame = ready().feed(b"FETCH?\n12.5\n")
    assert noise == Noise(b"FETCH?\n", "the instrument sends our own question back; switch its echo off")
    assert frame == Frame(12.5, "N", None)


def test_an_answer_that_breaks_off_is_told_as_that() -> None:
    """What came before a silence and is no whole answer is noise that says so."""
    decoder = ready()
    assert decoder.feed(b"12.") == []
    assert decoder.rejoin() == [Noise(b"12.", "broke off within an answer")]


def test_the_longest_answer_is_read_and_one_byte_more_is_none() -> None:
    """An answer may be 256 bytes long before its end, and no longer."""
    assert ready().feed(b"12.5," + b"x" * 251 + b"\n") == [Frame(12.5, "N", None)]
    assert all(isinstance(each, Noise) for each in ready().feed(b"12.5," + b"x" * 252 + b"\n"))


def test_a_late_answer_and_a_long_one_pass_for_nothing() -> None:
    """What comes when nobody asks, and the tail of a line longer than an answer may be, are noise."""
    decoder = ready()
    events = decoder.feed(b"9" * 600 + b"12.5\n") + decoder.rejoin()
    assert all(isinstance(each, Noise) for each in events)
    decoder = ready()
    assert decoder.feed(b"1.0\n2.0\n") == [Frame(1.0, "N", None)]
    decoder.request()
    assert decoder.feed(b"3.0\n") == [Noise(b"2.0\n", "nobody had asked for these bytes"), Frame(3.0, "N", None)]


@given(
    st.lists(
        st.binary(max_size=9) | st.sampled_from([b"+1.25E+01\n", b"FETCH?\n", b"9" * 300, b"9.9E37\n"]), max_size=6
    ).map(b"".join),
    st.lists(st.integers(0, 80), max_size=20),
)
def test_any_chunking_gives_the_same(raw: bytes, cuts: list[int]) -> None:
    """However the bytes after a query are cut, the same comes out."""
    whole, pieces = ready(), ready()
    events: list[Frame | Noise] = []
    rest = raw
    for cut in cuts:
        events += pieces.feed(rest[:cut])
        rest = rest[cut:]
    assert [*events, *pieces.feed(rest), *pieces.rejoin()] == [*whole.feed(raw), *whole.rejoin()]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"unit": "lb"}, "unit: found 'lb'"),
        ({"unit": "N", "query": "FETCH"}, "query: found 'FETCH'"),
        ({"unit": "N", "query": "A?\nB?"}, "expected a query of plain letters"),
        ({"unit": "N", "end": b";"}, "end: found ';'"),
        ({"unit": "N", "field": 0}, "field: found 0"),
        ({"unit": "N", "field": 100}, "field: found 100"),
    ],
)
def test_what_cannot_work_is_refused(settings: dict[str, object], words: str) -> None:
    """A description that cannot work is refused with its key, what was found and what was expected."""
    with pytest.raises(FormatFault) as refused:
        ScpiFormat(**settings)  # type: ignore[arg-type]
    assert words in str(refused.value)


def test_an_instrument_on_a_port() -> None:
    """Over a port the error queue is said first, and then the query is answered again and again."""
    heard = Heard()
    device, port = os.openpty()
    tty.setraw(port)
    answers = {b"FETCH?": b"+1.25E+01\n"}
    errors = [b'-113,"Undefined header"\n', b'0,"No error"\n']
    try:
        settings = LinkSettings(os.ttyname(port), poll_every_us=5_000)
        with running(Link(settings, ScpiDecoder(METER), heard, heard.fault)):
            asked = b""
            for _ in range(5):
                while b"\n" not in asked:
                    asked += os.read(device, 64)
                line, _, asked = asked.partition(b"\n")
                os.write(device, answers.get(line) or errors.pop(0))
            readings = heard.count(Reading, 3)
    finally:
        os.close(device)
        os.close(port)
    assert [each.force for each in readings] == [12.5] * 3
    assert [each.why for each in of(heard.events, Garbage)] == ["the instrument says: -113, Undefined header"]
    assert not errors
