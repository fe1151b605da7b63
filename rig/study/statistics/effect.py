"""Standardised effect of two groups: Hedges' g with its 95 % interval."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import stats
from scipy.optimize import brentq
from scipy.special import gammaln


@dataclass(frozen=True)
class Effect:
    """Difference over the common scatter of the units, corrected for small numbers."""

    g: float
    low: float
    high: float


def small_sample_factor(dof: int) -> float:
    """J of Hedges 1981: gamma(f/2) / (sqrt(f/2) gamma((f - 1)/2)); 0 with one degree."""
    if dof < 2:
        return 0.0
    return math.exp(gammaln(dof / 2) - gammaln((dof - 1) / 2)) / math.sqrt(dof / 2)


def hedges_g(one: Sequence[float], two: Sequence[float], level: float = 0.95) -> Effect | None:
    """g = J (mean one - mean two) / pooled scatter; the interval by inverting noncentral t.

    It takes the scatter as common to both groups. None with fewer than four units in all, or
    without scatter.
    """
    n1, n2 = len(one), len(two)
    dof = n1 + n2 - 2
    if min(n1, n2) < 1 or dof < 2:
        return None
    mean1, mean2 = math.fsum(one) / n1, math.fsum(two) / n2
    squares = math.fsum((x - mean1) ** 2 for x in one) + math.fsum((x - mean2) ** 2 for x in two)
    if squares == 0:
        return None
    root = math.sqrt(1 / n1 + 1 / n2)
    d = (mean1 - mean2) / math.sqrt(squares / dof)
    low, high = noncentral_interval(d / root, dof, level)
    j = small_sample_factor(dof)
    return Effect(j * d, j * low * root, j * high * root)


def noncentral_interval(t: float, dof: float, level: float) -> tuple[float, float]:
    """The noncentralities at which `t` is the upper and the lower end of the central `level`."""
    tail = (1 - level) / 2
    if t < 0:
        low, high = noncentral_interval(-t, dof, level)
        return -high, -low
    reach = 10 + 3 * abs(t)

    def upper(shift: float) -> float:
        return float(stats.nct.sf(t, dof, shift)) - tail

    def lower(shift: float) -> float:
        return float(stats.nct.cdf(t, dof, shift)) - tail

    return float(brentq(upper, -8.0, t + 1)), float(brentq(lower, t - 1 if t > 1 else -1.0, reach))
