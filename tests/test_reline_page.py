from __future__ import annotations

import re
import textwrap
from pathlib import Path

from station.settings.reline import read_reline
from station.settings.station import load_station
from station.settings.tables import Table

PAGE = Path("docs/reline.md").read_text(encoding="utf-8")
SCALE = '[station]\nname = "b"\n[scale]\nurl = "/dev/a"\nformat = "text"\nframe = "{value} lb"\nunit = "lbf"\n'
SCALE += 'end = "\\r\\n"\ncapacity = "100 lbf"\n'


def block(begins: str) -> str:
    """Give the block of the page that begins with a line."""
    found = re.search(rf"(?m)^    {re.escape(begins)}(?:.*\n?)(?:(?:    .*)?\n)*", PAGE)
    assert found
    return textwrap.dedent(found[0])


def test_the_station_tables_on_the_page_can_be_read(tmp_path: Path) -> None:
    """What the page shows of a second scale and a gauge is a station file's own TOML."""
    text = block("[second_scale]")
    first, second = text.split("[gauge]")
    file = tmp_path / "station.toml"
    file.write_text(SCALE + first + "[gauge]" + second.replace("by-id/...", "by-id/gauge"))
    found = load_station(file)
    assert found.second_scale is not None
    assert found.gauge is not None


def test_the_set_on_the_page_can_be_read(tmp_path: Path) -> None:
    """What the page shows of a set job is one, beside the ready-made plans."""
    (tmp_path / "one-cascade.toml").write_text(Path("config/jobs/one-cascade.toml").read_text(encoding="utf-8"))
    file = tmp_path / "set.toml"
    file.write_text(block("[reline]"))
    assert len(read_reline(Table.load(file)).lines) == 8
