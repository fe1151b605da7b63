"""The ratio of two groups' median lives."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rig.errors import RigError
from rig.measure.life import Family, Past, median_ratio, still_possible
from tests.measure.life.studies import exact, lives, remission

FAMILIES = pytest.mark.parametrize("family", list(Family))
SPREAD = ((100, 125), (125, 150), (150, 190), (190, 230), (80, 100))
COUNTS = st.lists(st.integers(20, 500), min_size=2, max_size=8, unique=True)


@settings(max_examples=30)
@given(COUNTS, COUNTS)
def test_exact_lognormal_lives_give_the_pooled_t_interval(one: list[int], two: list[int]) -> None:
    # scipy.stats.ttest_ind with equal variances
    found = median_ratio(exact("a", *one), exact("b", *two))
    expected = stats.ttest_ind(np.log(one), np.log(two)).confidence_interval(0.95)
    assert math.log(found.low) == pytest.approx(expected.low, abs=1e-6)
    assert math.log(found.high) == pytest.approx(expected.high, abs=1e-6)


def test_other_groups_lend_their_scatter_as_in_one_way_analysis() -> None:
    groups = [(90, 120, 150), (100, 160, 170), (130, 140, 200)]
    one, two, three = (exact(name, *own) for name, own in zip("abc", groups, strict=True))
    found = median_ratio(one, two, lenders=[three])
    y = [np.log(own) for own in groups]
    scatter = math.sqrt(sum(((own - own.mean()) ** 2).sum() for own in y) / 6)
    half = stats.t.ppf(0.975, 6) * scatter * math.sqrt(2 / 3)
    assert math.log(found.high / found.low) == pytest.approx(2 * half, rel=1e-6)
    assert found.estimate == pytest.approx(math.exp(y[0].mean() - y[1].mean()))


def test_survivors_of_another_group_lend_nothing() -> None:
    alive = lives("c", *[(500, math.inf)] * 4)
    alone = median_ratio(lives("a", *SPREAD), lives("b", *SPREAD))
    lent = median_ratio(lives("a", *SPREAD), lives("b", *SPREAD), lenders=[alive])
    assert (lent.low, lent.high) == pytest.approx((alone.low, alone.high))


@FAMILIES
def test_the_other_way_round_is_one_over_it(family: Family) -> None:
    one, two = lives("a", *SPREAD), lives("b", (60, 80), (80, 100), (150, 190), (150, math.inf))
    there, back = median_ratio(one, two, family), median_ratio(two, one, family)
    assert there.estimate == pytest.approx(1 / back.estimate, rel=1e-6)
    assert (there.low, there.high) == pytest.approx((1 / back.high, 1 / back.low), rel=1e-6)
    assert there.determined


def test_the_remission_times_differ_as_published() -> None:
    # Weibull regression of the 6-MP data: coefficient 1.267 of ln(time), hazard ratio about 4.5
    # and common scale 0.732 (Kalbfleisch and Prentice; Lawless; from memory)
    treated, placebo = remission()
    found = median_ratio(treated, placebo, Family.WEIBULL)
    assert math.log(found.estimate) == pytest.approx(1.267, abs=6e-4)
    assert found.low > 1


@FAMILIES
def test_survivors_on_one_side_give_a_bound_on_that_side_only(family: Family) -> None:
    alive, dulled = lives("a", *[(200, math.inf)] * 5), lives("b", *SPREAD)
    found = median_ratio(alive, dulled, family)
    assert math.isnan(found.estimate) and math.isinf(found.high)
    assert 1 < found.low < 2
    assert [reason.name for reason in found.reasons] == ["none_dulled"]
    assert "'a'" in found.reasons[0].text
    other = median_ratio(dulled, alive, family)
    assert other.low == 0 and other.high == pytest.approx(1 / found.low, rel=1e-6)


@FAMILIES
def test_survivors_on_both_sides_bound_nothing(family: Family) -> None:
    found = median_ratio(
        lives("a", *[(200, math.inf)] * 5), lives("b", *[(300, math.inf)] * 5), family
    )
    assert (found.low, found.high) == (0, math.inf) and math.isnan(found.estimate)


@FAMILIES
def test_groups_each_in_one_interval_are_bounded_by_their_ends(family: Family) -> None:
    found = median_ratio(lives("a", *[(100, 125)] * 6), lives("b", *[(125, 150)] * 6), family)
    assert [reason.name for reason in found.reasons] == ["scatter_not_determined"]
    assert math.isnan(found.estimate)
    assert (found.low, found.high) == pytest.approx((100 / 150, 1), rel=1e-6)


@FAMILIES
def test_groups_in_touching_intervals_still_hold_their_ratio(family: Family) -> None:
    one = lives("a", *[(100, 125)] * 1, *[(125, 150)] * 6)
    two = lives("b", *[(100, 125)] * 5, *[(125, 150)] * 2)
    found = median_ratio(one, two, family)
    assert 0.8 < found.low < 1.02 < found.high < 1.4


def test_one_blade_each_is_never_a_comparison_of_groups() -> None:
    found = median_ratio(lives("a", (125, 150)), lives("b", (125, 150)))
    assert [reason.name for reason in found.reasons] == ["one_blade"]
    assert (found.low, found.high) == (0, math.inf)


def test_blades_dulled_together_may_still_differ_as_much_as_planning_says() -> None:
    # One blade each, both dull between 125 and 150 cuts, past scatter 0.15 with 9 dof: 1.66
    found = median_ratio(lives("a", (125, 150)), lives("b", (125, 150)), past=Past(0.15, 9))
    assert found.high == pytest.approx(still_possible(1, 0.15, 9, 150 / 125), rel=0.01)
    assert found.low == pytest.approx(1 / found.high, rel=1e-6)


def test_a_higher_level_is_wider() -> None:
    one, two = lives("a", *SPREAD), lives("b", *SPREAD)
    narrow, wide = median_ratio(one, two), median_ratio(one, two, level=0.99)
    assert wide.low < narrow.low < 1 < narrow.high < wide.high


def test_a_blade_in_both_groups_is_refused() -> None:
    with pytest.raises(RigError, match="two lives"):
        median_ratio(lives("a", *SPREAD), lives("a", *SPREAD))


@pytest.mark.parametrize("family", list(Family))
def test_lives_known_from_one_side_only_give_no_ratio_and_a_reason(family: Family) -> None:
    early, late = (0.0, 20.0), (30.0, math.inf)
    for one, two in (([early] * 3 + [late] * 2, [early, late, late]),
                     ([early, late], [early, early, late]),
                     ([late] * 3 + [early], [early] * 3 + [late])):  # fmt: skip
        found = median_ratio(lives("a", *one), lives("b", *two), family)
        assert math.isnan(found.estimate) and found.reasons
        assert found.low <= 1 <= found.high
