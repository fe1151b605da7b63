"""What the maker reads: one plain sentence or two for each result.

"No difference" is never said: either a difference is shown, or one above the margin is ruled out,
or the study cannot tell, and then it says what it would have found.
"""

import math
from collections.abc import Sequence

from rig.study.answers.side_words import scatter
from rig.study.statistics.bounded import CensoredComparison
from rig.study.statistics.compare import Comparison
from rig.study.statistics.data import LOG, MORE, NEITHER, Response
from rig.study.statistics.parity import EQUAL, UNEQUAL, Parity
from rig.study.statistics.phrases import (
    HOPELESS,
    MOST,
    TWICE,
    about,
    amount,
    are,
    begin,
    many,
    size,
    span,
)
from rig.study.statistics.units import BLADE, BLADE_IN_LOAD, LOAD, PAIR_IN_LOAD, Layout
from rig.study.statistics.verdict import RULED_OUT, SHOWN

COUNTED = {
    BLADE: "",
    LOAD: "{units} counted: blades of one load are no proof of their recipe one by one.",
    BLADE_IN_LOAD: "Blades are compared within their furnace load.",
    PAIR_IN_LOAD: "Each furnace load that holds both groups gives one difference.",
}


def counted(layout: Layout) -> str:
    """What the statements rest on."""
    trials = sum(group.trials for group in layout.groups)
    blades = sum(group.blades for group in layout.groups)
    units = sum(group.units for group in layout.groups)
    if trials == blades:
        start = f"{many(blades, 'blade')}, one trial{' each' * (blades > 1)}."
        return f"{start} {COUNTED[layout.unit].format(units=are(units, 'furnace load'))}".strip()
    start = f"{many(trials, 'trial')} on {many(blades, 'blade')}, averaged within each blade first."
    rest = COUNTED[layout.unit] or f"{are(blades, 'blade')} counted, not the trials."
    return f"{start} {rest.format(units=are(units, 'furnace load'))}"


def comparison(told: Comparison, response: Response) -> str:
    """One group against another, verdict first."""
    found = f"The means differ: {amount(response, told.effect)}. That is no proof."
    if math.isfinite(told.low):
        found = estimated(response, told.effect, told.low, told.high, told.alone)
    parts = [
        verdict(told, response, told.effect),
        found if math.isfinite(told.effect) else "",
        *further(told, response),
        found_by(told, response),
    ]
    return " ".join(part for part in parts if part)


def verdict(told: Comparison | CensoredComparison, response: Response, far: float) -> str:
    """The verdict on two groups with its direction: "B against A: difference shown, B better."

    Args:
        far: the estimate, or the end of its interval where that is open.
    """
    way = which_way(told.verdict, far, response)
    direction = f", {told.group} {way}" if way else ""
    return f"{told.group} against {told.against}: {told.verdict}{direction}."


def further(told: Comparison | CensoredComparison, response: Response) -> list[str]:
    """What must be said of two groups beside verdict, estimate and what would have been found."""
    return [
        of_differences(told, response),
        *(reason.text for reason in told.reasons),
        of_these_loads(told, response),
    ]


def of_differences(told: Comparison | CensoredComparison, response: Response) -> str:
    """What is counted where differences within furnace loads are."""
    if told.differences is None:
        return ""
    count, sd = told.differences.count, told.differences.scatter
    return (
        f"It rests on {many(count, 'difference')} within furnace loads, which scatter by "
        f"{scatter(sd, response)}."
    )


def estimated(
    response: Response, effect: float, low: float, high: float, alone: bool = False,
    seen: str = "",
) -> str:  # fmt: skip
    """Estimate and interval, as far as they are known.

    Args:
        alone: it holds for this comparison by itself, not for all together.
        seen: what the bounds alone say, in words.
    """
    bounds = span(response, low, high)
    sure = f"with 95 % confidence{', for this comparison alone,' * alone} {bounds}"
    middle = f"estimate {amount(response, effect, half(low, high))}"
    told = [seen] if seen else []
    told += [middle] if math.isfinite(effect) else []
    if not told and not (math.isfinite(high) or low > 0):
        return ""
    return f"{begin(response.name)}: {'; '.join([*told, sure])}."


def half(low: float, high: float) -> float:
    """Half of an interval; 0 where an end is open."""
    return (high - low) / 2 if math.isfinite(high - low) else 0.0


def of_these_loads(told: Comparison | CensoredComparison, response: Response) -> str:
    """What the blades of two loads say of these loads, where they can say nothing of recipes."""
    if told.loads_differ is None:
        return ""
    found = told.loads_differ
    whose = (
        f"Of these two loads only: that of {told.group} gave"
        if found.known
        else f"Of these blades only, whatever loads they came from: those of {told.group} gave"
    )
    return (
        f"{whose} {amount(response, found.effect, half(found.low, found.high))}; with 95 % "
        f"confidence {span(response, found.low, found.high)}. Other loads of the same recipes may "
        "differ otherwise."
    )


