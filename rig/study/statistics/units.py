"""From trials to the units that may be compared: blades, or furnace loads.

Trials are averaged within their blade first. Which unit a statement about two groups may rest on
follows from the furnace loads they were treated in, pair by pair (`pair_unit`):

- loads of each group's own (recipe / load / blade / trial): the load, since blades treated together
  are not independent trials of their recipe;
- three shared loads or more: the difference within a load, so that a load that treats one recipe
  unlike the other (tempered apart) counts as what it is, scatter of loads;
- one or two shared loads: the blade within its load. That takes for granted that a load treats both
  recipes alike, and the verdict says so.

Blades whose load is not known count as one load of their group. Blades that are lost leave the rest
as it is: only loads that hold both groups speak of their difference.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from rig.measure.budget import Reason
from rig.study.statistics.data import Observation, Response, StudyData, check, is_known
from rig.study.statistics.phrases import many

BLADE, LOAD, BLADE_IN_LOAD, PAIR_IN_LOAD = (
    "blade",
    "furnace load",
    "blade within its load",
    "difference within a load",
)
ENOUGH_LOADS = 3  # shared by two groups, from which recipe-by-load is what a difference is held to

Cells = Mapping[str, Sequence[float]]
"""One group: load -> means of its blades there."""


@dataclass(frozen=True)
class BladeMean:
    """One blade: the mean of its trials on the scale of analysis.

    Args:
        mean: of the trials; on the log scale the mean of logarithms.
        trials: how many.
        values: of the trials, on the scale of analysis.
        u: standard uncertainty of measurement, root mean square of the trials' (not divided by
            their number: most of it is common to all trials of one rig).
        censored: True when a trial was: the blade's true mean is above `mean`.
    """

    blade: str
    group: str
    load: str
    mean: float
    trials: int
    u: float
    censored: bool
    values: tuple[float, ...]
    ids: tuple[str, ...] = ()


def blade_means(observations: Sequence[Observation], response: Response) -> tuple[BladeMean, ...]:
    """One mean a blade, in the order the blades were met."""
    by_blade: dict[str, list[Observation]] = {}
    for seen in observations:
        by_blade.setdefault(seen.blade, []).append(seen)
    return tuple(_blade_mean(trials, response) for trials in by_blade.values())


def _blade_mean(trials: Sequence[Observation], response: Response) -> BladeMean:
    first = trials[0]
    values = tuple(response.inward(seen.value) for seen in trials)
    return BladeMean(
        blade=first.blade,
        group=first.group,
        load=first.load,
        mean=fmean(values),
        trials=len(trials),
        u=math.sqrt(fmean(response.inward_u(seen.value, seen.u) ** 2 for seen in trials)),
        censored=any(seen.censored for seen in trials),
        values=values,
        ids=tuple(name for seen in trials for name in seen.trials),
    )


@dataclass(frozen=True)
class GroupMean:
    """A group: its estimate with the variance of that estimate and its degrees of freedom.

    Args:
        estimate: on the scale of analysis.
        variance: of the estimate; nan with no degrees of freedom.
        dof: of the variance; 0 = the scatter of the units cannot be judged.
        sd: between the units; nan with no degrees of freedom.
        values: of the units, for tests on ranks.
    """

    name: str
    estimate: float
    variance: float
    dof: int
    sd: float
    values: tuple[float, ...]
    units: int
    blades: int
    trials: int


@dataclass(frozen=True)
class Layout:
    """What the study compares, and why not more.

    Args:
        unit: what most comparisons count (`BLADE`, `LOAD`, `BLADE_IN_LOAD` or `PAIR_IN_LOAD`).
        blades: with a load of each; those not known are named after their group.
        cells: group -> load -> means of its blades.
    """

    unit: str
    groups: tuple[GroupMean, ...]
    blades: tuple[BladeMean, ...]
    cells: Mapping[str, Cells]
    reasons: tuple[Reason, ...] = ()

    def group(self, name: str) -> GroupMean:
        """The group called `name`."""
        return next(group for group in self.groups if group.name == name)


def in_order(data: StudyData) -> list[BladeMean]:
    """Blades group by group, by name within a group (A2 before A10), as a reader looks for them."""
    groups = [group.name for group in data.groups]

    def place(blade: BladeMean) -> tuple[int, list[tuple[int, str]]]:
        parts = re.findall(r"\d+|\D+", blade.blade)
        return groups.index(blade.group), [
            (int(part), "") if part.isdigit() else (-1, part) for part in parts
        ]

    return sorted(blade_means(data.observations, data.response), key=place)


def layout(data: StudyData) -> Layout:
    """Average trials within blades and find the unit of the study.

    Raises:
        RigError: when the data contradict themselves.
    """
    check(data)
    blades = tuple(map(_placed, blade_means(data.observations, data.response)))
    names = [group.name for group in data.groups]
    by_group = {name: [b for b in blades if b.group == name] for name in names}
    cells = {name: in_cells(mine) for name, mine in by_group.items()}
    unit = study_unit(cells)
    groups = tuple(_group_mean(name, unit, by_group[name], cells[name]) for name in names)
    thin = tuple(_thin(group, unit) for group in groups if group.dof == 0 and unit in (BLADE, LOAD))
    return Layout(unit, groups, blades, cells, (*_of_loads(cells, unit, data), *thin))


def _placed(blade: BladeMean) -> BladeMean:
    """With a load of its group's own where none is known."""
    return blade if is_known(blade.load) else replace(blade, load=unknown_load(blade.group))


