"""The pieces of which invented moments at an invented bench are made."""

from __future__ import annotations

from functools import cache

import numpy as np

from station.bench.snapshot import DrawingState, Gauge, Header, LengthNumber, StepMark, TraceCard, Words
from station.linework.drawing import LineDrawing, layout
from station.linework.line_plan import make_plan
from station.settings.plan import (
    CanopyEnd,
    HeightMark,
    Joint,
    LineSettings,
    LinkEnd,
    MidLoop,
    PlanSettings,
    ShrinkageSettings,
)
from station.units import stacked_length

INCH = 0.0254
PULLING = "Pull with a handle, never wrap line round a hand. Ease off, never let go."
TAP = "Tap when the mark is made. Long press to go back."
HEADER = Header(
    "Centre A, left", "piece 12", "Teasel 190", "step 4 of 23", Words("scale checked today, ±0.12 lbf", "quiet"),
    Words("foot ready", "quiet"),
)  # fmt: skip
GAUGE = Gauge(30.1, "lbf", 60, 28, 45, 28.4, 44.6, 60)
LABELS = (
    "cut A, piece 12", "link loop", "set link loop", "pre-stretch", "link, grommet, attachment", "pull 10 pounds",
    "mark link loop", "mark where B enters", "cut B, piece 13", "trap B, 5 in", "pre-stretch B", "set it",
    "mark B at the canopy", "trap B at the canopy", "compare B", "take in B", "mark A at the canopy",
    "trap A at the canopy", "compare A", "trial tack", "sew", "checks", "sign off",
)  # fmt: skip


@cache
def drawing(known: bool = True) -> LineDrawing:
    """Lay out a main line with one cascade, its lengths known or not."""
    lengths = (120 * INCH, 75 * INCH) if known else (None, None)
    main = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 1 * INCH), lengths[0])
    branch = LineSettings("B", Joint("A", 48 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 0, 1.25 * INCH), lengths[1])
    shrinkage = ShrinkageSettings(0.0625, 0.01)
    return layout(
        make_plan(PlanSettings("plan.toml", "centre A", 44.48, INCH / 2, (main, branch), shrinkage=shrinkage))
    )


@cache
def looped() -> LineDrawing:
    """Lay out a lower control line: a brake loop above its link end's trap, and a mark for the toggle."""
    loop = MidLoop("brake loop", 18 * INCH, 1.5 * INCH, 4 * INCH, "running end")
    line = LineSettings(
        "lower control",
        LinkEnd(INCH, 17 * INCH),
        CanopyEnd(5 * INCH),
        80 * INCH,
        loops=(loop,),
        marks=(HeightMark("toggle", 60 * INCH),),
    )
    shrinkage = ShrinkageSettings(0.0625, 0.01)
    return layout(make_plan(PlanSettings("plan.toml", "lower control", 44.48, INCH / 2, (line,), shrinkage=shrinkage)))


@cache
def three() -> LineDrawing:
    """Lay out three lines in one cascade, the outermost with a loop of its own piece and two marks."""
    main = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 1 * INCH), 120 * INCH)
    branch = LineSettings("B", Joint("A", 48 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 0, 1.25 * INCH), 75 * INCH)
    loop = MidLoop("loop", 30 * INCH, 2 * INCH, 4 * INCH)
    marks = (HeightMark("grommet", 20 * INCH), HeightMark("stop", 44 * INCH))
    upper = LineSettings(
        "C", Joint("A", 60 * INCH, 5 * INCH), CanopyEnd(5 * INCH), 58 * INCH, loops=(loop,), marks=marks
    )
    shrinkage = ShrinkageSettings(0.0625, 0.01)
    lines = (main, branch, upper)
    return layout(make_plan(PlanSettings("plan.toml", "three", 44.48, INCH / 2, lines, shrinkage=shrinkage)))


@cache
def crowded() -> LineDrawing:
    """Lay out a main line that carries four cascades, one of them a cascade of its own."""
    main = LineSettings("A", LinkEnd(1.5 * INCH, 5 * INCH), CanopyEnd(5 * INCH, 1 * INCH), 180 * INCH)
    lines = [main]
    for name, joins, at, length in (
        ("B", "A", 60, 110), ("C", "A", 80, 92), ("D", "A", 100, 70), ("D2", "D", 30, 38), ("E", "A", 120, 48),
    ):  # fmt: skip
        lines.append(LineSettings(name, Joint(joins, at * INCH, 5 * INCH), CanopyEnd(5 * INCH, 0, INCH), length * INCH))
    shrinkage = ShrinkageSettings(0.0625, 0.01)
    return layout(make_plan(PlanSettings("plan.toml", "rear", 44.48, INCH / 2, tuple(lines), shrinkage=shrinkage)))


def steps(now: int) -> tuple[StepMark, ...]:
    """Give the strip of steps with the one at `now` being done."""
    return tuple(
        StepMark(label, "done" if place < now else "now" if place == now else "to come")
        for place, label in enumerate(LABELS)
    )


def trace(rate_hz: int = 80, held: float | None = 18, gap: bool = False, level: float = 30.0) -> TraceCard:
    """Give a minute of pull: up to the band and slowly relaxing, with or without a gap."""
    ago = np.linspace(-60, 0, 60 * rate_hz + 1)
    rise = np.clip((ago + 54) / 4, 0, 1) * (level + 3)
    fallen = np.where(ago > -50, 0.75 * np.log1p(np.maximum(ago + 50, 0) * 2), 0)
    tension = (rise - fallen) * (level > 0) + 0.12 * np.sin(ago * 7) + 0.05 * np.sin(ago * 131)
    tension = np.where(ago < -54, 0.05 * np.sin(ago * 9), tension)
    joined = np.ones(len(ago), bool)
    joined[0] = False
    if gap:
        kept = (ago < -26) | (ago > -21)
        ago, tension, joined = ago[kept], tension[kept], joined[kept]
        joined[np.searchsorted(ago, -21)] = False
    span = None if held is None else (-held, 0.0)
    forecast = ((0.0, float(tension[-1])), (9.0, 28.0)) if held else None
    return TraceCard(ago, tension, joined, "lbf", 60, 70, 28, 45, 28.4, 44.6, 60, span, forecast)


def state(
    made: tuple[str, ...] = (), here: str | None = None, mark: str | None = None, sewn: tuple[str, ...] = ()
) -> DrawingState:
    """Give how far the line on the bench is made."""
    return DrawingState(drawing(), frozenset(made), frozenset(sewn), here, mark)


def length(metres: float) -> LengthNumber:
    """Give a length as a number to show."""
    return LengthNumber(stacked_length(metres), None)
