"""The wire to a pedal: contacts and texts, over pty pairs, the serial library's loop and the network."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from drivers.events import PedalEdge, PedalLost, PedalUp
from drivers.foot_watch import FootWatch, LineMoved, PedalSaid
from drivers.link import PedalLink, PedalLinkSettings, PortSettings, open_port
from tests.drivers.cables import Cable, Contact, Heard, Rfc2217Server, of, running


@pytest.fixture
def cable(tmp_path: Path) -> Iterator[Cable]:
    """Give a cable that is not plugged in yet."""
    cable = Cable(tmp_path / "port")
    yield cable
    cable.unplug()


def test_a_text_pedal(cable: Cable) -> None:
    """A pedal that sends a byte down and a byte up gives its edges, each once."""
    heard = Heard()
    cable.plug()
    with running(PedalLink(PedalLinkSettings(cable.url, kind="text"), heard, heard.fault)):
        heard.count(PedalUp)
        cable.send(b"DDD\r\nU?D")
        edges = heard.count(PedalEdge, 3)
    assert [each.down for each in edges] == [True, False, True]


def test_a_text_pedal_pulled_and_plugged_in_again(cable: Cable) -> None:
    """A pedal's lost cable is told of as the pedal's, and its first byte after that counts."""
    heard = Heard()
    cable.plug()
    settings = PedalLinkSettings(cable.url, kind="text", down=b"down\n", up=b"up\n")
    with running(PedalLink(settings, heard, heard.fault)):
        heard.count(PedalUp)
        cable.send(b"down\ndo")
        heard.count(PedalEdge)
        cable.unplug()
        (lost,) = heard.count(PedalLost)
        cable.plug()
        heard.count(PedalUp, 2)
        cable.send(b"wn\ndown\n")
        heard.count(PedalEdge, 2)
    assert lost.why == "the cable to the pedal is unplugged"


@pytest.mark.parametrize("line", ["cts", "dsr", "dcd", "ri"])
def test_a_contact_on_a_modem_line(line: Any) -> None:
    """A contact on any of the four lines gives an edge whenever its level changes, and none at opening."""
    heard, contact = Heard(), Contact()
    with running(PedalLink(PedalLinkSettings("/dev/x", line=line), heard, heard.fault, contact)):
        heard.count(PedalUp)
        for number, down in enumerate([True, False, True], 1):
            setattr(contact, {"dcd": "cd"}.get(line, line), down)
            assert heard.count(PedalEdge, number)[-1].down is down
    stamps = [event.at_us for event in heard.events]
    assert stamps == sorted(stamps)


@pytest.mark.parametrize("line", ["cts", "dsr", "dcd", "ri"])
def test_which_line_the_foot_moves(line: Any) -> None:
    """Where all four lines are watched, the one that moved is named, and no other."""
    heard, contact = Heard(), Contact()
    with running(FootWatch(PedalLinkSettings("/dev/x"), heard, heard.fault, contact)):
        heard.count(PedalUp)
        setattr(contact, {"dcd": "cd"}.get(line, line), True)
        moved = heard.count(LineMoved)
    assert [(each.line, each.on) for each in moved] == [(line, True)]


def test_a_port_without_lines_is_listened_to(cable: Cable) -> None:
    """Where a port has no modem lines, the bytes of a pedal that sends text are told all the same."""
    heard = Heard()
    cable.plug()
    with running(FootWatch(PedalLinkSettings(cable.url, kind="text"), heard, heard.fault)):
        heard.count(PedalUp)
        cable.send(b"D")
        (said,) = heard.count(PedalSaid)
    assert said.raw == b"D"


def test_a_contact_on_a_bare_socket_is_refused() -> None:
    """A socket carries no modem lines, so a contact there is refused, and told what would do."""
    with pytest.raises(ValueError, match=r"a bare socket carries no lines; expected .*rfc2217://"):
        PedalLinkSettings("socket://h:1", kind="contact")
    assert PedalLinkSettings("socket://h:1", kind="text").kind == "text"


def test_a_contact_pressed_while_the_link_was_away() -> None:
    """The level that stands when the link comes back is where it begins: a press made meanwhile is no edge."""
    heard, contact = Heard(), Contact()
    with running(PedalLink(PedalLinkSettings("/dev/x"), heard, heard.fault, contact)):
        heard.count(PedalUp)
        contact.broken = True
        heard.count(PedalLost)
        contact.cts = True
        contact.broken = False
        ups = heard.count(PedalUp, 2)
        contact.cts = False
        edges = heard.count(PedalEdge)
    assert [each.down for each in edges] == [False]
    assert [each.down for each in ups] == [False, True]


def test_a_contact_through_the_serial_library() -> None:
    """The contact lines are those of the serial library's port: seen on its loop, where RTS is wired to CTS."""
    heard = Heard()
    opened: list[Any] = []

    def opener(settings: PortSettings, timeout_s: float) -> Any:
        opened.append(open_port(settings, timeout_s))
        return opened[-1]

    with running(PedalLink(PedalLinkSettings("loop://"), heard, heard.fault, opener)):
        heard.count(PedalUp)
        opened[0].rts = False
        heard.count(PedalEdge)
        opened[0].rts = True
        edges = heard.count(PedalEdge, 2)
    assert [each.down for each in edges] == [False, True]


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_contact_over_the_network() -> None:
    """A contact on a serial server that speaks RFC 2217 gives its edges as one on this machine does."""
    heard = Heard()
    with Rfc2217Server() as server, running(PedalLink(PedalLinkSettings(server.url), heard, heard.fault)):
        heard.count(PedalUp)
        server.port.rts = False
        heard.count(PedalEdge)
        server.port.rts = True
        edges = heard.count(PedalEdge, 2)
    assert [each.down for each in edges] == [False, True]


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_contact_whose_server_hangs_up() -> None:
    """A serial server that hangs up is told of, though the contact's last level still stands in the library."""
    heard = Heard()
    with Rfc2217Server() as server, running(PedalLink(PedalLinkSettings(server.url), heard, heard.fault)):
        heard.count(PedalUp)
        server.hang_up.set()
        (lost, *_) = heard.count(PedalLost)
    assert lost.why == f"the connection to {server.url} is gone"


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # the serial library's own
def test_a_contact_whose_server_hangs() -> None:
    """A server that hangs, its connection open, is told of within seconds, and taken up again once it answers."""
    heard = Heard()
    with Rfc2217Server(calls=9) as server, running(PedalLink(PedalLinkSettings(server.url), heard, heard.fault)):
        assert heard.count(PedalUp)[0].watched
        server.hung.set()
        (lost, *_) = heard.count(PedalLost)
        assert lost.why == f"the serial server at {server.url} does not answer any more"
        server.hung.clear()
        heard.count(PedalUp, 2)
        server.port.foot = False
        heard.count(PedalEdge)


def test_a_pedal_on_a_bare_socket_is_not_watched() -> None:
    """Whether a bare socket's server hangs cannot be known, and its link says so."""
    heard = Heard()
    with socket.create_server(("127.0.0.1", 0)) as server:
        settings = PedalLinkSettings(f"socket://127.0.0.1:{server.getsockname()[1]}", kind="text")
        with running(PedalLink(settings, heard, heard.fault)):
            assert not heard.count(PedalUp)[0].watched


def test_a_port_without_contact_lines(cable: Cable) -> None:
    """A port that has no modem lines is told as that, once, and never as a link that is up."""
    heard = Heard()
    cable.plug()
    with running(PedalLink(PedalLinkSettings(cable.url), heard, heard.fault)):
        (lost,) = heard.count(PedalLost)
    assert lost.why == f"{cable.url} has no contact lines"
    assert not of(heard.events, PedalUp)
