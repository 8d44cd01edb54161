"""`fidbench marks`, `adjust`, `shrinkage` and `braid`: what the line plan, the trials and the braid's geometry say."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from station.cli.answers import ANGLE, LENGTH, as_json, print_json, say, warn

if TYPE_CHECKING:
    from station.linework.shrinkage import FirstValue
    from station.settings.trials import Trial
    from station.units import LengthSystem

_archive = click.option("--archive", metavar="A", help="Where a plan's trials are those of the archive: which one.")
_metric = click.option("--metric", is_flag=True, help="Print millimetres and newtons.")
_dark = click.option("--dark", is_flag=True, help="Draw in the dark look.")


@click.command()
@click.argument("plan_file", metavar="PLAN.toml")
@click.option("--drawing", "drawing_file", metavar="FILE.svg", help="Draw the plan to scale into this file.")
@_dark
@click.option("--mirror", is_flag=True, help="Draw with the link at the right.")
@_archive
@_metric
@as_json
def marks(
    plan_file: str,
    drawing_file: str | None,
    dark: bool,
    mirror: bool,
    archive: str | None,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell order, marks, cut lengths, sewing and what may go wrong, from a line plan.

    Exit status 0 when the plan can be worked, 2 when it cannot or cannot be read.
    """
    from station.cli.line_words import marks_answer
    from station.linework.line_plan import make_plan
    from station.linework.plan_text import marks_text
    from station.settings.plan import load_plan
    from station.units import IMPERIAL, METRIC

    plan = make_plan(load_plan(plan_file, trials_of(archive)), said=METRIC if metric else IMPERIAL)
    if drawing_file is not None:
        from station.linework.drawing import layout
        from station.linework.sheet import svg

        _write(drawing_file, svg(layout(plan), plan, look=_look(dark), mirror=mirror))
    if as_json:
        print_json(marks_answer(plan))
        for warning in plan.warnings:
            warn(f"fidbench: {warning}")
    else:
        say(marks_text(plan))
    return 0


