"""Whether there is a display to open a window on, and what Qt needs of a bare Debian and of the C library.

Where a display is named that is gone, Qt ends the process with a core dump; so it is asked first.
"""

from __future__ import annotations

import ctypes
import os
import socket
import sys
from contextlib import suppress

QT_PACKAGES = "apt install libegl1 libgl1 libxkbcommon0 libdbus-1-3 libfontconfig1 libxcb-cursor0"
_M_MMAP_THRESHOLD, _LARGE = -3, 1 << 20  # glibc, malloc.h: from how many bytes on a block is always mapped
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


def give_back_large_blocks() -> None:
    """Have the system's C library give every large block back when it is freed, as far as it is glibc.

    By itself it learns from the first picture of a window that is closed to keep blocks of that size in its heap, which
    then frays: over a day's windows 8 MB of it came to nothing.
    """
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).mallopt(_M_MMAP_THRESHOLD, _LARGE)
