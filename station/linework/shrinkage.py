"""How much a trap shortens its host, and what the shop's own trials say about it.

A trap of length t shortens its host by k t. `Shrinkage` is what is known of k: typed in by a person, worked out from a
braid, or estimated from trials; every allowance in a plan comes from one. A trial is a trap length and the shortening
measured; `estimate` serves from no trial on. It keeps these rules:

- the model is s = k t + e with e normal, and a conjugate normal-inverse-gamma prior from the first value of k; without
  a first value it is ordinary least squares through the origin;
- nothing is dropped: a suspect trial is named, by its row counted from 1, and still counts;
- a trial whose measuring has a known uncertainty u weighs by 1/(scatter^2 + u^2): the scatter is that of the traps
  alone, and a trial without one is taken to be measured as well as the others. Without any, the scatter holds the
  measuring too;
- where there are no degrees of freedom there is no uncertainty, and it says None rather than a number;
- trials are kept apart by host material, lot and guest: `matching` picks those that speak of one trap.

>>> inch = 0.0254
>>> pairs = [(5, 0.31), (6, 0.38), (4, 0.24), (6, 0.36)]
>>> found = estimate([Trial(trap * inch, shortening * inch) for trap, shortening in pairs])
>>> round(found.shrinkage.coefficient, 4), found.shrinkage.degrees_of_freedom, found.suspects
(0.0615, 3.0, ())
>>> low, high = found.shrinkage.allowance_95_m(6 * inch)
>>> round(low / inch, 2), round(high / inch, 2)
(0.34, 0.4)
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from operator import mul
from typing import Literal

from station.distributions import normal_quantile, student_t_quantile
from station.linework.braid import braid_angle_rad, shortening_of_braid
from station.settings.materials import MaterialSettings
from station.settings.trials import Trial

__all__ = [
    "Estimate",
    "FirstValue",
    "Shrinkage",
    "Trial",
    "doubts_of",
    "estimate",
    "first_value_of",
    "impossible_words",
    "matching",
    "share_text",
]

# The scatter of one measured shortening expected before any is measured: our assumption.
ASSUMED_SCATTER_M = float(Fraction("0.0254") / 32)
_FIRST_SHAPE = 2.0
_NO_SCATTER_M = 1e-9


@dataclass(frozen=True)
class FirstValue:
    """What is thought of k before any trial: a value with its standard uncertainty, both pure numbers."""

    coefficient: float
    standard_uncertainty: float


@dataclass(frozen=True)
class Shrinkage:
    """What is known of k, the shortening per unit of trap length.

    `standard_uncertainty` is None where nobody has given one. `scatter_m` is the standard deviation of one trap about
    k t: 0 where k was typed, None where trials leave it unknown. Traps of one `group` share the error of their k.
    `origin` says where k comes from, `source` in words; a *model* is a first value that no trial has tried.
    """

    coefficient: float
    standard_uncertainty: float | None
    scatter_m: float | None = 0.0
    degrees_of_freedom: float = math.inf
    group: str = ""
    origin: Literal["typed", "model", "trials"] = "typed"
    source: str = ""

    def allowance_m(self, trap_m: float) -> float:
        """Give the shortening to expect from a trap of `trap_m`."""
        return self.coefficient * trap_m

    def allowance_95_m(self, trap_m: float) -> tuple[float, float] | None:
        """Give the interval that holds the shortening of a new trap with 95 % probability; None where unknown.

        Student's t about k t with scale sqrt(scatter^2 + (u t)^2), the normal distribution where k was typed; a typed
        k without uncertainty counts as exact.
        """
        if self.scatter_m is None:
            return None
        scale_m = math.hypot((self.standard_uncertainty or 0.0) * trap_m, self.scatter_m)
        half_m = student_t_quantile(0.975, self.degrees_of_freedom) * scale_m if scale_m else 0.0
        middle_m = self.allowance_m(trap_m)
        return middle_m - half_m, middle_m + half_m


@dataclass(frozen=True)
class Estimate:
    """What the trials say: k with its uncertainty and scatter, which rows look wrong, how many more would help."""

    shrinkage: Shrinkage
    n: int
    suspects: tuple[int, ...]
    more_trials: int | None


def share_text(share: float) -> str:
    """Write a pure number to four decimals, and never as 0 where it is not.

    >>> share_text(0.0625), share_text(0.0), share_text(0.0000123)
    ('0.0625', '0.0000', '0.000012')
    """
    return (
        f"{share:.4f}" if share == 0 or abs(share) >= 0.5e-4 else f"{share:.{1 - math.floor(math.log10(abs(share)))}f}"
    )


def estimate(
    trials: Sequence[Trial],
    first: FirstValue | None = None,
    trap_m: float | None = None,
    group: str = "",
    source: str = "",
) -> Estimate:
    """Estimate k from `trials` and, where there is one, a first value.

    With nn = n0 + sum t^2 and kn = (n0 k0 + sum t s)/nn, the scatter is sqrt(bn/an), the standard uncertainty of k is
    sqrt(bn/(an nn)) and the degrees of freedom are 2 an (conjugate normal-inverse-gamma; with n0 = 0, a0 = -1/2,
    b0 = 0 it is least squares through the origin).

    Where measuring uncertainties u_i are given every sum is weighted by w_i = V/(V + u_i^2 - U^2), with U^2 their mean
    square and V = bn/an, the variance of a trial measured with U, solved for and never below U^2: the moment rule of
    Paule and Mandel, from memory. The scatter is then sqrt(V - U^2). With equal u_i every weight is 1.

    `more_trials` is the fewest further trials, of the same mean t^2 and scatter, that halve the 95 % interval of a trap
    of `trap_m` (default: the root mean square of the trials'), or None where none can. Raises `ValueError` where there
    is neither trial nor first value, for a first value without uncertainty, and where every trap is 0.
    """
    if first is not None and not first.standard_uncertainty > 0:
        raise ValueError("found a first value without uncertainty; trials cannot move what is held to be exact")
    n = len(trials)
    given = [each.standard_uncertainty_m**2 for each in trials if each.standard_uncertainty_m is not None]
    typical = math.fsum(given) / len(given) if given else 0.0
    fit = _Fit(trials, first)
    variance = fit.variance
    if any(given) and variance is not None:
        variance = max(variance, typical)
        if max(given) > min(given):
            beyond = [  # how much less sure than the typical trial's its measuring makes each
                0.0 if each.standard_uncertainty_m is None else each.standard_uncertainty_m**2 - typical
                for each in trials
            ]
            variance = _balanced(trials, first, beyond, typical)
            fit = _Fit(trials, first, [variance / (variance + each) for each in beyond])
    origin: Literal["model", "trials"] = "trials" if n else "model"
    if variance is None:
        shrinkage = Shrinkage(fit.k, None, None, 0.0, group, origin, source)
    else:
        scatter_m = math.sqrt(max(variance - typical, 0.0))
        shrinkage = Shrinkage(fit.k, math.sqrt(variance / fit.weight), scatter_m, 2 * fit.shape, group, origin, source)
    more = _more_trials(shrinkage, fit.weight, fit.sum_tt / n if n else 0.0, trap_m)
    return Estimate(shrinkage, n, _suspects(fit.traps_m, fit.shortenings_m, fit.sum_tt, fit.sum_ts), more)


class _Fit:
    """The conjugate fit of weighted trials: a trap and shortening times the root of its weight is one of weight 1."""

    def __init__(
        self, trials: Sequence[Trial], first: FirstValue | None, weights: Sequence[float] | None = None
    ) -> None:
        self.traps_m = [each.trap_m for each in trials]
        self.shortenings_m = [each.shortening_m for each in trials]
        if weights is not None:
            roots = list(map(math.sqrt, weights))
            self.traps_m = list(map(mul, roots, self.traps_m))
            self.shortenings_m = list(map(mul, roots, self.shortenings_m))
        self.sum_tt = math.fsum(map(mul, self.traps_m, self.traps_m))
        self.sum_ts = math.fsum(map(mul, self.traps_m, self.shortenings_m))
        shape, first_weight, first_spread, k0 = -0.5, 0.0, 0.0, 0.0
        if first is not None:
            shape, k0 = _FIRST_SHAPE, first.coefficient
            first_weight = (ASSUMED_SCATTER_M / first.standard_uncertainty) ** 2
            first_spread = shape * ASSUMED_SCATTER_M**2
        self.weight = first_weight + self.sum_tt
        if not self.weight > 0:
            raise ValueError("found no trial and no first value: nothing is known of the shortening")
        self.k = k = (first_weight * k0 + self.sum_ts) / self.weight
        residuals_m = [
            shortening_m - k * trap_m for trap_m, shortening_m in zip(self.traps_m, self.shortenings_m, strict=True)
        ]
        squares = math.fsum(map(mul, residuals_m, residuals_m))
        self.shape = shape + len(trials) / 2
        spread = first_spread + (squares + first_weight * (k0 - k) ** 2) / 2
        self.variance = spread / self.shape if self.shape > 0 else None


def _balanced(trials: Sequence[Trial], first: FirstValue | None, beyond: Sequence[float], lowest: float) -> float:
    """Give the variance V at which the fit weighted by V/(V + beyond) finds V; `lowest` where it finds less everywhere.

    What the fit finds over V only falls as V grows, so the balance is one, and halving finds it.
    """

    def found_over(variance: float) -> float:
        found = _Fit(trials, first, [variance / (variance + each) for each in beyond]).variance
        return (found or 0.0) / variance

    if found_over(lowest) <= 1:
        return lowest
    high = 2 * lowest
    while found_over(high) > 1:
        high *= 2
    low = high / 2
    while high - low > 1e-13 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if found_over(middle) > 1 else (low, middle)
    return high


def doubts_of(found: Estimate) -> list[str]:
    """Say what no trap and no ruler can do, and these trials do.

    >>> inch = 0.0254
    >>> doubts_of(estimate([Trial(6 * inch, 3 / 8 * inch)] * 5))
    ['they agree to the last digit, and no ruler reads so finely: the scatter is not really nothing']
    """
    known, doubts = found.shrinkage, []
    if known.coefficient < 0:
        doubts.append("they make a trap lengthen its host, which no trap does: look at them again")
    if known.coefficient >= 1:
        doubts.append("they make a trap shorten its host by all its length, which no trap does: look at them again")
    if known.scatter_m is not None and known.scatter_m < _NO_SCATTER_M:
        doubts.append("they agree to the last digit, and no ruler reads so finely: the scatter is not really nothing")
    return doubts


def impossible_words(trials: Sequence[Trial]) -> str:
    """Name the rows that tell what no trap does, which a plan refuses; '' where there is none."""
    rows = [str(trial.row or row) for row, trial in enumerate(trials, 1) if trial.impossible]
    if not rows:
        return ""
    named = ", ".join(rows[:4]) + (f" and {len(rows) - 4} more" if len(rows) > 4 else "")
    return (
        f"row{'s' if len(rows) > 1 else ''} {named} cannot be right: no trap shortens its host by all its length, or "
        "lengthens it; a plan refuses such trials"
    )


def matching(
    trials: Iterable[Trial],
    material: str | None = None,
    lot: str | None = None,
    guests: Collection[str] | None = None,
    untold: bool = True,
) -> list[Trial]:
    """Give the trials of a host material, a lot, and any of these guests; None counts them all.

    A trial that does not tell its host's material speaks of every one, unless `untold` is false.

    >>> rows = [Trial(0.1, 0.006, "L1"), Trial(0.1, 0.007, "L2"), Trial(0.1, 0.012, "L1", "polyester 600")]
    >>> [each.shortening_m for each in matching(rows, lot="L1", guests={""})]
    [0.006]
    """
    materials = {material, ""} if untold else {material}
    return [
        each
        for each in trials
        if (material is None or each.material in materials)
        and (lot is None or each.lot == lot)
        and (guests is None or each.guest in guests)
    ]


def angle_of(host: MaterialSettings) -> float | None:
    """Give a material's braid angle in radians: as given, else from flat width, picks and carriers, else None."""
    if host.braid_angle_rad is not None:
        return host.braid_angle_rad
    if host.flat_width_m is None or host.picks_per_m is None or host.carriers is None:
        return None
    return braid_angle_rad(host.flat_width_m, host.picks_per_m, host.carriers)


def first_value_of(host: MaterialSettings, area_ratio: float = 1.0) -> FirstValue | None:
    """Give the first value of k that a material's braid angle gives, or None where it gives none or locks.

    `area_ratio` is the guest's solid area over the host's.
    """
    angle_rad = angle_of(host)
    if angle_rad is None:
        return None
    braid = shortening_of_braid(angle_rad, area_ratio)
    if braid.first_value is None or braid.standard_uncertainty is None:
        return None
    return FirstValue(braid.first_value, braid.standard_uncertainty)


def _suspects(
    traps_m: Sequence[float], shortenings_m: Sequence[float], sum_tt: float, sum_ts: float
) -> tuple[int, ...]:
    """Name the rows whose externally studentised residual from least squares passes t(1 - 0.025/n, n - 2).

    The first value has no say here: a trial is held against the other trials only (Bonferroni over n rows).
    """
    n = len(traps_m)
    if n < 3 or not sum_tt > 0:
        return ()
    k = sum_ts / sum_tt
    residuals_m = [shortening_m - k * trap_m for trap_m, shortening_m in zip(traps_m, shortenings_m, strict=True)]
    squares = math.fsum(map(mul, residuals_m, residuals_m))
    limit = student_t_quantile(1 - 0.025 / n, n - 2)
    # r = e/(s_without sqrt(free)) > limit, with s_without^2 = (squares - e^2/free)/(n - 2), cleared of divisions: what
    # is left without the row may be 0.
    bound = limit * limit * squares / (n - 2 + limit * limit)
    # What rounding alone can make of a perfect fit is no finding, nor is a row that alone decides the line.
    noise_m = 1e-12 * max(map(abs, chain(shortenings_m, (k * trap_m for trap_m in traps_m))))
    return tuple(
        row
        for row, (trap_m, residual_m) in enumerate(zip(traps_m, residuals_m, strict=True), 1)
        if residual_m * residual_m > bound * (1 - trap_m * trap_m / sum_tt)
        and abs(residual_m) > noise_m
        and 1 - trap_m * trap_m / sum_tt > 1e-12
    )


def _more_trials(shrinkage: Shrinkage, weight: float, mean_square: float, trap_m: float | None) -> int | None:
    t_square = mean_square if trap_m is None else trap_m * trap_m
    degrees = shrinkage.degrees_of_freedom
    if not degrees > 0 or not mean_square > 0 or not t_square > 0:
        return None
    variance = (shrinkage.standard_uncertainty or 0.0) ** 2 * weight  # of one trial, as measured
    own = (shrinkage.scatter_m or 0.0) ** 2 / variance if variance else 1.0  # the trap's own part of it

    def width(further: int) -> float:
        spread = math.sqrt(own + t_square / (weight + further * mean_square))
        return student_t_quantile(0.975, degrees + further) * spread

    wanted = width(0) / 2
    if normal_quantile(0.975) * math.sqrt(own) >= wanted:  # what no number of trials takes away: a trap's own scatter
        return None
    high = 1
    while width(high) > wanted:
        high *= 2
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if width(middle) > wanted else (low, middle)
    return high
