"""Other tests of the same question, shown beside the verdict and never instead of it.

For a reader who doubts an assumption: tests that take the scatters as alike (Dunnett, Tukey), that
do not (Welch's analysis of variance, Games-Howell), and that ask for no shape of distribution
(ranks, permutation).
"""

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import numpy as np
from scipy import stats

from rig.measure.budget import Reason
from rig.study.statistics.logrank import smallest_p
from rig.study.statistics.multiple import holm
from rig.study.statistics.units import BLADE, LOAD, Layout
from rig.study.statistics.within_loads import within_loads

EXACT = 20_000  # arrangements up to which a permutation test is done in full
MANY = 2_500  # pairs of units, beyond which the exact rank sum takes long and tells no more
SEED = 1  # of the random arrangements beyond, and of Dunnett's integral

Values = Sequence[Sequence[float]]


@dataclass(frozen=True)
class Beside:
    """One other test.

    Args:
        method: its name in the literature.
        group, against: what is compared; "" for all groups together.
        p: nan when the test has no answer for these data.
        p_family: holding for all comparisons of this method together.
        note: what the reader must know of it.
    """

    method: str
    group: str
    against: str
    statistic: float
    p: float
    p_family: float
    note: str = ""


def beside(plan: Layout, control: str | None) -> tuple[tuple[Beside, ...], tuple[Reason, ...]]:
    """Every other test the layout allows, and the reasons for those it does not."""
    if plan.unit not in (BLADE, LOAD):
        return _by_loads(plan), (Reason(
            "no_alternatives",
            "Furnace loads are shared between groups: ranks and permutations of blades would mix "
            "loads, so beside the comparisons there is the analysis of variance within loads only.",
        ),)  # fmt: skip
    groups = [group for group in plan.groups if group.dof > 0]
    names, values = [g.name for g in groups], [g.values for g in groups]
    if len(groups) < 2:
        return (), (
            Reason(
                "no_alternatives", "Fewer than two groups have two blades or more: no other test."
            ),
        )
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # scipy warns of values all the same; a nan says it too
        return tuple(_tests(names, values, control)), ()


def _by_loads(plan: Layout) -> tuple[Beside, ...]:
    told = within_loads(plan.cells)
    if told is None:
        return ()
    note = "takes the scatters as alike; loads that hold some of the groups count too"
    return (Beside("analysis of variance within loads", "", "", told.f, told.p, told.p, note),)


def _tests(names: Sequence[str], values: Values, control: str | None) -> list[Beside]:
    told = _all_groups(values)
    if control in names:
        at = names.index(str(control))
        pairs = [(i, at) for i in range(len(names)) if i != at]
        told += _dunnett(names, values, at)
    else:
        pairs = [(j, i) for i, j in combinations(range(len(names)), 2)]
    told += _studentised(names, values, pairs)
    for method, test in PAIRWISE.items():
        told += _pairwise(method, test, names, values, pairs)
    return told


def _all_groups(values: Values) -> list[Beside]:
    tests: dict[str, tuple[Callable[[], Any], str]] = {
        "Brown-Forsythe": (
            lambda: stats.levene(*values, center="median"),
            "are the scatters alike? With few blades it can hardly ever tell",
        ),
        "analysis of variance": (lambda: stats.f_oneway(*values), "takes the scatters as alike"),
        "Welch's analysis of variance": (lambda: stats.f_oneway(*values, equal_var=False), ""),
        "Kruskal-Wallis": (lambda: stats.kruskal(*values), "ranks; large-sample p"),
    }
    out = []
    for method, (test, note) in tests.items():
        told = test()
        out.append(
            Beside(
                method, "", "", float(told.statistic), float(told.pvalue), float(told.pvalue), note
            )
        )
    return out


def _dunnett(names: Sequence[str], values: Values, at: int) -> list[Beside]:
    others = [i for i in range(len(names)) if i != at]
    if _no_scatter(values):
        return []
    told = stats.dunnett(
        *(values[i] for i in others), control=values[at], rng=np.random.default_rng(SEED)
    )
    return [
        Beside("Dunnett", names[i], names[at], float(t), float(p), float(p),
               "takes the scatters as alike")
        for i, t, p in zip(others, told.statistic, told.pvalue, strict=True)
    ]  # fmt: skip


