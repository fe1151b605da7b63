"""The stated uncertainty is honest: a small run of the bench in tests/measure/coverage.py."""

from functools import cache

import pytest
from scipy import stats

from tests.measure.coverage import run

RIGS = 300
NAMES = (
    "impact_speed",
    "impact_energy",
    "gate_speed",
    "rebound_speed",
    "restitution",
    "energy_not_returned",
    "fit_alone",
)


@cache
def figures() -> dict[str, float]:
    return run(RIGS)


def band(count: int) -> tuple[float, float]:
    """Share of hits that 99.9 % of runs show where the true coverage is within 93 to 97 %."""
    low = float(stats.binom.ppf(0.0005, count, 0.93))
    high = float(stats.binom.ppf(0.9995, count, 0.97))
    return low / count, high / count


@pytest.mark.parametrize("name", NAMES)
def test_the_interval_holds_the_truth_as_often_as_it_says(name: str) -> None:
    low, high = band(RIGS)
    assert low <= figures()[f"coverage {name}"] <= high


def test_the_second_strike_s_interval_holds_the_truth_as_often_as_it_says() -> None:
    low, high = band(RIGS // 2)
    assert low <= figures()["coverage second_strike_energy"] <= high


def test_the_speed_is_as_good_as_its_samples_allow() -> None:
    assert figures()["rms speed error"] <= 0.0015
    assert figures()["rms error / Cramer-Rao bound"] <= 1.5


def test_energy_at_five_joules_is_known_to_one_percent() -> None:
    assert figures()["worst relative U of energy"] <= 0.01
    assert figures()["without result"] == 0


def test_a_good_drop_is_hardly_ever_called_invalid() -> None:
    # Three sigma of the gate's check, two-sided, call 0.27 %; the bound is what chance allows.
    refused = figures()["with a false reason"]
    assert refused <= stats.binom.ppf(0.9995, RIGS, 0.0027)
