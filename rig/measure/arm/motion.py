"""Load and angle on one time line: torque of the specimen against the angle of the arm.

A code of the bridge converter is the mean of its input over the last four conversion periods
(settling time of its data sheet), so a ramp is read two periods late. Instead of shifting codes in
time, the arm's angle is averaged over the same four periods: torque and angle of a pair then
belong together however uneven the hand turns, and a straight line stays that line.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.board.wire import TICK_HZ
from rig.measure.arm.facts import ArmRecord, Lever
from rig.measure.arm.sweep import Sweep
from rig.measure.scales import Scale

Array = NDArray[np.float64]

SETTLING = 4  # conversions that one code is the mean of
# The data sheet states the settling time alone; that the filter is a plain mean is taken, and its
# delay may be off by a quarter of a period (from memory, no source).
U_DELAY = 0.25
# Recordings of such converters fit a mean over 2 or a sinc of order 2 to 4 and no mean over 4: from
# rule 2 on the delay is taken as anywhere from 1 to 2 periods (tests/recordings/bridge_converter).
SOONER, U_SOONER = -0.5, 0.5 / math.sqrt(3)
# Middle of a sum's 64 conversions after its first: 8 each millisecond, 104 us apart.
ANGLE_MIDDLE_S = (7e-3 + 7 * 104e-6) / 2 + 12e-6  # held 1.5 converter clocks after its start
STEADY_RAD_S = np.radians(0.5)  # slower than this the bearing's friction has no clear sign
LEAST_SAMPLES = 12
REACH = 8  # samples, 100 ms: noise of the angle sums would dilute an inertia over less


@dataclass(frozen=True)
class Turning:
    """Arm angle as a function of time, between samples a straight line.

    Attributes:
        at_s: middles of the sums, s; shape (m,).
        rad: angles, shape (m,).
        u_carried: standard uncertainty of the angle just past a time it was carried on from.
    """

    at_s: Array
    rad: Array
    u_carried: float = 0.0

    def at(self, time_s: ArrayLike) -> Array:
        """Angle at times, same shape; beyond the ends that of the end."""
        return np.asarray(np.interp(np.asarray(time_s, dtype=float), self.at_s, self.rad))

    def mean(self, start_s: Array, end_s: Array) -> Array:
        """Mean angle between two times each, same shape."""
        steps = np.diff(self.at_s) * (self.rad[1:] + self.rad[:-1]) / 2
        area = np.concatenate(([0.0], np.cumsum(steps)))

        def until(time_s: Array) -> Array:
            k = np.clip(np.searchsorted(self.at_s, time_s, "right") - 1, 0, len(area) - 1)
            return np.asarray(
                area[k] + (time_s - self.at_s[k]) * (self.rad[k] + self.at(time_s)) / 2
            )

        return (until(end_s) - until(start_s)) / (end_s - start_s)

    def before(self, time_s: float) -> "Turning":
        """What was known at `time_s`, carried on from there as a straight line.

        With hardly anything known it stays as it is.
        """
        known = self.at_s <= time_s - ANGLE_MIDDLE_S
        if known.sum() < LEAST_CARRIED:
            return self
        at_s, rad = self.at_s[known], self.rad[known]
        last = slice(max(0, len(at_s) - CARRIED), None)
        slope, level = np.polyfit(at_s[last] - time_s, rad[last], 1)
        rest = rad[last] - level - slope * (at_s[last] - time_s)
        # Noise of the sums goes out of the line, tremor does not: a third of what is left is
        # taken as motion, and the line's own end is 4/n of it uncertain.
        u = math.sqrt(float(rest @ rest) / max(len(rest) - 2, 1) * (1 / 3 + 4 / len(rest)))
        ahead = time_s + np.arange(1, 10) * 8e-3
        carried = level + slope * (ahead - time_s)
        return Turning(np.concatenate((at_s, ahead)), np.concatenate((rad, carried)), u)


CARRIED = 16  # sums behind a carried-on line: 128 ms, more than a period of a hand's tremor
LEAST_CARRIED = 3


@dataclass(frozen=True)
class Motion:
    """One motion of the arm, positive in the direction asked for.

    Attributes:
        at_s: times of data-ready in the board's seconds, shape (n,).
        raw_nm: torque by the cell, shape (n,).
        net_nm: torque of the specimen: `raw_nm` less what the arm alone takes, shape (n,).
        angle_rad: arm angle over the same stretch as each torque, shape (n,).
        period_s: median conversion period.
        turning: the arm's angle in time.
        code_nm: torque of one code near zero.
        late: conversion periods by which the filter's delay is taken longer than two.
    """

    at_s: Array
    raw_nm: Array
    net_nm: Array
    angle_rad: Array
    period_s: float
    turning: Turning
    code_nm: float
    late: float = 0.0

    def rate_rad_s(self) -> Array:
        """Rate of turn over two periods to either side, shape (n,)."""
        return rates(self.at_s, self.angle_rad)


def rates(at_s: Array, angle_rad: Array) -> Array:
    """Slopes over two samples to either side, shape (n,)."""
    index = np.arange(len(at_s))
    low, high = np.maximum(index - 2, 0), np.minimum(index + 2, len(at_s) - 1)
    return np.asarray((angle_rad[high] - angle_rad[low]) / (at_s[high] - at_s[low]))


def accelerations(at_s: Array, angle_rad: Array) -> Array:
    """Second differences over `REACH` samples to either side, shape (n,); 0 at the ends.

    Each is the mean acceleration under a triangle; `under_triangle` puts it on other values.
    """
    found = np.zeros_like(angle_rad)
    if len(angle_rad) <= 2 * REACH:
        return found
    step = float(np.median(np.diff(at_s))) * REACH
    inner = angle_rad[2 * REACH :] - 2 * angle_rad[REACH:-REACH] + angle_rad[: -2 * REACH]
    found[REACH:-REACH] = inner / step**2
    return found


def under_triangle(values: Array) -> Array:
    """Mean under a triangle of `REACH` samples to either side, same shape."""
    weights = np.convolve(np.ones(REACH), np.ones(REACH)) / REACH**2
    return np.asarray(np.convolve(values, weights, "same"))


def middle_zero(record: ArmRecord) -> float:
    """Zero code in the middle of before and after."""
    after = record.zero_after
    return record.zero.value if after is None else (record.zero.value + after.value) / 2


def motion(record: ArmRecord, facts: Lever, direction: int, late: float = 0.0) -> Motion | None:
    """Torque and angle of a record; None when there are too few samples.

    Args:
        record: the record.
        facts: scales and sweep.
        direction: +1 or -1.
        late: conversion periods by which the filter's delay is taken longer than it is.
    """
    found = turning(record, facts.angle, direction)
    if len(record.codes) < LEAST_SAMPLES or found is None:
        return None
    at_s = (record.load_ticks - record.load_ticks[0]) / TICK_HZ
    period = float(np.median(np.diff(at_s)))
    end = at_s - late * period
    start = end - SETTLING * period
    inside = (start >= found.at_s[0]) & (end <= found.at_s[-1])
    if inside.sum() < LEAST_SAMPLES:
        return None
    angle = found.mean(start[inside], end[inside])
    raw = direction * facts.torque.value(record.codes[inside] - middle_zero(record))
    near = facts.torque.value([-1.0, 1.0])
    code_nm = abs(float(near[1] - near[0])) / 2
    made = Motion(at_s[inside], raw, raw, angle, period, found, code_nm, late)
    return replace(made, net_nm=raw - arm_alone(facts.sweep, made, direction))


def turning(record: ArmRecord, scale: Scale, direction: int) -> Turning | None:
    """The arm's angle in time; None when there are too few samples."""
    if len(record.sums) < LEAST_SAMPLES or len(record.load_ticks) < LEAST_SAMPLES:
        return None
    at_s = (record.angle_ticks - record.load_ticks[0]) / TICK_HZ + ANGLE_MIDDLE_S
    return Turning(at_s, direction * scale.value(record.sums))


def arm_alone(sweep: Sweep, made: Motion, direction: int) -> Array:
    """What the arm takes without a specimen along a motion, N.m, shape (n,)."""
    sign = np.tanh(rates(made.at_s, made.angle_rad) / STEADY_RAD_S)
    weight = direction * sweep.weight_nm(direction * made.angle_rad)
    return np.asarray(weight + sweep.friction_nm * sign)


def without_inertia(made: Motion, sweep: Sweep) -> Motion:
    """The motion with the arm's inertia taken off the specimen's torque as well."""
    moved = sweep.inertia_kg_m2 * accelerations(made.at_s, made.angle_rad)
    return replace(made, net_nm=made.net_nm - moved)
