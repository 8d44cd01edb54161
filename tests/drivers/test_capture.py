"""Captures: written, read, and heard again."""

from __future__ import annotations

import os
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

from drivers.capture import FIRST_LINE, Capture, CaptureFault, Heard, is_capture, read_capture, read_lines, replay
from drivers.events import Garbage, LinkLost, LinkUp, Reading, Tick
from drivers.link import Link, LinkSettings
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, answer
from drivers.text_frames import TextDecoder, TextFormat
from tests.drivers.cables import Cable, of, running
from tests.drivers.cables import Heard as HeardEvents

FORM = TextFormat("net {value} {unit}")


def test_written_and_read_is_the_same(tmp_path: Path) -> None:
    """What is written is read again, counted from the first moment; what the decoder made of it is not in the file."""
    with Capture(tmp_path / "a.capture") as capture:
        capture.told([LinkUp(5_000, "/dev/ttyUSB0")])
        capture.heard(5_100, b"net 1\r\n\x00\xff")
        capture.told([Garbage(5_200, b"x", "y"), LinkLost(5_300, "the cable\nis out", "plug it in")])
    assert (tmp_path / "a.capture").read_text() == (
        f"{FIRST_LINE}\n0 up /dev/ttyUSB0\n100 6e 65 74 20 31 0d 0a 00 ff\n300 lost the cable is out | plug it in\n"
    )
    assert read_capture(tmp_path / "a.capture") == [
        LinkUp(0, "/dev/ttyUSB0"),
        Heard(100, b"net 1\r\n\x00\xff"),
        LinkLost(300, "the cable is out", "plug it in"),
    ]


def test_a_line_is_in_the_file_at_once(tmp_path: Path) -> None:
    """What was heard stands in the file before anything else comes, so that a lost power loses no more than a line."""
    with Capture(tmp_path / "a.capture") as capture:
        capture.heard(7, b"30")
        assert (tmp_path / "a.capture").read_text().endswith("\n0 33 30\n")


def test_no_file_is_written_over(tmp_path: Path) -> None:
    """A capture is never written over a file, nor where there is no folder; the fault names it."""
    (tmp_path / "a.capture").write_text("mine")
    with pytest.raises(CaptureFault, match=r"a\.capture: is there already"):
        Capture(tmp_path / "a.capture")
    with pytest.raises(CaptureFault, match="cannot be written: No such file"):
        Capture(tmp_path / "none" / "a.capture")
    assert (tmp_path / "a.capture").read_text() == "mine"


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([], "found '' in its first line"),
        (["time_s,force,unit,status"], "found 'time_s,force,unit,status' in its first line"),
        ([FIRST_LINE, "12 3"], "line 2: found '12 3'"),
        ([FIRST_LINE, "# said", "", "12 30 3"], "line 4: found '12 30 3'"),
        ([FIRST_LINE, "-1 30"], "line 2: found '-1 30'"),
        ([FIRST_LINE, "12"], "line 2: found '12'"),
        ([FIRST_LINE, "9 30", "8 30"], "line 3: found 8 after 9"),
    ],
)
def test_what_is_no_capture_is_refused(lines: list[str], words: str) -> None:
    """A file that is no capture is refused with its line, what was found and what was expected."""
    with pytest.raises(CaptureFault) as refused:
        read_lines("a.capture", lines)
    assert str(refused.value).startswith("a.capture: ")
    assert words in str(refused.value)
    assert "expected" in str(refused.value)


def test_what_cannot_be_read_is_refused(tmp_path: Path) -> None:
    """A file that is away, or no text, is refused by name."""
    with pytest.raises(CaptureFault, match=r"a\.capture: cannot be read: No such file"):
        read_capture(tmp_path / "a.capture")
    (tmp_path / "a.capture").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CaptureFault, match="is no text"):
        read_capture(tmp_path / "a.capture")


def test_a_port_is_no_capture(tmp_path: Path) -> None:
    """Only an ordinary file is a capture: neither a port, an address, a folder nor what is not there."""
    (tmp_path / "a.capture").write_text("")
    assert is_capture(str(tmp_path / "a.capture"))
    for url in ("/dev/null", "socket://bench:1", str(tmp_path), "/dev/none"):
        assert not is_capture(url)


