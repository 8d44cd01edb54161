"""The wire, over pty pairs and sockets: what comes, what goes, and what is said of it."""

from __future__ import annotations

import errno
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import serial
import serial.rfc2217

import drivers.link
from drivers.events import Frame, Garbage, LinkLost, LinkUp, Noise, Reading
from drivers.link import Link, LinkSettings, PedalLinkSettings, PortSettings, open_port
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, answer
from drivers.text_frames import TextDecoder, TextFormat
from tests.drivers.cables import DEADLINE_S, Cable, Heard, Rfc2217Server, Scripted, of, running

PLAIN = TextFormat("{value} {unit}")
FRAMED = TextFormat("net {value} {unit}")  # shows where a frame begins, so that the first is believed


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    """Give a cable that is not plugged in yet."""
    cable = Cable(tmp_path / "port")
    yield cable
    cable.unplug()


def reader(url: str, heard: Heard, form: TextFormat = FRAMED, **settings: Any) -> Link:
    """Give a link to a scale at `url`."""
    return Link(LinkSettings(url, **{"silence_us": None} | settings), TextDecoder(form), heard, heard.fault)


# What comes


def test_readings_come_stamped(cable: Cable) -> None:
    """Frames become readings with rising stamps, none after its arrival and none before the link was up."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard, period_us=12_500)):
        (up,) = heard.count(LinkUp)
        before_us = time.monotonic_ns() // 1000
        cable.send(b"net 12.5 lbf\r\nnet 13 lbf\r\n")
        cable.send(b"net 13.")
        cable.send(b"5 lbf\r\nnot a frame\r\n")
        heard.count(Garbage)
        after_us = time.monotonic_ns() // 1000
    assert heard.events[0] == up
    assert up.url == cable.url
    readings = of(heard.events, Reading)
    assert [(each.force, each.unit, each.status) for each in readings] == [
        (12.5, "lbf", None),
        (13.0, "lbf", None),
        (13.5, "lbf", None),
    ]
    assert of(heard.events, Garbage)[0].raw == b"not a frame\r\n"
    stamps = [event.at_us for event in heard.events]
    assert stamps == sorted(stamps)
    assert len(set(stamps)) == len(stamps)
    assert all(before_us <= each.arrived_us <= after_us and each.at_us <= each.arrived_us for each in readings)


def test_a_stream_joined_in_mid_frame(cable: Cable) -> None:
    """The first piece after opening may have lost its beginning, and is garbage where that cannot be seen."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard, PLAIN)):
        heard.count(LinkUp)
        cable.send(b"2.5 lbf\r\n12.5 lbf\r\n")
        (reading,) = heard.count(Reading)
    assert reading.force == 12.5
    assert [each.raw for each in of(heard.events, Garbage)] == [b"2.5 lbf\r\n"]


def test_a_flood_is_read_whole(cable: Cable) -> None:
    """However many frames come at once, each becomes one reading, in order."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard)):
        heard.count(LinkUp)
        cable.send(b"".join(b"net %d lbf\r\n" % number for number in range(20_000)))
        readings = heard.count(Reading, 20_000)
    assert [each.force for each in readings] == list(range(20_000))
    assert not of(heard.events, Garbage)


def test_a_scale_that_only_answers_is_asked(cable: Cable) -> None:
    """With a question to send, the scale is asked again and again, and its answers are read."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard, poll=b"?\r", poll_every_us=20_000)):
        (up,) = heard.count(LinkUp)
        for number in range(5):
            assert cable.asked(2) == b"?\r"
            cable.send(b"net %d lbf\r\n" % number)
        readings = heard.count(Reading, 5)
    assert [each.force for each in readings] == list(range(5))
    assert readings[-1].arrived_us - up.at_us >= 4 * 20_000


