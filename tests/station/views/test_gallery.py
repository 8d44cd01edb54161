from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageColor
from PyQt6.QtGui import QImage
from PyQt6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from station.views.arrangement import MARGIN, scale_of
from station.views.palette import DARK, LIGHT, Look, LookName, contrast
from station.views.panel import Panel
from station.views.pictures import save_picture, texts_shown
from station.views.saying import number_said
from tests.pictures import OWN, keep_small
from tests.station.views.gallery import GALLERY
from tests.station.views.shown import Bench

SIZES = [(1920, 1080), (1280, 800)]
BETWEEN = [(1024, 640), (1280, 1024), (1366, 768), (1440, 900), (1680, 1050), (2560, 1440)]
HAIR = 0.5  # of a pixel
HINTED = 2  # pixels that a letter's ink may stand out of its own width


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("look", ["dark", "light"])
def test_every_moment_is_whole_in_both_looks_and_sizes(
    qtbot: QtBot, tmp_path: Path, look: LookName, size: tuple[int, int]
) -> None:
    """No two words overlap, none is cut or leaves its panel, and each can be told from its ground."""
    bench = Bench(qtbot, "pre_stretch", look, size)
    for name, maker in GALLERY.items():
        bench.snapshot = maker()
        picture = tmp_path / f"{name}.png"
        save_picture(bench.window, picture, size)
        assert (QImage(str(picture)).width(), QImage(str(picture)).height()) == size
        whole_and_apart(bench)
        for shown in texts_shown(bench.window):
            written = shown.written
            main = shown.panel in ("what to do now", "the number") and written.style.size >= 57 and written.style.bold
            asked = 7.0 if main and written.colour != bench.window.look.act else 4.5
            assert contrast(written.colour, written.ground) >= asked, (name, written)
    assert bench.faults == []


@pytest.mark.parametrize("size", BETWEEN, ids=lambda size: f"{size[0]}x{size[1]}")
def test_every_moment_is_whole_at_sizes_between(qtbot: QtBot, size: tuple[int, int]) -> None:
    """At any size between and beyond, one moment after the other in the same window, no words overlap or are cut."""
    bench = Bench(qtbot, "pre_stretch", "dark", size)
    for maker in GALLERY.values():
        bench.snapshot = maker()
        bench.draw()
        whole_and_apart(bench)
    assert bench.faults == []


@pytest.mark.parametrize("size", [*SIZES, (1024, 640), (1280, 1024)], ids=lambda size: f"{size[0]}x{size[1]}")
def test_every_moment_is_whole_from_afar(qtbot: QtBot, size: tuple[int, int]) -> None:
    """From afar, too, no words overlap, are cut or leave their panel, and the sentence and the number are there."""
    bench = Bench(qtbot, "pre_stretch", "light", size, far=True)
    for name, maker in GALLERY.items():
        bench.snapshot = maker()
        bench.draw()
        whole_and_apart(bench)
        panels = {shown.panel for shown in texts_shown(bench.window)}
        assert {"what to do now", "the number"} <= panels, name
        assert panels <= {"what to do now", "the number", "time held", "the line on the bench"}, name
    assert bench.faults == []


def whole_and_apart(bench: Bench) -> None:
    """Assert that all words on show are whole, inside their panel and clear of each other."""
    shown = texts_shown(bench.window)
    assert len(shown) > (4 if bench.window.far else 10)
    for each in shown:
        assert not each.written.cut, each.written.text
        assert each.panel_box.adjusted(-1, -1, 1, 1).contains(each.ink), (each.panel, each.written.text)
    for one, other in combinations(shown, 2):
        overlap = one.ink.adjusted(HAIR, HAIR, -HAIR, -HAIR).intersects(other.ink)
        assert not overlap, (one.written.text, other.written.text)


def test_the_whole_sentence_is_set_in_ink_in_every_tone(qtbot: QtBot) -> None:
    """The sentence and the number are set in ink, at least 7 to 1, whatever their tone; a sign tells the tone."""
    bench = Bench(qtbot, "over_ceiling")
    colours = {
        shown.written.colour
        for shown in texts_shown(bench.window)
        if shown.panel == "what to do now" or shown.written.text == "63.2"
    }
    assert colours == {DARK.ink}


@pytest.mark.parametrize("look", [DARK, LIGHT], ids=["dark", "light"])
def test_ink_and_every_tone_keep_their_distance(look: Look) -> None:
    """Ink keeps 7 to 1 on ground and card, every other colour of words 4.5 to 1, and shapes 3 to 1."""
    for ground in ("ground", "card"):
        for ink in ("ink", "soft", "in_band", "leaving", "ceiling", "act", "main_line", "cascade"):
            asked = 7.0 if ink == "ink" else 4.5
            assert contrast(getattr(look, ink), getattr(look, ground)) >= asked, (ink, ground)
    for shape in ("in_band", "ceiling", "ink", "act", "soft"):
        assert contrast(getattr(look, shape), look.track) >= 3.0, shape


