"""Two families of life: the logarithm of the life is a location plus a scale times a standard z.

    ln T = mu + sigma Z     log-normal: Z is normal     Weibull: Z has F(z) = 1 - exp(-e^z)

A Weibull life has shape 1/sigma and scale exp(mu) (Meeker and Escobar, Statistical Methods for
Reliability Data, chapter 4). Both densities are log-concave, on which `likelihood` relies.
"""

import math
from enum import Enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

Array = NDArray[np.float64]

LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)
EULER = 0.5772156649015329  # minus the mean of the standard smallest extreme value
TOP = 150.0  # exp of more than this is no longer told apart


class Family(Enum):
    """The distribution assumed for lives."""

    LOGNORMAL = "log-normal"
    WEIBULL = "Weibull"

    @property
    def mean(self) -> float:
        """Mean of the standard z."""
        return 0.0 if self is Family.LOGNORMAL else -EULER

    @property
    def sd(self) -> float:
        """Standard deviation of the standard z."""
        return 1.0 if self is Family.LOGNORMAL else math.pi / math.sqrt(6)

    def quantile(self, share: float) -> float:
        """The z below which `share` of the standard lives lie."""
        if self is Family.LOGNORMAL:
            return float(ndtri(share))
        return math.log(-math.log1p(-share))


class Term(NamedTuple):
    """A log probability (or density) with its derivatives by the lower and upper z."""

    value: Array
    by_low: Array
    by_high: Array
    low_low: Array
    high_high: Array
    low_high: Array


def log_mass(family: Family, low: Array, high: Array) -> Term:
    """ln [F(high) - F(low)] and its first and second derivatives. Ends may be infinite."""
    value = _log_mass_normal(low, high) if family is Family.LOGNORMAL else _log_mass_sev(low, high)
    (log_f_low, slope_low), (log_f_high, slope_high) = _density(family, low), _density(family, high)
    with np.errstate(over="ignore", invalid="ignore"):
        at_low, at_high = np.exp(log_f_low - value), np.exp(log_f_high - value)
        return Term(
            value,
            -at_low,
            at_high,
            -at_low * slope_low - at_low**2,
            at_high * slope_high - at_high**2,
            at_low * at_high,
        )


def log_density(family: Family, z: Array) -> Term:
    """ln f(z) and its derivatives, all put down to the lower end."""
    value, slope = _density(family, z)
    none = np.zeros_like(z)
    if family is Family.LOGNORMAL:
        return Term(value, slope, none, -np.ones_like(z), none, none)
    return Term(value, slope, none, slope - 1, none, none)


def _density(family: Family, z: Array) -> tuple[Array, Array]:
    """ln f(z) and its slope; at an infinite z the density is nought, its slope put at 0."""
    real = np.isfinite(z)
    at = np.where(real, np.minimum(z, TOP), 0.0)
    if family is Family.LOGNORMAL:
        value, slope = -0.5 * at**2 - LOG_ROOT_TWO_PI, -at
    else:
        value, slope = at - np.exp(at), 1 - np.exp(at)
    return np.where(real, value, -np.inf), np.where(real, slope, 0.0)


def _log_mass_normal(low: Array, high: Array) -> Array:
    # The lower tail keeps its figures, so work there.
    flip = low > 0
    one, other = np.where(flip, -high, low), np.where(flip, -low, high)
    outer, inner = log_ndtr(other), log_ndtr(one)
    return outer + _log_one_minus_exp(inner - outer)


def _log_mass_sev(low: Array, high: Array) -> Array:
    at_low, at_high = np.exp(np.minimum(low, TOP)), np.exp(np.minimum(high, TOP))
    end = np.where(np.isinf(high) & (high > 0), np.inf, at_high)
    return -at_low + _log_one_minus_exp(at_low - end)


def _log_one_minus_exp(x: Array) -> Array:
    """ln(1 - e^x) for x <= 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(x < 0, np.log(-np.expm1(x)), -np.inf)
