"""The trials of an archive at their window: shown by material and lot, left out and counted again by a named person.

What is said of a trial is filed in the chain of the bench that has the archive open, whosever trial it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from station.filing import Filer
from station.learned import Learned, LearnedTrial, learned, stock_words, together
from station.linework.trial_plot import plot
from station.records.archive import Archive
from station.units import LengthSystem, length_text
from station.views.form import Field
from station.views.palette import LookName
from station.views.trial_view import Trials
from station.views.trials_page import ShownTrial, Stock, TrialsPage

Ask = Callable[[str, str, Sequence[Field]], Mapping[str, str] | None]

NONE_YET = "No job here has a trap at a canopy end that was marked, set and compared: nothing is learned yet."
_FIELDS = (Field("by", "Who says so", required=True), Field("reason", "Why", required=True, rows=2))


def trials_page(
    archive: Archive, ask: Ask, look: LookName, system: LengthSystem = "imperial", scale: float = 1.0
) -> TrialsPage:
    """Give the page of an open archive's trials."""
    shown: list[list[LearnedTrial]] = []
    found = Learned(())

    def read() -> tuple[Sequence[Stock], str]:
        nonlocal found
        found = learned(archive)
        of_stock: dict[tuple[str, str], list[LearnedTrial]] = {}
        for each in found.trials:
            of_stock.setdefault((each.material, each.lot), []).append(each)
        shown[:] = of_stock.values()
        plots = {
            stock: Trials(plot([each.trial for each in traps], made), system) for stock, traps, made in together(found)
        }
        said = [f"Not read: {'; '.join(found.unread)}."] if found.unread else []
        said += [] if found.trials else [NONE_YET]
        return [
            Stock(stock_words(*stock), tuple(_rows(found, traps, system)), plots.get(stock))
            for stock, traps in of_stock.items()
        ], " ".join(said)

    def change(stock: int, row: int) -> str:
        one = shown[stock][row]
        what = "Leave this trial out" if one.counts else "Count this trial again"
        called = f"{one.trap} of job {found.names.of(one.bench, one.job)}"
        text = f"{called}. Nothing is taken away: it stays in the list, with your name and reason."
        answers = ask(what, text, _FIELDS)
        if answers is None:
            return ""
        seq = Filer(archive)(one.told(not one.counts, answers["by"], answers["reason"]))
        return f"{called} {'is left out' if one.counts else 'counts again'}: entry {seq} of {archive.bench}."

    return TrialsPage(look, read, change, scale)


def _rows(found: Learned, traps: Sequence[LearnedTrial], system: LengthSystem) -> list[ShownTrial]:
    """Give the trials of one stock in words; those that count are numbered as the plot numbers them."""
    rows, number = [], 0
    for each in traps:
        number += each.counts
        took_m = each.trial.shortening_m
        took = f"{length_text(abs(took_m), system, 32)} {'longer' if took_m < 0 else 'shorter'}"
        trap = length_text(each.trap_m, system, 32)
        place = f"{each.trap}, job {found.names.of(each.bench, each.job)}, {each.at[:10]}"
        words = [f"{f'{number}: ' if each.counts else ''}{trap} trapped, {took}", place]
        words += [f"no trial: {each.why_not}"] if each.why_not else []
        words += [f"left out by {each.left_out.by}: {each.left_out.reason}"] if each.left_out is not None else []
        rows.append(ShownTrial("\n".join(words), each.counts, not each.why_not))
    return rows
