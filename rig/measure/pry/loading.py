"""The loading of a tip: from the pre-load point to its break, or to the largest torque."""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.pry.course import Break
from rig.measure.pry.facts import PryFacts
from rig.measure.pry.motion import SETTLING, Array, Motion

LAST = 20  # samples that a peak at a break is carried on from: a quarter of a second
LEAST_FOR_BEND = 8  # samples for a parabola; fewer give a line
UPPER_SHARE = 0.7  # and none below this share of the last
SMOOTH = 9  # samples: a period of a hand's tremor (8 to 12 Hz, common practice, no source)
# Every sample shares three of its four periods with the next one.
OVERLAP = math.sqrt(SETTLING)


@dataclass(frozen=True)
class Loading:
    """One rise of torque, counted from the pre-load point.

    Attributes:
        start_rad: arm angle at the pre-load point.
        start_slope: N.m/rad there.
        angle_rad, net_nm: samples from the pre-load point on, shape (n,).
        first, last: their indices in the motion.
        end_rad, end_nm: angle and torque of the specimen at the break, or at the largest torque.
        end_slope: dT/dtheta there.
        end_rate: dtheta/dt there.
        u_end_nm: standard uncertainty of `end_nm` from scatter and carrying on.
        dof: degrees of freedom of `u_end_nm`.
        broke: None when the end is no break.
    """

    start_rad: float
    start_slope: float
    angle_rad: Array
    net_nm: Array
    first: int
    last: int
    end_rad: float
    end_nm: float
    end_slope: float
    end_rate: float
    u_end_nm: float
    dof: float
    broke: Break | None

    @property
    def span_rad(self) -> float:
        """Arm angle from the pre-load point to the end."""
        return self.end_rad - self.start_rad


def preload_index(made: Motion, last: int, preload_nm: float) -> int | None:
    """Index of the last sample below the pre-load on the way up to `last`; None without one."""
    below = np.flatnonzero(made.net_nm[: last + 1] < preload_nm)
    if not below.size or below[-1] == last:
        return None
    return int(below[-1])


def loading(made: Motion, facts: PryFacts, last: int, broke: Break | None) -> Loading | None:
    """The loading up to sample `last`, or to a break just after it.

    None when it did not begin below the pre-load.
    """
    if broke is not None:
        whole = np.flatnonzero(made.at_s <= broke.at_s - broke.half_s)
        last = int(whole[-1])
    preload = facts.limits.preload_nm
    before = preload_index(made, last, preload)
    if before is None:
        return None
    angle = _angles(made, last, broke)
    net = made.net_nm[: last + 1]
    low, high = net[before], net[before + 1]
    part = (preload - low) / (high - low)
    start = float(angle[before] + part * (angle[before + 1] - angle[before]))
    near = slice(max(0, before - 3), before + 5)
    first = before + 1
    ended = _at_break(made, angle, net, broke) if broke else _at_largest(angle, net, last)
    rate = float(made.rate_rad_s()[max(last - 2, 0)])
    return Loading(
        start, _line(angle[near], net[near]), angle[first:], net[first:], first, last,
        *ended[:3], rate, *ended[3:], broke,
    )  # fmt: skip


def _angles(made: Motion, last: int, broke: Break | None) -> Array:
    """Mean angles up to `last`, of what was known before the break: the jump is no part of it."""
    angle = made.angle_rad[: last + 1].copy()
    if broke is not None:
        known = made.turning.before(broke.at_s - broke.half_s)
        end = made.at_s[max(0, last - LAST) : last + 1]
        angle[max(0, last - LAST) :] = known.mean(end - SETTLING * made.period_s, end)
    return angle


def _line(x: Array, y: Array) -> float:
    """Slope of a line, no less than a thousandth of the steepest it could be."""
    slope = float(np.polyfit(x - x.mean(), y, 1)[0])
    return max(slope, 1e-3 * float(np.ptp(y)) / max(float(np.ptp(x)), 1e-6))


def _at_break(
    made: Motion, angle: Array, net: Array, broke: Break
) -> tuple[float, float, float, float, float]:
    """Angle, torque, slope, u and dof, carried on to the break."""
    known = made.turning.before(broke.at_s - broke.half_s)
    end = float(known.at(broke.at_s))
    use = np.arange(max(0, len(net) - LAST), len(net))
    use = use[net[use] >= UPPER_SHARE * net[-1]]
    degree = 2 if len(use) >= LEAST_FOR_BEND else 1 if len(use) >= 3 else 0
    x, y = angle[use] - end, net[use]
    design = np.vander(x, degree + 1)
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    free = max(1, len(use) - degree - 1)
    scatter = math.sqrt(float(np.sum((y - design @ found) ** 2)) / free)
    at_end = np.linalg.pinv(design)[-1]
    u = OVERLAP * scatter * float(np.sqrt(np.sum(at_end**2)))
    slope = float(found[-2]) if degree else 0.0
    return end, float(found[-1]), slope, u, max(1.0, free / SETTLING)


def _at_largest(angle: Array, net: Array, last: int) -> tuple[float, float, float, float, float]:
    """Angle, torque, slope (none), u and dof of the largest torque, tremor smoothed away."""
    use = slice(max(0, last - SMOOTH // 2), last + SMOOTH // 2 + 1)
    part = net[use]
    scatter = float(part.std(ddof=1)) if len(part) > 1 else 0.0
    u = OVERLAP * scatter / math.sqrt(max(len(part), 1))
    return float(angle[last]), float(part.mean()), 0.0, u, max(1.0, len(part) / SETTLING)


def smooth(values: Array) -> Array:
    """Running mean over a period of tremor, same shape; ends take what there is."""
    ones = np.ones(SMOOTH)
    return np.asarray(np.convolve(values, ones, "same") / np.convolve(
        np.ones_like(values), ones, "same"
    ))  # fmt: skip
