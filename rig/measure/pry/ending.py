"""Where a loading ends: torque and angle carried on to a break, or the largest torque."""

import math
from dataclasses import dataclass

import numpy as np

from rig.measure.arm.motion import SETTLING, Array, Motion
from rig.measure.arm.scatter import TREMOR, inflation
from rig.measure.pry.course import Break

LAST = 20  # samples that a peak at a break is carried on from: a quarter of a second
LEAST_FOR_BEND = 8  # samples for a parabola; fewer give a line
UPPER_SHARE = 0.7  # and none below this share of the last


@dataclass(frozen=True)
class Ending:
    """The end of a loading.

    Attributes:
        angle_rad, torque_nm: of arm and specimen.
        u_rad: standard uncertainty of the angle from carrying it on.
        u_nm, dof: of the torque, from scatter and carrying on.
        slope: dT/dtheta there (0 at a largest torque).
    """

    angle_rad: float
    torque_nm: float
    u_rad: float
    u_nm: float
    dof: float
    slope: float


def at_break(made: Motion, angle: Array, net: Array, broke: Break) -> Ending:
    """Carried on to the break from the last samples that ended before it.

    Args:
        made: the motion.
        angle, net: of its samples up to the last whole one before the break, shape (n,).
        broke: when.
    """
    known = made.turning.before(broke.at_s - broke.half_s)
    end, u_end = float(known.at(broke.at_s)), known.u_carried
    use = np.arange(max(0, len(net) - LAST), len(net))
    use = use[net[use] >= UPPER_SHARE * net[-1]]
    degree = 2 if len(use) >= LEAST_FOR_BEND else 1 if len(use) >= 3 else 0
    design = np.vander(angle[use] - end, degree + 1)
    found, *_ = np.linalg.lstsq(design, net[use], rcond=None)
    rest = net[use] - design @ found
    free = max(1, len(use) - degree - 1)
    scatter = math.sqrt(float(rest @ rest) / free)
    lever = float(np.linalg.norm(np.linalg.pinv(design)[-1]))
    slope = float(found[-2]) if degree else 0.0
    alike = inflation(rest)
    u = math.hypot(math.sqrt(alike) * scatter * lever, slope * u_end)
    return Ending(end, float(found[-1]), u_end, u, max(1.0, free / alike), slope)


def at_largest(angle: Array, net: Array, at: int) -> Ending:
    """The largest torque, as its mean over a period of tremor about sample `at`."""
    # Over a whole period tremor averages out; a third of it is kept as uncertainty.
    part = net[max(0, at - TREMOR // 2) : at + TREMOR // 2 + 1]
    scatter = float(part.std(ddof=1)) if len(part) > 1 else 0.0
    u = scatter / math.sqrt(max(len(part), 1))
    dof = max(1.0, len(part) / SETTLING)
    return Ending(float(angle[at]), float(part.mean()), 0.0, u, dof, 0.0)
