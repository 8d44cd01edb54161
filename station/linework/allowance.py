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
from dataclasses import dataclass, replace

from station.linework.braid import shortening_of_braid
from station.linework.shrinkage import (
    Estimate,
    Shrinkage,
    angle_of,
    doubts_of,
    estimate,
    first_value_of,
    matching,
    share_text,
)
from station.settings.materials import MaterialSettings
from station.settings.plan import ARCHIVE, LineSettings, PlanSettings, ShrinkageSettings
from station.settings.trials import Trial

_PLACES = 4  # so many are named each


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


@dataclass(frozen=True)
class TrialsUsed:
    """Trials from which an allowance came, what they say, and in words which they are."""

    source: str
    trials: Sequence[Trial]
    estimate: Estimate


class Allowances:
    """What shortens each trap's host, each source worked out once; `doubts` gathers what a person should know of it.

    `used` holds the trials from which allowances came.
    """

    def __init__(self, settings: PlanSettings, lines: Mapping[str, LineSettings]) -> None:
        self._settings = settings
        self._lines = lines
        self._known: dict[tuple[object, ...], Shrinkage] = {}
        self.doubts: dict[str, None] = {}  # in the order found, each once
        self.used: dict[str, TrialsUsed] = {}  # by source

    def of(self, trap: str, host: str, guest: str, own: ShrinkageSettings | None) -> Shrinkage:
        """Give a trap's shrinkage. Raises `AllowanceFault` where nothing is known of it."""
        line = self._lines[host]
        source, place, untold = self._nearest(trap, line, own)
        host_material = source.material or material_of(self._settings, line)
        guest_material = host_material if guest == host else material_of(self._settings, self._lines[guest])
        key = place, line.lot, *(each.name if each is not None else None for each in (host_material, guest_material))
        if key not in self._known:
            if source.coefficient is not None:
                found = Shrinkage(source.coefficient, source.standard_uncertainty, group=place, source="typed in")
            else:
                trials, chosen = _chosen(source.trials, line.lot, host_material, guest_material, untold)
                ratio = 1.0 if source.material is None else area_ratio(source.material, guest_material) or 1.0
                found = self._estimated(trap, source, ratio, trials, chosen)
            self._known[key] = found
        return self._known[key]

    def _nearest(
        self, trap: str, line: LineSettings, own: ShrinkageSettings | None
    ) -> tuple[ShrinkageSettings, str, bool]:
        """Give the nearest source, where it was written, and whether its trials that name no host speak of this one."""
        plan = self._settings.shrinkage
        if own is not None:
            return own, f"trap {trap}", True
        if line.shrinkage is not None:
            return line.shrinkage, f"line {line.name}", True
        if line.material is not None and (plan is None or plan.material != line.material):
            source = ShrinkageSettings(material=line.material)
            if plan is None or not plan.trials:
                return source, f"material {line.material.name}", True
            source = replace(source, trials=plan.trials, trials_file=plan.trials_file)
            return source, f"material {line.material.name}", plan.material is None
        if plan is not None:
            return plan, "plan", True
        raise AllowanceFault(
            "no shortening is known; give a coefficient, a material or trials in [shrinkage] or for the line"
        )

    def _estimated(
        self, trap: str, source: ShrinkageSettings, ratio: float, trials: Sequence[Trial], chosen: str
    ) -> Shrinkage:
        """Give what trials, a model or both say; one source of error is one group, wherever it was named."""
        material, file = source.material, f" in {source.trials_file}" if source.trials_file else ""
        first = first_value_of(material, ratio) if material is not None else None
        model = f"a model of the braid of {material.name}" if material is not None else ""
        if not trials:
            none = _why_none(source.trials, chosen)
            if first is None:
                if source.trials_file == ARCHIVE and not source.trials:
                    none = "its trials are those of the archive, and it has none yet, or no --archive names it"
                why = _why_no_first_value(material, ratio) if material is not None else ""
                raise AllowanceFault(f"{'; '.join(filter(None, (none, why))) or 'there is no trial yet'}; make trials")
            if none:
                self.doubts[f"{trap}: {none}; {model} stands in"] = None
            return estimate((), first, group=model, source=model).shrinkage
        for row, trial in enumerate(trials, 1):
            if trial.impossible:
                where = f"{trial.row or row}{file}" + (f", made in {trial.made}," if trial.made else "")
                raise AllowanceFault(
                    f"trial {where} cannot be right: {trial.impossible}, which no trap does; make it again, or take it "
                    "out"
                )
        said = " ".join(filter(None, (f"{len(trials)} trial{'s' if len(trials) > 1 else ''}", chosen))) + file
        said += _made_words(trials)
        said += f", upon {model}" if first is not None else ""
        found = estimate(trials, first, group=f"trials {hash(tuple(trials))}", source=said)
        if (k := found.shrinkage.coefficient) < 0:
            raise AllowanceFault(
                f"from {said} the shortening comes out as {share_text(k)} of the trap, and no trap lengthens its host; "
                "make more trials"
            )
        for doubt in doubts_of(found):
            self.doubts[f"{said}: {doubt}"] = None
        self.used[said] = TrialsUsed(said, tuple(trials), found)
        if len({(trial.material, trial.lot, trial.guest) for trial in trials}) > 1:
            self.doubts[
                f"trials of different lots or guests are counted together ({kinds_words(trials)}){file}; give the line "
                "its lot and its material, or keep a file for each"
            ] = None
        for suspect in found.suspects:
            row = trials[suspect - 1].row or suspect
            self.doubts[f"trial {row}{file} is far from the others, and still counted: look again"] = None
        return found.shrinkage


def kinds_words(trials: Sequence[Trial]) -> str:
    """Name the kinds of trials there are: host material, lot and guest of each."""
    kinds = dict.fromkeys((trial.material, trial.lot, trial.guest) for trial in trials)
    return "; ".join(
        f"{material + ' ' if material else ''}{'lot ' + lot if lot else 'no lot'} around {guest or 'its like'}"
        for material, lot, guest in kinds
    )


def _made_words(trials: Sequence[Trial]) -> str:
    """Say where trials were made, as far as they tell: of each what stands before its first comma."""
    places = list(dict.fromkeys(trial.made.partition(",")[0] for trial in trials if trial.made))
    if len(places) > _PLACES:
        return f", made in {places[0]} to {places[-1]}, {len(places)} in all"
    return f", made in {', '.join(places)}" if places else ""


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


def _why_none(trials: Sequence[Trial], chosen: str) -> str:
    if not trials:
        return ""
    none = f"none of the {len(trials)} trials is" if len(trials) > 1 else "the one trial is not"
    return f"{none} {chosen or 'around its like'}; found {kinds_words(trials)}"


def _why_no_first_value(material: MaterialSettings, ratio: float) -> str:
    angle_rad = angle_of(material)
    if angle_rad is None:
        return f"material {material.name!r} gives no braid angle, so no shortening"
    swelling = shortening_of_braid(angle_rad, ratio).closed_disc.swelling
    return (
        f"material {material.name!r}: a braid of {math.degrees(angle_rad):.1f} deg may lock before it has swollen "
        f"{swelling:.2f} times around its guest"
    )
