"""Many correlations at once: how often chance alone makes one stand out, and what is said of it."""

from itertools import combinations
from pathlib import Path

import numpy as np

from rig.study import together
from rig.study.agreement import agreement
from rig.study.answer import agreements
from rig.study.whole import unsealed
from tests.study.books import StudyBook, begin, record

BLADES, RESPONSES, STUDIES = 18, 5, 300


def standing_out(level: float) -> float:
    """Share of studies of responses that have nothing to do with one another in which at least
    one interval of a rank correlation leaves out 0."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(STUDIES):
        drawn = rng.standard_normal((RESPONSES, BLADES))
        told = [dict(zip(map(str, range(BLADES)), row, strict=True)) for row in drawn.tolist()]
        found = [agreement(one, two, level) for one, two in combinations(told, 2)]
        hits += any(not (a.rank_low or 0.0) < 0 < (a.rank_high or 0.0) for a in found)
    return hits / STUDIES


def test_intervals_of_all_pairs_together_leave_out_nought_in_one_study_of_twenty() -> None:
    assert standing_out(1 - 0.05 / 10) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / STUDIES)
    assert standing_out(0.95) > 0.25, "ten pairs at 95 % each: why they are made wider"


def several(path: Path) -> StudyBook:
    """Six blades with three responses each."""
    asked = ["pry_torque", "hardness", "twist_torque"]
    made = begin(path / "s.logbook", record({"A": 3, "B": 3}, asked))
    for n, blade in enumerate(("A1", "A2", "A3", "B1", "B2", "B3")):
        made.pry(blade, 10.0 + n)
        made.trial(blade, "hardness", {"hardness": (60 + 0.3 * ((5 * n) % 7), 0.3)})
        made.trial(blade, "edge_twist", {"peak_torque": (2 + 0.1 * ((3 * n) % 7), 0.02)})
    made.unseal()
    made.book.close()
    return made


def test_the_number_of_pairs_and_what_chance_does_are_told(tmp_path: Path) -> None:
    first, *rest = agreements(unsealed(several(tmp_path).book.path).answers)
    assert len(rest) == 3
    assert "3 pairs were looked at" in first and "of 3, about 0.15 on average" in first
    assert "together with 95 % confidence (98.33 % each)" in first
    assert "prove no cause" in first and "groups differ by" in first


def test_intervals_are_those_of_all_pairs_together(tmp_path: Path) -> None:
    told = unsealed(several(tmp_path).book.path).answers
    means = {
        one.response.name: {seen.blade: seen.value for seen in one.data.observations}
        for one in told
    }
    wide = agreement(means["pry_torque"], means["hardness"], 1 - 0.05 / 3)
    assert together.agreement(wide, "pry torque to failure", "hardness") in agreements(told)
