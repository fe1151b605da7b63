"""Does the verdict keep its promises? Thousands of simulated studies, judged by the real rule."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.study.verdict import Judged, judge
from rig.study.welch import welch
from tests.bench.figure import at_most

STUDIES = 20_000
SEED = 71
FALSE_LIMIT = 0.055

Array = NDArray[np.float64]


@dataclass(frozen=True)
class World:
    """Studies to simulate: blades a group, and the truth on the log scale, control first."""

    blades: Sequence[int]
    shifts: Sequence[float]
    scatter: Sequence[float]
    repeats: int = 1
    trial_scatter: float = 0.0


def judged(world: World, margin: float, studies: int, rng: np.random.Generator) -> Judged:
    """Simulate `studies` studies of a control and the rest, and judge each."""
    means, variances = [], []
    for n, shift, sd in zip(world.blades, world.shifts, world.scatter, strict=True):
        blade = shift + sd * rng.standard_normal((studies, n))
        trials = world.trial_scatter * rng.standard_normal((studies, n, world.repeats))
        values = (blade[..., None] + trials).mean(axis=-1)
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


def no_difference() -> dict[str, World]:
    """Worlds without a true difference, from easy to nasty."""
    worlds = {}
    for k in (2, 3, 4):
        for n in (3, 4, 6, 10):
            for ratio in (1 / 4, 1.0, 4.0):
                worlds[f"{k} groups of {n}, control scatters {ratio:g} times"] = World(
                    [n] * k, [0.0] * k, [ratio] + [1.0] * (k - 1)
                )
        for first, rest in ((3, 10), (10, 3)):
            for ratio in (1 / 2, 1.0, 2.0):
                worlds[f"{k} groups, control {first} blades, others {rest}, {ratio:g}"] = World(
                    [first] + [rest] * (k - 1), [0.0] * k, [ratio] + [1.0] * (k - 1)
                )
    return worlds


def false_different(worlds: dict[str, World]) -> tuple[str, float]:
    """The world with the most false differences, and their share of studies."""
    rng = np.random.default_rng(SEED)
    shares = {
        name: float(judged(world, 1.0, STUDIES, rng).shown.any(axis=-1).mean())
        for name, world in worlds.items()
    }
    worst = max(shares, key=lambda name: shares[name])
    return worst, shares[worst]


def figures() -> list[dict[str, Any]]:
    """Shares of false and true verdicts."""
    where, worst = false_different(no_difference())
    return [
        at_most(
            f"studies with a false difference, worst of {len(no_difference())} ({where})",
            worst, "share", FALSE_LIMIT,
        )
    ]  # fmt: skip


if __name__ == "__main__":
    for line in figures():
        print(json.dumps(line))
