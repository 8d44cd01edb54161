"""A braided line under pull: it stretches, relaxes, and loses its constructional set once.

Rules:

- Tension is stiffness times elastic strain. The rest of the strain is set and viscous strain.
- **Relaxation** is a row of spring-and-dashpot branches (a generalised Maxwell body), two to a decade of time constant,
  so a line held at one length loses the same share of its tension in every decade of time: a straight line in log
  time. Past 100 s a second share rules: polyester yarn relaxes in two straight lines that meet near 100 s (abstract,
  Fibres & Textiles in Eastern Europe, fibtex.lodz.pl/article1370). What the two slopes are is invented here.
- **Set** comes out with the highest pull so far, in proportion, until at `set_pull_n` all is out; it never returns.
- A line can be held in two ways: at one extension (a clamp, a winch, a hand: tension falls) or at one tension (a dead
  weight: the line lengthens). It cannot push: below its slack length the tension is zero.
- Time is handed in and never runs back. Two pieces of one stock differ a little, by their seed.

>>> piece = BraidedLine(seed=1, stock=POLYESTER, length_m=3.0)
>>> extension_m = piece.pull_to(130.0, at_us=0)
>>> later_n = piece.stretch_to(extension_m, at_us=30_000_000)
>>> 105 < later_n < 115, piece.set_left_m
(True, 0.0)
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import lru_cache

_LBF_N = 4.4482216152605

# Two branches to the decade keep the ripple on the straight line below a thousandth of its slope. Branches up to the
# one at 100 s relax at the early share: the two straight lines then meet at 10**2.25 s times exp(-0.5772), 99.9 s.
_TIME_CONSTANTS_S = tuple(10 ** (step / 2) for step in range(-2, 9))
_LAST_EARLY_S = 100.0


@dataclass(frozen=True)
class Stock:
    """A kind of line, as its pieces are on average.

    `stiffness_n` is EA, tension for each unit of strain. The relaxations are shares of the tension lost in each
    tenfold of time. `set_fraction` of the length is constructional set.
    """

    name: str
    stiffness_n: float
    set_fraction: float
    set_pull_n: float
    relaxation_per_decade: float
    late_relaxation_per_decade: float

    def __post_init__(self) -> None:
        if self.stiffness_n <= 0 or self.set_pull_n <= 0:
            raise ValueError(f"{self.name}: found a stiffness or a set pull that is not above zero")
        if self.set_fraction < 0 or not 0 <= sum(self.branch_weights()) < 1:
            raise ValueError(f"{self.name}: found a set or a relaxation outside what a line can do")

    def branch_weights(self) -> tuple[float, ...]:
        """Give the share of the tension that each branch loses in the end, for each time constant."""
        return tuple(
            (self.relaxation_per_decade if tau <= _LAST_EARLY_S else self.late_relaxation_per_decade) / 2
            for tau in _TIME_CONSTANTS_S
        )


# Invented figures of a likely size; no published measurement of a braid's relaxation or set was found.
HMPE = Stock("HMPE", 10_000 * _LBF_N, 0.005, 28 * _LBF_N, 0.010, 0.010)
POLYESTER = Stock("polyester", 3_500 * _LBF_N, 0.008, 28 * _LBF_N, 0.050, 0.030)

_SCATTER = 0.05  # standard deviation from piece to piece, as a share


@lru_cache(maxsize=256)
def _step(dt_us: int) -> tuple[tuple[float, float], ...]:
    """Give, per branch, what stays of an old difference after `dt_us`, and of a steady rise (the mean of that)."""
    if dt_us == 0:
        return tuple((1.0, 1.0) for _ in _TIME_CONSTANTS_S)
    times = [dt_us / 1e6 / tau for tau in _TIME_CONSTANTS_S]
    return tuple((math.exp(-time), -math.expm1(-time) / time) for time in times)


class BraidedLine:
    """One piece of line; see the module's docstring. Between two calls its end moves in a straight line."""

    def __init__(self, seed: int, stock: Stock, length_m: float) -> None:
        chance = random.Random(f"line {seed}")  # noqa: S311  # a repeatable piece, no secret
        near = [max(0.5, chance.gauss(1, _SCATTER)) for _ in range(3)]
        self.stock = stock
        self.length_m = length_m
        self.stiffness_n = stock.stiffness_n * near[0]
        self._weights = tuple(weight * near[1] for weight in stock.branch_weights())
        self._set_fraction = stock.set_fraction * near[2]
        self._at_us: int | None = None
        self._strain = 0.0  # without the set: elastic and viscous
        self._viscous = [0.0] * len(self._weights)  # each branch creeps after the strain
        self._peak_n = 0.0
        self.tension_n = 0.0

    @property
    def extension_m(self) -> float:
        """How far the line stands past the length it was cut from the spool with, in metres."""
        return (self._strain + self._set(self._peak_n)) * self.length_m

    @property
    def set_left_m(self) -> float:
        """How much constructional set is still in the line, in metres."""
        return (self._set_fraction - self._set(self._peak_n)) * self.length_m

    def stretch_to(self, extension_m: float, at_us: int) -> float:
        """Hold the end at `extension_m` from the last stamp to `at_us`; give the tension in newtons."""
        branches, creep, share = self._advance(at_us)
        strain = extension_m / self.length_m
        soft = self._set_fraction / self.stock.set_pull_n  # set that comes out with each newton of a first pull

        def tension(set_out: float) -> float:
            return self.stiffness_n * ((strain - set_out) * (1 - share) - creep)

        tension_n = tension(self._set(self._peak_n))
        if tension_n > self._peak_n < self.stock.set_pull_n:
            tension_n = tension(0.0) / (1 + self.stiffness_n * soft * (1 - share))
            if tension_n > self.stock.set_pull_n:
                tension_n = tension(self._set_fraction)
        if tension_n < 0:
            return self._settle(branches, creep / (1 - share), 0.0, at_us)
        set_out = self._set(max(self._peak_n, tension_n))
        return self._settle(branches, strain - set_out, tension_n, at_us)

    def pull_to(self, tension_n: float, at_us: int) -> float:
        """Hold the tension at `tension_n` at `at_us`; give the extension in metres."""
        if tension_n < 0:
            raise ValueError(f"found a pull of {tension_n} N, expected none below zero: a line cannot push")
        branches, creep, share = self._advance(at_us)
        self._settle(branches, (tension_n / self.stiffness_n + creep) / (1 - share), tension_n, at_us)
        return self.extension_m

    def _set(self, peak_n: float) -> float:
        return self._set_fraction * min(1.0, peak_n / self.stock.set_pull_n)

    def _advance(self, at_us: int) -> tuple[list[tuple[float, float]], float, float]:
        """Solve every branch up to `at_us`, as (what it keeps, how it follows the strain to come).

        Each branch obeys dq/dt = (strain - q)/tau. With the strain going in a straight line from s0 to s1 the exact
        answer is q1 = q0 e + s0 (m - e) + s1 (1 - m), with e and m from `_step`. The sums of both parts, weighted,
        come with it.
        """
        last_us = at_us if self._at_us is None else self._at_us
        if at_us < last_us:
            raise ValueError(f"found a stamp of {at_us} us after {last_us} us, expected time to go forward")
        branches = [
            (q * kept + self._strain * (mean - kept), 1 - mean)
            for q, (kept, mean) in zip(self._viscous, _step(at_us - last_us), strict=True)
        ]
        creep = sum(w * keeps for w, (keeps, _) in zip(self._weights, branches, strict=True))
        share = sum(w * follows for w, (_, follows) in zip(self._weights, branches, strict=True))
        return branches, creep, share

    def _settle(self, branches: list[tuple[float, float]], strain: float, tension_n: float, at_us: int) -> float:
        self._viscous = [keeps + follows * strain for keeps, follows in branches]
        self._strain = strain
        self._peak_n = max(self._peak_n, tension_n)
        self._at_us = at_us
        self.tension_n = tension_n
        return tension_n
