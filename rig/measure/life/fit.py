"""Median life, mean of log lives, quantile and scatter of one group, with intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.measure.life.estimate import LEVEL, Estimate
from rig.measure.life.family import Family
from rig.measure.life.likelihood import NO_PAST, Past, Top, at_point, at_scatter, greatest
from rig.measure.life.lives import Life, bounds
from rig.measure.life.profile import critical_location, critical_scatter, ends

Array = NDArray[np.float64]

MANY_SIGMA = 1e4  # a scatter this large is one that the lives do not bound


@dataclass(frozen=True)
class LifeFit:
    """A family fitted to one group's lives.

    `mu` and `sigma` are location and scale of ln(life): for Weibull lives 1/sigma is the shape
    and exp(mu) the scale in cuts. They are nan where the lives do not determine them.
    `scatter` is the standard deviation of ln(life), close to the coefficient of variation.
    """

    family: Family
    blades: int
    survivors: int
    log_likelihood: float
    mu: float
    sigma: float
    median: Estimate
    geometric_mean: Estimate
    scatter: Estimate
    reasons: tuple[Reason, ...]


def fit(
    lives: Sequence[Life],
    family: Family = Family.LOGNORMAL,
    level: float = LEVEL,
    past: Past = NO_PAST,
) -> LifeFit:
    """Fit one group by maximum likelihood.

    Args:
        lives: one a blade, all of one group.
        family: log-normal or Weibull.
        level: of the intervals.
        past: scatter of earlier lives, for log-normal lives only.

    Raises:
        RigError: no lives, a blade twice, several groups, past scatter for Weibull lives.
    """
    task = _Group(lives, family, level, past)
    named = bool(task.reasons)
    return LifeFit(
        family,
        len(lives),
        sum(life.survived for life in lives),
        task.top.value,
        math.nan if named else float(task.top.mu[0]),
        math.nan if named else task.top.sigma,
        task.location("median life", family.quantile(0.5)),
        task.location("geometric mean life", family.mean),
        task.scatter(),
        task.reasons,
    )


def quantile(
    lives: Sequence[Life],
    share: float,
    family: Family = Family.LOGNORMAL,
    level: float = LEVEL,
    past: Past = NO_PAST,
) -> Estimate:
    """The life that `share` of the blades do not reach, in cuts. Raises as `fit`."""
    if not 0 < share < 1:
        raise RigError(f"share {share:g} is not between 0 and 1", remedy="0.1 means one in ten")
    name = f"life of which {share:.0%} fall short"
    return _Group(lives, family, level, past).location(name, family.quantile(share))


def logs(lives: Sequence[Life]) -> tuple[Array, Array]:
    """Logarithms of last passes (-inf for none) and first fails (inf for survivors)."""
    low, high = bounds(lives)
    with np.errstate(divide="ignore"):
        return np.log(low), np.log(high)


def scale_of(low: Array, high: Array) -> tuple[float, float]:
    """A place among the log lives and their scale, from the ends that are known."""
    known = np.concatenate([low[np.isfinite(low)], high[np.isfinite(high)]])
    return float(known.mean()), max(float(known.std()), 0.05)


def check_past(family: Family, past: Past) -> None:
    """Past scatter is a chi-square's only for log-normal lives."""
    if past.dof < 0 or not past.log_sd >= 0 or (past.dof > 0 and past.log_sd == 0):
        raise RigError(
            f"past scatter {past.log_sd:g} with {past.dof:g} degrees of freedom",
            remedy="give a standard deviation of ln(life) above 0",
        )
    if past.dof > 0 and family is not Family.LOGNORMAL:
        raise RigError(
            "scatter from earlier lives can be used with log-normal lives only",
            remedy="fit log-normal lives",
        )


