"""Twist: cycles, peaks, work and decay against closed forms of a spring with friction."""

import json
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.sweep import NOTHING
from rig.measure.budget import Input
from rig.measure.twist.evaluate import NOTICE, TwistResult, evaluate_twist
from rig.measure.twist.rows import TwistFacts, TwistLimits
from tests.measure.pry.traces import CODE_NM, ZERO, Pull, record
from tests.measure.pry.traces import facts as pry_facts

AMPLITUDE = math.radians(8)
PERIOD_S = 4.0
SPRING, FRICTION = 10.0, 0.2
SPAN_RAD = math.radians(0.5)


@dataclass(frozen=True)
class Swing(Pull):
    """`cycles` to and fro, eased in and out so that the arm starts and ends at rest."""

    cycles: int = 5
    amplitude: float = AMPLITUDE
    period_s: float = PERIOD_S
    phase: float = 0.0

    def out_s(self) -> float:
        return self.rest_s + self.cycles * self.period_s

    def angle(self, t: np.ndarray) -> np.ndarray:
        since = np.clip(t - self.rest_s, 0.0, self.cycles * self.period_s)
        return np.asarray(self.amplitude * np.sin(2 * math.pi * since / self.period_s + self.phase))


def felt(swing: Swing, weaker: float = 1.0, friction: float = FRICTION):  # type: ignore[no-untyped-def]
    """Spring whose stiffness is `weaker` times the last at each cycle, and rubbing."""

    def torque(t: np.ndarray) -> np.ndarray:
        angle = swing.angle(t)
        since = np.clip(t - swing.rest_s, 0.0, swing.cycles * swing.period_s - 1e-9)
        whole = np.floor(since / swing.period_s)
        # How far it has gone since it last turned: friction builds up over SPAN_RAD.
        quarter = (since / swing.period_s + 0.25) % 0.5 * swing.period_s
        turned = swing.amplitude * (1 - np.cos(2 * math.pi * quarter / swing.period_s))
        going = np.sign(np.cos(2 * math.pi * since / swing.period_s))
        rubbing = friction * going * (1 - 2 * np.exp(-turned / SPAN_RAD)) * (since > 0)
        return np.asarray(SPRING * weaker**whole * angle + rubbing)

    return torque


def facts(**changes: Any) -> TwistFacts:
    given = pry_facts()
    limits = TwistLimits(
        AMPLITUDE, math.radians(1.5), math.radians(2), math.radians(15), drift_limit_share=0.01
    )
    made = TwistFacts(
        given.torque, given.angle, NOTHING, given.u_align_rad, given.time_base, limits
    )
    return replace(made, **changes)


def twist(swing: Swing | None = None, weaker: float = 1.0, **changes: Any) -> ArmRecord:
    own = swing or Swing()
    return record(own, felt(own, weaker), **changes)


def names(result: TwistResult) -> list[str]:
    return [reason.name for reason in result.reasons]


def test_every_result_says_that_there_is_no_standard() -> None:
    assert "No published standard" in NOTICE
    for result in (evaluate_twist(twist(), facts(), 5), TwistResult()):
        assert result.notice == NOTICE
        assert result.to_dict()["notice"] == NOTICE


def test_all_cycles_are_found_and_a_good_trial_has_no_reasons() -> None:
    result = evaluate_twist(twist(), facts(), 5)
    assert names(result) == []
    assert result.figures["cycles"] == 5
    for n in range(1, 6):
        assert result.figures[f"right_rad_{n}"] == pytest.approx(AMPLITUDE, rel=0.005)
        assert result.figures[f"left_rad_{n}"] == pytest.approx(AMPLITUDE, rel=0.005)
        assert result.figures[f"rate_rad_s_{n}"] == pytest.approx(
            4 * AMPLITUDE / PERIOD_S, rel=0.03
        )


def test_peaks_are_those_of_spring_and_friction() -> None:
    """At the turning point k A + f."""
    result = evaluate_twist(twist(), facts(), 5)
    wanted = SPRING * AMPLITUDE + FRICTION
    for side in ("right", "left"):
        for n in range(1, 6):
            made = result[f"peak_{side}_{n}"]
            assert made.value == pytest.approx(wanted, rel=0.005)
            assert abs(made.value - wanted) < made.U
    assert result["peak_torque"].value == pytest.approx(wanted, rel=0.005)


def test_a_spring_alone_takes_no_work() -> None:
    swing = Swing()
    result = evaluate_twist(record(swing, felt(swing, friction=0.0)), facts(), 5)
    for n in range(1, 6):
        assert abs(result[f"work_{n}"].value) < 0.005 * SPRING * AMPLITUDE**2 / 2


