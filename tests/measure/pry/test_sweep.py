"""The no-load sweep tells what the arm takes by itself."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from rig.measure.arm.no_load import no_load_sweep
from rig.measure.arm.sweep import Sweep
from tests.measure.pry.traces import Pull, facts, record

OUT = Pull(to_rad=math.radians(45), rate=math.radians(5), back_rate=math.radians(5))
FRICTION_NM = 0.012


def swept(weight: Callable[[np.ndarray], np.ndarray], pull: Pull = OUT, limit: float = 0.02):  # type: ignore[no-untyped-def]
    def torque(t: np.ndarray) -> np.ndarray:
        angle = pull.angle(t)
        rate = (pull.angle(t + 1e-4) - pull.angle(t - 1e-4)) / 2e-4
        return np.asarray(weight(angle) + FRICTION_NM * np.sign(np.round(rate, 6)))

    given = facts()
    return no_load_sweep(record(pull, torque), given.torque, given.angle, limit)


def test_weight_and_friction_are_told_apart() -> None:
    told = swept(lambda angle: 0.3 * np.cos(angle + 0.2))
    made = Sweep.from_dict(told)
    angles = np.radians([2.0, 20.0, 40.0])
    assert told["reasons"] == []
    assert made.weight_nm(angles) == pytest.approx(0.3 * np.cos(angles + 0.2), abs=0.001)
    assert made.friction_nm == pytest.approx(FRICTION_NM, abs=0.0005)
    assert made.u_nm < 0.002


def test_the_degree_is_as_low_as_the_curve_allows() -> None:
    """By the stated rule: one more degree must lower the scatter by more than a tenth."""
    assert swept(lambda angle: 0.1 + 0.2 * angle)["figures"]["degree"] == 1
    assert swept(lambda angle: 0.1 + 0.2 * angle - 0.3 * angle**2)["figures"]["degree"] == 2
    assert swept(lambda angle: 0.2 * np.sin(4 * angle))["figures"]["degree"] >= 3


def test_it_holds_where_it_was_swept_and_no_further() -> None:
    made = Sweep.from_dict(swept(lambda angle: 0.1 + 0.0 * angle))
    assert made.holds(0.0, math.radians(44))
    assert not made.holds(0.0, math.radians(50))
    assert not made.holds(math.radians(-10), 0.5)


def test_the_arm_s_inertia_is_told_from_a_trembling_sweep() -> None:
    """A tremor of 0.1 degree at 3 Hz makes an acceleration the angle itself shows."""
    inertia = 0.02

    class Trembling(Pull):
        def angle(self, t: np.ndarray) -> np.ndarray:
            return super().angle(t) + math.radians(0.1) * np.sin(2 * math.pi * 3 * t)

    pull = Trembling(to_rad=math.radians(45), rate=math.radians(5), back_rate=math.radians(5))

    def torque(t: np.ndarray) -> np.ndarray:
        step = 1e-3
        faster = (pull.angle(t + step) - 2 * pull.angle(t) + pull.angle(t - step)) / step**2
        return np.asarray(inertia * np.where(np.abs(faster) < 5, faster, 0.0))

    given = facts()
    made = Sweep.from_dict(no_load_sweep(record(pull, torque), given.torque, given.angle, 0.05))
    assert made.inertia_kg_m2 == pytest.approx(inertia, rel=0.1)
    assert abs(made.inertia_kg_m2 - inertia) < 3 * made.u_inertia_kg_m2


def test_an_arm_hardly_moved_is_named() -> None:
    told = swept(lambda angle: 0.1 + 0.0 * angle, replace(OUT, to_rad=math.radians(3)))
    assert [reason["name"] for reason in told["reasons"]] == ["sweep_short"]


def test_an_uneven_sweep_is_named_with_its_scatter() -> None:
    told = swept(lambda angle: 0.1 + 0.05 * np.sin(60 * angle), limit=0.01)
    assert [reason["name"] for reason in told["reasons"]] == ["sweep_uneven"]
    assert told["reasons"][0]["figure"] > 0.01
