"""Text frames: bytes in, frames and noise out, and back."""

from __future__ import annotations

import itertools
import re._parser as re_parser  # type: ignore[import-not-found,unused-ignore]
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drivers.checksums import xor8
from drivers.events import Frame, Noise
from drivers.template import FRAME_LIMIT
from drivers.text_frames import FormatFault, TextDecoder, TextFormat, encode
from tests.drivers.any_format import formats, sent, streams
from tests.drivers.slow_decoder import slow_decode


def decode(form: TextFormat, data: bytes) -> list[Frame | Noise]:
    """Decode all at once."""
    return TextDecoder(form).feed(data)


# What holds for every format and every stream


@given(st.data())
def test_any_chunking_gives_the_same_events(data: st.DataObject) -> None:
    """However the bytes are cut into chunks, byte by byte at the worst, the same events come out."""
    form = data.draw(formats())
    stream = data.draw(streams(form))
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    chunks = [stream[start:stop] for start, stop in itertools.pairwise([0, *cuts, len(stream)])]
    for pieces in (chunks, [bytes([byte]) for byte in stream]):
        decoder = TextDecoder(form)
        assert [event for piece in pieces for event in decoder.feed(piece)] == decode(form, stream)


@given(st.data())
def test_any_chunking_after_a_break_gives_the_same_events(data: st.DataObject) -> None:
    """After bytes went missing, too, no cut into chunks changes what comes out."""
    form = data.draw(formats())
    before, stream = data.draw(streams(form)), data.draw(streams(form))
    whole, bytewise = TextDecoder(form), TextDecoder(form)
    whole.feed(before)
    bytewise.feed(before)
    assert whole.rejoin() == bytewise.rejoin()
    assert whole.feed(stream) == [event for byte in stream for event in bytewise.feed(bytes([byte]))]


@given(st.data())
def test_nothing_raises_grows_or_is_lost(data: st.DataObject) -> None:
    """Arbitrary bytes never raise, few of them wait, and every byte that made no frame comes out as noise."""
    form = data.draw(formats())
    stream = data.draw(
        st.binary(max_size=2000) | st.text("0123456789 .-;lbSTOL\r\n\x02\x03*", max_size=2000).map(str.encode)
    )
    decoder = TextDecoder(form)
    events = decoder.feed(stream)
    rest = b"".join(noise.raw for noise in decoder.rejoin())
    assert len(rest) < 2 * 128 + len(form.end)
    noise = b"".join(event.raw for event in events if isinstance(event, Noise)) + rest
    if all(isinstance(event, Noise) for event in events):
        assert noise == stream
    assert all(event.raw and len(event.raw) <= 128 + len(form.end) + 3 for event in events if isinstance(event, Noise))


@given(st.data())
def test_a_good_frame_after_noise_is_read(data: st.DataObject) -> None:
    """Whatever came before it, the frame after an end is read, and so is the first of a fixed length that is whole."""
    form = data.draw(formats(clear=True))
    noise = data.draw(st.binary(max_size=300))
    frame, raw = data.draw(sent(form))
    if form.end:
        # A check of bare bytes could take the end of the noise for its own; two ends in a row are beyond it.
        events = decode(form, noise + 8 * form.end + raw + raw)
    else:
        assume(b"*" not in noise and b"\x02" not in noise)
        events = decode(form, noise + raw + raw + raw)
    assert same(events[-1], frame, form)


@given(st.data())
def test_encoded_frames_are_decoded(data: st.DataObject) -> None:
    """What a scale of a format sends is read as what it meant, frame for frame."""
    form = data.draw(formats(clear=True))
    said = data.draw(st.lists(sent(form), max_size=8))
    events = decode(form, b"".join(raw for _, raw in said))
    assert len(events) == len(said)
    assert all(same(event, frame, form) for event, (frame, _) in zip(events, said, strict=True))


def same(event: Frame | Noise, frame: Frame, form: TextFormat) -> bool:
    """Say whether `event` is `frame`; a unit that stands beside a value without a force may be lost with it."""
    return event == frame or (event[0] is None and event == frame._replace(unit=form.unit))