def _studentised(
    names: Sequence[str], values: Values, pairs: Sequence[tuple[int, int]]
) -> list[Beside]:
    """Tukey's test of all pairs, and its form for unlike scatters."""
    if any(_no_scatter([group]) for group in values):
        return []
    out = []
    for method, alike in (("Tukey", True), ("Games-Howell", False)):
        told = stats.tukey_hsd(*values, equal_var=alike)
        note = "all pairs; takes the scatters as alike" if alike else "all pairs"
        for i, j in pairs:
            p = float(told.pvalue[i, j])
            difference = float(told.statistic[i, j])
            out.append(Beside(method, names[i], names[j], difference, p, p, note))
    return out


def _no_scatter(values: Values) -> bool:
    return all(len(set(group)) < 2 for group in values)


def _pairwise(
    method: str,
    test: Callable[[Sequence[float], Sequence[float]], tuple[float, float, str]],
    names: Sequence[str],
    values: Values,
    pairs: Sequence[tuple[int, int]],
) -> list[Beside]:
    told = [test(values[i], values[j]) for i, j in pairs]
    family = holm([1.0 if math.isnan(p) else p for _, p, _ in told])
    return [
        Beside(
            method, names[i], names[j], statistic, p, math.nan if math.isnan(p) else float(f), note
        )
        for (i, j), (statistic, p, note), f in zip(pairs, told, family, strict=True)
    ]


def mann_whitney(one: Sequence[float], two: Sequence[float]) -> tuple[float, float, str]:
    """Rank sum, exact without ties up to about 50 units a group."""
    tied = len(set(one) | set(two)) < len(one) + len(two)
    many = len(one) * len(two) > MANY
    method: Literal["asymptotic", "exact"] = "asymptotic" if tied or many else "exact"
    if tied and len(set(one) | set(two)) == 1:
        return math.nan, math.nan, "all values are the same"
    told = stats.mannwhitneyu(one, two, alternative="two-sided", method=method)
    large = "tied values: large-sample p" if tied else "many values: large-sample p"
    note = (
        large
        if tied or many
        else _floor(
            2 / math.comb(len(one) + len(two), len(one)),
            len(one),
            len(two),  # the ranks mirror always
        )
    )
    return float(told.statistic), float(told.pvalue), note


def brunner_munzel(one: Sequence[float], two: Sequence[float]) -> tuple[float, float, str]:
    """Ranks, scatters not alike; no answer when the groups do not overlap."""
    if max(one) < min(two) or max(two) < min(one) or len(set(one) | set(two)) == 1:
        return math.nan, math.nan, "the groups do not overlap: no answer"
    told = stats.brunnermunzel(one, two)
    return float(told.statistic), float(told.pvalue), "ranks; large-sample p"


def permutation(one: Sequence[float], two: Sequence[float]) -> tuple[float, float, str]:
    """Every way to deal the units to the two groups, by the difference of their means.

    Two-sided as in `rig.study.statistics.logrank`: as far from nought, either way.
    """

    def apart(x: np.ndarray, y: np.ndarray, axis: int) -> np.ndarray:
        return np.asarray(np.abs(np.mean(x, axis=axis) - np.mean(y, axis=axis)))

    told = stats.permutation_test(
        (one, two), apart, vectorized=True, n_resamples=EXACT, alternative="greater",
        rng=np.random.default_rng(SEED),
    )  # fmt: skip
    n1, n2 = len(one), len(two)
    least = smallest_p(np.arange(n1 + n2) < n1, [""] * (n1 + n2))
    return float(np.mean(one) - np.mean(two)), float(told.pvalue), _floor(least, n1, n2)


def _floor(least: float, n1: int, n2: int) -> str:
    return f"cannot go below p = {least:.2g} with {n1} against {n2}" if least > 0.01 else ""


PAIRWISE = {
    "Mann-Whitney": mann_whitney,
    "Brunner-Munzel": brunner_munzel,
    "permutation": permutation,
}
