"""`fidbench listen`: what came is shown, kept, and described."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import threading
import tomllib
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from commands import FOREIGN_STATION, HOLD, ForeignScale, run

from drivers.capture import Capture, Heard, read_capture
from drivers.link import PedalLinkSettings
from station.settings.station import load_station
from tests.drivers.cables import Rfc2217Server

CAPTURE = Path(__file__).parents[2] / "captures" / "pulled-plug.capture"


@contextmanager
def scale_at(speed: int) -> Iterator[str]:
    """Give a port whose scale is readable at one speed alone, and garbled at any other."""
    device, port = os.openpty()
    tty.setraw(port)
    stop = threading.Event()

    def send() -> None:
        count = 0
        while not stop.wait(0.01):
            count += 1
            right = termios.tcgetattr(port)[5] == getattr(termios, f"B{speed}")
            raw = b"%7.2f lb\r\n" % (count / 10)
            os.write(device, raw if right else bytes(byte * 167 % 256 | 0x80 for byte in raw))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield os.ttyname(port)
    finally:
        stop.set()
        thread.join()
        os.close(device)
        os.close(port)


def test_a_scale_is_heard_described_and_kept(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """What a foreign scale sends is shown read by read, written to the capture, and read by the description given."""
    with ForeignScale(tmp_path / "scale"):
        ran = run(capfd, "listen", tmp_path / "scale", "--for", "0.6 s", "--capture", tmp_path / "a.capture", "--json")
    assert ran.status == 0
    heard = [bytes.fromhex(each["hex"]) for each in ran.lines if each["event"] == "heard"]
    kept = [line.raw for line in read_capture(tmp_path / "a.capture") if isinstance(line, Heard)]
    assert kept[: len(heard)] == heard
    last = ran.lines[-1]
    assert (last["event"], last["frame"]) == ("proposal", "<{skip:1}A{value}p>")
    assert last["bytes"] == sum(map(len, heard))
    assert last["explained"] == last["frames"] > 20
    again = run(capfd, "listen", tmp_path / "a.capture", "--json")
    assert again.lines[-1]["frame"] == last["frame"]


def test_raw_bytes_are_shown_safely(capfd: pytest.CaptureFixture[str]) -> None:
    """A capture is heard like a port; what cannot be printed is an escape, and the description stands below."""
    ran = run(capfd, "listen", CAPTURE)
    assert ran.status == 0
    assert r"'0.0\xff;pou~ds;steady\r\n'" in ran.out
    assert "the cable to the scale is unplugged: plug it in again" in ran.err
    assert 'frame = "{value};{unit};' in ran.out
    assert "This reads" in ran.out
    assert "\x1b" not in ran.out


def test_nothing_came(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A port that is away is said in words, and nothing else is to be looked at; the status is 3."""
    ran = run(capfd, "listen", tmp_path / "none", "--for", "0.1 s")
    assert ran.status == 3
    assert f"there is no port {tmp_path / 'none'}" in ran.err
    assert "nothing came" not in ran.err


