"""A look at the machine: what the bench needs of it, what was found, and what to do.

Each thing looked at comes out *good*, as something *to mend*, or as something the bench works *without*. What cannot be
found out is never called good. The judging is pure, and what was found is handed in; only `look` asks the machine.

>>> judge_sqlite((3, 40, 1)).state, judge_sqlite((3, 34, 0)).state
('good', 'to mend')
>>> judge_clock(now=_at("2019-01-01"), last_filed=None, kept_right=True, tick_s=1e-9).what
'the clock says 2019-01-01 00:00 UTC, before this program was made'
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from drivers.discovery import Port, ports
from drivers.port_faults import is_network, told
from station import display
from station.display import QT_PACKAGES, UNSEEN
from station.records.archive import Archive, ArchiveFault
from station.records.sqlite_file import OLDEST_SQLITE, path_of
from station.records.store import is_server
from station.records.verify import verify_examined
from station.records.workers import examined
from station.settings.station import KeyPedal, StationSettings

State = Literal["good", "to mend", "without"]

MADE = datetime.date(2026, 1, 1)  # no clock that is right stands before it
WORKED_OUT = 5_000  # entries of an archive that are worked out anew here; a larger one has a command of its own
LEAST_ROOM_BYTES = 500_000_000
COARSEST_TICK_S = 0.001  # a millisecond is an eightieth of what lies between two readings of most scales
_PROBE_S = 30.0


@dataclass(frozen=True, slots=True)
class Looked:
    """One thing looked at: how it came out, what was found, and what to do (empty where nothing is)."""

    name: str
    state: State
    what: str
    do: str = ""


def look(archive: str | Path, station: StationSettings | None, now: datetime.datetime) -> list[Looked]:
    """Look at this machine, with the archive that a bench would use and its station where one is named."""
    health, last_filed = look_at_archive(archive)
    return [
        judge_python(sys.version_info[:2]),
        *judge_window(_probe()),
        *judge_ports(ports(), station, os.access),
        judge_sqlite(sqlite3.sqlite_version_info),
        *health,
        judge_clock(now, last_filed, _kept_right(), time.get_clock_info("monotonic").resolution),
    ]


def judge_python(version: Sequence[int]) -> Looked:
    """Judge the Python that runs this."""
    found = f"Python {version[0]}.{version[1]}"
    if tuple(version) < (3, 11):
        return Looked("python", "to mend", f"{found}; 3.11 or later is needed", "install a later Python")
    return Looked("python", "good", found)


def judge_window(probe: Mapping[str, Any] | str) -> list[Looked]:
    """Judge Qt, the font and the sound from what the probe printed, or from the words with which it ended."""
    if isinstance(probe, str):
        do = f"install what Qt loads. On Debian: {QT_PACKAGES}"
        return [Looked("window", "to mend", f"the window does not open here: {probe}", do)]
    drawn = f"Qt {probe['qt']} on {probe['platform']}"
    window = Looked("window", "good", drawn)
    if probe["platform"] in UNSEEN:
        do = "sit at the bench's own screen; a hold is judged without one by fidbench hold"
        window = Looked("window", "without", f"Qt {probe['qt']} loads, and there is no display here", do)
    font = Looked("font", "good", "the program's own font loads")
    if not probe["font"]:
        font = Looked("font", "to mend", "another font stands in for the program's own", "install the program again")
    sound = Looked("sound", "good", "a loudspeaker is there")
    if probe["sound"] is not None:
        do = "every tone has its sign on the screen; to hear them, connect a loudspeaker"
        if "libpulse" in probe["sound"]:
            do = "every tone has its sign on the screen; to hear them: apt install libpulse0"
        sound = Looked("sound", "without", f"no sound: {probe['sound']}", do)
    return [window, font, sound]


def judge_ports(found: Sequence[Port], station: StationSettings | None, may: Any) -> list[Looked]:
    """Judge the serial ports: whether this user may open each, and whether those of the station are there.

    `may(path, mode)` tells whether this user may read and write a path, as `os.access` does.
    """
    judged = []
    for port in found:
        if may(port.device, os.R_OK | os.W_OK):
            judged.append(Looked("port", "good", f"{port.url} ({port.description})"))
        else:
            why, do = told(PermissionError(13, ""), port.device, "scale", was_up=False)
            judged.append(Looked("port", "to mend", why, do))
    if not found:
        none = "plug the scale's cable in; for a bench without hardware: fidbench simulate"
        judged.append(Looked("port", "without", "no serial port is there", none))
    if station is None:
        return judged
    beside = {"scale": station.scale, "second scale": station.second_scale, "gauge": station.gauge}
    named = [(what, each.link.url) for what, each in beside.items() if each is not None]
    if station.pedal is not None and not isinstance(station.pedal, KeyPedal):
        named.append(("pedal", station.pedal.url))
    for what, url in named:
        if is_network(url):
            judged.append(Looked(what, "without", f"{url} is on the network", f"see it answer: fidbench listen {url}"))
        elif Path(url).exists():
            judged.append(Looked(what, "good", f"{url}, as {station.name}'s file names it, is there"))
        else:
            why, do = told(FileNotFoundError(2, ""), url, what, was_up=False)
            judged.append(Looked(what, "to mend", why, do))
    return judged


def judge_sqlite(version: tuple[int, ...]) -> Looked:
    """Judge the SQLite that keeps the archive."""
    found = "SQLite " + ".".join(map(str, version))
    if version < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE[:2]))
        return Looked("sqlite", "to mend", f"{found}; {needed} or later is needed", "update it")
    return Looked("sqlite", "good", found)


def look_at_archive(where: str | Path) -> tuple[list[Looked], datetime.datetime | None]:
    """Look at an archive's health and the room beside it; give also when its last entry was filed."""
    if is_server(where):
        room: list[Looked] = []
    else:
        try:
            path = path_of(where)
        except ArchiveFault as fault:
            return [Looked("archive", "to mend", str(fault), "name the archive")], None
        room = [judge_room(path)]
        if not path.exists():
            none = f"there is no archive at {path} yet"
            return [Looked("archive", "without", none, "it is made when the first job is opened"), *room], None
    try:
        with Archive.open(where) as archive:
            return [_health(archive), *room], _last_filed(archive)
    except ArchiveFault as fault:
        found, _, do = str(fault).partition("; ")
        return [Looked("archive", "to mend", found, do), *room], None


