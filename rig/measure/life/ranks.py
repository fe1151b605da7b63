"""Do groups differ in life? A log-rank test for lives known as intervals, by permutation.

Each blade gets a score from where its life lies in the curve of all blades together: the log-rank
scores of J. Sun (A non-parametric test for interval-censored failure time data, Statistics in
Medicine 15 (1996) 1387-1395), or those of D. M. Finkelstein (A proportional hazards model for
interval-censored failure time data, Biometrics 42 (1986) 845-854). Written as by M. P. Fay and
P. A. Shaw (J. Statistical Software 36 (2010) issue 2), with S the common curve and H its cumulative
hazard, for a life (L, R]:

    score = [S(L) ln S*(L) - S(R) ln S*(R)] / [S(L) - S(R)]        ln S* = -H

Sun takes H as the sum of mass over share at risk, so that exact and right-censored lives give the
ordinary log-rank scores; Finkelstein takes H = -ln S. A positive score is an early failure. Under
the hypothesis of no difference every way to deal the blades to the groups is as likely as the
one seen: p is counted over all of them, or over a sample drawn with the seed stated.

The unit is the blade. All blades must have been probed alike: where probing depended on the group,
the permutation argument fails.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rig.errors import RigError
from rig.measure.budget import Reason
from rig.measure.life.lives import Life, by_group
from rig.measure.life.turnbull import masses

Array = NDArray[np.float64]

MOST = 200_000  # ways to deal the blades up to which all are counted
DRAWN = 99_999
SEED = 1
ALPHA = 0.05


class Scores(Enum):
    """Which form of the log-rank scores."""

    SUN = "Sun"
    FINKELSTEIN = "Finkelstein"


@dataclass(frozen=True)
class GroupTest:
    """What the test found.

    `early` is each group's sum of scores: like observed less expected failures, positive where
    edges failed early. `z` is that of the first group over its permutation standard deviation
    (two groups only, else nan). `smallest_p` is the least p that these numbers of blades, with
    lives that tie as these do, could have given. `seed` is None where all ways were counted.
    """

    p_value: float
    smallest_p: float
    early: dict[str, float]
    z: float
    ways: int
    seed: int | None
    method: str
    reasons: tuple[Reason, ...] = ()


def group_test(
    lives: Sequence[Life],
    scores: Scores = Scores.SUN,
    most: int = MOST,
    drawn: int = DRAWN,
    seed: int = SEED,
) -> GroupTest:
    """Test that all groups have one distribution of life, two-sided.

    Args:
        lives: one a blade, two groups or more.
        scores: form of the scores.
        most: count all ways up to this many.
        drawn: else draw this many.
        seed: for drawing.

    Raises:
        RigError: fewer than two groups, a blade twice.
    """
    groups = by_group(lives)
    if len(groups) < 2:
        raise RigError("one group alone cannot be compared", remedy="give lives of two groups")
    each = dict(zip([life.specimen for life in lives], log_rank_scores(lives, scores), strict=True))
    dealt = [np.array([each[life.specimen] for life in own]) for own in groups.values()]
    early = {name: float(own.sum()) for name, own in zip(groups, dealt, strict=True)}
    ways = _ways([len(own) for own in dealt])
    all_counted = ways <= most
    method = f"log-rank scores of {scores.value}, " + (
        f"all {ways} ways to deal the blades"
        if all_counted
        else f"{drawn} of {ways} ways to deal the blades drawn with seed {seed}"
    )
    reasons = _reasons(dealt)
    if any(reason.name == "one_blade" for reason in reasons):
        return GroupTest(math.nan, math.nan, early, math.nan, ways, None, method, reasons)
    found = stats.permutation_test(
        dealt,
        _spread,
        permutation_type="independent",
        vectorized=True,
        n_resamples=ways if all_counted else drawn,
        alternative="greater",
        batch=20_000,
        rng=np.random.default_rng(seed),
    )
    least = _least(found.null_distribution, all_counted)
    if least > ALPHA:
        text = "too few blades, or too many lives alike: no outcome could have given p below 0.05"
        reasons += (Reason("cannot_reach", text, least, ALPHA),)
    return GroupTest(
        float(found.pvalue), least, early, _z(dealt), ways,
        None if all_counted else seed, method, reasons,
    )  # fmt: skip


def log_rank_scores(lives: Sequence[Life], scores: Scores = Scores.SUN) -> Array:
    """Each blade's score, shape (n,); they add up to nought."""
    curve = masses(lives)
    kept = curve.mass > 0
    mass, within = curve.mass[kept], curve.within[:, kept]
    sharp = np.append(1.0, np.maximum(1 - np.cumsum(mass), 0.0))
    sharp[-1] = 0.0
    with np.errstate(divide="ignore"):
        hazard = (
            np.append(0.0, np.cumsum(mass / sharp[:-1])) if scores is Scores.SUN else -np.log(sharp)
        )
    first, last = within.argmax(axis=1), len(mass) - within[:, ::-1].argmax(axis=1)
    weight = np.zeros(len(sharp))
    weight[sharp > 0] = sharp[sharp > 0] * hazard[sharp > 0]
    score = (weight[last] - weight[first]) / (sharp[first] - sharp[last])
    # Equal lives must tie exactly, whatever the rounding on the way.
    rounded: Array = np.round(score, 10)
    return rounded


def _spread(*samples: Array, axis: int) -> Array:
    """Sum over groups of (sum of scores)^2 / size: large when the groups' scores differ."""
    total = sum(own.sum(axis=axis) ** 2 / own.shape[axis] for own in samples)
    rounded: Array = np.round(total, 8)
    return rounded


def _ways(sizes: Sequence[int]) -> int:
    return math.factorial(sum(sizes)) // math.prod(math.factorial(size) for size in sizes)


def _least(null: Array, all_counted: bool) -> float:
    if all_counted:
        return float((null >= null.max()).mean())
    return 1 / (len(null) + 1)


def _z(dealt: Sequence[Array]) -> float:
    if len(dealt) != 2:
        return math.nan
    everyone = np.concatenate(dealt)
    count, own = len(everyone), len(dealt[0])
    variance = own * (count - own) / (count * (count - 1)) * float((everyone**2).sum())
    return float(dealt[0].sum() / math.sqrt(variance)) if variance > 0 else 0.0


def _reasons(dealt: Sequence[Array]) -> tuple[Reason, ...]:
    if any(len(own) == 1 for own in dealt):
        text = "one blade in a group: the group cannot be told from the blade, so there is no p"
        return (Reason("one_blade", text, 1, 2),)
    if np.ptp(np.concatenate(dealt)) == 0:
        return (Reason("all_alike", "all lives fall between the same probes: nothing to compare"),)
    return ()
