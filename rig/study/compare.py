"""Compare the groups of a study: ratios or differences with intervals, and a verdict for each."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import fmean, stdev

import numpy as np

from rig.measure.budget import Reason
from rig.study.data import Response, StudyData
from rig.study.effect import Effect, hedges_g
from rig.study.units import NONE, PAIR_IN_LOAD, GroupMean, Layout, layout
from rig.study.verdict import CANNOT_TELL, LEVEL, SHOWN, Judged, judge, overall
from rig.study.welch import detectable, factor, welch


@dataclass(frozen=True)
class Comparison:
    """One group against another.

    Args:
        effect: ratio of the group to `against` (log scale) or difference; nan when unknown.
        low, high: 95 % interval that holds for all comparisons of the study together.
        p, p_adjusted: of "no difference", alone and in the family.
        p_margin_adjusted: of "the difference reaches the margin", in the family.
        detectable: smallest ratio (above 1) or difference that this study would have found with
            80 % power at the scatter it met; None when it has no scatter to judge by.
        g: standardised effect.
    """

    group: str
    against: str
    effect: float
    low: float
    high: float
    dof: float
    p: float
    p_adjusted: float
    p_margin_adjusted: float
    detectable: float | None
    g: Effect | None
    verdict: str
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Result:
    """What a study says about one response."""

    response: Response
    layout: Layout
    comparisons: tuple[Comparison, ...]
    verdict: str
    reasons: tuple[Reason, ...]

    @property
    def detectable(self) -> float | None:
        """Smallest difference every comparison would have found; None when one has none."""
        found = [comparison.detectable for comparison in self.comparisons]
        known = [value for value in found if value is not None]
        return max(known) if known and len(known) == len(found) else None


@dataclass(frozen=True)
class Contrast:
    """A difference of two groups on the scale of analysis, before it is judged."""

    group: str
    against: str
    difference: float
    se: float
    dof: float
    f1: float
    f2: float
    share: float
    reason: Reason | None = None


def compare(data: StudyData) -> Result:
    """Every group against the control, or all pairs when there is none.

    Values that are censored belong in `rig.study.censored.compare_censored`.

    Raises:
        RigError: when the data contradict themselves.
        ValueError: when a value is censored.
    """
    if any(seen.censored for seen in data.observations):
        raise ValueError(f"{data.response.name}: censored values are no values")
    plan = layout(data)
    pairs, reasons = pairs_of(data)
    contrasts = [contrast(plan, group, against) for group, against in pairs]
    known = [item for item in contrasts if item.reason is None]
    judged = _judge(known, data.response)
    at = {id(item): i for i, item in enumerate(known)}
    comparisons = tuple(
        _told(item, plan, data.response, judged, at[id(item)], len(known))
        if item.reason is None
        else _untold(item, data.response)
        for item in contrasts
    )
    verdict = overall([comparison.verdict for comparison in comparisons])
    return Result(data.response, plan, comparisons, verdict, plan.reasons + reasons)


def pairs_of(data: StudyData) -> tuple[list[tuple[str, str]], tuple[Reason, ...]]:
    """(group, against) of every comparison of the study."""
    names = [group.name for group in data.groups]
    if len(names) < 2:
        return [], (Reason("one_group", "There is one group: nothing to compare it with."),)
    if data.control is not None:
        return [(name, data.control) for name in names if name != data.control], ()
    missing = Reason("no_control", "No group is the control: all pairs are compared.")
    return [(b, a) for a, b in combinations(names, 2)], (missing,)


def contrast(plan: Layout, group: str, against: str) -> Contrast:
    """The difference of two groups with its standard error, or the reason why there is none."""
    if plan.unit == PAIR_IN_LOAD:
        return _within_loads(plan, group, against)
    one, two = plan.group(group), plan.group(against)
    difference = one.estimate - two.estimate
    for side in (one, two):
        if side.dof == 0 or plan.unit == NONE:
            return _no_statement(group, against, difference, plan, side)
    se, dof = welch(difference, one.variance, one.dof, two.variance, two.dof)
    if not se > 0:
        return _no_scatter(group, against, difference)
    share = one.variance / (one.variance + two.variance)
    # A share of 0 or 1 is a sample without scatter, not a group without.
    share = min(max(share, 1e-3), 1 - 1e-3)
    return Contrast(group, against, difference, float(se), float(dof), one.dof, two.dof, share)


def _within_loads(plan: Layout, group: str, against: str) -> Contrast:
    one, two = plan.cells[group], plan.cells[against]
    differences = [one[load] - two[load] for load in one if load in two]
    if len(differences) < 2:
        side = plan.group(group)
        return _no_statement(group, against, differences[0] if differences else math.nan,
                             plan, side)  # fmt: skip
    mean, dof = fmean(differences), len(differences) - 1
    se = stdev(differences) / math.sqrt(len(differences))
    if se == 0:
        return _no_scatter(group, against, mean)
    return Contrast(group, against, mean, se, dof, dof, 0, 0.5)


def _no_statement(
    group: str, against: str, difference: float, plan: Layout, side: GroupMean
) -> Contrast:
    told = [r for r in plan.reasons if r.name in ("group_not_told", "loads_shared_unevenly")]
    mine = next((r for r in told if r.text.startswith(f"{side.name}:")), told[0] if told else None)
    reason = mine or Reason("group_not_told", f"{side.name}: too few values for a statement.")
    return Contrast(group, against, difference, math.nan, math.nan, 0, 0, 0.5, reason)


def _no_scatter(group: str, against: str, difference: float) -> Contrast:
    reason = Reason(
        "no_scatter",
        f"All values of {group} are the same, and all of {against}: without scatter chance cannot "
        "be judged. Read with a finer resolution.",
    )
    return Contrast(group, against, difference, math.nan, math.nan, 0, 0, 0.5, reason)


def _judge(contrasts: Sequence[Contrast], response: Response) -> Judged:
    return judge(
        [item.difference for item in contrasts],
        [item.se for item in contrasts],
        [item.dof for item in contrasts],
        [(item.f1, item.f2) for item in contrasts],
        response.inward(response.margin),
    )


def _told(
    item: Contrast, plan: Layout, response: Response, judged: Judged, at: int, family: int
) -> Comparison:
    reach = item.se * factor(LEVEL / family, item.dof, item.f1, item.f2)
    kind = judged.kind(at)
    small = kind == SHOWN and judged.p_margin_adjusted[at] <= LEVEL
    within = Reason("within_margin", "The difference is there, and smaller than the stated margin.")
    smallest = item.se * detectable(LEVEL / family, item.f1, item.f2, item.share)
    one, two = plan.group(item.group), plan.group(item.against)
    return Comparison(
        group=item.group,
        against=item.against,
        effect=response.outward(item.difference),
        low=response.outward(item.difference - reach),
        high=response.outward(item.difference + reach),
        dof=item.dof,
        p=float(judged.p[at]),
        p_adjusted=float(judged.p_adjusted[at]),
        p_margin_adjusted=float(judged.p_margin_adjusted[at]),
        detectable=response.outward(smallest),
        g=hedges_g(one.values, two.values),
        verdict=kind,
        reasons=(within,) if small else (),
    )


def _untold(item: Contrast, response: Response) -> Comparison:
    known = np.isfinite(item.difference)
    return Comparison(
        group=item.group,
        against=item.against,
        effect=response.outward(item.difference) if known else math.nan,
        low=math.nan,
        high=math.nan,
        dof=0,
        p=math.nan,
        p_adjusted=math.nan,
        p_margin_adjusted=math.nan,
        detectable=None,
        g=None,
        verdict=CANNOT_TELL,
        reasons=(item.reason,) if item.reason else (),
    )
