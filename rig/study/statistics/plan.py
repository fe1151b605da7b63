"""The plan before any data: how many blades and repeats, and what that many can show."""

import math
from dataclasses import dataclass
from itertools import combinations

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.study.statistics.data import LOG, Response
from rig.study.statistics.designs import Design
from rig.study.statistics.power import log_scatter, scatter_of_means
from rig.study.statistics.units import BLADE, LOAD, PAIR_IN_LOAD

TABLE = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20)
BY_BLADES = Design()
LOADS = (1, 2, 3, 4, 5, 6, 8, 10)


@dataclass(frozen=True)
class Scatter:
    """What a pilot run or experience says of the scatter.

    Args:
        between: of blades: CV (0.1 = 10 %) on the log scale, else in the response's unit.
        within: of trials on one blade, in the same terms.
        probes: ratio of neighbouring probes, for lives known between two of them: a life may lie
            anywhere between the two.
        loads: of furnace loads of one recipe, in the same terms.
    """

    between: float
    within: float = 0.0
    probes: float = 1.0
    loads: float = 0.0

    def of_means(self, scale: str, repeats: int) -> float:
        """Scatter of the blades' means on the scale of analysis."""
        inward = log_scatter if scale == LOG else float
        means = scatter_of_means(inward(self.between), inward(self.within), repeats)
        return math.hypot(means, math.log(self.probes) / math.sqrt(12))

    def of_units(self, scale: str, repeats: int, design: Design) -> float:
        """Scatter of what the design counts, on the scale of analysis."""
        inward = log_scatter if scale == LOG else float
        return design.scatter(self.of_means(scale, repeats), inward(self.loads))


@dataclass(frozen=True)
class PlanRow:
    """What so many units (blades, loads of a group, shared loads) can show.

    Args:
        detectable: ratio or difference found with 80 % power by the verdict's rule; infinite where
            nothing can be shown.
        chance: to find the smallest difference that matters.
        ruled_out: chance that groups truly alike have differences above the margin ruled out.
    """

    units: int
    trials: int
    detectable: float
    chance: float
    ruled_out: float


@dataclass(frozen=True)
class StudyPlan:
    """Units for 80 % power (None: more than can be planned), and the table beside it.

    Args:
        scatter: of one unit, on the scale of analysis.
    """

    response: Response
    groups: int
    comparisons: int
    repeats: int
    scatter: float
    units: int | None
    rows: tuple[PlanRow, ...]
    reasons: tuple[Reason, ...] = ()
    design: Design = BY_BLADES

    @property
    def blades(self) -> int | None:
        """Blades in all."""
        return None if self.units is None else self.units * self.design.each * self.groups

    @property
    def trials(self) -> int | None:
        """Trials in all."""
        return None if self.blades is None else self.blades * self.repeats


def plan_study(
    response: Response, groups: int, scatter: Scatter, repeats: int = 1, with_control: bool = True,
    by_interval: bool = False,
    design: Design = BY_BLADES,
) -> StudyPlan:  # fmt: skip
    """Units so that the smallest difference that matters is found in 80 of 100 studies.

    Args:
        by_interval: whether one interval decides both ways (`rig.study.statistics.censored`).
        design: what counts as a unit; left out, the blade.

    Raises:
        RigError: when there is nothing to compare or no scatter is stated.
    """
    if groups < 2 or repeats < 1:
        raise RigError(
            f"{groups} groups, {repeats} trials a blade",
            where=response.name,
            remedy="plan two groups or more and one trial or more",
        )
    spread = scatter.of_units(response.scale, repeats, design)
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
            n * design.each * groups * repeats,
            response.outward(spread * design.detectable(n, comparisons)),
            design.found(wanted, n, comparisons),
            design.ruled_out(margin, n, pairs, by_interval),
        )

    units = design.fewest(wanted, comparisons)
    table = TABLE if design.unit == BLADE else LOADS
    rows = tuple(row(n) for n in sorted({*table, *([units] if units else [])}))
    reasons = _cautions(units, scatter, repeats, design)
    return StudyPlan(response, groups, comparisons, repeats, spread, units, rows, reasons, design)


NAMES = {
    BLADE: "blades a group",
    LOAD: "furnace loads a group",
    PAIR_IN_LOAD: "shared furnace loads",
}


def _cautions(
    units: int | None, scatter: Scatter, repeats: int, design: Design
) -> tuple[Reason, ...]:
    told = []
    name = NAMES[design.unit]
    if units is None:
        told.append(Reason("too_many", f"More than 1000 {name} would be needed."))
    elif units < 4 and min(design.freedoms(units)) < 3:
        told.append(Reason(
            "few_blades",
            f"{units} {name} are enough only if the scatter is as stated; from four on a "
            "wrong guess costs less.",
            units, 4, "blades",
        ))  # fmt: skip
    if scatter.within == 0 and repeats > 1:
        told.append(Reason(
            "within_unknown",
            "No scatter of trials on one blade is stated: repeats seem to gain nothing.",
        ))  # fmt: skip
    return tuple(told)