def one_load_each(response: Response, unknown: Sequence[str] = ()) -> str:
    """The answer where each group had one furnace load, or counts as one because none is known.

    Args:
        unknown: groups no load of which is on record.
    """
    why = "each group had one load: a difference between recipes is a difference between loads"
    if unknown:
        why = (
            f"no load of {' or of '.join(unknown)} is on record: a difference between recipes may "
            "be one between loads"
        )
    return (
        f"{begin(response.name)}: cannot tell recipes from furnace loads, because {why}. This is "
        "not the same as no difference. Two loads or more of each recipe, or loads that hold "
        "every recipe, could tell."
    )


def which_way(verdict: str, effect: float, response: Response) -> str:
    """Better or worse (higher or lower where neither counts as that) where a difference is shown;
    "" where none is."""
    if verdict != SHOWN or not math.isfinite(effect):
        return ""
    more = effect > (1 if response.scale == LOG else 0)
    if response.better == NEITHER:
        return "higher" if more else "lower"
    return "better" if more == (response.better == MORE) else "worse"


def found_by(told: Comparison, response: Response) -> str:
    """What such a study would find; nothing where a difference above the margin is ruled out, and
    a warning where a difference is shown that most such studies would miss."""
    if told.verdict == RULED_OUT:
        return ""
    text = could_find(told.detectable, response, told.detectable_upper)
    return f"{text} {LUCKY}" if lucky(told, response) else text


LUCKY = "That it was found all the same may be luck: what is found so tends to be shown too large."
"""Gelman and Carlin 2014, errors of magnitude (from memory)."""


def lucky(told: Comparison | CensoredComparison, response: Response) -> bool:
    """Whether a difference is shown that fewer than 80 of 100 such studies would find."""
    if told.verdict != SHOWN or told.detectable is None or not math.isfinite(told.effect):
        return False
    return abs(response.inward(told.effect)) < abs(response.inward(told.detectable))


def could_find(
    detectable: float | None, response: Response, upper: float | None = None, pairs: int = 1
) -> str:
    """The smallest difference the study would have found, in every one of `pairs` comparisons.

    `upper`: the same at the scatter's upper limit, which holds in four of five studies.
    """
    if detectable is None:
        return "What difference this study would have found cannot be said."
    if response.scale == LOG and detectable > MOST:
        return f"At this scatter even a true difference of a factor of {MOST} may stay hidden."
    seen = about(response, detectable)
    whichever, in_one = (" whichever the pair", " in one of them") if pairs > 1 else ("", "")
    much = f"a true difference of {seen} would be found"
    if response.scale == LOG and detectable >= TWICE:
        much = f"one group must reach {seen} the other to be told apart"
    text = (
        f"At this scatter {much} in 80 of 100 such studies{whichever}; a smaller difference easily "
        f"stays hidden{in_one}."
    )
    if upper is None or about(response, upper) == seen:
        return text
    if response.scale == LOG and upper > HOPELESS:
        return f"{text} So few blades tell the scatter only roughly: it may take far more."
    return (
        f"{text} So few blades tell the scatter only roughly: it may take up to "
        f"{about(response, upper)}."
    )


def yardsticks(response: Response) -> str:
    """The two sizes that were stated before the trials, told apart."""
    matters, margin = (size(response, value) for value in (response.smallest, response.margin))
    text = (
        f"Stated before the trials: a difference of {matters} matters; one below the margin of "
        f"{margin} counts as none."
    )
    if response.margin > response.smallest:
        text += (
            f" The margin is the wider of the two: ruled out above {margin} still leaves room for "
            f"the {matters} that matter."
        )
    return f"{text} {better(response)}"


def better(response: Response) -> str:
    """Which way the response is better, and why where that is not the usual way."""
    why = f", because {response.better_because}" if response.better_because else ""
    if response.better == NEITHER:
        return f"Neither more nor less of it counts as better{why}."
    return f"{begin(response.better)} of it counts as better{why}."


def one_settles(responses: int, primary: str) -> str:
    """What several responses do to a difference shown in one of them."""
    if responses < 2:
        return ""
    return (
        f"{responses} responses were looked at, each with its own risk of 5 % that a difference is "
        f"shown where there is none. Only {primary} was named beforehand to settle the question: "
        "a difference in another is a lead for the next study."
    )


def parity(told: Parity) -> str:
    """Did the groups start equal, and what follows."""
    response = told.result.response
    margin = size(response, response.margin)
    if told.state == EQUAL:
        groups = len(told.result.layout.groups)
        each = "" if groups < 3 else ", each of them against each other"
        return f"{begin(response.name)}: the groups started equal within {margin}{each}."
    named = "" if len(told.result.comparisons) < 2 else f" ({_pairs(told.apart)})"
    found = told.result
    consequence = (
        "Later differences may come from that start and not from the treatment: make the groups "
        "equal, or compare at equal values."
    )
    if told.state == UNEQUAL:
        return f"{begin(response.name)}: the groups did not start equal{named}. {consequence}"
    return (
        f"{begin(response.name)}: it is not shown that the groups started equal within {margin}"
        f"{named}. "
        f"{consequence} "
        f"{could_find(found.detectable, response, found.detectable_upper, len(found.comparisons))}"
    )


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return "; ".join(f"{group} against {against}" for group, against in pairs)
