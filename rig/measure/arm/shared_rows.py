"""Rows that every measurement with the arm has in its budget, pried or twisted."""

import math

import numpy as np
from numpy.typing import NDArray

from rig.measure.arm.facts import ArmRecord
from rig.measure.budget import Input, rectangular
from rig.measure.scales import Scale

Array = NDArray[np.float64]

# A certificate's point error is mostly what a curve of few figures cannot follow: a smooth bow. Two
# readings share it when they are close; they have errors of their own from about two fifths of
# the calibrated range on. The share is that at which intervals hold as often as they say on virtual
# jigs (tests/measure/pry/coverage.py); a bow is bounded, so for its rms alone it would be 0.32.
ALIKE_SHARE = 0.41
NODES = 48  # of a curve, where its angle errors are put together


def torque_point(scale: Scale, torque_nm: float) -> Input:
    """The certificate's point error; near zero, where every reading starts, it goes to none."""
    u = min(scale.u_absolute, apart(scale, abs(torque_nm)))
    return Input("torque_point", 0.0, u, scale.dof, scale.source, scale.unit)


def align(u_rad: float) -> Input:
    """The pull is off the square by some angle phi: torque is F L cos(phi)."""
    # phi normal with u: 1 - phi^2/2 has mean 1 - u^2/2 and standard deviation u^2/sqrt(2).
    source = f"pull within {math.degrees(u_rad):.2g} degrees of the square"
    return Input("align", 1 - u_rad**2 / 2, u_rad**2 / math.sqrt(2), math.inf, source, "1")


def zero(record: ArmRecord, code_nm: float, limit_nm: float) -> Input:
    """Zero moved evenly from before to after; its middle was taken off.

    Args:
        record: its zero codes.
        code_nm: torque of one code.
        limit_nm: the bench's limit of the drift, for a zero that was not read after.
    """
    before, after = record.zero, record.zero_after
    if after is None:
        return rectangular("zero", 0.0, limit_nm, "not read after: the bench's limit", "N.m")
    half = drift_nm(record, code_nm) / 2
    read = math.hypot(before.u, after.u) / 2 * code_nm
    source = "zero code before and after: half of its drift, and scatter"
    return Input("zero", 0.0, math.hypot(half / math.sqrt(3), read), math.inf, source, "N.m")


def drift_nm(record: ArmRecord, code_nm: float) -> float:
    """How far zero moved; nan when it was not read after."""
    after = record.zero_after
    return math.nan if after is None else abs(after.value - record.zero.value) * code_nm


def angle_between(scale: Scale, name: str, span_rad: float, source: str) -> Input:
    """A difference of two arm angles."""
    u = u_between(scale, span_rad)
    return Input(name, span_rad, u, scale.dof, f"{source}; {scale.source}", "rad")


def angle_gain(scale: Scale, span_rad: float) -> Input:
    """True over shown angle across a stretch, a factor near one."""
    u = u_between(scale, span_rad) / span_rad
    return Input("angle_gain", 1.0, u, scale.dof, scale.source, "1")


def angle_area(scale: Scale, angle_rad: Array, torque_nm: Array) -> Input:
    """What the angle scale's errors put on an area under torque over angle, J.

    The error d of an angle adds the integral of T over d, `sum T_i (d_i+1 - d_i)`: a matter of how
    alike the errors of two angles are, and most of all of those at the largest torque.

    Args:
        scale: of the angle.
        angle_rad, torque_nm: along the curve, shape (n,).
    """
    use = np.unique(np.linspace(0, len(angle_rad) - 1, NODES).round().astype(int))
    angle, torque = angle_rad[use], torque_nm[use]
    middle = (torque[1:] + torque[:-1]) / 2
    weight = np.concatenate(([0.0], middle)) - np.concatenate((middle, [0.0]))
    apart_rad = (angle[:, None] - angle[None, :]) / alike(scale)
    own = float(weight @ np.exp(-(apart_rad**2) / 2) @ weight)
    area = float(np.trapezoid(torque, angle))
    u = math.hypot(scale.u_relative * area, scale.u_absolute * math.sqrt(max(0.0, own)))
    return Input("angle", 0.0, u, scale.dof, scale.source, "J")


def u_between(scale: Scale, span_rad: float) -> float:
    """Standard uncertainty of a difference of two arm angles."""
    return math.hypot(scale.u_relative * span_rad, apart(scale, span_rad))


def apart(scale: Scale, difference: float) -> float:
    """Standard deviation by which the point errors of two readings so far apart differ."""
    share = difference / alike(scale)
    return scale.u_absolute * math.sqrt(2 * (1 - math.exp(-(share**2) / 2)))


def alike(scale: Scale) -> float:
    """How far apart readings share their point error: certificates reach to either side."""
    return ALIKE_SHARE * 2 * scale.high
