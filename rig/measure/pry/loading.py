"""The loading of a tip: from the pre-load point to its break, or to the largest torque."""

from dataclasses import dataclass

import numpy as np

from rig.measure.arm.motion import SETTLING, Array, Motion
from rig.measure.arm.scatter import smooth
from rig.measure.pry.course import Break
from rig.measure.pry.ending import LAST, Ending, at_break, at_largest


@dataclass(frozen=True)
class Loading:
    """One rise of torque, counted from the pre-load point.

    Attributes:
        start_rad: arm angle at the pre-load point.
        start_slope: N.m/rad there.
        angle_rad, net_nm: samples from the pre-load point on, shape (n,).
        first, last: their indices in the motion.
        end: the break, or the largest torque.
        end_rate: dtheta/dt there.
        broke: None when the end is no break.
    """

    start_rad: float
    start_slope: float
    angle_rad: Array
    net_nm: Array
    first: int
    last: int
    end: Ending
    end_rate: float
    broke: Break | None

    @property
    def span_rad(self) -> float:
        """Arm angle from the pre-load point to the end."""
        return self.end.angle_rad - self.start_rad

    @property
    def peak_nm(self) -> float:
        """Torque at the end."""
        return self.end.torque_nm

    def whole(self) -> tuple[Array, Array]:
        """Angle and torque of all samples and of the break."""
        if self.broke is None:
            return self.angle_rad, self.net_nm
        angle = np.append(self.angle_rad, self.end.angle_rad)
        return angle, np.append(self.net_nm, self.end.torque_nm)


def loading(made: Motion, preload_nm: float, last: int, broke: Break | None) -> Loading | None:
    """The loading up to sample `last`, or to a break just after it.

    None when it did not begin below the pre-load.
    """
    if broke is not None:
        whole = np.flatnonzero(made.at_s <= broke.at_s - broke.half_s)
        last = int(whole[-1]) if whole.size else 0
    net, angle = made.net_nm[: last + 1], _angles(made, last, broke)
    started = _start(angle, net, preload_nm)
    if started is None:
        return None
    first, start = started
    end = at_break(made, angle, net, broke) if broke else at_largest(made.angle_rad, made.net_nm,
                                                                     last)  # fmt: skip
    rate = float(made.rate_rad_s()[max(last - 2, 0)])
    slope = _start_slope(angle[first:] - start, net[first:], preload_nm)
    return Loading(start, slope, angle[first:], net[first:], first, last, end, rate, broke)


def _angles(made: Motion, last: int, broke: Break | None) -> Array:
    """Mean angles up to `last`, of what was known before the break: the jump is no part of it."""
    angle = made.angle_rad[: last + 1].copy()
    if broke is not None:
        known = made.turning.before(broke.at_s - broke.half_s)
        end = made.at_s[max(0, last - LAST) : last + 1] - made.late * made.period_s
        angle[max(0, last - LAST) :] = known.mean(end - SETTLING * made.period_s, end)
    return angle


def _start(angle: Array, net: Array, preload_nm: float) -> tuple[int, float] | None:
    """First sample past the pre-load on the way up, and the angle where it was reached.

    A hand that waits at the pre-load crosses it with every tremor: the crossing that counts is
    the last one of the torque without its tremor.
    """
    even, turned = smooth(net), smooth(angle)
    below = np.flatnonzero(even < preload_nm)
    if not below.size or below[-1] == len(net) - 1:
        return None
    at = int(below[-1])
    part = (preload_nm - even[at]) / (even[at + 1] - even[at])
    return at + 1, float(turned[at] + part * (turned[at + 1] - turned[at]))


def _start_slope(turned: Array, net: Array, preload_nm: float) -> float:
    """N.m/rad from the pre-load to twice as much; the arm may have been held there before."""
    twice = np.flatnonzero(net >= 2 * preload_nm)
    at = int(twice[0]) if twice.size else int(np.argmax(net))
    return float(max(net[at] - preload_nm, 1e-9) / max(turned[at], 1e-6))