def test_what_may_not_be_looked_at_is_left_to_its_opening(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name in a folder that is closed to this user, or one too long for any file, is no capture and no fault yet."""
    assert not is_capture("x" * 300)

    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "stat", closed)
    assert not is_capture("/closed/a.capture")


def test_a_link_and_its_capture_give_the_same_events(tmp_path: Path) -> None:
    """Frames whole, cut and garbled, and a plug pulled in the midst, come out of a capture as they came by the link."""
    cable, heard = Cable(tmp_path / "port"), HeardEvents()
    cable.plug()
    with Capture(tmp_path / "a.capture") as capture:

        def take(batch: list[Any]) -> None:
            capture.told(batch)
            heard(batch)

        link = Link(LinkSettings(cable.url), TextDecoder(FORM), take, heard.fault, on_heard=capture.heard)
        with running(link):
            heard.count(LinkUp)
            for part in (b"net 1 lbf\r\nnet 2", b" lbf\r\nnoise\r\nnet 3 lbf\r\n", b"net 4"):
                before = len(heard.events)
                cable.send(part)
                heard.until(lambda events, before=before, part=part: len(events) > before or part == b"net 4")
            cable.unplug()
            heard.count(LinkLost)
            cable.plug()
            heard.count(LinkUp, 2)
            cable.send(b"net 5 lbf\r\n")
            heard.count(Reading, 4)
    cable.unplug()
    begun_us = heard.events[0].at_us
    replayed = replay(read_capture(tmp_path / "a.capture"), TextDecoder(FORM))
    events = [event for batch in islice(replayed, 200) for event in batch if not isinstance(event, Tick)]
    assert len(events) == len(heard.events) + 1
    for came, again in zip(heard.events, events, strict=False):
        assert type(came) is type(again)
        assert came[1:-1] == again[1:-1]
        # what a lost link leaves unfinished is stamped a moment before the loss is
        assert abs(came.at_us - begun_us - again.at_us) <= (20_000 if isinstance(came, Garbage) else 0)
    assert events[-1] == LinkLost(events[-2].arrived_us, "the capture ends here", "nothing more follows")
    assert [each.force for each in of(events, Reading)] == [1, 2, 3, 5]


def test_ticks_pass_where_nothing_came() -> None:
    """Between lines that lie far apart, and for ever after the last, a tick comes every twentieth of a second."""
    lines = [Heard(0, b"net 1 lbf\r\n"), Heard(120_000, b"net 2 lbf\r\n")]
    events = [event for batch in islice(replay(lines, TextDecoder(FORM)), 8) for event in batch]
    assert [event.at_us for event in events] == [0, 1, 50_000, 100_000, 120_000, 120_000, 170_000, 220_000]
    assert [type(event) for event in events[:4]] == [LinkUp, Reading, Tick, Tick]


def test_a_device_that_was_asked() -> None:
    """The answers of a device that only answers are read from a capture as if it had been asked."""
    form = ModbusFormat(unit="lbf", register=0, number="float32")
    raw = answer(form, 30.0)
    lines = [Heard(0, raw), Heard(100, raw[:3]), Heard(200, raw[3:])]
    events = [event for batch in islice(replay(lines, ModbusDecoder(form)), 3) for event in batch]
    assert [(each.at_us, each.force) for each in of(events, Reading)] == [(1, 30.0), (200, 30.0)]


@pytest.mark.parametrize("tail", ["1000 3", "1000 33 3", "100", "\0\0\0", "1000 lost"])
def test_a_capture_that_was_cut_off(tail: str, tmp_path: Path) -> None:
    """What stands before a line that was cut off is read, and the cut is told; with an end that line is a fault."""
    path = tmp_path / "a.capture"
    path.write_text(f"{FIRST_LINE}\n500 33 30\n{tail}", encoding="utf-8")
    heard, lost = read_capture(path)
    assert heard == Heard(500, b"30")
    assert lost == LinkLost(500, "the capture was cut off within a line", "nothing more follows")
    path.write_text(f"{FIRST_LINE}\n500 33 30\n{tail}\n", encoding="utf-8")
    with pytest.raises(CaptureFault, match="line 3: found"):
        read_capture(path)


def test_a_last_line_needs_no_end(tmp_path: Path) -> None:
    """A whole line at the end counts, as an editor may leave it."""
    path = tmp_path / "a.capture"
    path.write_text(f"{FIRST_LINE}\n500 33 30", encoding="utf-8")
    assert read_capture(path) == [Heard(500, b"30")]
