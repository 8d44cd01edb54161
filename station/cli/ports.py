"""`fidbench ports` and `fidbench simulate`: what hangs on this machine, and a bench without hardware on real ports."""

from __future__ import annotations

import signal
import tempfile
import threading
from fractions import Fraction
from pathlib import Path
from types import FrameType

import click

from station.cli.answers import TIME, as_json, print_json, say, warn


@click.command()
@as_json
def ports(as_json: bool) -> int:
    """List serial ports by the names that last, as a station file should name them."""
    from drivers import discovery

    found = discovery.ports()
    if as_json:
        print_json([{"url": port.url, "device": port.device, "description": port.description} for port in found])
    elif not found:
        say("No serial port is there. Plug the scale's cable in; for a bench without hardware: fidbench simulate")
    for port in found if not as_json else []:
        say(f"{port.url}\n    {port.description}, now {port.device}")
        if not port.lasts:
            warn(f"{port.url} has no lasting name: plugged in again, this may be another adapter's")
    return 0


@click.command()
@click.option("--scenario", "name", metavar="NAME", help="Who pulls, on what, and what goes wrong.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same bytes.")
@click.option("--directory", metavar="DIR", help="Where the ports' names are made; a new folder unless given.")
@click.option("--for", "duration", type=TIME, help='How long, as in "60 s"; until stopped unless given.')
@click.option("--list", "list_them", is_flag=True, help="List the scenarios.")
@as_json
def simulate(
    name: str | None, seed: int, directory: str | None, duration: Fraction | None, list_them: bool, as_json: bool
) -> int:
    """Serve a virtual scale and pedal on real ports, for another program to talk to; print their addresses.

    Beside the ports stands station.toml, which reads them: fidbench hold --station DIR/station.toml
    """
    from simulators.scenarios import DEFAULT, SCENARIOS
    from simulators.serve import serve, station_toml

    if list_them:
        if as_json:
            print_json([{"name": each.name, "story": each.story} for each in SCENARIOS.values()])
        else:
            for each in SCENARIOS.values():
                say(f"{each.name:20} {each.story}")
        return 0
    scenario = SCENARIOS.get(name or DEFAULT)
    if scenario is None:
        import difflib

        near = difflib.get_close_matches(str(name), SCENARIOS, 1, 0.4)
        nearest = f"; the nearest is {near[0]!r}" if near else ""
        known = ", ".join(SCENARIOS)
        raise click.BadParameter(f"found {name!r}{nearest}; there are {known}", param_hint="--scenario")
    if duration is not None and duration <= 0:
        raise click.BadParameter("found no time, expected a time above 0 s", param_hint="--for")
    folder = Path(directory or tempfile.mkdtemp(prefix="fidbench-")).resolve()
    folder.mkdir(parents=True, exist_ok=True)
    stop = threading.Event()

    def stopped(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 -- the signal's own face
        stop.set()

    for asked in (signal.SIGINT, signal.SIGTERM):
        signal.signal(asked, stopped)
    if duration is not None:
        timer = threading.Timer(float(duration), stop.set)
        timer.daemon = True
        timer.start()
    addresses: dict[str, str] = {}

    def announce(what: str, address: str) -> None:
        addresses[what] = address
        if len(addresses) < (3 if scenario.gauge else 2):
            return
        station = folder / "station.toml"
        station.write_text(
            station_toml(scenario, addresses["scale"], addresses["pedal"], addresses.get("gauge")), encoding="utf-8"
        )
        if as_json:
            print_json({"scenario": scenario.name, **addresses, "station": str(station)})
        else:
            say(f"scale    {addresses['scale']}")
            say(f"pedal    {addresses['pedal']}")
            if "gauge" in addresses:
                say(f"gauge    {addresses['gauge']}")
            say(f"station  {station}")
            warn(f"{scenario.story} Stop with Ctrl-C.")

    serve(scenario, seed, folder, announce, stop)
    return 0
