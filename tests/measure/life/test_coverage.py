"""The stated intervals are honest: a small run of the bench in tests/bench/life.py."""

from functools import cache

import pytest
from scipy import stats

from rig.measure.life import Family
from tests.measure.life.studies import Kind, coverage

STUDIES = 150


@cache
def found(family: Family) -> dict[str, float]:
    return coverage(Kind(family, (5, 8)), STUDIES, seed=3)


@pytest.mark.parametrize("family", list(Family))
@pytest.mark.parametrize("what", ["median", "ratio"])
def test_the_interval_holds_the_truth_as_often_as_it_says(family: Family, what: str) -> None:
    # What 99.9 % of runs show where the true coverage is within 93 to 97 %
    low, high = stats.binom.ppf([0.0005, 0.9995], STUDIES, [0.93, 0.97]) / STUDIES
    assert low <= found(family)[what] <= high


@pytest.mark.parametrize("family", list(Family))
def test_three_blades_and_coarse_probes_err_to_the_wide_side(family: Family) -> None:
    few = coverage(Kind(family, (3, 3), (0.1, 0.1), (1.5, 1.5)), 40, seed=3)
    least = stats.binom.ppf(0.0005, 40, 0.95) / 40
    assert few["median"] >= least
    assert few["ratio"] >= least
