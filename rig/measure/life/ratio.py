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
from rig.measure.life.fit import NO_SCATTER, check_past, logs, scale_of, unbounded
from rig.measure.life.likelihood import NO_PAST, Past, Top, greatest
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
    groups = [treated, control, *lenders]
    bounds = [logs(lives) for lives in groups]
    logs([life for lives in groups for life in lives])  # no blade in two groups
    low, high = (np.concatenate(side) for side in zip(*bounds, strict=True))
    group = np.repeat(np.arange(len(groups)), [len(lives) for lives in groups])
    top = greatest(family, low, high, group, past)
    first, both = group == 0, np.maximum(group - 1, 0)

    def fall(x: float) -> float:
        moved = greatest(family, low - first * x, high - first * x, both, past)
        return 2 * (top.value - moved.value)

    open_ended = bool(np.isinf(top.mu[0]) and top.mu[0] == top.mu[1])
    best = math.nan if open_ended else float(top.mu[0] - top.mu[1])
    lent = np.isfinite(top.mu) | (np.arange(len(groups)) < 2)  # survivors alone lend no scatter
    count = int(lent[group].sum()) + past.dof
    critical = critical_location(count, count - int(lent.sum()), level)
    if open_ended or math.isinf(top.value):
        critical = math.inf
    step = scale_of(low, high)[1]
    start = scale_of(*bounds[0])[0] - scale_of(*bounds[1])[0]
    lower, upper = ends(fall, best, start, step, critical)
    reasons = _why_not(top, treated, control, count - int(lent.sum()))
    return Estimate(
        "ratio of median lives",
        math.nan if reasons else math.exp(best),
        math.exp(lower),
        math.exp(upper),
        level,
        "1",
        f"{family.value} with common scatter, profile likelihood",
        reasons + unbounded(lower, upper, bool(reasons)),
    )


def _why_not(
    top: Top, treated: Sequence[Life], control: Sequence[Life], dof: float
) -> tuple[Reason, ...]:
    """Why there is no ratio; nothing when there is one."""
    for lives, mu in ((treated, top.mu[0]), (control, top.mu[1])):
        name = lives[0].group
        if mu == math.inf:
            return (Reason("none_dulled", f"no edge of group {name!r} was dull at the end"),)
        if mu == -math.inf:
            text = f"every edge of group {name!r} failed its first probe"
            return (Reason("dull_at_first_probe", text),)
    if dof <= 0:
        text = "one blade a group and no past scatter: a group cannot be told from a blade"
        return (Reason("one_blade", text, 1, 2),)
    return (NO_SCATTER,) if top.sigma == 0 else ()
