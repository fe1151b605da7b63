"""The board's clock against the host's, from heartbeat exchanges.

A ceramic resonator is only good to about 0.5 %, which is 1 % of an energy. Each heartbeat gives
three numbers: the host sends at s, the board handles it at tick c, the host has the reply at r.
Whatever the delays on the way, the board's instant lies between s and r on the host's clock. With
nominal time n = c / tick rate, the straight line  host = offset + factor n  must therefore pass
between s and r of every exchange.

The factors that can do so form an interval. It is found by linear programming, and it holds the
true factor for certain while the rate is constant: queueing, a busy host, or a USB latency timer
that drifts slowly against the heartbeat can widen it and never shift it. (A regression of
mid-points with its scatter cannot say that: a delay drifting through 16 ms in a minute looks
exactly like a rate error of 0.03 %.) Only the exchanges with the shortest round trips shape the
interval; the others are left out by the mathematics, not by a threshold. The middle is the
estimate, and the width is taken as rectangular (GUM 4.3.7).

When the rate wanders (a warming resonator) no line passes: the bounds are then loosened by the
least amount that lets one pass, and the wander adds its own uncertainty.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog

from rig.board.wire import TICK_HZ, TIME_BITS
from rig.measure.budget import Input, Reason

# Initial tolerance and temperature together, boards with a resonator; common practice, no source.
PRIOR_HALF_WIDTH = 0.005
# A computer's crystal: +-50 parts in a million, common practice, no source.
HOST_HALF_WIDTH = 50e-6
MIN_COUNT = 5
Array = NDArray[np.float64]

_MS = 1e3  # the solver's tolerances are absolute; in milliseconds they are a tenth of a nanosecond
_ONE_TICK_S = 1 / TICK_HZ


@dataclass(frozen=True)
class TimeBase:
    """True seconds for one nominal second of the board (`factor`), with its uncertainty.

    `wander_s` is how far the exchanges leave the best straight line. With any `reasons` the
    factor is the resonator's prior (1 +- 0.5 %) and they say why.
    """

    factor: float
    u: float
    dof: float
    span_s: float
    count: int
    wander_s: float
    reasons: tuple[Reason, ...] = ()

    @property
    def source(self) -> str:
        """Where the factor comes from, for a budget."""
        if self.reasons:
            return "resonator tolerance +-0.5 %: " + "; ".join(r.text for r in self.reasons)
        return f"{self.count} heartbeats over {self.span_s:.0f} s against the host's clock"

    def as_input(self, name: str = "time_base") -> Input:
        """The factor as an input of a budget."""
        return Input(name, self.factor, self.u, self.dof, self.source, "s/s", "rectangular")


def unwrap_ticks(ticks: Sequence[int] | NDArray[np.int64]) -> NDArray[np.int64]:
    """Ticks modulo 2**32, in order, as counts that run on past the roll-over (every 36 minutes).

    Neighbours must be less than half a period (18 minutes) apart.
    """
    period = 1 << TIME_BITS
    raw = np.asarray(ticks, dtype=np.int64)
    steps = (np.diff(raw) + period // 2) % period - period // 2
    return np.concatenate((raw[:1], raw[:1] + np.cumsum(steps)))


def prior(count: int = 0, span_s: float = 0.0, wander_s: float = 0.0, *reasons: Reason) -> TimeBase:
    """The resonator's own tolerance, when the heartbeats cannot do better."""
    told = reasons or (Reason("time_base_prior", "no heartbeats were compared"),)
    return TimeBase(1.0, PRIOR_HALF_WIDTH / math.sqrt(3), math.inf, span_s, count, wander_s, told)