def test_a_scale_that_does_not_answer_is_told_with_what_it_is_asked(cable: Cable) -> None:
    """Where a scale is asked in vain, its address and its question are among what to look at."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard, poll=b"?\r", poll_every_us=20_000, silence_us=150_000)):
        (lost, *_) = heard.count(LinkLost)
    assert lost.why == "nothing has come from the scale for 0.15 s"
    assert lost.advice.endswith("its address or the question")


# What goes


def test_unplugged_in_mid_frame_and_plugged_in_again(cable: Cable) -> None:
    """A pulled plug is told at once, with what to do; the half frame is garbage; plugged in again, reading goes on."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard)):
        heard.count(LinkUp)
        cable.send(b"net 12.5 lbf\r\n")
        heard.count(Reading)
        cable.send(b"net 13")
        cable.unplug()
        (lost,) = heard.count(LinkLost)
        cable.plug()
        heard.count(LinkUp, 2)
        cable.send(b"net 14 lbf\r\n")
        heard.count(Reading, 2)
    assert lost[1:] == ("the cable to the scale is unplugged", "plug it in again; reading goes on by itself")
    kinds = [type(event) for event in heard.events]
    assert kinds in (
        [LinkUp, Reading, Garbage, LinkLost, LinkUp, Reading],
        [LinkUp, Reading, LinkLost, LinkUp, Reading],  # the half frame went with the pty before it was read
    )
    assert [event.at_us for event in heard.events] == sorted(event.at_us for event in heard.events)


def test_half_a_frame_is_garbage_when_the_link_goes() -> None:
    """What had been read of a frame when the port failed is garbage, before the loss is told."""
    heard = Heard()
    opener = Scripted([b"net 1", OSError(errno.EIO, "gone")])
    with running(Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), heard, heard.fault, opener)):
        heard.count(LinkLost)
    assert [type(event) for event in heard.events][:3] == [LinkUp, Garbage, LinkLost]
    assert heard.events[1].raw == b"net 1"
    assert opener.closed


def test_a_loss_is_told_once(cable: Cable) -> None:
    """While a port stays away it is looked for ever less often, and its loss told once; another loss is told anew."""
    heard = Heard()
    tries: list[float] = []

    def opener(settings: PortSettings, timeout_s: float) -> Any:
        tries.append(time.monotonic())
        if len(tries) == 6:
            raise PermissionError(errno.EACCES, "no")
        return open_port(settings, timeout_s)

    link = Link(LinkSettings(cable.url), TextDecoder(FRAMED), heard, heard.fault, opener)
    with running(link):
        losses = heard.count(LinkLost, 2)
    assert len(losses) == 2
    assert [lost.why for lost in losses] == [f"there is no port {cable.url}", f"this user may not open {cable.url}"]
    waits = [late - early for early, late in pairwise(tries)][:5]
    assert waits[-1] > 2 * waits[0]


def test_a_port_that_is_not_there_yet(cable: Cable) -> None:
    """A link started before its cable is plugged in says so, and reads as soon as it is there."""
    heard = Heard()
    with running(reader(cable.url, heard)):
        (lost,) = heard.count(LinkLost)
        assert lost.why == f"there is no port {cable.url}"
        assert "plug the scale in" in lost.advice
        cable.plug()
        heard.count(LinkUp)
        cable.send(b"net 1 lbf\r\n")
        heard.count(Reading)


def test_no_permission() -> None:
    """A port this user may not open names the group to join, and is read once it may be opened."""
    heard = Heard()
    opener = Scripted([b"net 1 lbf\r\n"], first=serial.SerialException(errno.EACCES, "could not open port"))
    with running(Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), heard, heard.fault, opener)):
        heard.count(Reading)
    (lost,) = of(heard.events, LinkLost)
    assert lost.why == "this user may not open /dev/x"
    assert "join the group dialout" in lost.advice


def test_a_port_in_use(cable: Cable) -> None:
    """A port that another has open is left alone; who has it is named, and it is read once that one lets go."""
    heard = Heard()
    cable.plug()
    other = open_port(PortSettings(cable.url), 0.1)
    with running(reader(cable.url, heard)):
        (lost,) = heard.count(LinkLost)
        other.close()
        heard.count(LinkUp)
    assert lost.why.startswith(f"{cable.url} is in use by ")
    assert f"(process {os.getpid()})" in lost.why
    assert lost.advice == "close that program; reading begins by itself"


