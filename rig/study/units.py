"""From trials to the units that may be compared: blades, or furnace loads.

Trials are averaged within their blade first. Which unit a statement about groups may rest on
follows from the furnace loads:

- no load on record, or all blades from one load: the blade;
- each load holds one group only (recipe / load / blade / trial): the load, since blades treated
  together are not independent trials of their recipe;
- every load holds every group: the blade, within its load; with one blade of each group in a load,
  the difference within the load;
- anything between: no statement about groups.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from rig.measure.budget import Reason
from rig.study.data import Observation, Response, StudyData, check
from rig.study.phrases import many

BLADE, LOAD, BLADE_IN_LOAD, PAIR_IN_LOAD, NONE = (
    "blade",
    "furnace load",
    "blade within its load",
    "difference within a load",
    "none",
)


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
        unit: what is counted (`BLADE`, `LOAD`, `BLADE_IN_LOAD`, `PAIR_IN_LOAD` or `NONE`).
        cells: for `PAIR_IN_LOAD`, group -> load -> mean.
    """

    unit: str
    groups: tuple[GroupMean, ...]
    blades: tuple[BladeMean, ...]
    cells: dict[str, dict[str, float]]
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
    blades = blade_means(data.observations, data.response)
    names = [group.name for group in data.groups]
    by_group = {name: [b for b in blades if b.group == name] for name in names}
    cells = {
        name: {
            load: [b.mean for b in mine if b.load == load]
            for load in dict.fromkeys(b.load for b in mine)
        }
        for name, mine in by_group.items()
    }
    unit, reasons = _unit(cells)
    groups = tuple(_group_mean(name, unit, by_group[name], cells[name]) for name in names)
    thin = tuple(_thin(group, unit) for group in groups if group.dof == 0 and _own(group, unit))
    means = {
        name: {load: fmean(values) for load, values in loads.items()}
        for name, loads in cells.items()
    }
    return Layout(unit, groups, blades, means, reasons + thin)


Cells = dict[str, dict[str, list[float]]]


def _unit(cells: Cells) -> tuple[str, tuple[Reason, ...]]:
    present = [set(loads) for loads in cells.values() if loads]
    every = set().union(*present)
    if len(every) <= 1:
        return BLADE, (_one_load("" in every),)
    unknown: tuple[Reason, ...] = ()
    if "" in every:
        unknown = (Reason(
            "load_missing",
            "Some blades have no furnace load on record: those of one group count as one load.",
        ),)  # fmt: skip
    if _disjoint(present):
        return LOAD, unknown
    if "" not in every and all(loads == every for loads in present):
        thinnest = min(len(cell) for loads in cells.values() for cell in loads.values())
        sparse = any(
            sum(map(len, loads.values())) == len(loads) for loads in cells.values() if loads
        )
        return (PAIR_IN_LOAD if sparse and thinnest == 1 else BLADE_IN_LOAD), ()
    return NONE, (*unknown, Reason(
        "loads_shared_unevenly",
        "Some furnace loads hold several groups but not all of them: recipe and load cannot be "
        "told apart. Put every group in every load, or give each group loads of its own.",
    ))  # fmt: skip


def _disjoint(present: Sequence[set[str]]) -> bool:
    """No load is shared; blades without one never share."""
    known = [loads - {""} for loads in present]
    return sum(map(len, known)) == len(set().union(*known))


def _one_load(unknown: bool) -> Reason:
    if unknown:
        return Reason(
            "load_unknown",
            "No furnace load is on record: if the blades of a group were treated together, "
            "what is said of the group may be due to that one load.",
        )
    return Reason(
        "one_load", "All blades come from one furnace load: the result holds for that load."
    )


def _group_mean(
    name: str, unit: str, blades: Sequence[BladeMean], loads: dict[str, list[float]]
) -> GroupMean:
    values = [b.mean for b in blades]
    if unit == LOAD:
        values = [fmean(cell) for cell in loads.values()]
    if unit == BLADE_IN_LOAD:
        estimate, variance, dof, sd = _within_loads(list(loads.values()))
    else:
        estimate, variance, dof, sd = _plain(values if unit != NONE else values[:0], values)
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


def _plain(units: Sequence[float], all_values: Sequence[float]) -> tuple[float, float, int, float]:
    """Mean of independent units; without two of them only a mean."""
    mean = fmean(all_values) if all_values else math.nan
    dof = len(units) - 1
    if dof < 1:
        return mean, math.nan, 0, math.nan
    squares = math.fsum((x - mean) ** 2 for x in units)
    return mean, squares / dof / len(units), dof, math.sqrt(squares / dof)


def _within_loads(cells: Sequence[Sequence[float]]) -> tuple[float, float, int, float]:
    """Mean of the loads' means; scatter of blades within their load only."""
    means = [fmean(cell) for cell in cells]
    dof = sum(len(cell) - 1 for cell in cells)
    estimate = fmean(means) if means else math.nan
    if dof < 1:
        return estimate, math.nan, 0, math.nan
    squares = math.fsum(
        (x - mean) ** 2 for cell, mean in zip(cells, means, strict=True) for x in cell
    )
    spread = math.fsum(1 / len(cell) for cell in cells) / len(cells) ** 2
    return estimate, squares / dof * spread, dof, math.sqrt(squares / dof)


def _own(group: GroupMean, unit: str) -> bool:
    """Whether a group without degrees of freedom lacks them for its own small number."""
    return group.blades < 2 or unit == LOAD


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
