"""How often a line fits at the first try: `python -m tests.campaigns.landing --json [--seed N] [--size SHOPS]`.

A shop buys a lot of braid of which nobody knows how much a trap shortens it, and makes job after job from it: one main
line with a cascade, of other lengths each time, from raw stock to the comparison before anything is moved. The true
shortening of the lot is drawn, that of each trap scatters about it, every mark and every look is off by something. The
hand that works (`simulators.line_work`) follows marks and cannot plan. Two ways of marking, on the same lines with the
same errors:

- *learned*: the production plan. For its first job it knows the model of the braid alone; after each job the shop
  writes down what its traps took, measured with an error, as trials of that lot;
- *fixed*: 3/8 in for every trap, common practice (marked so in `config/lines`), for the same plan.

A line is in tolerance when it stands within the tolerance of its opposite number at the first try. With the 1/2 in
that makers allow (common practice) nearly every line is, by either way; what is shown here is the share within 1/16 in,
as near as a rigger can tell level, and beside it within 1/8 in and 1/2 in. *stated* is the plan's own probability for
the same lines.

The true shortening of a lot is drawn about the model's first value, as wide as the model says it may be off. So the
first job shows what the model is worth where it is right about that, and not that it is; the later jobs rest on trials.
Status 1: over all jobs looked at after the first, no more lines landed by the learned way than by the fixed one.
"""

from __future__ import annotations

import dataclasses
import math
import random
import sys
from collections import Counter
from pathlib import Path

from simulators.line_work import compare_m, work
from station.linework.line_plan import LinePlan, make_plan
from station.linework.shrinkage import first_value_of
from station.settings.materials import MaterialSettings, load_material
from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
from station.settings.trials import Trial
from station.units import factor
from tests.campaigns.campaign import Finding, Progress, limits_95, run, shared
from tests.station.linework.trees import described

INCH = float(factor("in", "length"))
LBF_N = float(factor("lbf", "force"))
FIXED_M = 3 / 8 * INCH  # in every trap: common practice
JOBS = (1, 2, 3, 5, 10, 20, 50)
TOLERANCES = {"1/16 in": INCH / 16, "1/8 in": INCH / 8, "1/2 in": INCH / 2}
FINEST = "1/16 in"
SHARE = 10

# How far hands and eyes are off, as standard deviations: invented, of the size the example plans assume.
MARK_M = INCH / 64
EYE_M = INCH / 64
COMPARING_N = 0.5 * LBF_N
TRIAL_M = INCH / 64  # of a shortening measured on the bench
SCATTERS_M = (INCH / 64, INCH / 32)  # of one trap about the lot's own shortening
LOT_SPREAD = 1.0  # of the lots' true shortening, in standard uncertainties of the model


def materials() -> list[MaterialSettings]:
    """Give the ready-made materials."""
    folder = Path(__file__).parents[2] / "config" / "lines"
    return [load_material(file) for file in sorted(folder.glob("*.toml"))]


def job(chance: random.Random, material: MaterialSettings, trials: tuple[Trial, ...]) -> PlanSettings:
    """Draw a job: a main line with its cascade, their lengths and traps."""
    trap_m = chance.randint(64, 112) * INCH / 16  # 4 in to 7 in
    long_m = chance.randint(90, 150) * INCH
    main = LineSettings(
        "A", LinkEnd(1.5 * INCH, trap_m), CanopyEnd(trap_m, INCH), long_m, material=material, lot="the lot"
    )
    branch = LineSettings(
        "B",
        Joint("A", chance.randint(30, 60) * INCH, trap_m),
        CanopyEnd(trap_m, 0.0, 1.25 * INCH),
        chance.randint(50, 90) * INCH,
        material=material,
        lot="the lot",
    )
    return PlanSettings(
        file="landing",
        name="A and B",
        pull_n=10 * LBF_N,
        tolerance_m=TOLERANCES[FINEST],
        lines=(main, branch),
        comparing_uncertainty_n=COMPARING_N,
        mark_uncertainty_m=MARK_M,
        eye_uncertainty_m=EYE_M,
        spare_m=8 * INCH,
        minimum_trap_m=3 * INCH,
        shrinkage=ShrinkageSettings(material=material, trials=trials),
    )


def fixed(settings: PlanSettings) -> PlanSettings:
    """Give the same job with 3/8 in allowed for every trap."""
    trap_m = settings.lines[0].canopy_end.trap_m
    allowed = ShrinkageSettings(coefficient=FIXED_M / trap_m, standard_uncertainty=0.01)
    lines = tuple(dataclasses.replace(line, shrinkage=allowed) for line in settings.lines)
    return dataclasses.replace(settings, lines=lines)


