from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from station.bench_app import Sitting
from station.filing import job_state
from station.records.archive import Archive
from station.settings.station import load_station
from station.settings.tables import SettingsFault

sys.path.insert(0, str(Path(__file__).parent / "cli"))
from commands import FOREIGN_STATION

HERE = Path(__file__).parent
ANSWERS = {
    "title": "Both sides",
    "side": "left",
    "canopy.kind": "main",
    "canopy.type": "Teasel 190",
    "hold": "main-hmpe",
    "rated_strength": "",
    "people.worker": "A. Person",
    "people.authority": "a test",
}
JOB = Path("config/jobs/whole-reline.toml")


def test_a_set_is_worked_by_foot_through_the_window(tmp_path: Path) -> None:
    """Four lines in two pairs, by pedal edges to the signature, drawn on a real X display where one can be had."""
    environment = {k: v for k, v in os.environ.items() if k not in {"QT_QPA_PLATFORM", "WAYLAND_DISPLAY"}}
    virtual = ["xvfb-run", "-a", "-s", "-screen 0 1600x1000x24"] if shutil.which("xvfb-run") else []
    platform = "xcb" if virtual else "offscreen"
    done = subprocess.run(
        [*virtual, sys.executable, HERE / "set_at_window.py", tmp_path],
        env=environment | {"QT_QPA_PLATFORM": platform},
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    named, steps, frames = done.stdout.split()
    assert named == platform
    assert int(frames) > int(steps) > 80
    assert sorted(each.name for each in tmp_path.glob("*.png")) == ["step-20.png", "step-60.png"]


def test_a_whole_reline_is_begun_closed_and_gone_on_with(qtbot: QtBot, tmp_path: Path) -> None:
    """The ready-made set job begins at the first page, and tomorrow goes on from its entries alone, files gone."""
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        sitting = Sitting(None, lambda: archive, "dark", "imperial", "lbf")
        sitting.show()
        assert sitting.start is not None
        qtbot.addWidget(sitting.start)
        assert dict(sitting._begin(JOB, ANSWERS | {"comparing": "balanced"})) == {}
        assert sitting.bench is not None
        window = sitting.bench.window
        qtbot.addWidget(window)
        window.frame()
        window.close()
        sitting.close()
    with Archive.open(tmp_path / "a.sqlite", bench="Bench") as archive:
        state = job_state(archive, "26-0001")
    assert len(state.members) == 18
    assert state.method == "balanced"
    assert state.opened.side == "left and right"
    assert state.now is not None
    assert state.now.key == "cause"


def test_two_cells_need_a_second_scale(qtbot: QtBot, tmp_path: Path) -> None:
    """A job that compares with two cells is not opened on a station with one; what is missing is said."""
    file = tmp_path / "station.toml"
    file.write_text(FOREIGN_STATION.format(url=tmp_path / "scale"))
    station = load_station(file)
    with Archive.open(tmp_path / "a.sqlite", bench=station.name, create=True) as archive:
        sitting = Sitting(station, lambda: archive, "dark", "imperial", "lbf")
        sitting.show()
        assert sitting.start is not None
        qtbot.addWidget(sitting.start)
        with pytest.raises(SettingsFault, match=r"\[second_scale\] is missing from the station file"):
            sitting._begin(JOB, ANSWERS | {"comparing": "two cells"})
        sitting.close()
