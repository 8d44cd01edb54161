"""What the tests of views share."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Keep what a page writes out of the user's own folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
