"""Compare groups in which some values are only bounds: blades that survived, edges dull at once.

Pair by pair: two groups without a bound are compared as all values are
(`rig.study.statistics.contrasts`), whatever another group holds; the others by the rule of
`rig.study.statistics.joint`. One interval decides: a difference is shown where it leaves out 1, one
above the margin is ruled out where it lies within. The interval holds for all comparisons together
with 95 % confidence (Bonferroni). Where the exact test decides, it must say so too; the interval
then takes the scatters as alike, and holds 1 wherever the test does not say so.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.study.statistics.bounded import CensoredComparison, CensoredResult, Ratio
from rig.study.statistics.bounds import (
    Side,
    bounded_to,
    by_likelihood,
    by_order,
    found_each_way,
    p_of,
    ratio,
    side,
    why_not,
)
from rig.study.statistics.compare import rests_on, taken_for_granted, thin, untold
from rig.study.statistics.contrasts import Contrast, contrast, pairs_of
from rig.study.statistics.data import LEFT, LOG, StudyData
from rig.study.statistics.joint import LEAST_UNITS, UNLIKE, many_open
from rig.study.statistics.power import upper_limit
from rig.study.statistics.rates import failure_rate
from rig.study.statistics.reach import Reach
from rig.study.statistics.units import Layout, layout
from rig.study.statistics.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN, overall
from rig.study.statistics.welch import detectable, factor

Refined = Callable[[Contrast], Contrast]


def compare_censored(data: StudyData, refined: Refined = lambda item: item) -> CensoredResult:
    """Every group against the control, or all pairs when there is none.

    Args:
        data: on the log scale.
        refined: what else is known of the difference of two groups without bounds.

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
    below = frozenset(seen.blade for seen in data.observations if seen.censored == LEFT)
    found = [_pair(plan, data, below, refined, *pair) for pair in pairs]
    family = sum(not item.why for item in found)
    comparisons = tuple(
        _untold(item, plan, data) if item.why else _told(item, family, data) for item in found
    )
    sides = [side(plan, group.name, plan.unit, below) for group in data.groups]
    rates = tuple(
        failure_rate(one.group, int((~one.above).sum()), len(one.values))
        for one in sides
        if len(one.values)
    )
    verdict = overall([comparison.verdict for comparison in comparisons])
    whole = all(item.whole for item in found)
    return CensoredResult(plan, comparisons, rates, verdict, plan.reasons + reasons, whole)


