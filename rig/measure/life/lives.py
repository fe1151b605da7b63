"""What is known of an edge's life: an interval of cuts, never a single number made up from it.

An edge is probed after counts of cuts fixed beforehand. It was still sharp at the last probe it
passed and no longer at the first it failed, so its life lies in (last pass, first fail].
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.errors import RigError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Life:
    """The life of one blade's edge, in cuts: in (last_pass_cuts, first_fail_cuts].

    Still sharp at the end (right-censored): `first_fail_cuts` is infinite. Failed at the first
    probe (left-censored): `last_pass_cuts` is 0. Both equal: the life is known exactly, as from
    a measured crossing.

    Raises:
        RigError: counts that are not numbers, negative, infinite where they cannot be, or the
            wrong way round; a life of exactly 0 cuts; a blade with nothing known about it.
    """

    specimen: str
    group: str
    last_pass_cuts: float
    first_fail_cuts: float

    def __post_init__(self) -> None:
        low, high = self.last_pass_cuts, self.first_fail_cuts
        if math.isnan(low) or math.isnan(high) or math.isinf(low) or low < 0:
            raise self._wrong("a last pass is a count of cuts, 0 or more")
        if high < low:
            raise self._wrong("the first fail comes after the last pass")
        if high == 0:
            raise self._wrong("no edge fails before its first cut; give the first failed probe")
        if low == 0 and math.isinf(high):
            raise self._wrong("nothing is known of this edge: leave the blade out")

    def _wrong(self, rule: str) -> RigError:
        told = f"life ({self.last_pass_cuts:g}, {self.first_fail_cuts:g}] cuts"
        return RigError(f"{told}: {rule}", where=self.specimen, remedy="check the probes")

    @property
    def survived(self) -> bool:
        """Whether the edge was still sharp at the end."""
        return math.isinf(self.first_fail_cuts)

    @property
    def exact(self) -> bool:
        """Whether the life is a single count."""
        return self.last_pass_cuts == self.first_fail_cuts

    def __str__(self) -> str:
        if self.survived:
            return f"more than {self.last_pass_cuts:g} cuts"
        if self.exact:
            return f"{self.first_fail_cuts:g} cuts"
        return f"more than {self.last_pass_cuts:g}, at most {self.first_fail_cuts:g} cuts"


def survivor(specimen: str, group: str, last_pass_cuts: float) -> Life:
    """The life of an edge still sharp after `last_pass_cuts`."""
    return Life(specimen, group, last_pass_cuts, math.inf)


def bounds(lives: Sequence[Life]) -> tuple[Array, Array]:
    """Last passes and first fails, in cuts, each of shape (n,).

    Raises:
        RigError: no lives at all, or one blade twice.
    """
    if not lives:
        raise RigError("no lives given", remedy="record at least one blade's probes")
    names = [life.specimen for life in lives]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise RigError(
            f"blade {twice[0]!r} has two lives",
            remedy="a blade counts once: nest its repeats before comparing",
        )
    low = np.array([life.last_pass_cuts for life in lives], dtype=float)
    return low, np.array([life.first_fail_cuts for life in lives], dtype=float)


def by_group(lives: Iterable[Life]) -> dict[str, list[Life]]:
    """Lives by group, groups in the order they are met."""
    groups: dict[str, list[Life]] = {}
    for life in lives:
        groups.setdefault(life.group, []).append(life)
    return groups
