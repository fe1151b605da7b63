"""Who reads high or low: each operator's bias against the mean of all, with its interval.

Mean over blades and repeats less the grand mean. It is judged by the interaction's mean square (the
mixed model: these operators, blades drawn from many; D. C. Montgomery, Design and Analysis of
Experiments, chapter 13), whether or not that is pooled elsewhere:

    bias -+ t sqrt((o - 1)/o MS_interaction/(blades repeats))      (o - 1)(blades - 1) dof

at a level that holds for all operators together (Bonferroni). With two operators it is half the
paired t interval of their blades' means. What all operators share is no bias here: only a
reference tells that.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from rig.study.statistics.capability import Capability
from rig.study.statistics.phrases import number
from rig.study.statistics.verdict import LEVEL

Cells = Sequence[Sequence[Sequence[float]]]


@dataclass(frozen=True)
class Bias:
    """One operator's readings less the mean of all, and the 95 % interval for all together."""

    operator: str
    bias: float
    low: float
    high: float

    @property
    def shown(self) -> bool:
        """Whether the interval leaves out nought."""
        return self.low > 0 or self.high < 0


def biases(readings: Cells, operators: Sequence[str], found: Capability) -> tuple[Bias, ...]:
    """The bias of each operator.

    Args:
        readings: shape (operators, blades, repeats).
        operators: their names.
        found: of the same readings, by analysis of variance.
    """
    both = next(line for line in found.table if line.source == "interaction")
    means = [math.fsum(x for blade in one for x in blade) for one in readings]
    each = sum(len(blade) for blade in readings[0])
    grand = math.fsum(means) / (each * len(means))
    spread = math.sqrt((len(means) - 1) / len(means) * both.ms / each)
    far = float(stdtrit(both.df, 1 - LEVEL / len(means) / 2)) * spread
    return tuple(
        Bias(name, total / each - grand, total / each - grand - far, total / each - grand + far)
        for name, total in zip(operators, means, strict=True)
    )


def in_words(told: Sequence[Bias], unit: str) -> list[str]:
    """Each operator in a line, and what the figures cannot tell."""
    lines = [
        f"{one.operator} reads {_way(one.bias, unit)} (95 % confidence: {_way(one.low, unit)} to "
        f"{_way(one.high, unit)})" + ("" if one.shown else ", which may be chance")
        for one in told
    ]
    return [
        *lines,
        "High and low are against the mean of these operators; the intervals hold for all of them "
        "together. What all share only a reference can tell (a check block, a check weight).",
    ]


def _way(value: float, unit: str) -> str:
    if value == 0:
        return "as the mean"
    return f"{number(abs(value))} {unit}".strip() + (" high" if value > 0 else " low")
