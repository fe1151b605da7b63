"""One seated tip under the hand: pre-load, pull, what a snap does, back again."""

import math
from dataclasses import dataclass

import numpy as np

from rig.virtual.arm.bare import Arm, Mark
from rig.virtual.arm.path import Path
from rig.virtual.arm.record import PryTruth, pry_truth
from rig.virtual.arm.snap import jump
from rig.virtual.arm.tip import Tip

TRIAL_RATE = math.radians(5.0)
HOLD_S = 1.5


@dataclass(frozen=True)
class Pry:
    """How a tip is pried: to the right with a positive `to_rad`, to the left with a negative.

    A hand ends it at `to_rad`, at the solid stop or at `limit_nm` of the specimen's torque
    (None: the share of the cell's capacity that the jig states), whichever comes first.
    """

    rate_rad_s: float = TRIAL_RATE
    to_rad: float = math.radians(50.0)
    limit_nm: float | None = None


def sagging(arm: Arm, tip: Tip) -> float:
    """Arm angle at which the tip carries the arm alone."""
    angle = arm.trail.angle
    for _ in range(4):
        angle = tip.angle_at(-float(arm.weight_nm(np.array([angle]))[0]))
    return angle


class PryTrial:
    """What is done with a tip that `arm` holds.

    Attributes:
        tip: the tip as it is now.
        record: of the last pull.
    """

    def __init__(self, arm: Arm, tip: Tip) -> None:
        self._arm = arm
        self.tip = arm.held = tip
        self._preload_nm = 0.0
        self._under_way: tuple[Mark, Pry, float] | None = None
        self.record: PryTruth

    def preload(self, torque_nm: float) -> float:
        """Up to a torque of its own (signed), and hold it there."""
        tip = self.tip
        tip.sign = -1 if torque_nm < 0 else 1
        self._preload_nm = abs(torque_nm)
        self._arm.lead_to(tip.angle_at(torque_nm), TRIAL_RATE)
        return self._arm.hold(HOLD_S)

    def pry(self, how: Pry) -> float:
        """Pull until the tip gives way or a limit is reached."""
        began = self._arm.start_s
        self._under_way = self._arm.mark(), how, began
        return self._pull(how, began, float("inf"))

    def cut_short(self) -> bool:
        """End a pull that is under way a reaction time from now; false when there is none."""
        if self._under_way is None or self._arm.now_s >= self.record.ended_s:
            return False
        mark, how, began = self._under_way
        self._under_way = None
        self._arm.back_to(mark)
        assert isinstance(mark.held, Tip)
        self.tip = mark.held
        self._pull(how, began, self._arm.now_s + self._arm.nature.hand.reaction_s - began)
        return True

    def unload(self) -> None:
        """Back to the pre-load torque and a while there; nothing to do for a broken tip."""
        self._under_way = None
        tip = self.tip
        if not tip.broken:
            self._arm.lead_to(tip.angle_at(tip.sign * self._preload_nm), TRIAL_RATE)
            self._arm.hold(HOLD_S)

    def _pull(self, how: Pry, began: float, lasts_s: float) -> float:
        tip, arm = self.tip, self._arm
        tip.sign = -1 if how.to_rad < 0 else 1
        before = tip.marks(self._preload_nm)
        whole = arm.led(self._end(tip, how), how.rate_rad_s)
        kept = max(2, int(np.searchsorted(whole.t, lasts_s)))
        path = Path(whole.t[:kept], whole.angle[:kept])
        answer = tip.respond(path.angle)
        way, torque = tip.sign * path.angle, tip.sign * answer.torque
        if answer.gave_way is not None:
            way = np.insert(way, answer.gave_way, before.limit_rad)
            torque = np.insert(torque, answer.gave_way, tip.truth.fails_nm)
        led = Path(path.t[: len(answer.torque)], path.angle[: len(answer.torque)])
        arm.trail.add(began + led.t, led.angle, answer.torque + arm.carried_nm(led))
        self.record = pry_truth(tip, before, way[: len(torque)], torque)
        self.record.began_s, self.record.ended_s = began, arm.trail.free_at_s
        if answer.gave_way is not None:
            self.record.gave_way_s = began + float(path.t[answer.gave_way])
            if tip.broken:
                self._run_on(tip, tip.sign * how.rate_rad_s)
        return arm.hold(HOLD_S)

    def _end(self, tip: Tip, how: Pry) -> float:
        nature = self._arm.nature
        limit = how.limit_nm
        if limit is None:
            limit = nature.limit_share * nature.cell.capacity_nm
        at_limit = tip.sign * tip.turned_to(limit)
        return tip.sign * min(abs(how.to_rad), nature.stop_rad, at_limit)

    def _run_on(self, tip: Tip, rate: float) -> None:
        """The arm after the snap."""
        arm, was = self._arm, self._arm.trail.torque
        lost_nm = tip.sign * tip.truth.fails_nm
        free = jump(arm.nature, arm.trail.angle, rate, lost_nm)
        needed = arm.weight_nm(free.path.angle) + tip.respond(free.path.angle).torque
        arm.trail.add(
            arm.trail.free_at_s + free.path.t,
            free.path.angle,
            needed + free.pull * (was - needed[0]),
        )
