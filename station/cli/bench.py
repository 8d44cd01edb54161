"""`fidbench open` and `fidbench demo`: the bench at its window, on real or on simulated hardware."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import click

from station import display
from station.cli.answers import as_json, print_json, say, warn

if TYPE_CHECKING:
    from station.settings.trials import Trial


@click.command("open")
@click.option(
    "--station",
    "station_file",
    metavar="FILE",
    help="The bench's scale and pedal (TOML); as the settings say unless given, else by hand.",
)
@click.option("--archive", metavar="A", help="Where jobs are filed; as the settings say unless given.")
@click.option(
    "--key", metavar="FILE", help="The station's key, to sign with; the one beside the archive's file, if any."
)
@click.option(
    "--plan", "plan_file", metavar="PLAN.toml", help="A line plan, or a whole reline, to begin a new job with."
)
@click.option("--light", is_flag=True, help="The light look, whatever the settings say.")
@click.option("--metric", is_flag=True, help="Newtons and millimetres, whatever the settings say.")
def open_bench(
    station_file: str | None, archive: str | None, key: str | None, plan_file: str | None, light: bool, metric: bool
) -> int:
    """Open the bench window."""
    try:
        from PyQt6 import QtWidgets  # noqa: F401 -- only whether it loads; a fault of ours below is loud
    except ImportError as fault:
        warn(f"fidbench: the window needs Qt, which cannot be loaded here: {fault}. On Debian: {display.QT_PACKAGES}")
        return 2
    if not (display.is_there() or os.environ.get("QT_QPA_PLATFORM")):  # else Qt ends the process, with a core dump
        warn(
            "fidbench: there is no display here, and the window needs one: call it from the bench's own screen. "
            "Without a window: fidbench hold judges one hold, fidbench demo --headless shows a whole job"
        )
        return 2
    from station import bench_app

    if plan_file is not None:
        from station.linework.line_plan import make_plan
        from station.settings.reline import job_text

        # A plan that cannot be worked is refused here, before any window.
        make_plan(job_text(plan_file, _trials(archive))[1])
    return bench_app.open_bench(
        station_file,
        archive,
        plan_file,
        "light" if light else None,
        "metric" if metric else None,
        key=key,
    )


def _trials(archive: str | None) -> Callable[[], Sequence[Trial]] | None:
    """Give what reads the trials of the archive that is about to be opened; None where there is none yet."""
    from station.cli.lines import trials_of
    from station.filing import default_archive
    from station.records.sqlite_file import path_of
    from station.records.store import is_server

    where = archive or str(default_archive())
    return trials_of(where) if is_server(where) or path_of(where).exists() else None


@click.command()
@click.option("--out", "folder", metavar="DIR", default="fidbench-demo", show_default=True, help="Where the files go.")
@click.option("--headless", is_flag=True, help="Without a window, as fast as it goes.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same readings.")
@as_json
def demo(folder: str, headless: bool, seed: int, as_json: bool) -> int:
    """Work a whole invented job on simulated hardware, from zeroing the scale to sign-off.

    Exit status 0 when every step was done and the altered digit found, 1 when not.
    """
    if not headless and not display.is_there():
        warn("There is no display here: the demo goes on without a window.")
        headless = True
    if headless:
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from station import demo_run

    status = demo_run.run(folder, seed, headless, warn if as_json else say, display.QT_PACKAGES)
    if as_json:
        print_json({"out": folder, "finished": status == 0} | demo_run.left_in(folder))
    return status
