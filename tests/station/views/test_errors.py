from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from station.bench.snapshot import ErrorPoint, ErrorsCard, Snapshot, Words
from station.views.palette import LookName, contrast
from station.views.pictures import save_picture, texts_shown
from tests.station.views.shown import Bench
from tests.station.views.test_gallery import BETWEEN, SIZES, whole_and_apart
from tests.station.views.weighing_gallery import MOMENTS


@cache
def moment(name: str) -> Snapshot:
    """Give a moment, reached once."""
    return MOMENTS[name]()


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("look", ["dark", "light"])
def test_every_moment_of_a_scale_check_is_whole(
    qtbot: QtBot, tmp_path: Path, look: LookName, size: tuple[int, int]
) -> None:
    """No two words overlap, none is cut or leaves its panel, and each can be told from its ground."""
    bench = Bench(qtbot, "pre_stretch", look, size)
    for name in MOMENTS:
        bench.snapshot = moment(name)
        save_picture(bench.window, tmp_path / f"{name}.png", size)
        whole_and_apart(bench)
        for shown in texts_shown(bench.window):
            assert contrast(shown.written.colour, shown.written.ground) >= 4.5, (name, shown.written)
    assert bench.faults == []


@pytest.mark.parametrize("size", BETWEEN, ids=lambda size: f"{size[0]}x{size[1]}")
def test_a_scale_check_is_whole_at_sizes_between(qtbot: QtBot, size: tuple[int, int]) -> None:
    """At any size between and beyond, one moment after the other in the same window, no words overlap or are cut."""
    bench = Bench(qtbot, "pre_stretch", "light", size)
    for name in MOMENTS:
        bench.snapshot = moment(name)
        bench.draw()
        whole_and_apart(bench)
    assert bench.faults == []


def card_of(name: str) -> ErrorsCard:
    """Give the errors card of a moment."""
    card = moment(name).card
    assert isinstance(card, ErrorsCard)
    return card


def test_the_card_names_every_class_it_has_room_for(qtbot: QtBot) -> None:
    """Small errors are shown between the limits of the two best classes, larger ones between those of all four."""
    bench = Bench(qtbot, "pre_stretch")
    for name, named in (("found", {"class 0.5", "class 1"}), ("fits_no_class", {"class 1", "class 2", "class 3"})):
        bench.snapshot = moment(name)
        bench.draw()
        texts = {shown.written.text for shown in texts_shown(bench.window) if shown.panel == "errors of the scale"}
        assert named <= texts


def test_the_card_says_whether_all_lies_inside(qtbot: QtBot) -> None:
    """Those who hear the screen hear how many were read, the largest error, and the limit all lie within."""
    bench = Bench(qtbot, "pre_stretch")
    bench.snapshot = moment("found")
    bench.draw()
    assert "15 read" in bench.window.errors.said
    assert bench.window.errors.said.endswith("all within 0.5 %")
    far = replace(card_of("found"), points=(ErrorPoint(22.0, 7.5, False), ErrorPoint(33.0, -9.0, True)), inside=None)
    bench.change(card=far)
    assert bench.window.errors.said.endswith("2 read, largest −9.00 % at 33.0 lbf, outside every class")
    bench.change(card=replace(far, points=()))
    assert bench.window.errors.said.endswith("nothing read yet")
    whole_and_apart(bench)
    assert bench.faults == []


def test_the_strip_is_painted_where_the_errors_lie(qtbot: QtBot) -> None:
    """Inside a limit its strip is filled with the band's colour; without one there is no strip."""
    bench = Bench(qtbot, "pre_stretch")
    bench.snapshot = moment("found")
    painted = {}
    for inside in (0.5, None):
        bench.change(card=replace(card_of("found"), inside=inside))
        image = bench.window.errors.grab().toImage()
        colours = {
            image.pixelColor(x, y).name() for x in range(0, image.width(), 7) for y in range(0, image.height(), 3)
        }
        painted[inside] = bench.window.look.band.lower() in colours
    assert painted == {0.5: True, None: False}


@pytest.mark.parametrize("size", [*SIZES, *BETWEEN], ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("text", [
    "scale not checked today: hang the daily weight",
    "scale check out of date: nothing is proven",
    "not checked at 72.5 lbf: nothing is proven",
    "scale did not agree: nothing is proven",
])  # fmt: skip
def test_the_top_line_has_room_for_how_the_scale_stands(qtbot: QtBot, text: str, size: tuple[int, int]) -> None:
    """In a job's window, what is known of the scale stands whole in the top line at every size."""
    bench = Bench(qtbot, "pre_stretch", size=size)
    bench.change(header=replace(bench.snapshot.header, scale=Words(text, "warn")))
    whole_and_apart(bench)
    assert text in {shown.written.text for shown in texts_shown(bench.window)}
