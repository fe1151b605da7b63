"""The certificate is honest: a small run of the simulation in tests/calibration/coverage.py."""

from functools import cache

import pytest

from tests.calibration.coverage import run
from tests.measure.test_coverage import band

RIGS = 150


@cache
def figures() -> dict[str, float]:
    return run(RIGS)


def test_a_torque_s_interval_holds_the_truth_as_often_as_it_says() -> None:
    # Torques read by one certificate share its errors: they count as one rig, not as four.
    low, high = band(RIGS)
    assert low <= figures()["coverage"] <= high
    assert figures()["refused"] == 0


@pytest.mark.parametrize("third", [1, 2, 3])
def test_it_does_so_all_over_the_range(third: int) -> None:
    low, high = band(RIGS)
    assert low <= figures()[f"coverage third {third}"] <= high


def test_the_design_bench_states_torques_to_a_fifth_of_a_percent() -> None:
    assert figures()["median relative U"] < 0.002
