"""`fidbench trim`: a whole line set, left against right and against its chart, and the fewest lines that mend it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import FORCE, LENGTH, as_json, print_json, say

if TYPE_CHECKING:
    from station.linework.line_set import LineSet
    from station.units import LengthSystem

_TOLERANCE = Fraction("0.0127")  # 1/2 in: the tighter end of what makers permit, common practice


@click.command()
@click.argument("table_file", metavar="TABLE.csv")
@click.option(
    "--tolerance",
    type=LENGTH,
    help='What the maker permits between left and right, as in "1/2 in", which is taken where none is given: makers '
    "permit 1/2 in to 1 in (common practice).",
)
@click.option(
    "--tilt", type=LENGTH, help="What is permitted between neighbouring groups' mean errors; else the tolerance."
)
@click.option("--pull", type=FORCE, help='The pull under which the set was measured, as in "10 lbf".')
@click.option("--drawing", "drawing_file", metavar="FILE.svg", help="Draw the set with its differences to scale.")
@click.option("--report", "report_file", metavar="FILE.pdf", help="Write the set as a page to file.")
@click.option("--dark", is_flag=True, help="Draw in the dark look.")
@click.option("--metric", is_flag=True, help="Print millimetres and newtons.")
@as_json
def trim(
    table_file: str,
    tolerance: Fraction | None,
    tilt: Fraction | None,
    pull: Fraction | None,
    drawing_file: str | None,
    report_file: str | None,
    dark: bool,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell whether a line set (CSV: line,side,length, optional chart) is in trim, and the fewest lines that mend it.

    Exit status 0 when the set is in trim, 1 when it is not or not known to be, 2 when the table cannot be read.
    """
    from station.linework.line_set import check
    from station.settings.line_table import NM_PER_M, load_line_table

    for given, option in ((tolerance, "--tolerance"), (tilt, "--tilt"), (pull, "--pull")):
        if given is not None and given <= 0:
            raise click.BadParameter("found nothing above zero, expected more than that", param_hint=option)
    allowed = _TOLERANCE if tolerance is None else tolerance
    most = Fraction(100)
    for given, option in ((allowed, "--tolerance"), (tilt or allowed, "--tilt")):
        if given > most:
            raise click.BadParameter("found more than 100 m, expected a tolerance", param_hint=option)
    sides = load_line_table(table_file)
    found = check(sides, allowed * NM_PER_M, (allowed if tilt is None else tilt) * NM_PER_M)
    system: LengthSystem = "metric" if metric else "imperial"
    pull_n = None if pull is None else float(pull)
    name = Path(table_file).name
    if drawing_file is not None:
        from station.linework.set_picture import layout, svg

        picture = svg(layout(found, name, system, pull_n), name, "dark" if dark else "light")
        _write(drawing_file, picture.encode())
    if report_file is not None:
        from station.records.set_page import set_page

        _write(report_file, set_page(found, name, system, pull_n))
    if as_json:
        print_json(trim_answer(found, pull_n))
    else:
        say(trim_text(found, system, pull_n, tolerance is None))
    return 0 if found.in_trim else 1


def trim_answer(found: LineSet, pull_n: float | None) -> dict[str, Any]:
    """Give a checked set as `trim --json` prints it."""
    from station.linework.line_set import error_nm
    from station.settings.line_table import NM_PER_M

    def metres(length_nm: Fraction | float | None) -> float | None:
        return None if length_nm is None else float(length_nm / NM_PER_M)

    remake = found.mending.remake
    return {
        "in_trim": found.in_trim,
        "tolerance_m": metres(found.tolerance_nm),
        "tilt_tolerance_m": metres(found.tilt_tolerance_nm),
        "pull_n": pull_n,
        "lines": [
            {
                "line": line.line,
                "left_m": metres(line.left.length_nm if line.left else None),
                "right_m": metres(line.right.length_nm if line.right else None),
                "difference_m": metres(line.difference_nm),
                "left_error_m": metres(error_nm(line.left)),
                "right_error_m": metres(error_nm(line.right)),
                "flags": list(line.flags),
            }
            for line in found.lines
        ],
        "groups": [
            {"group": each.group, "mean_error_m": metres(each.mean_error_nm), "scatter_m": metres(each.scatter_nm)}
            for each in found.groups
        ],
        "tilts": [
            {
                "groups": [tilt.first, tilt.second],
                "tilt_m": metres(tilt.tilt_nm),
                "in_tolerance": tilt.in_tolerance,
            }
            for tilt in found.tilts
        ],
        "out_of_tolerance": list(found.out_of_tolerance),
        "remake": None if remake is None else [side.name for side in remake],
        "remake_lengths_m": None if remake is None else [metres(found.target_nm(side)) for side in remake],
        "why_none": found.mending.why_none or None,
    }


def trim_text(found: LineSet, system: LengthSystem, pull_n: float | None, assumed: bool) -> str:
    """Give a checked set as a rigger reads it."""
    from station.linework.plan_words import COMES_FIRST
    from station.linework.set_words import (
        carried_words,
        difference_words,
        error_words,
        group_words,
        nm_words,
        pull_words,
        remake_words,
        tilt_words,
        tolerance_words,
        verdict_words,
    )

    charted = any(side.chart_nm is not None for side in found.sides)
    heads = ["line", "left", "right", "difference", *(["left to chart", "right to chart"] if charted else []), ""]
    table = [heads]
    for line in found.lines:
        lengths = ["-" if side is None else nm_words(side.length_nm, system) for side in (line.left, line.right)]
        errors = [error_words(side, system) or "-" for side in (line.left, line.right)] if charted else []
        out = f"out: {', '.join(line.flags)}" if set(line.flags) - {"no left", "no right"} else ""
        table.append([line.line, *lengths, difference_words(line, found.tolerance_nm, system), *errors, out])
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    rows = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in table]
    note = "; no --tolerance given, so 1/2 in: makers permit 1/2 in to 1 in (common practice)" if assumed else ""
    pull = pull_words(pull_n, system).capitalize()
    said = [verdict_words(found), f"{pull}; {tolerance_words(found, system)}{note}", "", *rows]
    if charted:
        said += ["", *(f"group {each.group}: {', '.join(group_words(each, system))}" for each in found.groups)]
    said += [f"tilt: {tilt_words(tilt, found.tilt_tolerance_nm, system)}" for tilt in found.tilts]
    if found.mending.remake != ():
        said += ["", "Fewest lines to remake:", *(f"  {each}" for each in remake_words(found, system))]
        said += [each for each in (carried_words(found),) if each]
    return "\n".join([*said, "", COMES_FIRST])


def _write(file: str, content: bytes) -> None:
    from station.settings.tables import SettingsFault

    try:
        Path(file).write_bytes(content)
    except OSError as fault:
        raise SettingsFault(f"{file}: cannot be written: {fault.strerror}") from None
