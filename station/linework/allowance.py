"""Which shortening a trap gets: typed in, a model of the host's braid, or those of the shop's trials that speak of it.

The nearest source counts: the trap's own, else its line's, else its line's material's, else the plan's. Trials in it
are chosen by host material, lot and guest:

- a line that names its lot is allowed for by trials of that lot alone; one that names none, by those of every lot;
- a trial that names no guest was made around a line of the same kind. A joint whose guest is of another material is
  allowed for by trials around that material alone;
- a trial that names no material speaks of every host, or of the plan's material where the plan names one.

Where no trial speaks of a trap the model of its host's braid stands in, and the doubts say so; without a model there is
no allowance. What was chosen stands in the shrinkage's `source`, in words.

>>> from station.settings.plan import CanopyEnd, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
>>> from station.settings.trials import Trial
>>> line = LineSettings("A", LinkEnd(0.04, 0.13), CanopyEnd(0.13), lot="L2")
>>> trials = tuple(Trial(0.1, s, lot) for s, lot in ((0.0060, "L1"), (0.0070, "L2"), (0.0072, "L2")))
>>> plan = PlanSettings("a.toml", "demo", 44.5, 0.0127, (line,), shrinkage=ShrinkageSettings(trials=trials))
>>> found = Allowances(plan, {"A": line}).of("A link end", "A", "A", None)
>>> round(found.coefficient, 4), found.source
(0.071, '2 trials of lot L2')
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from station.linework.braid import shortening_of_braid
from station.linework.shrinkage import Shrinkage, angle_of, estimate, first_value_of, matching
from station.settings.materials import MaterialSettings
from station.settings.plan import LineSettings, PlanSettings, ShrinkageSettings
from station.settings.trials import Trial


class AllowanceFault(ValueError):
    """Nothing is known of how much a trap shortens its host; the message says why, and what to do."""


def material_of(settings: PlanSettings, line: LineSettings) -> MaterialSettings | None:
    """Give a line's material: its own, else the whole plan's."""
    if line.material is not None:
        return line.material
    return settings.shrinkage.material if settings.shrinkage is not None else None


def area_ratio(host: MaterialSettings, guest: MaterialSettings | None) -> float | None:
    """Give the guest's solid area over the host's: 1 for a line in its like, None where either area is not known."""
    if guest is None:
        return None
    if guest == host:
        return 1.0
    if host.solid_area_m2 is None or guest.solid_area_m2 is None:
        return None
    return guest.solid_area_m2 / host.solid_area_m2


class Allowances:
    """What shortens each trap's host, each source worked out once; `doubts` gathers what a person should know of it."""

    def __init__(self, settings: PlanSettings, lines: Mapping[str, LineSettings]) -> None:
        self._settings = settings
        self._lines = lines
        self._known: dict[tuple[object, ...], Shrinkage] = {}
        self.doubts: dict[str, None] = {}  # in the order found, each once

    def of(self, trap: str, host: str, guest: str, own: ShrinkageSettings | None) -> Shrinkage:
        """Give a trap's shrinkage. Raises `AllowanceFault` where nothing is known of it."""
        line, plan = self._lines[host], self._settings.shrinkage
        untold = True
        if own is not None:
            source, group = own, f"trap {trap}"
        elif line.shrinkage is not None:
            source, group = line.shrinkage, f"line {host}"
        elif line.material is not None and (plan is None or plan.material != line.material):
            source, group = ShrinkageSettings(material=line.material), f"material {line.material.name}"
            if plan is not None and plan.trials:
                source = replace(source, trials=plan.trials, trials_file=plan.trials_file)
                untold = plan.material is None
        elif plan is not None:
            source, group = plan, "plan"
        else:
            raise AllowanceFault(
                "no shortening is known; give a coefficient, a material or trials in [shrinkage] or for the line"
            )
        host_material = source.material or material_of(self._settings, line)
        guest_material = host_material if guest == host else material_of(self._settings, self._lines[guest])
        key = group, line.lot, *(each.name if each is not None else None for each in (host_material, guest_material))
        if key not in self._known:
            trials, chosen = _chosen(source.trials, line.lot, host_material, guest_material, untold)
            self._known[key] = self._worked_out(source, group, guest_material, trials, chosen, f"{trap}: ")
        return self._known[key]

    def _worked_out(
        self,
        source: ShrinkageSettings,
        group: str,
        guest: MaterialSettings | None,
        trials: Sequence[Trial],
        chosen: str,
        place: str,
    ) -> Shrinkage:
        if source.coefficient is not None:
            return Shrinkage(source.coefficient, source.standard_uncertainty, group=group, source="typed in")
        material, every = source.material, len(source.trials)
        ratio = 1.0 if material is None else area_ratio(material, guest) or 1.0
        first = first_value_of(material, ratio) if material is not None else None
        model = f"a model of the braid of {material.name}" if material is not None else ""
        none = (
            f"none of the {every} trials is {chosen or 'around its like'}; found {_kinds(source.trials)}"
            if every
            else ""
        )
        if not trials and first is None:
            why = _why_no_first_value(material, ratio) if material is not None else ""
            raise AllowanceFault(f"{'; '.join(filter(None, (none, why))) or 'there is no trial yet'}; make trials")
        if not trials:
            if none:
                self.doubts[f"{place}{none}; {model} stands in"] = None
            return estimate((), first, group=group, source=model).shrinkage
        file = f" in {source.trials_file}" if source.trials_file else ""
        said = " ".join(filter(None, (f"{len(trials)} trial{'s' if len(trials) > 1 else ''}", chosen))) + file
        said += f", upon {model}" if first is not None else ""
        found = estimate(trials, first, group=f"{group} {chosen}", source=said)
        if len({(trial.material, trial.lot, trial.guest) for trial in trials}) > 1:
            self.doubts[
                f"trials of different lots or guests are counted together ({_kinds(trials)}){file}; give the line its "
                "lot and its material, or keep a file for each"
            ] = None
        for suspect in found.suspects:
            row = trials[suspect - 1].row or suspect
            self.doubts[f"trial {row}{file} is far from the others, and still counted: look again"] = None
        return found.shrinkage


