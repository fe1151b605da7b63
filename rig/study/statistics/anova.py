"""Components of scatter by nested analysis of variance, exact to the last digits.

Values are shifted by one of them first and sums are compensated, so that a common offset of 1e12
costs no digits that the values themselves still hold (NIST StRD, SmLs07).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rig.measure.budget import Reason
from rig.study.statistics.units import BladeMean


@dataclass(frozen=True)
class Component:
    """Scatter of one level, as a standard deviation on the scale of analysis.

    Args:
        level: "furnace load", "blade" or "trial".
        sd: None when there is nothing to judge it by.
        below, own: the mean square is expected to be below + own sd^2.
    """

    level: str
    mean_square: float
    dof: int
    sd: float | None
    share: float | None = None
    below: float = 0.0
    own: float = 1.0

    def at_most(self, factor: float) -> float | None:
        """The scatter were the mean square `factor` squared times as large."""
        if self.sd is None:
            return None
        return math.sqrt(max(self.mean_square * factor**2 - self.below, 0.0) / self.own)


@dataclass(frozen=True)
class Components:
    """Scatter of loads, blades and trials, with measurement uncertainty beside it."""

    levels: tuple[Component, ...]
    u_measured: float
    reasons: tuple[Reason, ...] = ()

    def sd(self, level: str) -> float | None:
        """Standard deviation of `level`; None when unknown."""
        return next((c.sd for c in self.levels if c.level == level), None)


Nest = dict[str, dict[str, dict[str, tuple[float, ...]]]]


def components(blades: Sequence[BladeMean]) -> Components:
    """Scatter by level from the analysis of variance of group / load / blade / trial.

    Method of moments with unequal numbers (Searle, Linear Models, 1971, chapter 11). A negative
    estimate counts as 0, with a note. Blades without a load count as one load of their group.
    """
    nest: Nest = {}
    for blade in blades:
        shifted = tuple(value - blades[0].values[0] for value in blade.values)
        nest.setdefault(blade.group, {}).setdefault(blade.load, {})[blade.blade] = shifted
    reasons: list[Reason] = []
    levels = _levels(nest, reasons) if blades else []
    total = math.fsum(c.sd**2 for c in levels if c.sd is not None)
    shared = tuple(
        replace(c, share=None if c.sd is None or total == 0 else c.sd**2 / total) for c in levels
    )
    rms = math.sqrt(math.fsum(b.u**2 for b in blades) / len(blades)) if blades else 0.0
    return Components(shared, rms, tuple(reasons))


def _levels(nest: Nest, reasons: list[Reason]) -> list[Component]:
    """From the trial upwards: each level's mean square less what lies below it.

    E[MS blade] = trial + own_blade blade; E[MS load] = trial + in_load blade + own_load load.
    """
    n = [[[len(v) for v in cell.values()] for cell in group.values()] for group in nest.values()]
    loads = [cell for group in nest.values() for cell in group.values()]
    blades = [values for cell in loads for values in cell.values()]
    total = sum(map(len, blades))
    dof_trial, dof_blade = total - len(blades), len(blades) - len(loads)
    dof_load = len(loads) - len(nest)
    by_load = sum(sum(m * m for m in cell) / sum(cell) for g in n for cell in g)
    by_group = sum(sum(m * m for c in g for m in c) / sum(map(sum, g)) for g in n)
    loads_by_group = sum(sum(sum(c) ** 2 for c in g) / sum(map(sum, g)) for g in n)

    trial = _component("trial", _within(blades), dof_trial, 0.0, 1.0, reasons)
    of_trial = _variance(trial)
    own = (total - by_load) / dof_blade if dof_blade else 1.0
    blade = _component("blade", _between(loads), dof_blade, of_trial, own, reasons)
    below = of_trial + (by_load - by_group) / dof_load * _variance(blade) if dof_load else 0.0
    own = (total - loads_by_group) / dof_load if dof_load else 1.0
    load = _component("furnace load", _between_loads(nest), dof_load, below, own, reasons)
    if trial.sd is None and blade.sd is not None:
        reasons.append(Reason(
            "no_repeats", "One trial a blade: scatter of blades and of trials are one figure.",
        ))  # fmt: skip
    return [load, blade, trial]


def _variance(component: Component) -> float:
    return 0.0 if component.sd is None else component.sd**2


def _component(
    level: str, squares: float, dof: int, below: float, own: float, reasons: list[Reason]
) -> Component:
    if dof < 1:
        return Component(level, math.nan, 0, None)
    mean_square = squares / dof
    variance = (mean_square - below) / own
    if variance < 0:
        reasons.append(Reason(
            "negative_component",
            f"The square of the scatter of {level} comes out below zero ({variance:.3g}) and "
            "counts as 0: what lies below it explains all.",
            variance, 0.0,
        ))  # fmt: skip
    sd = math.sqrt(max(variance, 0.0))
    return Component(level, mean_square, dof, sd, None, below, own)


def _mean(values: Sequence[float]) -> float:
    return values[0] + math.fsum(x - values[0] for x in values) / len(values)


def _within(blades: Sequence[Sequence[float]]) -> float:
    return math.fsum((x - _mean(values)) ** 2 for values in blades for x in values)


def _between(loads: Sequence[dict[str, tuple[float, ...]]]) -> float:
    """Sum of squares of blades about their load, weighted by trials."""
    return math.fsum(
        len(values) * (_mean(values) - _mean([x for v in cell.values() for x in v])) ** 2
        for cell in loads
        for values in cell.values()
    )


def _between_loads(nest: Nest) -> float:
    """Sum of squares of loads about their group, weighted by trials."""
    pooled = [
        [[x for values in cell.values() for x in values] for cell in group.values()]
        for group in nest.values()
    ]
    return math.fsum(
        len(cell) * (_mean(cell) - _mean([x for c in group for x in c])) ** 2
        for group in pooled
        for cell in group
    )
