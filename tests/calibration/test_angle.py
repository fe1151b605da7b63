"""An angle calibration from known stops."""

import math
import random
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from rig.calibration.angle import calibrate
from rig.calibration.nominal import LARGEST_SUM
from rig.measure.budget import coverage_factor
from rig.measure.scales import Scale
from rig.virtual.arm.draw import JigNominal, draw_jig
from rig.virtual.arm.trail import sensed
from rig.virtual.arm.truth import JigTruth
from tests.calibration.settings import BENCH, reading
from tests.measure.test_coverage import band

STOPS = BENCH.pry.calibration.stops_deg
SENSOR = BENCH.pry.angle
LINE = (SENSOR.high_share - SENSOR.low_share) / math.radians(SENSOR.span_deg)


def straight(angle_rad: float) -> float:
    return LARGEST_SUM * (0.5 + LINE * angle_rad)


def stops(sums: Callable[[float], float] = straight, runs: int = 2) -> dict[str, Any]:
    """Settings of an angle calibration."""
    order = [(s, True) for s in STOPS] + [(s, False) for s in STOPS[-2::-1]]
    return {
        "bench": BENCH.name,
        "sensor": SENSOR.model_dump(mode="json"),
        "calibration": BENCH.pry.calibration.model_dump(mode="json"),
        "operator": "AB",
        "readings": [
            {"stop_deg": stop, "run": run, "rising": up,
             **reading(sums(math.radians(stop)) + run - (0.5 if up else -0.5), 4.0)}
            for run in range(1, runs + 1) for stop, up in order
        ],
    }  # fmt: skip


def names(result: dict[str, Any]) -> list[str]:
    assert result["certificate"] is None
    return [reason["name"] for reason in result["reasons"]]


def test_a_straight_sensor_gives_its_angles_back() -> None:
    result = calibrate(stops())
    scale = Scale.from_dict(result["certificate"]["curve"])
    for angle in (-0.7, 0.0, 0.3):
        assert float(scale.value(straight(angle) + 1.5)) == pytest.approx(angle, abs=2e-5)
    assert scale.high == pytest.approx(math.radians(45.0))
    assert result["certificate"]["sentence"].startswith("Good from -45° to 45°")


def test_the_stops_own_error_stands_in_the_uncertainty_however_straight_the_readings() -> None:
    scale = Scale.from_dict(calibrate(stops())["certificate"]["curve"])
    assert scale.u_absolute >= math.radians(BENCH.pry.calibration.u_stop_deg)


def falling(angle_rad: float) -> float:
    return LARGEST_SUM * (0.5 - LINE * angle_rad)


def test_a_sensor_that_falls_to_the_right_is_told_and_its_supply_wires_left_alone() -> None:
    result = calibrate(stops(falling))
    assert names(result) == ["reversed"]
    (reason,) = result["reasons"]
    assert "low_share = 0.9 and high_share = 0.1" in reason["text"]
    assert "never touch the sensor's supply wires" in reason["text"]


def test_a_falling_sensor_that_is_stated_as_such_gives_its_angles_back() -> None:
    told = stops(falling)
    told["sensor"] |= {"low_share": SENSOR.high_share, "high_share": SENSOR.low_share}
    scale = Scale.from_dict(calibrate(told)["certificate"]["curve"])
    for angle in (-0.7, 0.0, 0.3):
        assert float(scale.value(falling(angle) + 1.5)) == pytest.approx(angle, abs=2e-4)
    assert names(calibrate(stops() | {"sensor": told["sensor"]})) == ["reversed"]


def test_an_unplugged_sensor_is_told() -> None:
    assert set(names(calibrate(stops(lambda a: 100.0 + a)))) == {"sensor_end"}


def test_swapped_stops_are_told() -> None:
    told = stops()
    readings = told["readings"]
    readings[2]["mean"], readings[3]["mean"] = readings[3]["mean"], readings[2]["mean"]
    assert names(calibrate(told)) == ["not_rising"]


def test_a_sensor_of_another_span_is_told() -> None:
    assert names(calibrate(stops(lambda a: LARGEST_SUM * (0.5 + LINE / 3 * a)))) == ["span"]


def test_one_run_is_too_few() -> None:
    assert names(calibrate(stops(runs=1))) == ["too_few_runs"]


def test_an_angle_s_interval_holds_the_truth_as_often_as_it_says() -> None:
    hits, rigs = 0, 400
    for seed in range(rigs):
        rng = random.Random(seed)
        truth = draw_jig(rng, JigNominal())

        def sums(angle: float, truth: JigTruth = truth, rng: random.Random = rng) -> float:
            share = float(sensed(truth.sensor, np.array([angle]))[0])
            return LARGEST_SUM * share + rng.gauss(0, 1.0)

        shift = truth.stop_error_rad
        certificate = calibrate(stops(lambda a, s=sums, d=shift: s(a + d)))["certificate"]
        scale = Scale.from_dict(certificate["curve"])
        angle = rng.uniform(-scale.high, scale.high)
        error = float(scale.value(sums(angle))) - angle
        hits += abs(error) <= coverage_factor(scale.dof) * scale.u_absolute
    low, high = band(rigs)
    assert low <= hits / rigs <= high
