"""How large things are set, and from how far they can be read.

Sizes are in pixels at 1920 x 1080 and grow and shrink with the window. At two metres on a 24-inch screen of that many
pixels the sentence's capitals stand above 20 minutes of arc and the number's figures above three times that.

>>> round(height_for_angle_mm(20, 2000), 2)
11.64
>>> cap_height_mm(SENTENCE.size, 1.0, INCH_24) > height_for_angle_mm(20, 2000)
True
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CAP_SHARE = 0.75  # of the type size: the height of B612's capitals and figures, from the font's own tables


@dataclass(frozen=True, slots=True)
class Style:
    """A size in pixels at 1920 x 1080, and whether it is bold."""

    size: float
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Screen:
    """A screen as it hangs on the wall: its width in millimetres and in pixels."""

    width_mm: float
    width_px: int


INCH_24 = Screen(531.4, 1920)  # 24 in across, 16:9

NUMBER = Style(220, bold=True)
FIGURES = Style(170, bold=True)  # one of the two figures of a fraction: 300 px over both, with the bar between
UNIT = Style(80)
SENTENCE = Style(68, bold=True)
SENTENCE_LEAST = 57.0  # what still stands above 20 minutes of arc at two metres on a 24-inch screen
SECOND = Style(40)
SECOND_STRONG = Style(40, bold=True)
SECOND_ACT = Style(56, bold=True)
UNDER = Style(34)
TITLE = Style(36, bold=True)
STEP = Style(34)
STEP_NOW = Style(34, bold=True)
LABEL = Style(28)
LABEL_STRONG = Style(28, bold=True)
SMALL = Style(26)
SMALL_STRONG = Style(26, bold=True)
PULL = Style(48, bold=True)


def height_for_angle_mm(angle_arcmin: float, distance_mm: float) -> float:
    """Give how high a character must be to fill an angle at a distance: 2 D tan(a/2)."""
    return 2 * distance_mm * math.tan(math.radians(angle_arcmin / 60) / 2)


def cap_height_mm(size: float, scale: float, screen: Screen) -> float:
    """Give how high the capitals and figures of a reference size stand on a screen, in a window at `scale`."""
    return size * scale * CAP_SHARE * screen.width_mm / screen.width_px
