"""Worlds that the verdict on measured values must stand: how often is it wrong in each?

A world deals blades to groups, furnace loads and days and gives every blade a value, all in plain
numpy: it knows nothing of the rule. Each of its studies then goes the way of a real one, from
observations to verdict (`rig.study.statistics.compare`). Scatter of blades is 1; the scale is
linear, as values on the log scale are when their logarithms are taken.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.study.statistics.compare import judged_of
from rig.study.statistics.contrasts import Contrast, contrast, pairs_of
from rig.study.statistics.data import LINEAR, Group, Observation, Response, StudyData
from rig.study.statistics.units import layout
from tests.bench.figure import at_most, figure

STUDIES = 2_000
SEED = 409
FALSE_LIMIT = 0.055
MARGIN = 6.0  # in scatters of blades; at a true difference of as much, "ruled out" is false

Array = NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Array]


def normal(rng: np.random.Generator, n: int) -> Array:
    """Scatter of blades alike."""
    return rng.standard_normal(n)


def heavy(rng: np.random.Generator, n: int) -> Array:
    """Student's t with 3 degrees of freedom, scatter 1."""
    return rng.standard_t(3, n) / np.sqrt(3.0)


def flawed(rng: np.random.Generator, n: int) -> Array:
    """One blade in ten has a flaw and lies four scatters low."""
    return rng.standard_normal(n) - 4.0 * (rng.random(n) < 0.1)


def skewed(rng: np.random.Generator, n: int) -> Array:
    """A gamma of shape 2 about its mean, scatter 1: skewness 1.4."""
    return (rng.gamma(2.0, 1.0, n) - 2.0) / np.sqrt(2.0)


@dataclass(frozen=True)
class World:
    """How studies come about.

    Args:
        blades: of each group, the control first.
        scatter: of each group's blades; by_load: of loads (of each group's own, or shared),
            by_recipe: of each recipe within a shared load.
        loads: how many; 0 = all blades in one. own: each group has that many of its own.
        days: how many, dealt in turn, or in `rounds`: the groups take turns and days run across
            them; by_day: scatter of days; learning: gain from first trial to last, as the one at
            the bench learns.
        lost: chance that a blade is lost.
        dial: step to which values are read; 0 = finely.
    """

    blades: tuple[int, ...]
    scatter: tuple[float, ...] = ()
    draw: Draw = normal
    loads: int = 0
    own: bool = False
    named: bool = True
    by_load: float = 0.0
    by_recipe: float = 0.0
    days: int = 1
    rounds: bool = False
    by_day: float = 0.0
    learning: float = 0.0
    lost: float = 0.0
    dial: float = 0.0

    def _in_rounds(self, rng: np.random.Generator) -> dict[tuple[int, int], int]:
        """(group, blade) -> place, each round with one blade of every group in random order."""
        order = [
            (g, i)
            for i in range(max(self.blades))
            for g in rng.permutation(len(self.blades)).tolist()
            if i < self.blades[g]
        ]
        return {blade: place for place, blade in enumerate(order)}

    def study(self, rng: np.random.Generator) -> StudyData:
        """One study of groups truly alike."""
        blades = [(g, i) for g, n in enumerate(self.blades) for i in range(n)]
        days = rng.standard_normal(self.days) * self.by_day
        shared = rng.standard_normal(max(self.loads, 1)) * self.by_load
        own = rng.standard_normal((len(self.blades), max(self.loads, 1)))
        turn = rng.permutation(len(blades)) / max(len(blades) - 1, 1)
        rank = {g: rng.permutation(n) for g, n in enumerate(self.blades)}
        noise = [self.draw(rng, n) for n in self.blades]
        spread = self.scatter or (1.0,) * len(self.blades)
        kept = rng.random(len(blades)) >= self.lost
        next_of = self._in_rounds(rng)
        seen, block_of = [], {}
        for (g, i), at, counts in zip(blades, turn, kept, strict=True):
            load = i % self.loads if self.loads else 0
            day = int(rank[g][i]) % self.days
            if self.rounds:  # one of each group in turn, as many trials a day as go in
                day = next_of[(g, i)] * self.days // len(blades)
            of_load = self.by_load * own[g, load] if self.own else shared[load]
            value = of_load + self.by_recipe * own[g, load] * (not self.own)
            value += days[day] + self.learning * at + spread[g] * noise[g][i]
            if self.dial:
                value = self.dial * np.floor(value / self.dial + 0.5)
            if counts:
                name = f"{g}.{i}"
                place = f"{g if self.own else ''} load {load}" if self.named else ""
                seen.append(Observation(f"g{g}", name, float(value), place))
                block_of[name] = f"day {day}"
        groups = tuple(Group(f"g{g}", g == 0) for g in range(len(self.blades)))
        response = Response("value", "1", LINEAR, MARGIN, MARGIN)
        return StudyData(response, groups, tuple(seen), (), block_of if self.days > 1 else {})


