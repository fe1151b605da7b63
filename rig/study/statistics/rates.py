"""How often does it fail? Exact binomial limits: "0 of 3 failed" still allows a high rate."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from scipy.stats import binomtest

from rig.errors import RigError

SIDES: tuple[Literal["two-sided", "less", "greater"], ...] = ("two-sided", "less", "greater")


@dataclass(frozen=True)
class Rate:
    """Share of units that failed, with the exact limits of Clopper and Pearson 1934.

    Args:
        low, high: two-sided 95 % limits.
        upper: one-sided 95 % upper limit: rates above it are ruled out.
        lower: one-sided 95 % lower limit.
    """

    group: str
    failed: int
    units: int
    low: float
    high: float
    lower: float
    upper: float


@lru_cache
def failure_rate(group: str, failed: int, units: int) -> Rate:
    """Limits for `failed` of `units`.

    Raises:
        RigError: when the counts cannot be.
    """
    if units < 1 or not 0 <= failed <= units:
        raise RigError(f"{failed} of {units} failed", where=group, remedy="correct the counts")
    told = {
        side: binomtest(failed, units, alternative=side).proportion_ci(0.95, method="exact")
        for side in SIDES
    }
    two, less, greater = (told[side] for side in SIDES)
    return Rate(group, failed, units, two.low, two.high, greater.low, less.high)
