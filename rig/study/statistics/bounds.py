"""The units of a group of which some are only bounds, and the difference of two such groups."""

import math
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rig.measure.budget import Reason
from rig.measure.life import Life, median_ratio
from rig.measure.life.estimate import Estimate
from rig.study.statistics.contrasts import Contrast
from rig.study.statistics.joint import exact_p, fits
from rig.study.statistics.reach import Reach, Scene, reach, scene
from rig.study.statistics.units import LOAD, PAIR_IN_LOAD, BladeMean, Layout
from rig.study.statistics.welch import two_sided

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Side:
    """The units of one group on the scale of analysis, with their loads.

    Attributes:
        above: which are only known to be larger than their value (survivors).
        below: which are only known to be smaller.
    """

    group: str
    values: Array
    above: Flags
    below: Flags
    loads: tuple[str, ...]

    @property
    def freedom(self) -> int:
        """Degrees of freedom of the group's scatter."""
        return len(self.values) - 1

    @property
    def known(self) -> Flags:
        """Which are known as they are."""
        return ~(self.above | self.below)


def side(plan: Layout, group: str, unit: str, below: frozenset[str]) -> Side:
    """Blades, or loads with the mean of their blades (a bound when one of them is).

    Args:
        below: blades of which only an upper bound is known; other bounds are lower ones.
    """
    units: dict[str, list[BladeMean]] = {}
    for blade in plan.blades:
        if blade.group == group:
            units.setdefault(blade.load if unit == LOAD else blade.blade, []).append(blade)
    each = list(units.values())
    return Side(
        group,
        np.array([math.fsum(b.mean for b in blades) / len(blades) for blades in each]),
        np.array([any(b.censored and b.blade not in below for b in blades) for blades in each],
                 dtype=bool),
        np.array([any(b.blade in below for b in blades) for blades in each], dtype=bool),
        tuple(blades[0].load for blades in each),
    )  # fmt: skip


def why_not(plan: Layout, one: Side, two: Side, unit: str) -> tuple[Reason, ...]:
    """Why two groups with bounds cannot be compared; nothing when they can."""
    thin = [side.group for side in (one, two) if side.freedom < 1]
    if thin:
        mine = [r for r in plan.reasons if any(r.text.startswith(f"{name}:") for name in thin)]
        return tuple(mine) or (Reason("group_not_told", f"{thin[0]}: too few units."),)
    if one.above.all() and two.above.all():
        text = (
            f"Every blade of {one.group} and of {two.group} survived: they cannot be told apart. "
            "Test to a higher limit."
        )
        return (Reason("all_survived", text),)
    if one.below.all() and two.below.all():
        text = f"Every edge of {one.group} and of {two.group} failed its first probe: probe sooner."
        return (Reason("dull_at_first_probe", text),)
    if unit == PAIR_IN_LOAD or (unit != LOAD and not _in_step(one, two)):
        text = (
            f"Some values of {one.group} or {two.group} are bounds, and differences within furnace "
            "loads cannot be made of bounds. Test to a higher limit."
        )
        return (Reason("bounds_in_loads", text),)
    return ()


def _in_step(one: Side, two: Side) -> bool:
    """Whether the furnace loads hold blades of both groups in one proportion."""
    a, b = Counter(one.loads), Counter(two.loads)
    return all(a[load] * len(two.loads) == b[load] * len(one.loads) for load in {*a, *b})


def by_likelihood(one: Side, two: Side, item: Contrast) -> Contrast | None:
    """The difference with a scatter of each group's own; None where bounds leave it open.

    Upper bounds are lower ones of what is mirrored; both kinds together are left to the order of
    the values (`by_order`).

    Args:
        item: the same groups as if all were values: their unit and loads.
    """
    way = mirror(one, two)
    if way == 0:
        return None
    told = fits(way * one.values, one.known, way * two.values, two.known)
    if not (np.isfinite(told.se) and told.se > 0):
        return None
    return Contrast(
        one.group, two.group, way * float(told.difference), float(told.se), float(told.dof),
        one.freedom, two.freedom, 0.5, item.unit, item.loads,
    )  # fmt: skip


def mirror(one: Side, two: Side) -> int:
    """1 with lower bounds, -1 with upper bounds, 0 with both."""
    above, below = one.above.any() or two.above.any(), one.below.any() or two.below.any()
    return 0 if above and below else -1 if below else 1


def bounded_to(one: Side, two: Side) -> int:
    """1 where bounds can only raise the ratio of the first group to the second, -1 where they can
    only lower it; 0 without bounds, or with both kinds."""
    up = one.above.any() or two.below.any()
    down = one.below.any() or two.above.any()
    return int(up) - int(down)


def p_of(item: Contrast) -> float:
    """p of "no difference", kept at its level."""
    return float(two_sided(item.difference, item.se, item.dof, item.f1, item.f2))


def by_order(one: Side, two: Side, unit: str) -> float:
    """p of "no difference" by the exact test.

    Units only known to be smaller stand before all others, so that their place is known.
    """
    loads = [*one.loads, *two.loads]
    if unit == LOAD:  # loads that are units are dealt freely
        loads = [""] * len(loads)
    return float(exact_p(one.values, ~one.above, two.values, ~two.above, loads))


def ratio(one: Side, two: Side, level: float) -> Estimate:
    """Ratio of the medians at a scatter common to both groups."""
    return median_ratio(_lives(one), _lives(two), level=level)


def _lives(side: Side) -> list[Life]:
    """A unit bounded from both sides, as a load of a survivor and of an edge dull at once, is none.

    Nothing is known of it, so it says nothing of the ratio.
    """
    return [
        Life(
            f"{side.group} {i}", side.group, 0.0 if under else math.exp(y),
            math.inf if over else math.exp(y),
        )
        for i, (y, over, under) in enumerate(zip(side.values, side.above, side.below, strict=True))
        if not (over and under)
    ]  # fmt: skip


def found_each_way(one: Side, two: Side, level: float) -> Reach:
    """What the study would have found, by simulation."""
    way = mirror(one, two)
    if way == 0:
        return Reach(None, None, (Reason(
            "reach_unknown", "With bounds on both sides it cannot be said what would be found."
        ),))  # fmt: skip
    for mine in (one, two):
        if not mine.known.any():
            text = (
                f"All values of {mine.group} are bounds, which tell nothing of its scatter: what "
                "this study would have found cannot be said."
            )
            return Reach(None, None, (Reason("reach_unknown", text),))
    at = scene(way * one.values, one.known, way * two.values, two.known)
    if not isinstance(at, Scene):
        return Reach(None, None, (at,))
    told = reach(at, level)
    return told if way > 0 else replace(told, weaker=told.stronger, stronger=told.weaker)