def worlds() -> Iterator[tuple[str, World]]:
    """Every world that must be held, by name."""
    for name, draw in (("normal", normal), ("t3", heavy), ("10 % flawed blades", flawed),
                       ("skewed, equal scatter", skewed)):  # fmt: skip
        for n in (3, 4, 6):
            for k in (2, 3, 4):
                yield f"{name}, {k} groups of {n}", World((n,) * k, draw=draw)
    for n in (3, 4, 6):
        yield f"scatters 1:3, 2 groups of {n}", World((n, n), (1.0, 3.0))
        yield f"scatters 3:1:1, 3 groups of {n}", World((n,) * 3, (3.0, 1.0, 1.0))
    for small, large in ((2, 8), (3, 8)):
        for scatter in ((1.0, 1.0), (3.0, 1.0), (1.0, 3.0)):
            yield f"{small} v 8, scatters {scatter}", World((small, large), scatter)
        for name, draw in (("flawed", flawed), ("t3", heavy), ("skewed", skewed)):
            yield f"{small} v 8, {name}", World((small, large), draw=draw)
    for n in (3, 4, 5):
        for scatter in ((1.0, 1.0, 1.0), (3.0, 1.0, 1.0)):
            for by_day in (0.5, 1.0, 2.0):
                yield (f"days {by_day:g}, 3 groups of {n}, scatters {scatter}",
                       World((n,) * 3, scatter, days=2, by_day=by_day))  # fmt: skip
        yield f"days 1, lost blades, 2 groups of {n}", World((n, n), days=2, by_day=1.0, lost=0.1)
        for k, days in ((2, 3), (3, 5), (3, 6)):
            yield (f"{days} days of 1 in rounds, {k} groups of {n}",
                   World((n,) * k, days=days, by_day=1.0, rounds=True))  # fmt: skip
    yield "days 1, 3 v 4, 2 days", World((3, 4), days=2, by_day=1.0)
    for by_load in (1.0, 2.0):
        yield f"one load a recipe, {by_load:g}", World((4, 4), loads=1, own=True, by_load=by_load)
        yield (f"one load a recipe, not on record, {by_load:g}",
               World((4, 4), loads=1, own=True, named=False, by_load=by_load))  # fmt: skip
        for loads in (2, 3):
            yield (f"{loads} loads a recipe, {by_load:g}, 2 groups of 6",
                   World((6, 6), loads=loads, own=True, by_load=by_load))  # fmt: skip
        yield (f"3 loads a recipe, {by_load:g}, lost blades",
               World((6, 6, 6), loads=3, own=True, by_load=by_load, lost=0.1))  # fmt: skip
    for by_recipe in (0.0, 0.5, 1.0):
        for loads, n in ((3, 3), (3, 6), (4, 4), (4, 8)):
            for scatter in ((1.0, 1.0, 1.0), (3.0, 1.0, 1.0)):
                name = f"{n} in {loads} shared loads, by recipe {by_recipe:g}, scatters {scatter}"
                yield name, World((n,) * 3, scatter, loads=loads, by_load=1, by_recipe=by_recipe)
        yield (f"6 in 3 shared loads, by recipe {by_recipe:g}, lost blades",
               World((6, 6, 6), loads=3, by_load=1.0, by_recipe=by_recipe, lost=0.1))  # fmt: skip
        yield (f"4 in 4 shared loads, by recipe {by_recipe:g}, lost blades",
               World((4, 4, 4), loads=4, by_load=1.0, by_recipe=by_recipe, lost=0.1))  # fmt: skip
    for n in (4, 6):
        yield (f"{n} in 2 shared loads, loads alike to recipes",
               World((n, n, n), loads=2, by_load=1.0))  # fmt: skip
        yield (f"{n} in 2 shared loads, loads alike to recipes, lost blades",
               World((n, n, n), loads=2, by_load=1.0, lost=0.1))  # fmt: skip
    for n in (3, 4, 6):
        for dial in (0.5, 1.0, 2.0):
            yield f"read to {dial:g} scatters, 2 groups of {n}", World((n, n), dial=dial)
        yield f"learning, 2 groups of {n}", World((n, n), learning=2.0)
        yield (
            f"learning, 2 days, 3 groups of {n}",
            World((n,) * 3, days=2, by_day=0.5, learning=2.0),
        )


