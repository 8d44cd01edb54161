"""A scenario on real ports: a scale and a pedal that another program opens like any serial port.

Rules:

- Each device is a pseudo-terminal behind a link of its own in the directory given, `scale` and `pedal`, so that its
  name stays the same from run to run and while the cable is out; or it is behind a serial server on this machine, at a
  number that stays the same while the cable is out.
- Like a wire, a port waits for nobody: what no one reads is lost, never kept for later. A reader may come, be slow, go
  and come back.
- A polled scale answers what it is asked. While a scenario has the cable unplugged the port is gone.
- Only this module and `simulators.serial_server` wait for anything, and only this one reads a clock.

Tested on Linux; other systems with pseudo-terminals are untested, and Windows has none.
"""

from __future__ import annotations

import json
import os
import select
import threading
import time
import tty
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path

from drivers.events import PedalEdge
from drivers.modbus_rtu import ModbusFormat
from drivers.scpi import ScpiFormat
from simulators.gauge import GAUGE
from simulators.scale import ScaleModel
from simulators.scenarios import Scenario, VirtualBench
from simulators.serial_server import NetworkPort
from station.units import in_unit

_STEP_S = 0.002  # how long a request may wait for its answer, and a reading to be sent
_REQUEST_BYTES = 4096
_DOWN, _UP = b"D", b"U"


class Port:
    """A pseudo-terminal behind a link: the end that a device holds. Used as a context."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.lost_bytes = 0
        self._device: int | None = None
        self._target = ""

    def __enter__(self) -> Port:
        self.plug()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    @property
    def address(self) -> str:
        """Give its name."""
        return str(self.link)

    def plug(self) -> None:
        """Make the port appear. Raises `FileExistsError` where something other than a link bears its name."""
        if self._device is not None:
            return
        if self.link.exists() and not self.link.is_symlink():
            raise FileExistsError(f"{self.link}: is there already and is no port of a simulated bench; move it away")
        self._device, reader = os.openpty()
        tty.setraw(reader)
        os.set_blocking(self._device, False)
        self._target = os.ttyname(reader)
        os.close(reader)  # from here on the kernel tells whether anybody has the port open
        fresh = self.link.with_name(f"{self.link.name}.{os.getpid()}")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(self._target)
        fresh.replace(self.link)

    def unplug(self) -> None:
        """Make the port go away; a reader finds it dead."""
        if self._device is None:
            return
        os.close(self._device)
        self._device = None
        if self.link.is_symlink() and str(self.link.readlink()) == self._target:
            self.link.unlink()

    def send(self, raw: bytes) -> None:
        """Send to whoever reads. What does not fit, or nobody is there for, is lost and counted."""
        written = 0
        if self._device is not None and _is_open(self._device):
            with suppress(BlockingIOError):
                written = os.write(self._device, raw)
        self.lost_bytes += len(raw) - written

    def heard(self) -> bytes:
        """Give what the other side has sent since the last call; nothing where nobody is there."""
        if self._device is None:
            return b""
        try:
            return os.read(self._device, _REQUEST_BYTES)
        except OSError:  # nothing there, or nobody
            return b""

    def wait(self, timeout_s: float) -> None:
        """Wait until the other side has sent something, at most `timeout_s`."""
        if self._device is not None and _is_open(self._device):
            select.select([self._device], [], [], timeout_s)
        else:
            time.sleep(timeout_s)


def _is_open(device: int) -> bool:
    """Tell whether anybody has the other side of a pseudo-terminal open."""
    watch = select.poll()
    watch.register(device, 0)
    return not any(event & select.POLLHUP for _, event in watch.poll(0))


def serve(
    scenario: Scenario,
    seed: int,
    directory: Path,
    announce: Callable[[str, str], None],
    stop: threading.Event,
    *,
    speed: float = 1.0,
) -> None:
    """Play `scenario` on real ports in `directory` until `stop` is set, `speed` times as fast as real time.

    `announce(device, address)` is told the path or address of the `scale` and of the `pedal` once both are open, after
    that of the `gauge` where the scenario has one. When the plan of a scenario is over, the scale goes on showing what
    it shows. Raises `OSError` where no port can be made.
    """
    directory.mkdir(parents=True, exist_ok=True)
    bench = VirtualBench(scenario, seed)
    with ExitStack() as open_ports:
        scale, pedal = _port(scenario, directory / "scale"), _port(scenario, directory / "pedal")
        open_ports.enter_context(scale)
        open_ports.enter_context(pedal)
        gauge = open_ports.enter_context(Port(directory / "gauge")) if scenario.gauge else None
        if gauge is not None:
            announce("gauge", gauge.address)
        announce("scale", scale.address)
        announce("pedal", pedal.address)
        started_ns = time.monotonic_ns()
        while not stop.is_set():
            at_us = round((time.monotonic_ns() - started_ns) / 1000 * speed)
            if bench.wire.unplugged(at_us):
                scale.unplug()
            else:
                scale.plug()
            for sent in bench.bytes_until(at_us) + bench.answer(at_us, scale.heard()):
                scale.send(sent.raw)
            _move(pedal, bench.edges_until(at_us))
            if gauge is not None:
                for sent in bench.gauge_until(at_us):
                    gauge.send(sent.raw)
            scale.wait(_STEP_S)


def _port(scenario: Scenario, link: Path) -> Port | NetworkPort:
    return NetworkPort() if scenario.served == "network" else Port(link)


def _move(pedal: Port | NetworkPort, edges: list[PedalEdge]) -> None:
    """Let the foot do what it did: on a line of its own as a letter, or on the contact lines of a server."""
    if isinstance(pedal, Port):
        pedal.send(b"".join(pedal_line(edge) for edge in edges))
        return
    for edge in edges:
        pedal.lines.cts = edge.down
    pedal.heard()


def pedal_line(edge: PedalEdge) -> bytes:
    """Give an edge of the contact as the simulated pedal sends it: a letter on a line of its own."""
    return _DOWN + b"\r\n" if edge.down else _UP + b"\r\n"


def station_toml(scenario: Scenario, scale_path: str, pedal_path: str, gauge_path: str | None = None) -> str:
    """Give the text of a station file that reads the simulated instruments and judges by the scenario's hold."""
    model = scenario.scale
    lines = [
        f"# A simulated bench, scenario {scenario.name}. {scenario.story}",
        "[station]",
        f"name = {_text(f'Simulated bench, {scenario.name}')}",
        "",
        "[scale]",
        f"url = {_text(scale_path)}",
        *_format_lines(model),
        f"capacity = {_force(model.capacity_n, model)}",
        f"resolution = {_force(model.resolution_n, model)}",
        f"response = {_text(f'{model.settling_us / 1e6:.6g} s')}",
    ]
    if scenario.uncertainty is not None:
        lines += [
            f"uncertainty = {_text(scenario.uncertainty)}",
            'uncertainty_until = "2099-12-31"  # a simulated scale does not age; a real one is checked every year',
        ]
    if gauge_path is not None:
        lines += ["", "[gauge]", f"url = {_text(gauge_path)}", f"frame = {_text(GAUGE.frame)}"]
        lines += [f"end = {_text(GAUGE.end.decode())}", f"unit = {_text(str(GAUGE.unit))}"]
        lines.append(f"status = {{ {', '.join(f'{word} = {_text(meant)}' for word, meant in GAUGE.status.items())} }}")
    kind = "text" if scenario.served == "here" else "contact"
    lines += ["", "[pedal]", f"kind = {_text(kind)}", f"url = {_text(pedal_path)}"]
    if kind == "text":
        lines += [f"down = {_text(_DOWN.decode())}", f"up = {_text(_UP.decode())}"]
    lines += ["", "[hold]"]
    lines += [f"{key} = {_text(value)}" for key, value in scenario.hold.items()]
    return "\n".join(lines) + "\n"


