"""When has an arm that is pried or twisted done its work? Pure: fed readings, it answers.

Only for the live guidance: the result is computed afterwards from the raw frames.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Watch:
    """Follows torque and angle of one Record step.

    Attributes:
        stop: the step's limits: any of `angle_rad`, `torque_nm` (sizes, either side), `fall_share`
            (the torque fell by this share of its peak, once above `from_nm`), and `cycles` with
            `amplitude_rad` (turned to both sides that often).
        why: "" while it goes on, else what ended it: "failed", "angle_limit", "torque_limit",
            "cycles_done".
        peak_nm: the largest torque so far.
    """

    stop: Mapping[str, Any]
    why: str = ""
    peak_nm: float = 0.0
    turns: int = 0
    _side: int = field(default=0, repr=False)

    def feed(self, torque_nm: float, angle_rad: float) -> None:
        """Take one pair of readings in."""
        size = abs(torque_nm)
        self.peak_nm = max(self.peak_nm, size)
        self._count_turns(angle_rad)
        if self.why:
            return
        if "torque_nm" in self.stop and size >= self.stop["torque_nm"]:
            self.why = "torque_limit"
        elif "angle_rad" in self.stop and abs(angle_rad) >= self.stop["angle_rad"]:
            self.why = "angle_limit"
        elif "fall_share" in self.stop and self._fell(size):
            self.why = "failed"
        elif "cycles" in self.stop and self.turns >= 2 * self.stop["cycles"]:
            self.why = "cycles_done"

    def _fell(self, size: float) -> bool:
        begun = self.peak_nm >= self.stop["from_nm"]
        return bool(begun and size <= (1 - self.stop["fall_share"]) * self.peak_nm)

    def _count_turns(self, angle_rad: float) -> None:
        """A turn is an arrival at the amplitude (within a tenth) on the other side."""
        if "cycles" not in self.stop:
            return
        side = (angle_rad > 0) - (angle_rad < 0)
        if side != self._side and abs(angle_rad) >= 0.9 * self.stop["amplitude_rad"]:
            self._side = side
            self.turns += 1
