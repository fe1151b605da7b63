"""Which of three things a comparison says, and never a fourth.

- *difference shown*: the 95 % interval that holds for all comparisons together (Bonferroni) leaves
  out no difference; its familywise p is then at most 5 %;
- *difference above the margin ruled out*: the familywise p (Hochberg) of "the difference reaches
  the margin" is at most 2.5 %, by two one-sided tests; a 95 % interval, at the level of its step,
  then lies within the margin. (5 % a side, as is usual, is wrong in up to 8 of 100 studies of 3
  against 8 blades when values are skewed: tests/bench/valueworlds.py);
- *cannot tell*: neither.

A difference that is both shown and within the margin is shown: the sentence adds that it is small.
Stepping down (Holm) would show more where several groups differ: of differences found 80 times in
100, 86 to 90 with two that are alike, 89 to 93 with three. Where one differs it gains nothing. But
the intervals that go with it end at no difference for whatever is shown while anything else is not
(Guilbaud 2008): where one differs, of 9 differences shown in 10 it could no longer be said how much
it is, nor whether that matters. So each comparison stands by itself (tests/bench/stepping.py counts
both).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.study.statistics.multiple import bonferroni, hochberg, step_up_level
from rig.study.statistics.welch import equivalence, two_sided

SHOWN = "difference shown"
RULED_OUT = "difference above the margin ruled out"
CANNOT_TELL = "cannot tell"
LEVEL = 0.05
MARGIN_LEVEL = LEVEL / 2  # of each side of the margin
CHANCE = 0.8

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Judged:
    """A family of comparisons, along the last axis of every array."""

    p: Array
    p_adjusted: Array
    p_margin: Array
    p_margin_adjusted: Array

    @property
    def shown(self) -> NDArray[np.bool_]:
        """Where a difference is shown."""
        return self.p_adjusted <= LEVEL

    @property
    def within(self) -> NDArray[np.bool_]:
        """Where a difference above the margin is ruled out, whatever else is shown."""
        return self.p_margin_adjusted <= MARGIN_LEVEL

    @property
    def ruled_out(self) -> NDArray[np.bool_]:
        """Where no difference is shown and one above the margin is ruled out."""
        return self.within & ~self.shown

    @property
    def margin_level(self) -> Array:
        """One-sided level at which margins are judged, comparison by comparison alike."""
        return step_up_level(self.p_margin, MARGIN_LEVEL)

    def kind(self, index: int) -> str:
        """The verdict of one comparison of one study."""
        return _kind(bool(self.shown[index]), bool(self.ruled_out[index]))


def judge(
    differences: Any, se: Any, dof: Any, freedoms: Sequence[tuple[float, float]], margin: float
) -> Judged:
    """Judge comparisons of one study, or of many at once.

    Args:
        differences: on the scale of analysis, shape (..., comparisons).
        se, dof: of them, same shape (see `rig.study.statistics.welch.welch`).
        freedoms: degrees of freedom of the two estimates of each comparison.
        margin: on the scale of analysis.
    """
    differences, se, dof = (np.asarray(x, float) for x in (differences, se, dof))
    p, margins = np.empty_like(differences), np.empty_like(differences)
    for i, (f1, f2) in enumerate(freedoms):
        at = (..., i)
        p[at] = two_sided(differences[at], se[at], dof[at], f1, f2)
        margins[at] = equivalence(differences[at], se[at], dof[at], margin, f1, f2)
    return Judged(p, bonferroni(p), margins, hochberg(margins))


def overall(kinds: Sequence[str]) -> str:
    """The verdict of a study: shown if any is, ruled out if all are (none is unsettled)."""
    if not kinds:
        return CANNOT_TELL
    return _kind(SHOWN in kinds, all(kind == RULED_OUT for kind in kinds))


def _kind(shown: bool, ruled_out: bool) -> str:
    return SHOWN if shown else RULED_OUT if ruled_out else CANNOT_TELL
