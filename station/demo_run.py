"""Running the demo: headless as fast as it goes, or in the window at a pace a person can follow; and what it leaves.

It leaves `archive.sqlite`, `record.pdf`, `bench.png` and `traces/*.csv` in its folder. At the end one digit is altered
in a throw-away copy of the archive, elsewhere, and verification names what was altered.
"""

from __future__ import annotations

import re
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from station.demo import TICK_US, Demo
from station.filing import facts_of
from station.measuring.trace_files import write_trace
from station.one_hold import software
from station.records.archive import Archive
from station.records.entries import HoldJudged
from station.records.job_sheet import JobSheet, checks_in_force
from station.records.line_picture import line_picture
from station.records.report import report
from station.records.verify import verify

if TYPE_CHECKING:
    from station.at_window import AtWindow
    from station.bench.bench import Bench

PACE = 3.0  # simulated seconds in a second at the window
LAST_SIGHT_S = 6.0  # how long the window stays when the job is done
EARLIEST_PICTURE_US, LATEST_PICTURE_US = 8_000_000, 28_000_000  # of a hold of 30 s

Tell = Callable[[str], None]


def run(folder: str, seed: int, headless: bool, say: Tell, qt_packages: str) -> int:
    """Work the whole demo; give the exit status: 0 where every step was done and the altered digit was found."""
    out = Path(folder)
    (out / "traces").mkdir(parents=True, exist_ok=True)
    say("A demo: person, loft, canopy and figures are invented, and the hardware is simulated.")
    with Archive.open(out / "archive.sqlite", bench="Demo bench", create=True) as archive:
        played = _Played(archive, seed, say, out, qt_packages)
        if headless:
            played.as_fast_as_it_goes()
        else:
            played.in_the_window()
        if not played.demo.finished:
            say("The window was closed before the job was done. What was recorded is kept.")
            return 1
        job = played.demo.job
        holds = [entry for _, entry in facts_of(archive, job) if isinstance(entry, HoldJudged)]
        for number, entry in enumerate(holds, 1):
            write_trace(out / "traces" / f"hold-{number}.csv", archive.trace(entry.trace))
        sheet = JobSheet.of(job, archive.entries(job))
        checks = checks_in_force(sheet, archive.of_kind("scale-checked", "daily-checked"))
        pdf = report(sheet, archive.trace, drawing=line_picture(sheet), checks=checks)
        (out / "record.pdf").write_bytes(pdf)
        whole = verify(archive.entries(), archive.stored_traces)
    say("")
    held = sum(entry.judgement["verdict"] == "held" for entry in holds)
    say(f"{len(holds)} holds judged, {held} held. {whole.entries} entries, verified.")
    say("Now one digit is altered in a throw-away copy of the archive:")
    found = altered_digit_is_found(out / "archive.sqlite", say)
    say("")
    for name, what in (
        ("archive.sqlite", "the records; check them: fidbench records verify --archive " + str(out / "archive.sqlite")),
        ("record.pdf", "the job's record, to file"),
        ("bench.png", "the bench window while the second hold ran"),
        ("traces/", "each hold's readings, to judge again: fidbench judge"),
    ):
        if (out / name).exists():
            say(f"  {out / name}   {what}")
    return 0 if whole.good and found else 1


