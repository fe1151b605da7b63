"""The stated uncertainty is honest: a small run of the bench in tests/measure/pry/coverage.py."""

from functools import cache

import pytest

from tests.measure.pry.coverage import COVERED, run
from tests.measure.test_coverage import band

RIGS = 120


@cache
def figures() -> dict[str, float]:
    return run(RIGS)


@pytest.mark.parametrize("name", COVERED)
def test_the_interval_holds_the_truth_as_often_as_it_says(name: str) -> None:
    low, high = band(int(figures()[f"count {name}"]))
    assert low <= figures()[f"coverage {name}"] <= high


def test_every_kind_of_failure_is_told() -> None:
    assert figures()["kinds right"] >= 0.99


def test_no_value_is_told_with_more_uncertainty_than_a_bench_needs() -> None:
    for name in ("peak_torque", "onset_torque", "stiffness", "failure_angle", "energy_to_failure"):
        assert figures()[f"median relative U {name}"] < 0.015
