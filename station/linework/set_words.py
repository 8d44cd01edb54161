"""What is said of a line set, in the words of the trade: by the command, on the drawing, on paper and in the window.

>>> long_words(Fraction(6_350_000)), long_words(Fraction(-6_350_000), "metric"), long_words(Fraction(0))
('1/4 in long', '6 mm short', 'level')
>>> pull_words(None), pull_words(44.48)
('pull while measuring not stated', 'measured at 10.0 lbf')
"""

from __future__ import annotations

from fractions import Fraction

from station.linework.line_set import CheckedGroup, CheckedLine, LineSet, Tilt, error_nm
from station.settings.line_table import NM_PER_M, MeasuredSide
from station.units import LengthSystem, force_text, length_text

SIDES = {"L": "left", "R": "right"}


def nm_words(length_nm: Fraction | float, system: LengthSystem = "imperial") -> str:
    """Write a length as the bench reads it."""
    return length_text(float(length_nm) / NM_PER_M, system)


def long_words(length_nm: Fraction | float, system: LengthSystem = "imperial") -> str:
    """Say how much longer than it should be something is."""
    if not length_nm:
        return "level"
    size_nm: Fraction | float = length_nm if length_nm > 0 else -length_nm
    return f"{nm_words(size_nm, system)} {'long' if length_nm > 0 else 'short'}"


def name_words(side: MeasuredSide) -> str:
    """Give a line's name and side: always both."""
    return f"{side.line} {SIDES[side.side]}"


def pull_words(pull_n: float | None, system: LengthSystem = "imperial") -> str:
    """Say under which pull the set was measured."""
    if pull_n is None:
        return "pull while measuring not stated"
    return f"measured at {force_text(pull_n, 'N' if system == 'metric' else 'lbf')}"


def tolerance_words(found: LineSet, system: LengthSystem = "imperial") -> str:
    """Say what was allowed."""
    said = f"tolerance {nm_words(found.tolerance_nm, system)}"
    return f"{said}, tilt {nm_words(found.tilt_tolerance_nm, system)}" if found.tilts else said


def verdict_words(found: LineSet) -> str:
    """Say what came out, in one sentence; of what has no chart, that only left and right were held together."""
    if found.in_trim:
        bare = dict.fromkeys(side.group for side in found.sides if side.chart_nm is None)
        if not bare:
            return "In trim."
        if all(side.chart_nm is None for side in found.sides):
            return "In trim, left against right; without a chart nothing is known of its groups."
        lines = f"group{'s' if len(bare) > 1 else ''} {', '.join(bare)}"
        return f"In trim; of {lines}, where a chart length is missing, left against right alone."
    out, tilts = len(found.out_of_tolerance), sum(not tilt.in_tolerance for tilt in found.tilts)
    parts = [f"{out} line{'s' if out != 1 else ''} out of tolerance"] if out else []
    parts += [f"{tilts} tilt{'s' if tilts != 1 else ''} out of tolerance"] if tilts else []
    parts += [f"{', '.join(found.one_sided)} measured on one side alone"] if found.one_sided else []
    return f"{'Not' if out or tilts else 'Not known to be'} in trim: {'; '.join(parts)}."


def difference_words(line: CheckedLine, tolerance_nm: Fraction, system: LengthSystem = "imperial") -> str:
    """Say which side of a line is longer, and by how much; what is out never reads as the tolerance itself."""
    difference_nm = line.difference_nm
    if difference_nm is None:
        return "no right" if line.right is None else "no left"
    if not difference_nm:
        return "level"
    return f"{'left' if difference_nm > 0 else 'right'} {_size_words(difference_nm, tolerance_nm, system)} longer"


def tilt_words(tilt: Tilt, tolerance_nm: Fraction, system: LengthSystem = "imperial") -> str:
    """Say how a group stands against its neighbour, by their charts, and whether that is too much."""
    if not tilt.tilt_nm:
        return f"{tilt.first} is level with {tilt.second}"
    size, way = _size_words(tilt.tilt_nm, tolerance_nm, system), "long" if tilt.tilt_nm > 0 else "short"
    return f"{tilt.first} is {size} {way} against {tilt.second}{'' if tilt.in_tolerance else ', out of tolerance'}"


def _size_words(length_nm: Fraction | int, tolerance_nm: Fraction, system: LengthSystem) -> str:
    size_nm = length_nm if length_nm > 0 else -length_nm
    size = nm_words(size_nm, system)
    out = size_nm > tolerance_nm and size == nm_words(tolerance_nm, system)
    return f"over {size}" if out else size


def error_words(side: MeasuredSide | None, system: LengthSystem = "imperial") -> str:
    """Say how long a side is against its chart."""
    error = error_nm(side)
    return "" if error is None else long_words(error, system)


def group_words(group: CheckedGroup, system: LengthSystem = "imperial") -> list[str]:
    """Say how far a group has drifted, and apart from it how far it scatters."""
    if group.mean_error_nm is None:
        return ["no chart"]
    scatter_nm = group.scatter_nm
    drift = long_words(group.mean_error_nm, system)
    return [f"mean {drift}", "scatter not known" if scatter_nm is None else f"scatter {nm_words(scatter_nm, system)}"]


def remake_words(found: LineSet, system: LengthSystem = "imperial") -> list[str]:
    """Say which lines to remake, to what length and why that length; or why none are named."""
    remake = found.mending.remake
    if remake is None:
        return [f"Nothing to remake is named: {found.mending.why_none}."]
    return [make_words(found, side, system) for side in remake]


def make_words(found: LineSet, side: MeasuredSide, system: LengthSystem = "imperial") -> str:
    """Say to what length a line is made anew, and why that; KeyError for one with neither chart nor opposite number."""
    mean_nm = found.means_nm[side.group]
    if side.chart_nm is None or mean_nm is None:
        why = "as its opposite number, unless that one is out"
    else:
        why = f"chart {nm_words(side.chart_nm, system)}, its group {long_words(mean_nm, system)}"
    return f"{name_words(side)}: make it {nm_words(found.target_nm(side), system)} ({why})"


def carried_words(found: LineSet) -> str:
    """Say which lines that are out come right without being remade, because their group's mean moves."""
    remake = found.mending.remake
    if not remake:
        return ""
    made = {side.line for side in remake}
    carried = [line for line in found.out_of_tolerance if line not in made]
    if not carried:
        return ""
    return (
        f"{', '.join(carried)}: out now, within tolerance when these are made, because the group's mean moves. "
        "Measure the set again."
    )
