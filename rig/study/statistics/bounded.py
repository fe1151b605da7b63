"""What comes of comparing groups of which some values are bounds (`censored` works it out)."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from rig.measure.budget import Reason
from rig.study.statistics.compare import OfDifferences, OfLoads
from rig.study.statistics.rates import Rate
from rig.study.statistics.reach import Reach
from rig.study.statistics.units import Layout


class Ratio(NamedTuple):
    """Ratio of the typical values (not finite where bounds leave it open), with its 95 % interval
    for all comparisons together; 0 or infinite where open."""

    effect: float
    low: float
    high: float


@dataclass(frozen=True)
class CensoredComparison:
    """One group against another, bounds included.

    Attributes:
        compute: works out `ratio`, which may take a while.
        p, p_adjusted: of "no difference", alone and for all comparisons together.
        find: works out `reach`, which may take a while.
        assumes: what is taken for granted of the furnace loads; "" for nothing.
        loads_differ: what the blades of the two loads say where each group had one load only.
        missed: ratio that may hide behind lives that all ended between the same two probes.
        at_least, at_most: ratio of these blades, were each bound the value itself, where all
            bounds lie to one side; None else.
        mostly_bounds: more than a quarter of a group are bounds.
        differences: within furnace loads that it rests on; None where it rests on blades or loads.
    """

    group: str
    against: str
    compute: Callable[[], Ratio]
    p: float
    p_adjusted: float
    find: Callable[[], Reach]
    verdict: str
    reasons: tuple[Reason, ...] = ()
    assumes: str = ""
    loads_differ: OfLoads | None = None
    missed: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    mostly_bounds: bool = False
    differences: OfDifferences | None = None

    @cached_property
    def ratio(self) -> Ratio:
        """Ratio of the typical values, with its interval."""
        return self.compute()

    @property
    def effect(self) -> float:
        """Ratio of the typical values; not finite where bounds leave it open."""
        return self.ratio.effect

    @property
    def low(self) -> float:
        """Lower end of its interval."""
        return self.ratio.low

    @property
    def high(self) -> float:
        """Upper end of its interval."""
        return self.ratio.high

    @cached_property
    def reach(self) -> Reach:
        """What the study would have found with 80 % power, each way."""
        return self.find()

    @property
    def detectable(self) -> float | None:
        """The same where it is one figure for both ways; None where bounds make two of it."""
        return None if self.missed or self.reach.upper is None else self.reach.weaker

    @property
    def detectable_upper(self) -> float | None:
        """The same at the upper limit of the scatter."""
        return None if self.missed else self.reach.upper


@dataclass(frozen=True)
class CensoredResult:
    """What a study says of a response of which some values are bounds."""

    layout: Layout
    comparisons: tuple[CensoredComparison, ...]
    rates: tuple[Rate, ...]
    verdict: str
    reasons: tuple[Reason, ...]
    whole: bool  # no comparison rests on bounds
