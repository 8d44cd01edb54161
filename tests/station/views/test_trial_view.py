"""Trials in the window: what is painted is whole, apart, and the same as the record and the picture show."""

from __future__ import annotations

from itertools import combinations

import pytest
from PyQt6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from station.linework.shrinkage import FirstValue, Trial, estimate
from station.linework.trial_plot import placed, plot
from station.units import LengthSystem
from station.views.arrangement import Box
from station.views.palette import DARK, LIGHT, Look
from station.views.trial_view import Trials, TrialView

INCH = 0.0254
MANY = [
    Trial(trap * INCH, shortening * INCH)
    for trap, shortening in ((5, 0.31), (6, 0.38), (4, 0.24), (6, 0.36), (5, 0.32), (7, 0.44), (6, 0.9))
]


def shown(qtbot: QtBot, content: Trials, look: Look, size: tuple[int, int]) -> tuple[QWidget, TrialView]:
    """Paint trials in a box of this size; give the view once it has painted, and the window that keeps it."""
    root, faults = QWidget(), list[BaseException]()
    qtbot.addWidget(root)
    root.resize(*size)
    view = TrialView("trials", look, faults.append, root)
    view.place(Box(0, 0, *size), size[0] / 1100)
    view.present(content)
    root.show()
    qtbot.waitUntil(lambda: bool(view.written) or bool(faults))
    assert faults == []
    return root, view


@pytest.mark.parametrize("system", ["imperial", "metric"])
@pytest.mark.parametrize(("look", "size"), [(DARK, (1100, 760)), (LIGHT, (740, 520))])
@pytest.mark.parametrize("trials", [MANY, MANY[:1], [], [Trial(6 * INCH, 0.375 * INCH)] * 4], ids=len)
def test_words_are_whole_and_apart(
    qtbot: QtBot, trials: list[Trial], look: Look, size: tuple[int, int], system: LengthSystem
) -> None:
    """With many trials, one, none, and all alike, no word is cut, leaves the view or lies over another."""
    first = None if trials else FirstValue(0.0625, 0.01)
    _root, view = shown(qtbot, Trials(plot(trials, estimate(trials, first)), system), look, size)
    assert len(view.written) > 6
    for each in view.written:
        assert not each.cut, each.text
        assert view.rect().toRectF().contains(each.ink), each.text
    for one, other in combinations(view.written, 2):
        assert not one.ink.intersects(other.ink), (one.text, other.text)
    unit = {"imperial": "in", "metric": "mm"}[system]
    assert any(each.text.endswith(f" {unit}") for each in view.written)


def test_a_suspect_is_named_by_its_row(qtbot: QtBot) -> None:
    """The trial far from the others stands with its row, in the plot and for those who hear the screen."""
    _root, view = shown(qtbot, Trials(plot(MANY, estimate(MANY))), DARK, (1100, 760))
    assert "row 7" in [each.text for each in view.written]
    assert "Row 7: look again" in view.said
    assert view.said.startswith("7 trials: a trap shortens its host by ")


def test_every_trial_lies_in_its_place() -> None:
    """In a box of 100 by 100 the line passes through the middle of its band and trials lie by their axes' ticks."""
    found = placed(plot(MANY, estimate(MANY)), (0.0, 0.0, 100.0, 100.0), "imperial")
    for (_, low), (_, middle), (_, high) in zip(found.lows, found.middle, found.highs, strict=True):
        assert middle == pytest.approx((low + high) / 2)
        assert high < middle < low
    assert [row for _, row in found.suspects] == [7]
    six = next(x for x, label in found.x_ticks if label == "6 in")
    assert found.suspects[0][0][0] == pytest.approx(six)
    assert len(found.rings) == 6
