"""The instant of a break from the arm's jump, for hands of all kinds."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rig.measure.arm.motion import Turning
from rig.measure.pry.course import JUMP_HALF_S, SLOWED_S, jump_s

RATE = math.radians(1.5)
SUM_S = 8e-3


def run_on(
    torque_nm: float, inertia: float, stiffness: float, damping: float, broke_s: float
) -> Turning:
    """Angle sums of an arm that a loss of torque sets free against a hand's spring and dashpot.

    I x'' + c x' + k x = T from rest; c is `damping` of the critical.
    """
    dashpot = 2 * damping * math.sqrt(stiffness * inertia)
    solved = solve_ivp(
        lambda _, y: [y[1], (torque_nm - dashpot * y[1] - stiffness * y[0]) / inertia],
        (0.0, 0.3), [0.0, 0.0], rtol=1e-8, atol=1e-10, dense_output=True,
    )  # fmt: skip

    def angle(t: np.ndarray) -> np.ndarray:
        since = np.clip(t - broke_s, 0.0, 0.29)
        moved = solved.sol(since.ravel())[0].reshape(t.shape)
        return np.asarray(RATE * t + np.where(since > 0, moved, 0.0))

    starts = np.arange(0.0, broke_s + 0.2, SUM_S)
    within = (np.arange(64) // 8) * 1e-3 + 0.4e-3
    return Turning(starts + 3.9e-3, angle(starts[:, None] + within).mean(axis=1))


@pytest.mark.parametrize("torque_nm", [1.5, 3.0, 12.0])
@pytest.mark.parametrize("stiffness", [30.0, 80.0])
@pytest.mark.parametrize("damping", [0.3, 0.8])
def test_the_break_lies_within_what_is_stated(
    torque_nm: float, stiffness: float, damping: float
) -> None:
    weak = 0
    for phase in np.arange(0.0, 8e-3, 1e-3):
        broke = 0.8 + phase
        turning = run_on(torque_nm, 0.012, stiffness, damping, broke)
        found = jump_s(turning, broke - 5e-3, 0.0125)
        if found is None:  # too weak: the load cell's samples tell it
            weak += 1
            continue
        assert abs(found + SLOWED_S - broke) <= JUMP_HALF_S
    assert weak <= (5 if torque_nm > 2 else 8)


def test_an_arm_that_did_not_jump_tells_nothing() -> None:
    at_s = np.arange(0.0, 1.0, SUM_S)
    assert jump_s(Turning(at_s, RATE * at_s), 0.8, 0.0125) is None