def judge_room(path: Path) -> Looked:
    """Judge whether the folder of an archive can be written to and has room; one not made yet counts by its parent."""
    folder = path.parent.absolute()
    while not folder.exists():
        folder = folder.parent
    if not os.access(folder, os.W_OK):
        do = "give yourself the right to write there, or name an archive elsewhere"
        return Looked("disk", "to mend", f"{folder} cannot be written to", do)
    free = shutil.disk_usage(folder).free
    found = f"{free / 1e9:.1f} GB are free in {folder}"
    if free < LEAST_ROOM_BYTES:
        return Looked("disk", "to mend", found, "make room before a job is begun")
    return Looked("disk", "good", found)


def judge_clock(
    now: datetime.datetime, last_filed: datetime.datetime | None, kept_right: bool | None, tick_s: float
) -> Looked:
    """Judge the clock: no verdict rests on the time of day, but every entry bears it."""
    shown = f"the clock says {now:%Y-%m-%d %H:%M} UTC"
    set_it = "set the clock: sudo timedatectl set-ntp true"
    if now.date() < MADE:
        return Looked("clock", "to mend", f"{shown}, before this program was made", set_it)
    if last_filed is not None and last_filed > now:
        late = f"{shown}, before the archive's last entry ({last_filed:%Y-%m-%d %H:%M} UTC)"
        return Looked("clock", "to mend", late, set_it)
    if tick_s > COARSEST_TICK_S:
        coarse = f"the clock that stamps readings ticks every {tick_s * 1000:g} ms"
        return Looked("clock", "to mend", coarse, "judge no hold on this machine")
    if kept_right is None:
        return Looked("clock", "without", f"{shown}; whether anything keeps it right is not known", "see that it is so")
    if not kept_right:
        return Looked("clock", "to mend", f"{shown}, and nothing keeps it right", set_it)
    return Looked("clock", "good", f"{shown}, kept right over the network")


def _health(archive: Archive) -> Looked:
    wrong = [*archive.unsound(), *archive.unguarded()]
    entries, do = archive.count(), ""
    if not wrong and entries <= WORKED_OUT:
        found = verify_examined(examined(archive), archive.stored_traces)
        wrong = [*(each.what for each in found.damaged), *(each.what for each in found.verdicts_changed)]
    elif not wrong:
        do = f"work every verdict out anew: fidbench records verify --archive {archive.path}"
    if wrong:
        more = f", and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        do = f"see it whole: fidbench records verify --archive {archive.path}; then go back to a backup"
        return Looked("archive", "to mend", f"{archive.path}: {wrong[0]}{more}", do)
    said = f"{archive.path}: {entries} {'entry' if entries == 1 else 'entries'}, "
    return Looked("archive", "good", said + ("the file is sound" if do else "nothing damaged, no verdict changed"), do)


def _last_filed(archive: Archive) -> datetime.datetime | None:
    """Give when the latest entry that can be read was filed."""
    times = []
    for head in archive.heads().values():
        with contextlib.suppress(ValueError, KeyError, TypeError):  # what is damaged was named already
            times.append(datetime.datetime.fromisoformat(json.loads(head.body)["at"]))
    return max(times, default=None)


def _probe() -> Mapping[str, Any] | str:
    """Give what the window would find, or the last words of the process that tried."""
    surroundings = dict(os.environ)
    if not display.is_there():  # whether Qt loads can be seen all the same
        surroundings["QT_QPA_PLATFORM"] = UNSEEN[0]
    command = [sys.executable, "-m", "station.views.probe"]
    try:
        done = subprocess.run(  # noqa: S603 -- our own module
            command, capture_output=True, text=True, timeout=_PROBE_S, check=False, env=surroundings
        )
    except subprocess.TimeoutExpired:
        return f"Qt did not start within {_PROBE_S:g} s"
    if done.returncode == 0:
        found: Mapping[str, Any] = json.loads(done.stdout)
        return found
    said = [line for line in done.stderr.splitlines() if line.strip()]
    telling = [line for line in said if "Error" in line or "could not" in line.lower()]
    return (telling or said or [f"Qt ended with status {done.returncode}"])[-1].strip()


def _kept_right() -> bool | None:
    """Ask the system whether something sets the clock (systemd's own answer); None where it cannot say."""
    asker = shutil.which("timedatectl")
    if asker is None:
        return None
    command = [asker, "show", "--property", "NTPSynchronized", "--value"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=5, check=False)  # noqa: S603 -- no input
    except (OSError, subprocess.TimeoutExpired):
        return None
    return {"yes": True, "no": False}.get(done.stdout.strip())


def _at(day: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(day).replace(tzinfo=datetime.UTC)
