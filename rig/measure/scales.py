"""What a certificate gives a measurement: a channel's reading as a value, and how sure that is."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import ArrayLike, NDArray

from rig.measure.budget import Input


@dataclass(frozen=True)
class Scale:
    """value = c0 + c1 x + c2 x^2 ..., apart for readings above and below zero.

    Attributes:
        right, left: coefficients from the constant up, for x at or above zero and below it. For the
            load x is the code less the zero reading, for the angle the sum of conversions.
        u_relative: standard uncertainty in proportion to the value, one error for all readings.
        u_absolute: standard uncertainty of one value whatever its size, in `unit`.
        dof: degrees of freedom of both.
        low, high: the certificate holds for values of this size (without sign), in `unit`.
        unit: of the value.
        source: what stands behind it, for the budget's rows.
    """

    right: tuple[float, ...]
    left: tuple[float, ...]
    u_relative: float
    u_absolute: float
    dof: float
    low: float
    high: float
    unit: str
    source: str

    def value(self, x: ArrayLike) -> NDArray[np.float64]:
        """Readings as values, same shape."""
        reading = np.asarray(x, dtype=float)
        right, left = (polynomial.polyval(reading, np.array(c)) for c in (self.right, self.left))
        return np.asarray(np.where(reading >= 0, right, left))

    def inputs(self, name: str) -> tuple[Input, Input]:
        """A factor near one and a shift near zero, to put on values in a budget."""
        return (
            Input(f"{name}_scale", 1.0, self.u_relative, self.dof, self.source, "1"),
            Input(f"{name}_point", 0.0, self.u_absolute, self.dof, self.source, self.unit),
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON; unlimited degrees of freedom become null."""
        told = asdict(self)
        told["dof"] = None if math.isinf(self.dof) else self.dof
        return told | {"right": list(self.right), "left": list(self.left)}

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> "Scale":
        """The scale that `to_dict` wrote."""
        dof = math.inf if data["dof"] is None else data["dof"]
        return Scale(
            **{**data, "right": tuple(data["right"]), "left": tuple(data["left"]), "dof": dof}
        )
