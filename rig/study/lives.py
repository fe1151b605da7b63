"""Compare groups by edge lives known as intervals: the blade is the unit, a survivor a bound.

A difference is shown when three answers agree: the permutation test of log-rank scores, the
likelihood with a scatter of each group's own (the larger of both p, Holm over the comparisons), and
the interval of the ratio of medians, which must leave 1 out at the level that holds for all
comparisons together. One above the margin is ruled out when two agree: two one-sided tests with a
scatter of each group's own (`rig.study.joint.margin_p`, Hochberg), and the interval of the ratio,
which must lie within the margin. Each alone is wrong too often somewhere: ranks and the common
scatter when scatters are unlike, the middles of intervals when probes are coarse;
tests/bench/lifestudies.py counts how often all together are.

Where blades were treated in several furnace loads together, loads or differences within loads are
what counts; interval-censored models know nothing of loads, so such lives go the way of values:
`as_values`.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from rig.measure.budget import Reason
from rig.measure.life import (
    Estimate,
    Life,
    by_group,
    group_test,
    median_ratio,
)
from rig.study import survivors
from rig.study.data import RIGHT, Observation, StudyData
from rig.study.joint import margin_p
from rig.study.lifescatter import alike, middle, missed, taken
from rig.study.logrank import smallest_p
from rig.study.multiple import hochberg, holm
from rig.study.units import BLADE, LOAD, layout
from rig.study.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN, overall
from rig.study.welch import detectable, two_sided, welch

Array = NDArray[np.float64]

# Chance asked of one answer alone so that all three agree in about 80 of 100 studies: 74 to 85 by
# simulation with 4 to 12 blades a group (tests/bench/lifestudies.py).
OF_ONE = 0.87


@dataclass(frozen=True)
class LifeComparison:
    """One group's lives against another's.

    Attributes:
        ratio: of median lives, with the 95 % interval that holds for all comparisons together.
        p, p_adjusted: of the permutation test, alone and in the family.
        detectable: ratio found with 80 % power at the scatter met; None when it has none.
        missed: ratio that may hide behind lives that all ended between the same two probes; None
            where they did not.
    """

    group: str
    against: str
    ratio: Estimate
    p: float
    p_adjusted: float
    verdict: str
    detectable: float | None
    missed: float | None
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class LifeResult:
    """What a study says of edge life."""

    lives: tuple[Life, ...]
    comparisons: tuple[LifeComparison, ...]
    verdict: str
    reasons: tuple[Reason, ...]


def compare_lives(
    lives: Sequence[Life], names: Sequence[str], control: str | None, margin: float,
    stated_cv: float | None = None,
) -> LifeResult:  # fmt: skip
    """Every group against the control, or all pairs when there is none.

    Args:
        lives: one a blade, blades independent of each other (see `independent`).
        names: of the study's groups, in its order.
        control: name of the control group.
        margin: a ratio of lives below this counts as none.
        stated_cv: scatter of lives that the study states, used where it shows none of its own.

    Raises:
        RigError: a blade with two lives.
    """
    groups = by_group(lives)
    pairs = (
        [(name, control) for name in names if name != control]
        if control is not None
        else [(b, a) for a, b in combinations(names, 2)]
    )
    known = [_tested(groups[a], groups[b], margin) for a, b in pairs if {a, b} <= set(groups)]
    finite = [test for test in known if math.isfinite(test.p)]
    adjusted = dict(zip(map(id, finite), holm([test.p for test in finite]), strict=True))
    within = hochberg([test.p_margin for test in known])
    told = {
        test.pair: _compared(
            test, groups, float(adjusted.get(id(test), math.nan)), bool(p <= LEVEL), len(known),
            margin, stated_cv,
        )
        for test, p in zip(known, within, strict=True)
    }  # fmt: skip
    comparisons = tuple(told.get(pair) or _untold(pair, groups) for pair in pairs)
    reasons = taken(groups, stated_cv)
    if control is None and len(names) > 1:
        text = "No group is the control: all pairs are compared."
        reasons = (Reason("no_control", text), *reasons)
    return LifeResult(tuple(lives), comparisons, overall([c.verdict for c in comparisons]), reasons)


@dataclass(frozen=True)
class _Test:
    """One pair of groups: p of "alike" and of "the ratio reaches the margin".

    `least_p` is what groups of this size can reach at best; `se` of the difference of mean
    logarithms, `share` of the first group in its square, and their degrees of freedom.
    """

    pair: tuple[str, str]
    p: float
    p_margin: float
    least_p: float
    se: float
    share: float
    freedoms: tuple[int, int]
    reasons: tuple[Reason, ...]

    def detectable(self, level: float) -> float | None:
        """Ratio found with 80 % power at the scatter met; None when it has none, or when even
        lives wholly apart could not bring p below `level`."""
        if not self.se > 0 or self.least_p > level:
            return None
        shifts = detectable(level, *self.freedoms, self.share, OF_ONE)
        return math.exp(min(self.se * shifts, 700.0))


def _tested(one: Sequence[Life], two: Sequence[Life], margin: float) -> _Test:
    """The larger p of permutation and of the likelihood with a scatter of each group's own."""
    ranks = group_test([*one, *two])
    (x, x_failed), (y, y_failed) = _ends(one), _ends(two)
    a, b = survivors.fit(x, x_failed), survivors.fit(y, y_failed)
    difference = a.mean - b.mean
    with np.errstate(invalid="ignore"):
        se, dof = welch(difference, a.variance, len(x) - 1, b.variance, len(y) - 1)
    own = float(two_sided(difference, se, dof, len(x) - 1, len(y) - 1))
    return _Test(
        (one[0].group, two[0].group),
        float(np.fmax(ranks.p_value, own)) if math.isfinite(ranks.p_value) else math.nan,
        margin_p(x, x_failed, y, y_failed, math.log(margin)),
        smallest_p(np.arange(len(x) + len(y)) < len(x), [""] * (len(x) + len(y))),
        float(np.nan_to_num(se)),
        min(max(float(a.variance / (a.variance + b.variance)), 1e-3), 1 - 1e-3),
        (len(x) - 1, len(y) - 1),
        ranks.reasons,
    )


