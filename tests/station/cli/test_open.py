from __future__ import annotations

import socket
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from commands import run

from station.display import answers


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a display is taken to be there")
@pytest.mark.parametrize("display", [None, "", "nonsense", ":7341", "unix:7341.0"])
def test_without_a_display_it_says_so(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, display: str | None
) -> None:
    """Where no display is named, or nobody answers there, it ends with status 2 and what to do; Qt is not started."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    if display is not None:
        monkeypatch.setenv("DISPLAY", display)
    ran = run(capfd, "open")
    assert (ran.status, ran.out) == (2, "")
    assert "there is no display here" in ran.err
    assert "fidbench hold" in ran.err


@pytest.mark.skipif(sys.platform != "linux", reason="a display is found this way on Linux alone")
def test_a_display_that_answers_is_there() -> None:
    """A local display is there while somebody listens at its socket, and gone after."""
    with socket.socket(socket.AF_UNIX) as server:
        server.bind("\0/tmp/.X11-unix/X7342")
        server.listen()
        assert answers(":7342")
        assert answers("unix:7342.1")
    assert not answers(":7342")
    assert answers("elsewhere:10.0")