@given(st.data())
def test_a_stream_joined_in_mid_frame_gives_no_wrong_number(data: st.DataObject) -> None:
    """Wherever a stream is joined, what comes out is what was sent last, and at most two frames are lost."""
    form = data.draw(formats(clear=True))
    said = [data.draw(sent(form)) for _ in range(4)]
    stream = b"".join(raw for _, raw in said)
    decoder = TextDecoder(form)
    decoder.rejoin()
    events = decoder.feed(stream[data.draw(st.integers(0, len(said[0][1]) - 1)) :])
    frames = [event for event in events if isinstance(event, Frame)]
    assert len(frames) >= 2
    assert all(same(got, frame, form) for got, (frame, _) in zip(frames[::-1], said[::-1], strict=False))


@given(st.data())
def test_a_second_decoder_agrees(data: st.DataObject) -> None:
    """A slow decoder, written from the rules alone, reads the same frames and finds the same noise."""
    form = data.draw(formats())
    assume(form.end and not (form.checksum != "none" and form.check_form == "bytes"))
    stream = data.draw(streams(form))
    quick = [event.raw if isinstance(event, Noise) else event for event in decode(form, stream)]
    assert quick == slow_decode(form, stream)


# What a shop sees


def fields(form: TextFormat, data: bytes) -> list[Any]:
    """Decode, and give the force of each frame, and why each noise is none."""
    return [event.force if isinstance(event, Frame) else event.why for event in decode(form, data)]


@pytest.mark.parametrize(
    ("sent_bytes", "force"),
    [
        (b"12.5", 12.5),
        (b"   12.5   ", 12.5),
        (b"-12.5", -12.5),
        (b"-   12.5", -12.5),
        (b"  + 0012.50 ", 12.5),
        (b"000", 0.0),
        (b".5", 0.5),
        (b"5.", 5.0),
        (b"1.25E+1", 12.5),
        (b"125e-1", 12.5),
    ],
)
def test_numbers(sent_bytes: bytes, force: float) -> None:
    """A number is read with its sign apart from it, padded with spaces or zeros, and with an exponent."""
    assert decode(TextFormat("{value}", unit="lbf"), sent_bytes + b"\r\n") == [Frame(force, "lbf", None)]


@pytest.mark.parametrize(
    "sent_bytes",
    [
        b"",
        b" ",
        b"-",
        b".",
        b"1.2.3",
        b"1 2",
        b"1,5",
        b"--5",
        b"5-",
        b"1e",
        b"e5",
        b"nan",
        b"inf",
        b"0x10",
        b"1_0",
        b"\xb2",
    ],
)
def test_what_is_no_number_is_noise(sent_bytes: bytes) -> None:
    """What is not one number is never guessed at: it is noise, with its bytes and the reason."""
    (event,) = decode(TextFormat("{value}", unit="lbf"), sent_bytes + b"\r\n")
    assert isinstance(event, Noise)
    assert event.raw == sent_bytes + b"\r\n"
    assert event.why


def test_a_number_beyond_any_scale_is_noise() -> None:
    """A number that overflows is no force, in columns and with a check as well."""
    assert fields(TextFormat("{value}", unit="lbf"), b"9e999\r\n-9e999\r\n1\r\n") == [
        "its number is too large",
        "its number is too large",
        1.0,
    ]
    columns = TextFormat("A{value:6}", end=b"", unit="lbf")
    assert decode(columns, b"A 9e999A     1") == [
        Noise(b"A 9e999", "no frame begins here"),
        Frame(1.0, "lbf", None),
    ]


def test_the_decimal_mark_is_the_declared_one() -> None:
    """A comma is a decimal mark where it is declared, and nowhere else; a point then is none."""
    comma = TextFormat("{value} {unit}", decimal=",")
    assert decode(comma, b"12,5 lbf\r\n") == [Frame(12.5, "lbf", None)]
    assert fields(comma, b"12.5 lbf\r\n") == ["found '.5 lbf' where ' ' was expected"]


def test_a_value_leaves_the_spaces_of_the_literal_after_it() -> None:
    """However wide the gap, the literal after the value gets its own spaces, and a narrower gap is noise."""
    form = TextFormat("{value}  {unit}")
    assert fields(form, b"12.5  lbf\r\n12.5      lbf\r\n12.5 lbf\r\n") == [
        12.5,
        12.5,
        "found ' lbf' where '  ' was expected",
    ]


