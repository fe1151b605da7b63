"""Maximum of the likelihood of lives that are known as intervals.

With a = mu/sigma and b = 1/sigma the standard ends of a life are z = b y - a, linear in (a, b). The
log likelihood of exact, interval-, right- and left-censored lives is then concave for log-concave
densities (J. Burridge, A note on maximum likelihood estimation for regression models using
grouped data, J. R. Statist. Soc. B 43 (1981) 41-45), so that a damped Newton ascent finds its one
maximum from anywhere. scipy's fit of CensoredData goes by a simplex from one start and stops at
1e-4; it is kept as a check in the tests.

The maximum is at infinity, and known in closed form, where the lives of each group share a point:
the scatter is then not determined. `greatest` gives the least upper bound in every case.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from rig.measure.life.family import Family, Term, log_density, log_mass

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

STEPS = 200
LEAST_B = 1e-7
ENOUGH = 1e-11  # half the squared Newton decrement: how far the log likelihood is from its top


@dataclass(frozen=True)
class Past:
    """Scatter known from earlier work: standard deviation of ln(life) and its degrees of freedom.

    Its likelihood is that of a chi-square, which is exact for log-normal lives.
    """

    log_sd: float
    dof: float


NO_PAST = Past(0.0, 0.0)


class Top(NamedTuple):
    """The highest log likelihood, the locations mu (one a group) and sigma where it is reached.

    `sigma` is 0 where it is only approached as the scatter vanishes; locations are then the
    points the groups share. A group without failures (or with failures only at the first
    probe) has a location of plus (minus) infinity.
    """

    value: float
    mu: Array
    sigma: float


def greatest(family: Family, low: Array, high: Array, group: Ints, past: Past = NO_PAST) -> Top:
    """The greatest log likelihood over the locations of the groups and the common sigma.

    Args:
        family: of the lives.
        low: natural logarithms of the last passes, shape (n,), -inf for none.
        high: natural logarithms of the first fails, shape (n,), inf for survivors.
        group: number of the group of each life, 0 to k - 1, shape (n,).
        past: scatter known beforehand.
    """
    count = int(group.max()) + 1
    never = np.array([np.isinf(high[group == g]).all() for g in range(count)])
    at_once = np.array([np.isinf(low[group == g]).all() for g in range(count)])
    mu = np.where(never, np.inf, np.where(at_once, -np.inf, 0.0))
    # A group whose location runs away has probability one and tells nothing of the others.
    open_ended = np.flatnonzero(mu == 0.0)
    kept = np.isin(group, open_ended)
    if not kept.any():
        return Top(0.0, mu, 0.0 if past.dof == 0 else past.log_sd)
    inner = np.searchsorted(open_ended, group[kept])
    top = _bounded(family, low[kept], high[kept], inner, past)
    mu[open_ended] = top.mu
    return top._replace(mu=mu)


def _bounded(family: Family, low: Array, high: Array, group: Ints, past: Past) -> Top:
    count = int(group.max()) + 1
    if past.dof == 0:
        shared = [_shared(low[group == g], high[group == g]) for g in range(count)]
        points = [point for point in shared if point is not None]
        if len(points) == count:
            return Top(sum(p[0] for p in points), np.array([p[1] for p in points]), 0.0)
    design = (group[:, None] == np.arange(count)).astype(float)
    middle = _middles(low, high)
    centre = float(middle.mean())
    value, at = maximise(family, low - centre, high - centre, -design, 0.0, past)
    return Top(value, at[:-1] / at[-1] + centre, float(1 / at[-1]))


def _shared(low: Array, high: Array) -> tuple[float, float] | None:
    """The log likelihood as sigma vanishes at a point in every life, and that point."""
    start, end = float(low.max()), float(high.min())
    if start > end:
        return None
    if bool((low == high).any()):
        return math.inf, start
    if start < end:
        # -inf and inf cannot both be: such groups were taken out.
        ends = [x for x in (start, end) if math.isfinite(x)]
        return 0.0, sum(ends) / len(ends)
    parts = np.array([(high == start).sum(), (low == start).sum()], dtype=float)
    return float(xlogy(parts, parts / parts.sum()).sum()), start


def at_point(
    family: Family, low: Array, high: Array, shift: float = 0.0, past: Past = NO_PAST
) -> float:
    """Greatest log likelihood of one group over sigma with mu + shift sigma held at zero.

    Args:
        family: of the lives.
        low: natural logarithms of the last passes less the value held, shape (n,).
        high: the same of the first fails, shape (n,).
        shift: the standard z of the quantity held (0 for mu itself).
        past: scatter known beforehand.
    """
    if past.dof == 0 and float(low.max()) <= 0 <= float(high.min()):
        if bool((low == high).any()):
            return math.inf
        # As sigma vanishes only lives that end or begin at the point itself are in doubt.
        left, right = np.where(low < 0, -np.inf, shift), np.where(high > 0, np.inf, shift)
        return float(log_mass(family, left, right).value.sum())
    return maximise(family, low, high, np.empty((len(low), 0)), shift, past)[0]


def at_scatter(
    family: Family, low: Array, high: Array, sigma: float, past: Past = NO_PAST
) -> float:
    """Greatest log likelihood of one group over mu with sigma held; arguments as `greatest`."""
    if np.isinf(high).all() or np.isinf(low).all():
        return 0.0
    # From the longest life down: an extreme value's upper tail is too steep to start in.
    middle = _middles(low, high)
    centre = float(middle.max() if family is Family.WEIBULL else middle.mean())
    design = -np.ones((len(low), 1))
    return maximise(family, low - centre, high - centre, design, 0.0, past, held=1 / sigma)[0]


def maximise(
    family: Family,
    low: Array,
    high: Array,
    design: Array,
    shift: float,
    past: Past,
    held: float | None = None,
) -> tuple[float, Array]:
    """Damped Newton ascent for z = design a + b y + shift over (a, b), b > 0 or held.

    Returns the log likelihood and (a, b), shape (k + 1,). Where the likelihood goes on rising as
    b falls to nought (lives known from one side only) it stops there.
    """
    task = _Task(family, low, high, design, shift, past, held)
    at = task.start()
    value, slope, bend = task.look(at)
    for _ in range(STEPS):
        step = np.asarray(np.linalg.solve(bend, -slope), dtype=float)
        gain = float(slope @ step) / 2
        if gain < ENOUGH or at[-1] < LEAST_B:
            return _last(task, at, step, value)
        share = 1.0 if step[-1] >= 0 else min(1.0, -0.9 * at[-1] / float(step[-1]))
        while share > 1e-12:
            there = task.look(at + share * step)
            if there[0] >= value + 0.1 * share * gain:
                break
            share /= 2
        else:
            break
        at = at + share * step
        value, slope, bend = there
    return value, at


def _last(task: "_Task", at: Array, step: Array, value: float) -> tuple[float, Array]:
    """The last step taken too: it gains no likelihood to speak of, but the place's last digits."""
    there = at + step
    if there[-1] <= 0:
        return value, at
    new = task.look(there)[0]
    return (max(new, value), there) if new >= value - ENOUGH else (value, at)


