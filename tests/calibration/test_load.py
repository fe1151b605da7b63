"""A load calibration gives back its scale, states its range, and refuses what it must."""

import math
from typing import Any

import pytest

from rig.calibration.limits import CLASSES, FACTOR, lower_limit_factor, range_of
from rig.calibration.load import calibrate, early_reasons, fitted, sentence
from rig.calibration.refusals import ZERO_LIMIT
from rig.measure.scales import Scale
from tests.calibration.settings import BENCH, ZERO, facts, weights
from tests.published import load


def names(result: dict[str, Any]) -> list[str]:
    assert result["certificate"] is None
    return [reason["name"] for reason in result["reasons"]]


def test_a_dead_weight_s_torque_is_its_weight_in_air_times_the_radius() -> None:
    # Torque from force and arm: published case torque_arm_angle (120 N at 0.25 m: 30 N.m);
    # buoyancy 1 - 1.2/7850 by the formula of the weighing standards (OIML R 111, from memory)
    case = load("torque_arm_angle")
    force, arm = case["inputs"]["F_N"], case["inputs"]["r_m"]
    known = facts()
    mass = force / known.gravity.value
    expected = case["expected"]["T_Nm"][0] / arm * known.arm.calibration_m
    assert known.torque_nm(mass) == pytest.approx(expected * (1 - 1.2 / 7850), rel=1e-9)


def test_the_lower_limit_factor_of_the_pontius_load_cell_comes_out() -> None:
    # ASTM E74-18 clause 8 on the data of NIST StRD Pontius; formula, computed from those data
    told = load("astm_e74_llf")["expected"]
    factor = lower_limit_factor(told["pontius"]["s"], 1e-5)
    assert factor == pytest.approx(told["pontius"]["llf_deflection"], rel=1e-9)
    assert told["factor"] == FACTOR
    assert (CLASSES["A"], CLASSES["AA"]) == (told["class_A_multiple"], told["class_AA_multiple"])
    for name in ("A", "AA"):
        assert 100 / CLASSES[name] == pytest.approx(told[f"class_{name}_percent"])


def test_a_coarse_resolution_takes_the_place_of_the_lower_limit_factor() -> None:
    assert lower_limit_factor(1e-6, 1e-3) == 1e-3  # ASTM E74: the larger of the two


def test_the_range_never_begins_below_the_smallest_weight() -> None:
    assert range_of(1e-6, 0.6, 30.0).low == 0.6
    assert range_of(0.02, 0.6, 30.0).low == pytest.approx(2.0)


def test_the_zero_limit_is_that_of_the_loosest_class_of_iso_376() -> None:
    # ISO 376:2011 table 2 (from memory, not opened)
    told = load("iso376_classes")["expected"]
    column = told["columns"].index("zero_f0")
    assert pytest.approx(told["rows"][-1][column] / 100) == ZERO_LIMIT


def test_a_straight_cell_gives_its_slope_back_either_side() -> None:
    result = calibrate(weights())
    scale = Scale.from_dict(result["certificate"]["curve"])
    known = facts()
    for mass in (0.2, 3.0, 10.0):
        torque = known.torque_nm(mass)
        code = torque * known.codes_per_nm()
        assert float(scale.value(code)) == pytest.approx(torque, rel=1e-4)
        assert float(scale.value(-code)) == pytest.approx(-torque, rel=1e-4)
    assert scale.high == pytest.approx(known.torque_nm(10.0))
    assert scale.low == pytest.approx(known.torque_nm(0.2))
    assert "within" in result["certificate"]["sentence"]


def test_the_sentence_rounds_every_figure_to_the_safe_side() -> None:
    told = sentence(0.7211, 29.4191, 0.01461, 0.00151)
    assert told == (
        "Good from 0.73 to 29.41 N·m, to the right and to the left, within 1.5 % (0.2 % at the "
        "upper end)."
    )


def test_a_bent_cell_gets_its_quadratic() -> None:
    line = facts().codes_per_nm()

    def bent(torque: float, rising: bool, run: int) -> float:
        return line * torque * (1 + 2e-3 * abs(torque) / 30) + 2.0 * (run - 2)

    result = calibrate(weights(bent))
    scale = Scale.from_dict(result["certificate"]["curve"])
    assert len(scale.right) == 3
    assert float(scale.value(bent(15.0, True, 2))) == pytest.approx(15.0, rel=2e-5)


