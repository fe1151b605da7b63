"""The permutation log-rank test: published scores, exact counts, honest refusals."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rig.errors import RigError
from rig.measure.life import Scores, group_test
from rig.measure.life.ranks import log_rank_scores
from tests.measure.life.studies import cosmesis, exact, lives, remission
from tests.published import load


def test_the_scores_of_the_cosmesis_data_come_out() -> None:
    # Fay and Shaw 2010, permutation form with the scores of Sun (from memory, reproduced)
    published = load("turnbull_breast_cosmesis")["expected"]
    found = group_test(cosmesis("Rad") + cosmesis("RadChem"))
    assert found.early["RadChem"] == pytest.approx(published["early_radchem"], abs=6e-7)
    assert found.z == pytest.approx(published["z"], abs=6e-5)
    # The normal approximation of p is published; ours is drawn: 99,999 draws, three sigma
    p = published["p_asymptotic"]
    assert 2 * stats.norm.sf(abs(found.z)) == pytest.approx(p, abs=6e-7)
    assert found.p_value == pytest.approx(p, abs=3 * math.sqrt(p / 99_999))
    assert found.seed == 1 and "seed 1" in found.method


def test_exact_and_censored_lives_give_observed_less_expected() -> None:
    # Freireich et al. 1963: 9 observed and 19.25 expected relapses under 6-MP
    published = load("logrank_remission")["expected"]
    treated, placebo = remission()
    found = group_test(treated + placebo)
    expected = published["observed_6mp"] - published["expected_6mp"]
    assert found.early["6-MP"] == pytest.approx(expected, abs=6e-3)
    assert found.p_value < 1e-3


@given(st.lists(st.integers(1, 50), min_size=4, max_size=10, unique=True), st.data())
def test_the_scores_are_those_of_the_log_rank_test(counts: list[int], data: st.DataObject) -> None:
    # scipy.stats.logrank gives U / sqrt(V); with V from the hypergeometric formula, U is ours
    alive = data.draw(st.lists(st.booleans(), min_size=len(counts), max_size=len(counts)))
    group = lives("a", *((x, math.inf if out else x) for x, out in zip(counts, alive, strict=True)))
    half = len(counts) // 2
    ours = float(log_rank_scores(group)[:half].sum())
    times, dead = np.array(counts), ~np.array(alive)
    expected, variance = 0.0, 0.0
    for time in times[dead]:
        risk, own = (times >= time).sum(), (times[:half] >= time).sum()
        expected += own / risk
        variance += own * (risk - own) / risk**2
    assert ours == pytest.approx(dead[:half].sum() - expected, abs=1e-8)
    if variance > 0:
        parts = [
            stats.CensoredData.right_censored(times[side], ~dead[side])
            for side in (slice(half), slice(half, None))
        ]
        assert stats.logrank(*parts).statistic == pytest.approx(ours / math.sqrt(variance))


@pytest.mark.parametrize("scores", list(Scores))
def test_p_is_the_share_of_all_ways_to_deal_the_blades(scores: Scores) -> None:
    group = lives("a", (50, 60), (60, 80), (80, 100), (60, 80)) + lives(
        "b", (80, 100), (100, 125), (100, 125), (125, math.inf), (60, 80)
    )
    found = group_test(group, scores)
    each = log_rank_scores(group, scores)
    sums = [abs(each[list(own)].sum()) for own in combinations(range(9), 4)]
    seen = abs(each[:4].sum())
    # Sizes differ: the spread (sum)^2 (1/4 + 1/5) orders as |sum| does, the scores adding to 0
    assert found.p_value == pytest.approx(np.mean([s >= seen - 1e-9 for s in sums]))
    assert found.ways == math.comb(9, 4) and found.seed is None
    assert each.sum() == pytest.approx(0, abs=1e-8)


def test_three_against_three_can_never_reach_five_percent() -> None:
    # 20 ways, two of them extreme: 0.1 at best
    found = group_test(lives("a", (1, 2), (2, 3), (3, 4)) + lives("b", (5, 6), (6, 7), (7, 8)))
    assert found.p_value == found.smallest_p == pytest.approx(0.1)
    assert [reason.name for reason in found.reasons] == ["cannot_reach"]


def test_four_against_four_can_reach_just_under_three_percent() -> None:
    found = group_test(exact("a", 1, 2, 3, 4) + exact("b", 5, 6, 7, 8))
    assert found.p_value == found.smallest_p == pytest.approx(2 / 70)
    assert not found.reasons


def test_three_groups_are_tested_at_once() -> None:
    apart = exact("a", 1, 2, 3) + exact("b", 4, 5, 6) + exact("c", 7, 8, 9)
    found = group_test(apart)
    assert found.ways == 1680 and found.p_value < 0.01
    assert list(found.early) == ["a", "b", "c"]
    assert math.isnan(found.z)


def test_where_ways_are_drawn_the_p_agrees_with_all_of_them() -> None:
    group = exact("a", 1, 3, 4, 8, 9) + exact("b", 5, 7, 10, 12, 13)
    counted, drawn = group_test(group), group_test(group, most=10, drawn=20_000, seed=7)
    assert drawn.seed == 7
    assert drawn.p_value == pytest.approx(counted.p_value, abs=0.01)


@settings(max_examples=15)
@given(st.permutations(range(10)))
def test_the_order_of_the_blades_does_not_matter(order: list[int]) -> None:
    group = lives("a", (50, 60), (60, 80), (80, 100), (60, 80), (90, 90)) + lives(
        "b", (80, 100), (100, 125), (100, 125), (125, math.inf), (60, 80)
    )
    assert group_test([group[i] for i in order]).p_value == group_test(group).p_value


def test_one_blade_a_group_gives_no_p() -> None:
    each = group_test(exact("a", 1) + exact("b", 5) + exact("c", 9))
    alone = group_test(exact("a", 1) + exact("b", 5, 6, 7))
    for found in (each, alone):
        assert math.isnan(found.p_value)
        assert [reason.name for reason in found.reasons] == ["one_blade"]


def test_lives_all_alike_say_that_nothing_is_compared() -> None:
    found = group_test(lives("a", *[(125, 150)] * 5) + lives("b", *[(125, 150)] * 5))
    assert found.p_value == 1
    assert [reason.name for reason in found.reasons] == ["all_alike", "cannot_reach"]


def test_one_group_alone_is_refused() -> None:
    with pytest.raises(RigError, match="one group"):
        group_test(exact("a", 1, 2))


def test_under_no_difference_p_is_no_smaller_than_it_says() -> None:
    rng = np.random.default_rng(4)
    probes = 60 * 1.3 ** np.arange(8)
    ps = []
    for _ in range(300):
        at = np.searchsorted(probes, 140 * np.exp(0.3 * rng.standard_normal(10)))
        low, high = np.append(0, probes)[at], np.append(probes, np.inf)[at]
        both = list(zip(low.tolist(), high.tolist(), strict=True))
        ps.append(group_test(lives("a", *both[:5]) + lives("b", *both[5:])).p_value)
    # 99.9 % of such runs show at most this many below 0.05
    assert np.sum(np.array(ps) <= 0.05) <= stats.binom.ppf(0.999, 300, 0.05)
