"""What the verdict pays for intervals that say how much: Bonferroni held against stepping down.

Stepping down (Holm 1979) shows some differences more. The limits that agree with it (Strassburger
and Bretz 2008; Guilbaud 2008) end at no difference for whatever is shown while anything else is
not: they say that there is a difference, and no longer how large. Simulated studies of a control
and two or three other groups, each of which differs by what the plan says is found 8 times in 10.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from rig.study.statistics.designs import Design
from rig.study.statistics.multiple import bonferroni, holm
from rig.study.statistics.verdict import LEVEL
from rig.study.statistics.welch import two_sided, welch
from tests.bench.figure import at_most, figure

STUDIES, SEED = 20_000, 5
BLADES, GROUPS = (3, 4, 6), (3, 4)

Array = NDArray[np.float64]


def step_down_limits(estimate: Array, se: Array, dof: float, p: Array, level: float) -> Array:
    """Lower limits that agree with Holm's procedure, for one-sided tests of "not above 0".

    Args:
        estimate, se, p: of each comparison, shape (comparisons,); `p` one-sided.
        dof: of all standard errors.
        level: one-sided.
    """
    shown = holm(p) <= level
    if shown.all():
        return np.maximum(estimate + stdtrit(dof, level / len(p)) * se, 0.0)
    left = level / (~shown).sum()
    return np.where(shown, 0.0, estimate + stdtrit(dof, left) * se)


class Shown(NamedTuple):
    """Chance that the first difference is shown by either rule, and the share of what stepping
    down shows of which it could not say how large it is."""

    bonferroni: float
    holm: float
    unsized: float


def shown(groups: int, blades: int, differing: int, rng: np.random.Generator) -> Shown:
    """Studies in which the first `differing` comparisons have a true difference."""
    family = groups - 1
    size = Design().detectable(blades, family) * (np.arange(family) < differing)
    values = rng.standard_normal((STUDIES, groups, blades))
    means, variances = values.mean(axis=2), values.var(axis=2, ddof=1) / blades
    apart, f = means[:, 1:] + size - means[:, :1], blades - 1
    se, dof = welch(apart, variances[:, 1:], f, variances[:, :1], f)
    p = two_sided(apart, se, dof, f, f)
    alone, stepped = bonferroni(p) <= LEVEL, holm(p) <= LEVEL
    unsized = stepped & ~stepped.all(axis=1, keepdims=True)
    return Shown(
        float(alone[:, 0].mean()), float(stepped[:, 0].mean()), float(unsized.sum() / stepped.sum())
    )


def figures() -> list[dict[str, Any]]:
    """What stepping down would gain where one group differs and where all do, and its price."""
    rng = np.random.default_rng(SEED)
    cases = [(k, n) for k in GROUPS for n in BLADES]
    one = [shown(k, n, 1, rng) for k, n in cases]
    every = [shown(k, n, k - 1, rng) for k, n in cases]
    gained, least = max(x.holm - x.bonferroni for x in one), min(x.unsized for x in one)
    most = [(k, max(x.holm - x.bonferroni for x, (own, _) in zip(every, cases, strict=True)
                    if own == k)) for k in GROUPS]  # fmt: skip
    return [
        at_most("chance that stepping down would gain where one group differs, most of "
                f"{len(cases)} worlds of {STUDIES:,}", gained, "share", 0.01),
        figure("share of what it would then show without saying how large it is, least",
               least, "share", ">= 0.9", least >= 0.9),
        *(
            figure(f"chance that it would gain where all of {k} groups differ from the control "
                   "alike, most", much, "share", "0.05 to 0.15: the price stated in "
                   "rig/study/statistics/verdict.py", 0.05 <= much <= 0.15)
            for k, much in most
        ),
    ]  # fmt: skip
