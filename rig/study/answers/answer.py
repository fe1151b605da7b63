"""One answer for each response of a study, whatever kind of values it has."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.measure.staircase import compare_staircases
from rig.study.answers import blocks, bound_words, repeats, side_words, together, words
from rig.study.answers.lines import Line, found, headline, of_bounds, of_values, open_by
from rig.study.answers.unseen import with_u
from rig.study.register.collect import Collected, Excluded
from rig.study.register.record import ResponseRecord, StudyRecord
from rig.study.statistics import lives
from rig.study.statistics.agreement import agreement
from rig.study.statistics.alternatives import Beside, beside
from rig.study.statistics.anova import components
from rig.study.statistics.bounded import CensoredResult
from rig.study.statistics.censored import compare_censored
from rig.study.statistics.compare import ValueResult, compare
from rig.study.statistics.contrasts import one_load_each, pairs_of
from rig.study.statistics.covariates import Adjustment, adjust
from rig.study.statistics.data import LOG, Response, StudyData
from rig.study.statistics.lives import as_values, compare_lives
from rig.study.statistics.parity import Parity, parity
from rig.study.statistics.phrases import begin
from rig.study.statistics.units import layout, without_loads
from rig.study.statistics.verdict import CANNOT_TELL, LEVEL

NOTHING = "nothing measured"


@dataclass(frozen=True)
class Answer:
    """What the study says of one response.

    Attributes:
        verdict: one of the three, or `NOTHING`.
        said: the verdict, in a sentence or two.
        result: the comparison itself; None when there was nothing to compare.
        lines: comparison by comparison.
        found: what the study would have found.
        notes: what the statements rest on, scatter, reasons.
        assumes: what the verdict takes for granted of the furnace loads.
        parity: for a response in which the groups should start equal.
        others, adjusted: other tests, and the comparison at equal geometry.
        excluded: trials that do not count, each with why.
    """

    response: ResponseRecord
    verdict: str
    said: str
    result: ValueResult | CensoredResult | None
    data: StudyData
    lines: tuple[Line, ...] = ()
    notes: tuple[str, ...] = ()
    found: str = ""
    assumes: tuple[str, ...] = ()
    parity: Parity | None = None
    others: tuple[Beside, ...] = ()
    adjusted: Adjustment | None = None
    excluded: tuple[Excluded, ...] = field(default_factory=tuple)

    @property
    def is_log(self) -> bool:
        """Whether the response is compared as ratios."""
        return self.data.response.scale == LOG

    @property
    def headline(self) -> str:
        """The verdict with what the study would have found."""
        return " ".join(filter(None, (self.said, self.found)))

    @property
    def sentences(self) -> tuple[str, str]:
        """The headline's first sentence, which names response and verdict, and the rest."""
        first, _, rest = self.headline.partition(". ")
        return first.rstrip(".") + ".", rest

    @property
    def yardsticks(self) -> str:
        """The difference that matters and the margin, told apart."""
        return words.yardsticks(self.data.response)

    def to_dict(self) -> dict[str, Any]:
        """For programs."""
        return {
            "response": self.response.name,
            "verdict": self.verdict,
            "headline": self.headline,
            "assumes": list(self.assumes),
            "smallest": self.response.smallest,
            "margin": self.response.margin,
            "comparisons": [line.to_dict() for line in self.lines],
            "parity": None if self.parity is None else self.parity.state,
            "notes": list(self.notes),
            "excluded": [
                {"trial": e.trial, "run": e.run_id, "reasons": list(e.reasons)}
                for e in self.excluded
            ],
        }


def answer(
    collected: Collected, record: StudyRecord, block_of: Mapping[str, str] | None = None
) -> Answer:
    """Compare the groups in one response by the method its values need.

    Args:
        collected: what counts of one response.
        record: the study.
        block_of: blade -> block of its trial; left out, nothing is said of blocks.
    """
    data, response = replace(collected.data(record), block_of=block_of or {}), collected.response
    try:
        told = _compared(collected, record, data)
    except RigError as error:  # one response that cannot be compared leaves the others
        told = Answer(response, CANNOT_TELL, f"{begin(response.kind.title)}: {error}.", None, data)
    weighed = isinstance(told.result, ValueResult) or (
        told.result is not None and told.result.whole
    )
    by_block = blocks.sentences(told.data, block_of or {}, weighed)
    notes = (*told.notes, *by_block, *_stairs(collected, record))
    return replace(told, excluded=tuple(collected.excluded), notes=notes)


def _compared(collected: Collected, record: StudyRecord, data: StudyData) -> Answer:
    response = collected.response
    if not collected.lives:
        return _by_observations(response, data)
    loads = {blade.name: blade.load for blade in record.blade}
    data = replace(data, observations=tuple(as_values(collected.lives, loads)))
    result = compare_lives(collected.lives, data, response.scatter)
    told = _bounded(response, data, result, (
        "A life enters as the middle of its interval between two probes, an edge still sharp at "
        "the end (or dull at its first probe) as a bound.",
    ))  # fmt: skip
    return replace(told, others=lives.beside(result))


