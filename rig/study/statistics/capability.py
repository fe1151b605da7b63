"""Can the rig tell blades apart? Blades x operators x repeats, by analysis of variance.

Crossed model with all effects random (the usual gauge study, AIAG Measurement Systems Analysis,
4th ed., chapter III). An interaction that is not significant at 5 % is pooled with repeatability;
negative components count as 0, with a note.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.study.statistics.phrases import many

POOL_ABOVE = 0.05
ROOT_TWO = 1.41  # as the manual rounds it in its number of distinct levels
DISTINCT = 5  # levels a measurement should tell apart (AIAG, 4th ed.)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ScatterLine:
    """One source of scatter in the table of the analysis of variance."""

    source: str
    ss: float
    df: int

    @property
    def ms(self) -> float:
        """Mean square."""
        return self.ss / self.df


@dataclass(frozen=True)
class Capability:
    """Scatter by source, as standard deviations.

    Args:
        repeatability: same blade, same operator.
        reproducibility: between operators, with the interaction.
        interaction: of blade and operator; None when it was pooled or could not be told.
        gauge: repeatability and reproducibility together.
        blades: between blades.
        total: gauge and blades together.
        distinct: levels that can be told apart: 1.41 blades/gauge, before rounding down.
    """

    repeatability: float
    reproducibility: float
    interaction: float | None
    gauge: float
    blades: float
    total: float
    distinct: float
    p_interaction: float | None
    table: tuple[ScatterLine, ...]
    reasons: tuple[Reason, ...]

    def share(self, sd: float) -> float:
        """Share of the total scatter (of standard deviations: they do not add up to 1)."""
        return sd / self.total if self.total > 0 else math.nan

    def contribution(self, sd: float) -> float:
        """Share of the total variance."""
        return self.share(sd) ** 2


def _readings(readings: Sequence[Sequence[Sequence[float]]]) -> Array:
    sizes = {len(row) for operator in readings for row in operator}
    if len({len(operator) for operator in readings}) != 1 or len(sizes) != 1 or 0 in sizes:
        raise RigError(
            "numbers of blades or repeats differ between operators",
            where="capability study",
            remedy="every operator measures every blade equally often",
        )
    data = np.array(readings, dtype=float)
    operators, blades, repeats = data.shape
    if operators < 2 or blades < 2 or repeats < 2 or not np.isfinite(data).all():
        raise RigError(
            ", ".join(
                (many(operators, "operator"), many(blades, "blade"), many(repeats, "repeat"))
            ),
            where="capability study",
            remedy="two or more of each, all of them numbers",
        )
    return data


def crossed(readings: Sequence[Sequence[Sequence[float]]]) -> Capability:
    """Capability by analysis of variance.

    Args:
        readings: shape (operators, blades, repeats).

    Raises:
        RigError: when a cell is missing or there are fewer than two of anything.
    """
    data = _readings(readings)
    operators, blades, repeats = data.shape
    operator, blade, both, error = _lines(data)
    p = float(stats.f.sf(both.ms / error.ms, both.df, error.df)) if error.ms > 0 else 0.0
    pooled = p > POOL_ABOVE
    reasons: list[Reason] = []
    if pooled:
        below = ScatterLine("repeatability", both.ss + error.ss, both.df + error.df)
        repeat = below.ms
        mixed = 0.0
    else:
        below, repeat = both, error.ms
        mixed = _component("interaction", (both.ms - error.ms) / repeats, reasons)
    between = _component("operators", (operator.ms - below.ms) / (blades * repeats), reasons)
    apart = _component("blades", (blade.ms - below.ms) / (operators * repeats), reasons)
    return _told(
        repeat, between + mixed, None if pooled else math.sqrt(mixed), apart, p,
        (operator, blade, both, error), reasons,
    )  # fmt: skip


def _lines(data: Array) -> tuple[ScatterLine, ScatterLine, ScatterLine, ScatterLine]:
    operators, blades, repeats = data.shape
    data = data - data.flat[0]
    grand, cells = data.mean(), data.mean(axis=2)
    by_operator, by_blade = data.mean(axis=(1, 2)), data.mean(axis=(0, 2))
    mixed = cells - by_operator[:, None] - by_blade[None, :] + grand

    def line(source: str, ss: float, df: int) -> ScatterLine:
        return ScatterLine(source, float(ss), df)

    return (
        line("operators", blades * repeats * ((by_operator - grand) ** 2).sum(), operators - 1),
        line("blades", operators * repeats * ((by_blade - grand) ** 2).sum(), blades - 1),
        line("interaction", repeats * (mixed**2).sum(), (operators - 1) * (blades - 1)),
        line(
            "repeatability",
            ((data - cells[..., None]) ** 2).sum(),
            operators * blades * (repeats - 1),
        ),
    )


def _component(name: str, variance: float, reasons: list[Reason]) -> float:
    if variance < 0:
        reasons.append(Reason(
            "negative_component", f"The share of {name} comes out below zero and counts as 0.",
            variance, 0.0))  # fmt: skip
    return max(variance, 0.0)


def _told(
    repeat: float,
    reproduce: float,
    interaction: float | None,
    blades: float,
    p: float | None,
    table: tuple[ScatterLine, ...],
    reasons: list[Reason],
) -> Capability:
    """From variances to the figures that are read."""
    gauge = repeat + reproduce
    distinct = ROOT_TWO * math.sqrt(blades / gauge) if gauge > 0 else math.inf
    if distinct < DISTINCT:
        reasons.append(Reason(
            "few_levels",
            "No two blades can be told apart." if distinct < 2
            else f"Only {math.floor(distinct)} levels can be told apart.",
            math.floor(distinct), DISTINCT, "levels"))  # fmt: skip
    return Capability(
        math.sqrt(repeat), math.sqrt(reproduce), interaction, math.sqrt(gauge), math.sqrt(blades),
        math.sqrt(gauge + blades), distinct, p, table, tuple(reasons),
    )  # fmt: skip
