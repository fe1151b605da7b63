"""Each thing that makes a pry invalid is named, and nothing else is."""

import math
from dataclasses import replace

import numpy as np
import pytest

from rig.board.wire import LOAD_LIMITS, LoadFault
from rig.measure.arm.facts import ArmRecord, Asked, PryFacts
from rig.measure.arm.sweep import NOTHING, Sweep
from rig.measure.budget import Input, Reason
from rig.measure.pry.evaluate import PryResult, evaluate_pry
from tests.measure.pry.traces import CODE_NM, STIFF, ZERO, Pull, broken, facts, limits, record


def run(made: ArmRecord, given: PryFacts | None = None, asked: Asked | None = None) -> list[str]:
    return [reason.name for reason in evaluate_pry(made, given or facts(), asked).reasons]


def named(result: PryResult, name: str) -> Reason:
    return next(reason for reason in result.reasons if reason.name == name)


def test_a_good_trial_has_no_reasons() -> None:
    assert run(record(broken())) == []


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"load_faults": frozenset({LoadFault.MISSING})}, "load_missing"),
        ({"load_faults": frozenset({LoadFault.STUCK})}, "load_stuck"),
        ({"load_faults": frozenset({LoadFault.LATE})}, "load_late"),
        ({"discarded": 1}, "load_discarded"),
        ({"missed_sums": 2}, "angle_missed"),
        ({"guard_opened": True}, "guard_opened"),
        ({"line": (Reason("lost_frames", "two frames lost", 2.0, 0.0),)}, "lost_frames"),
        ({"zero_after": None}, "zero_not_read"),
    ],
)
def test_what_the_board_reports_makes_it_invalid(changes: dict[str, object], name: str) -> None:
    assert run(record(broken(), **changes)) == [name]  # type: ignore[arg-type]


def test_ten_conversions_a_second_are_refused() -> None:
    result = evaluate_pry(record(broken(), period_s=0.1), facts())
    assert named(result, "load_interval").figure == pytest.approx(0.1)
    assert "10 readings a second" in named(result, "load_interval").text


def test_a_hole_in_the_load_readings_is_named() -> None:
    made = record(broken())
    kept = np.r_[0:300, 303 : len(made.codes)]
    holed = replace(made, load_ticks=made.load_ticks[kept], codes=made.codes[kept])
    assert run(holed) == ["load_gap"]


def test_a_hole_in_the_angle_readings_is_named() -> None:
    made = record(broken())
    kept = np.r_[0:400, 405 : len(made.sums)]
    holed = replace(made, angle_ticks=made.angle_ticks[kept], sums=made.sums[kept])
    assert run(holed) == ["angle_gap"]


def test_no_readings_at_all_are_named() -> None:
    made = record(broken())
    none = np.array([], dtype=np.int64)
    assert run(replace(made, load_ticks=none, codes=none)) == ["load_missing", "record_short"]
    assert run(replace(made, angle_ticks=none, sums=none)) == ["angle_missing", "record_short"]


def test_a_saturated_cell_gives_a_bound() -> None:
    limit = ZERO + 2.0 / CODE_NM
    made = record(broken())
    result = evaluate_pry(replace(made, codes=np.minimum(made.codes, int(limit))), facts())
    assert named(result, "saturated").limit == 4
    assert result.censored == "right"
    assert result["peak_torque"].value == pytest.approx(2.0, rel=0.005)


def test_the_converter_s_own_limit_is_saturation() -> None:
    made = record(broken())
    codes = made.codes.copy()
    codes[400] = LOAD_LIMITS[1]
    assert "saturated" in run(replace(made, codes=codes))


def test_a_reversed_cell_is_named() -> None:
    made = record(broken())
    swapped = replace(made, codes=(2 * ZERO - made.codes).astype(np.int64))
    assert run(swapped) == ["reversed", "no_preload"]


def test_an_arm_turned_to_the_other_side_is_named() -> None:
    assert "reversed" in run(record(broken()), asked=Asked(direction=-1))
    assert "reversed_angle" in run(record(broken()), asked=Asked(direction=-1))


def test_an_angle_that_stands_still_under_torque_is_named() -> None:
    made = record(broken())
    result = evaluate_pry(replace(made, sums=np.full_like(made.sums, 32_000)), facts())
    assert named(result, "angle_stuck").figure == pytest.approx(0, abs=1e-9)
    assert not result.measurands


@pytest.mark.parametrize("share", [0.0, 0.99])
def test_an_unplugged_angle_sensor_is_named(share: float) -> None:
    made = record(broken())
    sums = made.sums.copy()
    sums[200:210] = int(share * 1023 * 64)
    assert "angle_fault" in run(replace(made, sums=sums))


def test_zero_that_moved_is_named_with_its_limit() -> None:
    moved = Input("zero_after", ZERO + 0.02 / CODE_NM, 2.0, 40, "", "code")
    result = evaluate_pry(record(broken(), zero_after=moved), facts())
    found = named(result, "drift")
    assert found.figure == pytest.approx(0.02)
    assert found.limit == pytest.approx(0.005 * result["peak_torque"].value, rel=0.01)


def test_a_pull_too_fast_for_its_samples_is_named() -> None:
    fast = broken(rate=math.radians(11))
    result = evaluate_pry(record(fast), facts(limits=limits(ramp_low_s=0.1)))
    found = named(result, "rate_too_high")
    assert found.figure == pytest.approx(11 / 8 * 0.0125, rel=0.1)
    assert found.limit == 0.01


def test_a_rate_outside_its_band_and_a_ramp_outside_its_time_are_named() -> None:
    assert run(record(broken(rate=math.radians(0.9)))) == ["rate_band"]
    assert run(record(broken(rate=math.radians(4.5)))) == ["ramp_time"]


def test_torque_and_angle_outside_their_certificates_are_named() -> None:
    given = facts()
    narrow = replace(given, torque=replace(given.torque, high=2.5))
    assert run(record(broken()), narrow) == ["outside_certificate"]
    high = replace(given, torque=replace(given.torque, low=3.0))
    assert run(record(broken()), high) == ["outside_certificate"]
    turned = replace(given, angle=replace(given.angle, high=math.radians(7)))
    assert run(record(broken()), turned) == ["outside_certificate"]


def test_a_sweep_that_did_not_go_so_far_is_named() -> None:
    short = replace(NOTHING, low_rad=0.0, high_rad=math.radians(5))
    assert run(record(broken()), facts(sweep=short)) == ["sweep_range"]


def test_a_trial_that_never_reached_the_preload_is_named() -> None:
    made = record(Pull(), lambda t: 0.0 * t)
    assert run(made) == ["no_preload"]


def test_a_record_that_begins_under_load_is_named() -> None:
    pull = broken()
    made = record(pull, lambda t: np.where(t > pull.out_s(), 0.0, 0.3 + STIFF * pull.angle(t)))
    assert run(made) == ["loaded_before"]


def test_the_arm_against_its_stop_is_named() -> None:
    close = limits(stop_rad=math.radians(8.2))
    assert run(record(broken()), facts(limits=close)) == ["at_stop"]


def test_a_tip_too_weak_for_the_preload_has_no_straight_part() -> None:
    heavy = limits(preload_nm=0.4)
    assert "no_straight_part" in run(record(broken()), facts(limits=heavy))


def test_a_sweep_survives_being_written_and_read() -> None:
    made = Sweep((0.1, 0.2), 0.01, 0.001, -0.1, 0.8, 0.012, 0.001)
    assert Sweep.from_dict(made.to_dict() | {"reasons": []}) == made