@click.command()
@click.argument("plan_file", metavar="PLAN.toml")
@click.option("--line", "line_name", required=True, metavar="NAME", help="The line that came out long or short.")
@click.option("--residual", required=True, type=LENGTH, help='How much too long, as in "+1/8 in"; "-1/8 in" is short.')
@click.option(
    "--at",
    type=click.Choice(["canopy-end", "joint"]),
    default="canopy-end",
    show_default=True,
    help="Which running end to move.",
)
@click.option("--trapped", type=LENGTH, help="What is trapped now, where it is no longer what the plan says.")
@_archive
@_metric
@as_json
def adjust(
    plan_file: str,
    line_name: str,
    residual: Fraction,
    at: str,
    trapped: Fraction | None,
    archive: str | None,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell how much to take in or let out, and what stays trapped.

    Exit status 0 when the line is within the plan's tolerance as it is, 1 when it is not.
    """
    from station.cli.line_words import adjust_answer, adjust_text
    from station.linework.line_plan import adjust as adjusted
    from station.settings.plan import load_plan
    from station.units import IMPERIAL, METRIC

    end: Literal["canopy end", "joint"] = "joint" if at == "joint" else "canopy end"
    trapped_m = None if trapped is None else float(trapped)
    if trapped_m is not None and trapped_m <= 0:
        raise click.BadParameter("found nothing trapped, expected a length above zero", param_hint="--trapped")
    plan = load_plan(plan_file, trials_of(archive))
    found = adjusted(plan, line_name, float(residual), end, trapped_m, METRIC if metric else IMPERIAL)
    if as_json:
        print_json(adjust_answer(found))
    else:
        say(adjust_text(found, float(residual)))
    return 0 if found.in_tolerance else 1


@click.command()
@click.argument("trials_file", metavar="TRIALS.csv")
@click.option(
    "--material",
    metavar="NAME",
    help="The host's material: its braid gives a first value, and trials of other materials do not count.",
)
@click.option("--trap", type=LENGTH, help='The trap to allow for, as in "6 in".')
@click.option("--lot", metavar="LOT", help="Count only the trials of this lot.")
@click.option("--guest", metavar="NAME", help="Count only the trials around this guest.")
@click.option("--plot", "plot_file", metavar="FILE.svg", help="Draw trials, line and interval into this file.")
@_dark
@_metric
@as_json
def shrinkage(
    trials_file: str,
    material: str | None,
    trap: Fraction | None,
    lot: str | None,
    guest: str | None,
    plot_file: str | None,
    dark: bool,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell what your own trials (CSV: trap,shortening, optional material,lot,guest,uncertainty,made) say.

    Exit status 0; 2 when the trials cannot be used.
    """
    from station.cli.line_words import shrinkage_answer, shrinkage_text
    from station.linework.allowance import kinds_words
    from station.linework.shrinkage import doubts_of, estimate, impossible_words, matching
    from station.settings.tables import SettingsFault
    from station.settings.trials import load_trials

    first = _first_value(material, guest) if material is not None else None
    if trap is not None and trap <= 0:
        raise click.BadParameter("found no length above zero", param_hint="--trap")
    every = load_trials(trials_file)
    trials = matching(every, material, lot, None if guest is None else {guest})
    if every and not trials:
        raise SettingsFault(f"{trials_file}: no trial is of this material, lot and guest; found {kinds_words(every)}")
    trap_m = None if trap is None else float(trap)
    try:
        found = estimate(trials, first, trap_m)
    except ValueError as fault:
        raise SettingsFault(f"{trials_file}: {fault}") from None
    warnings = []
    if len({(each.material, each.lot, each.guest) for each in trials}) > 1:
        warnings.append(
            f"different trials are counted together ({kinds_words(trials)}); choose with --material, --lot and --guest"
        )
    warnings += [f"the trials: {doubt}" for doubt in doubts_of(found)]
    if impossible := impossible_words(trials):
        warnings.append(impossible)
    system: LengthSystem = "metric" if metric else "imperial"
    if plot_file is not None:
        from station.linework.trial_plot import plot, svg

        name = "  ·  ".join(
            filter(None, (Path(trials_file).name, material, lot and f"lot {lot}", guest and f"around {guest}"))
        )
        _write(plot_file, svg(plot(trials, found), name, look=_look(dark), system=system))
    answer = replace(found, suspects=tuple(trials[number - 1].row for number in found.suspects))  # rows of the file
    if as_json:
        print_json(shrinkage_answer(answer, trap_m, warnings))
        for warning in warnings:
            warn(f"fidbench: {warning}")
    else:
        say(shrinkage_text(answer, trap_m, warnings, system))
    return 0


def trials_of(where: str | None) -> Callable[[], Sequence[Trial]] | None:
    """Give what reads an archive's trials, for a plan that asks for them; None where no archive is named."""
    if where is None:
        return None

    def read() -> Sequence[Trial]:
        from station.learned import learned
        from station.records.archive import Archive

        with Archive.open(where) as archive:
            return learned(archive).counted()

    return read


def _first_value(material: str, guest: str | None) -> FirstValue | None:
    """Give the first value of a material's braid around a guest, its like unless named; say where there is none."""
    from station.linework.allowance import area_ratio
    from station.linework.shrinkage import first_value_of
    from station.settings.materials import material_named, materials

    try:
        host = material_named(material)
    except ValueError as fault:
        raise click.BadParameter(str(fault), param_hint="--material") from None
    ratio = area_ratio(host, materials().get(guest) if guest else host)
    first = first_value_of(host, 1.0 if ratio is None else ratio)
    if first is None:
        warn(f"fidbench: the braid of {material!r} gives no first value; the trials speak alone")
    elif ratio is None:
        warn(f"fidbench: how thick {guest!r} is beside {material!r} is not known; the first value is that of its like")
    return first


@click.command()
@click.option("--angle", type=ANGLE, help='The yarns\' angle to the line under pull, as in "12 deg".')
@click.option("--flat-width", type=LENGTH, help="Instead of the angle: how wide the line lies flat,")
@click.option("--picks", type=float, metavar="N", help="and its picks per inch,")
@click.option("--carriers", type=int, metavar="N", help="and its carriers.")
@click.option(
    "--area-ratio", type=float, default=1.0, show_default=True, help="Solid area of the guest over the host's."
)
@_metric
@as_json
def braid(
    angle: Fraction | None,
    flat_width: Fraction | None,
    picks: float | None,
    carriers: int | None,
    area_ratio: float,
    metric: bool,
    as_json: bool,
) -> int:
    """Tell how a trap shortens a braid, from its geometry: a model, until your own trials speak.

    Exit status 1 when the braid is locked in both packings.
    """
    from station.cli.line_words import braid_answer, braid_text
    from station.linework.braid import braid_angle_rad, shortening_of_braid
    from station.units import factor

    seen = (flat_width, picks, carriers)
    try:
        if angle is not None:
            if any(each is not None for each in seen):
                raise click.UsageError("give --angle, or --flat-width with --picks and --carriers, not both")
            angle_rad = float(angle)
        elif flat_width is not None and picks is not None and carriers is not None:
            angle_rad = braid_angle_rad(float(flat_width), picks / float(factor("in", "length")), carriers)
        else:
            raise click.UsageError("give --angle, or --flat-width with --picks and --carriers")
        found = shortening_of_braid(angle_rad, area_ratio)
    except ValueError as fault:
        raise click.UsageError(str(fault)) from None
    if as_json:
        print_json(braid_answer(found, angle_rad))
    else:
        say(braid_text(found, angle_rad, "metric" if metric else "imperial"))
    return 1 if found.thin_tube.locked and found.closed_disc.locked else 0


def _look(dark: bool) -> Literal["dark", "light"]:
    return "dark" if dark else "light"


def _write(file: str, picture: str) -> None:
    from station.settings.tables import SettingsFault

    try:
        Path(file).write_text(picture, encoding="utf-8")
    except OSError as fault:
        raise SettingsFault(f"{file}: cannot be written: {fault.strerror}") from None
