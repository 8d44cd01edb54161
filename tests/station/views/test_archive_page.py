from __future__ import annotations

import json
import re
import threading
from pathlib import Path
from typing import cast

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from station.settings.preferences import Paper
from station.views.archive_page import ArchivePage, FiledJob, write_record
from station.views.work import Tell, Work
from tests.station.cli.test_records import alter
from tests.station.records.sample_job import JOB, file_job
from tests.station.views.pages import PRESS, shown

pytestmark = pytest.mark.usefixtures("own_folder")


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive with the invented job; no test alters it."""
    return file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")


JOBS = [FiledJob(JOB, "centre A and B, left\nTeasel 190 · Ansa Velling"), FiledJob("26-0002", "rear C\nBurdock 143")]


class Shown:
    """An archive's page, with what it handed to the system."""

    def __init__(self, qtbot: QtBot, where: Path, folder: Path, name: str = "") -> None:
        self.handed: list[Path] = []
        self.can_show = True
        choose = lambda _title, _name: str(folder / name) if name else ""  # noqa: E731 -- as short as it is
        self.page = ArchivePage("dark", str(where), JOBS, folder / "records", choose=choose, show_file=self.show_file)
        shown(qtbot, self.page)
        self._qtbot = qtbot

    def show_file(self, path: Path) -> bool:
        """Take a file as the system's viewer would."""
        self.handed.append(path)
        return self.can_show

    def press(self, words: str) -> str:
        """Press a button, wait until the work is done, and give what is said then."""
        self._qtbot.mouseClick(self.page.buttons[words], PRESS)
        self._qtbot.waitUntil(lambda: not self.page.work.is_running, timeout=20_000)
        return self.page.said.text()


def test_jobs_are_found_by_what_is_typed(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Every word must be in number, line, canopy or name, in any case; what is not found leaves nothing to open."""
    page = Shown(qtbot, filed, tmp_path).page
    qtbot.keyClicks(page.search, "TEASEL velling")
    assert (page.rows.count(), page.found.text()) == (1, "1 of 2")
    qtbot.keyClicks(page.search, " rear")
    assert page.rows.count() == 0
    assert not page.buttons["Open the record"].isEnabled()


def test_a_record_is_drawn_and_handed_over(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Enter on a job draws its record and hands it over; where nothing shows PDF the path is said all the same."""
    at = Shown(qtbot, filed, tmp_path)
    qtbot.keyClick(at.page.rows, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: not at.page.work.is_running, timeout=20_000)
    assert at.handed == [tmp_path / f"records/{JOB}.pdf"]
    assert at.handed[0].read_bytes().startswith(b"%PDF")
    at.can_show = False
    assert at.press("Open the record").endswith("Nothing here shows PDF files: open it elsewhere.")


def test_a_record_is_drawn_on_the_chosen_paper(filed: Path, tmp_path: Path) -> None:
    """On A4 and on letter the record's page has that paper's size, as a printer counts it."""
    for paper, width in (("a4", 595.28), ("letter", 612.0)):
        path = write_record(str(filed), JOB, tmp_path / "r.pdf", lambda *_: None, cast(Paper, paper))
        (found, *_) = re.findall(rb"/MediaBox \[ 0 0 ([0-9.]+) ", path.read_bytes())
        assert float(found) == pytest.approx(width, abs=0.01)


def test_a_good_archive_is_verified_exported_and_copied(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Verification says that nothing is damaged; the export has a line for each entry; the copy is an archive."""
    said = Shown(qtbot, filed, tmp_path).press("Verify all")
    assert "30 entries and 3 judged holds worked out anew. Nothing is damaged" in said
    Shown(qtbot, filed, tmp_path, "all.jsonl").press("Export all")
    lines = [json.loads(line) for line in (tmp_path / "all.jsonl").read_text().splitlines()]
    assert sum("trace" not in line for line in lines) == 30
    copied = Shown(qtbot, filed, tmp_path, "copy.sqlite")
    assert copied.press("Copy all").startswith("Copied to")
    assert copied.press("Copy all").startswith("Not done:")  # no file is written over


def test_a_damaged_archive_is_named_damaged(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """An altered digit is named with its entry, in words that say damaged."""
    altered = alter(
        filed, tmp_path, "UPDATE entries SET body = replace(body, 'Teasel 190', 'Teasel 191') WHERE seq = 1"
    )
    before = altered.read_bytes()
    said = Shown(qtbot, altered, tmp_path).press("Verify all")
    assert said.startswith("Damaged. ")
    assert "entry 1: " in said
    assert altered.read_bytes() == before


def test_what_cannot_be_read_is_said(qtbot: QtBot, tmp_path: Path) -> None:
    """An archive that went away is said in words, and the page stays."""
    at = Shown(qtbot, tmp_path / "gone.sqlite", tmp_path)
    assert at.press("Verify all").startswith("Not done: ")
    assert at.page.isVisible()


# ---------------------------------------------------------------------- long work


def test_work_is_stopped_where_it_tells_how_far_it_is(qtbot: QtBot) -> None:
    """Stop ends work at its next telling, says that nothing was written, and another can begin."""
    parent = QWidget()
    qtbot.addWidget(parent)
    work = Work(parent)
    said: list[tuple[str, bool]] = []
    work.said.connect(lambda words, wrong: said.append((words, wrong)))
    parent.show()
    begun = threading.Event()

    def run(tell: Tell) -> None:
        for number in range(10**9):
            begun.set()
            tell(number, 10**9)

    done: list[object] = []
    work.begin("Counting", run, done.append)
    assert begun.wait(10)
    assert work.isVisible()
    work.begin("Another", run, done.append)
    assert said == [("Counting is still running. Stop it first, or wait", True)]
    qtbot.mouseClick(work.stop_button, PRESS)
    qtbot.waitUntil(lambda: not work.is_running, timeout=10_000)
    assert said[1:] == [("Stopped. Nothing was written.", False)]
    work.begin("Adding", lambda tell: tell(1, 2) or 3, done.append)
    qtbot.waitUntil(lambda: done == [3], timeout=10_000)
    assert not work.isVisible()


def test_a_page_that_is_closed_stops_its_work(qtbot: QtBot, filed: Path, tmp_path: Path) -> None:
    """Closing the page waits for the work to stop, and leaves no half a file."""
    at = Shown(qtbot, filed, tmp_path, "half.jsonl")
    waiting = threading.Event()

    def run(tell: Tell) -> None:
        while True:
            waiting.set()
            tell(0, 0)

    at.page.work.begin("Waiting", run, print)
    assert waiting.wait(10)
    at.page.close()
    assert not at.page.work.is_running
    assert not (tmp_path / "half.jsonl").exists()


def test_stopping_an_export_leaves_no_file(filed: Path, tmp_path: Path) -> None:
    """An export stopped in the middle leaves neither the file nor a part of it, and the one before stays."""
    from station.views.archive_page import export_archive
    from station.views.work import Stopped

    def tell(done: int, _of: int) -> None:
        if done == 10:
            raise Stopped

    target = tmp_path / "all.jsonl"
    target.write_text("before")
    with pytest.raises(Stopped):
        export_archive(str(filed), target, tell)
    assert [(each.name, each.read_text()) for each in tmp_path.iterdir()] == [("all.jsonl", "before")]