def _format_lines(model: ScaleModel) -> list[str]:
    form = model.format
    if isinstance(form, ModbusFormat):
        bits = ", ".join(f"{_text(bit)} = {_text(meant)}" for bit, meant in form.status.items())
        return [
            'format = "modbus-rtu"',
            f"unit = {_text(form.unit)}",
            f"register = {form.register}",
            f"number = {_text(form.number)}",
            f"status_register = {form.status_register}",
            f"status = {{ {bits} }}",
            'poll_every = "0.05 s"',
        ]
    if isinstance(form, ScpiFormat):
        return [
            'format = "scpi"',
            f"unit = {_text(form.unit)}",
            f"query = {_text(form.query)}",
            'poll_every = "0.05 s"',
        ]
    lines = ['format = "text"', f"frame = {_text(form.frame)}", f"end = {_text(form.end.decode('latin-1'))}"]
    if form.unit is not None:
        lines.append(f"unit = {_text(form.unit)}")
    for key, words in (("units", form.units), ("status", form.status)):
        if words:
            pairs = ", ".join(f"{_text(word)} = {_text(meant)}" for word, meant in words.items())
            lines.append(f"{key} = {{ {pairs} }}")
    if form.decimal != ".":
        lines.append(f"decimal = {_text(form.decimal)}")
    if form.checksum != "none":
        lines.append(f"checksum = {_text(form.checksum)}")
    if form.check_range is not None:
        lines.append(f"check_range = {_text('{}:{}'.format(*form.check_range))}")
    if form.check_form != "hex":
        lines.append(f"check_form = {_text(form.check_form)}")
    if model.request:
        lines += [f"poll = {_text(model.request.decode('latin-1'))}", 'poll_every = "0.1 s"']
    else:
        lines.append(f"period = {_text(f'{model.period_us / 1e6:.6g} s')}")
    return lines


def _force(force_n: float, model: ScaleModel) -> str:
    return _text(f"{in_unit(force_n, model.unit):.6g} {model.unit}")


def _text(text: str) -> str:
    """Give `text` as TOML writes it: JSON's escapes are among TOML's."""
    return json.dumps(text)
