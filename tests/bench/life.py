"""Edge lives: do the intervals hold the truth, and how long does a fit take?

Simulated studies of two groups with probes spaced by a ratio anywhere from 1.1 to 1.35, lives
scattered by 15 to 40 %, true ratios of 0.67 to 1.5. Every study counts, those too whose scatter the
lives do not determine: their intervals are given all the same.
"""

import statistics
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np
import surpyval

from rig.measure.life import Family, fit, quantile
from rig.measure.life.fit import logs
from rig.measure.life.likelihood import greatest
from rig.measure.life.lives import bounds
from tests.bench.figure import at_most, figure
from tests.measure.life.studies import Kind, coverage, simulate

STUDIES = 2_000
SEED = 41  # not one that the intervals were worked out with
ROUNDS = 30
KINDS = {
    f"{family.value}, {told}": kind
    for family in Family
    for told, kind in {
        "5 to 8 blades a group": Kind(family, (5, 8)),
        "5 to 8 blades, a third still sharp": Kind(family, (5, 8), ends=-0.6),
        "3 blades a group": Kind(family, (3, 3)),
    }.items()
}


def figures(studies: int = STUDIES) -> list[dict[str, Any]]:
    """Coverage of the median's and the ratio's interval, then times against a library's."""
    told: list[dict[str, Any]] = []
    with ProcessPoolExecutor(2) as pool:
        jobs = {name: pool.submit(coverage, kind, studies, SEED) for name, kind in KINDS.items()}
        for name, job in jobs.items():
            told += _covered(name, job.result(), studies)
    return told + _times()


def _covered(name: str, found: dict[str, float], studies: int) -> list[dict[str, Any]]:
    # With three blades probes this far apart cannot but be on the safe side.
    most, bar = (1.0, ">= 0.93") if ", 3 blades" in name else (0.97, "0.93 to 0.97")
    shares = [
        figure(f"95 % interval of the {what} holds the truth, {name}, {studies} studies",
               found[key], "share", bar, 0.93 <= found[key] <= most)
        for key, what in (("median", "median life"), ("ratio", "ratio of medians"))
    ]  # fmt: skip
    undetermined = found["undetermined"]
    return [
        *shares,
        figure(f"studies without an estimate of the median, {name}", undetermined, "share",
               "< 0.5", undetermined < 0.5),
    ]  # fmt: skip


def _times() -> list[dict[str, Any]]:
    """Thirty blades of one group: ours without and with intervals, the library's fit alone."""
    told = []
    for family, theirs in (
        (Family.LOGNORMAL, surpyval.LogNormal),
        (Family.WEIBULL, surpyval.Weibull),
    ):
        lives = simulate(Kind(family, (30, 30), (0.3, 0.3)), np.random.default_rng(SEED)).control
        low, high = bounds(lives)
        bare = _seconds(lambda f=family, x=lives: greatest(f, *logs(x), np.zeros(30, dtype=int)))
        ours = _seconds(lambda f=family, x=lives: quantile(x, 0.5, f))
        whole = _seconds(lambda f=family, x=lives: fit(x, f))
        other = _seconds(lambda d=theirs, xl=low, xr=high: d.fit(xl=xl, xr=xr))
        name = f"{family.value} fit of 30 blades"
        told += [
            at_most(f"{name}, the maximum alone, over surpyval's fit", bare / other, "ratio", 0.5),
            at_most(f"{name}, median with interval, over surpyval's fit", ours / other, "ratio", 1),
            at_most(f"{name}, all three intervals, over surpyval's fit", whole / other, "ratio", 3),
        ]
    return told


def _seconds(work: Callable[[], object]) -> float:
    work()
    taken = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)
