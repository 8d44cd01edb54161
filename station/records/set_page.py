"""A line set on paper: its drawing, the table of every length, and room to sign; the same bytes for the same set.

>>> from fractions import Fraction
>>> from station.linework.line_set import check
>>> from station.settings.line_table import MeasuredSide
>>> inch = 25_400_000
>>> rows = [MeasuredSide("A1", side, 120 * inch) for side in ("L", "R")]
>>> set_page(check(rows, Fraction(inch, 2), Fraction(inch, 2)), "demo")[:5]
b'%PDF-'
"""

from __future__ import annotations

from reportlab.platypus import Flowable, Spacer

from station.linework.line_set import LineSet, error_nm
from station.linework.plan_words import COMES_FIRST
from station.linework.set_picture import layout
from station.linework.set_words import (
    difference_words,
    error_words,
    nm_words,
    pull_words,
    tolerance_words,
    verdict_words,
)
from station.records.paper import LABEL, PAPERS, listed, para, plain, table
from station.records.picture_page import Drawn, filed, room
from station.settings.line_table import MeasuredSide
from station.settings.preferences import Paper
from station.units import LengthSystem


def set_page(
    found: LineSet,
    name: str,
    system: LengthSystem = "imperial",
    pull_n: float | None = None,
    paper: Paper = "letter",
) -> bytes:
    """Give a checked line set as the bytes of a PDF; `name` says whose it is."""
    width, tallest = room(PAPERS[paper])
    foot = [
        COMES_FIRST,
        f"{pull_words(pull_n, system).capitalize()}; {tolerance_words(found, system)}. {verdict_words(found)}",
    ]
    draw = lambda wide: layout(found, plain(name), system, pull_n, on_paper=wide)  # noqa: E731 -- as short as it is
    story = [
        Drawn(draw, width, tallest),
        *listed("Every length", _HEADS, _SHARES, _rows(found, system), width),
        Spacer(1, 16),
        _signing(width),
    ]
    return filed(story, f"Line set: {name}", foot, PAPERS[paper])


_HEADS = ("Line", "Chart L / R", "Left", "Right", "Difference", "Left to chart", "Right to chart", "Out")
_SHARES = (0.06, 0.11, 0.12, 0.12, 0.19, 0.13, 0.13, 0.14)


def _rows(found: LineSet, system: LengthSystem) -> list[list[str]]:
    def length(side: MeasuredSide | None) -> str:
        return "not measured" if side is None else nm_words(side.length_nm, system)

    rows = []
    for line in found.lines:
        charts = [nm_words(side.chart_nm, system) for side in line.sides if side.chart_nm is not None]
        chart = charts[0] if len(set(charts)) == 1 else " / ".join(charts)
        errors = [error_words(side, system) if error_nm(side) is not None else "" for side in (line.left, line.right)]
        said = difference_words(line, found.tolerance_nm, system)
        rows.append([line.line, chart, length(line.left), length(line.right), said, *errors, ", ".join(line.flags)])
    return rows


def _signing(width: float) -> Flowable:
    return table(
        [[para(each, LABEL) for each in ("Measured by", "Date", "Signature")]], (0.4, 0.25, 0.35), width, heights=[30.0]
    )
