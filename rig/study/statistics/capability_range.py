"""How far the figures of a capability study may be from the truth: it has few blades and hands.

Generalised confidence intervals of the two-factor random model with interaction (R. K. Burdick,
C. M. Borror, D. C. Montgomery, Design and Analysis of Gauge R&R Studies, SIAM 2005, chapter 3).
Each mean square times its degrees of freedom over a drawn chi-square stands for its expected value;
what follows from the four together is read off at 2.5 and 97.5 %. The interaction is kept whether
or not the point figures pool it: with few blades no test of it can tell.
"""

from dataclasses import dataclass

import numpy as np

from rig.study.statistics.capability import DISTINCT, ROOT_TWO, Capability
from rig.study.statistics.phrases import many
from rig.study.statistics.verdict import LEVEL

DRAWS, SEED = 100_000, 11
USUAL_BLADES, USUAL_OPERATORS = 10, 3  # as in the AIAG manual, 4th ed. (from memory)
MANY = 1000  # levels beyond which the figure helps nobody

Bounds = tuple[float, float]


@dataclass(frozen=True)
class Range:
    """95 % intervals, and what the study is made of.

    Attributes:
        gauge: of the scatter of bench and operators together, a standard deviation.
        apart: of the scatter between blades, a standard deviation.
        distinct: of the levels that can be told apart, before rounding down.
    """

    blades: int
    operators: int
    gauge: Bounds
    apart: Bounds
    distinct: Bounds

    @property
    def few(self) -> bool:
        """True with fewer blades or operators than usual."""
        return self.blades < USUAL_BLADES or self.operators < USUAL_OPERATORS

    @property
    def open_both_ways(self) -> bool:
        """True when both "no two blades" and "more than enough levels" are still possible."""
        return self.distinct[0] < 2 and self.distinct[1] >= DISTINCT


def spread(found: Capability) -> Range | None:
    """The intervals; None for readings that do not scatter at all, or without their table."""
    lines = {line.source: line for line in found.table}
    if not lines or not found.gauge > 0:
        return None
    rng = np.random.default_rng(SEED)
    by_operator, by_blade, both, error = (
        lines[name].ss / rng.chisquare(lines[name].df, DRAWS)
        for name in ("operators", "blades", "interaction", "repeatability")
    )
    operators, blades = lines["operators"].df + 1, lines["blades"].df + 1
    repeats = lines["repeatability"].df // (operators * blades) + 1
    apart = np.maximum(by_blade - both, 0.0) / (operators * repeats)
    gauge = (by_operator + (blades - 1) * both + blades * (repeats - 1) * error) / (
        blades * repeats
    )
    return Range(
        blades, operators, _bounds(np.sqrt(gauge)), _bounds(np.sqrt(apart)),
        _bounds(ROOT_TWO * np.sqrt(apart / gauge)),
    )  # fmt: skip


def _bounds(drawn: np.ndarray) -> Bounds:
    low, high = np.quantile(drawn, [LEVEL / 2, 1 - LEVEL / 2])
    return float(low), float(high)


def in_words(told: Range) -> list[str]:
    """How sure the number of levels is; a line each."""
    low, high = told.distinct
    top = f"{int(high)}" if high < MANY else f"more than {MANY:,}"
    lines = [f"With 95 % confidence the true number of levels is between {int(low)} and {top}."]
    made = f"{many(told.blades, 'blade')} and {many(told.operators, 'operator')}"
    if told.open_both_ways:
        both = 'Both "no two blades" and "more than enough" are still possible: '
        lines.append(both + (
            f"{made} make the figure nearly worthless." if told.few
            else f"{made} say little of how operators differ; more of them narrow it."
        ))  # fmt: skip
    elif told.few:
        lines.append(f"{made} are fewer than usual: the interval is wide for that.")
    return lines


def next_step(told: Range | None) -> str:
    """What to do with it."""
    if told is None:
        return "read with a finer resolution: readings without scatter tell nothing"
    if told.distinct[0] >= DISTINCT:
        return "this bench tells blades apart; plan a study: bladerig study init study.toml"
    if told.distinct[1] < DISTINCT:
        return (
            "find what scatters most in the table above and mend it (the way of holding, the "
            "contact, the reading), then repeat these readings"
        )
    if told.few:
        return (
            f"read more before you rely on it: {USUAL_BLADES} blades, {USUAL_OPERATORS} operators, "
            "3 readings each are usual"
        )
    return (
        "it is open whether this bench tells enough levels apart: let more operators read, or mend "
        "what scatters most in the table above"
    )
