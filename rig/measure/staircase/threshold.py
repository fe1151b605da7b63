"""The level at which half fail, by maximum likelihood: a threshold normal over the specimens.

    ln L = sum over failures ln Phi((x - mean)/sd) + sum over survivals ln Phi((mean - x)/sd)

The interval is where the profile of ln L lies within chi2/2 of its top.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import log_ndtr
from scipy.stats import chi2

from rig.measure.budget import Reason
from rig.measure.staircase.updown import (
    ENOUGH_FOR_SCATTER,
    Estimate,
    Staircase,
    cautions,
    dixon_mood,
    small_sample,
)


def estimates(run: Staircase) -> tuple[Estimate, ...]:
    """All three, the likelihood first."""
    return likelihood(run), dixon_mood(run), small_sample(run)


def log_likelihood(run: Staircase, mean: float, sd: float) -> float:
    """Of the outcomes, for a normal threshold."""
    z = (np.array(run.levels) - mean) / sd
    return float(log_ndtr(np.where(run.failed, z, -z)).sum())


def likelihood(run: Staircase, sd: float | None = None) -> Estimate:
    """Maximum likelihood of a normal threshold, and the interval where it falls by chi2/2.

    Args:
        sd: scatter taken as known. Without it, fewer than 20 trials, or trials that do not
            overlap, take the scatter as one step (Dixon 1965) and say so.
    """
    reasons = cautions(run)
    if len(set(run.failed)) == 1:
        return Estimate("likelihood", None, None, None, None, reasons)
    known = sd
    if known is None and (len(run.levels) < ENOUGH_FOR_SCATTER or not _overlap(run)):
        known = run.step
        reasons += (Reason(
            "scatter_assumed",
            f"The scatter cannot be told from these trials: one step ({known:g}) is taken.",
            known,
        ),)  # fmt: skip

    def profile(mean: float) -> float:
        return _profile(run, mean, known)

    low, high = min(run.levels), max(run.levels)
    reach = 20 * max(run.step, known or 0.0, high - low)
    mean = float(minimize_scalar(
        lambda m: -profile(m), bounds=(low - 3 * run.step, high + 3 * run.step), method="bounded",
        options={"xatol": 1e-9 * run.step},
    ).x)  # fmt: skip
    limit = profile(mean) - chi2.ppf(0.95, 1) / 2
    ends = [_end(profile, limit, mean, mean + side * reach) for side in (-1, 1)]
    if any(end is None for end in ends):
        reasons += (Reason("open_interval", "The trials do not bound the level on both sides."),)
    scatter = _best_sd(run, mean) if known is None else None
    return Estimate("likelihood", mean, scatter, ends[0], ends[1], reasons)


def _end(profile: Callable[[float], float], limit: float, mean: float, far: float) -> float | None:
    if profile(far) > limit:
        return None
    return float(brentq(lambda m: profile(m) - limit, mean, far))


def _overlap(run: Staircase) -> bool:
    """Some failure lies below some survival: only then has the likelihood an inner maximum."""
    failures = [x for x, failed in zip(run.levels, run.failed, strict=True) if failed]
    survivals = [x for x, failed in zip(run.levels, run.failed, strict=True) if not failed]
    return min(failures) < max(survivals)


def _profile(run: Staircase, mean: float, sd: float | None) -> float:
    return log_likelihood(run, mean, _best_sd(run, mean) if sd is None else sd)


def _best_sd(run: Staircase, mean: float) -> float:
    span = math.log(run.step) + np.array([-4.0, 6.0])
    best = minimize_scalar(
        lambda s: -log_likelihood(run, mean, math.exp(s)), bounds=tuple(span), method="bounded",
        options={"xatol": 1e-9},
    )  # fmt: skip
    return math.exp(float(best.x))


@dataclass(frozen=True)
class StairComparison:
    """Two staircases: difference of the levels, and p of "the same level" by likelihood ratio.

    The p is a large-sample one; None with the reasons when it cannot stand for the groups.
    """

    difference: float | None
    p: float | None
    reasons: tuple[Reason, ...]


def compare_staircases(one: Staircase, two: Staircase) -> StairComparison:
    """Likelihood ratio of two levels against one, the scatter common to both."""
    first, second = likelihood(one), likelihood(two)
    if first.mean is None or second.mean is None:
        return StairComparison(None, None, first.reasons + second.reasons)
    shared = [r for r in first.reasons + second.reasons if r.name == "same_blades"]
    if shared:
        return StairComparison(first.mean - second.mean, None, tuple(shared))
    reasons: tuple[Reason, ...] = ()
    trials = len(one.levels) + len(two.levels)
    known: float | None = None
    if trials < ENOUGH_FOR_SCATTER or not (_overlap(one) and _overlap(two)):
        known = max(one.step, two.step)
        reasons = (Reason("scatter_assumed", f"One step ({known:g}) is taken as the scatter."),)
    apart, together = _pair(one, two, known, False), _pair(one, two, known, True)
    if trials < 2 * ENOUGH_FOR_SCATTER:
        reasons += (Reason("rough_p", f"{trials} trials: the p is rough.", trials,
                           2 * ENOUGH_FOR_SCATTER, "trials"),)  # fmt: skip
    p = float(chi2.sf(max(2 * (apart - together), 0.0), 1))
    return StairComparison(first.mean - second.mean, p, reasons)


def _pair(one: Staircase, two: Staircase, known: float | None, together: bool) -> float:
    """Greatest log likelihood of both, with one level or two."""
    levels: Sequence[float] = one.levels + two.levels
    span = (min(levels) - 3 * one.step, max(levels) + 3 * one.step)

    def best(run: Sequence[Staircase], sd: float) -> float:
        told = minimize_scalar(
            lambda m: -sum(log_likelihood(r, m, sd) for r in run), bounds=span, method="bounded"
        )
        return -float(told.fun)

    def at(sd: float) -> float:
        return best([one, two], sd) if together else best([one], sd) + best([two], sd)

    if known is not None:
        return at(known)
    log_step = math.log(max(one.step, two.step))
    told = minimize_scalar(
        lambda s: -at(math.exp(s)), bounds=(log_step - 3, log_step + 4), method="bounded"
    )
    return -float(told.fun)
