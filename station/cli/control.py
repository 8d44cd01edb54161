"""`fidbench control`: whether lengths, holds and scales are in control, by an archive's own figures."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import archive_option, as_json, paper_option, print_json, say, warn

if TYPE_CHECKING:
    from station.in_control import By, Charted, Of
    from station.settings.preferences import Paper
    from station.units import LengthSystem


@click.command()
@archive_option
@click.option(
    "--of",
    required=True,
    type=click.Choice(["final-differences", "first-try-differences", "hold-means", "scale-errors"]),
    help="What is charted.",
)
@click.option(
    "--by",
    type=click.Choice(["bench", "rigger", "material", "lot", "scale"]),
    help="A chart for each; scale errors are apart by scale unless another is named.",
)
@click.option("--chart", "chart_file", metavar="FILE.svg", help="Draw the chart; of several each into a file, -2, -3.")
@click.option("--report", "report_file", metavar="FILE.pdf", help="Write the charts with every figure, to file.")
@paper_option
@click.option("--dark", is_flag=True, help="Draw in the dark look.")
@click.option("--metric", is_flag=True, help="Print millimetres.")
@as_json
def control(
    where: str,
    of: Of,
    by: By | None,
    chart_file: str | None,
    report_file: str | None,
    paper: Paper,
    dark: bool,
    metric: bool,
    as_json: bool,
) -> int:
    """Chart figures with their moving ranges, name each signal and what had changed before it.

    Exit status 0 when every chart is in control, 1 when one is not or not known to be, 2 when the archive cannot be
    read.
    """
    from station.in_control import chart_picture, charts, title, verdict_words
    from station.records.archive import Archive

    system: LengthSystem = "metric" if metric else "imperial"
    with Archive.open(where) as archive:
        found, unread = charts(archive, of, by)
    for why in unread:
        warn(f"fidbench: not read: {why}")
    if chart_file is not None:
        from station.linework.set_picture import svg

        path = Path(chart_file)
        for n, each in enumerate(found, 1):
            picture = svg(chart_picture(each, system), title(each), "dark" if dark else "light", verdict_words(each))
            drawn = path if n == 1 else path.with_stem(f"{path.stem}-{n}")
            _write(drawn, picture.encode())
            if len(found) > 1:
                warn(f"{drawn}: {title(each)}")
    if report_file is not None and found:
        from station.in_control import rows
        from station.records.control_page import control_page

        pages = [(title(each), partial(chart_picture, each, system), rows(each, system)) for each in found]
        _write(Path(report_file), control_page(pages, paper))
    if as_json:
        print_json({"of": of, "by": by, "charts": [control_answer(each) for each in found], "unread": unread})
    else:
        say(control_text(found, of, system))
    return 0 if found and all(each.control.state == "in control" for each in found) else 1


def control_answer(charted: Charted) -> dict[str, Any]:
    """Give a chart as `control --json` prints it: lengths in metres, shares as plain numbers."""
    from station.in_control import changes
    from station.measuring.control import false_alarm_share

    found = charted.control
    return {
        "apart": charted.apart or None,
        "state": found.state,
        "provisional": found.provisional,
        "mean": found.centre,
        "limits": list(found.limits) if found.limits else None,
        "mean_range": found.mean_range,
        "range_limit": found.range_limit,
        "false_alarm_share": false_alarm_share(len(charted.figures)),
        "figures": [
            {
                "value": each.value,
                "at": each.at,
                "bench": each.bench,
                "seq": each.seq,
                "job": each.job or None,
                "of": each.what,
                "made_in": dict(each.conditions),
            }
            for each in charted.figures
        ],
        "signals": [
            {
                "rule": signal.rule,
                "first": signal.first,
                "last": signal.last,
                "changed": {key: [before, after] for key, before, after in changes(charted.figures, signal)},
            }
            for signal in found.signals
        ],
    }


def control_text(found: Sequence[Charted], of: Of, system: LengthSystem) -> str:
    """Give charts as a rigger reads them."""
    from station.in_control import false_alarm_words, said, signal_words, title, verdict_words
    from station.linework.plan_words import COMES_FIRST

    if not found:
        return f"Nothing here to chart: no {of.replace('-', ' ')} are filed yet.\n{COMES_FIRST}"
    lines: list[str] = []
    for each in found:
        write, chart = said(of, system), each.control
        lines += [title(each), f"  {verdict_words(each)}", f"  mean {write(chart.centre)}"]
        if chart.limits is not None and chart.range_limit is not None:
            lines[-1] += (
                f"; limits {write(chart.limits[0])} to {write(chart.limits[1])}; from one to the next "
                f"{size(chart.mean_range, of, system)} on average, limit {size(chart.range_limit, of, system)}"
            )
        lines += [f"  {row}" for row in signal_words(each, system)]
        if chart.limits is not None:
            lines.append(f"  {false_alarm_words(each)}")
        lines.append("")
    return "\n".join([*lines, COMES_FIRST])


def size(value: float, of: Of, system: LengthSystem) -> str:
    """Write a range: no longer or shorter, more or less."""
    from station.units import length_text

    return length_text(value, system, 32) if of.endswith("differences") else f"{100 * value:.2f} %"


def _write(path: Path, content: bytes) -> None:
    from station.settings.tables import SettingsFault

    try:
        path.write_bytes(content)
    except OSError as fault:
        raise SettingsFault(f"{path}: cannot be written: {fault.strerror}") from None
