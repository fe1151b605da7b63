"""All groups at once where furnace loads are shared: least squares with loads as blocks.

Beside the verdict, never in its place: it takes the scatters of all groups as alike, and so it can
use loads that hold some of the groups only (incomplete blocks), through the groups they share.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import fmean

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rig.study.statistics.units import Cells

Array = NDArray[np.float64]
NO_SCATTER = 1e-24  # of the squared values: what rounding leaves


@dataclass(frozen=True)
class WithinLoads:
    """The intra-block analysis of variance: groups adjusted for loads."""

    ss_groups: float
    ss_error: float
    df_groups: int
    df_error: int

    @property
    def f(self) -> float:
        """F ratio of groups."""
        return (self.ss_groups / self.df_groups) / (self.ss_error / self.df_error)

    @property
    def p(self) -> float:
        """Chance of a larger F when the groups are alike."""
        return float(stats.f.sf(self.f, self.df_groups, self.df_error))


def within_loads(cells: Mapping[str, Cells]) -> WithinLoads | None:
    """Means of each group in each load, groups adjusted for loads.

    None where the loads do not tie the groups together, or leave no scatter to judge by.

    Args:
        cells: group -> load -> values of its blades.
    """
    rows = [(group, load, fmean(x)) for group, own in cells.items() for load, x in own.items()]
    loads = _columns([load for _, load, _ in rows])
    groups = _columns([group for group, _, _ in rows])[:, 1:]
    y = np.array([value for _, _, value in rows])
    both = np.hstack([loads, groups])
    rank = int(np.linalg.matrix_rank(both)) if rows else 0
    dof = len(rows) - rank
    if dof < 1 or groups.shape[1] < 1 or rank < both.shape[1]:
        return None
    error = _left(both, y)
    if error <= NO_SCATTER * float(y @ y):
        return None
    return WithinLoads(_left(loads, y) - error, error, groups.shape[1], dof)


def _columns(names: list[str]) -> Array:
    known = list(dict.fromkeys(names))
    return np.array([[float(name == one) for one in known] for name in names]).reshape(
        len(names), len(known)
    )


def _left(x: Array, y: Array) -> float:
    """Sum of squares that a fit of `x` leaves."""
    beta, *_ = np.linalg.lstsq(x, y, rcond=None)
    return float(((y - x @ beta) ** 2).sum())
