"""Speed of the carriage at a height, from quantised positions on one branch of its flight.

Model. Between strikes the carriage moves under gravity, guide friction, the draw-wire's spring and
air drag. Friction is constant on a branch; the spring's force falls linearly with the distance
fallen, and so does drag, nearly (v^2 is 2 a s). So with height z in counts and time tau from a
reference near the crossing:

    z'' = a - b (z - z(0)),   z = z0 + v (tau - b tau^3/6) + a (tau^2/2 - b tau^4/24)

`a` (below zero) is free. The small bend `b` has a prior; a plain parabola (b = 0) over 200 ms
would be wrong by 0.1 % of the speed, with b = 0.6 per s^2 of a 1 N/m spring on 2 kg.

Covariance. A count is the true position cut off to a whole number; its error is a sawtooth of the
position, and a sawtooth of a smooth motion is not white: where the carriage covers nearly a whole
number of counts from one sample to the next, the errors of neighbours are nearly equal. With the
position's phase against the counting edges unknown (uniform), the errors at positions x_i and x_j
have the covariance of a uniform-phase sawtooth,

    C_ij = 1/2 B2(frac(x_i - x_j)),   B2(d) = d^2 - d + 1/6,   C_ii = 1/12,

from its Fourier series sum_m sin(2 pi m x) / (pi m). The encoder's cyclic error (amplitude A, once
each 4 counts) adds A^2/2 cos(2 pi (x_i - x_j)/4) in the same way. Whatever the residuals show above
that floor (guide rattle, vibration) is added as white: rattle sits at 100 Hz and above, where the
fit responds less than to white noise of the same size. The estimate is least squares with the
priors as extra rows; its covariance is the sandwich with this C.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.measure.budget import Input

Array = NDArray[np.float64]

FLOOR = 1 / 12  # variance of a position cut off to whole counts
COUNTS_PER_CYCLE = 4
MIN_SAMPLES = 6
PASSES = 4


@dataclass(frozen=True)
class Branch:
    """A fitted branch, at its crossing of the wanted level.

    Attributes:
        speed: size of the speed at the crossing, counts/s.
        u_speed: its standard uncertainty from the fit alone.
        dof: degrees of freedom of u_speed.
        acceleration: second derivative at the crossing, counts/s^2 (below zero).
        u_acceleration: its standard uncertainty.
        crossing_s: time of the crossing.
        u_crossing_s: its standard uncertainty.
        samples: positions used.
        first_s, last_s: their times.
        residual: rms of the residuals, counts.
        expected: rms that quantisation and cyclic error alone would give, counts.
        bound: smallest standard deviation of an unbiased speed from these samples, were their
            errors white of variance 1/12 (Cramer-Rao, with the same unknowns and priors).
        plain_bound: the same with the bend known: a parabola's bound.
    """

    speed: float
    u_speed: float
    dof: float
    acceleration: float
    u_acceleration: float
    crossing_s: float
    u_crossing_s: float
    samples: int
    first_s: float
    last_s: float
    residual: float
    expected: float
    bound: float
    plain_bound: float


def fit(
    time_s: Array,
    count: NDArray[np.int64],
    level: float,
    *,
    start_s: float,
    bend: Input,
    acceleration: Input | None = None,
    cyclic: float = 0.0,
) -> Branch | None:
    """Fit one branch and carry it to its crossing of `level`.

    Args:
        time_s: sample times, shape (n,).
        count: positions, shape (n,).
        level: height of the crossing, counts.
        start_s: rough time of the crossing.
        bend: what is known of b beforehand, 1/s^2.
        acceleration: what is known of the acceleration beforehand, counts/s^2.
        cyclic: amplitude of the encoder's cyclic error, counts.

    Returns:
        None when there are fewer than six samples, or the branch does not reach the level.
    """
    if len(count) < MIN_SAMPLES:
        return None
    z = count.astype(float) + 0.5  # the middle of the count, so that errors have zero mean
    level = level + 0.5
    base = FLOOR + cyclic**2 / 2
    precision, mean = _priors(bend, acceleration)
    reference, p = start_s, np.array([level, 0.0, mean[2], bend.value])
    rising = bool(z[-1] > z[0])
    for turn in range(PASSES):
        tau = time_s - reference
        p = _least_squares(tau, z, p, base, precision, mean, first=turn == 0)
        step = _to_level(p, level, rising)
        if step is None:
            return None
        if turn < PASSES - 1:
            reference += step
    design = _design(tau, p)
    residual = z - _position(tau, p)
    rss = float(residual @ residual)
    free = len(z) - (3 if acceleration is None else 2)
    excess = max(0.0, rss / free - base)
    hat = np.linalg.inv(design.T @ design / base + precision)
    cov_known = (
        hat
        @ (design.T @ _covariance(_position(tau, p), cyclic) @ design / base**2 + precision)
        @ hat
    )
    cov_excess = excess * hat @ (design.T @ design) @ hat / base**2
    gradient, speed = _speed_gradient(p, level)
    known, extra = (float(gradient @ c @ gradient) for c in (cov_known, cov_excess))
    covariance = cov_known + cov_excess
    information = design.T @ design / FLOOR + precision
    white = np.linalg.inv(information)
    plain = np.linalg.inv(information[:3, :3])
    return Branch(
        speed=speed,
        u_speed=math.sqrt(known + extra),
        dof=(known + extra) ** 2 * free / extra**2 if extra > 0 else math.inf,
        acceleration=float(p[2]),
        u_acceleration=math.sqrt(float(covariance[2, 2])),
        crossing_s=reference + (_to_level(p, level, rising) or 0.0),
        u_crossing_s=math.sqrt(float(covariance[0, 0])) / speed,
        samples=len(z),
        first_s=float(time_s[0]),
        last_s=float(time_s[-1]),
        residual=math.sqrt(rss / free),
        expected=math.sqrt(base),
        bound=math.sqrt(float(gradient @ white @ gradient)),
        plain_bound=math.sqrt(float(gradient[:3] @ plain @ gradient[:3])),
    )


def _priors(bend: Input, acceleration: Input | None) -> tuple[Array, Array]:
    """Precision matrix and mean of what is known of (z0, v, a, b) beforehand."""
    mean = np.array([0.0, 0.0, 0.0, bend.value])
    precision = np.diag([0.0, 0.0, 0.0, bend.u**-2])
    if acceleration is not None:
        mean[2] = acceleration.value
        precision[2, 2] = acceleration.u**-2
    return precision, mean


def _position(tau: Array, p: Array) -> Array:
    z0, v, a, b = p
    return np.asarray(z0 + v * (tau - b * tau**3 / 6) + a * (tau**2 / 2 - b * tau**4 / 24))


def _design(tau: Array, p: Array) -> Array:
    """Derivatives of the position by (z0, v, a, b), shape (n, 4)."""
    _, v, a, b = p
    return np.column_stack(
        (
            np.ones_like(tau),
            tau - b * tau**3 / 6,
            tau**2 / 2 - b * tau**4 / 24,
            -v * tau**3 / 6 - a * tau**4 / 24,
        )
    )


def _least_squares(
    tau: Array, z: Array, p: Array, base: float, precision: Array, mean: Array, *, first: bool
) -> Array:
    """One Gauss-Newton step; the first one leaves the bend at its prior."""
    design = _design(tau, p)
    if first:
        design[:, 3] = 0.0
    normal = design.T @ design / base + precision
    pull = design.T @ (z - _position(tau, p)) / base + precision @ (mean - p)
    return np.asarray(p + np.linalg.solve(normal, pull))


def _to_level(p: Array, level: float, rising: bool) -> float | None:
    """Time from the reference to the crossing of `level`, on the branch's own side of the apex."""
    square = p[1] ** 2 + 2 * p[2] * (level - p[0])
    if square <= 0 or p[2] >= 0:
        return None
    speed = math.sqrt(square) * (1 if rising else -1)
    return float((speed - p[1]) / p[2])


def _speed_gradient(p: Array, level: float) -> tuple[Array, float]:
    """Speed at the level, sqrt(v^2 + 2 a (level - z0)), and its gradient by (z0, v, a, b)."""
    speed = math.sqrt(p[1] ** 2 + 2 * p[2] * (level - p[0]))
    return np.array([-p[2], p[1], level - p[0], 0.0]) / speed, speed


def _covariance(x: Array, cyclic: float) -> Array:
    """Covariance of quantisation and cyclic errors at positions `x` (counts), shape (n, n)."""
    apart = x[:, None] - x[None, :]
    d = apart - np.floor(apart)
    sawtooth = (d * d - d + 1 / 6) / 2
    wave = cyclic**2 / 2 * np.cos(2 * math.pi * apart / COUNTS_PER_CYCLE)
    return np.asarray(sawtooth + wave)