class _Group:
    """One group's likelihood, from which every estimate comes."""

    def __init__(self, lives: Sequence[Life], family: Family, level: float, past: Past) -> None:
        check_past(family, past)
        self.low, self.high = logs(lives)
        groups = sorted({life.group for life in lives})
        if len(groups) > 1:
            raise RigError(f"lives of several groups: {', '.join(groups)}", remedy="fit each alone")
        self.family, self.level, self.past = family, level, past
        self.top = greatest(family, self.low, self.high, np.zeros(len(lives), dtype=int), past)
        self.reasons = why_not(self.top, len(lives), past)
        self.count, self.dof = len(lives) + past.dof, len(lives) - 1 + past.dof

    def location(self, name: str, z: float) -> Estimate:
        """exp(mu + z sigma), in cuts."""
        best = float(self.top.mu[0]) + z * (self.top.sigma if not self.reasons else 0.0)
        near, step = scale_of(self.low, self.high)
        critical = critical_location(self.count, self.dof, self.level)

        def fall(x: float) -> float:
            return 2 * (
                self.top.value - at_point(self.family, self.low - x, self.high - x, z, self.past)
            )

        if math.isinf(self.top.value):
            critical = math.inf
        low, high = ends(fall, best, near, step, critical)
        estimate = math.nan if self.reasons else math.exp(best)
        reasons = self.reasons + unbounded(low, high, bool(self.reasons))
        method = f"{self.family.value}, profile likelihood"
        return Estimate(
            name, estimate, math.exp(low), math.exp(high), self.level, "cuts", method, reasons
        )

    def scatter(self) -> Estimate:
        """Standard deviation of ln(life)."""
        sigma, near = self.top.sigma, scale_of(self.low, self.high)[1]
        critical = critical_scatter(self.count, self.dof, self.level)
        if math.isinf(self.top.value) or np.isinf(self.top.mu).any():
            critical = math.inf

        def fall(x: float) -> float:
            held = at_scatter(self.family, self.low, self.high, math.exp(x), self.past)
            return 2 * (self.top.value - held)

        best = math.log(sigma) if sigma > 0 else -math.inf
        low, high = ends(fall, best, math.log(near), 0.5, critical)
        sd = self.family.sd
        return Estimate(
            "standard deviation of ln(life)",
            math.nan if self.reasons else sigma * sd,
            math.exp(low) * sd,
            math.exp(high) * sd,
            self.level,
            "1",
            f"{self.family.value}, profile likelihood",
            self.reasons + unbounded(low, high, bool(self.reasons)),
        )


NO_SCATTER = Reason(
    "scatter_not_determined",
    "the lives of each group fall between the same two probes, or two neighbours: "
    "only closer probes can show how they scatter",
)


def why_not(top: Top, blades: int, past: Past) -> tuple[Reason, ...]:
    """Why lives of one group do not determine a fit; nothing when they do."""
    if top.mu[0] == math.inf:
        return (Reason("none_dulled", "no edge was dull at the end: there is only a lower bound"),)
    if top.mu[0] == -math.inf:
        text = "every edge failed its first probe: there is only an upper bound"
        return (Reason("dull_at_first_probe", text),)
    if blades == 1 and past.dof == 0:
        text = "one blade says nothing of scatter: its own life is all that is known"
        return (Reason("one_blade", text, 1, 2),)
    return no_scatter(top)


def no_scatter(top: Top) -> tuple[Reason, ...]:
    """Why lives do not determine their scatter; nothing when they do."""
    if top.sigma == 0:
        return (NO_SCATTER,)
    if top.sigma > MANY_SIGMA:
        return (Reason("scatter_not_bounded", "no life is bounded on both sides"),)
    return ()


def unbounded(low: float, high: float, told: bool) -> tuple[Reason, ...]:
    """The reason for an end not found, unless reasons were `told` before."""
    if told or (math.isfinite(low) and math.isfinite(high)):
        return ()
    side = "above" if math.isfinite(low) else "below" if math.isfinite(high) else "on either side"
    return (Reason("not_bounded", f"so few lives, so wide apart, set no bound {side}"),)
