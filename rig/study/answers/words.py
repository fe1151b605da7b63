"""What the maker reads: one plain sentence or two for each result.

"No difference" is never said: either a difference is shown, or one above the margin is ruled out,
or the study cannot tell, and then it says what it would have found.
"""

import math
from collections.abc import Sequence

from rig.measure.staircase import Estimate
from rig.measure.staircase.threshold import StairComparison
from rig.study.statistics.anova import Components
from rig.study.statistics.capability import Capability
from rig.study.statistics.censored import CensoredComparison
from rig.study.statistics.compare import Comparison
from rig.study.statistics.data import LOG, MORE, NEITHER, Response
from rig.study.statistics.parity import EQUAL, UNEQUAL, Parity
from rig.study.statistics.phrases import (
    MOST,
    amount,
    are,
    begin,
    many,
    number,
    probability,
    size,
    span,
)
from rig.study.statistics.units import BLADE, BLADE_IN_LOAD, LOAD, PAIR_IN_LOAD, Layout
from rig.study.statistics.verdict import SHOWN

COUNTED = {
    BLADE: "{blades} counted, not the trials.",
    LOAD: "{units} counted: blades of one load are no proof of their recipe one by one.",
    BLADE_IN_LOAD: "Blades are compared within their furnace load.",
    PAIR_IN_LOAD: "Each furnace load that holds both groups gives one difference.",
}


def counted(layout: Layout) -> str:
    """What the statements rest on."""
    trials = sum(group.trials for group in layout.groups)
    blades = sum(group.blades for group in layout.groups)
    units = sum(group.units for group in layout.groups)
    start = f"{many(trials, 'trial')} on {many(blades, 'blade')}, averaged within each blade first."
    told = {"units": are(units, "furnace load"), "blades": are(blades, "blade")}
    return f"{start} {COUNTED[layout.unit].format(**told)}"


def comparison(told: Comparison, response: Response) -> str:
    """One group against another, verdict first."""
    pair = f"{told.group} against {told.against}"
    parts = [f"{pair}: {told.verdict}."]
    if math.isfinite(told.low):
        parts.append(estimated(response, told.effect, told.low, told.high, told.alone))
    elif math.isfinite(told.effect):
        parts.append(f"The means differ: {amount(response, told.effect)}. That is no proof.")
    parts.append(which_way(told.group, told.verdict, told.effect, response))
    parts += [reason.text for reason in told.reasons]
    parts.append(of_these_loads(told, response))
    parts.append(could_find(told.detectable, response, told.detectable_upper))
    return " ".join(part for part in parts if part)


def estimated(
    response: Response, effect: float, low: float, high: float, alone: bool = False
) -> str:
    """Estimate and interval, as far as they are known.

    Args:
        alone: it holds for this comparison by itself, not for all together.
    """
    bounds = span(response, low, high)
    sure = f"with 95 % confidence{', for this comparison alone,' * alone} {bounds}"
    if math.isfinite(effect):
        middle = amount(response, effect, half(low, high))
        return f"{begin(response.name)} is {middle}; {sure}."
    if math.isfinite(high) or low > 0:
        return f"With 95 % confidence {response.name} is {bounds}."
    return ""


def half(low: float, high: float) -> float:
    """Half of an interval; 0 where an end is open."""
    return (high - low) / 2 if math.isfinite(high - low) else 0.0


def of_these_loads(told: Comparison | CensoredComparison, response: Response) -> str:
    """What the blades of two loads say of these loads, where they can say nothing of recipes."""
    if told.loads_differ is None:
        return ""
    effect, low, high = told.loads_differ
    return (
        f"Of these two loads only: that of {told.group} gave "
        f"{amount(response, effect, half(low, high))}; with 95 % confidence "
        f"{span(response, low, high)}. Other loads of the same recipes may differ otherwise."
    )


def one_load_each(response: Response) -> str:
    """The answer where each group had one furnace load, or none is known."""
    return (
        f"{begin(response.name)}: cannot tell recipes from furnace loads, because each group had "
        "one load, as far as is known: a difference between recipes is a difference between "
        "loads. This is not the same as no difference. Two loads or more of each recipe, or "
        "loads that hold every recipe, could tell."
    )


def which_way(group: str, verdict: str, effect: float, response: Response) -> str:
    """Better or worse, where a difference is shown."""
    if verdict != SHOWN or not math.isfinite(effect) or response.better == NEITHER:
        return ""
    more = effect > (1 if response.scale == LOG else 0)
    return f"{group} is {'better' if more == (response.better == MORE) else 'worse'} in this."


