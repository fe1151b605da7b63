"""A comparison as one line of a table and one sentence, for each kind of values."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rig.study.answers import bound_words, words
from rig.study.statistics.bounded import CensoredComparison, CensoredResult
from rig.study.statistics.compare import Comparison, ValueResult
from rig.study.statistics.covariates import Adjustment
from rig.study.statistics.data import LOG, Response
from rig.study.statistics.phrases import amount, begin, number, probability, size, span
from rig.study.statistics.reach import Reach
from rig.study.statistics.verdict import CANNOT_TELL, RULED_OUT, SHOWN

UNKNOWN = "not determined"


@dataclass(frozen=True)
class Line:
    """One comparison, in words and in numbers.

    Attributes:
        estimate, low, high: a ratio or a difference; nan or infinite where open.
        p: that holds for all comparisons of the response.
        detectable: what would have been found in 80 of 100 such studies; None when unknown.
        way: better, worse, higher or lower, where a difference is shown; else "".
        further: what must be said beside verdict, estimate and what would have been found.
        found: what would have been found, in words.
        size: standardised effect in words, "" when there is none.
        adjusted: the same at equal geometry in words, "" when it cannot be done.
    """

    group: str
    against: str
    verdict: str
    effect: str
    interval: str
    sentence: str
    estimate: float
    low: float
    high: float
    p: float
    detectable: float | None = None
    way: str = ""
    further: str = ""
    found: str = ""
    size: str = ""
    adjusted: str = ""

    @property
    def p_text(self) -> str:
        """The p for a table."""
        return probability(self.p)

    @property
    def beyond(self) -> str:
        """What a table of verdict, estimate and what would be found leaves to say; "" for nothing.

        Where bounds make two figures of what would be found, no column holds them.
        """
        return " ".join(filter(None, (self.further, "" if self.detectable else self.found)))

    @property
    def rest(self) -> str:
        """What neither the headline nor a table of estimates says; "" for nothing."""
        text = " ".join(filter(None, (self.further, self.found)))
        return text and f"{self.group} against {self.against}: {text}"

    def to_dict(self) -> dict[str, Any]:
        """For programs; what is open or unknown is None."""
        return {name: _plain(value) for name, value in vars(self).items()}


def _plain(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def of_values(result: ValueResult, adjusted: Adjustment) -> tuple[Line, ...]:
    """Of measured values, with the adjusted figures beside the raw ones."""
    what = result.response
    return tuple(_of_value(c, what, adjusted) for c in result.comparisons)


def _of_value(c: Comparison, what: Response, adjusted: Adjustment) -> Line:
    fair = next(
        (a for a in adjusted.comparisons if (a.group, a.against) == (c.group, c.against)), None
    )
    return Line(
        c.group, c.against, c.verdict, _effect(what, c.effect, c.low, c.high),
        _interval(what, c),
        words.comparison(c, what), c.effect, c.low, c.high, c.p_adjusted, c.detectable,
        words.which_way(c.verdict, c.effect, what), _joined(words.further(c, what)),
        words.found_by(c, what),
        "" if c.g is None else f"{c.g.g:.2f} ({number(c.g.low)} to {number(c.g.high)})",
        "" if fair is None or not math.isfinite(fair.low)
        else f"{amount(what, fair.effect)}; {span(what, fair.low, fair.high)}",
    )  # fmt: skip


def of_bounds(result: CensoredResult, what: Response) -> tuple[Line, ...]:
    """Of values some of which are bounds."""
    return tuple(_of_bound(c, what) for c in result.comparisons)


def _of_bound(c: CensoredComparison, what: Response) -> Line:
    middle = _effect(what, c.effect, c.low, c.high) if math.isfinite(c.effect) else ""
    if seen := bound_words.as_seen(c, what):
        middle = middle and f"estimate {middle}"
    return Line(
        c.group, c.against, c.verdict, "; ".join(filter(None, (seen, middle))) or UNKNOWN,
        span(what, c.low, c.high), bound_words.survivors(c, what), c.effect, c.low, c.high,
        c.p_adjusted, c.detectable, words.which_way(c.verdict, bound_words.far(c), what),
        _joined([*words.further(c, what), bound_words.shape(c)]), bound_words.open_by(c, what),
    )  # fmt: skip


def _joined(parts: Sequence[str]) -> str:
    return " ".join(filter(None, parts))


def _effect(what: Response, effect: float, low: float, high: float) -> str:
    if not math.isfinite(effect):
        return UNKNOWN
    told = amount(what, effect, words.half(low, high))
    return told if math.isfinite(low) else f"{told} as measured"


def _interval(what: Response, c: Comparison) -> str:
    if not math.isfinite(c.low):
        return UNKNOWN
    return span(what, c.low, c.high) + " (alone)" * c.alone


def open_by(result: CensoredResult, what: Response) -> str:
    """What the study would have found, or what it leaves open where it has no scatter; "" where a
    difference above the margin is ruled out."""
    if result.verdict == RULED_OUT:
        return ""
    seen = [c.detectable for c in result.comparisons]
    upper = [c.detectable_upper for c in result.comparisons]
    missed = [c.missed for c in result.comparisons if c.missed is not None]
    if seen and None not in seen:
        return found(result, what, _most(seen), _most(upper))
    if missed:
        return bound_words.may_hide(max(missed))
    open_ = [c for c in result.comparisons if c.verdict == CANNOT_TELL] or result.comparisons
    reach = worst([c.reach for c in open_])
    text = "" if reach is None else bound_words.could_reach(reach, what)
    if len(open_) == len(result.comparisons):
        return text
    pairs = "; ".join(f"{c.group} against {c.against}" for c in open_)
    return f"{pairs}: {text[:1].lower()}{text[1:]}"


def found(
    result: ValueResult | CensoredResult, what: Response, most: float | None, upper: float | None
) -> str:
    """What the study would have found in every comparison; "" where all above the margin is ruled
    out."""
    if result.verdict == RULED_OUT:
        return ""
    text = words.could_find(most, what, upper, len(result.comparisons))
    return (
        f"{text} {words.LUCKY}" if any(words.lucky(c, what) for c in result.comparisons) else text
    )


def worst(reaches: Sequence[Reach]) -> Reach | None:
    """What every comparison would have found; unknown or hidden when it is for one of them."""
    if not reaches:
        return None
    unknown = [reach for reach in reaches if reach.reasons]
    if unknown:
        return unknown[0]
    why = next((reach.why for reach in reaches if reach.why), "")
    return Reach(_most([r.weaker for r in reaches]), _most([r.stronger for r in reaches]), why=why)


def _most(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return max(known) if len(known) == len(values) else None


def headline(what: Response, verdict: str, lines: Sequence[Line]) -> str:
    """The answer to one response, and what each comparison says where they are not all alike."""
    name = begin(what.name)
    if verdict == RULED_OUT:
        return f"{name}: difference above the margin ({size(what, what.margin)}) ruled out."
    if verdict == CANNOT_TELL:
        rest = [_shortly(line, what) for line in lines if line.verdict != CANNOT_TELL]
        start = f"{name}: cannot tell. This is not the same as no difference."
    else:
        first = sorted(lines, key=lambda line: line.verdict != SHOWN)
        rest = [_shortly(line, what) for line in first]
        start = f"{name}: difference shown, {_ways(first)}."
    return f"{start} {begin('; '.join(rest))}." if rest else start


def _ways(lines: Sequence[Line]) -> str:
    """ "B better than A, C worse than A" of what is shown."""
    shown = [line for line in lines if line.way]
    return ", ".join(f"{line.group} {line.way} than {line.against}" for line in shown)


def _shortly(line: Line, what: Response) -> str:
    pair = f"{line.group} against {line.against}"
    if line.verdict == SHOWN:
        return f"{pair} {line.effect} ({line.interval}, 95 % confidence), {_matters(line, what)}"
    if line.verdict == RULED_OUT:
        return f"{pair}: difference above the margin ({size(what, what.margin)}) ruled out"
    return f"{pair}: {line.verdict}"


def _matters(line: Line, what: Response) -> str:
    """Whether a difference shown is as large as one that matters, on the side it lies."""
    same = what.outward(0.0)
    far = line.estimate if math.isfinite(line.estimate) else max(line.low, same)
    more = far > same  # where bounds leave the estimate open, the interval tells the side
    wanted = what.inward(what.smallest)
    matters = amount(what, what.outward(wanted if more else -wanted))
    nothing = 0.0 if what.scale == LOG else -math.inf
    ends = sorted(
        abs(what.inward(end)) if nothing < end < math.inf else math.inf
        for end in (line.low, line.high)
    )
    if ends[0] >= wanted:
        return f"which is at least the {matters} that matters"
    if ends[1] < wanted:
        return f"which is not as far as the {matters} that matters"
    return f"which may or may not reach the {matters} that matters"
