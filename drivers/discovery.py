"""The serial ports of this machine, by the names that last.

A port's plain name ("/dev/ttyUSB0") goes to whichever adapter was plugged in first; its name by identity
("/dev/serial/by-id/...") stays with the adapter. Station files should name the latter. Cheap adapters of one kind have
no serial number and share one name by identity, which goes to the one plugged in last: those are named by the socket
they are in ("/dev/serial/by-path/...").

>>> Port("/dev/ttyUSB0", "/dev/ttyUSB0", "adapter").lasts, Port("/dev/serial/by-id/a", "/dev/ttyUSB0", "a").lasts
(False, True)
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

BY_ID = Path("/dev/serial/by-id")
BY_PATH = Path("/dev/serial/by-path")
_GIVEN_IN_TURN = ("/dev/ttyUSB", "/dev/ttyACM")  # names that go to whichever adapter comes first


@dataclass(frozen=True, order=True)
class Port:
    """A serial port: `url` is the name to write in a station file, `device` the plain name it has just now."""

    url: str
    device: str
    description: str

    @property
    def lasts(self) -> bool:
        """Tell whether the name stays with this port when adapters are pulled and plugged in again."""
        return not self.url.startswith(_GIVEN_IN_TURN)


def ports() -> list[Port]:
    """Give the serial ports that are there, by name."""
    return sorted(
        Port(lasting_name(found.device), found.device, _words(found.description)) for found in list_ports.comports()
    )


def lasting_name(device: str, by_id: Path = BY_ID, by_path: Path = BY_PATH) -> str:
    """Give the lasting name of a port, or the name asked for where there is none: an address, or a link already.

    That is its name by identity, or the one by its socket where another port here has the same identity.
    """
    try:
        if Path(device).is_symlink() or not Path(device).is_char_device():
            return device
    except OSError:
        return device
    alike = _alike(device)
    names = [_link(by_id, each) for each in alike]
    is_shared = len(names) > 1 and None in names
    return (_link(by_path, device) if is_shared else names[0]) or device


def _alike(device: str) -> list[str]:
    """Give the port, and after it those that no identity tells from it: adapters of one kind and serial number."""
    identities = {each.device: (each.vid, each.pid, each.serial_number) for each in list_ports.comports()}
    own = identities.get(device, (None, None, None))
    return [device, *(each for each, other in identities.items() if other == own and own[0] and each != device)]


def _link(folder: Path, device: str) -> str | None:
    """Give the link in the folder that leads to the port; None where there is none."""
    try:
        real = Path(device).resolve()
        return next((str(link) for link in sorted(folder.iterdir()) if link.resolve() == real), None)
    except OSError:
        return None


def _words(description: str | None) -> str:
    return description if description and description != "n/a" else "no description"