@dataclass(frozen=True)
class _Pair:
    """Two groups and their difference.

    Attributes:
        exact: whether the exact test decides, because bounds leave the difference open.
    """

    one: Side
    two: Side
    item: Contrast
    p: float
    exact: bool = False
    why: tuple[Reason, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether both groups hold values only."""
        return bool(self.one.known.all() and self.two.known.all())


def _pair(
    plan: Layout, data: StudyData, below: frozenset[str], refined: Refined, group: str, against: str
) -> _Pair:
    item = contrast(plan, group, against, data.block_of)
    one, two = (side(plan, name, item.unit, below) for name in (group, against))
    if one.known.all() and two.known.all():
        item = refined(item)
        return _Pair(one, two, item, p_of(item), why=(item.reason,) if item.reason else ())
    if why := why_not(plan, one, two, item.unit):
        return _Pair(one, two, item, math.nan, why=why)
    found = by_likelihood(one, two, item)
    if found is not None:
        return _Pair(one, two, found, p_of(found))
    return _Pair(one, two, item, by_order(one, two, item.unit), exact=True)


def _untold(pair: _Pair, plan: Layout, data: StudyData) -> CensoredComparison:
    item, why = pair.item, pair.why
    told = untold(item, plan, data.response) if pair.whole else None
    effect = math.nan if told is None else told.effect
    return CensoredComparison(
        item.group, item.against, lambda: Ratio(effect, 0.0, math.inf), math.nan, math.nan,
        lambda: Reach(None, None, why), CANNOT_TELL,
        why if told is None else told.reasons,
        loads_differ=None if told is None else told.loads_differ,
    )  # fmt: skip


def _told(pair: _Pair, family: int, data: StudyData) -> CensoredComparison:
    level, few = LEVEL / family, many_open(pair.one.known) or many_open(pair.two.known)
    reasons = _of_exact(pair, level) if pair.exact else thin(pair.item)
    interval = lru_cache(lambda: (_open if pair.exact else _interval)(pair, level))
    if pair.exact and pair.p > level and few:  # settled, whatever the interval
        shown = within = False
    else:
        margin, (_, low, high) = data.response.inward(data.response.margin), interval()
        shown = not low <= 0 <= high and (pair.p <= level or not pair.exact)
        within = -margin <= low and high <= margin and not few
    kind = SHOWN if shown else RULED_OUT if within else CANNOT_TELL
    if kind == CANNOT_TELL and few:
        text = "More than a quarter of a group are bounds only: no margin can be ruled out."
        reasons += (Reason("many_survived", text),)
    if shown and within:
        reasons += (Reason("within_margin", "The difference is smaller than the stated margin."),)
    return CensoredComparison(
        pair.one.group, pair.two.group, lambda: Ratio(*map(_out, interval())), pair.p,
        min(1.0, pair.p * family), lambda: _reach(pair, level), kind,
        reasons + pair.item.left_out, taken_for_granted(pair.item), None, None, *_as_seen(pair),
        bool(few), rests_on(pair.item),
    )  # fmt: skip


Interval = tuple[float, float, float]
"""Difference and its ends on the scale of analysis."""


def _interval(pair: _Pair, level: float) -> Interval:
    item = pair.item
    far = item.se * factor(level, item.dof, item.f1, item.f2)
    return item.difference, item.difference - far, item.difference + far


def _as_seen(pair: _Pair) -> tuple[float | None, float | None]:
    """What the bounds alone say of these blades' ratio: at least, or at most."""
    ratio = _out(float(pair.one.values.mean() - pair.two.values.mean()))
    way = bounded_to(pair.one, pair.two)
    return ratio if way > 0 else None, ratio if way < 0 else None


def _open(pair: _Pair, level: float) -> Interval:
    if any((side.above & side.below).all() for side in (pair.one, pair.two)):
        return math.nan, -math.inf, math.inf
    told = ratio(pair.one, pair.two, 1 - level)
    with np.errstate(divide="ignore"):
        middle, low, high = (float(np.log(x)) for x in (told.estimate, told.low, told.high))
    if pair.p > level:  # by the exact test, which decides: "none" stays within the interval
        low, high = min(low, 0.0), max(high, 0.0)
    return middle, low, high


def _of_exact(pair: _Pair, level: float) -> tuple[Reason, ...]:
    """What must be said of an interval beside the exact test, and why that does not show more."""
    open_sides = (
        Reason(
            "one_side_open", f"All of {one.group} survived: how much further they go stays open."
        )
        for one in (pair.one, pair.two)
        if one.above.all()
    )
    text = "Too few known values for a scatter of each group: the bounds take it as common to both."
    return (*open_sides, Reason("common_scatter", text), *_by_order_alone(pair, level))


def _by_order_alone(pair: _Pair, level: float) -> tuple[Reason, ...]:
    if pair.p <= level:
        return ()
    small, large = sorted((len(pair.one.values), len(pair.two.values)))
    if small >= LEAST_UNITS and large <= UNLIKE * small:
        return ()
    text = (
        f"With so many bounds the order of the values has to decide, and that takes {LEAST_UNITS} "
        "blades or more in each group, in numbers not too unlike."
    )
    return (Reason("too_few_for_order", text),)


def _out(log_ratio: float) -> float:
    return math.exp(log_ratio) if not log_ratio >= 700 else math.inf  # nan stays nan


def _reach(pair: _Pair, level: float) -> Reach:
    """One figure for both ways with its upper limit, or a figure each way."""
    if not pair.whole:
        return found_each_way(pair.one, pair.two, level)
    item = pair.item
    far = item.se * detectable(level, item.f1, item.f2, item.share)
    return Reach(_out(far), _out(far), upper=_out(far * upper_limit(item.dof)))
