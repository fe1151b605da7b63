"""A tip pried in wood: torque as the arm turns, bending for good, snapping, slipping."""

from typing import NamedTuple

import numpy as np

from rig.virtual.arm.relaxation import Floats, relax
from rig.virtual.arm.truth import Failure, TipTruth

FAR_RAD = 2.0
BEND_POINTS = 3000
ELASTIC_POINTS = 600


class Curve:
    """Torque against angle of a whole tip that is turned one way, never back.

    Attributes:
        series: stiffness of the straight part, N.m/rad.
    """

    def __init__(self, truth: TipTruth, tool_nm_per_rad: float) -> None:
        self._truth = truth
        self.series = truth.series_nm_per_rad(tool_nm_per_rad)
        bends = FAR_RAD * np.linspace(0.0, 1.0, BEND_POINTS) ** 2
        rise = truth.plateau_nm - truth.yield_nm
        yielding = truth.yield_nm + rise * (1 - np.exp(-bends / truth.spread_rad))
        # Below yield: dense where the toe bends the curve, and it is straight above.
        below = truth.yield_nm * np.linspace(0.0, 1.0, ELASTIC_POINTS) ** 3
        self._torque = np.concatenate([below, yielding[1:]])
        self._bend = np.concatenate([np.zeros_like(below), bends[1:]])
        self._elastic = self.elastic_rad(self._torque)
        self._angle = self._elastic + self._bend

    def elastic_rad(self, torque: Floats) -> Floats:
        """Angle that springs back at a torque."""
        toe = 1 - np.exp(-np.abs(torque) / self._truth.toe_nm)
        angle: Floats = torque / self.series + self._truth.toe_rad * toe * np.sign(torque)
        return angle

    def elastic_nm(self, angle: Floats) -> Floats:
        """Torque of an angle that would spring back, either way."""
        size = np.interp(np.abs(angle), self._elastic, self._torque)
        # Beyond what it can hold forwards the straight line goes on (only seen going back).
        over = np.maximum(np.abs(angle) - self._elastic[-1], 0.0) * self.series
        torque: Floats = np.sign(angle) * (size + over)
        return torque

    def bend_rad(self, furthest: Floats) -> Floats:
        """Angle that stays after having been turned to `furthest`."""
        bend: Floats = np.interp(furthest, self._angle, self._bend)
        return bend

    def bend_nm(self, bend: float) -> float:
        """Torque at which so much has been bent for good."""
        truth = self._truth
        rise = truth.plateau_nm - truth.yield_nm
        return float(truth.yield_nm + rise * (1 - np.exp(-bend / truth.spread_rad)))

    def angle_at(self, torque_nm: float) -> float:
        """Angle at which the torque is first reached; infinite when it never is."""
        if torque_nm > self._torque[-1]:
            return float("inf")
        return float(np.interp(torque_nm, self._torque, self._angle))


class Marks(NamedTuple):
    """How a tip stood before a pry, along its direction (positive).

    Arm angles of the pre-load point and of where it will give way, and what had stayed by then.
    """

    preload_nm: float
    preload_rad: float
    limit_rad: float
    bend_rad: float
    set_rad: float


class Answer(NamedTuple):
    """Torque at each angle, and where it gave way (None: it held)."""

    torque: Floats
    gave_way: int | None


class Tip:
    """A tip seated at arm angle `seat_rad`, and what it has been through.

    Bending for good is one way (that of `sign`, +1 right or -1 left); turned back it springs.
    """

    def __init__(self, truth: TipTruth, tool_nm_per_rad: float, seat_rad: float) -> None:
        self.truth = truth
        self.curve = Curve(truth, tool_nm_per_rad)
        self.sign = 1
        self.broken = self.slipped = False
        self._seat_rad = seat_rad
        self._furthest = 0.0
        self._stump = 1.0
        self._last = 0.0
        reached = self.curve.angle_at(truth.fails_nm)
        fails = truth.kind in (Failure.SNAP, Failure.SLIP)
        self._limit_rad = reached if fails else float("inf")

    @property
    def set_rad(self) -> float:
        """Angle by which the arm no longer comes back, in the direction of `sign`."""
        slipped = self.truth.slip_rad if self.slipped else 0.0
        return self.bend_rad + slipped

    @property
    def bend_rad(self) -> float:
        """Angle bent for good."""
        return float(self.curve.bend_rad(np.array([self._furthest]))[0])

    def angle_at(self, torque_nm: float) -> float:
        """Arm angle at which the specimen's torque is `torque_nm`, springing (signed)."""
        elastic = float(self.curve.elastic_rad(np.array([torque_nm]))[0])
        return self._seat_rad + elastic + self.sign * self.set_rad

    def turned_to(self, torque_nm: float) -> float:
        """Arm angle at which it first has so much torque in the direction of `sign`."""
        slipped = self.truth.slip_rad if self.slipped else 0.0
        return self._seat_rad + self.sign * (self.curve.angle_at(torque_nm) + slipped)

    def marks(self, preload_nm: float) -> Marks:
        """How it stands now, with a pre-load (positive)."""
        start = self.sign * self.angle_at(self.sign * preload_nm)
        limit = self.sign * self._seat_rad + self._limit_rad
        return Marks(preload_nm, start, limit, self.bend_rad, self.set_rad)

    def respond(self, angle: Floats) -> Answer:
        """Torque (signed) along a path; a snap ends it there: the caller goes on from it."""
        way = self._way(angle)
        if self.broken:
            return Answer(self.sign * self._stump_nm(way), None)
        furthest = np.maximum(np.maximum.accumulate(way), self._furthest)
        torque = self.curve.elastic_nm(way - self.curve.bend_rad(furthest))
        over = np.flatnonzero(furthest >= self._limit_rad)
        if not over.size or self.slipped:
            self._furthest = float(furthest[-1])
            return Answer(self.sign * torque, None)
        return self._give_way(angle, torque, int(over[0]))

    def _way(self, angle: Floats) -> Floats:
        slipped = self.truth.slip_rad if self.slipped else 0.0
        return self.sign * (angle - self._seat_rad) - slipped

    def _give_way(self, angle: Floats, torque: Floats, at: int) -> Answer:
        self._furthest = self._limit_rad
        if self.truth.kind is Failure.SNAP:
            self.broken = True
            self._last = float(self._way(angle[at : at + 1])[0])
            return Answer(self.sign * torque[:at], at)
        self.slipped = True
        rest = self.respond(angle[at:])
        return Answer(np.concatenate([self.sign * torque[:at], rest.torque]), at)

    def _stump_nm(self, way: Floats) -> Floats:
        """Friction of the broken end in the wood."""
        limit = self.truth.left_share * self.truth.fails_nm
        travel = np.diff(way, prepend=self._last)
        share = relax(self._stump, np.sign(travel), np.abs(travel) * self.curve.series / limit)
        self._stump, self._last = float(share[-1]), float(way[-1])
        return limit * share
