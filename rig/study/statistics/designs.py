"""What the verdict's test rests on before there are data: units, degrees of freedom, chances.

The plan counts what the verdict counts (`rig.study.statistics.units`): blades where all come from
one furnace load; loads where each holds one recipe; differences within a load where three loads or
more hold every recipe. All chances are those of the verdict's own test, worked out exactly
(`rig.study.statistics.welch`), or by its own judgement of simulated studies (`ruled_out`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rig.study.statistics.power import MOST, SEED, STUDIES
from rig.study.statistics.units import (
    BLADE,
    ENOUGH_LOADS,
    LOAD,
    PAIR_IN_LOAD,
    Cells,
    study_unit,
)
from rig.study.statistics.verdict import CHANCE, LEVEL, judge
from rig.study.statistics.welch import detectable, power, welch

FIRST = 12  # numbers of units that are tried one by one: a third shared load may cost power


@dataclass(frozen=True)
class Design:
    """How blades lie in furnace loads.

    Args:
        unit: `BLADE` (one load for all), `LOAD` (each group has loads of its own) or `PAIR_IN_LOAD`
            (every load holds every group).
        each: blades of a group in a load; 1 where blades are the units.
    """

    unit: str = BLADE
    each: int = 1

    def freedoms(self, units: int) -> tuple[int, int]:
        """Degrees of freedom of the two scatters; (f, 0) for one of differences, (0, 0) for none.

        Args:
            units: blades or loads a group, or loads that all groups share.
        """
        if self.unit != PAIR_IN_LOAD:
            return units - 1, units - 1
        if units >= ENOUGH_LOADS or (units > 1 and self.each == 1):
            return units - 1, 0
        return units * (self.each - 1), units * (self.each - 1)

    def scatter(self, of_blades: float, of_loads: float) -> float:
        """Scatter of one unit. Loads that hold every group cancel, and so does their scatter."""
        of_means = of_blades / math.sqrt(self.each)
        return math.hypot(of_loads, of_means) if self.unit == LOAD else of_means

    def found(self, d: float, units: int, comparisons: int = 1) -> float:
        """Chance that a true difference of `d` unit scatters is shown, for one comparison."""
        f1, f2 = self.freedoms(units)
        return power(d * math.sqrt(units / 2), LEVEL / comparisons, f1, f2) if f1 else 0.0

    def detectable(self, units: int, comparisons: int = 1) -> float:
        """Difference, in unit scatters, shown with 80 % power; infinite where none can be."""
        f1, f2 = self.freedoms(units)
        if not f1:
            return math.inf
        return math.sqrt(2 / units) * detectable(LEVEL / comparisons, f1, f2, 0.5, CHANCE)

    def ruled_out(
        self, margin: float, units: int, pairs: Sequence[tuple[int, int]],
        by_interval: bool = False,
    ) -> float:  # fmt: skip
        """Chance that `margin` (in unit scatters) is ruled out for all `pairs` of groups alike.

        By the verdict's judgement of simulated studies, with a fixed seed: within 0.01.

        Args:
            by_interval: whether one interval decides both ways (`rig.study.statistics.censored`).
        """
        f1, f2 = self.freedoms(units)
        if not f1:
            return 0.0
        rng, groups = np.random.default_rng(SEED), 1 + max(map(max, pairs))
        one, two = (list(side) for side in zip(*pairs, strict=True))
        if f2 == 0:
            cells = rng.standard_normal((STUDIES, groups, units))
            apart = cells[:, one] - cells[:, two]
            difference, dof = apart.mean(axis=2), np.full((STUDIES, len(pairs)), float(f1))
            se = apart.std(axis=2, ddof=1) / math.sqrt(units)
        else:
            means = rng.standard_normal((STUDIES, groups)) / math.sqrt(units)
            variances = rng.chisquare(f1, (STUDIES, groups)) / f1 / units
            difference = means[:, one] - means[:, two]
            se, dof = welch(difference, variances[:, one], f1, variances[:, two], f2)
        judged = judge(difference, se, dof, [(f1, f2)] * len(pairs), margin)
        ruled = judged.ruled_out
        if by_interval:
            ruled = (judged.p_margin <= LEVEL / 2 / len(pairs)) & ~judged.shown
        return float(ruled.all(axis=1).mean())

    def fewest(self, d: float, comparisons: int, chance: float = CHANCE) -> int | None:
        """Smallest number of units whose chance to show `d` is enough; None above MOST."""
        for units in range(1 if self.unit == PAIR_IN_LOAD else 2, FIRST):
            if self.found(d, units, comparisons) >= chance:
                return units
        low, high = FIRST - 1, FIRST
        while self.found(d, high, comparisons) < chance:
            if high >= MOST:
                return None
            low, high = high, min(2 * high, MOST)
        while high - low > 1:
            middle = (low + high) // 2
            enough = self.found(d, middle, comparisons) >= chance
            low, high = (low, middle) if enough else (middle, high)
        return high


def design_of(cells: Mapping[str, Cells]) -> Design:
    """The design of a study as its blades lie: group -> load -> blades.

    Loads with fewer blades than the rest set what a load is taken to hold.
    """
    filled = {group: loads for group, loads in cells.items() if loads}
    unit = study_unit(filled)
    if unit == BLADE:
        return Design()
    each = min(len(cell) for loads in filled.values() for cell in loads.values())
    return Design(LOAD if unit == LOAD else PAIR_IN_LOAD, each)


def units_of(cells: Mapping[str, Cells], design: Design) -> int:
    """Units a group as entered: those of the smallest group."""
    if design.unit == BLADE:
        return min((sum(map(len, loads.values())) for loads in cells.values()), default=0)
    return min((len(loads) for loads in cells.values()), default=0)
