"""Where everything stands in the window: pure layout, from the size of the window and what there is to show.

Three bands, as a person looks: what to do now with the number that matters; the line on the bench; the steps with the
caution. Right of the number stands one card. In a small window it is narrower and as tall as the number alone, and the
trace goes away: the gauge and the bar say the same. The number never gives way.

From afar only the sentence, the number, the time held and the drawing remain, each far larger.

Reference pixels are those of a window of 1920 x 1080; boxes are in pixels of the window.

>>> at = arrange(1920, 1080, Content(gauge=True, progress=True, card="trace"))
>>> at.scale, at.card is not None, at.boxes["number"].height >= 220 * 0.75
(1.0, True, True)
>>> small = arrange(1280, 800, Content(gauge=True, progress=True, card="trace"))
>>> round(small.scale, 3), small.card
(0.741, None)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Place = Literal[
    "header", "switches", "sentence", "number", "gauge", "progress", "under", "news", "drawing", "steps", "foot"
]
CardKind = Literal["trace", "close-up", "pulls", "list", "errors"]

MARGIN = 40.0
_CARD = 640.0
_NARROW = 1700.0  # how wide a small window is, with a card beside a number of full size
_NARROW_CARD = 500.0
_GUTTER = 40.0
_LEAST_SCALE_WIDE = 0.7  # below this the trace gives its room to the number

_HEADER = 78.0
_SENTENCE = 106.0
_SENTENCE_OF_TWO = 150.0
_NUMBER = 206.0
_NUMBER_TALL = 330.0
_NUMBER_TALL_LEAST = 290.0
_GAUGE = 116.0
OVERHANG = 18.0  # a pointer at either end of the scale stands out this far
_PROGRESS = 56.0
_UNDER = 52.0
_BESIDE_CARD = 300.0
_NEWS = 66.0
_STEPS = 74.0
_FOOT = 92.0
_DRAWING = 250.0
_DRAWING_LEAST = 196.0
_DRAWING_VANISHES = 130.0  # lower than this it would show nothing
_TOP = 10.0  # between the sentence and what stands below it
_SWITCHES = 230.0  # the two buttons of the window itself
_FAR_SENTENCE = 1.6  # how much larger things stand when seen from afar
_FAR_PROGRESS = 2.0
_FAR_DRAWING = 1.25
_FAR_NUMBER_MOST = 2.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in pixels."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """Give the first column right of it."""
        return self.x + self.width

    @property
    def bottom(self) -> int:
        """Give the first row below it."""
        return self.y + self.height

    def overlaps(self, other: Box) -> bool:
        """Tell whether two boxes share a pixel."""
        return self.x < other.right and other.x < self.right and self.y < other.bottom and other.y < self.bottom


@dataclass(frozen=True, slots=True)
class Content:
    """What there is to show, as far as it needs room."""

    number: bool = True
    tall_number: bool = False  # a fraction
    long_sentence: bool = False
    gauge: bool = False
    progress: bool = False
    under: bool = False
    card: CardKind | None = None
    drawing: bool = True


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Where each part stands; the card is None where there is none or no room for it.

    `scale` is that of everything, `larger` how much larger than that a part is drawn.
    """

    scale: float
    boxes: Mapping[Place, Box]
    card: Box | None
    larger: Mapping[Place, float] = field(default_factory=dict)

    def scale_at(self, place: Place) -> float:
        """Give the scale at which a part is drawn."""
        return self.scale * self.larger.get(place, 1.0)


def scale_of(width: float, height: float) -> tuple[float, bool]:
    """Give the scale of a window, and whether it is wide enough for the trace."""
    wide, narrow = min(width / 1920, height / 1080), min(width / _NARROW, height / 1080)
    if wide >= _LEAST_SCALE_WIDE or wide >= narrow:
        return wide, True
    return narrow, False


