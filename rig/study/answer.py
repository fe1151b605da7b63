"""One answer for each response of a study, whatever kind of values it has."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from rig.errors import RigError
from rig.study import words
from rig.study.agreement import agreement
from rig.study.alternatives import Beside, beside
from rig.study.anova import components
from rig.study.censored import CensoredResult, compare_censored
from rig.study.collect import Collected, Excluded
from rig.study.compare import Result, compare, pairs_of
from rig.study.covariates import Adjustment, adjust
from rig.study.data import LOG, StudyData
from rig.study.lives import LifeResult, compare_lives
from rig.study.parity import Parity, parity
from rig.study.phrases import amount, probability, span
from rig.study.record import ResponseRecord, StudyRecord
from rig.study.units import layout
from rig.study.verdict import CANNOT_TELL, SHOWN


@dataclass(frozen=True)
class Line:
    """One comparison, for a table: in words and with its numbers."""

    group: str
    against: str
    verdict: str
    effect: str
    interval: str
    p: str
    sentence: str


@dataclass(frozen=True)
class Answer:
    """What the study says of one response.

    Attributes:
        verdict: one of the three, or "nothing measured".
        headline: the verdict with what the study would have found, in a sentence or two.
        result: the comparison itself; None when there was nothing to compare.
        lines: comparison by comparison.
        notes: what the statements rest on, scatter, reasons.
        parity: for a response in which the groups should start equal.
        others, adjusted: other tests, and the comparison at equal geometry.
        excluded: trials that do not count, each with why.
    """

    response: ResponseRecord
    verdict: str
    headline: str
    result: Result | CensoredResult | LifeResult | None
    data: StudyData
    lines: tuple[Line, ...] = ()
    notes: tuple[str, ...] = ()
    parity: Parity | None = None
    others: tuple[Beside, ...] = ()
    adjusted: Adjustment | None = None
    excluded: tuple[Excluded, ...] = field(default_factory=tuple)

    def to_dict(self) -> dict[str, Any]:
        """For programs."""
        return {
            "response": self.response.name,
            "verdict": self.verdict,
            "headline": self.headline,
            "comparisons": [vars(line).copy() for line in self.lines],
            "parity": None if self.parity is None else self.parity.state,
            "notes": list(self.notes),
            "excluded": [
                {"trial": e.trial, "run": e.run_id, "reasons": list(e.reasons)}
                for e in self.excluded
            ],
        }


NOTHING = "nothing measured"


def answer(collected: Collected, record: StudyRecord) -> Answer:
    """Compare the groups in one response by the method its values need."""
    data, response = collected.data(record), collected.response
    if response.kind.field == "life":
        told = _by_lives(collected, record, data)
    elif not collected.observations:
        told = _nothing(response, data)
    elif any(seen.censored for seen in data.observations):
        told = _by_bounds(response, data)
    else:
        told = _by_values(response, data)
    return Answer(**{**vars(told), "excluded": tuple(collected.excluded)})


def _nothing(response: ResponseRecord, data: StudyData) -> Answer:
    text = f"{response.kind.title}: no trial counts, so nothing can be said."
    return Answer(response, NOTHING, text, None, data)


def _by_values(response: ResponseRecord, data: StudyData) -> Answer:
    result = compare(data)
    what = data.response
    lines = tuple(
        Line(
            c.group, c.against, c.verdict,
            amount(what, c.effect) if math.isfinite(c.effect) else "unknown",
            span(what, c.low, c.high) if math.isfinite(c.low) else "unknown",
            probability(c.p_adjusted), words.comparison(c, what),
        )
        for c in result.comparisons
    )  # fmt: skip
    others, missing = beside(result.layout, data.control)
    pairs, _ = pairs_of(data)
    notes = [
        words.counted(result.layout),
        words.components(components(result.layout.blades), what),
        *(reason.text for reason in (*result.reasons, *missing)),
    ]
    return Answer(
        response, result.verdict, words.verdict(result), result, data, lines, tuple(notes),
        parity(data) if response.parity else None, others, adjust(data, result.layout, pairs),
    )  # fmt: skip


def _by_bounds(response: ResponseRecord, data: StudyData) -> Answer:
    result, what = compare_censored(data), data.response
    lines = tuple(
        Line(
            c.group, c.against, c.verdict,
            amount(what, c.effect) if math.isfinite(c.effect) else "not determined",
            span(what, c.low, c.high), probability(c.p_adjusted), words.survivors(c, what),
        )
        for c in result.comparisons
    )  # fmt: skip
    reach = " ".join(words.could_reach(c.reach, what) for c in result.comparisons[:1])
    headline = f"{_verdict_words(response, result.verdict, result.comparisons)} {reach}".strip()
    notes = [
        words.counted(result.layout),
        "Some blades survived: their values are bounds, compared as such.",
        *(words.rate(rate) for rate in result.rates),
        *(reason.text for reason in result.reasons),
    ]
    return Answer(response, result.verdict, headline, result, data, lines, tuple(notes))


def _by_lives(collected: Collected, record: StudyRecord, data: StudyData) -> Answer:
    response = collected.response
    if not collected.lives:
        return _nothing(response, data)
    try:
        result = compare_lives(collected.lives, record, response.margin)
    except RigError as error:
        return Answer(response, CANNOT_TELL, f"{response.kind.title}: {error}", None, data)
    lines = tuple(
        Line(
            c.group, c.against, c.verdict,
            amount(data.response, c.ratio.estimate) if math.isfinite(c.ratio.estimate)
            else "not determined",
            span(data.response, c.ratio.low, c.ratio.high), probability(c.p_adjusted),
            _life_sentence(c.group, c.against, c.verdict, c.missed, [r.text for r in c.reasons]),
        )
        for c in result.comparisons
    )  # fmt: skip
    headline = _verdict_words(response, result.verdict, result.comparisons)
    seen = [c.detectable for c in result.comparisons]
    if seen and all(value is not None for value in seen):
        most = max(value for value in seen if value is not None)
        headline += " " + words.could_find(most, data.response)
    elif result.comparisons and (missed := result.comparisons[0].missed) is not None:
        headline += f" True lives may still differ by {missed - 1:.0%}."
    notes = [
        f"{len(result.lives)} blades; a life is known as an interval between two probes, and an "
        "edge still sharp at the end as a bound.",
        *(reason.text for reason in result.reasons),
    ]
    return Answer(response, result.verdict, headline, result, data, lines, tuple(notes))


def _life_sentence(
    group: str, against: str, verdict: str, missed: float | None, reasons: Sequence[str]
) -> str:
    parts = [f"{group} against {against}: {verdict}."]
    if missed is not None:
        parts.append(f"Behind equal results the true lives may still differ by {missed - 1:.0%}.")
    return " ".join([*parts, *(f"{text.rstrip('.').capitalize()}." for text in reasons)])


def _verdict_words(response: ResponseRecord, verdict: str, comparisons: Sequence[Any]) -> str:
    name = response.kind.title
    if verdict == SHOWN:
        shown = ", ".join(c.group for c in comparisons if c.verdict == SHOWN)
        return f"{name}: difference shown ({shown})."
    if verdict == CANNOT_TELL:
        return f"{name}: cannot tell. This is not the same as no difference."
    return f"{name}: difference above the margin ({response.margin - 1:.0%}) ruled out."


def agreements(answers: Sequence[Answer]) -> list[str]:
    """How the responses go together, blade by blade: estimates, never stories."""
    means = {a.response.kind.title: _means(a) for a in answers}
    names = [name for name, of in means.items() if len(of) > 1]
    return [
        words.agreement(agreement(means[one], means[two]), one, two)
        for at, one in enumerate(names)
        for two in names[at + 1 :]
    ]


def _means(told: Answer) -> dict[str, float]:
    """Each blade's value on the scale of analysis; survivors are bounds and stay out."""
    if isinstance(told.result, LifeResult):
        return {
            life.specimen: math.log(max(life.last_pass_cuts, 1) * life.first_fail_cuts) / 2
            for life in told.result.lives
            if not life.survived
        }
    if not told.data.observations:
        return {}
    return {b.blade: b.mean for b in layout(told.data).blades if not b.censored}


def is_log(told: Answer) -> bool:
    """Whether the response is compared as ratios."""
    return told.data.response.scale == LOG
