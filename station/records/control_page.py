"""A control chart on paper: its picture, then every figure with its conditions; the same bytes for the same figures.

>>> from station.measuring.control import control
>>> from station.records.control_picture import layout
>>> found = control([0.01, 0.0, 0.02])
>>> picture = layout(found, "demo", "Not known.", ["", "", ""], "share", str, str, [], "")
>>> control_page([("demo", "Not known.", picture, [("1", "26-0001", "piece 12", "1 %", "", "")])])[:5]
b'%PDF-'
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import partial

from reportlab.lib import pagesizes
from reportlab.platypus import Flowable, PageBreak, SimpleDocTemplate

from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import Picture
from station.records.paper import FOOT, MARGIN, TOP, NumberedCanvas, dated, listed, load_fonts, plain
from station.records.set_page import Drawn

_HEADS = ("No.", "Job", "Of", "Figure", "When, entry", "Made in")
_SHARES = (0.05, 0.09, 0.16, 0.13, 0.19, 0.38)
_TALLEST = 0.97
_PADDING = 6.0

Rows = Sequence[Sequence[str]]


def control_page(charts: Sequence[tuple[str, str, Picture, Rows]], paper: tuple[float, float] = pagesizes.A4) -> bytes:
    """Give charts as the bytes of a PDF, each with its name, its verdict, its picture and its figures as rows."""
    load_fonts()
    file = io.BytesIO()
    width, height = paper[0] - 2 * MARGIN, paper[1] - TOP - FOOT
    title = f"Control: {', '.join(name for name, *_ in charts[:2])}{' and more' if len(charts) > 2 else ''}"
    document = SimpleDocTemplate(
        file, pagesize=paper, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=TOP, bottomMargin=FOOT, invariant=1,
        title=plain(title), creator="fidbench", lang="en",
    )  # fmt: skip
    story: list[Flowable] = []
    for n, (name, _, picture, rows) in enumerate(charts):
        story += [PageBreak()] if n else []
        story.append(Drawn(picture, width - 2 * _PADDING, _TALLEST * height))
        story += listed(f"Every figure: {name}", _HEADS, _SHARES, rows, width)
    foot = [COMES_FIRST, charts[0][1] if len(charts) == 1 else f"{len(charts)} charts"]
    document.build(story, canvasmaker=partial(NumberedCanvas, foot, title, dated("")))
    return file.getvalue()
