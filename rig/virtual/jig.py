"""The pry and twist jig as physics: arm, cell, angle sensor and a hand; nothing of bytes.

Every action is worked out whole when it is asked for and begins when the one before has ended; it
gives the plant time of its own end. The hand leads the arm along a path, so the cell feels what
the specimen, the arm's weight, the bearing and the arm's inertia need along it; only after a snap
does the arm go its own way. Records of truth are there as soon as the action was asked for.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rig.virtual.arm import LET_GO_S, Arm
from rig.virtual.armpath import Path, grid, swing
from rig.virtual.jigrecord import PryTruth, TwistTruth, pry_truth, twist_truth
from rig.virtual.jigtruth import EdgeTruth, JigTruth, TipTruth
from rig.virtual.relaxation import Floats
from rig.virtual.slot import SlotEdge
from rig.virtual.snapjump import jump
from rig.virtual.tip import Tip

TRIAL_RATE = math.radians(5.0)
SEAT_SCATTER_RAD = math.radians(0.3)
PRESS_NM = 0.5  # of a hand against a stop
HANG_S, SWINGS_HZ, SWING_SHARE, SWING_S = 6.0, 1.2, 0.02, 0.7
HOLD_S = 1.5
SIDES = {"right": 1, "left": -1}


@dataclass(frozen=True)
class Pry:
    """How a tip is pried: to the right with a positive `to_rad`, to the left with a negative.

    A hand ends it at `to_rad`, at the solid stop or at `limit_nm` of the specimen's torque
    (None: the share of the cell's capacity that the jig states), whichever comes first.
    """

    rate_rad_s: float = TRIAL_RATE
    to_rad: float = math.radians(50.0)
    limit_nm: float | None = None


class Jig:
    """Arm, cell and sensor of one rig.

    Attributes:
        nature: the true values.
        truth, twists: records of each pry and twist trial, in order.
        tip, edge: the last specimen of each kind (None: none yet).
    """

    def __init__(self, truth: JigTruth | None = None, seed: int = 0) -> None:
        self.nature = truth or JigTruth()
        self.truth: list[PryTruth] = []
        self.twists: list[TwistTruth] = []
        self.tip: Tip | None = None
        self.edge: SlotEdge | None = None
        self._arm = Arm(self.nature, seed)
        self._preload_nm = 0.0

    # -- time

    @property
    def now_s(self) -> float:
        """Plant time, seconds."""
        return self._arm.now_s

    @property
    def free_at_s(self) -> float:
        """When all that was asked for will be done."""
        return self._arm.trail.free_at_s

    @property
    def quiet_until_s(self) -> float:
        """Until then nothing moves by itself (now, when something does)."""
        return self.now_s if self.now_s < self.free_at_s else float("inf")

    def advance(self, until_s: float) -> None:
        """Let time pass until `until_s`."""
        self._arm.now_s = until_s
        self._arm.trail.forget(until_s)

    def torque_nm(self, t: ArrayLike) -> Floats:
        """True torque at the cell; shape of `t`. What is 2 s past is forgotten by `advance`."""
        return self._arm.trail.torque_at(t)

    def angle_rad(self, t: ArrayLike) -> Floats:
        """True arm angle from the zero mark; shape of `t`."""
        return self._arm.trail.angle_at(t)

    def bridge_ratio(self, t: ArrayLike) -> Floats:
        """Output of the cell's bridge over its excitation, all errors in; shape of `t`."""
        return self._arm.trail.bridge_at(t)

    def angle_ratio(self, t: ArrayLike) -> Floats:
        """Output of the angle sensor over its supply; shape of `t`."""
        return self._arm.trail.sensor_at(t)

    def pause(self, duration_s: float) -> float:
        """Nobody does anything for a while; what hangs, hangs, what is held is held."""
        return self._arm.pause(duration_s)

    # -- the bare arm

    def hang(self, mass_kg: float, side: str) -> float:
        """A dead weight pulls to "right" or "left" in place of whatever hung there; it swings."""
        self._arm.held = None
        target = SIDES[side] * self.nature.hung_nm(mass_kg)
        t = grid(HANG_S)
        taken = np.sin(math.pi / 2 * np.minimum(1.0, t / LET_GO_S)) ** 2
        swinging = SWING_SHARE * np.exp(-t / SWING_S) * np.sin(2 * math.pi * SWINGS_HZ * t)
        before = self._arm.trail.torque
        torque = before + (target - before) * taken + target * swinging * taken
        torque[-1] = target
        return self._arm.add(Path(t, np.full_like(t, self._arm.trail.angle)), torque)

    def unhang(self) -> float:
        """Take the weight off."""
        return self._arm.pull_to(0.0)

    def free(self) -> float:
        """Nothing pulls any more: a bare arm goes to its rest, a seated tip carries the arm."""
        held = self._arm.held
        if isinstance(held, Tip) and not held.broken:
            self._arm.lead_to(self._sagging(held))
        elif not isinstance(held, SlotEdge) and self._arm.trail.angle != 0.0:
            self._arm.lead_to(0.0)
        return self._arm.pull_to(0.0)

    def hold_at_stop(self, angle_rad: float) -> float:
        """Hold the arm against a known stop."""
        self._arm.held = None
        self._arm.lead_to(angle_rad + self.nature.stop_error_rad)
        weight = float(self._arm.weight_nm(np.array([self._arm.trail.angle]))[0])
        return self._arm.pull_to(weight + math.copysign(PRESS_NM, angle_rad))

    def sweep(self, to_rad: float, rate_rad_s: float = TRIAL_RATE) -> float:
        """Lead the bare arm to an angle and back to zero."""
        self._arm.home()
        self._arm.lead_to(to_rad, rate_rad_s)
        self._arm.lead_to(0.0, rate_rad_s)
        return self._arm.pull_to(0.0)

    # -- pry

    def seat(self, truth: TipTruth) -> float:
        """Seat a fresh tip in the block; its wood then carries the arm."""
        self._arm.home()
        seat = float(self._arm.rng.normal(0.0, SEAT_SCATTER_RAD))
        self.tip = Tip(truth, self.nature.tool_nm_per_rad, seat)
        path = self._arm.led(self._sagging(self.tip), math.radians(20.0))
        self._arm.held = self.tip
        return self._arm.add(path, np.zeros_like(path.t))

    def preload(self, torque_nm: float) -> float:
        """Pull the seated tip up to a torque of its own and hold it there (signed)."""
        tip = self._seated()
        tip.sign = -1 if torque_nm < 0 else 1
        self._preload_nm = abs(torque_nm)
        self._arm.lead_to(tip.angle_at(torque_nm), TRIAL_RATE)
        return self._arm.hold(HOLD_S)

    def pry(self, how: Pry) -> float:
        """Pull until the tip gives way or a limit is reached; adds a record to `truth`."""
        tip, arm = self._seated(), self._arm
        tip.sign = -1 if how.to_rad < 0 else 1
        before, began = tip.marks(self._preload_nm), arm.start_s
        path = arm.led(self._end(tip, how), how.rate_rad_s)
        answer = tip.respond(path.angle)
        way, torque = tip.sign * path.angle, tip.sign * answer.torque
        if answer.gave_way is not None:
            way = np.insert(way, answer.gave_way, before.limit_rad)
            torque = np.insert(torque, answer.gave_way, tip.truth.fails_nm)
        led = Path(*(part[: len(answer.torque)] for part in path))
        arm.add(led, answer.torque + arm.carried_nm(led))
        record = pry_truth(tip, before, way[: len(torque)], torque)
        record.began_s, record.ended_s = began, arm.trail.free_at_s
        if answer.gave_way is not None:
            record.gave_way_s = began + float(path.t[answer.gave_way])
            if tip.broken:
                self._run_on(tip, tip.sign * how.rate_rad_s)
        self.truth.append(record)
        return arm.hold(HOLD_S)

    def unload(self) -> float:
        """Back to the pre-load torque, a while there (a whole tip only), then let go."""
        tip = self._seated()
        if not tip.broken:
            self._arm.lead_to(tip.angle_at(tip.sign * self._preload_nm), TRIAL_RATE)
            self._arm.hold(HOLD_S)
        return self.free()

    # -- twist

    def set_edge(self, truth: EdgeTruth) -> float:
        """Set an edge in the slot of the hardwood block."""
        self._arm.home()
        self.edge = self._arm.held = SlotEdge(truth, self._arm.trail.angle)
        return self._arm.pull_to(0.0)

    def twist(self, amplitude_rad: float, cycles: int, rate_rad_s: float) -> float:
        """Twist to and fro; adds a record to `twists`."""
        if self.edge is None or self._arm.held is not self.edge:
            raise RuntimeError("no edge is set")
        path = swing(self._arm.trail.angle, amplitude_rad, cycles, rate_rad_s)
        torque = self.edge.respond(path.angle)
        self.twists.append(twist_truth(path.angle, torque, cycles))
        self._arm.add(path, torque + self._arm.carried_nm(path))
        return self._arm.pull_to(0.0)

    # -- within

    def _seated(self) -> Tip:
        if self.tip is None or self._arm.held is not self.tip:
            raise RuntimeError("no tip is seated")
        return self.tip

    def _sagging(self, tip: Tip) -> float:
        """Arm angle at which the tip carries the arm alone."""
        angle = self._arm.trail.angle
        for _ in range(4):
            angle = tip.angle_at(-float(self._arm.weight_nm(np.array([angle]))[0]))
        return angle

    def _end(self, tip: Tip, how: Pry) -> float:
        nature = self.nature
        limit = how.limit_nm
        if limit is None:
            limit = nature.limit_share * nature.cell.capacity_nm
        at_limit = tip.sign * tip.turned_to(limit)
        return tip.sign * min(abs(how.to_rad), nature.stop_rad, at_limit)

    def _run_on(self, tip: Tip, rate: float) -> None:
        """The arm after the snap."""
        arm, was = self._arm, self._arm.trail.torque
        free = jump(self.nature, arm.trail.angle, rate, tip.sign * tip.truth.fails_nm)
        needed = arm.weight_nm(free.path.angle) + tip.respond(free.path.angle).torque
        arm.add(free.path, needed + free.pull * (was - needed[0]))
