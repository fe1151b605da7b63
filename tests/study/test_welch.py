"""The test for unequal scatter: Welch's, and the level it keeps."""

import numpy as np
import pytest
from scipy import stats

from rig.study.statistics.welch import (
    detectable,
    equivalence,
    factor,
    kept,
    nominal,
    power,
    rejection,
    two_sided,
    welch,
)
from tests.published import load


def test_two_one_sided_tests_agree_with_the_published_case() -> None:
    """R package equivalence, output kept in the pingouin test-suite."""
    given = load("tost_small")
    one, two = (np.array(given["inputs"][name]) for name in "ab")
    difference = float(one.mean() - two.mean())
    v1, v2 = (float(x.var(ddof=1)) / len(x) for x in (one, two))
    se, dof = welch(difference, v1, len(one) - 1, v2, len(two) - 1)
    p = stats.t.cdf((abs(difference) - 1.0) / se, dof)
    assert p == pytest.approx(given["expected"]["p_welch_1"], abs=6e-8)
    assert dof == pytest.approx(given["expected"]["df_welch"], abs=6e-3)


def test_the_nominal_test_is_scipys_welch_test() -> None:
    rng = np.random.default_rng(1)
    for n1, n2 in ((3, 10), (5, 5), (2, 7)):
        one, two = rng.normal(0, 1, n1), rng.normal(1, 3, n2)
        difference = one.mean() - two.mean()
        se, dof = welch(difference, one.var(ddof=1) / n1, n1 - 1, two.var(ddof=1) / n2, n2 - 1)
        told = stats.ttest_ind(one, two, equal_var=False)
        assert difference / se == pytest.approx(told.statistic)
        assert dof == pytest.approx(told.df)


@pytest.mark.parametrize(("n1", "n2", "ratio"), [(3, 10, 1.65), (3, 3, 5.75), (10, 5, 0.5)])
def test_the_worked_out_level_is_that_of_simulation(n1: int, n2: int, ratio: float) -> None:
    rng = np.random.default_rng(2)
    one, two = ratio * rng.standard_normal((200_000, n1)), rng.standard_normal((200_000, n2))
    p = stats.ttest_ind(one, two, axis=1, equal_var=False).pvalue
    v1, v2 = ratio**2 / n1, 1 / n2
    worked_out = rejection(0.05, n1 - 1, n2 - 1, v1 / (v1 + v2))
    assert worked_out == pytest.approx((p <= 0.05).mean(), abs=2.5e-3)


def test_welchs_own_level_goes_astray_and_the_kept_one_does_not() -> None:
    shares = np.linspace(0.001, 0.999, 199)
    for f1 in range(1, 10):
        for f2 in range(f1, 10):
            for level in (0.05, 0.05 / 3):
                assert rejection(nominal(level, f1, f2), f1, f2, shares).max() <= 1.01 * level
    assert rejection(0.05, 2, 9, shares).max() > 0.07


def test_kept_and_nominal_undo_each_other() -> None:
    for level in (0.5, 0.05, 0.001):
        assert kept(nominal(level, 2, 7), 2, 7) == pytest.approx(level, rel=1e-9)
        assert nominal(level, 7, 2) == nominal(level, 2, 7) <= level


def test_many_blades_bring_back_students_test() -> None:
    assert kept(0.05, 200, 200) == pytest.approx(0.05, rel=1e-2)
    pooled = stats.nct.sf(stats.t.isf(0.025, 398), 398, 2.8)
    assert power(2.8, 0.05, 199, 199) == pytest.approx(pooled, abs=2e-3)


def test_interval_and_p_tell_the_same() -> None:
    difference, v1, v2 = 0.5, 0.01, 0.03
    se, dof = welch(difference, v1, 3, v2, 5)
    p = two_sided(difference, se, dof, 3, 5)
    assert float(se) * factor(float(p), float(dof), 3, 5) == pytest.approx(difference, rel=1e-4)


def test_the_detectable_difference_has_the_power_it_claims() -> None:
    for f1, f2 in ((2, 2), (3, 9), (9, 0)):
        assert power(detectable(0.05, f1, f2), 0.05, f1, f2) == pytest.approx(0.8, abs=1e-4)


def test_equivalence_at_the_margin_is_no_better_than_chance() -> None:
    assert equivalence(0.2, 0.05, 7.0, 0.2, 4, 4) == pytest.approx(0.5)
    assert equivalence(0.0, 0.01, 7.0, 0.2, 4, 4) < 0.001
