"""The page of the archive: its jobs, found by what is typed; a job's record opened; all verified, exported, copied.

Everything that takes long shows how far it is and can be stopped. Files are written whole or not at all, and no file is
written over unasked: a record is drawn anew each time, beside the archive.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from PyQt6.QtCore import Qt, QUrl
from PyQt6.QtGui import QCloseEvent, QDesktopServices
from PyQt6.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QLineEdit, QListWidget, QPushButton

from station.records.archive import Archive, ArchiveFault
from station.records.examine import Examined
from station.records.rows import Row, plain
from station.records.verify import Verification, verify_examined
from station.records.words import groups
from station.settings.preferences import PAPERS, Paper
from station.views.form import Choice, labelled
from station.views.page import Page, add_row
from station.views.palette import LookName
from station.views.work import Tell, Work


class FiledJob(NamedTuple):
    """A job in the archive: its number, and a line or two of words about it, in which is looked for."""

    job: str
    words: str


Choose = Callable[[str, str], str]
"""Asks for a file to write, by a title and a name to begin with; empty where the person leaves it."""


class ArchivePage(Page):
    """The archive at `where`, with its jobs. `records` is the folder in which records are put as PDF."""

    def __init__(
        self,
        look: LookName,
        where: str,
        jobs: Sequence[FiledJob],
        records: Path,
        *,
        paper: Paper = "letter",
        choose: Choose | None = None,
        show_file: Callable[[Path], bool] | None = None,
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, "Archive", f"{where}: {_jobs(len(jobs))}.", scale=scale)
        self._where, self._jobs, self._records = where, list(jobs), records
        self._choose = choose if choose is not None else self._ask_file
        self._show_file = show_file if show_file is not None else _show
        row = QHBoxLayout()
        find = labelled("Find", "label", self)
        self.search = QLineEdit(self)
        self.search.setPlaceholderText("number, line, canopy, serial, lot, name, day; every word must be in it")
        self.search.setAccessibleName("find jobs")
        find.setBuddy(self.search)
        find.setWordWrap(False)
        self.found: QLabel = labelled("", "soft", self)
        self.found.setWordWrap(False)
        row.addWidget(find)
        row.addWidget(self.search, 1)
        row.addWidget(self.found)
        row.addSpacing(round(24 * scale))
        on = labelled("Records on", "label", self)
        on.setWordWrap(False)
        self.paper = Choice(self)
        self.paper.addItems(list(PAPERS))
        self.paper.setCurrentText(paper)
        self.paper.setMinimumWidth(round(150 * scale))
        self.paper.setAccessibleName("paper of the records")
        on.setBuddy(self.paper)
        row.addWidget(on)
        row.addWidget(self.paper)
        self.body.addLayout(row)
        self.rows = QListWidget(self)
        self.rows.setAccessibleName("jobs found")
        self.rows.setWordWrap(True)
        self.body.addWidget(self.rows, 1)
        self.work = Work(self)
        self.work.said.connect(lambda words, wrong: self.say(words, wrong=wrong))
        self.body.addWidget(self.work)
        self.buttons: dict[str, QPushButton] = {}
        for words, do in (
            ("Verify all", self.verify),
            ("Export all…", self.export),
            ("Copy all…", self.backup),
            ("Open the record", self.open_record),
        ):
            button = self.button(words, main=do == self.open_record)
            button.clicked.connect(do)
            self.buttons[words.rstrip("…")] = button
        self.search.textChanged.connect(self._look)
        self.rows.itemActivated.connect(lambda _: self.open_record())
        self._look("")
        self.search.setFocus()

    def _look(self, text: str) -> None:
        wanted = plain(text).split()
        self.rows.clear()
        for job, words in self._jobs:
            if all(word in plain(f"{job} {words}") for word in wanted):
                add_row(self.rows, f"{job}  {words}", job)
        self.rows.setCurrentRow(0)
        found = self.rows.count()
        self.found.setVisible(found < len(self._jobs))
        self.found.setText("" if found == len(self._jobs) else f"{found} of {len(self._jobs)}")
        self.buttons["Open the record"].setEnabled(found > 0)

    def open_record(self) -> None:
        """Write the record of the chosen job as PDF, and hand it to whatever shows PDF here."""
        item = self.rows.currentItem()
        if item is None:
            return
        job = str(item.data(Qt.ItemDataRole.UserRole))
        path = self._records / f"{job}.pdf"
        paper: Paper = "a4" if self.paper.currentText() == "a4" else "letter"
        words = f"Drawing the record of {job}"
        self._begin(words, lambda tell: write_record(self._where, job, path, tell, paper), self._show)

    def verify(self) -> None:
        """Work out every link of the chain and every verdict anew."""
        self._begin("Verifying", lambda tell: verify_archive(self._where, tell), self._verified)

    def export(self) -> None:
        """Write everything as JSON Lines, for others to check."""
        name = self._choose("Export all to", "archive.jsonl")
        if name:
            self._begin("Exporting", lambda tell: export_archive(self._where, Path(name), tell), self._exported)

    def backup(self) -> None:
        """Copy the archive to a new file."""
        name = self._choose("Copy all to", "archive-copy.sqlite")
        if name:
            self._begin("Copying", lambda tell: copy_archive(self._where, Path(name), tell), self._copied)

    def _begin(self, words: str, run: Callable[[Tell], object], then: Callable[..., None]) -> None:
        self.say("")
        self.work.begin(words, run, then)

    def _show(self, path: Path) -> None:
        shown = self._show_file(path)
        self.say(f"The record is {path}." + ("" if shown else " Nothing here shows PDF files: open it elsewhere."))

    def _verified(self, found: Verification) -> None:
        whole = f"{found.worked_out} "
        if found.good:
            heads = " ".join(f"Anchor of {bench}: {groups(head)}" for bench, head in found.heads.items())
            self.say(f"{whole}Nothing is damaged, and every verdict follows from its stored trace. {heads}")
            return
        wrong = [f"{'the archive' if each.seq is None else f'entry {each.seq}'}: {each.what}" for each in found.damaged]
        wrong += [f"entry {each.seq}: {each.what}" for each in found.verdicts_changed]
        rest = f"; and {len(wrong) - 5} more, which records verify names" if len(wrong) > 5 else ""
        self.found_wrong(f"{whole}{'; '.join(wrong[:5])}{rest}. Keep this archive as it is; compare it with a copy.")

    def found_wrong(self, words: str) -> None:
        """Say what verification found, as the finding it is: the work was done."""
        self.say(words, wrong=True)
        self.said.setText(f"Damaged. {words}")
        self.said.setAccessibleName(self.said.text())

    def _exported(self, path: Path) -> None:
        self.say(f"Exported to {path}. docs/check_record.py checks it without this program.")

    def _copied(self, path: Path) -> None:
        self.say(f"Copied to {path}. Keep it on another disk.")

    def _ask_file(self, title: str, name: str) -> str:
        found, _ = QFileDialog.getSaveFileName(self, title, str(Path.home() / name))
        return found

    def closeEvent(self, event: QCloseEvent | None) -> None:  # noqa: N802 Qt's name
        """Stop what is still running before the page goes."""
        self.work.wait()
        super().closeEvent(event)


def write_record(where: str, job: str, target: Path, tell: Tell, paper: Paper = "letter") -> Path:
    """Write a job's record as PDF, on `paper`, and give its path. Raises `ArchiveFault` or `OSError`."""
    from station.records.job_sheet import JobSheet, checks_in_force
    from station.records.line_picture import line_picture
    from station.records.report import report

    with Archive.open(where) as archive:
        sheet = JobSheet.of(job, list(archive.entries(job)))
        tell(0, 0)
        checks = checks_in_force(sheet, archive.of_kind("scale-checked", "daily-checked"))
        pdf = report(sheet, archive.trace, paper, line_picture(sheet), checks)
    tell(0, 0)
    target.parent.mkdir(parents=True, exist_ok=True)
    part = _part(target)
    try:
        part.write_bytes(pdf)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return target