def test_a_link_has_its_port_alone(cable: Cable) -> None:
    """While a link reads a port, nobody else who asks for it alone gets it."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard)):
        heard.count(LinkUp)
        with pytest.raises(serial.SerialException):
            open_port(PortSettings(cable.url), 0.1)
    open_port(PortSettings(cable.url), 0.1).close()


@pytest.mark.parametrize(
    ("settings", "why"),
    [
        (LinkSettings("nonsense://x"), "nonsense://x cannot be opened as it is written"),
        (LinkSettings("loop://", stopbits=7), "loop:// cannot be opened as it is written"),
        (LinkSettings("loop://", baud=-1), "loop:// cannot be opened as it is written"),
        (LinkSettings("/dev"), "/dev is no serial port"),
        (LinkSettings(__file__), f"{__file__} is no serial port"),
        (LinkSettings("/dev/null"), "/dev/null is no serial port"),
    ],
)
def test_what_is_no_port(settings: LinkSettings, why: str) -> None:
    """A name or a parameter that no port can have is told as that."""
    heard = Heard()
    with running(Link(settings, TextDecoder(FRAMED), heard, heard.fault)):
        (lost,) = heard.count(LinkLost)
    assert lost.why.startswith(why)
    assert not heard.faults


def test_silence_and_speech(cable: Cable) -> None:
    """A scale that falls silent is told of, its half frame is garbage, and its next bytes are a link that is up."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard, silence_us=150_000, period_us=12_500)):
        heard.count(LinkUp)
        cable.send(b"net 1 lbf\r\nnet 2")
        (lost,) = heard.count(LinkLost)
        cable.send(b"net 3 lbf\r\nnet 4 lbf\r\n")
        heard.count(Reading, 3)
    assert lost.why == "nothing has come from the scale for 0.15 s"
    assert [type(event) for event in heard.events][:7] == [LinkUp, Reading, Garbage, LinkLost, LinkUp, Reading, Reading]
    stamps = [event.at_us for event in heard.events]
    assert stamps == sorted(stamps)


# The network


@contextmanager
def server() -> Iterator[tuple[socket.socket, str]]:
    """Give a serial server that listens, and the url of its port."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(DEADLINE_S)
        yield listening, f"socket://127.0.0.1:{listening.getsockname()[1]}"


def test_a_server_that_hangs_up() -> None:
    """A serial server that closes the connection is told of by its address, and called again."""
    heard = Heard()
    with server() as (listening, url), running(reader(url, heard)):
        first, _ = listening.accept()
        with first:
            heard.count(LinkUp)
            first.sendall(b"net 1 lbf\r\n")
            heard.count(Reading)
        (lost,) = heard.count(LinkLost)
        second, _ = listening.accept()
        with second:
            heard.count(LinkUp, 2)
            second.sendall(b"net 2 lbf\r\n")
            heard.count(Reading, 2)
    assert lost.why == f"the connection to {url} is gone"


def test_a_server_that_died_in_silence() -> None:
    """A connection on which nothing comes is called anew, for a dead server looks silent; bytes end the loss."""
    heard = Heard()
    with server() as (listening, url), running(reader(url, heard, silence_us=300_000)), ExitStack() as connections:
        connections.enter_context(listening.accept()[0])
        heard.count(LinkLost)
        # What comes before the link has finished opening is dropped, as on any port: so the server repeats itself.
        while not speak(connections.enter_context(listening.accept()[0]), heard):
            pass
    assert [type(event) for event in heard.events][:4] == [LinkUp, LinkLost, LinkUp, Reading]


def speak(connection: socket.socket, heard: Heard) -> bool:
    """Send frames until one is heard, or the connection is given up by the other side."""
    try:
        while not heard.within(0.02, Reading):
            connection.sendall(b"net 2 lbf\r\n")
    except OSError:
        return False
    return True


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_server_that_speaks_nonsense_is_told_in_words_alone() -> None:
    """A server that ends what it never began is told of by the link, and by nothing else."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(DEADLINE_S)
        url = f"rfc2217://127.0.0.1:{server.getsockname()[1]}?timeout=0.2"
        heard = Heard()
        with running(Link(LinkSettings(url), TextDecoder(FRAMED), heard, heard.fault)):
            connection, _ = server.accept()
            with connection:
                connection.sendall(b"\xff\xf0")
                (lost, *_) = heard.count(LinkLost)
    assert lost.why == f"nobody answers at {url}"


def test_a_connection_is_kept_alive_and_closed_even_when_reset() -> None:
    """The system asks whether a silent server is still there, and a connection that was reset leaves no descriptor."""
    heard, connections = Heard(), []

    def opener(settings: PortSettings, timeout_s: float) -> Any:
        port: Any = open_port(settings, timeout_s)
        connections.append(port._socket)
        return port

    with server() as (listening, url):
        settings = LinkSettings(url)
        with running(Link(settings, TextDecoder(FRAMED), heard, heard.fault, opener)):
            called = listening.accept()[0]
            heard.count(LinkUp)
            assert connections[0].getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
            assert connections[0].getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == 4
            called.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))  # closes with a reset
            called.close()
            heard.count(LinkLost)
            listening.accept()[0].close()
    assert connections[0].fileno() == -1


