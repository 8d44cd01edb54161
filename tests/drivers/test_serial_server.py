"""A serial server of another make, ser2net of the distribution, between the link and the scale."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
import tty
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from drivers.events import Garbage, LinkLost, LinkUp, Reading
from drivers.link import Link, LinkSettings, PortSettings, open_port
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, answer, question
from drivers.text_frames import TextDecoder, TextFormat
from tests.drivers.cables import DEADLINE_S, Heard, of, running

FRAMED = TextFormat("net {value} {unit}")
SER2NET = shutil.which("ser2net") or shutil.which("ser2net", path="/usr/sbin:/sbin")
pytestmark = [
    pytest.mark.skipif(SER2NET is None, reason="ser2net is not installed (apt install ser2net)"),
    pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning"),  # the serial library's own
]
ACCEPTERS = {"socket": "tcp", "rfc2217": "telnet(rfc2217),tcp"}


class Served(NamedTuple):
    """A port behind a server: where to call it, the number it listens at, the scale's end of it, and the server."""

    url: str
    number: int
    device: int
    server: subprocess.Popen[bytes]


@contextmanager
def served(kind: str, folder: Path, at: int | None = None) -> Iterator[Served]:
    """Serve a port by ser2net."""
    device, port = os.openpty()
    tty.setraw(port)
    number = at or free_number()
    settings = folder / "ser2net.yaml"
    settings.write_text(
        f"connection: &scale\n  accepter: {ACCEPTERS[kind]},127.0.0.1,{number}\n"
        f"  connector: serialdev,{os.ttyname(port)},9600n81,local\n"
    )
    server = subprocess.Popen(  # its output is of no concern, but to a person who looks why a test failed
        [str(SER2NET), "-n", "-u", "-c", str(settings)], cwd=folder
    )
    try:
        wait_for(number)
        # a pty has no control lines for the server to set, and the serial library waits for their acknowledgement
        unset = "?ign_set_control" if kind == "rfc2217" else ""
        yield Served(f"{kind}://127.0.0.1:{number}{unset}", number, device, server)
    finally:
        with suppress(ProcessLookupError):
            server.send_signal(signal.SIGCONT)
        server.kill()
        server.wait(DEADLINE_S)
        os.close(device)
        os.close(port)


def free_number() -> int:
    """Give a number at which nobody listens."""
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        return int(taken.getsockname()[1])


def wait_for(number: int) -> None:
    """Wait until somebody listens, without calling."""
    deadline = time.monotonic() + DEADLINE_S
    wanted = f":{number:04X} 00000000:0000 0A"
    while wanted not in Path("/proc/net/tcp").read_text():
        assert time.monotonic() < deadline, "ser2net does not listen"
        time.sleep(0.01)


def reader(url: str, heard: Heard, silence_us: int | None = None) -> Link:
    """Give a link to a scale behind a server."""
    return Link(LinkSettings(url, silence_us=silence_us), TextDecoder(FRAMED), heard, heard.fault)


@pytest.mark.parametrize("kind", ACCEPTERS)
def test_a_scale_behind_a_server_is_read(kind: str, tmp_path: Path) -> None:
    """Frames come through the server as they were sent, whole bytes of every kind among them."""
    heard = Heard()
    with served(kind, tmp_path) as (url, _, device, _), running(reader(url, heard)):
        heard.count(LinkUp)
        time.sleep(0.3)  # the server opens its port when it is called, and drops what came before
        os.write(device, b"net 1 lbf\r\n\xff\xff\x00\x11\x13\r\nnet 2 lbf\r\n")
        readings = heard.count(Reading, 2)
    assert [each.force for each in readings] == [1.0, 2.0]
    assert b"".join(each.raw for each in of(heard.events, Garbage)) == b"\xff\xff\x00\x11\x13\r\n"


@pytest.mark.parametrize("kind", ACCEPTERS)
def test_a_device_behind_a_server_is_asked(kind: str, tmp_path: Path) -> None:
    """Questions go out through the server, bytes that its protocol escapes among them, and answers come back."""
    form = ModbusFormat(unit="lbf", register=0xFFFF, number="int16")
    heard = Heard()
    with served(kind, tmp_path) as (url, _, device, _):
        settings = LinkSettings(url, poll_every_us=20_000, answer_within_us=1_000_000)
        with running(Link(settings, ModbusDecoder(form), heard, heard.fault)):
            for number in range(3):
                asked = b""
                while len(asked) < 8:
                    asked += os.read(device, 8 - len(asked))
                assert asked == question(form)
                os.write(device, answer(form, -number))
            readings = heard.count(Reading, 3)
    assert [each.force for each in readings] == [0, -1, -2]


@pytest.mark.parametrize("kind", ACCEPTERS)
def test_a_server_that_dies_is_told_and_called_again(kind: str, tmp_path: Path) -> None:
    """A server that is killed is a lost link, in words; when it is there again, reading goes on."""
    heard = Heard()
    with served(kind, tmp_path) as first, running(reader(first.url, heard, silence_us=500_000)):
        heard.count(LinkUp)
        first.server.kill()
        first.server.wait(DEADLINE_S)
        assert heard.count(LinkLost)[0].advice.startswith("check ")
        with served(kind, tmp_path, at=first.number) as second:
            heard.count(LinkUp, 2)
            for number in range(100):
                os.write(second.device, b"net %d lbf\r\n" % number)
                if heard.within(0.05, Reading):
                    break
            heard.count(Reading)


@pytest.mark.parametrize("kind", ACCEPTERS)
def test_a_server_that_falls_silent_without_a_word(kind: str, tmp_path: Path) -> None:
    """A server that stops dead, its connection open, is a lost link once the scale has been silent too long."""
    heard = Heard()
    with served(kind, tmp_path) as (url, _, device, server), running(reader(url, heard, silence_us=400_000)):
        heard.count(LinkUp)
        for _ in range(100):
            os.write(device, b"net 1 lbf\r\n")
            if heard.within(0.05, Reading):
                break
        server.send_signal(signal.SIGSTOP)
        (lost, *_) = heard.count(LinkLost)
    assert lost.why == "nothing has come from the scale for 0.4 s"
    assert url in lost.advice


@pytest.mark.parametrize("kind", ACCEPTERS)
def test_a_connection_is_kept_alive(kind: str, tmp_path: Path) -> None:
    """The system asks within seconds whether a server is still there, for a pedal's silence says nothing of it."""
    with served(kind, tmp_path) as (url, _, _, _):
        port: Any = open_port(PortSettings(url), 0.1)
        try:
            kept = port._socket
            assert kept.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
            idle_s, every_s, times = (
                kept.getsockopt(socket.IPPROTO_TCP, option)
                for option in (socket.TCP_KEEPIDLE, socket.TCP_KEEPINTVL, socket.TCP_KEEPCNT)
            )
            assert idle_s + every_s * times == 10
        finally:
            port.close()
