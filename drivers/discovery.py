"""The serial ports of this machine, by the names that last.

A port's plain name ("/dev/ttyUSB0") goes to whichever adapter was plugged in first; its name by identity
("/dev/serial/by-id/...") stays with the adapter. Station files should name the latter.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

BY_ID = Path("/dev/serial/by-id")


@dataclass(frozen=True, order=True)
class Port:
    """A serial port: `url` is the name to write in a station file, `device` the plain name it has just now."""

    url: str
    device: str
    description: str


def ports() -> list[Port]:
    """Give the serial ports that are there, by name."""
    return sorted(
        Port(lasting_name(found.device), found.device, _words(found.description)) for found in list_ports.comports()
    )


def lasting_name(device: str, by_id: Path = BY_ID) -> str:
    """Give the name by identity of a port, or the name asked for where there is none: an address, or a link already."""
    try:
        if Path(device).is_symlink() or not Path(device).is_char_device():
            return device
        real = Path(device).resolve()
        return next((str(link) for link in sorted(by_id.iterdir()) if link.resolve() == real), device)
    except OSError:
        return device


def _words(description: str | None) -> str:
    return description if description and description != "n/a" else "no description"
