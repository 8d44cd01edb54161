r"""What a person set for good: how the window looks and sounds, and where the shop's things lie.

It stands in `settings.toml` in the user's own data folder; without that file everything is as the program comes.

>>> import tempfile
>>> with tempfile.TemporaryDirectory() as folder:
...     path = Path(folder, "settings.toml")
...     _ = path.write_text('[window]\nlook = "light"\n')
...     load_preferences(path).look, load_preferences(Path(folder, "none.toml")).look
('light', 'dark')
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from station.settings.tables import Table
from station.units import LengthSystem

LOOKS = ("dark", "light")
UNITS = ("imperial", "metric")
CANOPY = ("right", "left")
SOUND = ("on", "off")
SEEN = ("from the bench", "from afar")
Paper = Literal["letter", "a4"]
PAPERS: tuple[Paper, ...] = ("letter", "a4")
OPENS = ("in a window", "filling the screen")


@dataclass(frozen=True)
class Preferences:
    """What was set. A place is None where nobody named one: then it is in the user's own data folder."""

    look: Literal["dark", "light"] = "dark"
    units: LengthSystem = "imperial"
    canopy: Literal["right", "left"] = "right"  # on which side of the drawn bench the canopy lies
    sound: Literal["on", "off"] = "on"
    seen: str = SEEN[0]
    opens: str = OPENS[0]
    paper: Paper = "letter"  # on which a record is drawn
    archive: str | None = None
    shop: Path | None = None
    station: Path | None = None

    @property
    def force_unit(self) -> str:
        """Give the unit in which pulls are shown."""
        return "N" if self.units == "metric" else "lbf"


def load_preferences(path: Path | None = None) -> Preferences:
    """Read what was set; what nobody set is as the program comes. Raises `SettingsFault` for a file that is wrong."""
    path = preferences_file() if path is None else path
    if not path.exists():
        return Preferences()
    top = Table.load(path)
    names = ("window", "records", "places")
    window, records, places = (top.table(name) if name in top else Table(str(path), name, {}) for name in names)
    for name in names:
        top.get(name, lambda value: value, None)
    top.done()
    found = Preferences(
        look=cast(Literal["dark", "light"], window.one_of("look", LOOKS, "dark")),
        units=cast(LengthSystem, window.one_of("units", UNITS, "imperial")),
        canopy=cast(Literal["right", "left"], window.one_of("canopy", CANOPY, "right")),
        sound=cast(Literal["on", "off"], window.one_of("sound", SOUND, "on")),
        seen=window.one_of("seen", SEEN, SEEN[0]),
        opens=window.one_of("opens", OPENS, OPENS[0]),
        paper=cast(Paper, records.one_of("paper", PAPERS, PAPERS[0])),
        archive=places.text("archive", None),
        shop=places.get("shop", _place, None),
        station=places.get("station", _place, None),
    )
    for table in (window, records, places):
        table.done()
    return found


def _place(value: object) -> Path:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"found {value!r}, expected a path in quotes")
    path = Path(value).expanduser()
    if not path.is_absolute():
        raise ValueError(f"found {value!r}, expected a whole path, from / or ~ on")
    return path


def data_folder() -> Path:
    """Give the user's own data folder, where what belongs to no archive file lies."""
    home = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local/share"
    return Path(home) / "fidbench"


def preferences_file() -> Path:
    """Give the file in which it stands what a person set."""
    return data_folder() / "settings.toml"


def shop_folder() -> Path:
    """Give the shop's folder, with its own holds and materials in `holds` and `lines`."""
    return load_preferences().shop or data_folder()
