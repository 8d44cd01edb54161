"""The few methods of the GUM and of JCGM 106 that a bench needs, each with its clause.

>>> mean_and_sd([1.0, 2.0, 3.0])
(2.0, 1.0)
>>> effective_dof([(0.25, 9), (0.57, 4), (0.82, 14)])  # JCGM 100:2008, G.4.1: 19.0
18
>>> round(conformance(509.7, 8.6, low=490.0), 2)  # JCGM 106:2012, 7.3.3: 0.99
0.99
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from station.distributions import student_t_quantile

COVERAGE_PROBABILITY = 0.9545


def mean_and_sd(values: Sequence[float]) -> tuple[float, float]:
    """Give mean and standard deviation (n - 1), by exact sums, so that digits common to all values cost nothing.

    JCGM 100:2008, 4.2.1 and 4.2.2. The standard deviation of a single value is not known: NaN.
    """
    count = len(values)
    first = values[0]
    mean = first + math.fsum(value - first for value in values) / count
    if count == 1:
        return mean, math.nan
    return mean, math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (count - 1))


def effective_dof(parts: Iterable[tuple[float, float]]) -> int | None:
    """Give effective degrees of freedom by Welch and Satterthwaite, cut to a whole number; None where infinite.

    `parts` are standard uncertainties with their degrees of freedom (infinite ones count in the total alone).
    JCGM 100:2008, G.4.1 and G.6.4.
    """
    total = below = 0.0
    for uncertainty, dof in parts:
        total += uncertainty**2
        below += uncertainty**4 / dof if math.isfinite(dof) else 0.0
    if below == 0 or total**2 / below > 1e9:
        return None
    return max(1, math.floor(total**2 / below * (1 + 1e-12)))


def coverage_factor(dof: int | None, probability: float = COVERAGE_PROBABILITY) -> float:
    """Give Student's t for a two-sided interval; the normal one where `dof` is None. JCGM 100:2008, table G.2."""
    return student_t_quantile((1 + probability) / 2, math.inf if dof is None else dof)


def conformance(value: float, standard: float, low: float = -math.inf, high: float = math.inf) -> float:
    """Give the probability that what was measured lies inside the limits. JCGM 106:2012, 7.2.6, equation 6.

    Worked from the small tails, so that nothing cancels near one.
    """
    if standard == 0:
        return 1.0 if low <= value <= high else 0.0
    root = math.sqrt(2) * standard
    return 1 - 0.5 * math.erfc((high - value) / root) - 0.5 * math.erfc((value - low) / root)


@dataclass(frozen=True)
class StraightLine:
    """y = intercept + slope (x - origin) by least squares: standard uncertainties, correlation, residual scatter."""

    origin: float
    intercept: float
    slope: float
    intercept_standard: float
    slope_standard: float
    correlation: float
    residual_sd: float
    dof: int

    def at(self, x: float) -> tuple[float, float]:
        """Give the line's height at `x` and its standard uncertainty."""
        away = x - self.origin
        variance = (
            self.intercept_standard**2
            + (away * self.slope_standard) ** 2
            + 2 * away * self.correlation * self.intercept_standard * self.slope_standard
        )
        return self.intercept + self.slope * away, math.sqrt(max(0.0, variance))


def straight_line(x: Sequence[float], y: Sequence[float], origin: float = 0.0) -> StraightLine:
    """Fit a straight line to at least three points, not all of one x. JCGM 100:2008, H.3.2."""
    count = len(x)
    mean_x, mean_y = math.fsum(x) / count, math.fsum(y) / count
    spread = math.fsum((each - mean_x) ** 2 for each in x)
    slope = math.fsum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / spread
    residual_square = math.fsum((b - mean_y - slope * (a - mean_x)) ** 2 for a, b in zip(x, y, strict=True))
    residual_sd = math.sqrt(residual_square / (count - 2))
    away = mean_x - origin
    intercept_standard = residual_sd * math.sqrt(1 / count + away**2 / spread)
    slope_standard = residual_sd / math.sqrt(spread)
    correlation = -away / math.sqrt(spread / count + away**2)
    return StraightLine(
        origin,
        mean_y - slope * away,
        slope,
        intercept_standard,
        slope_standard,
        correlation,
        residual_sd,
        count - 2,
    )
