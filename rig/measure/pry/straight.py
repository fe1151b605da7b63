"""The straight part of a torque-angle curve, and where the curve leaves it for good.

**Rule for the straight part**: samples of the loading with a torque from a fifth to half of the
largest, but not below four pre-loads (wood and slack are used up by then) and not above seven
tenths of the onset of bending. Onset and straight part depend on each other: they are found by
turns until nothing changes.

**Onset** by the offset method: where the curve meets the straight part shifted by the offset angle
(as the proof strength of a tensile test, ISO 6892-1). The curve counts as past it when three
samples in a row lie below the shifted line.
"""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.arm.motion import Array
from rig.measure.arm.scatter import inflation, smooth
from rig.measure.arm.scatter import slope as slope_of

LOW, HIGH = 0.2, 0.5  # of the largest torque
ABOVE_PRELOAD = 4.0
OF_ONSET = 0.7
LEAST = 8  # samples
TURNS = 6
IN_A_ROW = 3
NEAR = 6  # samples to either side of the onset, for the curve's own slope


@dataclass(frozen=True)
class Straight:
    """T = middle_nm + slope (theta - middle_rad) over samples first..last of the loading.

    Attributes:
        u_slope: of the fit, from the scatter about it.
        bend: how much the slope of the upper half differs from that of the lower.
        scatter: standard deviation about the line, N.m.
        count: samples.
    """

    slope: float
    u_slope: float
    bend: float
    middle_rad: float
    middle_nm: float
    scatter: float
    count: int
    low_nm: float
    high_nm: float
    span_rad: float

    def torque(self, angle: Array | float) -> Array:
        """The line at angles."""
        return np.asarray(self.middle_nm + self.slope * (angle - self.middle_rad))


@dataclass(frozen=True)
class Onset:
    """Where the curve meets the shifted line, and the curve's own slope there."""

    angle_rad: float
    torque_nm: float
    slope: float


def straight_and_onset(
    angle: Array, net: Array, largest_nm: float, preload_nm: float, offset_rad: float
) -> tuple[Straight | None, Onset | None]:
    """Straight part and onset of a loading; None for what it does not show.

    Args:
        angle, net: samples from the pre-load point to where the torque was let go, shape (n,).
        largest_nm: the largest torque.
        preload_nm, offset_rad: of the bench.
    """
    low, high = max(LOW * largest_nm, ABOVE_PRELOAD * preload_nm), HIGH * largest_nm
    line = onset = None
    for _ in range(TURNS):
        line = _fit(angle, net, low, high)
        if line is None:
            return None, None
        onset = _onset(angle, net, line, offset_rad)
        if onset is None or high <= OF_ONSET * onset.torque_nm * 1.001:
            break
        high = OF_ONSET * onset.torque_nm
    return line, onset


def _fit(angle: Array, net: Array, low: float, high: float) -> Straight | None:
    reached = np.flatnonzero(net >= high)
    end = int(reached[0]) if reached.size else len(net)
    below = np.flatnonzero(net[:end] < low)
    first = int(below[-1]) + 1 if below.size else 0
    x, y = angle[first:end], net[first:end]
    if len(x) < LEAST or np.ptp(x) <= 0:
        return None
    middle, level = float(x.mean()), float(y.mean())
    square = float(np.sum((x - middle) ** 2))
    slope = float(np.sum((x - middle) * (y - level))) / square
    rest = y - level - slope * (x - middle)
    scatter = math.sqrt(float(np.sum(rest**2)) / (len(x) - 2))
    half = len(x) // 2
    bend = slope_of(x[half:], y[half:]) - slope_of(x[:half], y[:half])
    u = math.sqrt(inflation(rest) / square) * scatter
    return Straight(slope, u, bend, middle, level, scatter, len(x), low, high, float(np.ptp(x)))


def _onset(angle: Array, net: Array, line: Straight, offset_rad: float) -> Onset | None:
    angle, net = smooth(angle), smooth(net)
    gap = net - line.torque(angle - offset_rad)
    past = (gap < 0) & (net > line.middle_nm)
    run = np.convolve(past, np.ones(IN_A_ROW), "valid") == IN_A_ROW
    if not run.any():
        return None
    at = int(np.argmax(run))
    if at == 0:
        return None
    # The sample before may lie below the line too (and be too low in torque to count).
    part = max(gap[at - 1], 0.0) / (max(gap[at - 1], 0.0) - gap[at])
    where = float(angle[at - 1] + part * (angle[at] - angle[at - 1]))
    near = slice(max(0, at - NEAR), at + NEAR)
    slope = slope_of(angle[near], net[near])
    torque = float(net[at - 1] + part * (net[at] - net[at - 1]))
    return Onset(where, torque, min(max(slope, 0.0), 0.95 * line.slope))
