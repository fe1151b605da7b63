"""Which operator reads high or low, against a published study, scipy and a known truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rig.study.statistics.capability import crossed
from rig.study.statistics.operator_bias import biases, in_words
from tests.published import load
from tests.study.test_capability import readings

NAMES = ["AB", "CD", "EF", "GH"]


def test_the_means_of_the_manuals_operators_come_out() -> None:
    """AIAG Measurement Systems Analysis, 4th ed., chapter III: 0.1903, 0.0683, -0.2543 (memory)."""
    cells = readings("gauge_rr_10x3x3_anova")
    printed = np.array([0.1903, 0.0683, -0.2543])
    told = biases(cells, NAMES[:3], crossed(cells))
    assert [one.bias for one in told] == pytest.approx(printed - printed.mean(), abs=1e-4)
    assert load("gauge_rr_10x3x3_anova")["expected"]["ms"]["interaction"] > 0
    assert told[0].shown and told[0].low > 0, "the first reads high"
    assert told[2].shown and told[2].high < 0, "the third low"


@given(st.integers(0, 10_000), st.integers(2, 8), st.integers(2, 4))
def test_two_operators_differ_as_the_paired_t_test_says(
    seed: int, blades: int, repeats: int
) -> None:
    """scipy.stats.ttest_rel of the blades' means, at the level of two operators together."""
    drawn = np.random.default_rng(seed).normal(60, 1, (2, blades, repeats))
    one, two = biases(drawn.tolist(), NAMES[:2], crossed(drawn.tolist()))
    means = drawn.mean(axis=2)
    pair = stats.ttest_rel(means[0], means[1]).confidence_interval(0.975)
    assert (one.low, one.high) == pytest.approx((pair.low / 2, pair.high / 2), rel=1e-6, abs=1e-9)
    assert (two.low, two.high) == pytest.approx((-one.high, -one.low), abs=1e-9)


def test_all_intervals_hold_the_truth_together_in_nineteen_of_twenty_studies() -> None:
    rng, studies, held = np.random.default_rng(3), 400, 0
    true = np.array([0.5, 0.0, -0.5])
    for _ in range(studies):
        blade, mixed = rng.normal(0, 2, (1, 6, 1)), rng.normal(0, 0.3, (3, 6, 1))
        drawn = blade + true[:, None, None] + mixed + rng.normal(0, 0.5, (3, 6, 2))
        told = biases(drawn.tolist(), NAMES[:3], crossed(drawn.tolist()))
        held += all(one.low <= t <= one.high for one, t in zip(told, true, strict=True))
    assert held / studies >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / studies)


def test_it_is_said_who_reads_high_and_what_chance_may_explain() -> None:
    drawn = (
        np.random.default_rng(1).normal(60, 0.1, (3, 5, 2)) + np.array([1.0, 0, 0])[:, None, None]
    )
    told = biases(drawn.tolist(), NAMES[:3], crossed(drawn.tolist()))
    first, *_, last = in_words(told, "HRC")
    assert first.startswith("AB reads 0.6") and " HRC high (95 % confidence" in first
    assert "may be chance" not in first and "only a reference can tell" in last
    plain = np.random.default_rng(2).normal(60, 1, (3, 5, 2)).tolist()
    assert "may be chance" in " ".join(in_words(biases(plain, NAMES[:3], crossed(plain)), ""))
