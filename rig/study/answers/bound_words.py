"""What the maker reads of comparisons with bounds: survivors, edge lives, rates of failure."""

import math

from rig.study.answers.words import LUCKY, could_find, estimated, further, lucky, verdict
from rig.study.statistics.bounded import CensoredComparison
from rig.study.statistics.data import Response
from rig.study.statistics.phrases import TWICE, amount, from_on, percent, roughly, up_to
from rig.study.statistics.rates import Rate
from rig.study.statistics.reach import Reach
from rig.study.statistics.verdict import RULED_OUT


def survivors(told: CensoredComparison, response: Response) -> str:
    """One group against another when some values are bounds."""
    found = ""
    if told.low > 0 or math.isfinite(told.high):
        found = estimated(response, told.effect, told.low, told.high, seen=as_seen(told, response))
    elif math.isfinite(told.effect):
        found = f"The means differ: {amount(response, told.effect)}. That is no proof."
    parts = [
        verdict(told, response, far(told)), found, *further(told, response), shape(told),
        open_by(told, response),
    ]  # fmt: skip
    return " ".join(part for part in parts if part)


def far(told: CensoredComparison) -> float:
    """The estimate, or where it is open the end of the interval that tells its direction."""
    return told.effect if math.isfinite(told.effect) else told.low if told.low > 1 else told.high


def as_seen(told: CensoredComparison, response: Response) -> str:
    """What the bounds alone say of these blades; "" without bounds, or where they say nothing."""
    if told.at_least is not None:
        return f"in these blades {from_on(response, told.at_least)}"
    if told.at_most is not None:
        return f"in these blades {up_to(response, told.at_most)}"
    return ""


def shape(told: CensoredComparison) -> str:
    """What a far end rests on that no value has reached; "" where one has, or where it is open."""
    if not told.mostly_bounds or not math.isfinite(told.effect):
        return ""
    if not (told.low > 0 and math.isfinite(told.high)):
        return ""
    return (
        "Beyond the bounds nothing was measured: estimate and far end rest on the assumed "
        "(log-normal) shape of the scatter."
    )


def open_by(told: CensoredComparison, response: Response) -> str:
    """One figure only: what would have been found, or what lives without scatter leave open."""
    if told.missed is not None:
        return may_hide(told.missed)
    if told.verdict == RULED_OUT:
        return ""
    if told.detectable is not None:
        text = could_find(told.detectable, response, told.detectable_upper)
        return f"{text} {LUCKY}" if lucky(told, response) else text
    same = told.reach.reasons and told.reach.reasons == told.reasons
    return "" if same else could_reach(told.reach, response)


def may_hide(ratio: float) -> str:
    """What equal lives leave open, as a ratio."""
    much = f"{percent(ratio)} longer than" if ratio < TWICE else f"{roughly(ratio)} times"
    return (
        "All edges of both groups went dull between the same two probes. That does not make their "
        f"lives equal: at the scatter taken, the true life of one may be up to {much} that of the "
        "other (95 % confidence)."
    )


def could_reach(told: Reach, response: Response) -> str:
    """The smallest difference a study with survivors would have found, each way."""
    if told.reasons:
        return " ".join(reason.text for reason in told.reasons)
    ways = [("lower", told.weaker), ("higher", told.stronger)]
    found = [
        amount(response, value if way == "higher" else 1 / value, 0.1 * value)
        for way, value in ways
        if value is not None
    ]
    hidden = [way for way, value in ways if value is None]
    parts = []
    if found:
        parts.append(
            f"At this scatter a true difference of {' or '.join(found)} would be found in 80 of "
            "100 such studies. So few failures tell the scatter only roughly: it may take far more."
        )
    if hidden:
        parts.append(
            f"A group {' or '.join(hidden)}, however much, would be found in fewer than 80 of 100 "
            f"such studies: {told.why}."
        )
    return " ".join(parts)


def rate(told: Rate) -> str:
    """What a count of failures still allows."""
    start = f"{told.group}: {told.failed} of {told.units} failed."
    if told.failed == 0:
        return f"{start} The rate is at most {told.upper:.0%} (95 % confidence, this side alone)."
    if told.failed == told.units:
        return f"{start} The rate is at least {told.lower:.0%} (95 % confidence, this side alone)."
    return f"{start} The rate is {told.low:.0%} to {told.high:.0%} (95 % confidence, both sides)."
