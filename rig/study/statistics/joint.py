"""The rule for two groups of which some units are bounds, for one study or for many at once.

Where both groups have two known values or more, the interval of the likelihood decides, with a
scatter of each group's own (`rig.study.statistics.survivors`) and the widths of Welch's test
(`rig.study.statistics.welch`). It is wrong in at most 4 of 100 studies, whatever the shapes and
scatters (tests/bench/lifestudies.py).

Where nearly all of a group are bounds, its scatter is not known. Then the exact log-rank test
decides. It takes the scatters as alike; groups of unlike size and scatter can lead it astray (2
against 8 units, the few scattering three times as much: wrong in 17 of 100). So it is held to 1 %
in the place of 5, and asks for four units or more in each group and for sizes within half of one
another; else nothing can be told.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.study.statistics.logrank import (
    EXACT,
    arrangements,
    permutation_p,
    scores,
    scores_by_load,
    smallest_p,
)
from rig.study.statistics.survivors import fit
from rig.study.statistics.verdict import LEVEL
from rig.study.statistics.welch import two_sided, welch

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STRICT = 0.01  # what the exact test is held to where the verdict's level is LEVEL
LEAST_UNITS = 4
UNLIKE = 1.5  # sizes of groups, above which the exact test is not asked
LEAST_KNOWN = 0.75  # of each group, for ruling a margin out


class Fits(NamedTuple):
    """Difference of the means, its standard error and dof; nan where a group cannot be fitted."""

    difference: Array
    se: Array
    dof: Array


def fits(one: Array, one_known: Flags, two: Array, two_known: Flags) -> Fits:
    """By likelihood, the values of units that are not known being lower bounds.

    Args:
        one, two: values of the groups' units, shape (..., n1) and (..., n2).
        one_known, two_known: which are known, same shapes.
    """
    a, b = fit(one, one_known), fit(two, two_known)
    difference = a.mean - b.mean
    with np.errstate(invalid="ignore"):
        se, dof = welch(difference, a.variance, one.shape[-1] - 1, b.variance, two.shape[-1] - 1)
    return Fits(difference, se, dof)


def exact_p(
    one: Array, one_known: Flags, two: Array, two_known: Flags, loads: Sequence[str],
    most: int = EXACT,
) -> Array:  # fmt: skip
    """p of the exact log-rank test, as much larger as it is held stricter; 1 where it is not asked.

    Args:
        loads: of all units, the first group's first; all the same when they do not matter.
        most: arrangements to try.
    """
    values, known = np.concatenate([one, two], -1), np.concatenate([one_known, two_known], -1)
    n1, n2 = one.shape[-1], two.shape[-1]
    first = np.arange(n1 + n2) < n1
    asked = _asked(first, loads)
    if asked == 0:
        return np.ones(values.shape[:-1])
    dealt, complete = arrangements(first, loads, most)
    score = scores(values, known) if len(set(loads)) == 1 else scores_by_load(values, known, loads)
    p = permutation_p(score, first, dealt, complete)
    return np.asarray(np.minimum(p * LEVEL / asked, 1.0), dtype=float)


def _asked(first: Flags, loads: Sequence[str]) -> float:
    """What the exact test is held to; 0 where it is not asked.

    Four against four cannot go below 0.029: groups wholly apart are taken there.
    """
    small, large = sorted((int(first.sum()), int((~first).sum())))
    least = smallest_p(first, loads)
    if small < LEAST_UNITS or large > UNLIKE * small or least > LEVEL:
        return 0.0
    return max(STRICT, least)


def joint_p(one: Array, one_known: Flags, two: Array, two_known: Flags, most: int = EXACT) -> Array:
    """p of "no difference" by the rule: of the likelihood, or of the exact test where it has none.

    Arguments as in `fits` and `exact_p`.
    """
    told = fits(one, one_known, two, two_known)
    p = two_sided(told.difference, told.se, told.dof, one.shape[-1] - 1, two.shape[-1] - 1)
    open_ = ~(np.isfinite(told.se) & (told.se > 0))
    if open_.any():
        loads = [""] * (one.shape[-1] + two.shape[-1])
        p[open_] = exact_p(one[open_], one_known[open_], two[open_], two_known[open_], loads, most)
    return p


def many_open(known: Flags) -> NDArray[np.bool_]:
    """Whether too few are known to rule a margin out, along the last axis."""
    return np.asarray(known.mean(axis=-1) < LEAST_KNOWN - 1e-9)
