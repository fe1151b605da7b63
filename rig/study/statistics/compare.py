"""Compare the groups of a study: ratios or differences with intervals, and a verdict for each."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.measure.budget import Reason
from rig.study.statistics.contrasts import (
    Contrast,
    between_loads,
    contrast,
    one_load_each,
    pairs_of,
)
from rig.study.statistics.data import Response, StudyData
from rig.study.statistics.effect import Effect, hedges_g
from rig.study.statistics.phrases import begin, many
from rig.study.statistics.power import upper_limit
from rig.study.statistics.units import (
    BLADE,
    BLADE_IN_LOAD,
    LOAD,
    PAIR_IN_LOAD,
    Layout,
    layout,
    without_loads,
)
from rig.study.statistics.verdict import (
    CANNOT_TELL,
    LEVEL,
    RULED_OUT,
    SHOWN,
    Judged,
    judge,
    overall,
)
from rig.study.statistics.welch import detectable, factor


@dataclass(frozen=True)
class OfLoads:
    """What the blades of two groups say where each group counts as one furnace load.

    Attributes:
        effect, low, high: a ratio or a difference with its 95 % interval.
        known: whether the loads are on record.
    """

    effect: float
    low: float
    high: float
    known: bool


@dataclass(frozen=True)
class Comparison:
    """One group against another.

    Args:
        effect: ratio of the group to `against` (log scale) or difference; nan when unknown.
        low, high: 95 % interval that holds for all comparisons of the study together, or `alone`:
            where a margin is ruled out, the one that rules it out.
        p, p_adjusted: of "no difference", alone and in the family.
        p_margin_adjusted: of "the difference reaches the margin", in the family.
        detectable: smallest ratio (above 1) or difference that this study would have found with
            80 % power at the scatter it met; None when it has no scatter to judge by.
        detectable_upper: the same at the upper limit of the scatter (four in five lie below).
        within: the difference is within the margin, by its familywise p.
        assumes: what the comparison takes for granted of the furnace loads; "" for nothing.
        differences: within furnace loads that it rests on; None where it rests on blades or loads.
        loads_differ: what the blades of the two loads say where each group had one load only.
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
    detectable_upper: float | None = None
    within: bool = False
    alone: bool = False
    assumes: str = ""
    loads_differ: OfLoads | None = None
    differences: "OfDifferences | None" = None


@dataclass(frozen=True)
class OfDifferences:
    """Differences within furnace loads, and their scatter on the scale of analysis."""

    count: int
    scatter: float


@dataclass(frozen=True)
class ValueResult:
    """What a study says about one response."""

    response: Response
    layout: Layout
    comparisons: tuple[Comparison, ...]
    verdict: str
    reasons: tuple[Reason, ...]

    @property
    def detectable(self) -> float | None:
        """Smallest difference every comparison would have found; None when one has none."""
        return _largest([comparison.detectable for comparison in self.comparisons])

    @property
    def detectable_upper(self) -> float | None:
        """The same at the upper limits of the scatters."""
        return _largest([comparison.detectable_upper for comparison in self.comparisons])


