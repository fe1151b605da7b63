"""The severing force: its median's uncertainty against simulation and the order statistics."""

from statistics import median

import numpy as np
import pytest
from scipy import stats

from rig.errors import RigError
from rig.measure.severing import Gauge, evaluate_severing

GAUGE = Gauge(resolution_n=0.01, u_relative=0.0)
READINGS = (1.31, 1.05, 1.22, 1.18, 1.40, 1.09, 1.25)


def test_the_median_is_told_with_the_interval_of_the_order_of_the_readings() -> None:
    told = evaluate_severing(READINGS, GAUGE)
    assert told.measurands["severing_force"].value == median(READINGS)
    # Seven readings: the lowest and highest hold the median with 1 - 2/2^7 = 98.4 %, the second
    # ones with 87.5 % only (binomial, by hand).
    assert (told.figures["low_n"], told.figures["high_n"]) == (min(READINGS), max(READINGS))
    assert 1 - 2 * stats.binom.cdf(0, 7, 0.5) == pytest.approx(0.984, abs=5e-4)


def test_five_readings_have_no_such_interval_and_none_is_told() -> None:
    assert "low_n" not in evaluate_severing(READINGS[:5], GAUGE).figures


def test_the_interval_of_the_median_holds_the_truth_as_often_as_it_says() -> None:
    # Simulated normal readings: 95 % within 1.5 % (standard error 0.5 % at 2,000 sets).
    rng, truth, held = np.random.default_rng(5), 1.2, 0
    for _ in range(2_000):
        told = evaluate_severing(rng.normal(truth, 0.1, 7).tolist(), GAUGE)
        found = told.measurands["severing_force"]
        held += found.low <= truth <= found.high
    assert 0.935 <= held / 2_000 <= 0.975


def test_readings_that_scatter_widely_are_told_and_do_not_count() -> None:
    told = evaluate_severing((0.5, 1.0, 2.0, 0.4, 1.9), GAUGE)
    assert [reason.name for reason in told.reasons] == ["readings_scatter"]


@pytest.mark.parametrize("bad", [(1.0, 1.1), (1.0, 1.1, 0.0), (1.0, 1.1, float("nan"))])
def test_too_few_readings_or_none_that_is_a_force_are_refused(bad: tuple[float, ...]) -> None:
    with pytest.raises(RigError):
        evaluate_severing(bad, GAUGE)


def test_the_scale_s_own_error_goes_into_the_budget() -> None:
    told = evaluate_severing(READINGS, Gauge(0.01, 0.02, "kitchen scale"))
    rows = {row.name: row.contribution for row in told.measurands["severing_force"].rows}
    assert rows["scale"] == pytest.approx(0.02 * median(READINGS))
    assert rows["resolution"] == pytest.approx(0.01 / 12**0.5)