def _by_observations(response: ResponseRecord, data: StudyData) -> Answer:
    if not data.observations:
        text = f"{begin(response.kind.title)}: no trial counts, so nothing can be said."
        return Answer(response, NOTHING, text, None, data)
    if any(seen.censored for seen in data.observations):
        return _by_bounds(response, data)
    return _by_values(response, data)


def _by_values(response: ResponseRecord, data: StudyData) -> Answer:
    data, unseen = with_u(data)
    result, what = compare(data), data.response
    others, missing = beside(result.layout, data.control)
    pairs, _ = pairs_of(data)
    adjusted = adjust(data, result.layout, pairs)
    notes = (
        words.counted(result.layout),
        side_words.components(components(result.layout.blades), what),
        *repeats.sentences(result.layout.blades, what),
        *([unseen] if unseen else []),
        *_reasons(result, *missing, *adjusted.reasons),
    )
    lines = of_values(result, adjusted)
    could = found(result, what, result.detectable, result.detectable_upper)
    return Answer(
        response, result.verdict, _head(what, result, lines), result, data, lines, notes,
        "" if _one_load_each(result) else could, _assumed(result),
        parity(data) if response.parity else None, others, adjusted,
    )  # fmt: skip


def _one_load_each(result: ValueResult | CensoredResult) -> bool:
    return one_load_each(result.layout, [(c.group, c.against) for c in result.comparisons])


def _head(what: Response, result: ValueResult | CensoredResult, lines: tuple[Line, ...]) -> str:
    if not _one_load_each(result):
        return headline(what, result.verdict, lines)
    return words.one_load_each(what, without_loads(result.layout, *result.layout.cells))


def _assumed(result: ValueResult | CensoredResult) -> tuple[str, ...]:
    """What verdicts other than "cannot tell" take for granted, each once."""
    told = [c.assumes for c in result.comparisons if c.verdict != CANNOT_TELL and c.assumes]
    return tuple(dict.fromkeys(told))


def _reasons(result: ValueResult | CensoredResult, *more: Reason) -> list[str]:
    """Reasons of the whole, without those that headline or comparisons say already."""
    said = {reason.text for one in result.comparisons for reason in one.reasons}
    none = all(one.verdict == CANNOT_TELL and one.reasons for one in result.comparisons)
    known = {"group_not_told"} if _one_load_each(result) else set[str]()
    known |= {"no_alternatives"} if _one_load_each(result) or none else set()
    return [
        reason.text
        for reason in (*result.reasons, *more)
        if reason.name not in known and reason.text not in said
    ]


def _by_bounds(response: ResponseRecord, data: StudyData) -> Answer:
    result = compare_censored(data)
    return _bounded(response, data, result, (
        "Some blades survived: their values are bounds, compared as such.",
        *(bound_words.rate(rate) for rate in result.rates),
    ))  # fmt: skip


def _bounded(
    response: ResponseRecord, data: StudyData, result: CensoredResult, notes: Sequence[str]
) -> Answer:
    what, lines = data.response, of_bounds(result, data.response)
    notes = (words.counted(result.layout), *notes, *_reasons(result))
    return Answer(
        response, result.verdict, _head(what, result, lines), result, data, lines, notes,
        "" if _one_load_each(result) else open_by(result, what), _assumed(result),
    )  # fmt: skip


def _stairs(collected: Collected, record: StudyRecord) -> list[str]:
    """Groups with one staircase each, drop by drop: beside the verdict, never in its place."""
    single = {group: own[0] for group, own in collected.stairs.items() if len(own) == 1}
    names = [group.name for group in record.group if group.name in single]
    control = record.control
    pairs = [(b, a) for a, b in combinations(names, 2)]
    if control is not None:
        pairs = [(name, control) for name in names if name != control and control in names]
    return [side_words.stairs(*pair, compare_staircases(*(single[name] for name in pair)), "J")
            for pair in pairs]  # fmt: skip


def agreements(answers: Sequence[Answer]) -> list[str]:
    """How the responses go together, blade by blade: estimates, never stories.

    The first line says what the intervals hold for: all pairs together (Bonferroni), as the
    intervals of all other tables do. Nobody asked for any one of these pairs beforehand, and of
    many at 95 % each some would stand out by chance.
    """
    means = {a.response.kind.title: _means(a) for a in answers}
    names = [name for name, of in means.items() if len(of) > 1]
    pairs = list(combinations(names, 2))
    if not pairs:
        return []
    level = 1 - LEVEL / len(pairs)
    return together.agreements(
        [(agreement(means[one], means[two], level), one, two) for one, two in pairs]
    )


def _means(told: Answer) -> dict[str, float]:
    """Each blade's value on the scale of analysis; survivors are bounds and stay out."""
    if not told.data.observations:
        return {}
    means = layout(told.data).blades
    return {b.blade: b.mean for b in means if not b.censored and math.isfinite(b.mean)}
