"""Scatters, and the classic power of tests with one common scatter (noncentral t and F).

`found_pooled` and `found_anova` are Cohen's (1988); plans go by the verdict's own test
(`rig.study.statistics.designs`), which asks for more blades when there are only three or four of
them: the price of not trusting the scatters to be alike.
"""

import math
from collections.abc import Callable

from scipy import stats
from scipy.optimize import brentq
from scipy.special import stdtrit

from rig.study.statistics.verdict import CHANCE, LEVEL
from rig.study.statistics.welch import beyond

STUDIES, SEED = 10_000, 7
UPPER = 0.8
MOST = 1000  # blades a group; nobody forges more for one study


def log_scatter(cv: float) -> float:
    """Standard deviation of ln x for a log-normal x: sqrt(ln(1 + CV^2))."""
    return math.sqrt(math.log1p(cv * cv))


def upper_limit(dof: float) -> float:
    """True scatter over the scatter met, at most, in four of five studies (one-sided)."""
    return math.sqrt(dof / float(stats.chi2.ppf(1 - UPPER, dof)))


def scatter_of_means(between: float, within: float, repeats: int) -> float:
    """Scatter of the blades' means: of the blades, and of trials on one blade over `repeats`."""
    return math.sqrt(between**2 + within**2 / repeats)


def found_pooled(d: float, n: float, level: float = LEVEL) -> float:
    """Power of Student's two-sided t, two groups of `n`, true difference `d` scatters."""
    dof, shift = 2 * n - 2, d * math.sqrt(n / 2)
    return float(beyond(dof, shift, -stdtrit(dof, level / 2)))


def found_anova(f: float, n: float, groups: int, level: float = LEVEL) -> float:
    """Power of the one-way F test, `groups` of `n`, effect size `f` (Cohen 1988, chapter 8)."""
    df1, df2 = groups - 1, groups * (n - 1)
    bound = stats.f.isf(level, df1, df2)
    return float(stats.ncf.sf(bound, df1, df2, groups * n * f * f))


def fewest(chance_at: Callable[[int], float], chance: float = CHANCE) -> int | None:
    """Smallest number of blades (2 or more) whose chance is enough; None above MOST."""
    low, high = 1, 2
    while chance_at(high) < chance:
        if high >= MOST:
            return None
        low, high = high, min(2 * high, MOST)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance_at(middle) >= chance else (middle, high)
    return high


def exact_size(chance_at: Callable[[float], float], chance: float = CHANCE) -> float:
    """The (fractional) group size at which the chance is met: how handbooks print it."""
    return float(brentq(lambda n: chance_at(n) - chance, 2.0, 1e6, xtol=1e-9))


def detectable_pooled(n: int, level: float = LEVEL, chance: float = CHANCE) -> float:
    """Difference, in scatters, that Student's t finds with `chance`."""
    return float(brentq(lambda d: found_pooled(d, n, level) - chance, 1e-6, 100.0))