class _Played:
    """The demo, told as it goes; with a window where Qt can be loaded, drawn or not."""

    def __init__(self, archive: Archive, seed: int, say: Tell, out: Path, qt_packages: str) -> None:
        self._say = say
        self._qt_packages = qt_packages
        self._picture = out / "bench.png"
        self._pictured = False
        self.demo = Demo(archive, seed, software(), self._tell)

    def as_fast_as_it_goes(self) -> None:
        """Work the job without drawing, but for the picture."""
        at_window = self._at_window()
        while not self.demo.finished:
            self.demo.advance()
            if at_window and not self._pictured and tells_most(self.demo.bench):
                self._take_picture(at_window)
        if at_window:
            at_window.window.close()

    def in_the_window(self) -> None:
        """Work the job at a pace a person can follow."""
        from PyQt6.QtCore import QTimer

        from station.bench_app import application

        at_window = self._at_window()
        if at_window is None:
            self.as_fast_as_it_goes()
            return
        app, window = application(), at_window.window
        window.resize(1600, 900)
        window.show()
        window.start()
        began_s = time.monotonic()

        def beat() -> None:
            while not self.demo.finished and self.demo.at_us < (time.monotonic() - began_s) * PACE * 1e6:
                self.demo.advance()
                for cue in self.demo.cues:
                    window.cue(cue)
                if not self._pictured and tells_most(self.demo.bench):
                    self._pictured = window.grab().save(str(self._picture))
            if self.demo.finished:
                timer.stop()
                QTimer.singleShot(round(LAST_SIGHT_S * 1000), window.close)

        timer = QTimer()
        timer.timeout.connect(beat)
        timer.start(round(TICK_US / 1000 / PACE))
        window.closed.connect(app.quit)
        app.exec()
        timer.stop()

    def _at_window(self) -> AtWindow | None:
        try:
            from PyQt6 import QtWidgets  # noqa: F401 -- only whether it loads; a fault of ours below is loud
        except ImportError as fault:
            self._say(f"No window and no picture: Qt cannot be loaded here ({fault}). On Debian: {self._qt_packages}")
            return None
        from station.at_window import AtWindow
        from station.bench_app import application

        application()
        return AtWindow(self.demo.bench, list, "dark")

    def _tell(self, line: str) -> None:
        seconds = self.demo.at_us // 1_000_000
        self._say(f"{seconds // 60:2d}:{seconds % 60:02d}  {line}")

    def _take_picture(self, at_window: AtWindow) -> None:
        from station.views.pictures import save_picture

        save_picture(at_window.window, self._picture)
        self._pictured = True


def tells_most(bench: Bench) -> bool:
    """Tell whether this is the moment to picture: the second hold running, and the forecast speaking or near the end.

    For most seeds the forecast has nothing to say, and the picture is taken all the same.
    """
    attempt = bench.watch.attempt if bench.watch else None
    running = attempt.running if attempt else None
    if running is None:
        return False
    return running.length_us > (LATEST_PICTURE_US if bench.forecast is None else EARLIEST_PICTURE_US)


def left_in(folder: str) -> dict[str, object]:
    """Give what the archive of a demo holds: its entries, its holds' verdicts and its head."""
    with Archive.open(Path(folder) / "archive.sqlite") as archive:
        found = verify(archive.entries(), archive.stored_traces)
        verdicts = [e.judgement["verdict"] for _, e in facts_of(archive) if isinstance(e, HoldJudged)]
    return {"entries": found.entries, "verdicts": verdicts, "damaged": len(found.damaged), "head": found.head}


def altered_digit_is_found(archive: Path, say: Tell) -> bool:
    """Alter one digit of the first judged hold in a copy of the archive, verify the copy, and say what was found."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.sqlite"
        with Archive.open(archive) as original:
            original.backup(copy)
        with closing(sqlite3.connect(copy)) as database, database:
            seq, body = database.execute(
                "SELECT seq, body FROM entries WHERE kind = 'hold-judged' ORDER BY seq LIMIT 1"
            ).fetchone()
            peak = re.search(r'"peak_mn":(\d)', body)
            if peak is None:
                return False
            digit = peak[1]
            other = str((int(digit) + 2) % 10)
            forged = body[: peak.start(1)] + other + body[peak.end(1) :]
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                database.execute(f'DROP TRIGGER "{name}"')
            database.execute("UPDATE entries SET body = ? WHERE seq = ?", (forged, seq))
        say(f"  entry {seq}, the highest pull of a hold: {digit} made a {other}")
        with Archive.open(copy) as altered:
            found = verify(altered.entries(), altered.stored_traces)
    for damage in found.damaged:
        say(f"  found: entry {damage.seq}: {damage.what}")
    return not found.good and any(damage.seq == seq for damage in found.damaged)