def test_the_longest_key_counts() -> None:
    """Where one key begins with another, the longer one that stands there is meant, and an unknown one is noise."""
    form = TextFormat("{value}{unit}", units={"k": "kgf", "kN.": "N", "kgf'": "lbf"})
    assert [event[1] for event in decode(form, b"1k\r\n1kgf\r\n1kgf'\r\n1kN.\r\n")] == ["kgf", "kgf", "lbf", "N"]
    assert fields(form, b"1 kN\r\n1 g\r\n") == [
        "found 'N' where the frame should end",
        "found 'g' where {unit} was expected",
    ]


def test_a_table_may_give_a_canonical_name_another_meaning() -> None:
    """The names N, lbf and kgf are keys of themselves, unless the file's table says otherwise."""
    form = TextFormat("{value} {unit}", units={"N": "kgf"})
    assert [event[1] for event in decode(form, b"1 N\r\n1 lbf\r\n")] == ["kgf", "lbf"]
    with pytest.raises(FormatFault, match="none of its keys means N"):
        encode(form, 1.0, "N", None)


def test_a_key_is_known_in_latin_1_and_in_utf_8() -> None:
    """A key with letters beyond ASCII is known whichever of the two encodings the scale speaks."""
    form = TextFormat("{value};{unit}", units={"lb·f": "lbf"})
    assert fields(form, "1;lb·f\r\n".encode("latin-1") + "2;lb·f\r\n".encode()) == [1.0, 2.0]


def test_an_overloaded_scale_sends_dashes() -> None:
    """Where the status reads overload or fault, there is no force, whatever stands in its place."""
    form = TextFormat("{value};{unit};{status}", status={"OL": "overload"})
    data = b"-----;lbf;OL\r\n;lbf;OL\r\n99.99;lbf;overload\r\n E 3 ;lbf;fault\r\n"
    assert decode(form, data) == [
        Frame(None, "lbf", "overload"),
        Frame(None, "lbf", "overload"),
        Frame(None, "lbf", "overload"),
        Frame(None, "lbf", "fault"),
    ]


def test_an_overloaded_scale_is_written_without_its_force() -> None:
    """Where the status is overload or fault, dashes are sent, whatever force there would be."""
    form = TextFormat("{value};{unit};{status}")
    assert encode(form, 99.99, "lbf", "overload") == b"-----;lbf;overload\r\n"
    assert encode(form, None, "lbf", "stable") == b"-----;lbf;stable\r\n"


def test_dashes_without_an_overload_are_noise() -> None:
    """Dashes in a frame that names no overload, or whose unit is unknown, are no frame."""
    form = TextFormat("{value};{unit};{status}")
    assert fields(form, b"----;lbf;stable\r\n----;stone;overload\r\n") == [
        "found '----;lbf;stable' where {value} was expected",
        "found '----;stone;overload' where {value} was expected",
    ]


def test_a_unit_beside_the_dashes_goes_with_them() -> None:
    """A unit with no literal between it and the dashes cannot be told from them; the status behind it can."""
    form = TextFormat("{value}{unit}{status}", status={"OL": "overload"})
    assert decode(form, b"------OL\r\n--- lbfOL\r\n5lbfOL\r\n") == [
        Frame(None, None, "overload"),
        Frame(None, None, "overload"),
        Frame(None, "lbf", "overload"),
    ]


def test_dashes_padded_with_spaces() -> None:
    """Where a space is the literal, spaces that pad the dashes are still theirs."""
    form = TextFormat("{value} {unit} {status}")
    assert decode(form, b"    ----   lbf overload\r\n") == [Frame(None, "lbf", "overload")]


def test_dashes_up_to_a_check() -> None:
    """Where neither literal nor status follows the dashes, they end where the check and the end of the frame begin."""
    form = TextFormat("{status};{value}{skip:1}{check}", unit="lbf", checksum="xor8")
    raw = encode(form, None, None, "overload")
    assert raw == b"overload;----- " + b"%02X" % xor8(b"overload;----- ") + b"\r\n"
    assert decode(form, raw) == [Frame(None, "lbf", "overload")]


