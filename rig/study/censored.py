"""Compare groups in which some blades survived: their values are bounds and stay bounds.

A difference is shown by the rule of `joint`. The ratio of medians comes from the likelihood, each
group with its own scatter (`survivors`) where both have two failures or more, else with a common
one (`rig.measure.life`).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.measure.life import Life, median_ratio
from rig.study.contrasts import pairs_of
from rig.study.data import LOG, StudyData
from rig.study.joint import joint_p, many_survived, margin_p
from rig.study.multiple import hochberg, holm
from rig.study.rates import Rate, failure_rate
from rig.study.reach import Reach, Scene, reach, scene
from rig.study.units import LOAD, BladeMean, Layout, layout
from rig.study.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN, overall
from rig.study.welch import factor

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Side:
    """The units of one group: values on the scale of analysis, which failed, their loads."""

    group: str
    values: Array
    failed: Flags
    loads: tuple[str, ...]

    @property
    def freedom(self) -> int:
        """Degrees of freedom of the group's scatter."""
        return len(self.values) - 1


@dataclass(frozen=True)
class CensoredComparison:
    """One group against another, survivors included.

    Args:
        effect: ratio of medians; nan when the survivors leave it open.
        low, high: 95 % interval for all comparisons together; 0 or infinite where open.
        p: larger of the two tests' p.
        reach: what the study would have found with 80 % power.
    """

    group: str
    against: str
    effect: float
    low: float
    high: float
    p: float
    p_adjusted: float
    p_margin_adjusted: float
    reach: Reach
    verdict: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class CensoredResult:
    """What a study says of a response that some blades survived."""

    layout: Layout
    comparisons: tuple[CensoredComparison, ...]
    rates: tuple[Rate, ...]
    verdict: str
    reasons: tuple[Reason, ...]


def compare_censored(data: StudyData) -> CensoredResult:
    """Every group against the control, or all pairs when there is none.

    Raises:
        RigError: when the data contradict themselves, or the scale is linear.
    """
    if data.response.scale != LOG:
        raise RigError(
            "some values survived, and survivors are compared as ratios",
            where=data.response.name,
            remedy="put this response on the log scale",
        )
    plan = layout(data)
    pairs, reasons = pairs_of(data)
    told = [_pair(plan, *pair) for pair in pairs]
    known = [item for item in told if not item.why]
    margin = data.response.inward(data.response.margin)
    p = [item.p for item in known]
    margins = [item.p_margin(margin) for item in known]
    adjusted = dict(zip(map(id, known), zip(holm(p), hochberg(margins), strict=True), strict=True))
    comparisons = tuple(_told(item, adjusted.get(id(item)), len(known)) for item in told)
    rates = tuple(
        failure_rate(side.group, int(side.failed.sum()), len(side.values))
        for side in (_side(plan, group.name) for group in data.groups)
        if len(side.values)
    )
    verdict = overall([comparison.verdict for comparison in comparisons])
    return CensoredResult(plan, comparisons, rates, verdict, plan.reasons + reasons)


def _side(plan: Layout, group: str) -> Side:
    """Blades, or loads with the mean of their blades (at least that when one survived)."""
    mine = [blade for blade in plan.blades if blade.group == group]
    units: dict[str, list[BladeMean]] = {}
    for blade in mine:
        units.setdefault(blade.load if plan.unit == LOAD else blade.blade, []).append(blade)
    means = [math.fsum(b.mean for b in unit) / len(unit) for unit in units.values()]
    failed = [not any(b.censored for b in unit) for unit in units.values()]
    # One load a group, or none at all: the test deals units freely, not within loads.
    free = plan.unit == LOAD
    loads = tuple("" if free else unit[0].load for unit in units.values())
    return Side(group, np.array(means), np.array(failed, dtype=bool), loads)