def arrange(width: int, height: int, content: Content) -> Arrangement:
    """Lay out a window of so many pixels."""
    scale, is_wide = scale_of(width, height)
    wide, tall = width / scale, height / scale  # of the window, in reference pixels
    sentence = _SENTENCE_OF_TWO if content.long_sentence else _SENTENCE
    has_card = content.card is not None and (is_wide or content.card != "trace")
    rows = _rows(content)
    if not is_wide and content.card == "pulls":
        rows.pop("gauge", None)  # the card shows the same pull
    if has_card and not is_wide and content.number:
        rows["number"] = max(rows["number"], _BESIDE_CARD)
    free = tall - (_HEADER + sentence + _TOP + _NEWS + _STEPS + _FOOT) - sum(rows.values())
    drawing = min(free, _DRAWING + 0.12 * max(0.0, free - _DRAWING)) if content.drawing else 0.0
    if content.drawing and content.tall_number and drawing < _DRAWING_LEAST:  # a fraction has a little room to give
        drawing = min(_DRAWING_LEAST, free + _NUMBER_TALL - _NUMBER_TALL_LEAST)
    if content.drawing and not has_card and not content.number:  # then the drawing is what there is to look at
        drawing = free
    if drawing < _DRAWING_VANISHES:
        drawing = 0.0
    if content.number:
        rows["number"] += free - drawing

    full = wide - 2 * MARGIN
    beside = _CARD if is_wide else _NARROW_CARD
    column = full - beside - _GUTTER if has_card and content.number else full

    def box(x: float, y: float, across: float, down: float) -> Box:
        left, top = round(x * scale), round(y * scale)
        return Box(left, top, round((x + across) * scale) - left, round((y + down) * scale) - top)

    boxes: dict[Place, Box] = {"header": box(0, 0, wide, _HEADER), "sentence": box(MARGIN, _HEADER, full, sentence)}
    top = _HEADER + sentence + _TOP
    bottom = tall - (_NEWS + drawing + _STEPS + _FOOT)
    y = column_top = top if content.number else bottom - sum(rows.values())
    for place, down in rows.items():
        across = column if is_wide or place == "number" else full
        out = OVERHANG if place == "gauge" else 0.0
        boxes[place] = box(MARGIN - out, y, across + 2 * out, down)
        y += down
    card: Box | None = None
    if has_card and not content.number:  # then the card is what there is to look at
        card = box(MARGIN, top, full, column_top - top)
    elif has_card:
        card = box(wide - MARGIN - beside, top, beside, bottom - top if is_wide else rows["number"])
    y = bottom
    lower: tuple[tuple[Place, float], ...] = (("news", _NEWS), ("drawing", drawing), ("steps", _STEPS), ("foot", _FOOT))
    for place, down in lower:
        if down > 0:
            boxes[place] = box(0, y, wide - _SWITCHES if place == "steps" else wide, down)
        y += down
    boxes["switches"] = box(wide - _SWITCHES, tall - _FOOT - _STEPS, _SWITCHES, _STEPS)
    return Arrangement(scale, boxes, card)


def sentence_width(width: int, height: int, far: bool) -> tuple[float, float]:
    """Give the scale and the width in pixels of the sentence's panel, whatever else there is to show."""
    scale, _ = scale_of(width, height)
    if far:
        return scale * _FAR_SENTENCE, width - (2 * MARGIN + _SWITCHES) * scale
    return scale, width - 2 * MARGIN * scale


def arrange_far(width: int, height: int, content: Content) -> Arrangement:
    """Lay out a window that is looked at from afar.

    >>> far = arrange_far(1920, 1080, Content(gauge=True, progress=True, card="trace"))
    >>> sorted(far.boxes), far.card, round(far.scale_at("number"), 1) >= 1.5
    (['drawing', 'number', 'progress', 'sentence', 'switches'], None, True)
    """
    scale, _ = scale_of(width, height)
    wide, tall = width / scale, height / scale
    sentence = (_SENTENCE_OF_TWO if content.long_sentence else _SENTENCE) * _FAR_SENTENCE
    progress = _PROGRESS * _FAR_PROGRESS if content.progress and content.number else 0.0
    drawing = _DRAWING * _FAR_DRAWING if content.drawing else 0.0
    number = tall - 2 * _TOP - sentence - progress - drawing if content.number else 0.0
    if content.drawing and not content.number:  # then the drawing is what there is to look at
        drawing = tall - 2 * _TOP - sentence
    least = _NUMBER_TALL_LEAST if content.tall_number else _NUMBER
    if content.number and number < least * 1.3 and drawing:  # the number never gives way
        drawing = max(_DRAWING_VANISHES, drawing - (least * 1.3 - number))
        number = tall - 2 * _TOP - sentence - progress - drawing

    def box(x: float, y: float, across: float, down: float) -> Box:
        left, top = round(x * scale), round(y * scale)
        return Box(left, top, round((x + across) * scale) - left, round((y + down) * scale) - top)

    full = wide - 2 * MARGIN
    boxes: dict[Place, Box] = {
        "switches": box(wide - _SWITCHES, 0, _SWITCHES, _HEADER),
        "sentence": box(MARGIN, _TOP, full - _SWITCHES, sentence),
    }
    y = _TOP + sentence
    rows: tuple[tuple[Place, float], ...] = (("number", number), ("progress", progress))
    for place, down in rows:
        if down > 0:
            boxes[place] = box(MARGIN, y, full, down)
        y += down
    if drawing > 0:
        boxes["drawing"] = box(0, tall - drawing, wide, drawing)
    larger: dict[Place, float] = {
        "sentence": _FAR_SENTENCE,
        "number": min(_FAR_NUMBER_MOST, number / least),
        "progress": _FAR_PROGRESS,
        "drawing": _FAR_DRAWING,
    }
    return Arrangement(scale, boxes, None, larger)


def _rows(content: Content) -> dict[Place, float]:
    """Give the rows of the column under the sentence with the least height of each, from the top."""
    rows: dict[Place, float] = {}
    if content.number:
        rows["number"] = _NUMBER_TALL if content.tall_number else _NUMBER
    if content.gauge:
        rows["gauge"] = _GAUGE
    if content.progress:
        rows["progress"] = _PROGRESS
    if content.under:
        rows["under"] = _UNDER
    return rows
