"""Words beside the verdicts: where the scatter comes from, staircases, capability."""

import math
from collections.abc import Sequence

from rig.measure.staircase import Estimate
from rig.measure.staircase.threshold import StairComparison
from rig.study.statistics.anova import Components
from rig.study.statistics.capability import Capability
from rig.study.statistics.data import LOG, Response
from rig.study.statistics.phrases import number, probability, size


def components(told: Components, response: Response) -> str:
    """Where the scatter comes from; measurement apart from it."""
    known = [(c.level, c.sd) for c in told.levels if c.sd is not None]
    parts = [
        f"of {level}s {scatter(sd, response) if sd > 0 else _none_seen(known[i + 1 :])}"
        for i, (level, sd) in enumerate(known)
    ]
    u = scatter(told.u_measured, response) if told.u_measured > 0 else "not on record"
    measured = f"Standard uncertainty of measurement (k = 1): {u}."
    if not parts:
        return f"The scatter cannot be judged. {measured}"
    return f"Scatter (standard deviation) {', '.join(parts)}. {measured}"


def _none_seen(below: Sequence[tuple[str, float]]) -> str:
    """A scatter that comes out as 0 is no scatter of 0: what lies below it hides it."""
    seen = next((f"that of {level}s" for level, sd in below if sd > 0), "the measurement")
    return f"none seen beyond {seen}"


def scatter(sd: float, response: Response) -> str:
    """A standard deviation on the scale of analysis, in words."""
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
