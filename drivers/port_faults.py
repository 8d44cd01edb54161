"""What the operating system says of a port, in a person's words: one sentence, and the next step.

>>> told(FileNotFoundError(2, "No such file"), "/dev/ttyUSB0", "scale", was_up=True)
Told(why='the cable to the scale is unplugged', advice='plug it in again; reading goes on by itself')
>>> told(PermissionError(13, "Permission denied"), "/dev/none", "pedal", was_up=False).why
'this user may not open /dev/none'
"""

from __future__ import annotations

import errno
import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlsplit

_GONE = {
    errno.ENOENT,
    errno.ENXIO,
    errno.ENODEV,
    errno.EIO,
    errno.EBADF,
    errno.ENOTDIR,
    errno.ENAMETOOLONG,
}
_REFUSED = {errno.EACCES, errno.EPERM}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_NO_PORT = {errno.ENOTTY, errno.EISDIR, errno.EINVAL}


class UnusablePort(OSError):
    """A url or a parameter that no port can have."""


class Told(NamedTuple):
    """Why a link was lost, and what to do."""

    why: str
    advice: str


def is_network(url: str) -> bool:
    """Say whether a port is reached over the network."""
    return url.lower().startswith(("socket://", "rfc2217://"))


def refuse_bad_address(url: str) -> None:
    """Raise `UnusablePort` for an address on the network that names no server, or no port of it."""
    if not is_network(url):
        return
    kind = url.partition("://")[0].lower()
    try:
        address = urlsplit(url)
        named = bool(address.hostname and address.port)
    except ValueError:
        named = False
    if not named:
        raise UnusablePort(f"expected {kind}://SERVER:PORT, with a port from 1 to 65535")


def told(fault: BaseException, url: str, what: str, was_up: bool) -> Told:
    """Say what a fault of the port `url` means. `what` hangs on it: a scale or a pedal. `was_up`: it had been open."""
    if isinstance(fault, UnusablePort):
        return Told(f"{url} cannot be opened as it is written: {fault}", "correct it and try again")
    if is_network(url):
        if any(isinstance(each, socket.gaierror) for each in _chain(fault)):
            name = urlsplit(url).hostname
            return Told(f"no computer named {name} is known on this network", "check the name, or use its number")
        return _told_of_network(url, was_up)
    number = _number(fault)
    if number in _GONE or (number is None and "returned no data" in str(fault)):
        if was_up:
            return Told(f"the cable to the {what} is unplugged", "plug it in again; reading goes on by itself")
        capture = "" if url.startswith("/dev/") else "; if it is a capture, check its name and folder"
        return Told(
            f"there is no port {url}", f"plug the {what} in, or choose a port that fidbench ports lists{capture}"
        )
    if number in _REFUSED:
        group = _group(url)
        return Told(
            f"this user may not open {url}",
            f"join the group {group} (sudo usermod -aG {group} $USER), then log out and in again",
        )
    if number in _BUSY:
        return Told(
            f"{url} is in use by {holder(url) or 'another program'}", "close that program; reading begins by itself"
        )
    if number in _NO_PORT:
        kind = "has no contact lines" if was_up else "is no serial port"
        return Told(f"{url} {kind}", "choose a port that fidbench ports lists")
    return Told(f"{url} does not work: {fault}", "pull the cable, plug it in again, and look at its adapter")


def silent(url: str, what: str, silence_us: int, is_asked: bool = False) -> Told:
    """Say what it means that nothing has come for `silence_us` from a port that is open; `is_asked`: nor an answer."""
    why = f"nothing has come from the {what} for {silence_us / 1_000_000:g} s"
    if is_network(url):
        return Told(why, f"check that it is switched on, and the serial server at {url}; it is called again meanwhile")
    if is_asked:
        return Told(why, "check that it is switched on, its cable, speed and parity, and its address or the question")
    return Told(why, "check that it is switched on and sending, its cable, and the baud rate")


def hung(url: str) -> Told:
    """Say that a serial server has stopped answering while its connection stands."""
    return Told(f"the serial server at {url} does not answer any more", "switch it off and on; it is called again")


def failed(what: str) -> Told:
    """Say that the program itself failed while it read."""
    return Told(f"the program failed while reading the {what}", "close the program and start it again")


def _told_of_network(url: str, was_up: bool) -> Told:
    if was_up:
        return Told(
            f"the connection to {url} is gone", "check the serial server and its cables; reading goes on by itself"
        )
    return Told(f"nobody answers at {url}", "check that the serial server is on, its address and its cables")


def _number(fault: BaseException) -> int | None:
    """Give the system's error number, which the serial library sometimes leaves on the fault that it replaced."""
    for each in _chain(fault):
        number = getattr(each, "errno", None) or (each.args[0] if each.args else None)
        if isinstance(number, int):
            return number
    return None


def _chain(fault: BaseException) -> Iterator[BaseException]:
    each: BaseException | None = fault
    while each is not None:
        yield each
        each = each.__cause__ or each.__context__


def _group(url: str) -> str:
    """Give the group that may open the port; adapters belong to dialout where nothing else is known."""
    try:
        owner = Path(url).group()
    except (OSError, KeyError, NotImplementedError):
        return "dialout"
    return "dialout" if owner in {"root", "nogroup"} else owner


def holder(url: str, but_us: bool = False) -> str | None:
    """Give the program that has the port open, where this user may see it (Linux); with `but_us` another than this."""
    device = Path(url).resolve()
    for process in Path("/proc").glob("[0-9]*"):
        if but_us and process.name == str(os.getpid()):
            continue
        try:
            if any(link.readlink() == device and link.samefile(device) for link in (process / "fd").iterdir()):
                return f"{(process / 'comm').read_text().strip()} (process {process.name})"
        except OSError:
            continue
    return None
