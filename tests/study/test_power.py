"""Sample sizes and detectable differences."""

import math

import pytest

from rig.errors import RigError
from rig.study.data import LINEAR, LOG, Response
from rig.study.plan import Scatter, plan_study
from rig.study.power import (
    detectable_pooled,
    detectable_scatters,
    exact_size,
    fewest,
    found,
    found_anova,
    found_pooled,
    log_scatter,
    scatter_of_means,
)
from tests.published import load

TORQUE = Response("peak torque", "N.m", LOG, smallest=1.25, margin=1.2)


@pytest.mark.parametrize("at", range(3))
def test_two_groups_agree_with_cohen(at: int) -> None:
    """Cohen 1992, table 2 (from memory); exact sizes from R package pwr."""
    given = load("power_two_groups")
    d, expected = given["inputs"]["d"][at], given["expected"]
    assert exact_size(lambda n: found_pooled(d, n)) == pytest.approx(
        expected["n_exact"][at], abs=6e-4
    )
    assert fewest(lambda n: found_pooled(d, n)) == expected["n_up"][at]
    assert expected["n_up"][at] - expected["n_cohen"][at] in (0, 1)


@pytest.mark.parametrize("at", range(3))
def test_three_groups_agree_with_cohen(at: int) -> None:
    given = load("power_anova_k3")
    f, expected = given["inputs"]["f"][at], given["expected"]
    size = exact_size(lambda n: found_anova(f, n, 3))
    assert size == pytest.approx(expected["n_exact"][at], abs=2e-3)
    assert round(size) == expected["n_cohen"][at]
    assert fewest(lambda n: found_anova(f, n, 3)) == expected["n_up"][at]


@pytest.mark.parametrize(
    ("n", "percents"), [(3, (36, 84, 146)), (6, (20, 43, 69)), (10, (14, 30, 48))]
)
def test_students_t_sees_the_ratios_worked_out_beforehand(
    n: int, percents: tuple[int, int, int]
) -> None:
    """Noncentral t on the log scale for CV 10, 20, 30 %: calculated, no published source."""
    for cv, percent in zip((0.1, 0.2, 0.3), percents, strict=True):
        ratio = math.exp(detectable_pooled(n) * log_scatter(cv))
        assert 100 * (ratio - 1) == pytest.approx(percent, abs=0.51)


def test_the_verdict_asks_for_more_than_students_t_with_three_blades_only() -> None:
    assert detectable_scatters(3) > 1.15 * detectable_pooled(3)
    for n in (6, 8, 10, 20):
        assert detectable_pooled(n) <= detectable_scatters(n) < 1.03 * detectable_pooled(n)


def test_repeats_help_only_against_scatter_on_one_blade() -> None:
    assert scatter_of_means(0.1, 0.0, 9) == 0.1
    assert scatter_of_means(0.0, 0.3, 9) == pytest.approx(0.1)


def test_the_plan_gives_the_fewest_blades_with_the_power() -> None:
    told = plan_study(TORQUE, 3, Scatter(0.10, 0.05), repeats=2)
    assert told.units is not None and told.comparisons == 2
    wanted = math.log(1.25) / told.scatter
    assert found(wanted, told.units, 2) >= 0.8 > found(wanted, told.units - 1, 2)
    assert told.trials == told.units * 3 * 2
    row = next(row for row in told.rows if row.units == told.units)
    assert row.detectable <= 1.25 and row.chance >= 0.8 and row.trials == told.trials
    assert [row.detectable for row in told.rows] == sorted(
        (row.detectable for row in told.rows), reverse=True
    )


def test_all_pairs_need_more_blades_than_a_control() -> None:
    with_control = plan_study(TORQUE, 4, Scatter(0.15)).units
    all_pairs = plan_study(TORQUE, 4, Scatter(0.15), with_control=False).units
    assert with_control is not None and all_pairs is not None and with_control < all_pairs


def test_differences_are_planned_on_the_linear_scale() -> None:
    hardness = Response("hardness", "HRC", LINEAR, smallest=1.0, margin=1.0)
    told = plan_study(hardness, 2, Scatter(0.5))
    assert told.units == fewest(lambda n: found(2.0, n))


def test_an_impossible_plan_says_so() -> None:
    told = plan_study(Response("life", "cuts", LOG, 1.01, 1.01), 2, Scatter(0.5))
    assert told.units is None and told.blades is None and told.trials is None
    assert told.reasons[0].name == "too_many"


def test_a_plan_without_scatter_or_groups_is_refused() -> None:
    with pytest.raises(RigError, match="no scatter is stated"):
        plan_study(TORQUE, 2, Scatter(0.0))
    with pytest.raises(RigError, match="1 groups"):
        plan_study(TORQUE, 1, Scatter(0.1))