def unknown_load(group: str) -> str:
    """The load that all blades of a group are taken to share when none is on record."""
    return f"load of {group} not known"


def without_loads(plan: "Layout", *groups: str) -> list[str]:
    """Those of the groups whose blades' loads are not known."""
    return [group for group in groups if unknown_load(group) in plan.cells[group]]


def in_cells(blades: Sequence[BladeMean]) -> dict[str, list[float]]:
    """Load by load the means of one group's blades."""
    cells: dict[str, list[float]] = {}
    for blade in blades:
        cells.setdefault(blade.load, []).append(blade.mean)
    return cells


def pair_unit(one: Cells, two: Cells) -> str:
    """What a difference of two groups rests on: see the head of this module."""
    shared = set(one) & set(two)
    if not shared:
        return LOAD
    if len(shared) >= ENOUGH_LOADS or (len(shared) > 1 and not (_spare(one) and _spare(two))):
        return PAIR_IN_LOAD
    return BLADE if len({*one, *two}) == 1 else BLADE_IN_LOAD


def _spare(cells: Cells) -> int:
    """Blades beyond one a load: what a scatter within loads is told by."""
    return sum(len(cell) - 1 for cell in cells.values())


def study_unit(cells: Mapping[str, Cells]) -> str:
    """What most pairs of groups rest on, the first met where it is even."""
    filled = [loads for loads in cells.values() if loads]
    units = [pair_unit(a, b) for i, a in enumerate(filled) for b in filled[i + 1 :]]
    return max(units, key=units.count) if units else BLADE


def _of_loads(cells: Mapping[str, Cells], unit: str, data: StudyData) -> tuple[Reason, ...]:
    """What the furnace loads leave open, whatever the comparisons say."""
    missing = sorted({seen.group for seen in data.observations if not is_known(seen.load)})
    told = []
    if missing:
        told.append(Reason(
            "load_unknown",
            f"The furnace load of blades of {', '.join(missing)} is not known: they count as "
            "treated in one load of their group.",
        ))  # fmt: skip
    if unit == BLADE and len({load for loads in cells.values() for load in loads}) == 1:
        told.append(Reason(
            "one_load", "All blades come from one furnace load: the result holds for that load."
        ))  # fmt: skip
    return tuple(told)


def _group_mean(name: str, unit: str, blades: Sequence[BladeMean], loads: Cells) -> GroupMean:
    values = [b.mean for b in blades]
    if unit == LOAD:
        values = [fmean(cell) for cell in loads.values()]
    estimate, variance, dof, sd = plain(values)
    return GroupMean(
        name=name,
        estimate=estimate,
        variance=variance,
        dof=dof,
        sd=sd,
        values=tuple(values),
        units=len(values),
        blades=len(blades),
        trials=sum(b.trials for b in blades),
    )


def plain(units: Sequence[float]) -> tuple[float, float, int, float]:
    """Mean of independent units, its variance, degrees of freedom, and the units' scatter."""
    mean = fmean(units) if units else math.nan
    dof = len(units) - 1
    if dof < 1:
        return mean, math.nan, 0, math.nan
    squares = math.fsum((x - mean) ** 2 for x in units)
    return mean, squares / dof / len(units), dof, math.sqrt(squares / dof)


def _thin(group: GroupMean, unit: str) -> Reason:
    if group.blades == 0:
        text = f"{group.name}: no values."
    elif unit == LOAD:
        text = (
            f"{group.name}: {many(group.blades, 'blade')} of one furnace load. The recipe cannot "
            "be told from the load; two loads or more are needed."
        )
    else:
        text = (
            f"{group.name}: one blade, {many(group.trials, 'trial')}. The group cannot be told "
            "from the blade; two blades or more are needed."
        )
    return Reason("group_not_told", text, group.units, 2, unit)
