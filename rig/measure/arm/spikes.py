"""Lone wrong conversions: one code far from both its neighbours while these agree.

A bad wire doubles, clears or flips one conversion; a good converter makes a lone outlier now and
then. What arm and cell can do is slower: the converter's filter spreads any change over two
conversions at least, so a code that stands alone was never a force. It is left out, its neighbours'
mean in its place, and counted.
"""

import numpy as np
from numpy.typing import NDArray

from rig.board.wire import LOAD_LIMITS

FAR = 8.0
"""Times the scatter of a code against its neighbours: ours; of white noise none in 10^14."""
STEPS = 2.0
"""Times the steps beside it: where torque changes fast, nothing is told from a change."""
NORMAL = 1.4826  # median absolute deviation to standard deviation
LEAST = 5  # codes that a scatter can be told from
MOST = 3
"""Left out of one record: more is no accident, and the record does not count. Ours."""

Codes = NDArray[np.int64]
Floats = NDArray[np.float64]


def scatter(codes: Codes) -> float:
    """Standard deviation of one code against the mean of its neighbours, by the median; 1 at least.

    Args:
        codes: shape (n,), n at least 3.
    """
    off = codes[1:-1] - (codes[:-2] + codes[2:]) / 2
    return max(1.0, NORMAL * float(np.median(np.abs(off - np.median(off)))))


def find_spikes(codes: Codes) -> NDArray[np.int64]:
    """Which codes stand alone; indices, rising. Saturated ones are told by name elsewhere.

    Args:
        codes: shape (n,), in order of time.
    """
    if len(codes) < LEAST:
        return np.zeros(0, dtype=np.int64)
    x = np.pad(codes.astype(float), 2, mode="edge")
    x[:2], x[-2:] = x[2], x[-3]
    here, before, after = x[2:-2], x[1:-3], x[3:-1]
    to_before, to_after = here - before, here - after
    # The ends have one neighbour only; it stands for both.
    to_before[0], to_after[-1] = to_after[0], to_before[-1]
    away = np.where(to_before * to_after > 0, np.minimum(abs(to_before), abs(to_after)), 0.0)
    gap = np.abs(after - before)
    gap[0] = gap[-1] = 0.0
    beside = np.maximum(np.abs(before - x[:-4]), np.abs(x[4:] - after))
    beside[:2] = np.abs(x[4:6] - after[:2])
    beside[-2:] = np.abs(before[-2:] - x[-6:-4])
    alone = away > np.maximum(FAR * scatter(codes), np.maximum(gap, STEPS * beside))
    return np.flatnonzero(alone & ~np.isin(codes, LOAD_LIMITS))


def bridged(codes: Codes, spikes: NDArray[np.int64]) -> Codes:
    """The codes with the line between their neighbours in place of those that stand alone."""
    if not len(spikes):
        return codes
    kept = np.setdiff1d(np.arange(len(codes)), spikes)
    between = np.interp(np.arange(len(codes)), kept, codes[kept])
    return np.where(np.isin(np.arange(len(codes)), spikes), np.rint(between), codes).astype(
        np.int64
    )
