"""How the cutting force grows with cuts: F = F0 + a N^b.

A power of the cuts is taken, not an approach to a final force: edges lose most in the first cuts
and go on losing (common practice, no source), a final force would be made up from cuts never done,
and the power needs as few parameters (three). With b held F0 and a follow from a straight line, so
the fit is a search over b alone; scipy.optimize does it. `a` is told as the rise over the cuts
done, which is far better known than a force per cut^b.

Intervals are profiles: each parameter is held and the sum of squares of the others' best fit may
rise by F(1, dof) times the variance (D. M. Bates and D. G. Watts, Nonlinear Regression Analysis
and Its Applications, 1988, section 6.1). With b held the model is linear, so profiles need a search
over b only.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import stdtrit

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.measure.life.estimate import LEVEL, Estimate
from rig.measure.life.profile import ends

Array = NDArray[np.float64]

LEAST = 6  # probes: three parameters and three degrees of freedom
LOG_POWERS = (math.log(0.05), math.log(5.0))  # beyond these the curve is a step or a wall
GRID = 25
TINY = 1e-12  # of the sum of squares: forces without any scatter still get an interval
METHOD = "least squares of F0 + a N^b, profile"
NAMES = ("force at the start", "rise of the force", "power of the cuts")
UNITS = {NAMES[0]: "N", NAMES[1]: "N", NAMES[2]: "1"}


@dataclass(frozen=True)
class Wear:
    """The curve fitted: force at the start, rise by the last count, power of the cuts.

    `scatter_n` is the standard deviation of the forces about the curve. Each estimate has its
    own reasons; `reasons` gathers them.
    """

    start_n: Estimate
    rise_n: Estimate
    power: Estimate
    scatter_n: float
    last_cuts: float

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why the curve is not determined, each reason once."""
        every = self.start_n.reasons + self.rise_n.reasons + self.power.reasons
        return tuple(dict.fromkeys(every))

    def force_n(self, cuts: float) -> float:
        """Force by the curve after `cuts`; nan where the curve is not determined."""
        share = math.pow(cuts / self.last_cuts, self.power.estimate)
        return self.start_n.estimate + self.rise_n.estimate * share


def wear(cuts: Sequence[float], force_n: Sequence[float], level: float = LEVEL) -> Wear:
    """Fit the curve to forces measured after `cuts`, all with the same scatter.

    Args:
        cuts: before each measurement, shape (n,), 0 or more.
        force_n: measured, shape (n,).
        level: of the intervals.

    Raises:
        RigError: shapes that differ, numbers that are not, no cuts done.
    """
    x, y = np.asarray(cuts, dtype=float), np.asarray(force_n, dtype=float)
    _check(x, y)
    last, different = float(x.max()), len(np.unique(x))
    if different < LEAST:
        text = f"force measured at {different} counts of cuts; its rise takes {LEAST} or more"
        few = (Reason("too_few_probes", text, different, LEAST),)
        start, rise, power = (_none(name, level, few) for name in NAMES)
        return Wear(start, rise, power, math.nan, last)
    return _fitted(x / last, y, last, level)


def _fitted(x: Array, y: Array, last: float, level: float) -> Wear:
    """The curve for counts as shares of the last."""
    log_power, least = _best(lambda b: _square(x, y, b))
    start, rise = _line(x, y, math.exp(log_power))
    variance = max(least, TINY * float(y @ y)) / (len(x) - 3)
    allowed = least + variance * float(stdtrit(len(x) - 3, 0.5 + level / 2)) ** 2
    step = math.sqrt(variance)

    def reach(fall: Callable[[float], float], best: float, by: float) -> tuple[float, float]:
        return ends(lambda at: fall(at) - least, best, best, by, allowed - least, 1e4 * by)

    starts = reach(lambda held: _best(lambda b: _square(x, y, b, start=held))[1], start, step)
    rises = reach(lambda held: _best(lambda b: _square(x, y, b, rise=held))[1], rise, step)
    powers = _powers(lambda b: _square(x, y, b) - allowed, log_power)
    return Wear(
        _start(start, starts, level), _rise(rise, rises, level),
        _power(math.exp(log_power), powers, level), step, last,
    )  # fmt: skip


def _line(x: Array, y: Array, power: float) -> tuple[float, float]:
    """F0 and the rise of the best curve with this power."""
    bent = x**power
    rise = float(np.cov(bent, y)[0, 1] / np.var(bent, ddof=1))
    return float(y.mean() - rise * bent.mean()), rise


def _square(
    x: Array, y: Array, log_power: float, start: float | None = None, rise: float | None = None
) -> float:
    """Least sum of squares with this power, and the start or the rise held."""
    bent = x ** math.exp(log_power)
    if start is not None:
        rise = float(bent @ (y - start) / (bent @ bent))
    elif rise is not None:
        start = float((y - rise * bent).mean())
    else:
        start, rise = _line(x, y, math.exp(log_power))
    off = y - start - rise * bent
    return float(off @ off)


def _best(square: Callable[[float], float]) -> tuple[float, float]:
    """ln b and the sum of squares at its least: a grid first, for there may be two valleys."""
    grid = np.linspace(*LOG_POWERS, GRID)
    at = int(np.argmin([square(b) for b in grid]))
    near = (grid[max(at - 1, 0)], grid[min(at + 1, GRID - 1)])
    found = optimize.minimize_scalar(square, bounds=near, method="bounded", options={"xatol": 1e-7})
    return float(found.x), float(found.fun)


def _powers(over: Callable[[float], float], best: float) -> tuple[float, float]:
    """Ends of the power's interval, nought or infinite where it reaches the limits looked at."""
    low, high = LOG_POWERS
    lower = optimize.brentq(over, low, best) if over(low) > 0 else -math.inf
    upper = optimize.brentq(over, best, high) if over(high) > 0 else math.inf
    return math.exp(lower), math.exp(upper)


def _start(start: float, reach: tuple[float, float], level: float) -> Estimate:
    return Estimate(NAMES[0], start, *reach, level, "N", METHOD, _open(reach))


def _rise(rise: float, reach: tuple[float, float], level: float) -> Estimate:
    reasons = _open(reach)
    if reach[0] <= 0:
        text = "the force did not rise clearly above its scatter: how the edge wears is not told"
        reasons += (Reason("no_rise", text),)
    return Estimate(NAMES[1], rise, *reach, level, "N", METHOD, reasons)


def _power(power: float, reach: tuple[float, float], level: float) -> Estimate:
    if reach[0] > 0 and math.isfinite(reach[1]):
        return Estimate(NAMES[2], power, *reach, level, "1", METHOD)
    text = "forces at more counts, or less scatter, are needed to tell how the curve bends"
    reasons = (Reason("power_not_determined", text),)
    return Estimate(NAMES[2], math.nan, *reach, level, "1", METHOD, reasons)


def _open(reach: tuple[float, float]) -> tuple[Reason, ...]:
    if all(map(math.isfinite, reach)):
        return ()
    return (Reason("not_bounded", "the forces measured set no bound"),)


def _none(name: str, level: float, reasons: tuple[Reason, ...]) -> Estimate:
    low = 0.0 if name == NAMES[2] else -math.inf
    return Estimate(name, math.nan, low, math.inf, level, UNITS[name], METHOD, reasons)


def _check(x: Array, y: Array) -> None:
    if len(x) != len(y) or not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise RigError(f"{len(x)} counts, {len(y)} forces", remedy="give one force for each count")
    if len(x) == 0 or x.min() < 0 or x.max() <= 0:
        raise RigError("counts of cuts must be 0 or more, with some cuts done")
