"""What the maker reads of how responses go together, blade by blade."""

import math
from collections.abc import Sequence

from rig.study.statistics.agreement import Agreement
from rig.study.statistics.phrases import begin, many


def agreement(told: Agreement, one: str, two: str) -> str:
    """Do two responses go together?"""
    if told.rank is None or told.rank_low is None or told.rank_high is None:
        return f"{begin(one)} and {two}: {' '.join(reason.text for reason in told.reasons)}"
    text = (
        f"{begin(one)} and {two} on {many(told.blades, 'blade')}: rank correlation "
        f"{_share(told.rank)} ({_share(told.rank_low)} to {_share(told.rank_high)})."
    )
    return " ".join([text, *(reason.text for reason in told.reasons)])


def _share(value: float) -> str:
    """Two places, and never -0.00; just short of 1 is not 1."""
    if 0.995 <= abs(value) < 1:
        return f"{math.copysign(min(abs(value), 0.999), value):.3f}"
    return f"{round(value, 2) + 0.0:.2f}"


def agreements(found: Sequence[tuple[Agreement, str, str]]) -> list[str]:
    """What the correlations are, those that say something, and how many say nothing.

    Args:
        found: each with the names of its two responses, at a level that holds for all together.
    """
    saying = [one for one in found if one[0].says]
    if not saying:
        return [_nothing(found)]
    rest = len(found) - len(saying)
    left = [f"Of the other {many(rest, 'pair')} not even the sign can be told."] if rest else []
    return [_what(len(found)), *(agreement(*one) for one in saying), *left]


def _nothing(found: Sequence[tuple[Agreement, str, str]]) -> str:
    blades = sorted({told.blades for told, *_ in found})
    on = many(blades[-1], "blade") if len(blades) == 1 else f"{blades[0]} to {blades[-1]} blades"
    pairs = (
        "1 pair of responses was" if len(found) == 1 else f"{len(found)} pairs of responses were"
    )
    return (
        f"Do responses go together, blade by blade? {pairs} looked at, on {on}, and not even the "
        "sign of a rank correlation can be told (95 % confidence, all pairs together). That does "
        "not show that they are unrelated."
    )


def _what(pairs: int) -> str:
    """What the correlations are, and what looking at `pairs` of them does to their intervals."""
    text = (
        "A rank correlation is 1 when blades stand in the same order in both, -1 when in opposite "
        "order, 0 when neither order tells of the other. These are estimates and prove no cause: "
        "blades of all groups are taken together, so what the groups differ by is in them."
    )
    if pairs == 1:
        return f"{text} One pair was looked at; its interval holds with 95 % confidence."
    return (
        f"{text} {pairs} pairs were looked at. At 95 % each, one interval in 20 would leave out 0 "
        f"by chance alone: of {pairs}, about {pairs / 20:.2g} on average. So they are made wider, "
        "to hold all together with 95 % confidence "
        f"({100 * (1 - 0.05 / pairs):.4g} % each)."
    )
