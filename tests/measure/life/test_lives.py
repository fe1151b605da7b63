"""A life is an interval of cuts: bad ones are refused, a survivor never becomes a number."""

import math

import pytest

from rig.errors import RigError
from rig.measure.life import Life, by_group, fit, survivor
from rig.measure.life.lives import bounds
from tests.measure.life.studies import lives


@pytest.mark.parametrize(
    ("low", "high"),
    [
        (math.nan, 10),
        (10, math.nan),
        (-1, 10),
        (math.inf, math.inf),
        (20, 10),
        (0, 0),
        (0, math.inf),
    ],
)
def test_an_impossible_life_is_refused_with_the_blade_named(low: float, high: float) -> None:
    with pytest.raises(RigError) as error:
        Life("K7", "a", low, high)
    assert error.value.where == "K7"
    assert error.value.remedy


def test_a_survivor_says_so_and_has_no_number() -> None:
    life = survivor("K7", "a", 200)
    assert life.survived
    assert math.isinf(life.first_fail_cuts)
    assert str(life) == "more than 200 cuts"


def test_a_life_is_told_as_an_interval() -> None:
    assert str(Life("K7", "a", 125, 150)) == "more than 125, at most 150 cuts"
    assert str(Life("K7", "a", 120.5, 120.5)) == "120.5 cuts"


def test_one_blade_cannot_count_twice() -> None:
    with pytest.raises(RigError, match="two lives"):
        bounds([Life("K7", "a", 100, 125), Life("K7", "a", 125, 150)])


def test_no_lives_and_several_groups_are_refused_by_the_fit_of_one_group() -> None:
    with pytest.raises(RigError, match="no lives"):
        fit([])
    with pytest.raises(RigError, match="several groups"):
        fit(lives("a", (100, 125)) + lives("b", (100, 125)))


def test_groups_come_in_the_order_they_are_met() -> None:
    met = by_group(lives("b", (1, 2)) + lives("a", (1, 2)) + lives("b2", (3, 4)))
    assert list(met) == ["b", "a", "b2"]
