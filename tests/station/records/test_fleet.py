from __future__ import annotations

import re
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[3] / "docs"
UNITS = {"million": 1e6, "kB": 1e3, "GB": 1e9, "hours": 3600, "minutes": 60, "": 1}


def measured(figure: str) -> float:
    """Give a figure as the page of figures has it."""
    (found,) = re.findall(rf"^\| {re.escape(figure)} \| ([\d.,]+) \|", (DOCS / "figures.md").read_text(), re.MULTILINE)
    return float(found.replace(",", ""))


def planned(what: str) -> float:
    """Give a figure as the plan has it, in units of one."""
    (found,) = re.findall(rf"^\| {what}[^|]*\| ([\d.]+) ?(\w*) \|", plan(), re.MULTILINE)
    return float(found[0]) * UNITS[found[1]]


def plan() -> str:
    """Give the text of the plan."""
    return (DOCS / "fleet.md").read_text()


def test_the_sizes_of_the_plan_follow_from_the_measured_figures() -> None:
    """Holds, bytes and hours follow from what is assumed and measured there; a measured speed may wander by half."""
    said = r"(\d+) benches, (\d+) holds a day at each, (\d+) days a year, kept for (\d+) years"
    ((benches, daily, days, years),) = [tuple(map(int, each)) for each in re.findall(said, plan())]
    holds = benches * daily * days * years
    stored, judged = planned("room for a hold of 30 s"), planned("holds judged again a second")
    assert stored == pytest.approx(measured("records: a judged hold of 30 s stored, no period"), rel=0.03)
    assert judged == pytest.approx(measured("records: holds verified on one core"), rel=0.5)
    assert planned("holds (?=[|])") == pytest.approx(holds, rel=0.01)
    assert planned("room for all holds") == pytest.approx(holds * stored, rel=0.01)
    assert planned("holds a second over") == pytest.approx(benches * daily / 8 / 3600, rel=0.02)
    assert planned("judging all of them again") == pytest.approx(holds / judged, rel=0.02)
    assert planned("the same on 32 cores") == pytest.approx(holds / judged / 32, rel=0.06)
    (grows,) = re.findall(r"grows by ([\d.]+) GB a year", plan())
    assert float(grows) == pytest.approx(daily * days * stored / 1e9, rel=0.1)
