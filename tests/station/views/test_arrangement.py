from __future__ import annotations

from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from station.views.arrangement import Arrangement, Box, Content, arrange, arrange_far, scale_of
from station.views.type_sizes import (
    CAP_SHARE,
    FIGURES,
    INCH_24,
    NUMBER,
    SENTENCE,
    SENTENCE_LEAST,
    cap_height_mm,
    height_for_angle_mm,
)

contents = st.builds(
    Content,
    number=st.booleans(),
    tall_number=st.booleans(),
    long_sentence=st.booleans(),
    gauge=st.booleans(),
    progress=st.booleans(),
    under=st.booleans(),
    card=st.sampled_from([None, "trace", "close-up", "pulls", "list"]),
    drawing=st.booleans(),
)
widths = st.integers(1024, 3840)
heights = st.integers(640, 2160)


def all_boxes(arranged: Arrangement) -> dict[str, Box]:
    """Give every box of an arrangement by name."""
    return {**arranged.boxes, **({"card": arranged.card} if arranged.card else {})}


@given(widths, heights, contents, st.booleans())
def test_nothing_overlaps_and_nothing_leaves_the_window(width: int, height: int, content: Content, far: bool) -> None:
    """Whatever there is to show, near or far and at any size, no two parts share a pixel and none leaves the window."""
    boxes = all_boxes((arrange_far if far else arrange)(width, height, content))
    for (name, box), (other_name, other) in combinations(boxes.items(), 2):
        assert not box.overlaps(other), (name, other_name)
    for name, box in boxes.items():
        assert box.x >= 0, name
        assert box.y >= 0, name
        assert box.right <= width + 1, name
        assert box.bottom <= height + 1, name


@given(widths, heights, contents)
def test_the_window_is_used_from_top_to_bottom(width: int, height: int, content: Content) -> None:
    """The lower bands follow each other without a gap, down to the last row of pixels."""
    boxes = all_boxes(arrange(width, height, content))
    lower = [boxes[name] for name in ("news", "drawing", "steps", "foot") if name in boxes]
    for above, below in pairwise(lower):
        assert abs(above.bottom - below.y) <= 1
    assert abs(lower[-1].bottom - height) <= 1


@given(widths, heights, contents)
def test_the_number_never_gives_way(width: int, height: int, content: Content) -> None:
    """The number keeps the height that its type asks for, and most of the width, whatever stands beside it."""
    arranged = arrange(width, height, content)
    if not content.number:
        assert "number" not in arranged.boxes
        return
    box = arranged.boxes["number"]
    figures = 290 if content.tall_number else NUMBER.size * CAP_SHARE
    assert box.height >= figures * arranged.scale - 1
    assert box.width >= 1080 * arranged.scale - 1


@given(widths, heights, contents)
def test_what_is_there_to_show_has_a_place(width: int, height: int, content: Content) -> None:
    """Each part that is there has a place; a small window leaves out the trace, and the gauge that a card repeats."""
    arranged = arrange(width, height, content)
    _, is_wide = scale_of(width, height)
    assert (arranged.card is not None) == (content.card is not None and (is_wide or content.card != "trace"))
    assert ("gauge" in arranged.boxes) == (content.gauge and (is_wide or content.card != "pulls"))
    for name in ("progress", "under"):
        assert (name in arranged.boxes) == getattr(content, name)


def test_the_sketch_is_kept_at_full_size() -> None:
    """At 1920 x 1080 the scale is 1, the trace stands beside the number, and the three bands lie as sketched."""
    arranged = arrange(1920, 1080, Content(gauge=True, progress=True, card="trace"))
    assert arranged.scale == 1.0
    assert arranged.card is not None
    assert arranged.card.x >= arranged.boxes["number"].right
    assert arranged.boxes["drawing"].y > arranged.boxes["progress"].bottom
    assert arranged.boxes["steps"].y >= arranged.boxes["drawing"].bottom


def test_a_small_window_keeps_the_number_large() -> None:
    """At 1280 x 800 the number is larger than a plain scaling of the full window would make it."""
    small = arrange(1280, 800, Content(gauge=True, progress=True, card="trace"))
    assert small.card is None
    assert small.scale > 1280 / 1920


def test_sentence_and_number_are_read_at_two_metres() -> None:
    """On a 24-inch screen the sentence stands above 20 minutes of arc at two metres, the number above three times."""
    asked_mm = height_for_angle_mm(20, 2000)
    assert cap_height_mm(SENTENCE.size, 1.0, INCH_24) >= asked_mm
    assert cap_height_mm(SENTENCE_LEAST, 1.0, INCH_24) >= asked_mm
    assert cap_height_mm(NUMBER.size, 1.0, INCH_24) >= 3 * asked_mm
    assert cap_height_mm(FIGURES.size, 1.0, INCH_24) >= 3 * asked_mm


@given(widths, heights, contents)
def test_from_afar_little_remains_and_all_of_it_is_larger(width: int, height: int, content: Content) -> None:
    """From afar no card, gauge, step or caution remains, and sentence and number are drawn larger."""
    far = arrange_far(width, height, content)
    assert far.card is None
    assert set(far.boxes) <= {"switches", "sentence", "number", "progress", "drawing"}
    assert ("number" in far.boxes) == content.number
    assert far.scale_at("sentence") >= 1.5 * far.scale
    if content.number:
        assert far.scale_at("number") >= 1.15 * far.scale