def _middles(low: Array, high: Array) -> Array:
    """Middles of the lives; of those known from one side, the end that is known."""
    left, right = np.where(np.isinf(low), high, low), np.where(np.isinf(high), low, high)
    return (left + right) / 2


class _Task:
    """The log likelihood of one set of lives with its slope and bend."""

    def __init__(
        self,
        family: Family,
        low: Array,
        high: Array,
        design: Array,
        shift: float,
        past: Past,
        held: float | None,
    ) -> None:
        self.family, self.low, self.high, self.shift, self.past = family, low, high, shift, past
        self.design, self.held = design, held
        self.exact = np.flatnonzero(low == high)
        self.by_low = np.column_stack([design, np.where(np.isinf(low), 0.0, low)])
        self.by_high = np.column_stack([design, np.where(np.isinf(high), 0.0, high)])

    def start(self) -> Array:
        """Locations at the groups' middles (0 with b held), the middles' scatter about them."""
        middle = _middles(self.low, self.high)
        design = self.design
        where = design.T @ middle / np.maximum(np.abs(design).sum(axis=0), 1)
        wide = np.mean(self.by_high[:, -1] - self.by_low[:, -1]) if len(middle) else 0.0
        spread = math.hypot(float(np.sqrt(np.mean((middle + design @ where) ** 2))), 0.3 * wide)
        b = 1 / max(spread, 1e-3)
        if self.held:
            return np.append(0.0 * where, self.held)
        return np.append(where * b, b)

    def look(self, at: Array) -> tuple[float, Array, Array]:
        """Value, slope (p,) and bend (p, p) at (a, b)."""
        a, b = at[:-1], float(at[-1])
        base = self.design @ a + self.shift
        term = self._terms(b * self.low + base, b * self.high + base)
        if not np.isfinite(term.value).all():
            return -math.inf, np.zeros(len(at)), -np.eye(len(at))
        left, right = self.by_low, self.by_high
        slope = left.T @ term.by_low + right.T @ term.by_high
        bend = left.T @ (term.low_low[:, None] * left + term.low_high[:, None] * right)
        bend += right.T @ (term.high_high[:, None] * right + term.low_high[:, None] * left)
        logs, square = len(self.exact) + self.past.dof, self.past.dof * self.past.log_sd**2
        value = float(term.value.sum()) + logs * math.log(b) - square * b**2 / 2
        slope[-1] += logs / b - square * b
        bend[-1, -1] -= logs / b**2 + square
        if self.held:
            slope[-1], bend[-1, :], bend[:, -1], bend[-1, -1] = 0.0, 0.0, 0.0, -1.0
        # A hair of a ridge keeps flat directions solvable without moving the maximum.
        return value, slope, bend - 1e-12 * np.eye(len(at))

    def _terms(self, low: Array, high: Array) -> Term:
        term = log_mass(self.family, low, high)
        if len(self.exact) == 0:
            return term
        there = log_density(self.family, low[self.exact])
        for whole, part in zip(term, there, strict=True):
            whole[self.exact] = part
        return term
