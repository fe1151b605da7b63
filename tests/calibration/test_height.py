"""A height calibration from the marks of a steel rule."""

import math
import random
from collections.abc import Callable
from typing import Any

import pytest

from rig.calibration.height import calibrate, rule_limit_m
from rig.measure.scales import Scale
from tests.calibration.settings import BENCH, reading
from tests.measure.test_coverage import band

COUNT_M = BENCH.tower.wire.count_m
MARKS = (0.1, 0.3, 0.5, 0.7, 0.9)


def rule(
    counts: Callable[[float], float] = lambda mark: 40.0 + mark / COUNT_M,
    marks: tuple[float, ...] = MARKS,
) -> dict[str, Any]:
    """Settings of a height calibration: up and down the rule, twice."""
    order = [(m, True) for m in marks] + [(m, False) for m in marks[-2::-1]]
    return {
        "bench": BENCH.name,
        "count_m": COUNT_M,
        "operator": "AB",
        "readings": [
            {"mark_m": mark, "run": run, "rising": up, "boot": 7, **reading(counts(mark), 0.3)}
            for run in (1, 2)
            for mark, up in order
        ],
    }


def names(result: dict[str, Any]) -> list[str]:
    assert result["certificate"] is None
    return [reason["name"] for reason in result["reasons"]]


def test_the_marks_give_the_length_of_a_count() -> None:
    true = COUNT_M * 1.004
    result = calibrate(rule(lambda mark: 40.0 + mark / true))
    scale = Scale.from_dict(result["certificate"]["curve"])
    assert scale.right == scale.left == pytest.approx((0.0, true))
    assert float(scale.value(400.0)) == pytest.approx(400 * true)


def test_the_rule_s_own_error_is_in_however_well_the_marks_repeat() -> None:
    # class II: (0.3 + 0.2 L) mm (OIML R 35, from memory), rectangular over the 0.8 m used
    assert rule_limit_m(1.0) == pytest.approx(0.5e-3)
    scale = Scale.from_dict(calibrate(rule())["certificate"]["curve"])
    rule_error, last_count = (0.3 + 0.2 * 0.8) / 800, COUNT_M / 0.8
    assert scale.u_relative == pytest.approx(math.hypot(rule_error, last_count) / 3**0.5)


def test_an_encoder_wired_backwards_is_told() -> None:
    assert names(calibrate(rule(lambda mark: -mark / COUNT_M))) == ["reversed"]


def test_inches_entered_as_millimetres_are_told() -> None:
    result = calibrate(rule(lambda mark: mark * 25.4 / COUNT_M))
    assert names(result) == ["unit"]
    found = rule(lambda mark: mark / 25.4 / COUNT_M)
    assert "inches entered as millimetres" in str(
        [r["text"] for r in (*result["reasons"], *calibrate(found)["reasons"])]
    )


def test_an_encoder_that_counts_nothing_is_told() -> None:
    assert names(calibrate(rule(lambda mark: 0.0))) == ["not_rising"]


def test_a_wire_that_slips_is_told() -> None:
    told = rule()
    told["readings"][-1]["mean"] += 9.0
    assert names(calibrate(told)) == ["zero_return"]


def test_a_restart_between_marks_is_told() -> None:
    told = rule()
    told["readings"][4]["boot"] = 8
    assert names(calibrate(told)) == ["restarted"]


def test_three_marks_are_too_few() -> None:
    assert names(calibrate(rule(marks=(0.1, 0.5, 0.9)))) == ["too_few_marks"]


def test_a_count_s_interval_holds_the_truth_as_often_as_it_says() -> None:
    hits, rigs = 0, 400
    for seed in range(rigs):
        rng = random.Random(seed)
        true = COUNT_M * rng.gauss(1.0, 0.005)
        reach = MARKS[-1] - MARKS[0]
        stretched = 1 + rng.uniform(-1, 1) * rule_limit_m(reach) / reach

        def counts(
            mark: float, true: float = true, wrong: float = stretched, rng: random.Random = rng
        ) -> float:
            return round(37.2 + mark * wrong / true + rng.gauss(0, 0.2e-3) / true)

        result = calibrate(rule(counts))
        told = result["measurands"].get("count_length")
        if told is None:  # the lowest mark was set too badly: refused, not wrong
            assert names(result) == ["zero_return"]
            continue
        hits += abs(told["value"] - true) <= told["U"]
    low, high = band(rigs)
    assert low <= hits / rigs <= high
