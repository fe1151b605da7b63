"""A number with its interval, or the reasons why there is none."""

import math
from dataclasses import dataclass

from rig.measure.budget import Reason

LEVEL = 0.95


@dataclass(frozen=True)
class Estimate:
    """What the lives say of one quantity.

    `estimate` is nan where the lives do not determine it; `reasons` then say why, and `low` and
    `high` still bound it. An end that is not bounded is 0 or infinite (minus infinite where the
    quantity may be negative). `level` is the share of such intervals that hold the truth.
    """

    name: str
    estimate: float
    low: float
    high: float
    level: float
    unit: str
    method: str
    reasons: tuple[Reason, ...] = ()

    @property
    def determined(self) -> bool:
        """Whether there is a number and both of its bounds."""
        return all(math.isfinite(x) for x in (self.estimate, self.low, self.high)) and self.low > 0

    def holds(self, truth: float) -> bool:
        """Whether `truth` lies in the interval."""
        return self.low <= truth <= self.high
