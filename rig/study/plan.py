"""The plan before any data: how many blades and repeats, and what that many can show."""

import math
from dataclasses import dataclass
from itertools import combinations

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.study.data import LOG, Response
from rig.study.power import (
    detectable_pooled,
    detectable_scatters,
    fewest,
    found,
    log_scatter,
    ruled_out,
    scatter_of_means,
)

TABLE = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20)


@dataclass(frozen=True)
class Scatter:
    """What a pilot run or experience says of the scatter.

    Args:
        between: of blades: CV (0.1 = 10 %) on the log scale, else in the response's unit.
        within: of trials on one blade, in the same terms.
        probes: ratio of neighbouring probes, for lives known between two of them: a life may lie
            anywhere between the two.
    """

    between: float
    within: float = 0.0
    probes: float = 1.0

    def of_means(self, scale: str, repeats: int) -> float:
        """Scatter of the blades' means on the scale of analysis."""
        inward = log_scatter if scale == LOG else float
        means = scatter_of_means(inward(self.between), inward(self.within), repeats)
        return math.hypot(means, math.log(self.probes) / math.sqrt(12))


@dataclass(frozen=True)
class PlanRow:
    """What `units` blades (or loads) a group can show.

    Args:
        detectable: ratio or difference found with 80 % power by the verdict's rule.
        detectable_alike: the same by Student's t, which takes the scatters as alike and looks
            at one comparison only.
        chance: to find the smallest difference that matters.
        ruled_out: chance that groups truly alike have differences above the margin ruled out.
    """

    units: int
    trials: int
    detectable: float
    detectable_alike: float
    chance: float
    ruled_out: float


@dataclass(frozen=True)
class StudyPlan:
    """Units a group for 80 % power (None: more than can be planned), and the table beside it."""

    response: Response
    groups: int
    comparisons: int
    repeats: int
    scatter: float
    units: int | None
    rows: tuple[PlanRow, ...]
    reasons: tuple[Reason, ...] = ()

    @property
    def blades(self) -> int | None:
        """Blades in all."""
        return None if self.units is None else self.units * self.groups

    @property
    def trials(self) -> int | None:
        """Trials in all."""
        return None if self.blades is None else self.blades * self.repeats


def plan_study(
    response: Response, groups: int, scatter: Scatter, repeats: int = 1, with_control: bool = True,
    by_interval: bool = False,
) -> StudyPlan:  # fmt: skip
    """Units a group so that the smallest difference that matters is found in 80 of 100 studies.

    A unit is a blade; where each furnace load holds one group only, it is a load, and
    `scatter.between` must be that of loads.

    Args:
        by_interval: whether one interval decides both ways (`rig.study.censored`).

    Raises:
        RigError: when there is nothing to compare or no scatter is stated.
    """
    if groups < 2 or repeats < 1:
        raise RigError(
            f"{groups} groups, {repeats} trials a blade",
            where=response.name,
            remedy="plan two groups or more and one trial or more",
        )
    spread = scatter.of_means(response.scale, repeats)
    if spread <= 0:
        raise RigError(
            "no scatter is stated",
            where=response.name,
            remedy="run a pilot on three blades of one group, or state a scatter you have met",
        )
    comparisons = groups - 1 if with_control else groups * (groups - 1) // 2
    wanted = response.inward(response.smallest) / spread
    margin = response.inward(response.margin) / spread
    every = [(b, a) for a, b in combinations(range(groups), 2)]
    pairs = tuple(pair for pair in every if not with_control or 0 in pair)

    def row(n: int) -> PlanRow:
        return PlanRow(
            n,
            n * groups * repeats,
            response.outward(spread * detectable_scatters(n, comparisons)),
            response.outward(spread * detectable_pooled(n)),
            found(wanted, n, comparisons),
            ruled_out(margin, n, pairs, by_interval),
        )

    units = fewest(lambda n: found(wanted, n, comparisons))
    rows = tuple(row(n) for n in sorted({*TABLE, *([units] if units else [])}))
    return StudyPlan(
        response,
        groups,
        comparisons,
        repeats,
        spread,
        units,
        rows,
        _cautions(units, scatter, repeats),
    )


def _cautions(units: int | None, scatter: Scatter, repeats: int) -> tuple[Reason, ...]:
    told = []
    if units is None:
        told.append(Reason("too_many", "More than 1000 blades a group would be needed."))
    elif units < 4:
        told.append(Reason(
            "few_blades",
            f"{units} blades a group are enough only if the scatter is as stated; from four on a "
            "wrong guess costs less.",
            units, 4, "blades",
        ))  # fmt: skip
    if scatter.within == 0 and repeats > 1:
        told.append(Reason(
            "within_unknown",
            "No scatter of trials on one blade is stated: repeats seem to gain nothing.",
        ))  # fmt: skip
    return tuple(told)