def test_what_stands_for_a_force_may_look_like_a_check() -> None:
    """What a scale sends in place of a force may hold what a check could be; the check is what stands at the end."""
    form = TextFormat("{status};{value}{skip:1}{check}", unit="lbf", checksum="xor8")
    body = b"overload;Er 12 "
    assert decode(form, body + b"%02X" % xor8(body) + b"\r\n") == [Frame(None, "lbf", "overload")]


def test_status_value_unit_between_stx_and_etx() -> None:
    """Control characters frame as well as any, and braces are literal where they are doubled."""
    form = TextFormat("\x02{{{status}}},{value}{unit}", end=b"\x03", status={"ST": "stable"})
    assert decode(form, b"\x02{ST},+  12.5 lbf\x03") == [Frame(12.5, "lbf", "stable")]


def test_skips() -> None:
    """A skip takes all up to the next literal or the end, and a measured skip its bytes exactly."""
    form = TextFormat("{skip:3}{value};{skip};{unit}{skip}")
    assert decode(form, b"a;512.5;1;2;lbf??\r\n12345;;lbf\r\n") == [
        Noise(b"a;512.5;1;2;lbf??\r\n", "found '2;lbf??' where {unit} was expected"),
        Frame(45.0, "lbf", None),
    ]
    assert fields(TextFormat("{skip:3}{value}", unit="N"), b"ab\r\n1\r\n") == [
        "found 'ab' where {skip:3} was expected",
        "found '1' where {skip:3} was expected",
    ]


def test_fixed_columns_without_an_end() -> None:
    """Frames of a fixed length are found by what they hold, after bytes that belong to none."""
    form = TextFormat(
        "{status:2}{value:7}{unit:3}", end=b"", units={"lb": "lbf"}, status={"": "stable", "OL": "overload"}
    )
    assert decode(form, b".50 lb    12.50lb OL-------lb     -3.25 lb") == [
        Noise(b".50 lb", "no frame begins here"),
        Frame(12.5, "lbf", "stable"),
        Frame(None, None, "overload"),
        Frame(-3.25, "lbf", "stable"),
    ]


def test_a_column_holds_one_number_and_nothing_else() -> None:
    """Digits of the next column are never taken for the number's own, and two numbers in a column are noise."""
    form = TextFormat("{value:6}{skip:2}", unit="lbf")
    assert fields(form, b"  12.501\r\n  12.5\r\n1 2 .501\r\n") == [
        12.5,
        "found '' where {skip:2} was expected",
        "found '1 2 .501' where {value:6} was expected",
    ]


@pytest.mark.parametrize(
    ("checksum", "form", "check"),
    [
        # worked by hand over b"1;": 0x31 and 0x3B
        ("xor8", "hex", b"0A"),
        ("xor8", "bytes", b"\x0a"),
        ("sum8", "hex", b"6C"),
        ("sum8", "bytes", b"\x6c"),
    ],
)
def test_checks_are_over_what_stands_before_them(checksum: Any, form: Any, check: bytes) -> None:
    """A check covers all that stands before it, in digits of either case or as a bare byte; a wrong one is noise."""
    scale = TextFormat("{value};{check}", unit="lbf", checksum=checksum, check_form=form)
    assert encode(scale, 1, "lbf", None).startswith(b"1.0;")
    right = decode(scale, b"1;" + check + b"\r\n" + b"1;" + check.lower() + b"\r\n" + 4 * b"\r\n")
    assert right[:2] == [Frame(1.0, "lbf", None)] * 2
    (wrong, *_) = decode(scale, b"2;" + check + b"\r\n" + 4 * b"\r\n")
    assert isinstance(wrong, Noise)
    assert wrong.why.startswith("its checksum is ")


def test_a_check_may_cover_a_range() -> None:
    """A range of bytes is that of the frame without its end, and may count from the last byte."""
    for covered in ((1, -4), (1, 6)):
        form = TextFormat("\x02{value:5}\x03;{check}", unit="lbf", checksum="sum8", check_range=covered, end=b"\n")
        raw = encode(form, 12.5, "lbf", None)
        assert raw == b"\x02 12.5\x03;" + b"%02X" % (sum(b" 12.5") % 256) + b"\n"
        assert decode(form, raw) == [Frame(12.5, "lbf", None)]


