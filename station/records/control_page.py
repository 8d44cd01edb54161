"""A control chart on paper: its picture, then every figure with its conditions; the same bytes for the same figures.

>>> from station.measuring.control import control
>>> from station.records.control_picture import layout
>>> found = control([0.01, 0.0, 0.02])
>>> draw = lambda width: layout(found, "demo", "Not known.", ["", "", ""], "share", str, str, [], "", on_paper=width)
>>> control_page([("demo", draw, [("1", "26-0001", "piece 12", "1 %", "", "")])])[:5]
b'%PDF-'
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from reportlab.platypus import Flowable, PageBreak

from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import Picture
from station.measuring.control import D4, E2
from station.records.paper import PAPERS, listed
from station.records.picture_page import Drawn, filed, room
from station.settings.preferences import Paper

_HEADS = ("No.", "Job", "Of", "Figure", "When, entry", "Made in")
_SHARES = (0.05, 0.09, 0.12, 0.13, 0.19, 0.42)

Rows = Sequence[Sequence[str]]
Chart = tuple[str, Callable[[float], Picture], Rows]


def control_page(charts: Sequence[Chart], paper: Paper = "letter") -> bytes:
    """Give charts as the bytes of a PDF, each with its name, its picture laid out for a width, and its figures."""
    width, tallest = room(PAPERS[paper])
    story: list[Flowable] = []
    for n, (name, draw, rows) in enumerate(charts):
        story += [PageBreak()] if n else []
        story.append(Drawn(draw, width, tallest))
        story += listed(f"Every figure: {name}", _HEADS, _SHARES, rows, width)
    limits = f"Limits: mean ± {E2:.3f} mean range; range limit: {D4:.3f} mean range."
    return filed(story, "Control charts", [COMES_FIRST, limits], PAPERS[paper])
