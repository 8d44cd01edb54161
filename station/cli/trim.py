"""`fidbench trim`: a whole line set, left against right and against its chart, and the fewest lines that mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import FORCE, LENGTH, as_json, paper_option, print_json, say

if TYPE_CHECKING:
    from station.linework.line_set import LineSet
    from station.settings.preferences import Paper
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
@click.option(
    "--line", "chosen", multiple=True, metavar="LINE", help='A line to remake, as in "A2 left"; several times.'
)
@click.option("--template", metavar="PLAN.toml", help="Write a plan for each line to remake, from one of such a line.")
@click.option(
    "--plans", "folder", metavar="FOLDER", help="Where the plans go; TABLE-plans beside the table unless given."
)
@click.option("--job", "job_file", metavar="JOB.toml", help="Open a job for each plan, with what these answers say.")
@click.option("--archive", metavar="A", help="Where the jobs are filed.")
@click.option("--station", "station_file", metavar="FILE", help="The bench whose jobs they are, with its hold.")
@paper_option
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
    chosen: tuple[str, ...],
    template: str | None,
    folder: str | None,
    job_file: str | None,
    archive: str | None,
    station_file: str | None,
    paper: Paper,
    dark: bool,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell whether a line set (CSV: line,side,length, optional chart) is in trim, and the fewest lines that mend it.

    With --template and --job a plan is written and a job opened for each line to remake: the fewest, or each --line.

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
    if template is None and (chosen or folder is not None or job_file is not None):
        raise click.UsageError("a line to remake needs a plan of such a line to work from: --template PLAN.toml")
    if (job_file is None) != (archive is None) or (station_file is not None and job_file is None):
        raise click.UsageError("to open jobs give --job JOB.toml, what they are opened with, and --archive A")
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

        _write(report_file, set_page(found, name, system, pull_n, paper))
    answer, text = trim_answer(found, pull_n), trim_text(found, system, pull_n, tolerance is None)
    if template is not None:
        from station.linework.set_jobs import job_answers, sides_named, write_plans
        from station.linework.set_words import name_words

        wanted = sides_named(found, chosen) or found.mending.remake or ()
        into = Path(folder) if folder is not None else Path(table_file).with_name(f"{Path(table_file).stem}-plans")
        plans = write_plans(found, wanted, Path(template), into) if wanted else []
        lines = [(plan, job_answers(side, pull_n, system)) for plan, side in zip(plans, wanted, strict=True)]
        jobs = _opened(archive, station_file, job_file, lines) if lines and archive and job_file else []
        answer |= {"plans": list(map(str, plans)), "jobs": jobs}
        said = [f"Plan of {name_words(side)}: {plan}" for side, plan in zip(wanted, plans, strict=True)]
        said += [f"Job {job}: {known['title']}" for job, (_, known) in zip(jobs, lines, strict=False)]
        if jobs:
            said.append(f"They are filed in {archive}, and go on from the first page of fidbench open.")
        text = "\n".join(
            [text, "", *(said or ["No line to remake is named, so no plan was written; choose with --line."])]
        )
    if as_json:
        print_json(answer)
    else:
        say(text)
    return 0 if found.in_trim else 1


def _opened(
    archive: str, station_file: str | None, job_file: str, lines: Sequence[tuple[Path, Mapping[str, str]]]
) -> list[str]:
    """Open a job from each plan, with what is known of its line and what the file says of them all."""
    from station.job_app import answers_in, begin_each
    from station.records.archive import Archive
    from station.settings.station import load_station
    from station.settings.tables import SettingsFault
    from station.views.job_forms import job_fields
    from station.views.start import PLAN_KEY

    station = load_station(station_file) if station_file is not None else None
    own = {key for _, known in lines for key in known}
    shared = answers_in(job_file, [field for field in job_fields(station) if field.key not in own])
    with Archive.open(archive, bench=station.name if station else "Bench", create=True) as opened:
        jobs, problems = begin_each(opened, station, [(plan, {**shared, **known}) for plan, known in lines])
    if problems:
        raise SettingsFault(
            "; ".join(why if key == PLAN_KEY else f"{job_file}: [job] {key}: {why}" for key, why in problems.items())
        )
    return jobs


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
