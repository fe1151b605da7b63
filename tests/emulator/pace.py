"""Plant time and the chip's cycles."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Pace:
    """Cycle 0 is at `origin_s`; the chip runs at `cycles_per_s`."""

    origin_s: float
    cycles_per_s: float

    def cycle(self, t_s: float) -> int:
        """The cycle at a plant time."""
        return round((t_s - self.origin_s) * self.cycles_per_s)

    def cycles(self, t_s: NDArray[np.float64]) -> NDArray[np.uint64]:
        """Of many, shape of `t_s`."""
        return np.rint((t_s - self.origin_s) * self.cycles_per_s).astype(np.uint64)

    def time(self, cycle: int) -> float:
        """The plant time of a cycle."""
        return self.origin_s + cycle / self.cycles_per_s