def not_held() -> Iterator[tuple[str, World]]:
    """Worlds in which no test of so few blades keeps 5 %, or what is taken for granted is broken:
    their figures stand with their names, and the report's limits say so."""
    for n in (4, 6):
        yield f"skewed, scatters 1:3, 2 groups of {n}", World((n, n), (1.0, 3.0), skewed)
    for by_recipe in (0.5, 1.0):
        yield (f"6 in 2 shared loads, tempered apart ({by_recipe:g})",
               World((6, 6), loads=2, by_load=1.0, by_recipe=by_recipe))  # fmt: skip
        yield (f"4 in one load, tempered apart ({by_recipe:g})",
               World((4, 4), loads=1, by_load=1.0, by_recipe=by_recipe))  # fmt: skip


def wrong(world: World, seed: int, studies: int = STUDIES) -> Array:
    """Share of studies with a false difference, and with a false "ruled out".

    For the second, groups are moved apart by the margin, up or down in turn, the first of them up
    or down: whichever is wrong more often counts, since the values may be skewed. That is exact for
    contrasts, which are linear in the values (and for a dial whose step the margin is a multiple
    of). "Ruled out" counts whatever else is shown: the harder promise.
    """
    rng = np.random.default_rng(seed)
    count = np.zeros(3)
    for _ in range(studies):
        data = world.study(rng)
        plan = layout(data)
        told = [contrast(plan, one, two, data.block_of) for one, two in pairs_of(data)[0]]
        if known := [item for item in told if item.reason is None]:
            count += (
                bool(judged_of(known, data.response).shown.any()),
                *(_any_ruled_out(known, data.response, way) for way in (1.0, -1.0)),
            )
    return np.array([count[0], count[1:].max()]) / studies


def _any_ruled_out(known: Sequence[Contrast], response: Response, way: float) -> bool:
    apart = [
        replace(x, difference=x.difference + way * MARGIN * (-1.0) ** int(x.group[1:]))
        for x in known
    ]
    return bool(judged_of(apart, response).within.any())


def settled(world: World, seed: int) -> tuple[Array, int]:
    """The shares, and of how many studies: ten times as many, drawn anew, where one is above the
    bar by what may be chance alone. The figure of those then counts."""
    seen = wrong(world, seed)
    if (seen <= FALSE_LIMIT).all():
        return seen, STUDIES
    return wrong(world, seed + 10_000, 10 * STUDIES), 10 * STUDIES


def _settled(job: tuple[int, World]) -> tuple[Array, int]:
    return settled(job[1], SEED + job[0])


def _unheld(job: tuple[int, World]) -> Array:
    return wrong(job[1], SEED - 1 - job[0])


def figures() -> list[dict[str, Any]]:
    """The worst world of each kind of error, and those that are not held."""
    held, open_ = dict(worlds()), dict(not_held())
    with ProcessPoolExecutor(2) as pool:
        found = dict(zip(held, pool.map(_settled, enumerate(held.values())), strict=True))
        unheld = dict(zip(open_, pool.map(_unheld, enumerate(open_.values())), strict=True))
    out = []
    for at, what in enumerate(("a false difference", 'a false "ruled out"')):
        worst = max(found, key=lambda name, at=at: found[name][0][at])
        shares, studies = found[worst]
        text = f"studies with {what}, worst of {len(found)} worlds ({worst}; {studies:,} studies)"
        out.append(at_most(text, float(shares[at]), "share", FALSE_LIMIT))
    for name, shares in unheld.items():
        for share, what in zip(shares, ("false difference", 'false "ruled out"'), strict=True):
            out.append(figure(f"{what}, {name}: not held, as the report's limits say",
                              float(share), "share", "stands with its name", True))  # fmt: skip
    return out
