"""Equal at the start?"""

import numpy as np
import pytest

from rig.study.answers import words
from rig.study.statistics.agreement import agreement
from rig.study.statistics.data import LINEAR, Response
from rig.study.statistics.parity import EQUAL, UNEQUAL, UNKNOWN, parity
from tests.study.blades import study

HARDNESS = Response("hardness", "HRC", LINEAR, smallest=1.0, margin=1.0)


def hardness(shift: float, scatter: float, n: int = 6):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(11)
    values = {
        name: list(60 + move + scatter * rng.standard_normal(n))
        for name, move in (("A", 0.0), ("B", shift))
    }
    return parity(study(values, HARDNESS))


def test_like_groups_with_little_scatter_are_equal_within_the_margin() -> None:
    assert hardness(0.0, 0.3).state == EQUAL


def test_a_shown_difference_within_the_margin_is_parity() -> None:
    told = hardness(0.4, 0.05)
    assert told.result.verdict == "difference shown" and told.equal


def test_two_points_of_hardness_are_no_parity() -> None:
    assert hardness(2.0, 0.3).state == UNEQUAL


def test_two_groups_either_side_of_the_control_are_no_parity_with_one_another() -> None:
    """Each within 1 HRC of the control, 1.2 HRC apart: the groups did not all start equal."""
    spread = [-0.1, -0.05, 0.0, 0.0, 0.05, 0.1]
    values = {
        name: [60 + move + x for x in spread] for name, move in (("A", 0), ("B", 0.6), ("C", -0.6))
    }
    told = parity(study(values, HARDNESS))
    assert not told.equal and ("C", "B") in told.apart
    assert "C against B" in words.parity(told)


def test_three_groups_alike_are_said_to_be_equal_each_with_each() -> None:
    spread = [-0.1, -0.05, 0.0, 0.0, 0.05, 0.1]
    told = parity(study({name: [60 + x for x in spread] for name in "ABC"}, HARDNESS))
    assert told.equal and len(told.result.comparisons) == 3
    assert "equal within 1 HRC, each of them against each other" in words.parity(told)


def test_wide_scatter_does_not_show_equality() -> None:
    assert hardness(0.0, 3.0).state == UNKNOWN


def test_the_interval_of_a_correlation_agrees_with_the_textbook() -> None:
    """r 0.8, n 10: 0.343 to 0.951 by Fisher's z (worked by hand: z 1.0986 -+ 1.96/sqrt 7)."""
    x = np.arange(10.0)
    rest = np.array([1, -1, 1, -1, 1, -1, 1, -1, 1, -1.0])
    rest -= np.polyval(np.polyfit(x, rest, 1), x)
    y = 0.8 * (x - x.mean()) / np.linalg.norm(x - x.mean()) + 0.6 * rest / np.linalg.norm(rest)
    told = agreement(dict(enumerate(x)), dict(enumerate(y)))  # type: ignore[arg-type]
    assert told.linear == pytest.approx(0.8)
    assert (told.linear_low, told.linear_high) == pytest.approx((0.3433, 0.9507), abs=1e-4)


def test_blades_with_one_of_two_values_are_named() -> None:
    one = {f"B{i}": float(i) for i in range(6)}
    two = {f"B{i}": float(i * i) for i in range(1, 6)}
    told = agreement(one, two)
    assert told.blades == 5 and "B0" in told.reasons[0].text and told.rank == pytest.approx(1.0)


@pytest.mark.parametrize("two", [{}, {"a": 1.0, "b": 1.0, "c": 1.0, "d": 1.0}])
def test_too_few_or_flat_values_give_reasons(two: dict[str, float]) -> None:
    told = agreement({"a": 1.0, "b": 2.0, "c": 3.0, "d": 4.0}, two)
    assert told.linear is None and told.reasons
