"""Distributions propagated by Monte Carlo (JCGM 101): what first-order budgets are held against."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.measure.budget import LEVEL, Array, Correlations, Input, Model, correlation_matrix


@dataclass(frozen=True)
class Propagated:
    """What Monte Carlo gives: mean, standard deviation, symmetric and shortest 95 % intervals."""

    value: float
    u: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float


def propagate(
    model: Model,
    inputs: Sequence[Input],
    trials: int,
    seed: int,
    correlations: Correlations | None = None,
) -> Propagated:
    """Propagate distributions by Monte Carlo (JCGM 101:2008, clause 7).

    `model` must accept arrays. Correlated inputs must be normal with unlimited dof.
    """
    rng = np.random.default_rng(seed)
    drawn = {item.name: _draw(item, trials, rng) for item in inputs}
    tied = [item for item in inputs if any(item.name in pair for pair in correlations or {})]
    if correlations and tied:
        r = correlation_matrix([item.name for item in tied], correlations)
        z = np.linalg.cholesky(r) @ rng.standard_normal((len(tied), trials))
        drawn |= {item.name: item.value + item.u * z[i] for i, item in enumerate(tied)}
    y = np.sort(np.asarray(model(drawn), dtype=float))
    covered = round(LEVEL * trials)
    start = int(np.argmin(y[covered:] - y[: trials - covered]))
    tail = (1 - LEVEL) / 2
    low, high = np.quantile(y, [tail, 1 - tail])
    return Propagated(
        float(y.mean()),
        float(y.std(ddof=1)),
        float(low),
        float(high),
        float(y[start]),
        float(y[start + covered]),
    )


def _draw(item: Input, trials: int, rng: np.random.Generator) -> Array:
    match item.shape:
        case "rectangular":
            z = math.sqrt(3) * rng.uniform(-1, 1, trials)
        case "arcsine":
            z = math.sqrt(2) * np.sin(rng.uniform(0, 2 * math.pi, trials))
        case "normal" if math.isinf(item.dof):
            z = rng.standard_normal(trials)
        case "normal":
            z = rng.standard_t(item.dof, trials)
        case _:
            raise ValueError(f"{item.name}: unknown shape {item.shape!r}")
    return item.value + item.u * z