def test_hysteresis_and_zero_return_stand_in_the_budget_by_their_size() -> None:
    line = facts().codes_per_nm()
    gap_nm = 0.010

    def loop(torque: float, rising: bool, run: int) -> float:
        side = math.copysign(1.0, torque)
        return line * (torque - side * gap_nm / 2 * (1 if rising else -1)) + run

    moved_nm = 0.006
    parts = {p.name: p for p in fitted(weights(loop, zero_moves=moved_nm * line)).parts}
    assert parts["hysteresis"].u == pytest.approx(gap_nm / 2, rel=0.1)
    assert parts["zero_return"].u == pytest.approx(moved_nm / math.sqrt(3), rel=0.01)


def test_readings_that_scatter_more_make_a_shorter_range() -> None:
    line = facts().codes_per_nm()

    def scattered(torque: float, rising: bool, run: int) -> float:
        return line * (torque + 0.02 * (run - 2))

    low = calibrate(weights(scattered))["certificate"]["curve"]["low"]
    assert low > 5 * facts().torque_nm(0.2)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (0.45359237, "pounds entered as kilograms: kg or lb?"),
        (2.20462262, "kilograms entered as pounds"),
        (1e-3, "grams entered as kilograms"),
        (1 / 9.80665, "newtons entered as kilograms"),
    ],
)
def test_weights_in_a_wrong_unit_are_told_with_the_ratio_found(ratio: float, words: str) -> None:
    # factors of NIST SP 811, appendix B
    result = calibrate(weights(ratio=ratio))
    assert names(result) == ["unit"]
    assert words in result["reasons"][0]["text"]
    assert result["reasons"][0]["figure"] == pytest.approx(ratio, rel=0.02)


def test_swapped_signal_wires_are_told_as_such() -> None:
    line = facts().codes_per_nm()
    result = calibrate(weights(lambda torque, rising, run: -line * torque))
    assert names(result) == ["reversed"]


def test_the_same_side_hung_twice_is_told() -> None:
    line = facts().codes_per_nm()
    assert names(calibrate(weights(lambda torque, up, run: line * abs(torque)))) == ["same_side"]


def test_a_cell_that_answers_nothing_is_told() -> None:
    result = calibrate(weights(lambda torque, rising, run: 0.0))
    assert set(names(result)) == {"not_rising"}


def test_a_missing_side_is_told() -> None:
    told = weights()
    told["runs"] = [run for run in told["runs"] if run["side"] == "right"]
    assert names(calibrate(told)) == ["missing_side"]


def test_two_runs_are_too_few() -> None:
    told = weights()
    told["runs"] = [run for run in told["runs"] if run["run"] < 3]
    assert names(calibrate(told)) == ["too_few_runs"] * 2


def test_a_saturated_converter_is_told_with_its_place() -> None:
    told = weights()
    told["runs"][0]["points"][5]["mean"] = 8_388_607.0
    result = calibrate(told)
    assert names(result) == ["saturated"]
    assert result["reasons"][0]["text"].startswith("right run 1, 10 kg: ")


def test_swapped_weights_are_told() -> None:
    told = weights()
    points = told["runs"][0]["points"]
    points[2]["mean"], points[3]["mean"] = points[3]["mean"], points[2]["mean"]
    assert names(calibrate(told)) == ["not_rising"]


def test_a_zero_that_stays_away_is_told_with_its_share() -> None:
    largest = facts().codes_per_nm() * facts().torque_nm(10.0)
    result = calibrate(weights(zero_moves=0.003 * largest))
    assert set(names(result)) == {"zero_return"}
    assert result["reasons"][0]["figure"] == pytest.approx(0.003, rel=0.01)


def test_a_reading_that_lost_frames_is_told() -> None:
    told = weights()
    told["runs"][1]["zero_after"]["reasons"] = [{"name": "lost_frames", "text": "3 frames lost"}]
    assert names(calibrate(told)) == ["reading"]


def test_the_first_run_alone_tells_a_wrong_unit() -> None:
    (reason,) = early_reasons(weights(ratio=0.45359237)["runs"][0], facts())
    assert reason.name == "unit"
    assert early_reasons(weights()["runs"][0], facts()) == []


def test_the_zero_s_drift_within_a_run_is_taken_out() -> None:
    drift = 500.0
    told = weights(zero_moves=drift)
    for run in told["runs"]:
        steps = len(run["points"]) + 1
        for place, point in enumerate(run["points"], 1):
            point["mean"] += drift * place / steps
    still, drifted = fitted(weights()), fitted(told)
    assert drifted.s == pytest.approx(still.s, rel=1e-6)
    assert ZERO + drift == told["runs"][0]["zero_after"]["mean"]


def test_the_certificate_belongs_to_its_cell_and_arm() -> None:
    draft = calibrate(weights())["certificate"]
    assert (draft["serial"], draft["bench"]) == (BENCH.cell.serial, BENCH.name)
    assert draft["held"] == {"arm_m": BENCH.pry.arm.length_m}
