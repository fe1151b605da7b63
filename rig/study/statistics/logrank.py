"""Log-rank scores and their permutation: the exact test for values some of which survived.

The score of a unit is 1 for a failure (0 for a survivor) less the cumulated hazard of all units at
its value (Peto and Peto 1972). Summed over one group the scores give observed less expected
failures, as in the usual log-rank test; dealing the units to the groups in every possible way gives
its exact p, with no large-sample formula.

Two-sided means here, as in every test by permutation of this program: the share of all ways that
lie as far from nought as the one seen, either way (StatXact and R's coin count so too). Groups of
equal size mirror each other, so that the least p is two ways of all; of unlike size it is one.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

EXACT = 20_000  # arrangements up to which all are tried; beyond, one fewer at random
SEED = 1
TIE = 1e-9

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def scores(values: Array, failed: Flags) -> Array:
    """Log-rank scores along the last axis; they sum to zero."""
    order = np.argsort(values, axis=-1, kind="stable")
    ordered, fails = (np.take_along_axis(x, order, axis=-1) for x in (values, failed))
    n = values.shape[-1]
    at = np.broadcast_to(np.arange(n), ordered.shape)
    new = np.ones(ordered.shape, dtype=bool)
    new[..., 1:] = ordered[..., 1:] != ordered[..., :-1]
    first = np.maximum.accumulate(np.where(new, at, 0), axis=-1)  # of its ties
    ends = np.roll(new, -1, axis=-1)
    ends[..., -1] = True
    last = np.minimum.accumulate(np.where(ends, at, n - 1)[..., ::-1], axis=-1)[..., ::-1]
    hazard = np.cumsum(np.where(fails, 1 / (n - first), 0.0), axis=-1)
    told = fails - np.take_along_axis(hazard, last, axis=-1)
    out = np.empty(values.shape)
    np.put_along_axis(out, order, told, axis=-1)
    return out


def scores_by_load(values: Array, failed: Flags, loads: Sequence[str]) -> Array:
    """Scores within each load, shape (units,)."""
    out = np.zeros(len(values))
    for load in dict.fromkeys(loads):
        at = np.array([name == load for name in loads])
        out[at] = scores(values[at], failed[at])
    return out


def arrangements(
    first: Flags, loads: Sequence[str], most: int = EXACT
) -> tuple[NDArray[np.bool_], bool]:
    """Ways to deal the first group's places within loads, shape (ways, units); and if all.

    Without furnace loads give the same name for all. The array is shared: do not write into it.
    """
    return _arrangements(tuple(first.tolist()), tuple(loads), most)


@lru_cache(maxsize=64)
def _arrangements(
    marked: tuple[bool, ...], loads: tuple[str, ...], most: int
) -> tuple[NDArray[np.bool_], bool]:
    first = np.array(marked, dtype=bool)
    groups = [np.flatnonzero([name == load for name in loads]) for load in dict.fromkeys(loads)]
    ways = math.prod(math.comb(len(at), int(first[at].sum())) for at in groups)
    if ways > most:
        return _drawn(first, groups, most - 1), False
    dealt = np.zeros((1, len(first)), dtype=bool)
    for at in groups:
        chosen = list(combinations(at, int(first[at].sum())))
        here = np.zeros((len(chosen), len(first)), dtype=bool)
        for row, places in zip(here, chosen, strict=True):
            row[list(places)] = True
        dealt = (dealt[:, None, :] | here[None, :, :]).reshape(-1, len(first))
    return dealt, True


def _drawn(first: Flags, groups: Sequence[NDArray[np.intp]], draws: int) -> NDArray[np.bool_]:
    rng = np.random.default_rng(SEED)
    dealt = np.zeros((draws, len(first)), dtype=bool)
    for at in groups:
        order = rng.random((draws, len(at))).argsort(axis=1)
        dealt[:, at] = first[at][order]
    return dealt


def permutation_p(score: Array, first: Flags, dealt: NDArray[np.bool_], complete: bool) -> Array:
    """Two-sided p of the first group's sum of scores; `score` of shape (..., units)."""
    sums = np.abs(score @ dealt.T.astype(float))
    seen = np.abs((score * first).sum(axis=-1))
    as_far = (sums >= seen[..., None] - TIE).sum(axis=-1)
    drawn = 0 if complete else 1
    return np.asarray((as_far + drawn) / (len(dealt) + drawn), dtype=float)


def log_rank_p(values: Array, failed: Flags, first: Flags, loads: Sequence[str]) -> float:
    """p of "both groups fail alike" for one pair of groups."""
    dealt, complete = arrangements(first, loads)
    return float(permutation_p(scores_by_load(values, failed, loads), first, dealt, complete))


def smallest_p(first: Flags, loads: Sequence[str]) -> float:
    """What the test can reach at best: one way of all, two where groups mirror each other."""
    groups = [np.flatnonzero([name == load for name in loads]) for load in dict.fromkeys(loads)]
    dealt = [(len(at), int(first[at].sum())) for at in groups]
    ways = math.prod(math.comb(n, mine) for n, mine in dealt)
    mirrored = all(2 * mine == n for n, mine in dealt)
    return min(1.0, (2 if mirrored else 1) / ways)