def test_a_bare_check_may_look_like_an_end() -> None:
    """A check whose byte is a carriage return is a check, and the end after it the end, wherever the chunks are cut."""
    form = TextFormat("{value}#{check}", unit="lbf", end=b"\r", checksum="xor8", check_form="bytes")
    raw = encode(form, 1.1, "lbf", None)
    assert raw == b"1.1#\r\r"
    decoder = TextDecoder(form)
    events = [event for byte in raw + raw for event in decoder.feed(bytes([byte]))]
    assert events == [Frame(1.1, "lbf", None)] * 2


def test_a_frame_too_long_is_noise_in_blocks() -> None:
    """What holds no end within 128 bytes is noise in blocks of 128, and what ends it is not believed either."""
    form = TextFormat("{value}", unit="lbf", end=b"\n")
    events = decode(form, b" " * 126 + b"12\n" + b" " * 127 + b"12\n" + b"5\n")
    assert events == [
        Frame(12.0, "lbf", None),
        Noise(b" " * 127 + b"1", "no end of a frame within 128 bytes"),
        Noise(b"2\n", "the beginning of this frame was not heard"),
        Frame(5.0, "lbf", None),
    ]


def test_an_empty_line_is_said_to_be_one() -> None:
    """A frame with nothing in it is noise and called empty."""
    assert decode(TextFormat("{value}", unit="lbf"), b"\r\n") == [Noise(b"\r\n", "an empty frame")]


def test_half_a_number_is_never_a_number() -> None:
    """Joined in mid-frame, a plain number is not believed: 0.125 heard from its point on looks like 125."""
    plain = TextDecoder(TextFormat("{value}", unit="lbf"))
    plain.rejoin()
    assert plain.feed(b"125\r\n0.125\r\n") == [
        Noise(b"125\r\n", "the beginning of this frame was not heard"),
        Frame(0.125, "lbf", None),
    ]


def test_a_frame_that_shows_its_start_is_believed_at_once() -> None:
    """Where something that is no number stands before the value, the first whole frame counts."""
    framed = TextDecoder(TextFormat("net {value}", unit="lbf"))
    framed.rejoin()
    assert framed.feed(b"net 0.125\r\n") == [Frame(0.125, "lbf", None)]
    skipping = TextDecoder(TextFormat("net {skip};{value}", unit="lbf"))
    skipping.rejoin()
    assert isinstance(skipping.feed(b"net 1;2\r\n")[0], Noise)


def test_what_waits_at_a_break_is_noise() -> None:
    """When the line breaks off within a frame, the half of it comes out as noise, and once."""
    for form in (TextFormat("{value}", unit="lbf"), TextFormat("A{value:6}", unit="lbf", end=b"")):
        decoder = TextDecoder(form)
        assert decoder.feed(b"A 12") == []
        assert decoder.rejoin() == [Noise(b"A 12", "broke off within a frame")]
        assert decoder.rejoin() == []


def test_encode_says_only_what_the_frame_can_say() -> None:
    """A unit, status or force that the frame has no way to say is refused, never sent as something else."""
    plain, columns = TextFormat("{value}", unit="lbf"), TextFormat("A{value:5};{status}", unit="lbf")
    with pytest.raises(FormatFault, match="it cannot say kgf"):
        encode(plain, 1.0, "kgf", None)
    with pytest.raises(FormatFault, match="none of its keys means None"):
        encode(columns, 1.0, "lbf", None)
    with pytest.raises(FormatFault, match="too narrow for 123456"):
        encode(columns, 123456.0, "lbf", "stable")
    with pytest.raises(FormatFault, match="cannot send nan"):
        encode(plain, float("nan"), "lbf", None)
    with pytest.raises(FormatFault, match="none of its keys means None"):
        encode(TextFormat("{value} {unit}"), 1.0, None, None)


def test_a_narrow_column_rounds_as_a_scale_does() -> None:
    """A force with more digits than its column holds is sent with as many decimals as fit."""
    form = TextFormat("A{value:6}", unit="lbf", decimal=",")
    assert encode(form, 29.9600000001, None, None) == b"A29,960\r\n"
    assert encode(form, 123456.7, None, None) == b"A123457\r\n"
    assert encode(form, None, None, None) == b"A------\r\n"


