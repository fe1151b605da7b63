"""Did the groups start equal? Hardness and starting sharpness by two one-sided tests.

"No significant difference" is no proof of equality: with few blades nothing is significant. Parity
is shown when a difference as large as the margin is ruled out (Schuirmann 1987).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from rig.study.compare import Result, compare
from rig.study.data import StudyData
from rig.study.verdict import RULED_OUT, SHOWN
from rig.study.welch import welch

EQUAL, UNEQUAL, UNKNOWN = "equal within the margin", "not equal", "equality not shown"


@dataclass(frozen=True)
class Tost:
    """Two one-sided Welch tests as printed in handbooks: the larger p, and the dof."""

    p: float
    dof: float


def tost(one: Sequence[float], two: Sequence[float], margin: float) -> Tost:
    """Equivalence of two samples at their nominal level.

    Raises:
        ValueError: with fewer than two values in a sample, or no scatter at all.
    """
    if min(len(one), len(two)) < 2:
        raise ValueError(f"{len(one)} and {len(two)} values")
    v1, v2 = (float(np.var(x, ddof=1)) / len(x) for x in (one, two))
    difference = float(np.mean(one) - np.mean(two))
    se, dof = welch(difference, v1, len(one) - 1, v2, len(two) - 1)
    if not se > 0:
        raise ValueError("no scatter")
    return Tost(float(stdtr(dof, (abs(difference) - margin) / se)), float(dof))


@dataclass(frozen=True)
class Parity:
    """Whether the groups started equal in one respect, and what follows."""

    result: Result
    state: str

    @property
    def equal(self) -> bool:
        """True when a difference of the margin or more is ruled out for every comparison."""
        return self.state == EQUAL


def parity(data: StudyData) -> Parity:
    """Judge the start of the groups by the margin of `data.response`.

    A difference that is shown, yet proven to lie within the margin, is parity all the same.
    """
    result = compare(data)
    within = [
        c.verdict == RULED_OUT or any(reason.name == "within_margin" for reason in c.reasons)
        for c in result.comparisons
    ]
    if within and all(within):
        return Parity(result, EQUAL)
    shown = any(
        c.verdict == SHOWN and not small
        for c, small in zip(result.comparisons, within, strict=True)
    )
    return Parity(result, UNEQUAL if shown else UNKNOWN)
