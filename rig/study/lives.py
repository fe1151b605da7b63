"""Compare groups by edge lives known as intervals: the blade is the unit, a survivor a bound.

A difference is shown when two answers agree: the permutation test of log-rank scores (Holm over
the comparisons) and the interval of the ratio of medians, which must leave 1 out at the level that
holds for all comparisons together. One above the margin is ruled out when the interval for two
one-sided tests lies within the margin either way.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from rig.measure.budget import Reason
from rig.measure.life import (
    Estimate,
    Family,
    Life,
    by_group,
    fit,
    group_test,
    median_ratio,
    smallest_ratio,
    still_possible,
)
from rig.study.multiple import holm
from rig.study.record import StudyRecord
from rig.study.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN, overall

# Scatter of lives that is assumed where a study has none of its own; common practice, no source.
USUAL_CV, USUAL_DOF = 0.15, 9


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


def compare_lives(lives: Sequence[Life], record: StudyRecord, margin: float) -> LifeResult:
    """Every group against the control, or all pairs when there is none.

    Args:
        lives: one a blade.
        record: the study, for its groups and furnace loads.
        margin: a ratio of lives below this counts as none.
    """
    groups = by_group(lives)
    names = [group.name for group in record.group if group.name in groups]
    control = record.control
    pairs = (
        [(name, control) for name in names if name != control]
        if control in names
        else [(b, a) for a, b in combinations(names, 2)]
    )
    reasons = [*_absent(record, groups), *_loads(record, lives)]
    if any(reason.name == "loads" for reason in reasons):
        pairs_told = [_untold(pair, reasons[-1]) for pair in pairs]
        return LifeResult(tuple(lives), tuple(pairs_told), CANNOT_TELL, tuple(reasons))
    tests = [group_test([*groups[a], *groups[b]]) for a, b in pairs]
    known = [test.p_value for test in tests if math.isfinite(test.p_value)]
    adjusted = iter(holm(known))
    told = []
    for pair, test in zip(pairs, tests, strict=True):
        p = float(next(adjusted)) if math.isfinite(test.p_value) else math.nan
        told.append(_compared(pair, groups, (test.p_value, p), len(pairs), margin, test.reasons))
    return LifeResult(tuple(lives), tuple(told), overall([c.verdict for c in told]), tuple(reasons))


def _compared(
    pair: tuple[str, str], groups: dict[str, list[Life]], p: tuple[float, float], family: int,
    margin: float, reasons: tuple[Reason, ...],
) -> LifeComparison:  # fmt: skip
    one, two = groups[pair[0]], groups[pair[1]]
    lenders = [lives for name, lives in groups.items() if name not in pair]
    ratio = median_ratio(one, two, level=1 - LEVEL / family, lenders=lenders)
    shown = p[1] <= LEVEL and not ratio.low <= 1 <= ratio.high
    narrow = median_ratio(one, two, level=1 - 2 * LEVEL / family, lenders=lenders)
    within = 1 / margin <= narrow.low and narrow.high <= margin
    kind = SHOWN if shown else RULED_OUT if within else CANNOT_TELL
    detectable, missed = _reach(list(groups.values()), min(len(one), len(two)), len(groups))
    return LifeComparison(
        *pair, ratio, *p, kind, detectable, None if shown else missed, (*ratio.reasons, *reasons)
    )


def _reach(groups: list[list[Life]], blades: int, number: int) -> tuple[float | None, float | None]:
    """Ratio that would have been found, and one that may hide behind equal results."""
    probe_ratio = _probe_ratio([life for lives in groups for life in lives])
    dof = sum(len(lives) - 1 for lives in groups)
    past = math.sqrt(math.log1p(USUAL_CV**2))
    sd = _scatter(groups) if dof > 0 else None
    detectable = None
    if sd is not None and blades >= 2:
        detectable = smallest_ratio(blades, sd, probe_ratio, groups=number).ratio
    # Lives that tie in one interval show no scatter: then the usual one is what is known.
    known = (sd, float(dof)) if sd is not None else (past, float(USUAL_DOF))
    return detectable, still_possible(blades, known[0], known[1], probe_ratio)


def _scatter(groups: list[list[Life]]) -> float | None:
    """Common standard deviation of ln(life) within the groups; None when it cannot be told."""
    logs = [[_middle(life) for life in lives if not life.survived] for lives in groups]
    squares = sum(sum((x - sum(own) / len(own)) ** 2 for x in own) for own in logs if own)
    dof = sum(len(own) - 1 for own in logs if own)
    if dof <= 0 or squares == 0:
        return None
    return math.sqrt(squares / dof)


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


def _absent(record: StudyRecord, groups: dict[str, list[Life]]) -> list[Reason]:
    return [
        Reason("no_lives", f"Group {group.name} has no edge life yet.")
        for group in record.group
        if group.name not in groups
    ]


def _loads(record: StudyRecord, lives: Sequence[Life]) -> list[Reason]:
    """Blades of one furnace load are no independent trials of its recipe."""
    loads: dict[str, set[str]] = {}
    tested = {life.specimen for life in lives}
    for blade in record.blade:
        if blade.name in tested and blade.load:
            loads.setdefault(blade.load, set()).add(blade.group)
    several = len(loads) > 1
    if several and all(len(groups) == 1 for groups in loads.values()):
        text = (
            "Each furnace load holds one group only: group cannot be told from load by these "
            "lives, so no statement about groups is made from them."
        )
        return [Reason("loads", text)]
    return []


def _untold(pair: tuple[str, str], reason: Reason) -> LifeComparison:
    nothing = Estimate("ratio of median lives", math.nan, 0.0, math.inf, 0.95, "1", "none")
    return LifeComparison(*pair, nothing, math.nan, math.nan, CANNOT_TELL, None, None, (reason,))


def median_of(lives: Sequence[Life]) -> Estimate:
    """Median life of one group with its 95 % interval."""
    return fit(lives, Family.LOGNORMAL).median
