"""Compare groups by edge lives known as intervals: as values, with what their probes leave open.

A life enters as the middle of its interval on the log scale, an edge still sharp at the end as a
lower bound, one dull at its first probe as an upper bound; `rig.study.statistics.censored` then
compares them by whatever unit the furnace loads allow, and by one interval with a scatter of each
group's own. What is compared are typical (geometric mean) lives. The intervals' width blurs each
life as its own scatter does and is in the scatter met. Only where all lives of a group ended
between the same two probes it is not: their mean may lie anywhere between the two, and that is
taken for its variance.

tests/bench/lifestudies.py counts how often the verdicts are wrong.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rig.measure.budget import Reason
from rig.measure.life import Life, by_group, group_test
from rig.study.statistics.alternatives import Beside
from rig.study.statistics.bounded import CensoredComparison, CensoredResult, Ratio
from rig.study.statistics.censored import compare_censored
from rig.study.statistics.contrasts import Contrast
from rig.study.statistics.data import LEFT, RIGHT, Observation, StudyData
from rig.study.statistics.life_scatter import alike, middle, missed, taken
from rig.study.statistics.multiple import holm
from rig.study.statistics.units import BLADE
from rig.study.statistics.verdict import CANNOT_TELL, overall
from rig.study.statistics.welch import welch

Groups = Mapping[str, list[Life]]


@dataclass(frozen=True)
class LifeResult(CensoredResult):
    """What a study says of edge life."""

    lives: tuple[Life, ...] = ()


def compare_lives(
    lives: Sequence[Life], data: StudyData, stated_cv: float | None = None
) -> LifeResult:
    """Every group against the control, or all pairs when there is none.

    Args:
        lives: one a blade.
        data: the same lives `as_values`, on the log scale.
        stated_cv: scatter of lives that the study states, used where it shows none of its own.

    Raises:
        RigError: when the data contradict themselves.
    """
    groups = by_group(lives)
    told = compare_censored(data, lambda item: between_probes(item, groups))
    comparisons = tuple(_told(one, groups, stated_cv) for one in told.comparisons)
    return LifeResult(
        told.layout, comparisons, (), overall([one.verdict for one in comparisons]),
        (*told.reasons, *taken(groups, stated_cv)), told.whole, tuple(lives),
    )  # fmt: skip


def beside(told: LifeResult) -> tuple[Beside, ...]:
    """The log-rank test for intervals, for a reader who doubts middles; where blades are units.

    It asks for no shape of distribution and takes the scatters as alike (`rig.measure.life.ranks`).
    """
    groups = by_group(told.lives)
    pairs = [
        (one, group_test([*groups[one.group], *groups[one.against]]))
        for one in told.comparisons
        if told.layout.unit == BLADE and one.group in groups and one.against in groups
    ]
    known = [(one, found) for one, found in pairs if math.isfinite(found.p_value)]
    family = holm([found.p_value for _, found in known])
    return tuple(
        Beside(
            "log-rank for intervals", one.group, one.against, found.z, found.p_value, float(p),
            f"takes the scatters as alike; cannot go below p = {found.smallest_p:.2g}",
        )
        for (one, found), p in zip(known, family, strict=True)
    )  # fmt: skip


def as_values(lives: Sequence[Life], loads: Mapping[str, str]) -> list[Observation]:
    """Lives as values: the middle of each interval on the log scale, or the bound that is known.

    The interval's width is in `u`: that of a value anywhere in it, on the log scale, with the same
    chance.
    """
    return [_as_value(life, loads.get(life.specimen, "")) for life in lives]


def _as_value(life: Life, load: str) -> Observation:
    if life.survived:
        return Observation(life.group, life.specimen, life.last_pass_cuts, load, censored=RIGHT)
    if life.last_pass_cuts == 0:
        return Observation(life.group, life.specimen, life.first_fail_cuts, load, censored=LEFT)
    value, wide = math.exp(middle(life)), _wide(life)
    return Observation(life.group, life.specimen, value, load, value * wide / math.sqrt(12))


def _wide(life: Life) -> float:
    """Width of the interval of ln(life)."""
    return math.log(life.first_fail_cuts / life.last_pass_cuts)


def between_probes(item: Contrast, groups: Groups) -> Contrast:
    """The difference with the variance that a group has whose lives all ended at the same probe.

    Left as it is where a difference within loads is compared, which has one scatter only.
    """
    sides = [groups.get(item.group, []), groups.get(item.against, [])]
    least = [_wide(one[0]) ** 2 / 12 if alike(one) else 0.0 for one in sides]
    if not any(least) or min(map(len, sides)) < 2:
        return item
    if item.reason is not None and item.reason.name != "no_scatter":
        return item
    if item.reason is None and item.f2 == 0:
        return item
    known = (0.0, 0.0) if item.reason else (item.share * item.se**2, (1 - item.share) * item.se**2)
    one, two = (low or have for low, have in zip(least, known, strict=True))
    f1, f2 = (item.f1, item.f2) if item.reason is None else (len(sides[0]) - 1, len(sides[1]) - 1)
    se, dof = welch(item.difference, one, f1, two, f2)
    return replace(
        item, se=float(se), dof=float(dof), f1=f1, f2=f2, share=one / (one + two), reason=None
    )


def _told(one: CensoredComparison, groups: Groups, stated_cv: float | None) -> CensoredComparison:
    """What stays hidden where all lives of both groups ended between the same two probes."""
    sides = [groups.get(one.group, []), groups.get(one.against, [])]
    if not all(sides):
        empty = [name for name in (one.group, one.against) if name not in groups]
        text = f"Group {' and group '.join(empty)} has no edge life that counts."
        return replace(one, reasons=(Reason("no_lives", text),))
    if not alike([*sides[0], *sides[1]]):
        return one
    hidden = missed(list(groups.values()), min(map(len, sides)), stated_cv)
    high = max(hidden, one.high) if math.isfinite(one.high) else hidden
    return replace(
        one, verdict=CANNOT_TELL, missed=hidden, compute=lambda: Ratio(1, 1 / high, high)
    )
