"""How amounts are said: a ratio as so much more or less, a difference with its unit.

From twice on a ratio is said as a factor: "418 % more" is read as 4.18 times as much, "5.18 times
as much" is not misread. A size without direction is a ratio either way: 30 % more, or 23 % less.
An estimate has no finer digits than the second of half its interval.
"""

import math
from collections.abc import Callable

from rig.study.statistics.data import LOG, Response

MOST = 1000  # times, beyond which the figure helps nobody
HOPELESS = 20.0  # times, beyond which nobody hopes to find a difference
TWICE = 1.995  # where a ratio is said as a factor: what rounds to 100 %


def number(value: float) -> str:
    """Three figures, and no exponent for large ones."""
    text = f"{value:.3g}"
    return f"{float(text):.0f}" if "e+" in text else text


def many(count: int, noun: str) -> str:
    """A count with its noun: "1 blade", "3 blades"; of several words the last is counted."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def are(count: int, noun: str) -> str:
    """The same as what is said of it begins: "1 blade is", "3 blades are"."""
    return f"{many(count, noun)} {'is' if count == 1 else 'are'}"


def amount(response: Response, effect: float, reach: float = 0.0) -> str:
    """One effect: "43 % more", "3 times as much", "0.8 HRC less", "less than 1 % more".

    What rounds to nought is never called nought, nor "the same": it is less than the last digit.

    Args:
        effect: a ratio on the log scale, else a difference.
        reach: how far its interval goes to either side, in the same terms; 0 when it has none.
    """
    if response.scale == LOG:
        if effect > MOST:
            return f"more than {MOST} times as much"
        if effect >= TWICE:
            return f"{_no_finer(effect, min(reach, effect))} times as much"
        least = "0.1" if _is_fine(effect, reach) else "1"
        return _way(percent(effect, reach).removesuffix(" %"), least, "%", effect - 1)
    least = f"{10.0 ** -_places(reach):g}"
    return _way(_no_finer(abs(effect), reach), least, response.unit, effect)


def _way(much: str, least: str, unit: str, way: float) -> str:
    """`much` of a unit more or less; below its last digit less than that digit (`least`)."""
    if way == 0:
        return f"0 {unit}"
    if not much.strip("0."):
        much = f"less than {least}"
    return f"{much} {unit} {'more' if way > 0 else 'less'}"


def _places(reach: float) -> int:
    """Decimal places that end at the second figure of `reach`; below 0 for tens and more."""
    return 1 - math.floor(math.log10(reach)) if 0 < reach < math.inf else 9


def _no_finer(value: float, reach: float) -> str:
    """Three figures, and none below the second of `reach`."""
    return number(round(value, _places(reach)))


def begin(text: str) -> str:
    """`text` with a capital, the rest as it is (HRC stays HRC)."""
    return text[:1].upper() + text[1:]


def percent(ratio: float, reach: float = 0.0) -> str:
    """How far a ratio is from 1; no finer than the second figure of `reach` (of the ratio)."""
    away = abs(ratio - 1) * 100
    if ratio < 1 and away >= 99.5:
        return "more than 99 %"
    return f"{away:.1f} %" if _is_fine(ratio, reach) else f"{away:.0f} %"


def _is_fine(ratio: float, reach: float) -> bool:
    """Whether tenths of a per cent are worth printing."""
    return abs(ratio - 1) < 0.0995 and _places(100 * reach) > 0


def span(response: Response, low: float, high: float) -> str:
    """An interval: "between 14 % less and 35 % more"; open ends, or beyond MOST times, as such."""
    nothing = -math.inf
    if response.scale == LOG:
        nothing, high = 1 / MOST, math.inf if high > MOST else high
    if low <= nothing and math.isinf(high):
        return "not bounded"
    if low <= nothing:
        return up_to(response, high)
    if math.isinf(high):
        return from_on(response, low)
    half = (high - low) / 2
    return f"between {amount(response, low, half)} and {amount(response, high, half)}"


def from_on(response: Response, effect: float) -> str:
    """An effect or a higher one: "at least 20 % more", "at most 10 % less"."""
    way = response.inward(effect)
    if way == 0:
        return "not less"
    return f"{'at least' if way > 0 else 'at most'} {amount(response, effect)}"


def up_to(response: Response, effect: float) -> str:
    """An effect or a lower one: "at most 20 % more", "at least 10 % less"."""
    way = response.inward(effect)
    if way == 0:
        return "not more"
    return f"{'at most' if way > 0 else 'at least'} {amount(response, effect)}"


def size(response: Response, effect: float) -> str:
    """A stated size without direction: "30 % more or 23 % less", "a factor of 3.2", "1 HRC"."""
    return _size(response, effect, number)


def about(response: Response, effect: float) -> str:
    """The same of a size that few blades tell, in two figures: "about 3.5 times", "0.85 HRC"."""
    if response.scale == LOG and max(effect, 1 / effect) >= TWICE:
        return times(max(effect, 1 / effect))
    return _size(response, effect, roughly)


def roughly(value: float) -> str:
    """Two figures, and no exponent."""
    return number(float(f"{value:.2g}"))


def times(factor: float) -> str:
    """A factor that few blades tell: "about 3.5 times", "more than 20 times"."""
    return (
        f"more than {HOPELESS:g} times" if factor > HOPELESS else f"about {roughly(factor)} times"
    )


def _size(response: Response, effect: float, figures: Callable[[float], str]) -> str:
    if response.scale != LOG:
        return f"{figures(abs(effect))} {response.unit}"
    factor = max(effect, 1 / effect)
    if factor > MOST:
        return f"a factor of more than {MOST}"
    if factor >= TWICE:
        return f"a factor of {figures(factor)}"
    return f"{percent(factor)} more or {percent(1 / factor)} less"


def share(chance: float) -> str:
    """A chance in per cent; no study is certain, and none is hopeless."""
    return "> 99%" if chance >= 0.995 else "< 1%" if chance < 0.005 else f"{chance:.0%}"


def probability(p: float) -> str:
    """A p for a table."""
    if math.isnan(p):
        return "not determined"
    return "< 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"
