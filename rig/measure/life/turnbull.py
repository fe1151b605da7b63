"""Share of edges still sharp against cuts, with no family assumed.

For interval-censored lives: the non-parametric maximum likelihood estimate (B. W. Turnbull, The
empirical distribution function with arbitrarily grouped, censored and truncated data, J. R.
Statist. Soc. B 38 (1976) 290-295). It puts mass only on the maximal intersections of the lives, and
does not say where inside them. The masses are found by expectation-maximisation steps and
constrained Newton steps in turn (the latter after Y. Wang, On fast computation of the
non-parametric maximum likelihood estimate of a mixing distribution, J. R. Statist. Soc. B 69 (2007)
185-198), until the Kuhn-Tucker conditions hold: sum_i a_ij / P_i <= n for all cells j, with
equality where there is mass (R. Gentleman and C. J. Geyer, Maximum likelihood for interval
censored data, Biometrika 81 (1994) 618-623).

For exact and right-censored lives only: Kaplan-Meier, by scipy.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from rig.errors import RigError
from rig.measure.life.lives import Life, bounds

Array = NDArray[np.float64]

STEPS = 500
SETTLED = 1e-9  # by how much, relative, the Kuhn-Tucker conditions may be missed


@dataclass(frozen=True)
class Cell:
    """A maximal intersection (low, high] in cuts (a point when both are equal) and its mass."""

    low_cuts: float
    high_cuts: float
    mass: float


@dataclass(frozen=True)
class Turnbull:
    """The estimate: cells with mass in order of cuts.

    `kuhn_tucker` is the largest relative breach of the optimality conditions. No other masses
    are as likely: for each cell there is a life that ends with it, so that the lives determine
    the masses one after the other.
    """

    cells: tuple[Cell, ...]
    log_likelihood: float
    kuhn_tucker: float

    def sharp(self, cuts: float) -> tuple[float, float]:
        """Bounds of the share still sharp after `cuts`: apart inside a cell, else equal."""
        least = math.fsum(c.mass for c in self.cells if c.low_cuts >= cuts and c.high_cuts > cuts)
        most = math.fsum(c.mass for c in self.cells if c.high_cuts > cuts)
        return least, most

    def median(self) -> tuple[float, float]:
        """Bounds of the median life in cuts; infinite above when half the edges survived."""
        done = 0.0
        for at, cell in enumerate(self.cells):
            done += cell.mass
            if math.isclose(done, 0.5, abs_tol=1e-7) and at + 1 < len(self.cells):
                return cell.low_cuts, self.cells[at + 1].high_cuts
            if done > 0.5:
                return cell.low_cuts, cell.high_cuts
        return self.cells[-1].low_cuts, self.cells[-1].high_cuts


@dataclass(frozen=True)
class Masses:
    """All cells with their masses and which lives may lie in which.

    `low`, `high` and `mass` have shape (m,), `within` shape (n, m).
    """

    low: Array
    high: Array
    mass: Array
    within: NDArray[np.bool_]

    @property
    def slope(self) -> Array:
        """Slope of the log likelihood over n by each mass: at most 1, and 1 where mass is."""
        each = self.within @ self.mass
        slope: Array = (self.within / each[:, None]).sum(axis=0) / len(each)
        return slope


def turnbull(lives: Sequence[Life]) -> Turnbull:
    """The non-parametric estimate from lives of any kind.

    Raises:
        RigError: no lives, or a blade twice.
    """
    found = masses(lives)
    slope = found.slope
    kept = found.mass > 0
    breach = float(np.max(np.where(kept, np.abs(slope - 1), slope - 1)))
    cells = zip(found.low[kept], found.high[kept], found.mass[kept], strict=True)
    return Turnbull(
        tuple(Cell(float(low), float(high), float(mass)) for low, high, mass in cells),
        float(np.log(found.within @ found.mass).sum()),
        breach,
    )


def masses(lives: Sequence[Life]) -> Masses:
    """Cells and masses of the estimate, cells without mass among them."""
    low, high = bounds(lives)
    left, right, within = _cells(low, high)
    inside = within.astype(float)
    mass = np.full(len(left), 1 / len(left))
    for _ in range(STEPS):
        mass = _newton(inside, _expectation(inside, mass))
        slope = (inside / (inside @ mass)[:, None]).sum(axis=0) / len(low)
        if np.max(np.where(mass > 0, np.abs(slope - 1), slope - 1)) < SETTLED:
            return Masses(left, right, mass, within)
    raise ArithmeticError(f"masses of {len(left)} cells did not settle")


def _cells(low: Array, high: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Maximal intersections and the lives that contain each."""
    # Lives are (low, high]: at one count an end comes before a start, an exact life about it.
    starts = {(float(x), -1 if x == y else 1) for x, y in zip(low, high, strict=True)}
    order = sorted([(key, True) for key in starts] + [((float(y), 0), False) for y in set(high)])
    pairs = [(one[0], other[0][0]) for one, other in pairwise(order) if one[1] and not other[1]]
    left, right = np.array([x[0] for x, _ in pairs]), np.array([y for _, y in pairs])
    side = np.array([x[1] for x, _ in pairs])
    own = np.where(low == high, -1, 1)[:, None]
    after = (low[:, None] < left) | ((low[:, None] == left) & (own <= side))
    return left, right, after & (right <= high[:, None])


def _expectation(within: Array, mass: Array) -> Array:
    shares = within * mass
    new: Array = (shares / shares.sum(axis=1)[:, None]).mean(axis=0)
    return new


def _newton(within: Array, mass: Array) -> Array:
    """One step to the top of the quadratic through `mass`, halved until it climbs."""
    each = within @ mass
    rows = within / each[:, None]
    weight = 100.0 * math.sqrt(len(each))
    wanted = np.append(np.full(len(each), 2.0), weight)
    there, _ = optimize.nnls(np.vstack([rows, np.full(len(mass), weight)]), wanted)
    there, value, share = there / there.sum(), float(np.log(each).sum()), 1.0
    while share > 1e-6:
        new = mass + share * (there - mass)
        with np.errstate(divide="ignore"):
            if float(np.log(within @ new).sum()) >= value:
                climbed: Array = new
                return climbed
        share /= 2
    return mass


@dataclass(frozen=True)
class Steps:
    """A step function: after each count of cuts, the share still sharp with its 95 % bounds."""

    cuts: tuple[float, ...]
    sharp: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    at_risk: tuple[float, ...]


def kaplan_meier(lives: Sequence[Life]) -> Steps:
    """Kaplan-Meier's estimate with intervals on the log-log scale, by scipy.stats.ecdf.

    Raises:
        RigError: no lives, a blade twice, or lives known only as intervals.
    """
    low, high = bounds(lives)
    censored = np.isinf(high)
    vague = [life.specimen for life in lives if not (life.survived or life.exact)]
    if vague:
        raise RigError(
            f"the life of blade {vague[0]!r} is known only as an interval",
            remedy="use the estimate for interval-censored lives",
        )
    curve = stats.ecdf(stats.CensoredData.right_censored(low, censored)).sf
    ends: Any  # scipy's stubs take the bounds for arrays
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = curve.confidence_interval(0.95, method="log-log")
    risk = [float((low >= x).sum()) for x in curve.quantiles]
    columns = (
        curve.quantiles,
        curve.probabilities,
        ends.low.probabilities,
        ends.high.probabilities,
        risk,
    )
    return Steps(*(tuple(map(float, column)) for column in columns))