def _ends(lives: Sequence[Life]) -> tuple[Array, NDArray[np.bool_]]:
    """Middles of the intervals and survivors' bounds, on the log scale; and which dulled."""
    failed = np.array([not life.survived for life in lives])
    values = [math.log(life.last_pass_cuts) if life.survived else middle(life) for life in lives]
    return np.array(values, dtype=float), failed


def as_values(lives: Sequence[Life], loads: Mapping[str, str]) -> list[Observation]:
    """Lives as values: the middle of each interval on the log scale, a survivor as a bound.

    An edge dull at its first probe counts as half of it. The interval's width is in `u`: that of
    a value anywhere in it, on the log scale, with the same chance.
    """
    return [
        Observation(
            life.group, life.specimen,
            life.last_pass_cuts if life.survived else math.exp(middle(life)),
            loads.get(life.specimen, ""), _u(life), RIGHT if life.survived else "",
        )
        for life in lives
    ]  # fmt: skip


def _u(life: Life) -> float:
    if life.survived or life.exact:
        return 0.0
    low = life.last_pass_cuts or life.first_fail_cuts / 4
    return math.exp(middle(life)) * math.log(life.first_fail_cuts / low) / math.sqrt(12)


def independent(data: StudyData) -> bool:
    """Whether blades count one by one: one furnace load for all of them, or one for each."""
    unit = layout(data).unit
    loads = Counter(seen.load for seen in data.observations)
    return unit == BLADE or (unit == LOAD and max(loads.values()) == 1)


def _compared(
    test: _Test, groups: dict[str, list[Life]], p_adjusted: float, within: bool, family: int,
    margin: float, stated_cv: float | None,
) -> LifeComparison:  # fmt: skip
    one, two = (groups[name] for name in test.pair)
    lenders = [lives for name, lives in groups.items() if name not in test.pair]
    ratio = median_ratio(one, two, level=1 - LEVEL / family, lenders=lenders)
    shown = p_adjusted <= LEVEL and not ratio.low <= 1 <= ratio.high
    if within and not shown:
        narrow = median_ratio(one, two, level=1 - 2 * LEVEL / family, lenders=lenders)
        within = 1 / margin <= narrow.low and narrow.high <= margin
    kind = SHOWN if shown else RULED_OUT if within else CANNOT_TELL
    hidden = None
    if alike([*one, *two]):
        hidden = missed(list(groups.values()), min(len(one), len(two)), stated_cv)
    return LifeComparison(
        *test.pair, ratio, test.p, p_adjusted, kind, test.detectable(LEVEL / family), hidden,
        (*ratio.reasons, *test.reasons),
    )  # fmt: skip


def _untold(pair: tuple[str, str], groups: dict[str, list[Life]]) -> LifeComparison:
    nothing = Estimate("ratio of median lives", math.nan, 0.0, math.inf, 0.95, "1", "none")
    reasons = tuple(
        Reason("no_lives", f"Group {name} has no edge life that counts.")
        for name in pair
        if name not in groups
    )
    return LifeComparison(*pair, nothing, math.nan, math.nan, CANNOT_TELL, None, None, reasons)
