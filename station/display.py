"""Whether there is a display to open a window on, and what Qt needs of a bare Debian.

Where a display is named that is gone, Qt ends the process with a core dump; so it is asked first.
"""

from __future__ import annotations

import os
import socket
import sys

QT_PACKAGES = "apt install libegl1 libgl1 libxkbcommon0 libdbus-1-3 libfontconfig1 libxcb-cursor0"
UNSEEN = ("offscreen", "minimal")  # what Qt draws on where nobody looks


def is_there() -> bool:
    """Tell whether a window would be seen; on other systems than Linux it is taken to be."""
    if os.environ.get("QT_QPA_PLATFORM") in UNSEEN:
        return False
    if sys.platform != "linux":
        return True
    return bool(os.environ.get("WAYLAND_DISPLAY")) or answers(os.environ.get("DISPLAY", ""))


def answers(display: str) -> bool:
    """Tell whether somebody answers at a local X display, as ":0" names it; one elsewhere is taken to be there."""
    host, colon, number = display.rpartition(":")
    if not colon or host not in {"", "unix"}:
        return bool(colon)
    address = f"/tmp/.X11-unix/X{number.partition('.')[0]}"  # noqa: S108 -- where X has it, and nothing is written
    for each in (f"\0{address}", address):
        with socket.socket(socket.AF_UNIX) as end:
            if end.connect_ex(each) == 0:
                return True
    return False
