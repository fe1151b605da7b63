"""Force to sever a standard thread or strip: the median of repeats at places of the edge.

A single reading says little: the places of an edge differ, and threads do. The median is taken
because a thread that slipped or a nick throws single readings far off. Its standard uncertainty is
1.2533 s/sqrt(n) for readings scattered normally (the asymptotic standard error of a median;
M. G. Kendall and A. Stuart, The Advanced Theory of Statistics, volume 1, from memory), s being the
standard deviation of the readings, with n - 1 degrees of freedom.

Beside it stands the interval that assumes nothing of the scatter, out of the order of the readings
(scipy.stats.quantile_test); it needs six readings or more to reach 95 %.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev
from typing import Any

from scipy import stats

from rig.errors import RigError
from rig.measure.budget import LEVEL, Input, Reason, evaluate, rectangular
from rig.measure.result import Result

READINGS = 7
LEAST = 3
MEDIAN_ERROR = math.sqrt(math.pi / 2)  # of a median over that of a mean, many normal readings
SCATTER_LIMIT = 0.4  # common practice, no source: such a set says little of the edge


@dataclass(frozen=True)
class Gauge:
    """What the force is read on.

    Attributes:
        resolution_n: the step in which it is read.
        u_relative: standard uncertainty of its scale, as a share of the reading.
        source: where that comes from.
    """

    resolution_n: float
    u_relative: float
    source: str = "typed in"


@dataclass(frozen=True)
class SeveringResult(Result):
    """Median force and what stands against it."""


def evaluate_severing(readings_n: Sequence[float], gauge: Gauge) -> SeveringResult:
    """The median force with its uncertainty.

    Args:
        readings_n: in the order taken, none left out, shape (n,).
        gauge: what they were read on.

    Raises:
        RigError: fewer than three readings, or one that is no force.
    """
    _check(readings_n, gauge)
    n, middle = len(readings_n), median(readings_n)
    scatter = stdev(readings_n)
    told = evaluate(
        "severing_force", "N",
        lambda x: (x["median"] + x["resolution"]) * x["scale"],
        [
            Input("median", middle, MEDIAN_ERROR * scatter / math.sqrt(n), n - 1,
                  f"{n} readings", "N"),
            rectangular("resolution", 0.0, gauge.resolution_n / 2, "step of the scale", "N"),
            Input("scale", 1.0, gauge.u_relative, math.inf, gauge.source, "1"),
        ],
    )  # fmt: skip
    # Without a hypothesis `q` plays no part in the interval.
    found: Any = stats.quantile_test(readings_n, q=middle, p=0.5).confidence_interval(LEVEL)
    figures = {
        "readings": float(n),
        "lowest_n": min(readings_n),
        "highest_n": max(readings_n),
        "scatter_share": scatter / fmean(readings_n),
    }
    if math.isfinite(found.low) and math.isfinite(found.high):
        figures |= {"low_n": float(found.low), "high_n": float(found.high)}
    return SeveringResult({"severing_force": told}, tuple(_reasons(figures)), figures)


def _reasons(figures: dict[str, float]) -> list[Reason]:
    share = figures["scatter_share"]
    if share <= SCATTER_LIMIT:
        return []
    text = (
        f"the readings scatter by {share:.0%} of their mean: look for slipping thread or a nick, "
        "and read again"
    )
    return [Reason("readings_scatter", text, share, SCATTER_LIMIT)]


def _check(readings_n: Sequence[float], gauge: Gauge) -> None:
    if len(readings_n) < LEAST:
        raise RigError(
            f"{len(readings_n)} readings of the severing force",
            remedy=f"take {LEAST} or more, {READINGS} are usual",
        )
    bad = [value for value in readings_n if not (math.isfinite(value) and value > 0)]
    if bad:
        raise RigError(f"{bad[0]:g} N is no force to sever anything", remedy="read it again")
    if not (gauge.resolution_n > 0 and gauge.u_relative >= 0):
        raise RigError(
            f"a scale read in steps of {gauge.resolution_n:g} N", remedy="give its step, above 0"
        )
