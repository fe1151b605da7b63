"""Whole studies: how long the answer takes, and what a study of one blade a group may say."""

import math
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from rig.measure.life import log_sd_of
from rig.study.answers import bound_words
from rig.study.answers.whole import unsealed
from rig.study.statistics.life_scatter import USUAL_CV, USUAL_DOF
from rig.study.statistics.lives import LifeResult
from tests.bench import lifestudies
from tests.bench.figure import at_most, figure
from tests.study.books import StudyBook, begin, record, response

ASKED = [
    "pry_torque", response("hardness", parity=True), "edge_life", "twist_torque", "impact_damage",
]  # fmt: skip
PROBE_RATIO = 1.25
SIMULATED = 400_000
SEED = 23
RUNS = 3


def tested(path: Path, blades: int) -> None:
    """A finished study of three groups through five procedures, some tips surviving."""
    study = record({group: blades // 3 for group in "ABC"}, ASKED)
    made, rng = begin(path, study), np.random.default_rng(SEED)
    with made.book.transaction():
        for blade in study.blade:
            _test(made, blade.name, rng)
    made.unseal()
    made.book.close()


def _test(made: StudyBook, blade: str, rng: np.random.Generator) -> None:
    torque, life = (
        10 * math.exp(0.15 * rng.standard_normal()),
        300 * math.exp(0.2 * rng.standard_normal()),
    )
    probe = PROBE_RATIO ** math.floor(math.log(life) / math.log(PROBE_RATIO))
    made.trial(blade, "hardness", {"hardness": (60 + rng.standard_normal(), 0.3)})
    made.life(blade, round(probe), round(probe * PROBE_RATIO))
    made.trial(blade, "edge_twist", {"peak_torque": (0.3 * torque, 0.03)})
    damage = {"kind": "roll", "depth_m": 2e-5 * torque, "u_m": 2e-5}
    made.trial(blade, "drop_impact", {}, damage=damage)
    made.pry(blade, min(torque, 12.0), censored="right" if torque > 12 else "")


def _seconds(blades: int, runs: int) -> float:
    """`compare` and `report`, two whole processes one after the other."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.logbook"
        tested(path, blades)
        return statistics.median(_once(path) for _ in range(runs))


def _once(path: Path) -> float:
    began = time.perf_counter()
    for command in ("compare", "report"):
        subprocess.run(
            [sys.executable, "-c", "from rig.cli import main; main()", command, str(path)],
            check=True,
            capture_output=True,
        )
    return time.perf_counter() - began


def may_hide() -> float:
    """Ratio that may hide behind equal probes, as a study of one blade a group states it.

    Three groups of one blade, all dulled at the same probe.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.logbook"
        made = begin(path, record({"A": 1, "B": 1, "C": 1}, ["edge_life"]))
        for blade in ("A1", "B1", "C1"):
            made.life(blade, 400, round(400 * PROBE_RATIO))
        made.unseal()
        made.book.close()
        (one,) = unsealed(path).answers
    if one.verdict != "cannot tell":
        raise AssertionError(f"one blade a group: {one.verdict}")
    assert isinstance(one.result, LifeResult)
    (ratio,) = {comparison.missed for comparison in one.result.comparisons}
    if ratio is None or bound_words.may_hide(ratio) not in one.headline:
        raise AssertionError(one.headline)
    return ratio


def truly_hidden(studies: int = SIMULATED) -> float:
    """The same by brute force: true ratios of studies whose three blades met the same probes.

    Groups' medians lie anywhere; blades scatter as the usual scatter says, which is itself known
    from ten blades only (drawn anew for each study). Of the studies in which all three edges
    dulled between the same two probes, 95 in 100 have a true ratio of two groups within this.
    """
    rng, step = np.random.default_rng(SEED), math.log(PROBE_RATIO)
    sd = log_sd_of(USUAL_CV) * np.sqrt(USUAL_DOF / rng.chisquare(USUAL_DOF, (studies, 1)))
    # Groups that lie more than 6 usual scatters (here 9 steps) away never meet the interval.
    medians = rng.uniform(-9 * step, 10 * step, (studies, 3))
    lives = medians + sd * rng.standard_normal((studies, 3))
    same = (np.floor(lives / step) == 0).all(axis=1)
    apart = np.abs(medians[same, 0] - medians[same, 1])
    return math.exp(float(np.quantile(apart, 0.95)))


def figures() -> list[dict[str, Any]]:
    """Times of whole processes, the hidden ratio against brute force, verdicts on edge life."""
    small = _seconds(12, RUNS)
    large = _seconds(999, 1)
    stated, truth = may_hide(), truly_hidden(40 * SIMULATED)
    off = abs((stated - 1) / (truth - 1) - 1)
    name = (
        f"ratio that one blade a group may have missed, stated {stated:.2f}, simulated {truth:.2f}"
    )
    return [
        at_most("compare and report, 12 blades through 5 procedures, whole processes", small, "s",
                6),
        figure("the same with 999 blades, over 12 blades", large / small, "ratio", "< 20",
               large / small < 20),
        at_most(f"{name}: off by", off, "share", 0.1),
        *lifestudies.figures(),
    ]  # fmt: skip
