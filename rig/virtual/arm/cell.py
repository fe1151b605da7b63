"""The load cell: bridge output from torque and everything that went before."""

from dataclasses import dataclass

import numpy as np

from rig.virtual.arm.relaxation import Floats, relax
from rig.virtual.arm.truth import CellTruth

HOUR_S = 3600.0


@dataclass(frozen=True)
class Still:
    """Output of a cell under an unchanging torque: `ahead` creeps away with `creep_s`."""

    since_s: float
    end: float
    ahead: float
    creep_s: float
    wander_per_s: float

    def ratio(self, t: Floats) -> Floats:
        """V/V at times from `since_s` on."""
        left = np.exp(-np.maximum(t - self.since_s, 0.0) / self.creep_s)
        return self.end + self.ahead * left + self.wander_per_s * t


class Cell:
    """Follows one torque history; times must come in order."""

    def __init__(self, truth: CellTruth) -> None:
        self._truth = truth
        self._at_s, self._torque = 0.0, 0.0
        self._crept, self._loop = 0.0, 0.0
        self._loop_share = -truth.hysteresis * truth.full_scale / 2
        self._wander = truth.wander * truth.full_scale / HOUR_S

    def still(self) -> Still:
        """From now on the torque stays as it is."""
        straight = self._straight(np.array([self._torque]))
        target = float(self._truth.creep * straight[0])
        kept = float(self._shape(straight)[0]) + self._loop_share * self._loop
        end = self._truth.zero + kept + target
        return Still(self._at_s, end, self._crept - target, self._truth.creep_s, self._wander)

    def rest(self, until_s: float) -> None:
        """Let time pass under the same torque."""
        self.respond(np.array([until_s]), np.array([self._torque]))

    def respond(self, t: Floats, torque: Floats) -> Floats:
        """V/V at each time."""
        truth = self._truth
        straight = self._straight(torque)
        elapsed = np.diff(t, prepend=self._at_s)
        crept = relax(self._crept, truth.creep * straight, elapsed / truth.creep_s)
        travel = np.diff(torque, prepend=self._torque)
        span = truth.hysteresis_span * truth.capacity_nm
        loop = relax(self._loop, np.sign(travel), np.abs(travel) / span)
        self._at_s, self._torque = float(t[-1]), float(torque[-1])
        self._crept, self._loop = float(crept[-1]), float(loop[-1])
        # Rising torque reads low, falling high, by half the hysteresis each.
        kept = self._shape(straight) + self._loop_share * loop
        return truth.zero + kept + crept + self._wander * t

    def _straight(self, torque: Floats) -> Floats:
        return torque * np.where(torque >= 0, self._truth.right, self._truth.left)

    def _shape(self, straight: Floats) -> Floats:
        """The straight line and its bow, largest in the middle, none at zero and capacity."""
        scale = self._truth.full_scale
        share = straight / scale
        bow: Floats = self._truth.nonlinearity * scale * 4 * share * (1 - np.abs(share))
        return straight + bow
