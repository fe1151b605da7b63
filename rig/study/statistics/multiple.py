"""Several comparisons in one study: p values that hold for the family. Along the last axis."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def holm(p: Any) -> Array:
    """Step-down (Holm 1979): no assumption on how the comparisons hang together."""
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, axis=-1)
    weights = np.arange(p.shape[-1], 0, -1)
    ordered = np.take_along_axis(p, order, axis=-1) * weights
    return _back(np.minimum(np.maximum.accumulate(ordered, axis=-1), 1.0), order)


def hochberg(p: Any) -> Array:
    """Step-up (Hochberg 1988): for comparisons with a common control; when all are small alone,
    all are small together."""
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, axis=-1)
    weights = np.arange(p.shape[-1], 0, -1)
    ordered = np.take_along_axis(p, order, axis=-1) * weights
    stepped = np.minimum.accumulate(ordered[..., ::-1], axis=-1)[..., ::-1]
    return _back(np.minimum(stepped, 1.0), order)


def bonferroni(p: Any) -> Array:
    """Each by itself at a share of the level: the one rule whose intervals are as short as its
    tests are sharp, so that p and interval never contradict each other."""
    p = np.asarray(p, dtype=float)
    return np.asarray(np.minimum(p * p.shape[-1], 1.0), dtype=float)


def step_up_level(p: Any, level: float) -> Array:
    """The level at which Hochberg's procedure judges each comparison of a family.

    Those at or below it are what `hochberg` keeps at `level`, all others are above. Shape of `p`
    less its last axis, 0 where nothing is kept.
    """
    ordered = np.sort(np.asarray(p, dtype=float), axis=-1)
    steps = level / np.arange(ordered.shape[-1], 0, -1)
    kept = np.where(ordered <= steps, steps, 0.0).max(axis=-1, initial=0.0)
    return np.asarray(kept, dtype=float)


def _back(ordered: Array, order: NDArray[np.intp]) -> Array:
    out = np.empty_like(ordered)
    np.put_along_axis(out, order, ordered, axis=-1)
    return out