def test_what_is_painted_is_also_said(qtbot: QtBot) -> None:
    """The sentence, number, words beside it, caution, notice and record are found by those who hear the screen."""
    bench = Bench(qtbot, "pre_stretch")
    for name, maker in GALLERY.items():
        bench.snapshot = snapshot = maker()
        bench.draw()
        said = " | ".join(
            label.text() for label in bench.window.findChildren(QLabel) if label.isVisible() and label.accessibleName()
        )
        wanted = [snapshot.sentence.text, number_said(snapshot.number), snapshot.caution, snapshot.recorded]
        wanted += [words.text for words in snapshot.second] + [snapshot.notice.text if snapshot.notice else ""]
        wanted += [snapshot.header.line, snapshot.header.piece, snapshot.header.scale.text, snapshot.header.foot.text]
        wanted += [f"now: {step.label}" for step in snapshot.steps if step.state == "now"] + [snapshot.under]
        for words in wanted:
            assert words in said, name
    for panel in bench.window.findChildren(Panel):
        assert panel.accessibleName()


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_words_of_the_drawing_stay_inside_the_margins(qtbot: QtBot, size: tuple[int, int], mirrored: bool) -> None:
    """Whatever the drawing says, the place to act included, ends where everything else ends, left and right."""
    bench = Bench(qtbot, "pre_stretch", size=size, mirrored=mirrored)
    margin = MARGIN * scale_of(*size)[0]
    for name, maker in GALLERY.items():
        bench.snapshot = maker()
        bench.draw()
        for shown in texts_shown(bench.window):
            if shown.panel == "the line on the bench":
                assert margin - HINTED <= shown.ink.left(), (name, shown.written.text)
                assert shown.ink.right() <= size[0] - margin + HINTED, (name, shown.written.text)


def test_the_trace_goes_and_the_pulls_stay_in_a_small_window(qtbot: QtBot) -> None:
    """At 1280 x 800 the trace is away, while both pulls of a comparison are still shown."""
    small = Bench(qtbot, "pre_stretch", size=(1280, 800))
    assert not small.window.trace.isVisible()
    small.snapshot = GALLERY["comparing"]()
    small.draw()
    assert small.window.pulls.isVisible()


@pytest.mark.parametrize("name", ["marking", "crowded_line", "take_in"])
def test_a_mirrored_bench_is_whole_too(qtbot: QtBot, name: str) -> None:
    """With the canopy at the left the words are still whole and apart, and link and canopy have changed sides."""
    bench = Bench(qtbot, name, mirrored=True)
    whole_and_apart(bench)
    places = {shown.written.text: shown.ink.left() for shown in texts_shown(bench.window)}
    assert places["canopy"] < places["link"]


@pytest.mark.parametrize(("name", "px_per_m", "how"), [
    ("marking", 3600.0, "close up, twice life size"),
    ("marking", 30_000.0, "close up, life size"),
    ("marking", 90_000.0, "close up, not to scale"),
])  # fmt: skip
def test_the_close_up_says_how_large_it_is(qtbot: QtBot, name: str, px_per_m: float, how: str) -> None:
    """The close-up is twice life size where the screen has room for it, and says so where it is not."""
    bench = Bench(qtbot, name, px_per_m=px_per_m)
    assert how in {shown.written.text for shown in texts_shown(bench.window)}
    whole_and_apart(bench)


def test_a_long_strip_of_steps_keeps_now_in_view(qtbot: QtBot) -> None:
    """Wherever the job stands, the step that is now is on show and what is left out at either end is counted."""
    bench = Bench(qtbot, "marking")
    labels = [step.label for step in bench.snapshot.steps]
    for now in range(len(labels)):
        steps = tuple(
            type(step)(step.label, "done" if n < now else "now" if n == now else "to come")
            for n, step in enumerate(bench.snapshot.steps)
        )
        bench.change(steps=steps)
        texts = [shown.written.text for shown in texts_shown(bench.window) if shown.panel == "steps"]
        assert labels[now] in texts
        before = next((int(text.split()[0]) for text in texts if text.endswith(" done")), 0)
        after = next((int(text.split()[0]) for text in texts if text.endswith(" more to come")), 0)
        shown = [text for text in texts if text in labels]
        assert before + len(shown) + after == len(labels)


def test_a_kept_picture_has_the_looks_own_colours(tmp_path: Path) -> None:
    """However many colours a picture has, each of a look is kept as it is, and every other nearly so."""
    own = [ImageColor.getrgb(colour) for colour in OWN]
    drawn = Image.radial_gradient("L").resize((320, 240)).convert("RGB")
    drawn = Image.merge("RGB", (drawn.getchannel(0), drawn.getchannel(1).rotate(90), drawn.getchannel(2).rotate(180)))
    for n, colour in enumerate(own):
        drawn.putpixel((3 * n, 5), colour)  # one pixel of a thousand, as the ceiling's post is
    path = tmp_path / "picture.png"
    drawn.save(path)
    keep_small(path)
    with Image.open(path) as kept:
        assert kept.mode == "P"
        shown = kept.convert("RGB")
    assert [shown.getpixel((3 * n, 5)) for n in range(len(own))] == own
    assert max(high for _, high in ImageChops.difference(drawn, shown).getextrema()) <= 32
