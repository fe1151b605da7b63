"""Compare groups by edge lives known as intervals: the blade is the unit, a survivor a bound.

A difference is shown when two answers agree: the permutation test of log-rank scores (Holm over
the comparisons) and the interval of the ratio of medians, which must leave 1 out at the level that
holds for all comparisons together. One above the margin is ruled out when the interval for two
one-sided tests lies within the margin either way. tests/bench/studying.py counts how often that is
wrong.

Where blades were treated in several furnace loads together, loads or differences within loads are
what counts; interval-censored models know nothing of loads, so such lives go the way of values:
`as_values`.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from rig.measure.budget import Reason
from rig.measure.life import (
    Estimate,
    Life,
    by_group,
    group_test,
    log_sd_of,
    median_ratio,
    smallest_ratio,
    still_possible,
)
from rig.study.data import RIGHT, Observation, StudyData
from rig.study.multiple import holm
from rig.study.units import BLADE, LOAD, layout
from rig.study.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN, overall

# Scatter of lives that is taken where a study has none of its own and states none; common
# practice, no source. It counts as known from ten blades.
USUAL_CV, USUAL_DOF = 0.15, 9
TIED = 1e-12  # squares of logarithms that are rounding


@dataclass(frozen=True)
class LifeComparison:
    """One group's lives against another's.

    Attributes:
        ratio: of median lives, with the 95 % interval that holds for all comparisons together.
        p, p_adjusted: of the permutation test, alone and in the family.
        detectable: ratio found with 80 % power at the scatter met; None when it has none.
        missed: ratio that may hide behind equal results; None when a difference is shown.
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
    known = [pair for pair in pairs if set(pair) <= set(groups)]
    tests = [group_test([*groups[a], *groups[b]]) for a, b in known]
    finite = [test.p_value for test in tests if math.isfinite(test.p_value)]
    adjusted = iter(holm(finite))
    told = {}
    for pair, test in zip(known, tests, strict=True):
        p = float(next(adjusted)) if math.isfinite(test.p_value) else math.nan
        told[pair] = _compared(
            pair, groups, (test.p_value, p), len(known), margin, test.reasons, stated_cv
        )
    comparisons = tuple(told.get(pair) or _untold(pair, groups) for pair in pairs)
    reasons = _taken(groups, stated_cv) if control or len(names) < 2 else (
        Reason("no_control", "No group is the control: all pairs are compared."),
        *_taken(groups, stated_cv),
    )  # fmt: skip
    return LifeResult(tuple(lives), comparisons, overall([c.verdict for c in comparisons]), reasons)


def as_values(lives: Sequence[Life], loads: Mapping[str, str]) -> list[Observation]:
    """Lives as values: the middle of each interval on the log scale, a survivor as a bound.

    An edge dull at its first probe counts as half of it. The interval's width is in `u`: that of
    a value anywhere in it, on the log scale, with the same chance.
    """
    return [
        Observation(
            life.group, life.specimen,
            life.last_pass_cuts if life.survived else math.exp(_middle(life)),
            loads.get(life.specimen, ""), _u(life), RIGHT if life.survived else "",
        )
        for life in lives
    ]  # fmt: skip


def _u(life: Life) -> float:
    if life.survived or life.exact:
        return 0.0
    low = life.last_pass_cuts or life.first_fail_cuts / 4
    return math.exp(_middle(life)) * math.log(life.first_fail_cuts / low) / math.sqrt(12)


def independent(data: StudyData) -> bool:
    """Whether blades count one by one: one furnace load for all of them, or one for each."""
    unit = layout(data).unit
    loads = Counter(seen.load for seen in data.observations)
    return unit == BLADE or (unit == LOAD and max(loads.values()) == 1)


def _compared(
    pair: tuple[str, str], groups: dict[str, list[Life]], p: tuple[float, float], family: int,
    margin: float, reasons: tuple[Reason, ...], stated_cv: float | None,
) -> LifeComparison:  # fmt: skip
    one, two = groups[pair[0]], groups[pair[1]]
    lenders = [lives for name, lives in groups.items() if name not in pair]
    ratio = median_ratio(one, two, level=1 - LEVEL / family, lenders=lenders)
    shown = p[1] <= LEVEL and not ratio.low <= 1 <= ratio.high
    narrow = median_ratio(one, two, level=1 - 2 * LEVEL / family, lenders=lenders)
    within = 1 / margin <= narrow.low and narrow.high <= margin
    kind = SHOWN if shown else RULED_OUT if within else CANNOT_TELL
    detectable, missed = _reach(list(groups.values()), min(len(one), len(two)), stated_cv)
    return LifeComparison(
        *pair, ratio, *p, kind, detectable, None if shown else missed, (*ratio.reasons, *reasons)
    )


def _reach(
    groups: list[list[Life]], blades: int, stated_cv: float | None
) -> tuple[float | None, float | None]:
    """Ratio that would have been found, and one that may hide behind equal results."""
    found = _scatter(groups)
    if found is None:  # lives that tie in one interval: then the stated or usual scatter is taken
        probe_ratio = _probe_ratio([life for lives in groups for life in lives])
        sd = log_sd_of(stated_cv or USUAL_CV)
        return None, still_possible(blades, sd, USUAL_DOF, probe_ratio)
    sd, dof = found  # of the intervals' middles: it holds what the probes blur
    detectable = smallest_ratio(blades, sd, groups=len(groups)).ratio if blades >= 2 else None
    return detectable, still_possible(blades, sd, dof)


def _taken(groups: dict[str, list[Life]], stated_cv: float | None) -> tuple[Reason, ...]:
    """Which scatter was taken, when these lives show none."""
    if not groups or _scatter(list(groups.values())) is not None:
        return ()
    source = "the study states it" if stated_cv else "usual for lives"
    text = (
        f"These lives show no scatter of their own: {100 * (stated_cv or USUAL_CV):.0f} % is taken "
        f"({source}), as if known from {USUAL_DOF + 1} blades."
    )
    return (Reason("scatter_taken", text),)


def _scatter(groups: list[list[Life]]) -> tuple[float, int] | None:
    """Common standard deviation of ln(life) within the groups, and its degrees of freedom.

    None when it cannot be told. Survivors stay out.
    """
    logs = [[_middle(life) for life in lives if not life.survived] for lives in groups]
    squares = sum(sum((x - sum(own) / len(own)) ** 2 for x in own) for own in logs if own)
    dof = sum(len(own) - 1 for own in logs if own)
    return None if dof <= 0 or squares < TIED else (math.sqrt(squares / dof), dof)


def _middle(life: Life) -> float:
    low = life.last_pass_cuts or life.first_fail_cuts / 2
    return (math.log(low) + math.log(life.first_fail_cuts)) / 2


def _probe_ratio(lives: list[Life]) -> float:
    """Usual ratio of neighbouring probes about a life (geometric mean)."""
    steps = [
        math.log(life.first_fail_cuts / life.last_pass_cuts)
        for life in lives
        if life.last_pass_cuts > 0 and not life.survived
    ]
    return math.exp(sum(steps) / len(steps)) if steps else 1.0


def _untold(pair: tuple[str, str], groups: dict[str, list[Life]]) -> LifeComparison:
    nothing = Estimate("ratio of median lives", math.nan, 0.0, math.inf, 0.95, "1", "none")
    reasons = tuple(
        Reason("no_lives", f"Group {name} has no edge life that counts.")
        for name in pair
        if name not in groups
    )
    return LifeComparison(*pair, nothing, math.nan, math.nan, CANNOT_TELL, None, None, reasons)
