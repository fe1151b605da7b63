"""The rule for values some of which survived: two tests, and the larger p of them.

The log-rank test by permutation takes the groups as alike under "no difference"; the ratio of
medians by likelihood takes values as log-normal, each group with its own scatter. Unlike scatters
can lead the first astray and few failures the second; together they keep their promise
(tests/bench/study.py).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rig.study.logrank import EXACT, arrangements, permutation_p, scores, scores_by_load
from rig.study.survivors import Fitted, fit
from rig.study.welch import equivalence, two_sided, welch

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_FAILED = 0.75  # of each group, for ruling a margin out


def joint_p(
    one: Array,
    one_failed: Flags,
    two: Array,
    two_failed: Flags,
    loads: Sequence[str],
    most: int = EXACT,
) -> tuple[Array, Array, Array, Array]:
    """The larger p of the two tests, and difference, its standard error and dof by likelihood.

    Args:
        one, two: values of the groups' units, shape (..., n1) and (..., n2).
        one_failed, two_failed: which failed, same shapes.
        loads: of all units, the first group's first; all the same when they do not matter.
        most: arrangements to try.
    """
    values, failed = np.concatenate([one, two], -1), np.concatenate([one_failed, two_failed], -1)
    n1, n2 = one.shape[-1], two.shape[-1]
    first = np.arange(n1 + n2) < n1
    dealt, complete = arrangements(first, loads, most)
    free = len(set(loads)) == 1
    score = scores(values, failed) if free else scores_by_load(values, failed, loads)
    p = permutation_p(score, first, dealt, complete)
    a, b = fit(one, one_failed), fit(two, two_failed)
    difference = a.mean - b.mean
    se, dof = _spread(difference, a, b, n1 - 1, n2 - 1)
    by_likelihood = two_sided(difference, se, dof, n1 - 1, n2 - 1)
    return np.fmax(p, by_likelihood), difference, se, dof


def _spread(difference: Array, a: Fitted, b: Fitted, f1: int, f2: int) -> tuple[Array, Array]:
    with np.errstate(invalid="ignore"):
        return welch(difference, a.variance, f1, b.variance, f2)


def many_survived(failed: Flags) -> NDArray[np.bool_]:
    """Whether too few failed to rule a margin out, along the last axis."""
    return np.asarray(failed.mean(axis=-1) < LEAST_FAILED - 1e-9)


def margin_p(one: Array, one_failed: Flags, two: Array, two_failed: Flags, margin: float) -> float:
    """p of "the ratio of medians reaches the margin" for one pair of groups.

    Only failures count as degrees of freedom, and three in four must have failed in both groups
    (else 1): with more survivors the likelihood is too sure of itself.
    """
    if many_survived(one_failed) or many_survived(two_failed):
        return 1.0
    a, b = _by_failures(one, one_failed), _by_failures(two, two_failed)
    if not (np.isfinite(a[1]) and np.isfinite(b[1])):
        return 1.0
    difference = a[0] - b[0]
    se, dof = welch(difference, a[1], a[2], b[1], b[2])
    return float(equivalence(difference, se, dof, margin, a[2], b[2]))


def _by_failures(values: Array, failed: Flags) -> tuple[float, float, int]:
    """Mean, its variance and degrees of freedom with r failures in the place of n units."""
    told, n, r = fit(values, failed), len(values), int(failed.sum())
    if r < 2:
        return float("nan"), float("nan"), 0
    return float(told.mean), float(told.variance) * (n - 1) / n * r / (r - 1), r - 1
