"""The guide's picture of why a trapped line gets shorter, drawn from the same formulas that the plan uses.

Three parts: one yarn of the braid unrolled, empty and full; the two packings in section; and the shortening of a line
in its like against the braid's angle, with the 3/8 in of common practice for traps of 4, 5 and 6 in.

    python -m station.linework.braid_picture docs/pictures/shortening.svg

>>> picture = braid_picture()
>>> picture == braid_picture(), "54.7" in picture
(True, True)
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path

from station.linework.braid import BraidShortening, shortening_of_braid
from station.linework.chart import Axes, Scale, diamond
from station.linework.svg_page import EDGE, WIDTH, Page

COMMON_PRACTICE_IN = 3 / 8
TRAPS_IN = (4, 5, 6)
_SHOWN_ANGLE_DEG = 25.0  # steeper than most lines, so that the change can be seen
_LARGEST_SHOWN = 0.14


def braid_picture() -> str:
    """Draw the picture as SVG."""
    page = Page("light")
    page.heading("Why a trapped line gets shorter", "a line inside its like; a model of the braid, not a measurement")
    top = page.y + 20
    _unrolled(page, top)
    _sections(page, 615.0, top)
    _curves(page, top + 300)
    page.y = top + 300 + 470
    return page.written(
        "Why a trapped line gets shorter", "A yarn unrolled, two packings in section, shortening by angle"
    )


def angle_of_common_practice_deg(trap_in: float) -> float:
    """Give the braid angle in degrees at which the first value for a trap is the 3/8 in of common practice."""
    return _angle_where(lambda found: found.first_value, COMMON_PRACTICE_IN / trap_in)


def _angle_where(value: Callable[[BraidShortening], float | None], wanted: float) -> float:
    """Give the angle in degrees, by halving, at which a line in its like has a shortening that grows with the angle."""
    low, high = 0.1, 45.0
    for _ in range(60):
        middle = (low + high) / 2
        found = value(shortening_of_braid(math.radians(middle)))
        low, high = (middle, high) if found is not None and found < wanted else (low, middle)
    return (low + high) / 2


def _unrolled(page: Page, top: float) -> None:
    """Draw one turn of one yarn, unrolled, empty and around a guest: the same length, wider, so shorter."""
    colours, left, foot, yarn = page.colours, EDGE + 10.0, top + 228.0, 330.0
    empty_rad = math.radians(_SHOWN_ANGLE_DEG)
    full_rad = shortening_of_braid(empty_rad).thin_tube.angle_after_rad or empty_rad
    page.text(EDGE, top + 8, "one turn of one yarn, unrolled: its length stays", 16, colours.ink, bold=True)
    page.stroke(f"M{left:.2f} {foot:.2f}h{yarn * math.cos(empty_rad):.2f}", colours.soft, 2)
    for name, angle_rad, colour, dashes in (
        ("empty", empty_rad, colours.soft, "7 5"),
        ("full", full_rad, colours.act, ""),
    ):
        x, y = left + yarn * math.cos(angle_rad), foot - yarn * math.sin(angle_rad)
        page.stroke(f"M{left:.2f} {foot:.2f}L{x:.2f} {y:.2f}V{foot:.2f}", colour, 3, dashes)
        page.text(x + 14, y + 14, f"{name}: {math.degrees(angle_rad):.1f} deg", 14, colour)
        page.stroke(f"M{x:.2f} {foot + 7:.2f}v14", colours.act, 2)
    full_x, empty_x = left + yarn * math.cos(full_rad), left + yarn * math.cos(empty_rad)
    page.stroke(f"M{full_x:.2f} {foot + 14:.2f}H{empty_x:.2f}", colours.act, 2)
    page.text(empty_x + 14, foot + 19, "shorter", 14, colours.act, bold=True)
    page.text(left, foot + 22, "along the line", 14, colours.soft)


def _sections(page: Page, left: float, top: float) -> None:
    """Draw both packings in section, to one scale: the host shaded, its guest in outline."""
    colours, unit, middle = page.colours, 46.0, top + 130.0
    found = shortening_of_braid(math.radians(_SHOWN_ANGLE_DEG))
    page.text(left, top + 8, "the host in section, empty and full", 16, colours.ink, bold=True)

    def ring(x: float, outer: float, inner: float, guest: float = 0.0) -> None:
        width = (outer - inner) * unit
        page.parts.append(
            f'<circle cx="{x:.2f}" cy="{middle:.2f}" r="{(outer + inner) / 2 * unit:.2f}" fill="none" '
            f'stroke="{colours.act}" stroke-opacity="0.45" stroke-width="{width:.2f}"/>'
        )
        if guest:
            page.parts.append(
                f'<circle cx="{x:.2f}" cy="{middle:.2f}" r="{guest * unit - 1.5:.2f}" fill="none" '
                f'stroke="{colours.lines[0]}" stroke-width="3" stroke-dasharray="5 5"/>'
            )

    tube, disc = found.thin_tube.swelling, found.closed_disc.swelling
    ring(left + 50, 1.0, 0.94)
    ring(left + 185, tube, tube - 0.06, 1.0)
    ring(left + 340, 1.0, 0.0)
    ring(left + 475, math.sqrt(2), 1.0, 1.0)
    for x, name, swelling in ((left, "thin tube", tube), (left + 290, "closed disc", disc)):
        page.text(x, middle + 98, name, 15, colours.ink, bold=True)
        page.text(x, middle + 118, f"the yarns' circle swells {swelling:.2f} times", 14, colours.ink)
    for x in (left + 100, left + 390):
        page.stroke(f"M{x:.2f} {middle:.2f}h10l-5 -4m5 4l-5 4", colours.soft, 2)


def _curves(page: Page, top: float) -> None:
    """Draw the shortening against the angle, between both packings, with what common practice allows."""
    colours = page.colours
    x_scale = Scale(tuple((float(n), f"{n} deg") for n in range(6, 23, 2)))
    y_scale = Scale(tuple((n / 100, f"{n / 100:.2f}") for n in range(0, round(100 * _LARGEST_SHOWN) + 1, 2)))
    box = EDGE + 50, top + 40, WIDTH - 2 * EDGE - 250, 360.0
    axes = Axes(
        page, box, x_scale, y_scale, ("angle of the braid, pulled and empty", "shortening, as a share of the trap")
    )

    def curve(value: Callable[[BraidShortening], float | None]) -> list[tuple[float, float]]:
        last = min(_angle_where(value, _LARGEST_SHOWN), x_scale.high)
        angles = [x_scale.low + n / 60 * (last - x_scale.low) for n in range(61)]
        return [(angle, value(shortening_of_braid(math.radians(angle))) or 0.0) for angle in angles]

    tube = curve(lambda found: found.thin_tube.shortening)
    disc = curve(lambda found: found.closed_disc.shortening)
    first = curve(lambda found: found.first_value)
    axes.band(tube, [*disc, (x_scale.high, _LARGEST_SHOWN)], colours.act)
    axes.line(tube, colours.act, 1.5, "6 5")
    axes.line(disc, colours.act, 1.5, "6 5")
    axes.line(first, colours.act, 3)
    right = box[0] + box[2] + 12
    page.text(axes.x(20.6), axes.y(0.07), "thin tube", 14, colours.act)
    page.text(axes.x(disc[-1][0]), box[1] - 10, "closed disc", 14, colours.act, "middle")
    page.text(axes.x(first[-1][0]), box[1] - 10, "first value", 14, colours.act, "middle", bold=True)
    for trap in TRAPS_IN:
        share, angle = COMMON_PRACTICE_IN / trap, angle_of_common_practice_deg(trap)
        y = axes.y(share)
        page.stroke(f"M{box[0]:.2f} {y:.2f}H{box[0] + box[2]:.2f}", colours.ink, 1.5, "2 5", cap="butt")
        diamond(page, axes.x(angle), y, colours.ink)
        page.text(axes.x(angle) - 14, y - 8, f"{angle:.1f} deg", 14, colours.ink, "end", bold=True)
        page.text(right, y + 5, f"3/8 in for a trap of {trap} in", 14, colours.ink)
    page.text(
        box[0],
        top + 40 + 360 + 60,
        "3/8 in for one trap: common practice, no source. Past 54.7 deg inside, a braid is locked.",
        14,
        colours.soft,
    )


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(braid_picture(), encoding="utf-8")