def regress(send_s: ArrayLike, receive_s: ArrayLike, ticks: ArrayLike) -> TimeBase:
    """The time base from heartbeat exchanges.

    Args:
        send_s: host clock just before each command was written, seconds, shape (n,).
        receive_s: host clock just after its reply was read, seconds, shape (n,).
        ticks: unwrapped board ticks at which each was handled, shape (n,).

    Raises:
        ValueError: shapes differ, or a reply was read before its command was sent.
    """
    send, receive = np.asarray(send_s, float), np.asarray(receive_s, float)
    counted = np.asarray(ticks, np.int64)
    if not send.shape == receive.shape == counted.shape or send.ndim != 1:
        raise ValueError(f"shapes {send.shape}, {receive.shape}, {counted.shape} differ")
    if np.any(receive < send):
        raise ValueError("a reply was read before its command was sent")
    count = len(send)
    if count < MIN_COUNT:
        text = f"{count} heartbeats, at least {MIN_COUNT} are needed"
        return prior(count, 0.0, 0.0, Reason("time_base_short", text, count, MIN_COUNT))
    nominal = (counted - counted[0]) / TICK_HZ
    span = float(nominal.max() - nominal.min())
    low, high, wander = _factors(nominal, send - send[0], receive - send[0])
    if not math.isfinite(high - low):
        text = "the heartbeats are all of one moment"
        return prior(count, span, wander, Reason("time_base_short", text, span, None, "s"))
    shortest = float(np.min(receive - send))
    u = _combined((high - low) / 2, wander, shortest, span)
    if u >= PRIOR_HALF_WIDTH / math.sqrt(3):
        limit = PRIOR_HALF_WIDTH / math.sqrt(3)
        text = f"{count} heartbeats over {span:.2f} s give {u:.2%}, worse than the resonator's own"
        return prior(count, span, wander, Reason("time_base_short", text, u, limit))
    return TimeBase((low + high) / 2, u, math.inf, span, count, wander)


def _factors(nominal: Array, send: Array, receive: Array) -> tuple[float, float, float]:
    """Least and greatest factor, and the loosening (s) that lets a line pass at all."""
    # Unknowns: offset (ms), deviation of the factor from one (ms over the span), loosening (ms).
    span = float(nominal.max() - nominal.min())
    if span <= 0:
        return -math.inf, math.inf, 0.0
    x = (nominal - nominal.mean()) / span
    above = (receive - nominal) * _MS
    below = (send - nominal - _ONE_TICK_S) * _MS  # a tick is cut off, never rounded up
    one = np.ones_like(x)
    rows = np.block([[one[:, None], x[:, None]], [-one[:, None], -x[:, None]]])
    limits = np.concatenate((above, -below))
    loose = _solve(np.array([0.0, 0, 1]), np.column_stack((rows, -np.ones(len(rows)))), limits)
    wander = max(0.0, float(loose[2]))
    # Twice the least loosening: at exactly the least, a single line is left and looks certain.
    limits = limits + 2 * wander + 1e-9
    low, high = (
        1 + float(_solve(np.array([0.0, sign]), rows, limits)[1]) / _MS / span for sign in (1, -1)
    )
    return low, high, wander / _MS


def _solve(cost: Array, rows: Array, limits: Array) -> Array:
    """Least `cost x` with `rows x <= limits`; offset and factor free, a third unknown >= 0."""
    bounds = [(None, None), (None, None), (0, None)][: len(cost)]
    found = linprog(cost, A_ub=rows, b_ub=limits, bounds=bounds, method="highs")
    if found.x is None:
        raise ArithmeticError(f"linear programme without a solution: {found.message}")
    return np.asarray(found.x, dtype=float)


def _combined(half_width: float, wander_s: float, shortest_s: float, span_s: float) -> float:
    """Standard uncertainty: interval, host crystal, and wander.

    A rate that drifts steadily bends the line into a parabola. When its greatest distance from
    the best straight line is d, the rate at the ends differs from the mean by 8 d / span. The
    shortest round trip hides half its length of that distance.
    """
    drift = 8 * (wander_s + shortest_s / 2) / span_s if wander_s > _ONE_TICK_S else 0.0
    return math.sqrt((half_width**2 + HOST_HALF_WIDTH**2 + drift**2) / 3)
