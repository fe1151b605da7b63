"""Scatter of samples that are not independent of their neighbours."""

import numpy as np

from rig.measure.arm.motion import SETTLING, Array

TREMOR = 9  # samples: a period of a hand's tremor (8 to 12 Hz, common practice, no source)

# Of the scatter of single samples, what the mean over a period of tremor still has.
LEFT_SHARE = 0.5


def smooth(values: Array) -> Array:
    """Running mean over a period of tremor, same shape; ends take what there is.

    Fewer values than a period are left as they are.
    """
    if len(values) < TREMOR:
        return values
    ones = np.ones(TREMOR)
    sums = np.convolve(values, ones, "same")
    return np.asarray(sums / np.convolve(np.ones_like(values), ones, "same"))


def slope(x: Array, y: Array) -> float:
    """Slope of the least-squares line; 0 where x does not change, or where there is nothing."""
    if len(x) == 0:
        return 0.0
    off = x - x.mean()
    square = float(off @ off)
    return float(off @ y) / square if square > 0 else 0.0


def inflation(rest: Array) -> float:
    """By how much the variance of a mean of residuals exceeds that of independent ones.

    1 + 2 sum (1 - k/(K+1)) r_k over the first K autocorrelations r_k (Newey and West 1987), K a
    period of tremor. Never below one; and never above the converter's four, which is what samples
    that each share three of their four periods with the next would give without any tremor.
    """
    square = float(rest @ rest)
    if square <= 0 or len(rest) < 2 * TREMOR:
        return float(SETTLING)
    lags = np.arange(1, TREMOR + 1)
    r = np.array([float(rest[k:] @ rest[:-k]) for k in lags]) / square
    total = 1 + 2 * float(np.sum((1 - lags / (TREMOR + 1)) * r))
    return min(max(1.0, total), float(SETTLING))
