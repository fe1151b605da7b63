"""The stated uncertainty is honest: a small run of the bench in tests/measure/twistcoverage.py."""

from functools import cache

import pytest

from tests.measure.test_coverage import band
from tests.measure.twistcoverage import COVERED, run

RIGS = 100


@cache
def figures() -> dict[str, float]:
    return run(RIGS)


@pytest.mark.parametrize("name", COVERED)
def test_the_interval_holds_the_truth_as_often_as_it_says(name: str) -> None:
    low, high = band(int(figures()[f"count {name}"]))
    assert low <= figures()[f"coverage {name}"] <= high


def test_a_twist_as_asked_has_no_reasons_against_it() -> None:
    assert figures()["count peak_torque"] >= 0.99 * RIGS


def test_peaks_are_known_as_well_as_a_comparison_needs() -> None:
    assert figures()["median relative U peak_torque"] < 0.005
    assert figures()["median relative U torque_ratio"] < 0.003
