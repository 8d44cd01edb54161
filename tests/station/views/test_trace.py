from __future__ import annotations

import sys
import threading

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from PyQt6.QtCore import QPointF
from pytestqt.qtbot import QtBot

from station.views.trace import plotting, thinned
from tests.station.views.parts import trace
from tests.station.views.shown import Bench

COLUMNS, WINDOW_S = 20, 10.0


@st.composite
def readings(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give readings of ten seconds: rising stamps, any tension, some that join nothing, some with no tension."""
    count = draw(st.integers(0, 150))
    ago = np.sort(np.array(draw(st.lists(st.floats(-WINDOW_S, 0), min_size=count, max_size=count))))
    tension = np.array(draw(st.lists(st.floats(-5, 100) | st.just(float("nan")), min_size=count, max_size=count)))
    joined = np.array(draw(st.lists(st.booleans(), min_size=count, max_size=count)), bool)
    return ago, tension, joined


def runs(ago: np.ndarray, tension: np.ndarray, joined: np.ndarray) -> list[tuple[float, ...]]:
    """Break readings into the runs that are drawn as one line, one reading at a time."""
    found: list[list[float]] = []
    broken = True
    for at, pull, joins in zip(ago, tension, joined, strict=True):
        if not np.isfinite(pull):
            broken = True
            continue
        if broken or not joins:
            found.append([])
        found[-1].append(at)
        broken = False
    return [(run[0], run[-1]) for run in found]


@given(readings())
def test_a_gap_stays_a_gap(given_readings: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """Thinned readings break into runs that begin and end exactly where the whole ones do."""
    ago, tension, joined = given_readings
    assert runs(*thinned(ago, tension, joined, WINDOW_S, COLUMNS)) == runs(ago, tension, joined)


@given(readings())
def test_each_column_of_pixels_keeps_its_lowest_and_highest(
    given_readings: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    """In each column of pixels the lowest and the highest reading are those of all readings there."""
    ago, tension, joined = given_readings
    finite = np.isfinite(tension)
    thin_ago, thin_tension, _ = thinned(ago, tension, joined, WINDOW_S, COLUMNS)
    assert np.isfinite(thin_tension).all()
    whole = np.floor(ago[finite] * COLUMNS / WINDOW_S)
    thin = np.floor(thin_ago * COLUMNS / WINDOW_S)
    assert set(whole) == set(thin)
    for column in set(whole):
        kept, all_of_them = thin_tension[thin == column], tension[finite][whole == column]
        assert kept.min() == all_of_them.min()
        assert kept.max() == all_of_them.max()


def test_a_minute_at_a_thousand_a_second_becomes_few() -> None:
    """Sixty thousand readings become at most four for each column of pixels."""
    card = trace(rate_hz=1000)
    ago, tension, joined = thinned(card.ago_s, card.tension, card.joined, card.window_s, 560)
    assert len(ago) == len(tension) == len(joined) <= 4 * 561
    assert (np.diff(ago) >= 0).all()


def test_the_plot_leaves_uncaught_faults_where_they_were_told() -> None:
    """Importing the plot library changes neither who is told of uncaught faults, nor of those in threads."""
    before = sys.excepthook, threading.excepthook
    plotting()
    assert (sys.excepthook, threading.excepthook) == before


def test_axes_hold_still(qtbot: QtBot) -> None:
    """Readings far outside the scale, and none at all, leave the axes where they are."""
    bench = Bench(qtbot, "pre_stretch")
    box = bench.window.trace._plot.getPlotItem().getViewBox()  # the plot's own account of its axes
    before = box.viewRange()
    for ago, pull in ((np.array([-1.0, 0.0]), np.array([500.0, -80.0])), (np.zeros(0), np.zeros(0))):
        bench.change(card=bench.card(ago_s=ago, tension=pull, joined=np.ones(len(ago), bool)))
        assert box.viewRange() == before
    assert before[0][0] == -60
    assert before[0][1] == 10


def test_a_gap_is_drawn_as_a_gap(qtbot: QtBot) -> None:
    """Between two readings that are not joined no line is painted, and between joined ones there is one."""
    bench = Bench(qtbot, "pre_stretch")
    ago, level = np.array([-50.0, -40.0, -20.0, -10.0]), np.full(4, 20.0)
    bench.change(
        card=bench.card(
            ago_s=ago,
            tension=level,
            joined=np.array([False, True, False, True]),
            span_s=None,
            forecast=None,
        )
    )
    plot = bench.window.trace._plot
    image = plot.grab().toImage()
    ink = bench.window.look.ink.lower()

    def painted_between(from_s: float, to_s: float) -> bool:
        box = plot.getPlotItem().getViewBox()
        place = plot.mapFromScene(box.mapViewToScene(QPointF((from_s + to_s) / 2, 20.0)))
        return any(image.pixelColor(place.x(), place.y() + shift).name() == ink for shift in range(-3, 4))

    assert painted_between(-50, -40)
    assert not painted_between(-40, -20)
    assert painted_between(-20, -10)
