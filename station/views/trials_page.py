"""The shop's trials in the window: those of one stock at a time, each with whence it came, and the plot of what counts.

A trial is left out, or counts again, by a named person and for a reason; it stays to be seen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from PyQt6.QtWidgets import QHBoxLayout, QVBoxLayout

from station.faults import is_fault
from station.views.form import Choice, labelled
from station.views.page import Page, Rows, add_row
from station.views.palette import LookName, look_named
from station.views.trial_view import Trials, TrialView

TITLE, LEAVE_OUT, COUNT = "Trials", "Leave it out…", "Count it again…"
_TEXT = (
    "Each trap made at a canopy end, compared before sewing, says how much it shortened its line. A plan with trials = "
    '"the archive" takes its allowance from those that count.'
)


@dataclass(frozen=True, slots=True)
class ShownTrial:
    """A trial in words: whether it counts, and whether that is for a person to say."""

    words: str
    counts: bool
    may_change: bool


@dataclass(frozen=True, slots=True)
class Stock:
    """The trials of one material and lot; `together` is what those that count say, None where none does."""

    name: str
    trials: tuple[ShownTrial, ...]
    together: Trials | None


Read = Callable[[], tuple[Sequence[Stock], str]]
Change = Callable[[int, int], str]


class TrialsPage(Page):
    """The trials that `read` gives, with what is to be said of what could not be read.

    `change` leaves a trial out, or lets it count again, by the numbers of its stock and its row; it gives what to say,
    '' where the person leaves it.
    """

    def __init__(self, look: LookName, read: Read, change: Change, scale: float = 1.0) -> None:
        super().__init__(look, TITLE, _TEXT, scale=scale)
        self._read, self._change = read, change
        self._stocks: Sequence[Stock] = ()
        self.notice = labelled("", "soft", self)
        self.stock = Choice(self)
        self.stock.setAccessibleName("material and lot")
        self.rows = Rows(self)
        self.rows.setAccessibleName("trials of this material and lot")
        self.view = TrialView("what they say together", look_named(look), _loud, self)
        self.view.scale = scale
        self.view.setStyleSheet("background: transparent")  # the page's ground would lie over what it paints
        halves, left = QHBoxLayout(), QVBoxLayout()
        halves.setSpacing(round(40 * scale))
        left.addWidget(self.stock)
        left.addWidget(self.rows, 1)
        halves.addLayout(left, 2)
        halves.addWidget(self.view, 3)
        self.body.addWidget(self.notice)
        self.body.addLayout(halves, 1)
        self.change_button = self.button(LEAVE_OUT)
        self.change_button.clicked.connect(self.change)
        self.stock.currentIndexChanged.connect(lambda _index: self._show_stock())
        self.rows.currentRowChanged.connect(lambda _row: self._show_button())
        self.show_trials()
        self.rows.setFocus()

    def show_trials(self) -> None:
        """Read the trials, and show those of the stock chosen."""
        at = max(self.stock.currentIndex(), 0)
        self._stocks, said = self._read()
        self.notice.setText(said)
        self.notice.setVisible(bool(said))
        self.stock.blockSignals(True)  # shown once, below
        self.stock.clear()
        self.stock.addItems([each.name for each in self._stocks])
        self.stock.setCurrentIndex(min(at, len(self._stocks) - 1))
        self.stock.blockSignals(False)
        self._show_stock()

    def change(self) -> None:
        """Leave the chosen trial out, or let it count again."""
        at = self.stock.currentIndex(), self.rows.currentRow()
        try:
            said = self._change(*at)
        except Exception as fault:
            if not is_fault(fault):
                raise
            self.say(str(fault), wrong=True)
            return
        if said:
            self.show_trials()
            self.rows.setCurrentRow(at[1])
            self.say(said)

    def _show_stock(self) -> None:
        stock = self._stocks[self.stock.currentIndex()] if self._stocks else None
        self.rows.clear()
        for number, each in enumerate(stock.trials if stock is not None else ()):
            add_row(self.rows, each.words, number)
        self.rows.fit()
        self.rows.setCurrentRow(0)
        for part in (self.stock, self.rows):
            part.setVisible(stock is not None)
        self.view.setVisible(stock is not None and stock.together is not None)
        if stock is not None and stock.together is not None:
            self.view.present(stock.together)
        self._show_button()

    def _show_button(self) -> None:
        row = self.rows.currentRow()
        trial = self._stocks[self.stock.currentIndex()].trials[row] if row >= 0 else None
        self.change_button.setText(LEAVE_OUT if trial is None or trial.counts else COUNT)
        self.change_button.setEnabled(trial is not None and trial.may_change)


def _loud(fault: BaseException) -> None:
    raise fault
