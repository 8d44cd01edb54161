from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from commands import run


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a display is taken to be there")
def test_without_a_display_it_says_so(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing can be shown it ends with status 2 and what to do instead, and Qt is not started."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    ran = run(capfd, "open")
    assert (ran.status, ran.out) == (2, "")
    assert "there is no display here" in ran.err
    assert "fidbench hold" in ran.err
