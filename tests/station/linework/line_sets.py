"""Measured line sets for tests: drawn at random, and the rule of trim and the fewest remakes written out slowly."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

from station.settings.line_table import MeasuredSide

INCH = 25_400_000  # nanometres


def drawn(
    chance: random.Random,
    per_group: tuple[int, ...],
    scatter: float = 0.25,
    drift: float = 0.3,
    outliers: float = 0.0,
    chart: bool = True,
    step_nm: int = 1000,
) -> list[MeasuredSide]:
    """Draw a set: so many lines in each group, scatter and drift in inches, some lines far off."""
    sides = []
    for number, lines in enumerate(per_group):
        group = chr(ord("A") + number)
        group_error = chance.gauss(0, drift * INCH)
        for line in range(1, lines + 1):
            chart_nm = (120 + line) * INCH
            for side in ("L", "R"):
                error = chance.gauss(group_error, scatter * INCH)
                if chance.random() < outliers:
                    error += chance.choice((-1, 1)) * chance.uniform(1, 6) * INCH
                length_nm = chart_nm + round(error / step_nm) * step_nm
                sides.append(MeasuredSide(f"{group}{line}", side, length_nm, chart_nm if chart else None))
    return sides


def slow_in_trim(lengths, charts, tolerance, tilt):
    """Tell whether a set is in trim, from the rule alone; lengths and charts by line and side, in any exact unit."""
    groups = list(dict.fromkeys(line[0] for line, _ in lengths))
    means = []
    for group in groups:
        errors = [lengths[key] - charts[key] for key in lengths if key[0][0] == group and charts[key] is not None]
        mean = Fraction(sum(errors), 1) / len(errors) if errors else None
        if any(abs(error - mean) > tolerance for error in errors):
            return False
        means.append(mean)
    if any(a is not None and b is not None and abs(a - b) > tilt for a, b in itertools.pairwise(means)):
        return False
    return all(abs(lengths[line, "L"] - lengths[line, "R"]) <= tolerance for line in {line for line, _ in lengths})


def slow_remade(lengths, charts, remake):
    """Give the lengths once the sides in `remake` are made to chart and group's mean error, or to their opposite's."""
    made = dict(lengths)
    for key in remake:
        line, side = key
        if charts[key] is None:
            made[key] = lengths[line, "R" if side == "L" else "L"]
            continue
        errors = [lengths[k] - charts[k] for k in lengths if k[0][0] == line[0] and charts[k] is not None]
        made[key] = charts[key] + Fraction(sum(errors), len(errors))
    return made


def slow_fewest(sides, tolerance, tilt):
    """Give how many sides must be remade, by trying every set from the smallest on; None where none will do."""
    lengths = {(side.line, side.side): side.length_nm for side in sides}
    charts = {(side.line, side.side): side.chart_nm for side in sides}
    for count in range(len(sides) + 1):
        for remake in itertools.combinations(lengths, count):
            if slow_in_trim(slow_remade(lengths, charts, remake), charts, tolerance, tilt):
                return count
    return None