def test_a_port_is_opened_again_by_its_lasting_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port that was named by the kernel is opened again by its identity, and told of by that."""
    monkeypatch.setattr(drivers.link, "lasting_name", lambda url: url.replace("/dev/ttyUSB0", "/dev/by-id/adapter"))
    heard, asked = Heard(), []
    port = Scripted([b"net 1 lbf\r\n", OSError(errno.EIO, "gone")])

    def opener(settings: PortSettings, timeout_s: float) -> Any:
        asked.append(settings.url)
        return port(settings, timeout_s)

    with running(Link(LinkSettings("/dev/ttyUSB0"), TextDecoder(FRAMED), heard, heard.fault, opener)):
        ups = heard.count(LinkUp, 2)
    assert asked == ["/dev/ttyUSB0", "/dev/by-id/adapter"]
    assert [each.url for each in ups] == ["/dev/by-id/adapter"] * 2


def test_a_port_that_stays_away_is_tried_at_an_even_pace(monkeypatch: pytest.MonkeyPatch) -> None:
    """The time between two tries grows to a limit and no further, so that a plug put in is soon noticed."""
    monkeypatch.setattr(drivers.link, "_LAST_RETRY_US", 25_000)
    heard, tries = Heard(), []

    def opener(_settings: PortSettings, _timeout_s: float) -> Any:
        tries.append(time.monotonic())
        raise OSError(errno.ENOENT, "no")

    with running(Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), heard, heard.fault, opener)):
        deadline = time.monotonic() + DEADLINE_S
        while len(tries) < 12 and time.monotonic() < deadline:
            time.sleep(0.01)
    assert len(tries) >= 12
    assert tries[11] - tries[0] < 2  # with waits that go on doubling it would be 40


def test_the_line_is_silent_before_a_question(cable: Cable) -> None:
    """After an answer no question is sent before the line was silent for as long as the device needs."""
    heard = Heard()
    cable.plug()
    form = ModbusFormat(unit="N", register=0, number="int16")
    settings = LinkSettings(cable.url, poll_every_us=5_000, gap_us=150_000)
    with running(Link(settings, ModbusDecoder(form), heard, heard.fault)):
        heard.count(LinkUp)
        cable.asked(8)
        cable.send(answer(form, 7))
        answered_us = heard.count(Reading)[0].arrived_us
        cable.asked(8)
        assert time.monotonic_ns() // 1000 - answered_us >= 150_000


def test_nobody_answers() -> None:
    """An address at which nobody listens is told as that."""
    with server() as (_, url):
        pass
    heard = Heard()
    with running(reader(url, heard)):
        (lost,) = heard.count(LinkLost)
    assert lost.why == f"nobody answers at {url}"


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_scale_over_the_network_is_asked() -> None:
    """A question to a scale behind an RFC 2217 server reaches it; here the loop sends it back as the answer."""
    heard = Heard()
    with Rfc2217Server() as server, running(reader(server.url, heard, poll=b"net 7 lbf\r\n", poll_every_us=20_000)):
        readings = heard.count(Reading, 3)
    assert {each.force for each in readings} == {7.0}


# The program's own faults


class BrokenDecoder:
    """A decoder with a bug."""

    def feed(self, chunk: bytes, /) -> list[Frame | Noise]:
        """Fail."""
        raise ZeroDivisionError(chunk)

    def rejoin(self) -> list[Noise]:
        """Have nothing waiting."""
        return []


def test_a_bug_is_told_and_handed_on() -> None:
    """A fault of the program while reading is a lost link, and reaches who asked for it; the port is closed."""
    heard, opener = Heard(), Scripted([b"x"])
    with running(Link(LinkSettings("/dev/x"), BrokenDecoder(), heard, heard.fault, opener)):
        assert isinstance(heard.failed(), ZeroDivisionError)
    assert [type(event) for event in heard.events] == [LinkUp, LinkLost]
    assert heard.events[-1].why == "the program failed while reading the scale"
    assert opener.closed == 1


@pytest.mark.parametrize("bug", [ZeroDivisionError("bug"), OSError(errno.ENOSPC, "disk full"), ValueError("bug")])
def test_who_takes_the_batches_may_fail(bug: Exception) -> None:
    """A fault of who takes the batches is never taken for one of the port, and reaches `on_fault` as it was raised."""
    heard, opener = Heard(), Scripted([b"net 1 lbf\r\n"])

    def take(batch: list[Any]) -> None:
        if isinstance(batch[0], Reading):
            raise bug
        heard(batch)

    with running(Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), take, heard.fault, opener)):
        assert heard.failed() is bug
    assert [type(event) for event in heard.events] == [LinkUp, LinkLost]
    assert opener.closed == 1


def test_who_always_fails_is_still_heard_of() -> None:
    """Where even the loss cannot be handed on, the first fault is."""
    heard = Heard()

    def take(batch: list[Any]) -> None:
        raise KeyError(len(batch))

    with running(Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), take, heard.fault, Scripted([]))):
        assert isinstance(heard.failed(), KeyError)
    assert len(heard.faults) == 1


def test_a_bug_nobody_asked_for_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without `on_fault` a fault of the program is raised in the thread, where every uncaught fault is seen."""
    heard = Heard()
    monkeypatch.setattr(threading, "excepthook", lambda args: heard.fault(args.exc_value))
    with running(Link(LinkSettings("/dev/x"), BrokenDecoder(), heard, None, Scripted([b"x"]))):
        assert isinstance(heard.failed(), ZeroDivisionError)


