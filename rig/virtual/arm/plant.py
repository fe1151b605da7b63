"""The pry and twist jig as physics: arm, cell, angle sensor and a hand; nothing of bytes.

Every action is worked out whole when it is asked for and begins when the one before has ended; it
gives the plant time of its own end. The hand leads the arm along a path, so the cell feels what
the specimen, the arm's weight, the bearing and the arm's inertia need along it; only after a snap
does the arm go its own way. Records of truth are there as soon as the action was asked for.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from rig.virtual.arm.bare import LET_GO_S, Arm
from rig.virtual.arm.path import Path, grid, swing
from rig.virtual.arm.pry import TRIAL_RATE, Pry, PryTrial, sagging
from rig.virtual.arm.record import PryTruth, TwistTruth, twist_truth
from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.slot import SlotEdge
from rig.virtual.arm.tip import Tip
from rig.virtual.arm.truth import EdgeTruth, JigTruth, TipTruth

SEAT_SCATTER_RAD = math.radians(0.3)
PRESS_NM = 0.5  # of a hand against a stop
HANG_S, SWINGS_HZ, SWING_SHARE, SWING_S = 6.0, 1.2, 0.02, 0.7
SIDES = {"right": 1, "left": -1}

__all__ = ["SIDES", "Jig", "Pry"]


class Jig:
    """Arm, cell and sensor of one rig.

    Attributes:
        nature: the true values.
        truth, twists: records of each pry and twist trial, in order.
        edge: the last edge that was set (None: none yet).
    """

    def __init__(self, truth: JigTruth | None = None, seed: int = 0) -> None:
        self.nature = truth or JigTruth()
        self.truth: list[PryTruth] = []
        self.twists: list[TwistTruth] = []
        self.edge: SlotEdge | None = None
        self._arm = Arm(self.nature, seed)
        self._trial: PryTrial | None = None

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

    @property
    def plan(self) -> object:
        """Another object whenever what the cell will feel has changed."""
        return self._arm.trail.plan

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
            self._arm.lead_to(sagging(self._arm, held))
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
        tip = Tip(truth, self.nature.tool_nm_per_rad, seat)
        path = self._arm.led(sagging(self._arm, tip), math.radians(20.0))
        self._trial = PryTrial(self._arm, tip)
        return self._arm.add(path, np.zeros_like(path.t))

    def preload(self, torque_nm: float) -> float:
        """Pull the seated tip up to a torque of its own and hold it there (signed)."""
        return self._seated().preload(torque_nm)

    def pry(self, how: Pry) -> float:
        """Pull until the tip gives way or a limit is reached; adds a record to `truth`."""
        trial = self._seated()
        end = trial.pry(how)
        self.truth.append(trial.record)
        return end

    def unload(self) -> float:
        """Back to the pre-load torque, a while there (a whole tip only), then let go."""
        self._seated().unload()
        return self.free()

    def stop_pull(self) -> None:
        """Somebody says stop: a pull under way ends a reaction time from now.

        It is then as if it had never been meant to go on: its record in `truth` is made anew.
        """
        if self._trial is not None and self._trial.cut_short():
            self.truth[-1] = self._trial.record

    @property
    def seated(self) -> bool:
        """Whether a tip is in the block."""
        return isinstance(self._arm.held, Tip)

    @property
    def tip(self) -> Tip | None:
        """The last tip that was seated, none when none was."""
        return None if self._trial is None else self._trial.tip

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
        arm = self._arm
        path = swing(arm.trail.angle, amplitude_rad, cycles, rate_rad_s, arm.nature.hand, arm.rng)
        torque = self.edge.respond(path.angle)
        self.twists.append(twist_truth(path.angle, torque))
        self._arm.add(path, torque + self._arm.carried_nm(path))
        return self._arm.pull_to(0.0)

    def _seated(self) -> PryTrial:
        if self._trial is None or self._arm.held is not self._trial.tip:
            raise RuntimeError("no tip is seated")
        return self._trial
