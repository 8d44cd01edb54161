"""What the operating system says of a port, in a person's words."""

from __future__ import annotations

import errno
import os
import socket
from pathlib import Path

import pytest
import serial

from drivers import port_faults
from drivers.link import PortSettings, open_port


def wrapped(message: str, cause: BaseException) -> OSError:
    """Give a fault as the serial library raises it: its own, with the system's behind it and no number of its own."""
    fault: OSError = serial.SerialException(message)
    fault.__context__ = cause
    return fault


@pytest.mark.parametrize(
    ("fault", "was_up", "why", "advice"),
    [
        (serial.SerialException(errno.ENOENT, "no"), False, "there is no port /dev/x", "plug the scale in"),
        (serial.SerialException(errno.ENOENT, "no"), True, "the cable to the scale is unplugged", "goes on by itself"),
        (serial.SerialException(errno.ENOTDIR, "no"), False, "there is no port /dev/x", "fidbench ports lists"),
        (serial.SerialException(errno.ENAMETOOLONG, "no"), False, "there is no port /dev/x", "fidbench ports lists"),
        (OSError(errno.EIO, "no"), True, "the cable to the scale is unplugged", "plug it in again"),
        (wrapped("read failed", OSError(errno.EIO, "no")), True, "the cable to the scale is unplugged", "plug it in"),
        (serial.SerialException("device returned no data"), True, "the cable to the scale is unplugged", "plug it in"),
        (serial.SerialException(errno.EACCES, "no"), False, "this user may not open /dev/x", "join the group dialout"),
        (OSError(errno.EPERM, "no"), True, "this user may not open /dev/x", "log out and in again"),
        (serial.SerialException(errno.EAGAIN, "lock"), False, "/dev/x is in use by another program", "close that"),
        (OSError(errno.EBUSY, "no"), False, "/dev/x is in use by another program", "reading begins by itself"),
        (OSError(errno.ENOTTY, "no"), False, "/dev/x is no serial port", "fidbench ports"),
        (OSError(errno.ENOTTY, "no"), True, "/dev/x has no contact lines", "fidbench ports"),
        (
            port_faults.UnusablePort("no rate"),
            False,
            "cannot be opened as it is written: no rate",
            "correct it and try",
        ),
        (serial.SerialTimeoutException("Write timeout"), True, "/dev/x does not work: Write timeout", "pull the cable"),
    ],
)
def test_a_fault_is_one_sentence_and_the_next_step(fault: OSError, was_up: bool, why: str, advice: str) -> None:
    """Every fault of a port says what is wrong and what to do next, in one line each."""
    told = port_faults.told(fault, "/dev/x", "scale", was_up)
    assert why in told.why
    assert advice in told.advice
    assert "\n" not in told.why + told.advice


def test_a_capture_that_is_not_there_may_be_what_was_meant() -> None:
    """A name that is no device's may be a capture's, mistyped: that is said too, and of a device it is not."""
    gone = OSError(errno.ENOENT, "no")
    assert "if it is a capture, check its name" in port_faults.told(gone, "a.capture", "scale", was_up=False).advice
    assert "capture" not in port_faults.told(gone, "/dev/ttyUSB0", "scale", was_up=False).advice


@pytest.mark.parametrize("url", ["socket://bench:4001", "rfc2217://bench:4001", "SOCKET://bench:4001"])
def test_a_port_on_the_network_names_its_server(url: str) -> None:
    """A fault on the way to a serial server names its address, whatever the number of the fault."""
    fault = OSError(errno.ECONNREFUSED, "refused")
    assert port_faults.told(fault, url, "scale", was_up=False).why == f"nobody answers at {url}"
    assert port_faults.told(fault, url, "scale", was_up=True).why == f"the connection to {url} is gone"
    assert "called again" in port_faults.silent(url, "scale", 2_000_000).advice


@pytest.mark.parametrize("address", ["", "bench", "bench:", "bench:0", "bench:99999", "bench:x", ":4001", "[::1"])
def test_an_address_without_server_or_port_is_refused(address: str) -> None:
    """An address that nobody could be called at is wrong as it is written, and never somebody who does not answer."""
    with pytest.raises(port_faults.UnusablePort, match=r"expected socket://SERVER:PORT, with a port from 1 to 65535"):
        open_port(PortSettings(f"socket://{address}"), 0.1)


def test_a_name_that_nobody_has_is_told_apart_from_silence() -> None:
    """A name that cannot be looked up is named, for it is more often mistyped than switched off."""
    fault = wrapped("Could not open port", socket.gaierror(-2, "Name or service not known"))
    told = port_faults.told(fault, "socket://bnech:4001", "scale", was_up=False)
    assert told.why == "no computer named bnech is known on this network"


def test_the_group_is_the_one_that_owns_the_port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system's own group for ports is another than dialout, that one is named."""
    port = tmp_path / "port"
    port.touch()
    monkeypatch.setattr(Path, "group", lambda _: "uucp")
    fault = PermissionError(errno.EACCES, "no")
    assert (
        "join the group uucp (sudo usermod -aG uucp $USER)" in port_faults.told(fault, str(port), "scale", False).advice
    )


def test_the_program_that_has_the_port_is_named() -> None:
    """A port in use names the program that has it open, where this user may see that."""
    master, slave = os.openpty()
    try:
        told = port_faults.told(OSError(errno.EBUSY, "no"), os.ttyname(slave), "scale", was_up=False)
    finally:
        os.close(master)
        os.close(slave)
    comm = Path("/proc/self/comm").read_text().strip()
    assert f"is in use by {comm} (process {os.getpid()})" in told.why


def test_silence_says_for_how_long() -> None:
    """A scale that sends nothing is told of with the time it has been silent."""
    told = port_faults.silent("/dev/x", "scale", 2_000_000)
    assert told.why == "nothing has come from the scale for 2 s"
    assert "baud rate" in told.advice