def could_find(
    detectable: float | None, response: Response, upper: float | None = None, pairs: int = 1
) -> str:
    """The smallest difference the study would have found, in every one of `pairs` comparisons.

    `upper`: the same at the scatter's upper limit.
    """
    if detectable is None:
        return "What difference this study would have found cannot be said."
    if response.scale == LOG and detectable > MOST:
        return f"At this scatter even a true difference of a factor of {MOST} may stay hidden."
    seen = size(response, detectable)
    whichever, in_one = (" whichever the pair", " in one of them") if pairs > 1 else ("", "")
    text = (
        f"At this scatter a true difference of {seen} would be found in 80 of 100 such studies"
        f"{whichever}; a smaller one easily stays hidden{in_one}."
    )
    if upper is None or size(response, upper) == seen:
        return text
    return (
        f"{text} So few blades tell the scatter only roughly: it may have taken up to "
        f"{size(response, upper)} (enough in 4 of 5 such studies)."
    )


def yardsticks(response: Response) -> str:
    """The two sizes that were stated before the trials, told apart."""
    matters, margin = (size(response, value) for value in (response.smallest, response.margin))
    text = (
        f"Stated before the trials: a difference of {matters} matters; one below the margin of "
        f'{margin} counts as none, and "ruled out" speaks of differences above that margin only.'
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


def components(told: Components, response: Response) -> str:
    """Where the scatter comes from; measurement apart from it."""
    known = [(c.level, c.sd) for c in told.levels if c.sd is not None]
    parts = [
        f"of {level}s {_scatter(sd, response) if sd > 0 else _none_seen(known[i + 1 :])}"
        for i, (level, sd) in enumerate(known)
    ]
    u = _scatter(told.u_measured, response) if told.u_measured > 0 else "not on record"
    measured = f"Standard uncertainty of measurement (k = 1): {u}."
    if not parts:
        return f"The scatter cannot be judged. {measured}"
    return f"Scatter (standard deviation) {', '.join(parts)}. {measured}"


def _none_seen(below: Sequence[tuple[str, float]]) -> str:
    """A scatter that comes out as 0 is no scatter of 0: what lies below it hides it."""
    seen = next((f"that of {level}s" for level, sd in below if sd > 0), "the measurement")
    return f"none seen beyond {seen}"


def _scatter(sd: float, response: Response) -> str:
    if response.scale == LOG and sd > 2:
        return size(response, response.outward(sd))
    if response.scale == LOG:
        return f"{100 * math.sqrt(math.expm1(sd * sd)):.2g} %"
    return f"{number(sd)} {response.unit}"


def staircase(told: Estimate, unit: str) -> str:
    """The level at which half fail."""
    if told.mean is None:
        return told.reasons[0].text
    text = f"Half fail at {number(told.mean)} {unit} ({told.method}"
    if told.low is not None and told.high is not None:
        text += f"; 95 %: {number(told.low)} to {number(told.high)} {unit}"
    text += ")."
    if told.sd is not None:
        text += f" Scatter {number(told.sd)} {unit}."
    return " ".join([text, *(reason.text for reason in told.reasons)])


def stairs(group: str, against: str, told: StairComparison, unit: str) -> str:
    """Two staircases, drop by drop."""
    start = f"{group} against {against}, one staircase each, drop by drop:"
    reasons = " ".join(reason.text for reason in told.reasons)
    if told.difference is None:
        return f"{start} not determined. {reasons}"
    way = "more" if told.difference >= 0 else "less"
    text = f"{start} half fail at {number(abs(told.difference))} {unit} {way}"
    if told.p is not None:
        text += f" (p {probability(told.p)}, by likelihood ratio)"
    return f"{text}. Beside the verdict, not in its place. {reasons}".strip()


def capability(told: Capability, unit: str) -> str:
    """Can the rig tell the blades apart?"""
    same, between = (
        f"{number(sd)} {unit}".strip() if sd > 0 else "none seen beyond the rest"
        for sd in (told.repeatability, told.reproducibility)
    )
    text = (
        f"Same blade, same hands: scatter {same}. Between hands: {between}. Both "
        f"make up {told.contribution(told.gauge):.0%} of all variance seen."
    )
    return " ".join([text, *(reason.text for reason in told.reasons)])
