"""What every test stands on: no display unless one is there, no thread left behind, the same examples on every run."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator

import pytest
from hypothesis import settings

if not os.environ.get("DISPLAY"):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")  # before Qt loads

settings.register_profile("suite", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("suite")

_GRACE_S = 2.0


@pytest.fixture(autouse=True)
def no_thread_left_behind() -> Iterator[None]:
    """Fail a test that leaves a thread of ours running."""
    before = set(threading.enumerate())
    yield
    until = time.monotonic() + _GRACE_S
    while left := [each for each in threading.enumerate() if each not in before and each.is_alive()]:
        if time.monotonic() > until:
            pytest.fail(f"left running: {', '.join(each.name for each in left)}")
        left[0].join(0.05)