# Starting and stopping


def test_stop_is_quick_and_may_come_twice(cable: Cable) -> None:
    """Stopping wakes a link that waits for bytes, may be done twice, and before it was started as well."""
    cable.plug()
    heard = Heard()
    link = reader(cable.url, heard)
    link.stop()
    link = reader(cable.url, heard)
    link.start()
    heard.count(LinkUp)
    link.stop()
    link.stop()
    told = len(heard.events)
    cable.send(b"net 1 lbf\r\n")
    assert len(heard.events) == told


def test_a_link_may_be_stopped_by_who_takes_its_batches() -> None:
    """A link that is stopped from within a batch ends after it."""
    stopped = threading.Event()

    def take(batch: list[Any]) -> None:
        if isinstance(batch[0], Reading):
            link.stop()
            stopped.set()

    opener = Scripted([b"net 1 lbf\r\n", b"net 2 lbf\r\n"])
    link = Link(LinkSettings("/dev/x"), TextDecoder(FRAMED), take, opener=opener)
    link.start()
    assert stopped.wait(DEADLINE_S)
    link.stop()
    assert opener.closed == 1


def test_a_hundred_times_unplugged(cable: Cable) -> None:
    """A hundred plugs pulled and put in again leave no descriptor and no thread, and each is told, both ways."""
    heard = Heard()
    cable.plug()
    with running(reader(cable.url, heard)):
        heard.count(LinkUp)
        descriptors, threads = open_descriptors(), threading.active_count()
        for number in range(1, 101):
            cable.send(b"net 1 lbf\r\n")
            heard.count(Reading, number)
            cable.unplug()
            heard.count(LinkLost, number)
            cable.plug()
            heard.count(LinkUp, number + 1)
        assert open_descriptors() == descriptors
        assert threading.active_count() == threads
    assert {lost.why for lost in of(heard.events, LinkLost)} == {"the cable to the scale is unplugged"}


def open_descriptors() -> int:
    """Count the files and ports this process has open."""
    return len(list(Path("/proc/self/fd").iterdir()))


@pytest.mark.parametrize(
    ("settings", "why"),
    [
        (lambda: LinkSettings("/dev/x", poll=b"?", poll_every_us=0), "expected 5000 us or more"),
        (lambda: LinkSettings("/dev/x", period_us=0), "found a period of 0 us"),
        (lambda: PedalLinkSettings("/dev/x", kind="text", down=b"D", up=b"D"), "expected two texts"),
    ],
)
def test_settings_that_cannot_be(settings: Callable[[], PortSettings], why: str) -> None:
    """Times and texts that cannot work are refused where they are declared."""
    with pytest.raises(ValueError, match=why):
        settings()


def test_settings_are_values() -> None:
    """Settings of a port compare by what they say."""
    assert LinkSettings("/dev/x") == replace(LinkSettings("/dev/y"), url="/dev/x")
    assert PedalLinkSettings("/dev/x", line="ri") != PedalLinkSettings("/dev/x")
