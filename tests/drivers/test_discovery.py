"""Ports by the names that last."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from drivers import discovery
from drivers.discovery import Port, lasting_name


def test_a_port_is_named_by_its_identity(tmp_path: Path) -> None:
    """A port that has a name by identity is given by it, and any other name is given as it is."""
    master, slave = os.openpty()
    try:
        device = os.ttyname(slave)
        (tmp_path / "a-gone-adapter").symlink_to("/dev/none")
        (tmp_path / "b-this-adapter").symlink_to(device)
        assert lasting_name(device, tmp_path) == str(tmp_path / "b-this-adapter")
        assert lasting_name(device, tmp_path / "none") == device
        assert lasting_name(str(tmp_path / "b-this-adapter"), tmp_path) == str(tmp_path / "b-this-adapter")
    finally:
        os.close(master)
        os.close(slave)
    for name in ("/dev/none", "socket://bench:4001", "/dev/null/x", "loop://"):
        assert lasting_name(name, tmp_path) == name


def test_ports_are_listed_with_their_descriptions(monkeypatch: pytest.MonkeyPatch) -> None:
    """The list of ports is in order of name, and says so where a port has no description."""
    found = [
        SimpleNamespace(device="/dev/ttyUSB1", description="USB serial adapter"),
        SimpleNamespace(device="/dev/ttyS0", description="n/a"),
    ]
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: found)
    assert discovery.ports() == [
        Port("/dev/ttyS0", "/dev/ttyS0", "no description"),
        Port("/dev/ttyUSB1", "/dev/ttyUSB1", "USB serial adapter"),
    ]


def test_this_machine_can_be_asked() -> None:
    """Whatever ports this machine has, asking for them gives ports with a name and a description each."""
    assert all(port.url and port.device and port.description for port in discovery.ports())
