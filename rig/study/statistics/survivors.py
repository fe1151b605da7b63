"""Normal values of which some are only known to be larger: mean and its variance, by likelihood.

For one group, on the scale of analysis, each with a scatter of its own (`rig.measure.life` fits
groups with a common scatter). With b = 1/sd and a = mean/sd the log likelihood

    sum over failures (ln b - (b y - a)^2/2) + sum over survivors ln Phi(a - b y)

is concave (Burridge 1981), so that damped Newton steps find its top from anywhere.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

STEPS = 60
SETTLED = 1e-12  # of a standardised value: far below what any figure is shown to
LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Fitted(NamedTuple):
    """Mean, its variance and sd, along the last axis; nan with fewer than two unlike failures.

    The variance is the inverse information times n/(n - 1), as for complete values.
    """

    mean: Array
    variance: Array
    sd: Array


def fit(values: Array, failed: Flags) -> Fitted:
    """Fit groups of equal size, values of shape (..., n)."""
    n = values.shape[-1]
    low = np.where(failed, values, np.inf).min(axis=-1)
    high = np.where(failed, values, -np.inf).max(axis=-1)
    told = (failed.sum(axis=-1) >= 2) & (high > low)
    spread = np.where(told, values.std(axis=-1), 1.0)
    with np.errstate(all="ignore"):
        # Standardised first: steps and tolerances then hold on any scale.
        centre = values.mean(axis=-1)
        y = (values - centre[..., None]) / spread[..., None]
        a, b = np.zeros_like(spread), np.ones_like(spread)
        for _ in range(STEPS):
            slope, curve = _derivatives(y, failed, a, b)
            to_a, to_b = _solve(curve, slope)
            damped = np.minimum(1.0, 0.5 * b / np.maximum(np.abs(to_b), 1e-300))
            a, b = a + damped * to_a, b + damped * to_b
            if not (np.maximum(np.abs(to_a), np.abs(to_b))[told] > SETTLED).any():
                break
        _, (aa, ab, bb) = _derivatives(y, failed, a, b)
        det = aa * bb - ab**2
        of_mean = (-bb / det) / b**2 + a**2 / b**4 * (-aa / det) - 2 * a / b**3 * (ab / det)
        mean, sd = centre + spread * a / b, spread / b
        variance = spread**2 * of_mean * n / (n - 1)
    return Fitted(*(np.where(told, x, np.nan) for x in (mean, variance, sd)))


Slope = tuple[Array, Array]
Curve = tuple[Array, Array, Array]


def _derivatives(y: Array, failed: Flags, a: Array, b: Array) -> tuple[Slope, Curve]:
    """First and second derivatives of the log likelihood by a and b."""
    z = b[..., None] * y - a[..., None]
    hazard = np.exp(-z * z / 2 - LOG_ROOT_TWO_PI - log_ndtr(-z))
    by_z = np.where(failed, -z, -hazard)
    by_zz = np.where(failed, -1.0, -hazard * (hazard - z))
    failures = failed.sum(axis=-1)
    slope = (-by_z.sum(axis=-1), (by_z * y).sum(axis=-1) + failures / b)
    curve = (
        by_zz.sum(axis=-1),
        -(by_zz * y).sum(axis=-1),
        (by_zz * y * y).sum(axis=-1) - failures / b**2,
    )
    return slope, curve


def _solve(curve: Curve, slope: Slope) -> tuple[Array, Array]:
    """The Newton step: minus the inverse of the second derivatives on the first."""
    (aa, ab, bb), (a, b) = curve, slope
    det = aa * bb - ab**2
    return -(bb * a - ab * b) / det, -(aa * b - ab * a) / det
