"""The difference of two groups with its standard error, by whatever their furnace loads allow.

Each group keeps a scatter of its own. Loads that both groups share, and blocks (days, sheets), are
held equal: with n_1 and n_2 blades of the groups in a block, the difference within it gets a weight
in proportion to n_1 n_2/(n_1 + n_2), which is least squares for two groups in incomplete blocks
(Yates 1940; with one scatter for both). What blocks differ by then favours no group. It stays in
the scatter of the groups, which makes the test slower to call a difference, never quicker; taking
it out with one scatter for both groups is wrong in 6 to 7 of 100 studies when scatters are 1:3.
Where a block holds one group only, blocks are left to the chance by which they were dealt.

Differences within three loads or more go into a plain t test. It keeps its level when the loads'
differences are unlike in scatter too (Bakirov and Szekely 2005, for normal values and mixtures of
them): with lost blades, and for groups that scatter unlike.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from statistics import fmean

from rig.measure.budget import Reason
from rig.study.statistics.data import StudyData
from rig.study.statistics.phrases import many
from rig.study.statistics.units import (
    BLADE,
    BLADE_IN_LOAD,
    LOAD,
    PAIR_IN_LOAD,
    BladeMean,
    Cells,
    Layout,
    pair_unit,
    plain,
)
from rig.study.statistics.welch import welch

NO_SCATTER = 1e-12  # of the values: what is left of it when equal values are averaged
LEAST_SHARE = 1e-3  # a share of 0 or 1 is a sample without scatter, not a group without


@dataclass(frozen=True)
class Contrast:
    """A difference of two groups on the scale of analysis, before it is judged.

    Args:
        f1, f2: degrees of freedom of the two scatters; f2 = 0 where there is one only.
        share: of the first group in the square of `se`.
        unit: what it rests on (`rig.study.statistics.units`).
        loads: that hold both groups.
        reason: why nothing can be said of it; `se` is nan then.
        left_out: blades that do not enter the difference, in words.
    """

    group: str
    against: str
    difference: float
    se: float
    dof: float
    f1: float
    f2: float
    share: float
    unit: str = BLADE
    loads: int = 0
    reason: Reason | None = None
    left_out: tuple[Reason, ...] = ()


def pairs_of(data: StudyData) -> tuple[list[tuple[str, str]], tuple[Reason, ...]]:
    """(group, against) of every comparison of the study."""
    names = [group.name for group in data.groups]
    if len(names) < 2:
        return [], (Reason("one_group", "There is one group: nothing to compare it with."),)
    if data.control is not None:
        return [(name, data.control) for name in names if name != data.control], ()
    missing = Reason("no_control", "No group is the control: all pairs are compared.")
    return [(b, a) for a, b in combinations(names, 2)], (missing,)


def contrast(
    plan: Layout, group: str, against: str, block_of: Mapping[str, str] | None = None
) -> Contrast:
    """The difference of two groups, or the reason why there is none.

    Args:
        block_of: blade -> block of its trial, for blades tested in one block each.
    """
    one, two = plan.cells[group], plan.cells[against]
    if not one or not two:
        return _none(plan, group, against, math.nan, group if not one else against)
    unit = pair_unit(one, two)
    told = {
        LOAD: lambda: _by_loads(plan, group, against),
        PAIR_IN_LOAD: lambda: _of_differences(plan, group, against),
        BLADE_IN_LOAD: lambda: _within_loads(plan, group, against),
        BLADE: lambda: _by_blades(plan, group, against, block_of or {}),
    }[unit]()
    alone = _without_partner(plan, group, against, unit)
    return replace(told, unit=unit, loads=len(set(one) & set(two)), left_out=alone)


def _without_partner(plan: Layout, group: str, against: str, unit: str) -> tuple[Reason, ...]:
    """Blades in a shared-load study whose load holds none of the other group."""
    if unit not in (PAIR_IN_LOAD, BLADE_IN_LOAD):
        return ()
    shared = set(plan.cells[group]) & set(plan.cells[against])
    alone = [b.blade for b in plan.blades if b.group in (group, against) and b.load not in shared]
    if not alone:
        return ()
    use = "not used here" if unit == PAIR_IN_LOAD else "used here for the scatter only"
    text = (
        f"{' and '.join(alone)} {'is' if len(alone) == 1 else 'are'} {use}: no blade of the other "
        "group counts from the same furnace load."
    )
    return (Reason("without_partner", text),)


def one_load_each(plan: Layout, pairs: Sequence[tuple[str, str]]) -> bool:
    """Whether every pair of groups had one furnace load each: then nothing tells them apart."""
    return bool(pairs) and all(
        len(plan.cells[a]) == len(plan.cells[b]) == 1
        and not set(plan.cells[a]) & set(plan.cells[b])
        for a, b in pairs
    )


def between_loads(plan: Layout, group: str, against: str) -> Contrast | None:
    """The blades of two groups with one load each, as if the loads were what is compared."""
    sides = [[x for cell in plan.cells[name].values() for x in cell] for name in (group, against)]
    if any(len(plan.cells[name]) > 1 for name in (group, against)) or min(map(len, sides)) < 2:
        return None
    told = _two(group, against, plain(sides[0]), plain(sides[1]))
    return None if told.reason else told


Side = tuple[float, float, int, float]
"""Mean, its variance, degrees of freedom, scatter of the units."""


def _two(group: str, against: str, one: Side, two: Side) -> Contrast:
    difference = one[0] - two[0]
    se, dof = welch(difference, one[1], one[2], two[1], two[2])
    if not se > NO_SCATTER * (abs(one[0]) + abs(two[0])):
        return _no_scatter(group, against, difference)
    share = min(max(one[1] / (one[1] + two[1]), LEAST_SHARE), 1 - LEAST_SHARE)
    return Contrast(group, against, difference, float(se), float(dof), one[2], two[2], share)


def _by_loads(plan: Layout, group: str, against: str) -> Contrast:
    sides = [
        plain([fmean(cell) for cell in plan.cells[name].values()]) for name in (group, against)
    ]
    for name, side in zip((group, against), sides, strict=True):
        if side[2] == 0:
            return _none(plan, group, against, sides[0][0] - sides[1][0], name)
    return _two(group, against, *sides)


def _by_blades(plan: Layout, group: str, against: str, block_of: Mapping[str, str]) -> Contrast:
    blades = [[b for b in plan.blades if b.group == name] for name in (group, against)]
    means = [[b.mean for b in mine] for mine in blades]
    for name, mine in zip((group, against), blades, strict=True):
        if len(mine) < 2:
            return _none(plan, group, against, fmean(means[0]) - fmean(means[1]), name)
    one, two = plain(means[0]), plain(means[1])
    if equal := held_equal(blades[0], blades[1], block_of):
        one, two = (
            _weighted(side, mine, equal, block_of)
            for side, mine in zip((one, two), blades, strict=True)
        )
    return _two(group, against, one, two)


def held_equal(
    one: Sequence[BladeMean], two: Sequence[BladeMean], block_of: Mapping[str, str]
) -> dict[str, float]:
    """Weight of each block in the difference; empty where blocks are not known, or where one holds
    one group only: its blades would fall out, and with them what they tell."""
    if any(b.blade not in block_of for b in (*one, *two)):
        return {}
    counts = [Counter(block_of[b.blade] for b in side) for side in (one, two)]
    return _weights(*counts) if set(counts[0]) == set(counts[1]) else {}


def _weights(one: Mapping[str, int], two: Mapping[str, int]) -> dict[str, float]:
    each = {at: one[at] * two[at] / (one[at] + two[at]) for at in one if two.get(at)}
    return {at: weight / math.fsum(each.values()) for at, weight in each.items()}


def _weighted(
    side: Side, blades: Sequence[BladeMean], equal: Mapping[str, float],
    block_of: Mapping[str, str],
) -> Side:  # fmt: skip
    """The side's mean with its blocks in given shares; its scatter is left as it is."""
    cells: dict[str, list[float]] = {}
    for blade in blades:
        cells.setdefault(block_of[blade.blade], []).append(blade.mean)
    mean = math.fsum(weight * fmean(cells[at]) for at, weight in equal.items())
    spread = math.fsum(weight**2 / len(cells[at]) for at, weight in equal.items())
    return mean, side[3] ** 2 * spread, side[2], side[3]