@pytest.mark.parametrize("option", ["--ask", "--try-speeds"])
def test_a_port_that_cannot_be_read_is_said_at_every_try(
    option: str, capfd: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While speeds or questions are tried, a port that is away is no silent scale, and that is said with each try."""
    import station.cli.listen as module

    monkeypatch.setattr(module, "_A_SPEED_S", 0.3)
    ran = run(capfd, "listen", tmp_path / "none", "--for", "0.1 s", option)
    tries = [line for line in ran.err.splitlines() if "no bytes" in line]
    assert len(tries) >= 8
    assert all(line.endswith(f"; there is no port {tmp_path / 'none'}") for line in tries)
    assert option != "--try-speeds" or "listening at 9600 baud" in ran.err  # the commonest


def test_a_silent_port_is_told_from_one_that_answers_no_question(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where nothing comes, asking is the next step; where it was asked in vain, the handbook is."""
    import station.cli.listen as module

    monkeypatch.setattr(module, "_A_SPEED_S", 0.05)
    device, port = os.openpty()
    try:
        ran = run(capfd, "listen", os.ttyname(port), "--for", "0.1 s")
        assert (ran.status, "one that only answers: --ask" in ran.err) == (3, True)
        ran = run(capfd, "listen", os.ttyname(port), "--for", "0.1 s", "--ask")
        assert (ran.status, "no usual question was answered" in ran.err) == (3, True)
    finally:
        os.close(device)
        os.close(port)


def test_a_program_that_reads_the_port_too_is_named(capfd: pytest.CaptureFixture[str]) -> None:
    """Where nothing comes and another program has the port open without a lock, that one is named."""
    device, port = os.openpty()
    with subprocess.Popen(["sleep", "60"], stdin=port) as other:
        ran = run(capfd, "listen", os.ttyname(port), "--for", "0.1 s")
        other.kill()
    os.close(device)
    os.close(port)
    assert ran.status == 3
    assert f"sleep (process {other.pid}) has " in ran.err
    assert "close that program" in ran.err


def test_the_speed_is_found(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """With --try-speeds the speed at which the frames are explained is found, and stands in the description."""
    import station.cli.listen as module

    monkeypatch.setattr(module, "_A_SPEED_S", 0.3)
    with scale_at(2400) as url:
        ran = run(capfd, "listen", url, "--for", "0.3 s", "--try-speeds")
        garbled = run(capfd, "listen", url, "--for", "0.3 s")
    assert ran.status == 0
    assert "listening at 2400 baud" in ran.err
    assert "baud = 2400" in ran.out
    assert garbled.status == 1
    assert "the wrong speed" in garbled.out


def test_plain_text_that_nothing_reads_is_not_called_garbled(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Too few frames, or a banner, are readable: the speed is right, and the next step is another one."""
    heard = tmp_path / "banner.capture"
    with Capture(heard) as capture:
        capture.heard(0, b"READY\r\n")
    ran = run(capfd, "listen", heard)
    assert ran.status == 1
    assert "the speed is right: listen for longer" in ran.out
    assert "Garbled" not in ran.out


def test_a_description_that_reads_little_is_not_one_to_use(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """What reads a third of the frames is shown as a beginning and ends with 1, and what is left out is told."""
    heard = tmp_path / "mixed.capture"
    with Capture(heard) as capture:
        for at in range(30):
            capture.heard(at, b"%5.1f lb\r\n" % at if at % 3 == 0 else b"READY"[at % 5 :] + b"\r\n")
    ran = run(capfd, "listen", heard)
    assert ran.status == 1
    assert "reads only 9 of 29 frames: a beginning, not yet to be used" in ran.out
    assert "write it into" not in ran.out
    assert "the gap it leaves may end a hold" in ran.out


@pytest.mark.parametrize("words", [["--for", "0 s"], ["--for", "10"], ["--baud", "1"], ["--capture", str(CAPTURE)]])
def test_wrong_usage(capfd: pytest.CaptureFixture[str], words: list[str]) -> None:
    """No time, a bare number, a speed no port has and a capture that is there already end with status 2."""
    assert run(capfd, "listen", "/dev/none", *words).status == 2


@pytest.mark.parametrize("url", ["", "foo://x"])
def test_a_url_that_nothing_opens_is_wrong_usage(capfd: pytest.CaptureFixture[str], url: str) -> None:
    """It ends with status 2 and names what was found: no hardware is at fault."""
    ran = run(capfd, "listen", url, "--for", "1 s")
    assert (ran.status, ran.out) == (2, "")
    assert f"URL: found {url!r}, expected a port" in ran.err


def test_a_silent_scale_is_asked(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """With --ask a scale that only answers is asked, and the question stands in the description; else it is silent."""
    import station.cli.listen as module

    monkeypatch.setattr(module, "_A_SPEED_S", 0.9)
    device, port = os.openpty()
    tty.setraw(port)
    os.set_blocking(device, False)
    stop = threading.Event()

    def answer() -> None:
        while not stop.wait(0.005):
            try:
                asked = os.read(device, 100)
            except OSError:
                continue
            if asked == b"W\r":
                os.write(device, b"  29.96 lb\r\n")

    thread = threading.Thread(target=answer)
    thread.start()
    try:
        silent = run(capfd, "listen", os.ttyname(port), "--for", "0.3 s")
        asked = run(capfd, "listen", os.ttyname(port), "--for", "0.9 s", "--ask")
    finally:
        stop.set()
        thread.join()
        os.close(device)
        os.close(port)
    assert silent.status == 3
    assert "--ask" in silent.err
    assert asked.status == 0
    assert 'poll = "W\\r"' in asked.out
    assert "asked W and CR" in asked.err


def pressed(server: Rfc2217Server, until: threading.Event) -> None:
    """Press a contact for a second every four, as a person does who waits between."""
    while not until.wait(3.2):
        for down in (True, False):
            server.port.foot = down
            until.wait(0.8)


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_footswitch_is_found_by_its_line(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The line that a foot moves is shown and proposed, and the proposal is a [pedal] that a station file takes."""
    with Rfc2217Server() as server:
        server.port.foot = False
        found = threading.Event()
        foot = threading.Thread(target=pressed, args=[server, found])
        foot.start()
        ran = run(capfd, "listen", server.url, "--pedal", "--for", "20 s")
        found.set()
        foot.join()
    assert ran.status == 0, ran.out + ran.err
    assert "CTS goes on" in ran.out
    assert "The foot closes pin 8 (CTS)" in ran.out
    station = tmp_path / "station.toml"
    station.write_text(FOREIGN_STATION.format(url="/dev/x") + ran.out.partition("file:\n\n")[2] + HOLD)
    pedal = load_station(station).pedal
    assert isinstance(pedal, PedalLinkSettings)
    assert (pedal.kind, pedal.line, pedal.url) == ("contact", "cts", server.url)


def test_a_footswitch_is_found_by_what_it_sends(capfd: pytest.CaptureFixture[str]) -> None:
    """What a text pedal sends with the foot down and up is proposed, with the speed it was heard at."""
    device, port = os.openpty()
    tty.setraw(port)
    sent = [threading.Timer(at_s, os.write, [device, raw]) for at_s, raw in ((0.4, b"D"), (0.8, b"U"))]
    for each in sent:
        each.start()
    ran = run(capfd, "listen", os.ttyname(port), "--pedal", "--baud", "4800", "--for", "5 s", "--json")
    os.close(device)
    os.close(port)
    assert ran.status == 0
    assert [each["text"] for each in ran.lines if each["event"] == "heard"] == ["'D'", "'U'"]
    assert tomllib.loads(ran.lines[-1]["pedal_toml"])["pedal"] | {"url": ""} == {
        "kind": "text",
        "url": "",
        "baud": 4800,
        "bytesize": 8,
        "parity": "N",
        "stopbits": 1,
        "down": "D",
        "up": "U",
    }


def test_no_foot(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Nothing at all is status 3, with what to look at; something that is no foot is status 1."""
    device, port = os.openpty()
    tty.setraw(port)
    none = run(capfd, "listen", os.ttyname(port), "--pedal", "--for", "0.2 s")
    threading.Timer(0.3, os.write, [device, b"hello\r\n"]).start()
    some = run(capfd, "listen", os.ttyname(port), "--pedal", "--for", "1.2 s")
    os.close(device)
    os.close(port)
    assert (none.status, "no line moved: press the footswitch" in none.err) == (3, True)
    assert (some.status, "listen for longer" in some.err) == (1, True)
    gone = run(capfd, "listen", tmp_path / "none", "--pedal", "--for", "0.2 s", "--json")
    assert (gone.status, gone.lines[-1]["pedal_toml"]) == (3, None)
    said = run(capfd, "listen", tmp_path / "none", "--pedal", "--for", "0.2 s")
    assert ("there is no port" in said.err, "ress the footswitch" in said.err) == (True, False)


@pytest.mark.parametrize("words", [["--ask"], ["--try-speeds"], ["--capture", "new.capture"]])
def test_a_pedal_is_listened_for_alone(capfd: pytest.CaptureFixture[str], words: list[str]) -> None:
    """What is for a scale does not go with --pedal, and a capture is neither captured again nor a pedal."""
    ran = run(capfd, "listen", "/dev/none", "--pedal", *words)
    assert (ran.status, "--pedal goes with" in ran.err) == (2, True)
    for option in (["--pedal"], ["--capture", "new.capture"]):
        ran = run(capfd, "listen", CAPTURE, *option)
        assert (ran.status, "is a capture already" in ran.err) == (2, True)
    assert not Path("new.capture").exists()