def _largest(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return max(known) if known and len(known) == len(values) else None


def compare(data: StudyData) -> ValueResult:
    """Every group against the control, or all pairs when there is none.

    Values that are censored belong in `rig.study.statistics.censored.compare_censored`.

    Raises:
        RigError: when the data contradict themselves.
        ValueError: when a value is censored.
    """
    if any(seen.censored for seen in data.observations):
        raise ValueError(f"{data.response.name}: censored values are no values")
    plan = layout(data)
    pairs, reasons = pairs_of(data)
    contrasts = [contrast(plan, group, against, data.block_of) for group, against in pairs]
    known = [item for item in contrasts if item.reason is None]
    judged = judged_of(known, data.response)
    at = {id(item): i for i, item in enumerate(known)}
    comparisons = tuple(
        _told(item, plan, data.response, judged, at[id(item)], len(known))
        if item.reason is None
        else untold(item, plan, data.response)
        for item in contrasts
    )
    verdict = overall([comparison.verdict for comparison in comparisons])
    return ValueResult(data.response, plan, comparisons, verdict, plan.reasons + reasons)


def judged_of(contrasts: Sequence[Contrast], response: Response) -> Judged:
    """The verdict's rule on contrasts that have no reason against them, as one family."""
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
    kind = judged.kind(at)
    low, high = _interval(item, kind, judged, family)
    margin = response.inward(response.margin)
    small = kind == SHOWN and max(abs(low), abs(high)) <= margin
    smallest = item.se * detectable(LEVEL / family, item.f1, item.f2, item.share)
    one, two = plan.group(item.group), plan.group(item.against)
    return Comparison(
        group=item.group,
        against=item.against,
        effect=response.outward(item.difference),
        low=response.outward(low),
        high=response.outward(high),
        dof=item.dof,
        p=float(judged.p[at]),
        p_adjusted=float(judged.p_adjusted[at]),
        p_margin_adjusted=float(judged.p_margin_adjusted[at]),
        detectable=response.outward(smallest),
        detectable_upper=response.outward(smallest * upper_limit(item.dof)),
        g=hedges_g(one.values, two.values),
        verdict=kind,
        reasons=((WITHIN,) if small else ()) + thin(item) + item.left_out,
        within=bool(judged.within[at]),
        alone=kind == RULED_OUT and family > 1,
        assumes=taken_for_granted(item),
        differences=rests_on(item),
    )


def thin(item: Contrast) -> tuple[Reason, ...]:
    """Why an interval is wide where one side has two units and the other more."""
    small, large = sorted((item.f1, item.f2))
    if small != 1 or large < 2 or item.unit not in NOUNS:
        return ()
    which, noun = item.group if item.f1 == 1 else item.against, NOUNS[item.unit]
    text = (
        f"Two {noun} of {which} tell next to nothing of its scatter, and the interval has to hold "
        f"whatever that is: it is about as wide as two {noun} alone would make it. A third "
        "narrows it most."
    )
    return (Reason("two_units", text),)


NOUNS = {LOAD: "furnace loads", BLADE: "blades", BLADE_IN_LOAD: "blades"}


def rests_on(item: Contrast) -> "OfDifferences | None":
    """The differences within furnace loads that are compared, where such are."""
    if item.unit != PAIR_IN_LOAD or item.reason is not None:
        return None
    count = round(item.f1) + 1
    return OfDifferences(count, item.se * math.sqrt(count))


WITHIN = Reason("within_margin", "The difference is there, and smaller than the stated margin.")


def _interval(item: Contrast, kind: str, judged: Judged, family: int) -> tuple[float, float]:
    """On the scale of analysis: the limits by which this verdict was reached."""
    level = LEVEL / family if kind != RULED_OUT else 2 * float(judged.margin_level)
    reach = item.se * factor(level, item.dof, item.f1, item.f2)
    return item.difference - reach, item.difference + reach


def taken_for_granted(item: Contrast) -> str:
    """What a comparison within one or two shared furnace loads cannot test."""
    if item.unit not in (BLADE, BLADE_IN_LOAD):
        return ""
    return (
        "Taken for granted: within a furnace load nothing but the recipe differs between groups. "
        f"{many(item.loads, 'shared load')} cannot test that (tempered apart, each part of a load "
        "is a load of its own); from three on it is tested."
    )


def untold(item: Contrast, plan: Layout, response: Response) -> Comparison:
    """What is left of a comparison that has a reason against it."""
    known = np.isfinite(item.difference)
    alone = between_loads(plan, item.group, item.against) if item.unit == LOAD else None
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
        reasons=_why(item, plan),
        loads_differ=None if alone is None else _of_these_loads(alone, plan, response),
    )


def _why(item: Contrast, plan: Layout) -> tuple[Reason, ...]:
    """The reason as it stands, named anew where both groups had one furnace load each."""
    if one_load_each(plan, [(item.group, item.against)]):
        unknown = without_loads(plan, item.group, item.against)
        why = (
            f"no furnace load of {' or of '.join(unknown)} is on record"
            if unknown
            else f"{item.group} and {item.against} had one furnace load each"
        )
        return (Reason(
            "one_load_each",
            f"{begin(why)}: the recipe cannot be told from the load. Two loads or more of each are "
            "needed, or loads that hold both.",
        ),)  # fmt: skip
    return ((item.reason,) if item.reason else ()) + item.left_out


def _of_these_loads(alone: Contrast, plan: Layout, response: Response) -> OfLoads:
    reach = alone.se * factor(LEVEL, alone.dof, alone.f1, alone.f2)
    middle, out = alone.difference, response.outward
    known = not without_loads(plan, alone.group, alone.against)
    return OfLoads(out(middle), out(middle - reach), out(middle + reach), known)