def landed_m(
    plan: LinePlan, true_k: dict[str, float], off_m: dict[str, float], seen_m: dict[str, float]
) -> dict[str, float]:
    """Work a plan by hand; give how much longer each line is seen to stand than its opposite number."""
    pieces, _ = work(*described(plan), true_k.__getitem__, off_m)
    stands_m = compare_m(pieces, {line.name: line.length_m or 0.0 for line in plan.settings.lines})
    return {name: stands + seen_m[name] for name, stands in stands_m.items()}


def shop(chance: random.Random, material: MaterialSettings, jobs: int, count: Counter[str]) -> None:
    """Work a shop's jobs and count what landed."""
    first = first_value_of(material)
    if first is None:
        raise ValueError(f"{material.name}: found no braid angle, expected one")
    lot_k = max(0.02, chance.gauss(first.coefficient, LOT_SPREAD * first.standard_uncertainty))
    scatter_m = chance.choice(SCATTERS_M)
    trials: tuple[Trial, ...] = ()
    for number in range(1, jobs + 1):
        settings = job(chance, material, trials)
        plan = make_plan(settings)
        true_k = {step.trap: lot_k + chance.gauss(0, scatter_m) / step.trap_m for step in plan.steps}
        off_m = {line.name: chance.gauss(0, MARK_M) for line in settings.lines}
        seen_m = {
            line.name: chance.gauss(0, EYE_M)
            + chance.gauss(0, COMPARING_N) * (line.length_m or 0.0) / (material.stiffness_n or math.inf)
            for line in settings.lines
        }
        if number in JOBS:
            ways = {"learned": plan, "fixed": make_plan(fixed(settings))}
            for way, chosen in ways.items():
                for name, long_m in landed_m(chosen, true_k, off_m, seen_m).items():
                    count[f"{way} lines {number}"] += 1
                    for tolerance, tolerance_m in TOLERANCES.items():
                        count[f"{way} {tolerance} {number}"] += abs(long_m) <= tolerance_m
                    if way == "learned":
                        stated = next(line.probability_in_tolerance for line in plan.lines if line.name == name)
                        count[f"stated ppm {number}"] += round(1e6 * stated)
        trials += tuple(
            Trial(step.trap_m, true_k[step.trap] * step.trap_m + chance.gauss(0, TRIAL_M), "the lot", "", material.name)
            for step in plan.steps
        )


def share(part: tuple[int, int, int]) -> Counter[str]:
    """Work some shops."""
    seed, first, last = part
    count: Counter[str] = Counter()
    known = materials()
    for number in range(first, last):
        chance = random.Random(f"shop {seed} {number}")  # noqa: S311 -- repeatable, no secret
        shop(chance, known[number % len(known)], max(JOBS), count)
    return count


def landing(seed: int, size: int) -> Finding:
    """Work so many shops, of fifty jobs each."""
    count: Counter[str] = Counter()
    tell = Progress(size, "shops")
    for done, counted in shared(share, seed, size, SHARE):
        count += counted
        tell(done)
    rows = []
    for number in JOBS:
        row: dict[str, object] = {"job": number, "lines": (lines := count[f"learned lines {number}"])}
        for way in ("learned", "fixed"):
            row[way] = {
                tolerance: {
                    "share": round(count[f"{way} {tolerance} {number}"] / lines, 4),
                    "limits_95": limits_95(count[f"{way} {tolerance} {number}"], lines),
                }
                for tolerance in TOLERANCES
            }
        row["stated"] = {FINEST: round(count[f"stated ppm {number}"] / 1e6 / lines, 4)}
        rows.append(row)

    def share_of(way: str, *numbers: int) -> float:
        landed, lines = (sum(count[f"{way} {each} {number}"] for number in numbers) for each in (FINEST, "lines"))
        return landed / lines

    figures = {
        "shops": size,
        "jobs": size * max(JOBS),
        "tolerances": list(TOLERANCES),
        "by_job": rows,
        "materials": [each.name for each in materials()],
    }
    last = max(JOBS)
    stated = count[f"stated ppm {last}"] / 1e6 / count[f"learned lines {last}"]
    first, second, tenth, fiftieth = (f"{100 * share_of('learned', number):.0f} %" for number in (1, 2, 10, 50))
    words = (
        f"In {size} shops {first} of the lines of the first job landed within {FINEST} at the first try, {second} of "
        f"the second job's, {tenth} of the tenth's and {fiftieth} of the fiftieth's, where the plan states "
        f"{100 * stated:.0f} %. With 3/8 in for every trap {100 * share_of('fixed', last):.0f} % did."
    )
    after_the_first = JOBS[1:]
    return Finding(figures, words, share_of("learned", *after_the_first) > share_of("fixed", *after_the_first))


if __name__ == "__main__":
    sys.exit(run(__doc__, 1_000, "shops", landing))
