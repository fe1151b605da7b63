"""What the maker reads of how responses go together, blade by blade."""

from rig.study.agreement import Agreement
from rig.study.phrases import begin, many


def agreement(told: Agreement, one: str, two: str) -> str:
    """Do two responses go together?"""
    if told.rank is None or told.rank_low is None or told.rank_high is None:
        return f"{begin(one)} and {two}: {' '.join(reason.text for reason in told.reasons)}"
    text = (
        f"{begin(one)} and {two} on {many(told.blades, 'blade')}: rank correlation "
        f"{_share(told.rank)} ({_share(told.rank_low)} to {_share(told.rank_high)})."
    )
    if told.rank_low < 0 < told.rank_high:
        text += " Even its sign is open."
    return " ".join([text, *(reason.text for reason in told.reasons)])


def _share(value: float) -> str:
    """Two places, and never -0.00."""
    return f"{round(value, 2) + 0.0:.2f}"


def agreements(pairs: int) -> str:
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
