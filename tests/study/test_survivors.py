"""Blades that survived: bounds, never values."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rig.errors import RigError
from rig.study.answers import bound_words
from rig.study.answers.lines import headline, of_bounds
from rig.study.statistics.censored import compare_censored
from rig.study.statistics.compare import compare
from rig.study.statistics.data import LINEAR, Group, Observation, Response, StudyData
from rig.study.statistics.joint import STRICT
from rig.study.statistics.logrank import (
    arrangements,
    log_rank_p,
    permutation_p,
    scores,
    smallest_p,
)
from rig.study.statistics.rates import failure_rate
from rig.study.statistics.reach import Scene, reach
from rig.study.statistics.survivors import fit
from rig.study.statistics.verdict import CANNOT_TELL, LEVEL, RULED_OUT, SHOWN
from tests.published import load
from tests.study.blades import TORQUE


def limited(values: dict[str, list[float]], limit: float, response: Response = TORQUE) -> StudyData:
    """Values above `limit` become survivors of it."""
    seen = tuple(
        Observation(name, f"{name}{i}", min(x, limit), "one", 0.0, "right" if x >= limit else "")
        for name, row in values.items()
        for i, x in enumerate(row)
    )
    return StudyData(response, tuple(Group(name, name == "A") for name in values), seen)


def test_scores_sum_to_observed_less_expected_of_the_published_case() -> None:
    """Leukemia remission: Freireich 1963 as in Kalbfleisch and Prentice (from memory, R)."""
    case = load("logrank_remission")
    given_, expected = case["inputs"], case["expected"]
    weeks = np.array(given_["weeks_6mp"] + given_["weeks_placebo"], dtype=float)
    failed = np.array(given_["event_6mp"] + [1] * len(given_["weeks_placebo"]), dtype=bool)
    score = scores(weeks, failed)
    treated = score[: len(given_["weeks_6mp"])].sum()
    assert treated == pytest.approx(expected["observed_6mp"] - expected["expected_6mp"], abs=6e-3)
    assert score.sum() == pytest.approx(0, abs=1e-12)
    first = np.arange(len(weeks)) < len(given_["weeks_6mp"])
    assert log_rank_p(weeks, failed, first, [""] * len(weeks)) <= 1e-3  # R: 4.2e-5


def test_the_exact_p_is_that_of_the_published_table() -> None:
    """StatXact 9 manual, table 7.19, as in R's coin: 5 against 9 with survivors and ties.

    The table shares a tie's score among its failures, ours gives all the whole of it: the scores
    differ, the two-sided p (2 of 2002 ways) does not.
    """
    case = load("exact_logrank_lung")
    times = np.array(case["inputs"]["time"], dtype=float)
    failed = np.array(case["inputs"]["event"], dtype=bool)
    first = np.array(case["inputs"]["group"]) == 1
    expected = case["expected"]["p_exact_two_sided"]
    assert log_rank_p(times, failed, first, [""] * 14) == pytest.approx(expected, abs=6e-7)
    dealt, complete = arrangements(first, [""] * 14)
    printed = np.array(case["expected"]["scores"])
    assert permutation_p(printed, first, dealt, complete) == pytest.approx(expected, abs=6e-7)


@given(st.integers(1, 5), st.integers(1, 5), st.integers(0, 3))
def test_the_smallest_p_is_what_the_best_outcome_reaches(n1: int, n2: int, seed: int) -> None:
    first, failed = np.arange(n1 + n2) < n1, np.ones(n1 + n2, dtype=bool)
    values = np.sort(np.random.default_rng(seed).lognormal(size=n1 + n2))
    dealt, complete = arrangements(first, [""] * (n1 + n2))
    score = scores(values, failed)
    best = min(permutation_p(score, way, dealt, complete) for way in dealt)
    assert best == pytest.approx(smallest_p(first, [""] * (n1 + n2)))


def test_the_permutation_p_is_exact() -> None:
    values, failed = np.array([1.0, 2, 3, 4, 5, 6]), np.ones(6, dtype=bool)
    first = np.array([1, 1, 1, 0, 0, 0], dtype=bool)
    dealt, complete = arrangements(first, [""] * 6)
    assert complete and len(dealt) == 20
    assert permutation_p(scores(values, failed), first, dealt, complete) == pytest.approx(0.1)
    assert smallest_p(first, [""] * 6) == pytest.approx(0.1)


def test_units_are_dealt_within_their_load_only() -> None:
    first = np.array([1, 0, 1, 0], dtype=bool)
    dealt, complete = arrangements(first, ["1", "1", "2", "2"])
    assert complete and len(dealt) == 4 and (dealt.sum(axis=1) == 2).all()


def test_the_fit_agrees_with_scipys_fit_of_censored_data() -> None:
    rng = np.random.default_rng(3)
    y = rng.normal(2.0, 0.5, 40)
    failed, limited_ = y < 2.3, np.minimum(y, 2.3)
    told = fit(limited_, failed)
    data = stats.CensoredData(uncensored=limited_[failed], right=limited_[~failed])
    mean, sd = stats.norm.fit(data)
    assert told.mean == pytest.approx(mean, abs=2e-4)
    assert told.sd == pytest.approx(sd, abs=2e-4)


def test_without_survivors_the_fit_is_the_plain_mean() -> None:
    y = np.array([1.0, 2.0, 4.0])
    told = fit(y, np.ones(3, dtype=bool))
    assert told.mean == pytest.approx(y.mean())
    assert told.variance == pytest.approx(y.var(ddof=1) / 3)


def test_fits_are_those_of_each_row() -> None:
    rng = np.random.default_rng(4)
    y = rng.normal(0, 1, (20, 6))
    failed, y = y < 0.5, np.minimum(y, 0.5)
    together = fit(y, failed)
    for i in range(20):
        assert together.mean[i] == pytest.approx(fit(y[i], failed[i]).mean, nan_ok=True)


def test_a_survivor_is_never_compared_as_a_value() -> None:
    data = limited({"A": [5.0, 6.0, 7.0], "B": [6.0, 7.0, 20.0]}, 10.0)
    with pytest.raises(ValueError, match="censored"):
        compare(data)


def test_stronger_blades_are_shown_though_most_survive() -> None:
    rng = np.random.default_rng(5)
    values = {name: list(10 * r * np.exp(0.15 * rng.standard_normal(6)))
              for name, r in (("A", 1.0), ("B", 1.8))}  # fmt: skip
    told = compare_censored(limited(values, 15.0))
    only = told.comparisons[0]
    assert only.verdict == told.verdict == SHOWN and only.low > 1
    least = smallest_p(np.arange(12) < 6, [""] * 12)
    assert only.p == pytest.approx(least * LEVEL / STRICT), "the exact test is held to 1 %"


def test_all_survived_gives_reasons_rates_and_no_ratio() -> None:
    told = compare_censored(limited({"A": [20.0] * 3, "B": [20.0] * 3}, 10.0))
    only = told.comparisons[0]
    assert only.verdict == CANNOT_TELL and math.isnan(only.effect)
    assert only.reasons[0].name == "all_survived"
    assert [rate.failed for rate in told.rates] == [0, 0]


def test_all_of_one_group_survived_leaves_its_strength_open() -> None:
    told = compare_censored(limited({"A": [5.0, 6.0, 7.0, 5.5, 6.2], "B": [20.0] * 5}, 10.0))
    only = told.comparisons[0]
    assert only.verdict == SHOWN and math.isinf(only.high) and only.low > 1
    assert "one_side_open" in {reason.name for reason in only.reasons}


def test_alike_groups_with_few_survivors_can_rule_the_margin_out() -> None:
    rng = np.random.default_rng(6)
    values = {name: list(10 * np.exp(0.05 * rng.standard_normal(9))) for name in "AB"}
    told = compare_censored(limited(values, 10.8))
    assert told.verdict == RULED_OUT


def test_one_surviving_trial_makes_the_blades_mean_a_bound() -> None:
    seen = (
        Observation("A", "A1", 5.0, "one"), Observation("A", "A1", 10.0, "one", 0.0, "right"),
        Observation("A", "A2", 6.0, "one"),
        Observation("B", "B1", 7.0, "one"), Observation("B", "B2", 8.0, "one"),
    )  # fmt: skip
    told = compare_censored(StudyData(TORQUE, (Group("A", True), Group("B")), seen))
    assert [rate.failed for rate in told.rates] == [1, 2]


def test_survivors_on_a_linear_scale_are_refused() -> None:
    data = limited({"A": [1.0, 2.0], "B": [1.0, 9.0]}, 5.0, Response("x", "1", LINEAR, 1.0, 1.0))
    with pytest.raises(RigError, match="survivors are compared as ratios"):
        compare_censored(data)


rows = st.lists(st.floats(0.5, 20), max_size=5)


@given(st.dictionaries(st.sampled_from("ABC"), rows, max_size=3), st.floats(1, 15))
def test_any_survivors_give_one_of_three_verdicts(
    values: dict[str, list[float]], limit: float
) -> None:
    told = compare_censored(limited(values, limit))
    assert told.verdict in {SHOWN, RULED_OUT, CANNOT_TELL}
    for c in told.comparisons:
        assert c.reasons or math.isfinite(c.p)
        assert not c.low > c.high


@pytest.mark.parametrize(("units", "upper"), [(3, 0.63), (10, 0.26)])
def test_none_failed_still_allows_a_rate(units: int, upper: float) -> None:
    """1 - 0.05^(1/n), the exact one-sided limit."""
    told = failure_rate("A", 0, units)
    assert told.upper == pytest.approx(upper, abs=0.005)
    assert told.upper == pytest.approx(1 - 0.05 ** (1 / units))
    assert failure_rate("A", units, units).lower == pytest.approx(0.05 ** (1 / units))


def test_the_limits_agree_with_clopper_and_pearson() -> None:
    """3 of 10: 0.0667 to 0.6525, exact limits as tabled (from memory)."""
    told = failure_rate("A", 3, 10)
    assert (told.low, told.high) == pytest.approx((0.0667, 0.6525), abs=5e-5)


def test_counts_that_cannot_be_are_refused() -> None:
    with pytest.raises(RigError, match="4 of 3 failed"):
        failure_rate("A", 4, 3)


def test_without_survivors_the_reach_is_that_of_the_plan() -> None:
    from rig.study.statistics.designs import Design

    told = reach(Scene(8, 8, 0.0, 0.2, 0.2, math.inf), 0.05)
    planned = math.exp(0.2 * Design().detectable(8))
    assert told.weaker == pytest.approx(planned, rel=0.08)


def test_survivors_hide_how_much_stronger_a_group_is() -> None:
    told = reach(Scene(6, 6, 0.0, 0.2, 0.2, -0.1), 0.05)
    assert told.weaker is not None and told.stronger is None


def test_three_against_three_find_much_weaker_groups_though_some_survive() -> None:
    told = reach(Scene(3, 3, 0.0, 0.2, 0.2, 0.3), 0.05)
    assert told.weaker is not None and told.weaker > 1.5


def test_a_survivor_of_one_group_leaves_the_others_as_they_are() -> None:
    values = {
        "A": [100.0, 110.0, 120.0, 130.0],
        "B": [50.0, 55.0, 61.0, 64.0],
        "C": [98.0, 112.0, 127.0, 400.0],
    }
    survived, alone = (
        compare_censored(limited({name: values[name] for name in names}, 300.0))
        for names in ("ABC", "AB")
    )
    of_b, of_c = survived.comparisons
    assert of_b.verdict == SHOWN and of_c.verdict == CANNOT_TELL
    assert of_b.p == alone.comparisons[0].p
    assert of_b.detectable is not None and of_c.detectable is None


@pytest.mark.parametrize(("n1", "n2"), [(2, 8), (3, 4), (3, 8), (4, 8), (6, 10)])
def test_the_exact_test_is_not_asked_of_few_or_very_unlike_groups(n1: int, n2: int) -> None:
    low = {"A": list(np.linspace(5, 6, n1)), "B": [20.0] * n2}
    told = compare_censored(limited(low, 10.0))
    assert told.comparisons[0].p == 1 and told.verdict == CANNOT_TELL


@pytest.mark.parametrize(("n1", "n2"), [(4, 4), (4, 5), (4, 6), (5, 5), (6, 9)])
def test_the_exact_test_shows_groups_wholly_apart(n1: int, n2: int) -> None:
    low = {"A": list(np.linspace(5, 6, n1)), "B": [20.0] * n2}
    told = compare_censored(limited(low, 10.0)).comparisons[0]
    assert told.verdict == SHOWN and told.p <= LEVEL and told.low > 1


def test_upper_bounds_are_lower_ones_of_the_mirrored_values() -> None:
    up = {"A": [5.0, 6.0, 7.5, 9.9], "B": [8.0, 9.0, 12.0, 13.0]}
    over = compare_censored(limited(up, 10.0)).comparisons[0]
    mirrored = tuple(
        Observation(name, f"{name}{i}", max(60 / x, 6.0), "one", censored="left" if x >= 10 else "")
        for name, row in up.items()
        for i, x in enumerate(row)
    )
    under = compare_censored(
        StudyData(TORQUE, (Group("A", True), Group("B")), mirrored)
    ).comparisons[0]
    assert under.p == pytest.approx(over.p) and under.effect == pytest.approx(1 / over.effect)
    assert (under.low, under.high) == pytest.approx((1 / over.high, 1 / over.low))
    assert under.reach.weaker == over.reach.stronger


@given(
    st.lists(st.integers(2, 7), min_size=2, max_size=3),
    st.integers(0, 10_000),
    st.sampled_from([0.8, 1.0, 1.5, 4.0]),
)
@settings(max_examples=60, deadline=None)
def test_sentences_and_figures_of_bounds_agree(sizes: list[int], seed: int, limit: float) -> None:
    """Direction against estimate, "shown" against interval and p, "can show" against p."""
    rng = np.random.default_rng(seed)
    values = {
        name: list(np.exp(rng.choice([0.0, 0.3, 1.0]) + 0.2 * rng.standard_normal(n)))
        for name, n in zip("ABC", sizes, strict=False)
    }
    told = compare_censored(limited(values, limit))
    for c in told.comparisons:
        text = bound_words.survivors(c, TORQUE)
        apart = c.low > 1 or c.high < 1
        if c.verdict == SHOWN:
            assert apart and c.p_adjusted <= LEVEL * (1 + 1e-6)
            assert ("shown, B better" in text or "shown, C better" in text) == (c.low > 1)
            assert (" worse." in text) == (c.high < 1)
        else:
            assert not apart, "an interval that tells, beside a verdict that does not"
            assert "better" not in text and "worse" not in text
        if c.verdict == RULED_OUT:
            assert TORQUE.margin >= c.high and c.low >= 1 / TORQUE.margin
        assert not (c.verdict == SHOWN and "can show no" in text)
        assert 0 <= c.low <= c.high


@pytest.mark.parametrize(
    ("survives", "way", "much"), [("B", "better", "more"), ("A", "worse", "less")]
)
def test_a_group_that_survived_whole_is_held_against_what_matters_on_its_own_side(
    survives: str, way: str, much: str
) -> None:
    """Its ratio stands open; the interval tells the side."""
    failed = [10.0, 10.5, 9.6, 10.2, 9.9, 10.1]
    values = {name: [20.0] * 6 if name == survives else failed for name in "AB"}
    told = compare_censored(limited(values, 15.0))
    text = headline(TORQUE, told.verdict, of_bounds(told, TORQUE))
    assert text.startswith(f"Peak torque: difference shown, B {way} than A. B against A in these")
    assert re.search(rf"blades at least \d+ % {much} \(at least \d+ % {much}, 95", text)
    assert re.search(rf"which is at least the \d+ % {much} that matters", text)
