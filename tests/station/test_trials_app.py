from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from station.bench.job import example_opening
from station.learned import learned
from station.records.archive import Archive
from station.records.verify import verify
from station.trials_app import NONE_YET, trials_page
from station.views.palette import LIGHT
from station.views.trials_page import COUNT, LEAVE_OUT, TrialsPage
from tests.station.test_learned import KNOWN, compared, trapped

WHY = {"by": "Ansa Velling", "reason": "the tape slipped"}


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    """Give a bench's open archive with a trial of its own, and one of another bench whose pull nobody measured."""
    path = tmp_path / "a.sqlite"
    for bench, pull_mn in (("Bench 1", 44_000), ("Bench 2", None)):
        with Archive.open(path, bench=bench, create=True) as ours:
            for fact in (example_opening(KNOWN), *trapped(pull_mn=pull_mn), compared(1, 3_000)):
                ours.append(fact, "2026-06-12T09:00:00.000000Z")
    with Archive.open(path, bench="Bench 1") as ours:
        yield ours


def page_of(qtbot: QtBot, archive: Archive, *answers: dict[str, str] | None) -> TrialsPage:
    """Open the page for somebody who gives these answers, one after the other."""
    given = list(answers)
    page = trials_page(archive, lambda *_: given.pop(0), "light")
    qtbot.addWidget(page)
    page.show()
    return page


def words(page: TrialsPage) -> list[str]:
    """Give what the rows say."""
    rows = [page.rows.item(row) for row in range(page.rows.count())]
    return [row.text() for row in rows if row is not None]


def test_a_trial_says_whence_it_came_and_whether_it_counts(qtbot: QtBot, archive: Archive) -> None:
    """Each stands with job, bench and day; one that is none says why, and nobody can change that."""
    page = page_of(qtbot, archive)
    assert page.stock.currentText() == "material not named, lot L-7"
    assert words(page) == [
        "1: 5 in trapped, 3/16 in shorter\nA canopy end, job 26-0001 of Bench 1, 2026-06-12",
        "5 in trapped, 3/16 in shorter\nA canopy end, job 26-0001 of Bench 2, 2026-06-12\n"
        "no trial: the pull it was marked under was not measured",
    ]
    plot = page.view.grab().toImage()
    assert plot.pixelColor(plot.width() // 2, plot.height() - 3).name().upper() == LIGHT.card  # nothing lies over it
    assert page.change_button.isEnabled()
    page.rows.setCurrentRow(1)
    assert not page.change_button.isEnabled()


def test_a_trial_is_left_out_with_a_reason_and_counts_again(qtbot: QtBot, archive: Archive) -> None:
    """Both are entries of the bench's own chain, the trial stays to be seen, and the chain verifies."""
    page = page_of(qtbot, archive, WHY, None, WHY)
    page.change_button.click()
    assert page.said.text() == "A canopy end of job 26-0001 of Bench 1 is left out: entry 6 of Bench 1."
    assert words(page)[0].endswith("left out by Ansa Velling: the tape slipped")
    assert learned(archive).counted() == []
    assert (page.change_button.text(), page.view.isVisible()) == (COUNT, False)
    page.change_button.click()  # and left again
    assert learned(archive).counted() == []
    page.change_button.click()
    assert page.said.text().endswith("counts again: entry 7 of Bench 1.")
    assert len(learned(archive).counted()) == 1
    assert (page.change_button.text(), page.view.isVisible()) == (LEAVE_OUT, True)
    assert verify(archive.entries(), archive.stored_traces).good


def test_what_cannot_be_filed_is_said_and_changes_nothing(qtbot: QtBot, archive: Archive) -> None:
    """An archive that is only read keeps every trial as it was."""
    with Archive.open(archive.path) as reader:
        page = page_of(qtbot, reader, WHY)
        page.change_button.click()
        assert page.said.text().startswith("Not done: ")
        assert len(learned(reader).counted()) == 1


def test_an_archive_that_taught_nothing_says_so(qtbot: QtBot, tmp_path: Path) -> None:
    """Without a trial there is nothing to choose and nothing to press."""
    with Archive.open(tmp_path / "none.sqlite", bench="Bench 1", create=True) as empty:
        page = page_of(qtbot, empty)
        assert page.notice.text() == NONE_YET
        assert not page.change_button.isEnabled()
        assert not page.rows.isVisible()
