"""The no-load sweep: what the arm takes without a specimen, T0(theta).

Arm and cell have weight, the bearing rubs. With nothing seated the arm is led out and back, and

    T0(theta) = polynomial(theta) + friction * (sign of the motion) + inertia * acceleration

is fitted to both ways at once. A pry, which is slow and even, takes off the first two; a twist,
which turns back at full torque, the inertia as well. Rule for the degree: the lowest of 1 to 4
whose residuals scatter no more than a tenth above the least.
"""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

HIGHEST_DEGREE = 4
WORTH = 0.9  # least scatter of any degree over that of the one taken
BEYOND_RAD = math.radians(2.0)  # a low-order curve may be carried on so far


@dataclass(frozen=True)
class Sweep:
    """T0(theta), in the arm's own directions (positive: right).

    Attributes:
        coefficients: of the part that does not depend on the direction, from the constant up,
            N.m for angle in rad.
        friction_nm: what is added in the direction of the motion.
        u_nm: standard uncertainty of T0 at one angle while the arm moves.
        low_rad, high_rad: angles that were swept.
        inertia_kg_m2, u_inertia_kg_m2: of the arm about its axis, and how sure that is.
    """

    coefficients: tuple[float, ...]
    friction_nm: float
    u_nm: float
    low_rad: float
    high_rad: float
    inertia_kg_m2: float = 0.0
    u_inertia_kg_m2: float = 0.0

    def weight_nm(self, angle_rad: ArrayLike) -> Array:
        """The part without friction, N.m, same shape."""
        angle = np.asarray(angle_rad, dtype=float)
        return np.asarray(polynomial.polyval(angle, np.array(self.coefficients)))

    def holds(self, low_rad: float, high_rad: float) -> bool:
        """Were angles from `low_rad` to `high_rad` swept?"""
        return self.low_rad - BEYOND_RAD <= low_rad and high_rad <= self.high_rad + BEYOND_RAD

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""
        return asdict(self) | {"coefficients": list(self.coefficients)}

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> "Sweep":
        """The sweep that `to_dict` wrote (further keys are passed over)."""
        names = ("friction_nm", "u_nm", "low_rad", "high_rad", "inertia_kg_m2", "u_inertia_kg_m2")
        return Sweep(tuple(data["coefficients"]), *(float(data[name]) for name in names))


NOTHING = Sweep((0.0,), 0.0, 0.0, -math.pi, math.pi)
"""An arm that takes nothing: what the sweep itself is read with."""