def _chosen(
    trials: Sequence[Trial],
    lot: str,
    host: MaterialSettings | None,
    guest: MaterialSettings | None,
    untold: bool,
) -> tuple[list[Trial], str]:
    """Give the trials that speak of a trap, and in words what they were chosen by."""
    guests: Collection[str] | None
    around = ""
    if guest is not None and guest != host and (host is not None or any(each.guest == guest.name for each in trials)):
        guests, around = {guest.name}, f"around {guest.name}"
    elif host is not None:  # a line in its like, or taken to be
        guests = {"", host.name}
    else:  # a kind without a name: the trials that name no guest or, where all name one, all
        guests = {""} if any(each.guest == "" for each in trials) else None
    words = (
        f"of {host.name}" if host is not None and any(each.material for each in trials) else "",
        f"of lot {lot}" if lot else "",
        around,
    )
    host_name = host.name if host is not None else None
    return matching(trials, host_name, lot or None, guests, untold), " ".join(filter(None, words))


def _kinds(trials: Sequence[Trial]) -> str:
    """Name the kinds of trials there are."""
    kinds = dict.fromkeys((trial.material, trial.lot, trial.guest) for trial in trials)
    return "; ".join(
        f"{material + ' ' if material else ''}{'lot ' + lot if lot else 'no lot'} around {guest or 'its like'}"
        for material, lot, guest in kinds
    )


def _why_no_first_value(material: MaterialSettings, ratio: float) -> str:
    angle_rad = angle_of(material)
    if angle_rad is None:
        return f"material {material.name!r} gives no braid angle, so no shortening"
    swelling = shortening_of_braid(angle_rad, ratio).closed_disc.swelling
    return (
        f"material {material.name!r}: a braid of {math.degrees(angle_rad):.1f} deg may lock before it has swollen "
        f"{swelling:.2f} times around its guest"
    )
