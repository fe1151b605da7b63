"""Does the verdict keep its promises? Thousands of simulated studies, judged by the real rule."""

import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rig.study.statistics.contrasts import contrast
from rig.study.statistics.data import LOG, Group, Observation, Response, StudyData
from rig.study.statistics.designs import Design
from rig.study.statistics.units import layout
from rig.study.statistics.verdict import Judged, judge
from rig.study.statistics.welch import welch
from tests.bench.figure import at_most, figure

STUDIES = 20_000
PIPELINE_STUDIES = 2_000
SEED = 71
FALSE_LIMIT = 0.055

Array = NDArray[np.float64]


@dataclass(frozen=True)
class World:
    """Studies to simulate: blades a group, and the truth on the log scale, control first."""

    blades: Sequence[int]
    shifts: Sequence[float]
    scatter: Sequence[float]


def judged(world: World, margin: float, studies: int, rng: np.random.Generator) -> Judged:
    """Simulate `studies` studies of a control and the rest, and judge each."""
    means, variances = [], []
    for n, shift, sd in zip(world.blades, world.shifts, world.scatter, strict=True):
        values = shift + sd * rng.standard_normal((studies, n))
        means.append(values.mean(axis=1))
        variances.append(values.var(axis=1, ddof=1) / n)
    f = [n - 1 for n in world.blades]
    parts = [
        welch(means[0], v, fi, variances[0], f[0])
        for v, fi in zip(variances[1:], f[1:], strict=True)
    ]
    return judge(
        np.stack([mean - means[0] for mean in means[1:]], axis=-1),
        np.stack([se for se, _ in parts], axis=-1),
        np.stack([dof for _, dof in parts], axis=-1),
        [(fi, f[0]) for fi in f[1:]],
        margin,
    )


def shapes() -> Iterator[tuple[str, list[int], list[float]]]:
    """Numbers of blades and scatters, from easy to nasty."""
    for k in (2, 3, 4):
        for n in (3, 4, 6, 10):
            for ratio in (1 / 4, 1.0, 4.0):
                name = f"{k} groups of {n}, control scatters {ratio:g} times"
                yield name, [n] * k, [ratio] + [1.0] * (k - 1)
        for first, rest in ((3, 10), (10, 3)):
            for ratio in (1 / 2, 1.0, 2.0):
                name = f"{k} groups, {first} blades in the control, {rest} in others, {ratio:g}"
                yield name, [first] + [rest] * (k - 1), [ratio] + [1.0] * (k - 1)


def false_different() -> dict[str, float]:
    """Share of studies with any false difference, by world."""
    rng = np.random.default_rng(SEED)
    return {
        name: float(
            judged(World(n, [0.0] * len(n), sd), 1.0, STUDIES, rng).shown.any(axis=-1).mean()
        )
        for name, n, sd in shapes()
    }


def false_equivalent() -> dict[str, float]:
    """Share of studies with any false "ruled out", all true differences at the margin.

    The margin is wide against the scatter: then the test uses its whole 5 %.
    """
    rng = np.random.default_rng(SEED + 1)
    shares = {}
    for name, n, sd in shapes():
        margin = 8 * max(sd) / math.sqrt(min(n))
        for way in (1, -1):  # the others all on one side, or in turn on both
            shifts = [0.0] + [margin * way**i for i in range(len(n) - 1)]
            told = judged(World(n, shifts, sd), margin, STUDIES, rng)
            # "Ruled out" as tested, whatever else is shown: the harder promise.
            shares[f"{name}, {way:+d}"] = float(told.within.any(axis=-1).mean())
    return shares


def planned() -> dict[str, float]:
    """Share of studies that find a true difference of the size they were planned for."""
    rng = np.random.default_rng(SEED + 2)
    shares = {}
    for k in (2, 3, 4):
        for n in (3, 4, 5, 6, 8, 10, 15):
            size = Design().detectable(n, k - 1)
            if Design().fewest(size * (1 + 1e-6), k - 1) != n:
                raise AssertionError(f"the plan for {size} scatters is not {n} blades")
            shifts = [0.0, size] + [0.0] * (k - 2)
            told = judged(World([n] * k, shifts, [1.0] * k), 1.0, STUDIES, rng)
            shares[f"{k} groups of {n}"] = float(told.shown[:, 0].mean())
    return shares


def trap_studies(loads: int, blades: int, trials: int) -> Iterator[tuple[StudyData, float]]:
    """Few blades (or loads) that scatter much, many trials, no true difference.

    With the p of the naive t test that counts every trial.
    """
    rng = np.random.default_rng(SEED + 3)
    response = Response("life", "cuts", LOG, 1.25, 1.2)
    for _ in range(PIPELINE_STUDIES):
        seen, naive = [], []
        for name in "AB":
            heat = 0.3 * rng.standard_normal((loads, 1, 1)) if loads > 1 else np.zeros((1, 1, 1))
            own = 0.3 * rng.standard_normal((loads, blades, 1))
            values = np.exp(heat + own + 0.05 * rng.standard_normal((loads, blades, trials)))
            naive.append(np.log(values).ravel())
            for at, value in np.ndenumerate(values):
                load = f"{name}{at[0]}" if loads > 1 else "one"
                seen.append(Observation(name, f"{name}{at[0]}.{at[1]}", float(value), load))
        groups = (Group("A", True), Group("B"))
        yield StudyData(response, groups, tuple(seen)), float(stats.ttest_ind(*naive).pvalue)


def trapped(loads: int, blades: int, trials: int) -> tuple[float, float]:
    """False differences by the real path from trials to verdict, and by counting trials."""
    ours = naive = 0
    for data, p in trap_studies(loads, blades, trials):
        told = contrast(layout(data), "B", "A")
        one = judge([told.difference], [told.se], [told.dof], [(told.f1, told.f2)], 1.0)
        ours += bool(one.shown[0])
        naive += p <= 0.05
    return ours / PIPELINE_STUDIES, naive / PIPELINE_STUDIES


def figures() -> list[dict[str, Any]]:
    """Shares of false and true verdicts."""
    chances = planned()
    low, high = (_extreme(chances, pick) for pick in (min, max))
    traps = {
        "3 blades, 20 trials each": trapped(1, 3, 20),
        "3 loads of 4 blades, 5 trials each": trapped(3, 4, 5),
    }
    return [
        _worst("a false difference", false_different(), STUDIES),
        _worst('a false "ruled out"', false_equivalent(), STUDIES),
        *(
            figure(f"planned differences found, {name} ({where})", share, "share",
                   "0.78 to 0.83", 0.78 <= share <= 0.83)
            for name, (where, share) in (("fewest", low), ("most", high))
        ),
        *(
            at_most(f"false differences of {PIPELINE_STUDIES}: {name} "
                    f"({naive:.0%} when trials are counted)", ours, "share", FALSE_LIMIT)
            for name, (ours, naive) in traps.items()
        ),
    ]  # fmt: skip


def _extreme(shares: dict[str, float], pick: Callable[..., str]) -> tuple[str, float]:
    where = pick(shares, key=lambda name: shares[name])
    return where, shares[where]


def _worst(what: str, shares: dict[str, float], studies: int) -> dict[str, Any]:
    where, share = _extreme(shares, max)
    name = f"studies with {what}, worst of {len(shares)} worlds of {studies:,} ({where})"
    return at_most(name, share, "share", FALSE_LIMIT)


if __name__ == "__main__":
    for line in figures():
        print(json.dumps(line))
