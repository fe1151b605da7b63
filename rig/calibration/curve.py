"""A straight line or a quadratic through calibration readings, chosen by a stated rule.

Least squares by an orthogonal factorisation with scaled columns: the normal equations in unscaled
readings lose most digits (NIST StRD, case Pontius).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from rig.errors import RigError

Array = NDArray[np.float64]

LEVEL = 0.05
"""The quadratic must lower the residual sum so much that chance does it in one case of twenty."""

_EXACT = 1e-24  # of the sum of squares: below it residuals are rounding, not readings


@dataclass(frozen=True)
class Curve:
    """y = sum of coefficients times x^power.

    Attributes:
        powers: ascending, such as (1, 2) for a quadratic through zero.
        coefficients, u: one for each power; u is its standard deviation.
        s: residual standard deviation of one reading (n - number of powers degrees of freedom).
        dof: those degrees of freedom.
        residual_sum: of squared residuals.
    """

    powers: tuple[int, ...]
    coefficients: tuple[float, ...]
    u: tuple[float, ...]
    s: float
    dof: int
    residual_sum: float

    def value(self, x: ArrayLike) -> Array:
        """The curve at `x`, same shape."""
        at = np.asarray(x, dtype=float)
        parts = [c * at**power for c, power in zip(self.coefficients, self.powers, strict=True)]
        return np.asarray(sum(parts), dtype=float)

    @property
    def polynomial(self) -> tuple[float, ...]:
        """All coefficients from the constant up, zero where a power has none."""
        told = dict(zip(self.powers, self.coefficients, strict=True))
        return tuple(told.get(power, 0.0) for power in range(max(self.powers) + 1))


def fit(x: ArrayLike, y: ArrayLike, powers: Sequence[int]) -> Curve:
    """The least-squares curve with these powers.

    Args:
        x, y: readings and known values, shape (n,).
        powers: distinct, ascending.

    Raises:
        RigError: not more different readings than powers.
    """
    at, known = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    count = len(powers)
    if len(np.unique(at)) < count or len(at) <= count:
        raise RigError(
            f"{len(np.unique(at))} different readings are too few for a curve with {count} figures",
            remedy="take more points",
        )
    scale = np.array([float(np.max(np.abs(at))) ** power for power in powers])
    design = at[:, None] ** np.array(powers) / scale
    q, r = np.linalg.qr(design)
    scaled = np.linalg.solve(r, q.T @ known)
    # Once more on what is left over: the last digits that the first solution lost.
    scaled += np.linalg.solve(r, q.T @ (known - design @ scaled))
    residual_sum = float(np.sum((known - design @ scaled) ** 2))
    dof = len(at) - count
    s = math.sqrt(residual_sum / dof)
    inverse = np.linalg.inv(r)
    u = s * np.sqrt(np.sum(inverse**2, axis=1)) / scale
    coefficients = scaled / scale
    return Curve(
        tuple(powers), tuple(map(float, coefficients)), tuple(map(float, u)), s, dof, residual_sum
    )


@dataclass(frozen=True)
class Choice:
    """The curve chosen and why.

    Attributes:
        curve: the one to use.
        f: how much the quadratic lowers the residual sum, against its own residual variance.
        p: chance of so large an f when the line is true.
        gap: largest distance between line and quadratic over the readings, in the unit of y.
        why: one sentence.
    """

    curve: Curve
    f: float
    p: float
    gap: float
    why: str


def choose(
    x: ArrayLike, y: ArrayLike, line: Sequence[int], bent: Sequence[int], matters: float
) -> Choice:
    """The line, unless the quadratic is both certain and worth it.

    The rule: the quadratic is taken when the F test of the residual sums is beyond 5 % and the
    two curves lie more than `matters` apart somewhere among the readings.

    Args:
        x, y: readings and known values, shape (n,).
        line, bent: powers of either curve; `bent` has one more.
        matters: in the unit of y.
    """
    straight = fit(x, y, line)
    if len(np.unique(np.asarray(x, dtype=float))) <= len(bent) or len(np.asarray(x)) <= len(bent):
        return Choice(straight, 0.0, 1.0, 0.0, "straight line: too few points for a quadratic")
    quadratic = fit(x, y, bent)
    gained = straight.residual_sum - quadratic.residual_sum
    floor = _EXACT * float(np.sum(np.asarray(y, dtype=float) ** 2))
    f = max(gained, 0.0) / max(quadratic.residual_sum, floor) * quadratic.dof
    f = 0.0 if gained <= floor else f
    p = float(fdtrc(1, quadratic.dof, f))
    span = np.linspace(np.min(x), np.max(x), 201)
    gap = float(np.max(np.abs(quadratic.value(span) - straight.value(span))))
    certain, worth = p < LEVEL, gap > matters
    told = f"F {f:.3g}, p {p:.2g}; the two differ by at most {_share(gap, y)}"
    least, of = _share(matters, y), "of the largest known value"
    if certain and worth:
        return Choice(quadratic, f, p, gap, f"quadratic ({told}, more than {least}, {of})")
    why = "not certain" if not certain else f"below the {least} that matters"
    return Choice(straight, f, p, gap, f"straight line: a bend is {why} ({told} {of})")


def _share(distance: float, y: ArrayLike) -> str:
    """As a share of the largest known value: curves here know no unit."""
    return f"{100 * distance / float(np.max(np.abs(y))):.2g} %"