def test_the_work_of_a_cycle_is_the_area_of_its_loop() -> None:
    """Closed form of this rubbing: two branches, each f (2 A - 2 s (1 - e^(-2 A/s)))."""
    result = evaluate_twist(twist(), facts(), 5)
    branch = 2 * AMPLITUDE - 2 * SPAN_RAD * (1 - math.exp(-2 * AMPLITUDE / SPAN_RAD))
    wanted = 2 * FRICTION * branch
    for n in range(2, 5):
        assert result[f"work_{n}"].value == pytest.approx(wanted, rel=0.01)
    whole = sum(result[f"work_{n}"].value for n in range(1, 6))
    assert result["work_total"].value == pytest.approx(whole)


def test_decay_is_the_last_cycle_over_the_first() -> None:
    result = evaluate_twist(twist(weaker=0.95), facts(), 5)
    wanted = (SPRING * 0.95**4 * AMPLITUDE + FRICTION) / (SPRING * AMPLITUDE + FRICTION)
    made = result["torque_ratio"]
    assert made.value == pytest.approx(wanted, rel=0.003)
    assert made.U < 0.01
    assert "torque_scale" not in {row.name for row in made.rows}  # it cancels


def test_the_exponent_of_a_power_law_is_found_within_its_interval() -> None:
    """Peaks c n^(-b) by construction, with the interval of Student's t on n - 2."""
    swing, b = Swing(cycles=8), 0.1

    def torque(t: np.ndarray) -> np.ndarray:
        whole = np.floor(np.clip(t - swing.rest_s, 0, 8 * PERIOD_S - 1e-9) / PERIOD_S) + 1
        return np.asarray(SPRING * whole ** (-b) * swing.angle(t))

    made = evaluate_twist(record(swing, torque), facts(), 8)["decay_exponent"]
    assert made.value == pytest.approx(b, abs=0.003)
    assert abs(made.value - b) < made.U
    assert made.dof == 6


def test_two_cycles_give_a_ratio_and_no_exponent() -> None:
    result = evaluate_twist(twist(Swing(cycles=2)), facts(), 2)
    assert "torque_ratio" in result.measurands
    assert "decay_exponent" not in result.measurands


@pytest.mark.parametrize(
    ("swing", "name"),
    [
        (Swing(cycles=4), "cycles"),
        (Swing(amplitude=math.radians(10)), "amplitude"),
        (Swing(amplitude=math.radians(6)), "amplitude"),
        (Swing(period_s=1.5), "rate_band"),
        (Swing(period_s=20.0), "rate_band"),
    ],
)
def test_what_was_not_turned_as_asked_is_named(swing: Swing, name: str) -> None:
    assert names(evaluate_twist(twist(swing), facts(), 5)) == [name]


def test_an_arm_that_never_turned_has_no_cycles() -> None:
    swing = Swing(amplitude=math.radians(1))
    result = evaluate_twist(twist(swing), facts(), 5)
    assert "cycles" in names(result)
    assert not result.measurands


def test_a_reversed_cell_is_named() -> None:
    made = twist()
    swapped = replace(made, codes=(2 * ZERO - made.codes).astype(np.int64))
    assert "reversed" in names(evaluate_twist(swapped, facts(), 5))


def test_a_sweep_to_one_side_does_not_do() -> None:
    one = replace(NOTHING, low_rad=0.0, high_rad=math.radians(9))
    assert names(evaluate_twist(twist(), facts(sweep=one), 5)) == ["sweep_range"]


def test_drift_guard_and_lost_readings_are_named() -> None:
    moved = Input("zero_after", ZERO + 0.03 / CODE_NM, 2.0, 40, "", "code")
    assert names(evaluate_twist(twist(zero_after=moved), facts(), 5)) == ["drift"]
    assert names(evaluate_twist(twist(guard_opened=True), facts(), 5)) == ["guard_opened"]
    assert names(evaluate_twist(twist(discarded=3), facts(), 5)) == ["load_discarded"]


def test_a_torque_outside_its_certificate_is_named() -> None:
    given = facts()
    low = replace(given, torque=replace(given.torque, high=1.0))
    assert names(evaluate_twist(twist(), low, 5)) == ["outside_certificate"]


def test_a_result_survives_being_written_and_read() -> None:
    made = evaluate_twist(twist(), facts(), 5)
    assert TwistResult.from_dict(json.loads(json.dumps(made.to_dict()))) == made


@pytest.mark.parametrize(("share", "cycles"), [(0.45, 0), (0.55, 5)])
def test_a_turn_smaller_than_half_of_the_amplitude_is_none(share: float, cycles: int) -> None:
    made = evaluate_twist(twist(Swing(amplitude=share * AMPLITUDE)), facts(), 5)
    assert made.figures.get("cycles", 0) == cycles
