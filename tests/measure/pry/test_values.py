"""What a pry's values are: against closed forms of synthetic records."""

import math
from dataclasses import replace

import numpy as np
import pytest

from rig.measure.arm.facts import Asked, Section
from rig.measure.budget import Input
from rig.measure.pry.evaluate import PryResult, evaluate_pry
from tests.measure.pry.traces import STIFF, Pull, bending, broken, facts, limits, record

FAILS_RAD = math.radians(8)
FAILS_NM = STIFF * FAILS_RAD
START_RAD = 0.05 / STIFF


@pytest.mark.parametrize("phase", [0.0, 0.2, 0.4, 0.6, 0.8])
@pytest.mark.parametrize("ramp_s", [2.5, 5.0, 9.0])
def test_the_peak_of_a_snap_is_found_whatever_the_converter_s_phase(
    phase: float, ramp_s: float
) -> None:
    result = evaluate_pry(record(broken(rate=FAILS_RAD / ramp_s), phase=phase), facts())
    assert result.kind == "snap"
    # A sample reads two to three periods of the rise low: 0.5 to 1.5 % of these peaks.
    assert result["peak_torque"].value == pytest.approx(FAILS_NM, rel=0.002)
    assert result.figures["largest_sample_nm"] < FAILS_NM * (1 - 1.5 * 0.0125 / ramp_s)


def test_a_straight_spring_breaks_at_its_angle_with_half_torque_times_angle() -> None:
    """Closed form: the trapezoid between pre-load and failure, (T0 + T)(theta - theta0)/2."""
    result = evaluate_pry(record(broken()), facts())
    span = FAILS_RAD - START_RAD
    assert result["failure_angle"].value == pytest.approx(span, rel=0.003)
    assert result["energy_to_failure"].value == pytest.approx(
        (0.05 + FAILS_NM) / 2 * span, rel=0.004
    )
    assert result["stiffness"].value == pytest.approx(STIFF, rel=0.003)
    assert result.figures["ramp_s"] == pytest.approx(span / broken().rate, abs=0.02)
    assert result.reasons == ()


def test_onset_and_set_of_a_bilinear_spring_agree_with_geometry() -> None:
    """The line k (theta - o) meets y + s (theta - y/k) at theta = y/k + k o/(k - s)."""
    pull, slope = Pull(rate=math.radians(2), back_rate=math.radians(3)), 0.5
    result = evaluate_pry(record(pull, bending(pull, 2.0, slope)), facts())
    past = STIFF * math.radians(0.5) / (STIFF - slope)
    assert result.kind == "bend"
    assert result["onset_torque"].value == pytest.approx(2.0 + slope * past, rel=0.003)
    top = 2.0 + slope * (pull.to_rad - 2.0 / STIFF)
    left = pull.to_rad - top / STIFF
    assert result["set_angle"].value == pytest.approx(left, abs=math.radians(0.05))
    assert result["peak_torque"].value == pytest.approx(top, rel=0.002)


def test_an_uneven_hand_bends_no_straight_line() -> None:
    class Uneven(Pull):
        def angle(self, t: np.ndarray) -> np.ndarray:
            return np.maximum(super().angle(t + 0.08 * np.sin(2 * math.pi * 1.3 * t)), 0.0)

    pull = Uneven(rate=math.radians(2))
    result = evaluate_pry(record(pull), facts(limits=limits(torque_limit_nm=4.1)))
    assert result["stiffness"].value == pytest.approx(STIFF, rel=0.003)
    assert result.figures["scatter_nm"] < 0.006


def test_moment_and_index_are_those_of_the_section() -> None:
    section = Section(
        Input("t", 1.2e-3, 0.01e-3, unit="m"),
        Input("w", 10e-3, 0.03e-3, unit="m"),
        Input("x", 0.002, 0.00005, unit="m"),
    )
    result = evaluate_pry(record(broken()), facts(), Asked(section=section))
    moment = result["peak_torque"].value * (1 - 1.5 * 0.002 / 0.025)
    assert result["bending_moment"].value == pytest.approx(moment)
    assert result["index"].value == pytest.approx(6 * moment / (10e-3 * 1.2e-3**2))
    shares = {row.name: row.share for row in result["index"].rows}
    # 0.83 % of thickness counts twice: far more than all of the torque.
    assert shares["thickness"] > 0.8


def test_the_torque_at_a_stated_angle_is_read_off_the_curve() -> None:
    result = evaluate_pry(record(broken()), facts(), Asked(at_rad=math.radians(5)))
    wanted = 0.05 + STIFF * math.radians(5)
    assert result["torque_at_angle"].value == pytest.approx(wanted, rel=0.003)
    assert "torque_at_angle" not in _pried(Asked(at_rad=math.radians(9))).measurands


def _pried(asked: Asked | None = None) -> PryResult:
    return evaluate_pry(record(broken()), facts(), asked)


def test_a_pry_to_the_left_is_the_mirror_of_one_to_the_right() -> None:
    right = record(broken())
    middle = 2 * round(0.5 * 1023 * 64)
    left = replace(right, codes=160_000 - right.codes, sums=middle - right.sums)
    mirrored = evaluate_pry(left, facts(), Asked(direction=-1))
    assert mirrored.kind == "snap" and mirrored.reasons == ()
    assert mirrored["peak_torque"].value == pytest.approx(_pried()["peak_torque"].value, rel=1e-4)


def test_zero_is_taken_in_the_middle_of_before_and_after_with_a_row_for_its_drift() -> None:
    moved = replace(record(broken()).zero, name="zero_after", value=80_000.0 + 4_000.0)
    result = evaluate_pry(record(broken(), zero_after=moved), facts())
    rows = {row.name: row for row in result["peak_torque"].rows}
    assert rows["zero"].u == pytest.approx(4_000 * 2e-6 / 2 / math.sqrt(3), rel=0.01)
    shift = _pried()["peak_torque"].value - result["peak_torque"].value
    assert shift == pytest.approx(0.004, rel=0.02)


def test_the_arm_s_own_torque_is_taken_off() -> None:
    from rig.measure.arm.sweep import Sweep

    def alone(angle: np.ndarray) -> np.ndarray:
        return np.asarray(0.3 - 0.2 * angle)

    sweep = Sweep((0.3, -0.2), 0.0, 0.001, -0.1, 1.0)
    heavy = record(broken(), alone=alone)
    result = evaluate_pry(heavy, facts(sweep=sweep))
    assert result["peak_torque"].value == pytest.approx(FAILS_NM, rel=0.002)
    assert result["failure_angle"].value == pytest.approx(FAILS_RAD - START_RAD, rel=0.004)


def test_every_peak_has_its_rows() -> None:
    names = [row.name for row in _pried()["peak_torque"].rows]
    wanted = ["record", "torque_scale", "torque_point", "align", "zero", "no_load", "sampling",
              "filter"]  # fmt: skip
    assert names == wanted
    assert sum(row.share for row in _pried()["peak_torque"].rows) == pytest.approx(1)


def test_a_result_survives_being_written_and_read() -> None:
    import json

    made = _pried()
    assert PryResult.from_dict(json.loads(json.dumps(made.to_dict()))) == made
