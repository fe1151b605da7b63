"""What a study with survivors would have found, by simulating it with the scatter it met."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.measure.budget import Reason
from rig.study.statistics.joint import LEAST_UNITS, UNLIKE, joint_p
from rig.study.statistics.survivors import fit
from rig.study.statistics.verdict import CHANCE

STUDIES = 300
ARRANGEMENTS = 1000  # as fine as so few simulated studies ask for
SEED = 1
FARTHEST = math.log(50.0)  # a ratio beyond which nobody asks
CLOSE = 0.03  # of the logarithm: finer than so few simulated studies can tell

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Reach:
    """Ratios found with 80 % power, rough: a group `weaker` or `stronger` by so many times.

    None where even a ratio of 50 would not be found: survivors hide how strong they are. `upper`:
    the same at the upper limit of the scatter, where it is one figure for both ways; else None.
    `why`: no ratio would be found some way, in words; "" where each way has its figure.
    """

    weaker: float | None
    stronger: float | None
    reasons: tuple[Reason, ...] = ()
    upper: float | None = None
    why: str = ""


@dataclass(frozen=True)
class Scene:
    """Two groups as met: units, medians and scatters on the log scale, and the test's limit."""

    n1: int
    n2: int
    median: float
    sd1: float
    sd2: float
    limit: float


def scene(one: Array, one_failed: Flags, two: Array, two_failed: Flags) -> Scene | Reason:
    """What the study met, or the reason why it cannot be simulated.

    A group that cannot be fitted takes the other's scatter; the median is the second group's, or
    the first's when the second cannot be fitted.
    """
    a, b = fit(one, one_failed), fit(two, two_failed)
    known = [x for x in (b, a) if np.isfinite(x.sd)]
    if not known:
        return Reason(
            "reach_unknown",
            "Too few failures to say what the study would have found.",
        )
    survived = np.concatenate([one[~one_failed], two[~two_failed]])
    sd1 = float(a.sd) if np.isfinite(a.sd) else float(b.sd)
    sd2 = float(b.sd) if np.isfinite(b.sd) else float(a.sd)
    limit = float(survived.min()) if len(survived) else math.inf
    return Scene(len(one), len(two), float(known[0].mean), sd1, sd2, limit)


def simulated(at: Scene, shift: float, studies: int, seed: int) -> tuple[Array, Flags]:
    """Units of `studies` studies, the first group's median moved by `shift`; and which failed."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((studies, at.n1 + at.n2))
    sd = np.repeat([at.sd1, at.sd2], [at.n1, at.n2])
    values = at.median + np.repeat([shift, 0.0], [at.n1, at.n2]) + sd * z
    return np.minimum(values, at.limit), values < at.limit


def reach(at: Scene, level: float) -> Reach:
    """Ratios that `rig.study.statistics.joint` finds at `level` in 80 of 100 studies."""
    weaker, stronger = _found(at, level, -1), _found(at, level, 1)
    return Reach(weaker, stronger, why="" if weaker and stronger else _hidden(at))


def _hidden(at: Scene) -> str:
    """Why even groups far apart would not be told apart."""
    why = "of blades that outlast the test only their number is known"
    small, large = sorted((at.n1, at.n2))
    if small < LEAST_UNITS or large > UNLIKE * small:
        return (
            f"{why}, and a test by their number asks for {LEAST_UNITS} blades or more in each "
            "group, in numbers not too unlike"
        )
    return why


def _found(at: Scene, level: float, way: int) -> float | None:
    def chance(shift: float) -> float:
        values, failed = simulated(at, way * shift, STUDIES, SEED)
        p = joint_p(
            values[:, : at.n1], failed[:, : at.n1], values[:, at.n1 :], failed[:, at.n1 :],
            ARRANGEMENTS,
        )  # fmt: skip
        return float((p <= level).mean())

    # Of the size that a study without survivors finds, and then outwards.
    low, high = 0.0, 3.0 * math.sqrt(at.sd1**2 / at.n1 + at.sd2**2 / at.n2)
    while (high := min(high, FARTHEST)) and chance(high) < CHANCE:
        if high == FARTHEST:
            return None
        low, high = high, 2 * high
    while high - low > CLOSE * high:
        middle = (low + high) / 2
        if chance(middle) >= CHANCE:
            high = middle
        else:
            low = middle
    return math.exp(high)