def verify_archive(where: str, tell: Tell) -> Verification:
    """Verify the archive at `where`. Raises `ArchiveFault`."""
    from station.records.workers import examined

    with Archive.open(where) as archive, closing(examined(archive)) as rows:
        whole = archive.count()

        def told() -> Iterator[Examined]:
            for number, row in enumerate(rows, 1):
                tell(number, whole)
                yield row

        return verify_examined(told(), archive.stored_traces, None, archive.unsound(), archive.unguarded())


def export_archive(where: str, target: Path, tell: Tell) -> Path:
    """Write every entry, name and trace as JSON Lines; give the path. Raises `ArchiveFault` or `OSError`.

    A trace that cannot be given is a fault: what is exported from here is whole.
    """
    from station.records.exports import lines

    def miss(name: str, what: str) -> None:
        raise ArchiveFault(f"the trace {name[:12]}... is {what}: verify the archive, which says more")

    part = _part(target)
    try:
        with Archive.open(where) as archive, part.open("w", encoding="utf-8") as file:
            entries = archive.count()

            def counted() -> Iterator[Row]:
                for number, row in enumerate(archive.entries(), 1):
                    tell(number, entries)
                    yield row

            for line in lines(counted(), archive.stored_traces, miss):
                file.write(json.dumps(line, allow_nan=False, ensure_ascii=False) + "\n")
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
    return target


def copy_archive(where: str, target: Path, tell: Tell) -> Path:
    """Copy the archive to a new file; give the path. Raises `ArchiveFault`, also where the file is there already."""
    tell(0, 0)
    with Archive.open(where) as archive:
        archive.backup(target)
    try:
        tell(0, 0)
    except BaseException:
        target.unlink(missing_ok=True)  # stopped: nothing stays behind
        raise
    return target


def _part(target: Path) -> Path:
    return target.with_name(f".{target.name}.part")


def _jobs(count: int) -> str:
    return "no job yet" if not count else "1 job" if count == 1 else f"{count} jobs"


def _show(path: Path) -> bool:
    return QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
