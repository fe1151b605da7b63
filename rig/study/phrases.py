"""How amounts are said: a ratio as so much more or less, a difference with its unit.

From twice on a ratio is said as a factor: "418 % more" is read as 4.18 times as much, "5.18 times
as much" is not misread.
"""

import math

from rig.study.data import LOG, Response

TWICE = 1.995  # where a ratio is said as a factor: what rounds to 100 %


def number(value: float) -> str:
    """Three figures, no exponent for usual sizes."""
    return f"{value:.3g}"


def many(count: int, noun: str) -> str:
    """A count with its noun: "1 blade", "3 blades"; of several words the last is counted."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def are(count: int, noun: str) -> str:
    """The same as what is said of it begins: "1 blade is", "3 blades are"."""
    return f"{many(count, noun)} {'is' if count == 1 else 'are'}"


def amount(response: Response, effect: float) -> str:
    """One effect: "43 % more", "3 times as much", "0.8 HRC less"."""
    if response.scale == LOG:
        if effect >= TWICE:
            return f"{number(effect)} times as much"
        return f"{percent(effect)} {'more' if effect >= 1 else 'less'}"
    return f"{number(abs(effect))} {response.unit} {'more' if effect >= 0 else 'less'}"


def begin(text: str) -> str:
    """`text` with a capital, the rest as it is (HRC stays HRC)."""
    return text[:1].upper() + text[1:]


def percent(ratio: float) -> str:
    """How far a ratio is from 1."""
    away = abs(ratio - 1) * 100
    return f"{away:.0f} %" if away >= 9.95 else f"{away:.1f} %"


def span(response: Response, low: float, high: float) -> str:
    """An interval: "between 14 % less and 35 % more", open ends as such."""
    nothing = 0.0 if response.scale == LOG else -math.inf
    if low <= nothing and math.isinf(high):
        return "not bounded"
    if low <= nothing:
        return f"at most {amount(response, high)}"
    if math.isinf(high):
        return f"at least {amount(response, low)}"
    return f"between {amount(response, low)} and {amount(response, high)}"


def size(response: Response, effect: float) -> str:
    """A size without direction: "25 %", "a factor of 3.2", "1 HRC"."""
    if response.scale != LOG:
        return f"{number(abs(effect))} {response.unit}"
    factor = max(effect, 1 / effect)
    if factor > 1000:
        return "a factor of more than 1000"
    return percent(factor) if factor < TWICE else f"a factor of {number(factor)}"


def probability(p: float) -> str:
    """A p for a table."""
    if math.isnan(p):
        return "not determined"
    return "< 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"
