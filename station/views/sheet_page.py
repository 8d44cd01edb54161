"""What pages for the files of a shelf have in common: keeping one, also under another name, and taking one off.

Nothing is lost: what is taken off stays beside the shelf, says where, and can be put back from the same button. What
jobs or plans name stays where they find it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QHBoxLayout, QListWidget, QVBoxLayout

from station.settings.shop import Sheet, Shelf
from station.settings.tables import SettingsFault
from station.views.form import labelled
from station.views.page import Page, add_row
from station.views.palette import LookName

NAME = "name"
"""The key under which a sheet's name is answered, and its faults are said."""
REMOVE, PUT_BACK = "Remove it", "Put it back"


class SheetPage(Page):
    """A page for the files of `shelf`. `named_by` says what names one of them, empty where nothing does."""

    def __init__(
        self,
        look: LookName,
        shelf: Shelf,
        title: str,
        text: str,
        *,
        named_by: Callable[[str], str] = lambda _: "",
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, title, text, scale=scale)
        self._shelf, self._named_by = shelf, named_by
        self._sheet: Sheet | None = None
        self._removed: Path | None = None

    def add_remove_button(self) -> None:
        """Put the button at the foot that takes a sheet off, and puts it back."""
        self.remove_button = self.button(REMOVE)
        self.remove_button.clicked.connect(self.remove_or_put_back)

    def show_sheets(self, path: Path | None) -> None:
        """Show the shelf anew, and choose the sheet at `path`, the first where it is None."""
        raise NotImplementedError

    def chose(self, sheet: Sheet | None) -> None:
        """Take note of the sheet that is shown; only one of the shop's own can be removed."""
        self._sheet, self._removed = sheet, None
        self.remove_button.setText(REMOVE)
        self.remove_button.setEnabled(sheet is not None and sheet.own)

    def remove_or_put_back(self) -> None:
        """Take the chosen sheet off the shelf, or put back the one that was taken off last."""
        sheet, removed = self._sheet, self._removed
        try:
            if removed is not None:
                back = self._shelf.put_back(removed)
                self.show_sheets(back.path)
                self.say(f"Put back: {back.name}.")
            elif sheet is not None and sheet.own:
                self._remove(sheet)
        except SettingsFault as fault:
            self.say(str(fault), wrong=True)

    def _remove(self, sheet: Sheet) -> None:
        named = self._named_by(sheet.name)
        if named:
            self.say(f"{sheet.name} stays: {named}", wrong=True)
            return
        kept = self._shelf.take_off(sheet)
        self.show_sheets(None)
        self._removed = kept
        self.remove_button.setText(PUT_BACK)
        self.remove_button.setEnabled(True)
        self.say(f"Removed: {sheet.name}. It is kept as {kept}.")

    def keep_as(self, name: str, answers: Mapping[str, str], text: str | None = None) -> Sheet:
        """Keep what is typed under `name`, and show it; see `Shelf.keep`. Raises `SettingsFault` with the key at fault.

        A sheet of the shop's with another name than before is renamed, unless something names it as it was.
        """
        old = self._sheet
        renamed = old is not None and old.own and old.name != name
        named = self._named_by(old.name) if old is not None and renamed else ""
        kept = self._shelf.keep(name, answers, old, text)
        words = f"Kept: {kept.name}, in {kept.path}."
        if old is not None and renamed and kept.path != old.path:
            if named:
                words += f" {old.name} stays beside it: {named}."
            else:
                words += f" It was {old.name}, kept as {self._shelf.take_off(old)}."
        self.show_sheets(kept.path)
        self.say(words)
        return kept


class ListedPage(SheetPage):
    """A page with its sheets listed at the left, each with a line `about` it; `right` takes what shows one of them."""

    def __init__(
        self,
        look: LookName,
        shelf: Shelf,
        title: str,
        text: str,
        about: Callable[[Mapping[str, str]], str],
        *,
        named_by: Callable[[str], str] = lambda _: "",
        scale: float = 1.0,
    ) -> None:
        super().__init__(look, shelf, title, text, named_by=named_by, scale=scale)
        self._about = about
        self._sheets: list[Sheet] = []
        self.rows = QListWidget(self)
        self.rows.setAccessibleName(title)
        self.rows.setWordWrap(True)
        self.rows.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.rows.currentRowChanged.connect(self._turned)
        self.whose = labelled("", "soft", self)
        self.right = QVBoxLayout()
        self.right.addWidget(self.whose)
        halves = QHBoxLayout()
        halves.setSpacing(round(48 * scale))
        halves.addWidget(self.rows, 2)
        halves.addLayout(self.right, 3)
        self.body.addLayout(halves, 1)

    def show_sheets(self, path: Path | None) -> None:
        """Show the shelf anew, and choose the sheet at `path`, the first where it is None."""
        self._sheets = self._shelf.sheets()
        self.rows.blockSignals(True)
        self.rows.clear()
        for sheet in self._sheets:
            about = "cannot be used as it stands" if sheet.own and sheet.fault else self._about(sheet.values)
            add_row(self.rows, f"{sheet.name}\n{about} · {'your own' if sheet.own else 'ready-made'}", sheet.name)
        self.rows.blockSignals(False)
        row = next((row for row, sheet in enumerate(self._sheets) if sheet.path == path), 0)
        self.mark_row(row)
        self._chosen(row)

    def mark_row(self, row: int) -> None:
        """Mark a row as chosen, none where it is -1; what is shown stays."""
        self.rows.blockSignals(True)
        self.rows.setCurrentRow(row)
        self.rows.blockSignals(False)

    def _turned(self, row: int) -> None:
        """Show another sheet, once what was typed may go; else stay with the one that is shown."""
        if self.may_leave():
            self._chosen(row)
        else:
            self.mark_row(next((n for n, each in enumerate(self._sheets) if each is self._sheet), -1))

    def _chosen(self, row: int) -> None:
        """Show the sheet of a row, or none."""
        raise NotImplementedError
