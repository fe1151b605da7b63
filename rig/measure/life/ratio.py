"""Ratio of the median lives of two groups with a common scatter of ln(life).

With a common shape the ratio of medians is the ratio of every quantile: exp(mu_1 - mu_0).
Dividing the first group's lives by a ratio and fitting both groups as one gives the profile
likelihood of that ratio, so that its interval costs no more than a median's.
"""

import math
from collections.abc import Sequence

import numpy as np

from rig.measure.budget import Reason
from rig.measure.life.estimate import LEVEL, Estimate
from rig.measure.life.family import Family
from rig.measure.life.fit import check_past, logs, no_scatter, scale_of, unbounded
from rig.measure.life.likelihood import NO_PAST, Past, greatest
from rig.measure.life.lives import Life
from rig.measure.life.profile import critical_location, ends


def median_ratio(
    treated: Sequence[Life],
    control: Sequence[Life],
    family: Family = Family.LOGNORMAL,
    level: float = LEVEL,
    past: Past = NO_PAST,
    lenders: Sequence[Sequence[Life]] = (),
) -> Estimate:
    """Median life of `treated` over that of `control`, with its interval.

    The interval is calibrated for small groups (see `profile`): it needs three blades in all,
    or past scatter. For several comparisons give a higher `level` (Bonferroni: 1 - 0.05/m).

    Args:
        treated: lives of the group in the numerator.
        control: lives of the group in the denominator.
        family: of the lives.
        level: of the interval.
        past: scatter of earlier lives (log-normal only).
        lenders: other groups of the study, which lend their scatter only.

    Raises:
        RigError: a group without lives, a blade twice, past scatter for Weibull lives.
    """
    check_past(family, past)
    task = _Pair([treated, control, *lenders], family, past)
    reasons = task.why_not(treated, control)
    low, high = task.ends(level)
    return Estimate(
        "ratio of median lives",
        math.nan if reasons else math.exp(task.best),
        math.exp(low),
        math.exp(high),
        level,
        "1",
        f"{family.value} with common scatter, profile likelihood",
        reasons + unbounded(low, high, bool(reasons)),
    )


class _Pair:
    """The joint likelihood of all groups, the first two of which are compared."""

    def __init__(self, groups: Sequence[Sequence[Life]], family: Family, past: Past) -> None:
        logs([life for lives in groups for life in lives])  # no blade in two groups
        self.family, self.past = family, past
        self.sides = [logs(lives) for lives in groups]
        self.low, self.high = (np.concatenate(side) for side in zip(*self.sides, strict=True))
        self.group = np.repeat(np.arange(len(groups)), [len(lives) for lives in groups])
        self.top = greatest(family, self.low, self.high, self.group, past)
        mu = self.top.mu
        same = bool(np.isinf(mu[0]) and mu[0] == mu[1])
        self.best = math.nan if same else float(mu[0] - mu[1])
        lent = np.isfinite(mu) | (np.arange(len(groups)) < 2)  # survivors alone lend no scatter
        self.count = int(lent[self.group].sum()) + past.dof
        self.dof = self.count - int(lent.sum())

    def ends(self, level: float) -> tuple[float, float]:
        """Ends of the interval of the logarithm of the ratio."""
        if math.isnan(self.best) or math.isinf(self.top.value):
            return -math.inf, math.inf
        first, both = self.group == 0, np.maximum(self.group - 1, 0)

        def fall(x: float) -> float:
            low, high = self.low - first * x, self.high - first * x
            return 2 * (self.top.value - greatest(self.family, low, high, both, self.past).value)

        near = scale_of(*self.sides[0])[0] - scale_of(*self.sides[1])[0]
        step = scale_of(self.low, self.high)[1]
        return ends(fall, self.best, near, step, critical_location(self.count, self.dof, level))

    def why_not(self, treated: Sequence[Life], control: Sequence[Life]) -> tuple[Reason, ...]:
        """Why there is no ratio; nothing when there is one."""
        for lives, mu in zip((treated, control), self.top.mu[:2], strict=True):
            name = lives[0].group
            if mu == math.inf:
                return (Reason("none_dulled", f"no edge of group {name!r} was dull at the end"),)
            if mu == -math.inf:
                text = f"every edge of group {name!r} failed its first probe"
                return (Reason("dull_at_first_probe", text),)
        if self.dof <= 0:
            text = "one blade a group and no past scatter: a group cannot be told from a blade"
            return (Reason("one_blade", text, 1, 2),)
        return no_scatter(self.top)
