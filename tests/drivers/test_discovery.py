"""Ports by the names that last."""

from __future__ import annotations

import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from drivers import discovery
from drivers.discovery import Port, lasting_name


def adapter(device: str, vid: int | None, serial_number: str | None = None, description: str = "n/a") -> Any:
    """Give a port as the serial library lists it."""
    return SimpleNamespace(device=device, vid=vid, pid=vid, serial_number=serial_number, description=description)


@pytest.mark.parametrize(("own", "other", "names"), [(None, None, "path"), ("7", "7", "path"), ("7", "8", "id")])
def test_adapters_of_one_kind_are_named_by_their_sockets(
    own: str | None, other: str | None, names: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where two adapters share one name by identity, it goes to the one plugged in last: their sockets name them."""
    ends = [*os.openpty(), *os.openpty()]
    devices = [os.ttyname(ends[1]), os.ttyname(ends[3])]
    found = [adapter(devices[0], 0x1A, own), adapter(devices[1], 0x1A, other)]
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: found)
    by_id, by_path = tmp_path / "by-id", tmp_path / "by-path"
    by_id.mkdir()
    by_path.mkdir()
    for at, device in enumerate(devices):
        (by_path / f"socket-{at}").symlink_to(device)
        if names == "id":
            (by_id / f"serial-{at}").symlink_to(device)
    if names == "path":
        (by_id / "the-last").symlink_to(devices[1])
    try:
        named = [lasting_name(device, by_id, by_path) for device in devices]
    finally:
        for end in ends:
            os.close(end)
    folder, name = (by_path, "socket") if names == "path" else (by_id, "serial")
    assert named == [str(folder / f"{name}-0"), str(folder / f"{name}-1")]


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
        adapter("/dev/ttyUSB1", 0x1A, description="USB serial adapter"),
        adapter("/dev/ttyS0", None),
    ]
    monkeypatch.setattr(discovery.list_ports, "comports", lambda: found)
    assert discovery.ports() == [
        Port("/dev/ttyS0", "/dev/ttyS0", "no description"),
        Port("/dev/ttyUSB1", "/dev/ttyUSB1", "USB serial adapter"),
    ]


def test_this_machine_can_be_asked() -> None:
    """Whatever ports this machine has, asking for them gives ports with a name and a description each."""
    assert all(port.url and port.device and port.description for port in discovery.ports())
