"""A control chart for single values: does the check standard still read as it used to?

Limits from the values' own history by the moving range (NIST/SEMATECH e-Handbook, 6.3.2.2):

    centre = mean,   limits = centre +- 3 MR/1.128,   MR = mean |x_i - x_(i-1)|

1.128 is the mean range of two normal values in units of their standard deviation. Before
`ENOUGH` values are on the chart its limits are too uncertain to act on; until then the
certificate's own uncertainty judges.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.measure.budget import Reason

MEAN_RANGE = 1.128
SIGMAS = 3.0
ENOUGH = 10


@dataclass(frozen=True)
class Limits:
    """Centre line and control limits, in the unit of the values."""

    low: float
    centre: float
    high: float


def limits(values: Sequence[float]) -> Limits:
    """Limits of a chart for individual values, shape (n,), n at least two."""
    if len(values) < 2:
        raise ValueError(f"{len(values)} values have no moving range")
    of = np.asarray(values, dtype=float)
    reach = SIGMAS * float(np.mean(np.abs(np.diff(of)))) / MEAN_RANGE
    centre = float(of.mean())
    return Limits(centre - reach, centre, centre + reach)


@dataclass(frozen=True)
class Judged:
    """What a new value is judged by and what stands against it.

    Attributes:
        by: "chart" or "certificate".
        told: the same in words.
    """

    by: str
    told: str
    limits: Limits
    reasons: tuple[Reason, ...]


def judge(
    value: float, history: Sequence[float], expected: float, U: float, unit: str,
    known_by: str = "certificate",
) -> Judged:  # fmt: skip
    """A new value against its history, or against what is expected of it while that is short.

    Args:
        value: the new one.
        history: earlier values that were in order, oldest first.
        expected: what the check standard should read.
        U: expanded uncertainty of that comparison.
        unit: of all of them.
        known_by: where `expected` and `U` come from, in words.
    """
    if len(history) >= ENOUGH:
        by, told, bounds = "chart", "chart", limits(history)
        why = f"of {len(history)} earlier checks"
    else:
        by, told, bounds = "certificate", known_by, Limits(expected - U, expected, expected + U)
        why = f"by the {known_by} ({len(history)} of {ENOUGH} checks that a chart needs)"
    if bounds.low <= value <= bounds.high:
        return Judged(by, told, bounds, ())
    text = (
        f"the check reads {value:.4g} {unit}, outside {bounds.low:.4g} to {bounds.high:.4g} {unit} "
        f"{why}: look at hook, lever, weight and cell"
    )
    limit = bounds.low if value < bounds.low else bounds.high
    return Judged(by, told, bounds, (Reason("check_out", text, value, limit, unit),))
