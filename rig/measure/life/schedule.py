"""When to probe: counts of cuts fixed before the first cut.

Spacing by a ratio r makes the interval of a life the same share of it whenever the edge fails. Over
lives spread evenly on the log scale between two probes that share is, on average,

    (r - 1)^2 / (r ln r)

and never more than r - 1 of the last pass.
"""

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from scipy import optimize

from rig.errors import RigError

MOST_PROBES = 1_000


@dataclass(frozen=True)
class Schedule:
    """Counts of cuts after which the edge is probed, in rising order, and how they were made."""

    counts: tuple[int, ...]
    made: str

    def next_probe(self, done_cuts: int) -> int | None:
        """The count of the next probe after `done_cuts`, None when the schedule is over."""
        at = bisect_right(self.counts, done_cuts)
        return self.counts[at] if at < len(self.counts) else None

    def interval(self, life_cuts: float) -> tuple[float, float]:
        """(last pass, first fail] that this schedule would give for a life of `life_cuts`."""
        at = bisect_left(self.counts, life_cuts)
        low = float(self.counts[at - 1]) if at > 0 else 0.0
        return low, float(self.counts[at]) if at < len(self.counts) else math.inf

    def probes_for(self, life_cuts: float, confirming: int = 1) -> int:
        """Probes that an edge of this life costs, with `confirming` more after its first fail."""
        return min(len(self.counts), bisect_left(self.counts, life_cuts) + 1 + confirming)

    def width_share(self, life_cuts: float) -> float:
        """Width of the interval over the life; infinite past the last probe."""
        low, high = self.interval(life_cuts)
        return (high - low) / life_cuts


def geometric(first_cuts: int, ratio: float, last_cuts: int) -> Schedule:
    """Each count at most `ratio` times the one before (at least one cut more), up to the last.

    Raises:
        RigError: a first count under 1, a ratio of 1 or less, a last count under the first.
    """
    if not (math.isfinite(ratio) and ratio > 1):
        raise RigError(f"ratio of probes {ratio:g}", remedy="give a ratio above 1, such as 1.25")
    _check(first_cuts, last_cuts)
    counts = [first_cuts]
    while counts[-1] < last_cuts:
        # A little over, so that 100 * 1.1 is 110 and not 109.
        counts.append(min(last_cuts, max(counts[-1] + 1, math.floor(counts[-1] * ratio + 1e-9))))
        _not_endless(counts)
    return Schedule(tuple(counts), f"each at most {ratio:g} times the one before")


def stepped(step_cuts: int, last_cuts: int) -> Schedule:
    """Every `step_cuts` cuts up to the last. Raises RigError as `geometric`."""
    _check(step_cuts, last_cuts)
    _not_endless(range(0, last_cuts, step_cuts))
    counts = [*range(step_cuts, last_cuts, step_cuts), last_cuts]
    return Schedule(tuple(counts), f"every {step_cuts} cuts")


def planned(pilot_life_cuts: float, share: float, factor: float = 3.0) -> Schedule:
    """Spaced so that the expected interval is at most `share` of a life like the pilot's.

    It reaches from the pilot life over `factor` to the pilot life times `factor`: one pilot
    blade tells a life no better than that.

    Raises:
        RigError: a pilot life too short to divide, a share not in (0, 1], a factor of 1 or less.
    """
    if not 0 < share <= 1:
        raise RigError(f"share {share:g} of a life", remedy="give a share between 0 and 1: 0.2")
    if not (math.isfinite(factor) and factor > 1):
        raise RigError(f"factor {factor:g}", remedy="give a factor above 1, such as 3")
    if not (math.isfinite(pilot_life_cuts) and pilot_life_cuts / factor >= 1):
        raise RigError(
            f"pilot life of {pilot_life_cuts:g} cuts leaves no room for probes before it",
            remedy="use a milder medium, or a smaller factor",
        )
    first, last = math.floor(pilot_life_cuts / factor), math.ceil(pilot_life_cuts * factor)
    return geometric(first, ratio_for(share), last)


def expected_share(ratio: float) -> float:
    """Expected interval over the life for probes spaced by `ratio`."""
    return (ratio - 1) ** 2 / (ratio * math.log(ratio))


def ratio_for(share: float) -> float:
    """The ratio of probes whose expected interval is `share` of the life."""
    return float(optimize.brentq(lambda r: expected_share(r) - share, 1 + 1e-9, 100.0))


def _check(first_cuts: int, last_cuts: int) -> None:
    if first_cuts < 1 or last_cuts < first_cuts:
        raise RigError(
            f"probes from {first_cuts} to {last_cuts} cuts",
            remedy="the first probe comes after 1 cut or more, the last not before it",
        )


def _not_endless(counts: list[int] | range) -> None:
    if len(counts) > MOST_PROBES:
        raise RigError(
            f"more than {MOST_PROBES} probes", remedy="space them wider or end the test sooner"
        )
