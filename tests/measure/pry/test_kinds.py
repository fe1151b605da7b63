"""The kind of failure is told by rule."""

import math

import pytest

from rig.measure.arm.facts import Asked
from rig.measure.pry.evaluate import PryResult, evaluate_pry
from tests.measure.pry.traces import (
    STIFF,
    Pull,
    bending,
    broken,
    facts,
    limits,
    record,
    slipping,
)


def names(result: PryResult) -> list[str]:
    return [reason.name for reason in result.reasons]


@pytest.mark.parametrize("jump_deg", [0.2, 3.0, 20.0])
def test_losing_all_torque_at_once_is_a_snap(jump_deg: float) -> None:
    result = evaluate_pry(record(broken(jump_rad=math.radians(jump_deg))), facts())
    assert (result.kind, result.censored, names(result)) == ("snap", "", [])


def test_letting_the_arm_back_fast_is_no_snap() -> None:
    pull = Pull(hold_s=0.05, back_rate=math.radians(180))
    result = evaluate_pry(record(pull), facts(), Asked(ended="torque_limit"))
    assert result.kind == "survived"


def test_a_bend_for_good_is_a_bend_and_its_plateau_a_value() -> None:
    pull = Pull(rate=math.radians(2))
    result = evaluate_pry(record(pull, bending(pull)), facts())
    assert (result.kind, result.censored, names(result)) == ("bend", "", [])
    assert "failure_angle" not in result.measurands  # the hand ended it, not the tip


def test_a_bend_still_rising_where_it_ended_is_a_bound() -> None:
    pull = Pull(rate=math.radians(2))
    result = evaluate_pry(record(pull, bending(pull, slope=8.0)), facts())
    assert (result.kind, result.censored) == ("bend", "right")


def test_a_curve_that_leaves_its_line_and_comes_back_did_not_bend() -> None:
    """Past the shifted line, but nothing stays: a soft spring, not a bent tip."""
    pull = Pull(rate=math.radians(2))

    def soft(t):  # type: ignore[no-untyped-def]
        angle = pull.angle(t)
        import numpy as np

        knee = 2.0 / STIFF
        return np.where(angle < knee, STIFF * angle, 2.0 + 0.5 * (angle - knee))

    result = evaluate_pry(record(pull, soft), facts(), Asked(ended="angle_limit"))
    assert (result.kind, result.censored) == ("survived", "right")


@pytest.mark.parametrize("by_deg", [0.6, 1.5, 3.0])
def test_a_loss_that_holds_again_is_a_slip_and_invalid(by_deg: float) -> None:
    pull = Pull(rate=math.radians(2))
    result = evaluate_pry(
        record(pull, slipping(pull, math.radians(6), math.radians(by_deg))), facts()
    )
    assert (result.kind, result.censored) == ("slip", "right")
    assert "slip" in names(result)


def test_reaching_a_limit_whole_is_survived_and_its_torque_a_bound() -> None:
    pull = Pull()
    whole = STIFF * pull.to_rad
    result = evaluate_pry(record(pull), facts(limits=limits(torque_limit_nm=whole)))
    assert (result.kind, result.censored, names(result)) == ("survived", "right", [])
    assert result["peak_torque"].value == pytest.approx(whole, rel=0.002)
    assert "failure_angle" not in result.measurands
    assert "onset_torque" not in result.measurands


def test_letting_go_before_any_limit_is_stopped_and_invalid() -> None:
    result = evaluate_pry(record(Pull()), facts())
    assert (result.kind, result.censored, names(result)) == ("stopped", "right", ["stopped_early"])


def test_a_small_loss_that_is_not_made_good_is_unclear() -> None:
    pull = Pull(rate=math.radians(2))

    def cracked(t):  # type: ignore[no-untyped-def]
        import numpy as np

        angle = pull.angle(t)
        late = (angle > math.radians(9)) | (t > pull.out_s())
        return np.where(late, 0.7 * STIFF * math.radians(9) * angle / pull.to_rad, STIFF * angle)

    result = evaluate_pry(record(pull, cracked), facts(), Asked(ended="angle_limit"))
    assert (result.kind, result.censored) == ("unclear", "right")
    assert "unclear_failure" in names(result)


def test_the_arm_at_its_stop_after_a_snap_is_no_slip() -> None:
    """A broken tip lets the arm run to the stop, which then takes the torque."""
    import numpy as np

    stop = math.radians(10)
    pull = broken(jump_rad=math.radians(3), hold_s=1.5)

    def torque(t):  # type: ignore[no-untyped-def]
        since = t - pull.out_s()
        pressed = 2.5 * np.clip((since - 0.3) / 0.5, 0, 1) * (since < 1.5)
        return np.where(since > 0, pressed, STIFF * pull.angle(t))

    result = evaluate_pry(
        record(pull, torque), facts(limits=limits(stop_rad=stop, angle_limit_rad=stop * 0.99))
    )
    assert result.kind == "snap"
