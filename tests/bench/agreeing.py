"""Does the interval of a rank correlation hold the truth, with as few blades as a study has?"""

import math
from typing import Any

import numpy as np
from scipy import stats

from rig.study.statistics.agreement import rank_interval
from tests.bench.figure import figure

STUDIES, SEED = 2_000, 5
LEAST = 0.93


def covered(blades: int, linear: float) -> float:
    """Share of samples whose interval holds the rank correlation of two normal responses."""
    rng = np.random.default_rng(SEED)
    truth = 6 / math.pi * math.asin(linear / 2)  # Spearman's for normal values
    held = 0
    for _ in range(STUDIES):
        x, e = rng.standard_normal((2, blades))
        rho = float(stats.spearmanr(x, linear * x + math.sqrt(1 - linear**2) * e).statistic)
        low, high = rank_interval(rho, blades)
        held += low <= truth <= high
    return held / STUDIES


def figures() -> list[dict[str, Any]]:
    """The least coverage of all numbers of blades and correlations."""
    shares = {(n, r): covered(n, r) for n in (4, 5, 6, 8, 12, 25) for r in (0.0, 0.5, 0.8, 0.95)}
    (n, r), share = min(shares.items(), key=lambda one: one[1])
    return [
        figure(f"95 % interval of a rank correlation holds the truth, least of {len(shares)} worlds"
               f" of {STUDIES:,} samples ({n} blades, correlation {r:g})", share, "share",
               f">= {LEAST:g}", share >= LEAST)
    ]  # fmt: skip
