"""Did the groups start equal? Hardness and starting sharpness by two one-sided tests.

"No significant difference" is no proof of equality: with few blades nothing is significant. Parity
is shown when a difference as large as the margin is ruled out (Schuirmann 1987). It is asked of
every pair of groups, whatever the study compares later: two groups that each lie within the margin
of the control may lie further than the margin from one another.
"""

from dataclasses import dataclass, replace

from rig.study.statistics.compare import Comparison, ValueResult, compare
from rig.study.statistics.data import Group, StudyData
from rig.study.statistics.verdict import RULED_OUT, SHOWN

EQUAL, UNEQUAL, UNKNOWN = "equal within the margin", "not equal", "equality not shown"


@dataclass(frozen=True)
class Parity:
    """Whether the groups started equal in one respect, and what follows.

    Attributes:
        result: every pair of groups.
        apart: the pairs (group, against) that hinder the state from being `EQUAL`: those shown to
            differ, else those not shown to be equal.
    """

    result: ValueResult
    state: str
    apart: tuple[tuple[str, str], ...] = ()

    @property
    def equal(self) -> bool:
        """True when a difference of the margin or more is ruled out for every pair of groups."""
        return self.state == EQUAL


def parity(data: StudyData) -> Parity:
    """Judge the start of all pairs of groups by the margin of `data.response`.

    A difference that is shown, yet proven to lie within the margin, is parity all the same.
    """
    result = compare(replace(data, groups=tuple(Group(group.name) for group in data.groups)))
    unlike = [c for c in result.comparisons if not _within(c)]
    if result.comparisons and not unlike:
        return Parity(result, EQUAL)
    shown = [c for c in unlike if c.verdict == SHOWN]
    pairs = tuple((c.group, c.against) for c in shown or unlike)
    return Parity(result, UNEQUAL if shown else UNKNOWN, pairs)


def _within(told: Comparison) -> bool:
    return told.verdict == RULED_OUT or told.within