# Why it cannot be slow


@given(st.data())
def test_no_pattern_gives_anything_back(data: st.DataObject) -> None:
    """Every quantifier of every pattern is possessive, atomic or fixed: no hostile frame sends a matcher back."""
    patterns = data.draw(formats()).patterns
    for pattern in (patterns.stream, patterns.frame, patterns.without_force, patterns.number):
        if pattern is not None:
            assert not list(backtracking(re_parser.parse(pattern.pattern, pattern.flags)))
    assert all(not list(backtracking(re_parser.parse(step.pattern, step.flags))) for _, step in patterns.steps)


def backtracking(parsed: Any) -> Iterator[str]:
    """Give what in a parsed pattern could give back what it took: all repeats that are neither possessive nor fixed.

    A repeat that is all there is of an atomic group is possessive as well.
    """
    for code, argument in parsed:
        if str(code) == "ATOMIC_GROUP" and len(argument) == 1 and str(argument[0][0]) == "MAX_REPEAT":
            yield from backtracking(argument[0][1][2])
            continue
        if str(code) in {"MAX_REPEAT", "MIN_REPEAT"} and argument[0] != argument[1]:
            yield str(code)
        for inner in argument if isinstance(argument, tuple | list) else [argument]:
            for each in inner if isinstance(inner, list) else [inner]:
                if isinstance(each, re_parser.SubPattern):
                    yield from backtracking(each)


def test_the_search_for_backtracking_finds_it() -> None:
    """The check above sees the repeats it is there to see, and lets the possessive ones pass."""
    assert list(backtracking(re_parser.parse(r"(?:(?=a*)|b+?)c{2}"))) == ["MAX_REPEAT", "MIN_REPEAT"]
    assert not list(backtracking(re_parser.parse(r"(?>a*+|(?>(?:b++)?))c{2}")))
    assert list(backtracking(re_parser.parse(r"(?>(?:b*)?)"))) == ["MAX_REPEAT"]


@pytest.mark.parametrize("hostile", [b" " * 4000, b"1" * 4000, b"1e" * 2000, b"-" * 4000, b"+ " * 2000, b"lb" * 2000])
def test_hostile_bytes_are_noise(hostile: bytes) -> None:
    """Bytes made to keep a matcher busy come out as noise, all of them, and the frame after them is read."""
    form = TextFormat("{value} {unit};{status}", units={"lb": "lbf", "lblb": "kgf"}, status={"OL": "overload"})
    events = decode(form, hostile + b"\r\n12.5 lb;stable\r\n")
    assert b"".join(event.raw for event in events[:-1] if isinstance(event, Noise)) == hostile + b"\r\n"
    assert events[-1] == Frame(12.5, "lbf", "stable")


@pytest.mark.parametrize("frame", ["{value} lb", "lb {value}", "{value}"])
@pytest.mark.parametrize("together", [1, 100, 10_000])
def test_bytes_without_an_end_are_given_up_and_not_hoarded(frame: str, together: int) -> None:
    """Of a stream in which no frame ever ends, less than two frames are held; all else comes out as noise."""
    decoder = TextDecoder(TextFormat(frame, b"\r\n", unit="lbf"))
    given = 0
    for _ in range(10_000 // together):
        given += sum(len(each.raw) for each in decoder.feed(b"7" * together) if isinstance(each, Noise))
    held = sum(len(each.raw) for each in decoder.rejoin())
    assert given + held == 10_000
    assert held < 2 * FRAME_LIMIT


@pytest.mark.parametrize("sign", ["", "-"])
def test_a_number_beyond_all_numbers_is_no_force(sign: str) -> None:
    """A number too large to be held, either way, is noise among good frames as alone: no force is endless."""
    decoder = TextDecoder(TextFormat("{value} lb", b"\r\n", unit="lbf"))
    good, noise = decoder.feed(f"30.0 lb\r\n{sign}1e999 lb\r\n".encode())
    assert good == Frame(30.0, "lbf", None)
    assert isinstance(noise, Noise)
    assert noise.why == "its number is too large"