@dataclass(frozen=True)
class _Pair:
    one: Side
    two: Side
    p: float
    difference: float
    se: float
    dof: float
    why: tuple[Reason, ...] = ()

    @property
    def fitted(self) -> bool:
        return math.isfinite(self.se) and self.se > 0

    def p_margin(self, margin: float) -> float:
        """p of "the ratio reaches the margin"; 1 when survivors leave it open."""
        one, two = self.one, self.two
        return margin_p(one.values, one.failed, two.values, two.failed, margin)


def _pair(plan: Layout, group: str, against: str) -> _Pair:
    one, two = _side(plan, group), _side(plan, against)
    why = _why_not(plan, one, two)
    if why:
        return _Pair(one, two, math.nan, math.nan, math.nan, math.nan, why)
    p, difference, se, dof = joint_p(
        one.values, one.failed, two.values, two.failed, one.loads + two.loads
    )
    return _Pair(one, two, float(p), float(difference), float(se), float(dof))


def _why_not(plan: Layout, one: Side, two: Side) -> tuple[Reason, ...]:
    thin = [side.group for side in (one, two) if side.freedom < 1]
    if thin:
        mine = [r for r in plan.reasons if any(r.text.startswith(f"{name}:") for name in thin)]
        return tuple(mine) or (Reason("group_not_told", f"{thin[0]}: too few units."),)
    if not one.failed.any() and not two.failed.any():
        text = (
            f"Every blade of {one.group} and of {two.group} survived: they cannot be told apart. "
            "Test to a higher limit."
        )
        return (Reason("all_survived", text),)
    return ()


def _told(item: _Pair, p: tuple[float, float] | None, family: int) -> CensoredComparison:
    one, two = item.one, item.two
    if p is None:
        return CensoredComparison(
            one.group, two.group, math.nan, 0.0, math.inf, math.nan, math.nan, math.nan,
            Reach(None, None, item.why), CANNOT_TELL, item.why,
        )  # fmt: skip
    effect, low, high, reasons = _interval(item, LEVEL / family)
    kind = SHOWN if p[0] <= LEVEL else RULED_OUT if p[1] <= LEVEL else CANNOT_TELL
    if kind == CANNOT_TELL and (many_survived(one.failed) or many_survived(two.failed)):
        reasons += (Reason(
            "many_survived",
            "More than a quarter of a group survived: no margin can be ruled out.",
        ),)  # fmt: skip
    if kind == SHOWN and p[1] <= LEVEL:
        reasons += (Reason("within_margin", "The difference is smaller than the stated margin."),)
    return CensoredComparison(
        one.group, two.group, effect, low, high, item.p, float(p[0]), float(p[1]),
        _reach(item, LEVEL / family), kind, reasons,
    )  # fmt: skip


def _reach(item: _Pair, level: float) -> Reach:
    at = scene(item.one.values, item.one.failed, item.two.values, item.two.failed)
    return reach(at, level) if isinstance(at, Scene) else Reach(None, None, (at,))


def _interval(item: _Pair, level: float) -> tuple[float, float, float, tuple[Reason, ...]]:
    """Ratio with its interval: own scatters where both can be fitted, else a common one."""
    if item.fitted:
        t = factor(level, item.dof, item.one.freedom, item.two.freedom)
        ends = [item.difference + side * t * item.se for side in (0, -1, 1)]
        effect, low, high = (math.exp(min(x, 700.0)) for x in ends)
        return effect, low, high, ()
    told = median_ratio(_lives(item.one), _lives(item.two), level=1 - level)
    common = Reason(
        "common_scatter",
        "Too few failures for a scatter of each group: the bounds take it as common to both.",
    )
    return told.estimate, told.low, told.high, (*_all_survived(item), common)


def _all_survived(item: _Pair) -> tuple[Reason, ...]:
    return tuple(
        Reason("one_side_open", f"All of {side.group} survived: how strong they are stays open.")
        for side in (item.one, item.two)
        if not side.failed.any()
    )


def _lives(side: Side) -> list[Life]:
    return [
        Life(f"{side.group} {i}", side.group, math.exp(y), math.exp(y) if failed else math.inf)
        for i, (y, failed) in enumerate(zip(side.values, side.failed, strict=True))
    ]
