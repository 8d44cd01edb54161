"""`fidbench checkup`: whether this machine is fit for the bench, and what to do where it is not."""

from __future__ import annotations

import datetime

import click

from station.cli.answers import as_json, print_json, say

SIGNS = {"good": "good    ", "to mend": "TO MEND ", "without": "without "}


@click.command()
@click.option("--station", "station_file", metavar="FILE", help="The bench's file: its ports are looked at as well.")
@click.option("--archive", metavar="A", help="The archive to look at; the one in your own data folder unless given.")
@as_json
def checkup(station_file: str | None, archive: str | None, as_json: bool) -> int:
    """Look at this machine: window, font, sound, ports, SQLite, archive, disk, clock; say what to do.

    Exit status 0 when nothing is to mend, 1 otherwise. "without": the bench works without it.
    """
    from station.checkup import look
    from station.filing import default_archive
    from station.settings.station import load_station

    station = None if station_file is None else load_station(station_file)
    found = look(archive or default_archive(), station, datetime.datetime.now(datetime.UTC))
    mend = [each for each in found if each.state == "to mend"]
    if as_json:
        things = [{"name": each.name, "state": each.state, "what": each.what, "do": each.do or None} for each in found]
        print_json({"good": not mend, "looked_at": things})
        return 1 if mend else 0
    for each in found:
        say(f"{SIGNS[each.state]} {each.name:12} {each.what}")
        if each.do:
            say(f"{'':22}{each.do}")
    say("")
    say(f"{len(mend)} thing{'' if len(mend) == 1 else 's'} to mend." if mend else "Nothing to mend.")
    return 1 if mend else 0
