"""The two distributions the bench reckons with: the normal and Student's t.

Computed here so that the program needs no statistics library; tests compare them with one. A probability is the lower
tail's unless the name says otherwise, and a quantile outside (0, 1) is a `ValueError`, never an infinity.

>>> round(normal_cdf(1.0), 6), round(normal_quantile(0.975), 6)
(0.841345, 1.959964)
>>> round(student_t_quantile(0.975, 4), 4), round(student_t_quantile(0.975, float("inf")), 4)
(2.7764, 1.96)
"""

from __future__ import annotations

import math
from statistics import NormalDist

_STANDARD = NormalDist()

# From here up the expansion in 1/degrees of freedom is closer than 1e-12, and the continued fraction is slow.
_MANY_DEGREES = 20_000.0


def normal_cdf(z: float) -> float:
    """Give the probability that a standard normal value is at most `z`."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(probability: float) -> float:
    """Give the standard normal value that `probability`, strictly between 0 and 1, lies below."""
    _check(probability)
    return _STANDARD.inv_cdf(probability)


def student_t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Give the value of Student's t that `probability`, strictly between 0 and 1, lies below.

    `degrees_of_freedom` is above 0, need not be whole, and may be infinite (the normal distribution). Raises
    `ValueError` for anything else. Solved by safeguarded Newton steps on the tail probability, which is half the
    regularised incomplete beta function at x = v/(v + t^2) (Abramowitz and Stegun 26.7.1 and 26.5.27, from memory).
    """
    _check(probability)
    if not degrees_of_freedom > 0:
        raise ValueError(f"found {degrees_of_freedom!r} degrees of freedom, expected more than 0")
    if probability == 0.5:
        return 0.0
    if degrees_of_freedom >= _MANY_DEGREES:
        return _expanded(normal_quantile(probability), degrees_of_freedom)
    if probability < 0.5:
        return -_upper_quantile(probability, degrees_of_freedom)
    return _upper_quantile(1.0 - probability, degrees_of_freedom)


def _check(probability: float) -> None:
    if not 0.0 < probability < 1.0:
        raise ValueError(f"found the probability {probability!r}, expected one between 0 and 1")


def _expanded(z: float, v: float) -> float:
    """Give t from z by the expansion in 1/v (Abramowitz and Stegun 26.7.5, from memory); exact for infinite v."""
    square = z * z
    first = z * (square + 1) / 4
    second = z * ((5 * square + 16) * square + 3) / 96
    third = z * (((3 * square + 19) * square + 17) * square - 15) / 384
    return z + first / v + second / v / v + third / v / v / v


def _upper_quantile(tail: float, v: float) -> float:
    low, high = 0.0, 1.0
    while _tail(high, v) > tail:
        low, high = high, 2.0 * high
    t = _expanded(normal_quantile(1.0 - tail), v)
    if not low < t < high:
        t = 0.5 * (low + high)
    log_density_at_zero = -_log_half_beta(v) - 0.5 * math.log(v)
    for _ in range(200):
        excess = _tail(t, v) - tail
        low, high = (t, high) if excess > 0 else (low, t)
        density = math.exp(log_density_at_zero - 0.5 * (v + 1) * math.log1p(t * t / v))
        nearer = t + excess / density if density > 0 else low
        if not low < nearer < high:
            nearer = 0.5 * (low + high)
        if abs(nearer - t) <= 1e-15 * t:
            return nearer
        t = nearer
    return t


def _tail(t: float, v: float) -> float:
    """Give the probability above t > 0."""
    x = v / (v + t * t)
    y = t * t / (v + t * t)
    power = math.exp(0.5 * v * math.log(x) + 0.5 * math.log(y) - _log_half_beta(v))
    if x < (0.5 * v + 1) / (0.5 * v + 2.5):
        return 0.5 * power * _fraction(0.5 * v, 0.5, x) / (0.5 * v)
    return 0.5 - 0.5 * power * _fraction(0.5, 0.5 * v, y) / 0.5


def _log_half_beta(v: float) -> float:
    """Give ln B(v/2, 1/2); for many degrees by Stirling's series, where a difference of lgammas would cancel."""
    a = 0.5 * v
    if a < 50:
        return math.lgamma(a) + math.lgamma(0.5) - math.lgamma(a + 0.5)
    ratio = 0.5 * math.log(a) - 1 / (8 * a) + 1 / (192 * a**3) - 1 / (640 * a**5)
    return 0.5 * math.log(math.pi) - ratio


def _fraction(a: float, b: float, x: float) -> float:
    """Give the continued fraction of the incomplete beta function, summed by Lentz's method."""
    tiny = 1e-300
    c = 1.0
    d = 1.0 / (1.0 - (a + b) * x / (a + 1) or tiny)
    total = d
    for m in range(1, 2000):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / (1.0 + term * d or tiny)
            c = 1.0 + term / c or tiny
            total *= c * d
        if abs(c * d - 1.0) < 1e-16:
            break
    return total
