"""An edge twisted in the slot of a hardwood block."""

import math

import numpy as np

from rig.virtual.arm.relaxation import Floats, relax
from rig.virtual.arm.truth import EdgeTruth


class SlotEdge:
    """An edge set at arm angle `seat_rad`, and the damage it has taken.

    Attributes:
        damage: grows without limit; the spring has lost `1 - exp(-damage)` of what it can lose.
    """

    def __init__(self, truth: EdgeTruth, seat_rad: float) -> None:
        self.truth = truth
        self.damage = 0.0
        self._seat_rad = seat_rad
        self._rubbing = 0.0
        self._last = 0.0

    @property
    def affected_m(self) -> float:
        """Length of edge that has given way."""
        return self.truth.length_m * (1 - math.exp(-2 * self.damage))

    def respond(self, angle: Floats) -> Floats:
        """Torque along a path of arm angles."""
        truth = self.truth
        way = angle - self._seat_rad
        travel = np.diff(way, prepend=self._last)
        # A full cycle of amplitude a travels 4 a and its mean way is a/2: together damage ~ a^2.
        wear = np.abs(travel) * np.abs(way) / (2 * truth.reference_rad**2)
        damage = self.damage + truth.damage_per_cycle * np.cumsum(wear)
        weaker = truth.left_share + (1 - truth.left_share) * np.exp(-damage)
        rubbing = relax(self._rubbing, np.sign(travel), np.abs(travel) / truth.friction_span_rad)
        self.damage, self._rubbing = float(damage[-1]), float(rubbing[-1])
        self._last = float(way[-1])
        return truth.stiffness_nm_per_rad * weaker * way + truth.friction_nm * rubbing