def _within_loads(plan: Layout, group: str, against: str) -> Contrast:
    cells = [plan.cells[name] for name in (group, against)]
    equal = _weights(*({load: len(cell) for load, cell in side.items()} for side in cells))
    sides = [_side_within(side, equal) for side in cells]
    for name, side in zip((group, against), sides, strict=True):
        if side[2] == 0:
            return _none(plan, group, against, sides[0][0] - sides[1][0], name)
    return _two(group, against, *sides)


def _side_within(cells: Cells, equal: Mapping[str, float]) -> Side:
    """Shared loads in given shares; the scatter is of blades within each load, shared or not."""
    mean = math.fsum(weight * fmean(cells[load]) for load, weight in equal.items())
    dof = sum(len(cell) - 1 for cell in cells.values())
    if dof < 1:
        return mean, math.nan, 0, math.nan
    squares = math.fsum((x - fmean(cell)) ** 2 for cell in cells.values() for x in cell)
    spread = math.fsum(weight**2 / len(cells[load]) for load, weight in equal.items())
    return mean, squares / dof * spread, dof, math.sqrt(squares / dof)


def _of_differences(plan: Layout, group: str, against: str) -> Contrast:
    one, two = plan.cells[group], plan.cells[against]
    mean, variance, dof, _ = plain([fmean(one[at]) - fmean(two[at]) for at in one if at in two])
    if not math.sqrt(variance) > NO_SCATTER * _size(one, two):
        return _no_scatter(group, against, mean)
    return Contrast(group, against, mean, math.sqrt(variance), dof, dof, 0, 0.5)


def _size(*sides: Cells) -> float:
    return max(abs(x) for cells in sides for cell in cells.values() for x in cell)


def _none(plan: Layout, group: str, against: str, difference: float, thin: str) -> Contrast:
    told = [r for r in plan.reasons if r.name == "group_not_told"]
    reason = next((r for r in told if r.text.startswith(f"{thin}:")), None)
    if reason is None:
        blades = plan.group(thin).blades
        text = f"{thin}: {many(blades, 'blade')} in the loads that both groups share are too few."
        reason = Reason("group_not_told", text if blades else f"{thin}: no values.")
    return Contrast(group, against, difference, math.nan, math.nan, 0, 0, 0.5, reason=reason)


def _no_scatter(group: str, against: str, difference: float) -> Contrast:
    reason = Reason(
        "no_scatter",
        f"All values of {group} are the same, and all of {against}: without scatter chance cannot "
        "be judged. Read with a finer resolution.",
    )
    return Contrast(group, against, difference, math.nan, math.nan, 0, 0, 0.5, reason=reason)
