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


def _back(ordered: Array, order: NDArray[np.intp]) -> Array:
    out = np.empty_like(ordered)
    np.put_along_axis(out, order, ordered, axis=-1)
    return out
