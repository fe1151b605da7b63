"""Many correlations at once: how often chance alone makes one stand out, and what is said of it."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from rig.study.answers import together
from rig.study.answers.answer import agreements
from rig.study.answers.whole import unsealed
from rig.study.statistics.agreement import agreement
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


def several(path: Path, blades: int = 6) -> StudyBook:
    """Blades with three responses each: torques that go together, a hardness that does not."""
    asked = ["pry_torque", "hardness", "twist_torque"]
    half = blades // 2
    made = begin(path / "s.logbook", record({"A": half, "B": half}, asked))
    names = [f"{group}{n + 1}" for group in "AB" for n in range(half)]
    for n, blade in enumerate(names):
        made.pry(blade, 10.0 + n)
        made.trial(blade, "hardness", {"hardness": (60 + 0.3 * ((5 * n) % 7), 0.3)})
        made.trial(blade, "edge_twist", {"peak_torque": (2 + 0.1 * n, 0.02)})
    made.unseal()
    made.book.close()
    return made


def test_correlations_that_say_nothing_are_one_sentence(tmp_path: Path) -> None:
    (only,) = agreements(unsealed(several(tmp_path, 4).book.path).answers)
    assert "3 pairs of responses were looked at, on 4 blades" in only
    assert "not even the sign" in only and "1.00" not in only


def test_what_says_something_is_told_with_what_chance_does_and_the_rest_counted(
    tmp_path: Path,
) -> None:
    first, one, rest = agreements(unsealed(several(tmp_path, 10).book.path).answers)
    assert "3 pairs were looked at" in first and "of 3, about 0.15 on average" in first
    assert "together with 95 % confidence (98.33 % each)" in first
    assert "prove no cause" in first and "groups differ by" in first
    assert "rank correlation 1.00" in one and "1.00 to" not in one
    assert rest == "Of the other 2 pairs not even the sign can be told."


def test_intervals_are_those_of_all_pairs_together(tmp_path: Path) -> None:
    told = unsealed(several(tmp_path, 10).book.path).answers
    means = {
        one.response.name: {seen.blade: seen.value for seen in one.data.observations}
        for one in told
    }
    wide = agreement(means["pry_torque"], means["twist_torque"], 1 - 0.05 / 3)
    names = "pry torque to failure", "largest torque of the twist"
    assert together.agreement(wide, *names) in agreements(told)


@pytest.mark.parametrize("blades", [4, 5, 6, 8, 12, 25])
def test_the_same_order_on_few_blades_is_no_interval_of_one_point(blades: int) -> None:
    row = {f"{n}": float(n) for n in range(blades)}
    told = agreement(row, row)
    assert told.rank == pytest.approx(1) and told.rank_high == 1
    assert told.rank_low is not None and told.rank_low < 1
    assert "1.00 to" not in together.agreement(told, "hardness", "edge life")
    assert told.says == (blades > 5), "4 or 5 blades in the same order may be chance"
