"""Studies for the tests: made of blade values, or drawn with a known truth."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from rig.study.statistics.data import LOG, BladeFacts, Group, Observation, Response, StudyData

TORQUE = Response("peak torque", "N.m", LOG, smallest=1.25, margin=1.2)


def study(
    values: Mapping[str, Sequence[float | Sequence[float]]],
    response: Response = TORQUE,
    control: str | None = "A",
    loads: Mapping[str, Sequence[str]] | None = None,
    facts: Sequence[BladeFacts] = (),
    u: float = 0.0,
) -> StudyData:
    """A study from the values of each group's blades: one number or several trials a blade.

    Blades are called A1, A2 ...; `loads` names the furnace load of each, left out: one for all.
    """
    seen = []
    for group, blades in values.items():
        for i, trials in enumerate(blades):
            load = loads[group][i] if loads else "one"
            several = trials if isinstance(trials, Sequence) else [trials]
            seen += [
                Observation(group, f"{group}{i + 1}", value, load, u, "", (f"{group}{i + 1}.{t}",))
                for t, value in enumerate(several)
            ]
    groups = tuple(Group(name, name == control) for name in values)
    return StudyData(response, groups, tuple(seen), tuple(facts))


def drawn(
    rng: np.random.Generator,
    ratios: Sequence[float] = (1.0, 1.0),
    blades: int = 5,
    trials: int = 1,
    scatter: float = 0.1,
    within: float = 0.0,
) -> dict[str, list[list[float]]]:
    """Log-normal values of groups A, B ... whose medians are 10 times `ratios`."""
    out = {}
    for name, ratio in zip("ABCDEFGH", ratios, strict=False):
        blade = math.log(10 * ratio) + scatter * rng.standard_normal((blades, 1))
        values = np.exp(blade + within * rng.standard_normal((blades, trials)))
        out[name] = [[float(x) for x in row] for row in values]
    return out
