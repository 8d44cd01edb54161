"""The shop's trials as a picture: each trial, the line through them, and where 95 of 100 new traps fall.

`plot` gives what is to be drawn, in metres, and `placed` where it goes in a box, for a window or a record; `svg` draws
it as a picture that needs nothing beside it. A suspect trial is a diamond with its row beside it, the others are rings.
Nothing is left out: of trials that would fall on the same spot of the picture one is drawn.

>>> from station.linework.shrinkage import estimate
>>> trials = [Trial(trap, 0.06 * trap + error) for trap, error in ((0.1, 1e-4), (0.12, -2e-4), (0.15, 1e-4))]
>>> found = plot(trials, estimate(trials))
>>> found.n, found.points[0].trap_m, found.curve[-1].trap_m >= 0.15
(3, 0.1, True)
>>> picture = svg(found, "trials.csv")
>>> picture.count("<circle"), "3 trials" in picture
(4, True)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from station.linework.chart import Axes, Scale, diamond, key, length_scale, ring
from station.linework.placing import text_width
from station.linework.plan_words import COMES_FIRST
from station.linework.shrinkage import Estimate, Shrinkage, Trial, share_text
from station.linework.svg_page import EDGE, WIDTH, Look, Page
from station.units import LengthSystem, length_text

TITLES = "length of the trap", "how much the host got shorter"
SUSPECT = "look again: far from the others; it still counts, in the band too"
WITHIN = "95 of 100 new traps"
Point = tuple[float, float]

_SAMPLES = 48
_HEIGHT = 520.0
_ROW_SIZE = 15.0
_LONGEST_TRAP_WITHOUT_TRIALS_M = 0.2032  # 8 in


@dataclass(frozen=True)
class PlottedTrial:
    """One trial, with its row in the file and whether to look at it again."""

    trap_m: float
    shortening_m: float
    row: int
    suspect: bool


@dataclass(frozen=True)
class PlottedAllowance:
    """What is allowed for a trap, and where 95 of 100 such traps fall; None where that is not known."""

    trap_m: float
    shortening_m: float
    within_m: tuple[float, float] | None


@dataclass(frozen=True)
class TrialPlot:
    """What is to be drawn: trials, and the allowance sampled from no trap on to past the longest tried."""

    points: tuple[PlottedTrial, ...]
    curve: tuple[PlottedAllowance, ...]
    estimate: Estimate

    @property
    def n(self) -> int:
        """Give how many trials there are."""
        return len(self.points)


def plot(trials: Sequence[Trial], found: Estimate) -> TrialPlot:
    """Give the picture of an estimate from `trials`; suspects are rows of `trials`, from 1."""
    suspects = set(found.suspects)
    points = tuple(
        PlottedTrial(each.trap_m, each.shortening_m, each.row or number, number in suspects)
        for number, each in enumerate(trials, 1)
    )
    longest_m = 1.1 * max((each.trap_m for each in trials), default=_LONGEST_TRAP_WITHOUT_TRIALS_M)
    known = found.shrinkage
    curve = tuple(
        PlottedAllowance(trap_m, known.allowance_m(trap_m), known.allowance_95_m(trap_m))
        for trap_m in (longest_m * n / _SAMPLES for n in range(_SAMPLES + 1))
    )
    return TrialPlot(points, curve, found)


def scales(picture: TrialPlot, system: LengthSystem) -> tuple[Scale, Scale]:
    """Give the scales of trap length and of shortening, which hold all that is drawn."""
    shortenings_m = [point.shortening_m for point in picture.points]
    for each in picture.curve:
        shortenings_m += [each.shortening_m, *(each.within_m or ())]
    return (
        length_scale(0.0, picture.curve[-1].trap_m, system),
        length_scale(min(0.0, *shortenings_m), max(shortenings_m), system),
    )


@dataclass(frozen=True)
class PlacedPlot:
    """Where the parts of a plot lie in a box, y counted downward: ticks with labels, curves, rings, suspects and rows.

    `lows` and `highs` bound where 95 of 100 new traps fall; they are empty where that is not known.
    """

    x_ticks: tuple[tuple[float, str], ...]
    y_ticks: tuple[tuple[float, str], ...]
    middle: tuple[Point, ...]
    lows: tuple[Point, ...]
    highs: tuple[Point, ...]
    rings: tuple[Point, ...]
    suspects: tuple[tuple[Point, int], ...]


def placed(picture: TrialPlot, box: tuple[float, float, float, float], system: LengthSystem) -> PlacedPlot:
    """Place a plot in a box of left, top, width and height; of trials on one spot one ring is left."""
    left, top, width, height = box
    along, up = scales(picture, system)

    def at(trap_m: float, shortening_m: float) -> Point:
        return (
            left + (trap_m - along.low) / (along.high - along.low) * width,
            top + (up.high - shortening_m) / (up.high - up.low) * height,
        )

    rings = [at(each.trap_m, each.shortening_m) for each in picture.points if not each.suspect]
    known = [(each.trap_m, each.within_m) for each in picture.curve if each.within_m is not None]
    return PlacedPlot(
        x_ticks=tuple((at(value, 0.0)[0], label) for value, label in along.ticks),
        y_ticks=tuple((at(0.0, value)[1], label) for value, label in up.ticks),
        middle=tuple(at(each.trap_m, each.shortening_m) for each in picture.curve),
        lows=tuple(at(trap_m, within_m[0]) for trap_m, within_m in known),
        highs=tuple(at(trap_m, within_m[1]) for trap_m, within_m in known),
        rings=tuple({(round(x), round(y)): (x, y) for x, y in rings}.values()),
        suspects=tuple((at(each.trap_m, each.shortening_m), each.row) for each in picture.points if each.suspect),
    )


def svg(picture: TrialPlot, name: str, *, look: Look = "light", system: LengthSystem = "imperial") -> str:
    """Draw trials as SVG; `name` says whose they are."""
    page = Page(look)
    colours = page.colours
    known = picture.estimate.shrinkage
    page.heading(name, sentence(picture, system))
    box = EDGE + 70, page.y + 46, WIDTH - 2 * EDGE - 90, _HEIGHT
    axes = Axes(page, box, *scales(picture, system), TITLES)
    lows = [(each.trap_m, each.within_m[0]) for each in picture.curve if each.within_m is not None]
    highs = [(each.trap_m, each.within_m[1]) for each in picture.curve if each.within_m is not None]
    if lows:
        axes.band(lows, highs, colours.act)
        axes.line(lows, colours.act, 1.5, "6 5")
        axes.line(highs, colours.act, 1.5, "6 5")
    axes.line([(each.trap_m, each.shortening_m) for each in picture.curve], colours.act, 3)
    places = placed(picture, box, system)
    for x, y in places.rings:
        ring(page, x, y, colours.ink)
    for (x, y), row in places.suspects:
        diamond(page, x, y, colours.ink)
        wide = text_width(f"row {row}", _ROW_SIZE, bold=True)
        page.plate(x - 14 - wide, y - 10, wide + 3, 20)  # over grid and band, which would strike it through
        page.text(x - 14, y + 5, f"row {row}", _ROW_SIZE, colours.ink, "end", bold=True)
    page.y = box[1] + box[3] + 76
    _keys(page, picture, bool(lows), known.coefficient)
    page.y += 34
    page.text(EDGE, page.y, COMES_FIRST, 15, colours.ink)
    return page.written(name, "Trials of a trap's shortening, the line through them and where new traps fall")


def sentence(picture: TrialPlot, system: LengthSystem) -> str:
    """Say what the trials say."""
    n = picture.n
    known = picture.estimate.shrinkage
    said = f"{n} trial{'s' if n != 1 else ''}" if n else "no trials yet: a model of the braid"
    unsure = "how sure is not known"
    if known.standard_uncertainty is not None:
        unsure = f"give or take {share_text(known.standard_uncertainty)}"
    scatter = "" if known.scatter_m is None else f"  ·  {scatter_words(known, system)}"
    return f"{said}: a trap shortens its host by {share_text(known.coefficient)} of its length, {unsure}{scatter}"


def scatter_words(known: Shrinkage, system: LengthSystem) -> str:
    """Say by how much one trap differs from the next, measuring apart; the scatter must be known."""
    if known.scatter_m == 0 and known.standard_uncertainty:
        return "traps scatter by no more than their measuring does"
    return f"one trap scatters by {length_text(known.scatter_m or 0.0, system, 32)}"


def _keys(page: Page, picture: TrialPlot, band: bool, coefficient: float) -> None:
    """Explain the signs used, in one row."""
    colours, x, y = page.colours, EDGE + 76.0, page.y
    if picture.n:
        ring(page, x, y, colours.ink)
        x = key(page, x, y, "a trial")
    if any(point.suspect for point in picture.points):
        diamond(page, x, y, colours.ink)
        x = key(page, x, y, SUSPECT)
    page.stroke(f"M{x - 16:.2f} {y:.2f}h24", colours.act, 3)
    x = key(page, x, y, f"{share_text(coefficient)} of the trap")
    if band:
        page.parts.append(
            f'<rect x="{x - 16:.2f}" y="{y - 8:.2f}" width="24" height="16" fill="{colours.act}" fill-opacity="0.16" '
            f'stroke="{colours.act}" stroke-width="1.5" stroke-dasharray="6 5"/>'
        )
        key(page, x, y, WITHIN)
