"""A control chart on paper: its picture, then every figure with its conditions; the same bytes for the same figures.

>>> from station.measuring.control import control
>>> from station.records.control_picture import layout
>>> found = control([0.01, 0.0, 0.02])
>>> picture = layout(found, "demo", "Not known.", ["", "", ""], "share", str, str, [], "")
>>> control_page([("demo", picture, [("1", "26-0001", "piece 12", "1 %", "", "")])])[:5]
b'%PDF-'
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import partial

from reportlab.lib import pagesizes
from reportlab.platypus import Flowable, PageBreak

from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import Picture
from station.measuring.control import D4, E2
from station.records.paper import FOOT, MARGIN, TOP, NumberedCanvas, dated, listed, load_fonts, on_pages
from station.records.set_page import Drawn

_HEADS = ("No.", "Job", "Of", "Figure", "When, entry", "Made in")
_SHARES = (0.05, 0.09, 0.12, 0.13, 0.19, 0.42)
_TALLEST = 0.97

Rows = Sequence[Sequence[str]]


def control_page(charts: Sequence[tuple[str, Picture, Rows]], paper: tuple[float, float] = pagesizes.A4) -> bytes:
    """Give charts as the bytes of a PDF, each with its name, its picture and its figures as rows."""
    load_fonts()
    file = io.BytesIO()
    width, height = paper[0] - 2 * MARGIN, paper[1] - TOP - FOOT
    document = on_pages(file, paper, "Control charts")
    story: list[Flowable] = []
    for n, (name, picture, rows) in enumerate(charts):
        story += [PageBreak()] if n else []
        story.append(Drawn(picture, width, _TALLEST * height))
        story += listed(f"Every figure: {name}", _HEADS, _SHARES, rows, width)
    limits = f"Limits: mean ± {E2:.3f} mean range; range limit: {D4:.3f} mean range."
    document.build(story, canvasmaker=partial(NumberedCanvas, [COMES_FIRST, limits], "Control charts", dated("")))
    return file.getvalue()
