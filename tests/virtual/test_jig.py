"""The jig: balances at the cell, the cell's own errors, and the records of truth."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.virtual.arm.cell import Cell
from rig.virtual.arm.plant import Jig, Pry
from rig.virtual.arm.truth import CellTruth, EdgeTruth, Failure, HandTruth, JigTruth, TipTruth
from tests.published import load

STEADY = HandTruth(tremor_rad=0.0, rate_wobble=0.0)
PLAIN_CELL = CellTruth(zero=0.0, nonlinearity=0.0, hysteresis=0.0, creep=0.0, wander=0.0)
PLAIN = JigTruth(weight_nm=0.0, friction_nm=0.0, inertia_kg_m2=1e-9, hand=STEADY, cell=PLAIN_CELL)
TOUGH = TipTruth(kind=Failure.SURVIVE, yield_nm=80.0, plateau_nm=90.0, toe_rad=0.0)
TO = math.radians(40.0)


def pried(truth: JigTruth, tip: TipTruth, preload_nm: float = 0.3, to_rad: float = TO) -> Jig:
    jig = Jig(truth, seed=4)
    jig.seat(tip)
    jig.preload(math.copysign(preload_nm, to_rad))
    jig.pry(Pry(to_rad=to_rad))
    jig.unload()
    return jig


# -- weights


def test_a_dead_weight_pulls_with_its_torque_in_air() -> None:
    # T = F r square to the lever: torque_arm_angle.json, first case
    told = load("torque_arm_angle")
    force, arm = told["inputs"]["F_N"], told["inputs"]["r_m"]
    truth = replace(PLAIN, calibration_arm_m=arm, air_kg_m3=0.0)
    jig = Jig(truth)
    end = jig.hang(force / truth.gravity, "right")
    assert float(jig.torque_nm(end)) == pytest.approx(told["expected"]["T_Nm"][0], rel=1e-9)
    # Buoyancy of steel in air, 150 parts in a million (OIML R 111 conventional densities).
    buoyed = replace(truth, air_kg_m3=1.2, weights_kg_m3=8000.0).hung_nm(1.0) / truth.hung_nm(1.0)
    assert 1 - buoyed == pytest.approx(150e-6)


def test_weights_pull_to_the_side_they_hang_on_with_their_own_errors() -> None:
    truth = replace(PLAIN, mass_errors=((1000, 1e-3),))
    jig = Jig(truth)
    right = float(jig.torque_nm(jig.hang(1.0, "right")))
    left = float(jig.torque_nm(jig.hang(1.0, "left")))
    assert left == -right == pytest.approx(-1.001 * PLAIN.hung_nm(1.0))
    assert float(jig.torque_nm(jig.unhang())) == 0.0


def test_a_weight_just_hung_still_swings() -> None:
    jig = Jig(PLAIN)
    end = jig.hang(2.0, "right")
    torque = jig.torque_nm(np.arange(0.4, end, 1e-3))
    assert np.ptp(torque[:1000]) > 5e-3 * torque[-1]
    assert np.ptp(torque[-500:]) < 2e-4 * torque[-1]


# -- the cell


def readings(cell: CellTruth, masses: list[float], wait_s: float = 0.0) -> list[float]:
    """Bridge output over full scale with each mass hung in turn."""
    jig = Jig(replace(PLAIN, cell=cell, calibration_arm_m=0.5))
    found = []
    for mass in masses:
        jig.hang(mass, "right")
        found.append(float(jig.bridge_ratio(jig.pause(wait_s))) / cell.full_scale)
    return found


def test_the_cell_tells_two_millivolts_a_volt_at_capacity() -> None:
    cell = replace(PLAIN_CELL, right=4.1e-5)
    jig = Jig(replace(PLAIN, cell=cell))
    mass = cell.capacity_nm / PLAIN.hung_nm(1.0)
    assert float(jig.bridge_ratio(jig.hang(mass, "right"))) == pytest.approx(2.05e-3)
    assert float(jig.bridge_ratio(jig.hang(mass, "left"))) == pytest.approx(-2.0e-3)


def test_hysteresis_parts_rising_from_falling_by_its_share_of_capacity() -> None:
    truth = replace(PLAIN_CELL, hysteresis=3e-4, hysteresis_span=0.05)
    cell = Cell(truth)
    torque = np.concatenate([np.linspace(0, 50, 501), np.linspace(50, 0, 501)[1:]])
    ratio = cell.respond(np.arange(1001.0), torque) / truth.full_scale
    assert ratio[750] - ratio[250] == pytest.approx(3e-4, rel=1e-3)
    assert ratio[-1] == pytest.approx(1.5e-4, rel=1e-3), "it does not come back to zero"


def test_nonlinearity_bows_most_in_the_middle_of_the_capacity() -> None:
    cell = replace(PLAIN_CELL, nonlinearity=3e-4)
    full_kg = cell.capacity_nm / replace(PLAIN, calibration_arm_m=0.5).hung_nm(1.0)
    quarter, middle, full = readings(cell, [full_kg / 4, full_kg / 2, full_kg])
    assert (middle - 0.5, full - 1.0) == pytest.approx((3e-4, 0.0), abs=1e-9)
    assert 0 < quarter - 0.25 < 3e-4


def test_a_held_torque_creeps_to_its_share_with_its_time_constant() -> None:
    cell = replace(PLAIN_CELL, creep=2e-4, creep_s=100.0)
    early, late = (readings(cell, [5.0], wait)[0] for wait in (0.0, 1000.0))
    bare = readings(PLAIN_CELL, [5.0])[0]
    assert late / bare - 1 == pytest.approx(2e-4, rel=1e-3)
    middle = readings(cell, [5.0], 100.0)[0]
    assert (late - middle) / (late - early) == pytest.approx(math.exp(-1), rel=1e-3)


def test_zero_wanders_by_its_share_an_hour() -> None:
    cell = replace(PLAIN_CELL, wander=2e-4, zero=1e-6)
    jig = Jig(replace(PLAIN, cell=cell))
    went = float(jig.bridge_ratio(7200.0) - jig.bridge_ratio(3600.0))
    assert went == pytest.approx(2e-4 * cell.full_scale)
    assert float(jig.bridge_ratio(0.0)) == pytest.approx(1e-6)


# -- the angle sensor


def test_the_sensor_tells_ten_to_ninety_percent_over_its_range_and_bows_within_its_limit() -> None:
    jig = Jig(PLAIN)
    for degrees in (-60, -30, 0, 45, 60):
        end = jig.hold_at_stop(math.radians(degrees))
        straight = 0.5 + 0.8 * degrees / 120
        assert float(jig.angle_ratio(end)) == pytest.approx(straight, abs=0.8 * 0.002)
        assert float(jig.angle_rad(end)) == pytest.approx(math.radians(degrees))


# -- what the hand needs


def test_a_slow_sweep_there_and_back_tells_weight_and_friction() -> None:
    truth = replace(PLAIN, weight_nm=0.3, weight_rad=0.4, friction_nm=0.02)
    jig = Jig(truth)
    jig.sweep(TO)
    t = np.arange(0.0, jig.free_at_s, 1e-3)
    angle, torque = jig.angle_rad(t), jig.torque_nm(t)
    for degrees in (10, 20, 30):
        out, back = np.flatnonzero(np.diff(angle > math.radians(degrees)))
        own = 0.3 * math.cos(angle[out] + 0.4)
        assert (torque[out] + torque[back]) / 2 == pytest.approx(own, abs=1e-4)
        assert (torque[out] - torque[back]) / 2 == pytest.approx(0.02, rel=1e-3)


def test_changes_of_speed_need_inertia_times_angular_acceleration() -> None:
    truth = replace(PLAIN, inertia_kg_m2=0.02)
    jig = Jig(truth)
    jig.sweep(TO, math.radians(40.0))
    t = np.arange(1e-3, 0.6, 1e-3)
    speed = np.gradient(jig.angle_rad(t), 1e-3)
    gained = np.trapezoid(jig.torque_nm(t), t) / truth.inertia_kg_m2
    assert gained == pytest.approx(speed[-1] - speed[0], rel=1e-2)
    assert speed[-1] == pytest.approx(math.radians(40.0), rel=0.3)


def test_nothing_of_the_arm_is_felt_when_nobody_pulls() -> None:
    jig = Jig(JigTruth(), seed=1)
    assert float(jig.torque_nm(jig.seat(TOUGH))) == 0.0
    jig.preload(1.0)
    assert float(jig.torque_nm(jig.free())) == 0.0
    assert jig.tip is not None
    sag = jig.tip.angle_at(0.0) - float(jig.angle_rad(jig.free_at_s))
    own = JigTruth().weight_nm * math.cos(float(jig.angle_rad(jig.free_at_s)) + 0.2)
    assert sag == pytest.approx(own / jig.tip.curve.series, rel=1e-6), "the wood carries it"


# -- pry


def test_the_cell_feels_the_specimen_and_the_arm_and_nothing_else() -> None:
    truth = replace(PLAIN, weight_nm=0.2)
    jig = pried(truth, TOUGH)
    record = jig.truth[0]
    t = np.arange(record.began_s, record.ended_s, 1e-3)
    angle, torque = jig.angle_rad(t), jig.torque_nm(t)
    own = torque - 0.2 * np.cos(angle + truth.weight_rad)
    slope = np.polyfit(angle[300:-300], own[300:-300], 1)[0]
    assert slope == pytest.approx(record.stiffness_nm_per_rad, rel=1e-4)
    parts = (TOUGH.stiffness_nm_per_rad, TOUGH.wood_nm_per_rad, truth.tool_nm_per_rad)
    assert slope == pytest.approx(1 / sum(1 / k for k in parts), rel=1e-4)


@given(st.floats(0.1, 1.0), st.sampled_from([-1, 1]), st.floats(2.0, 8.0))
@settings(max_examples=20)
def test_energy_to_a_brittle_failure_is_the_closed_form_of_a_spring(
    preload: float, sign: int, fails: float
) -> None:
    tip = replace(TOUGH, kind=Failure.SNAP, fails_nm=fails)
    record = pried(JigTruth(), tip, preload, sign * TO).truth[0]
    k = record.stiffness_nm_per_rad
    assert (record.kind, record.sign) == (Failure.SNAP, sign)
    assert record.peak_nm == fails
    assert record.angle_at_peak_rad == pytest.approx((fails - preload) / k, rel=1e-9)
    assert record.energy_j == pytest.approx((fails**2 - preload**2) / (2 * k), rel=1e-6)
    assert record.onset_nm is None and record.set_rad is None


def test_energy_to_the_largest_torque_is_what_the_cell_saw_without_the_arm() -> None:
    for tip in (TipTruth(), TipTruth(kind=Failure.BEND)):
        jig = pried(PLAIN, tip)
        record = jig.truth[0]
        t = np.arange(record.began_s, record.ended_s, 1e-3)
        seen = np.trapezoid(jig.torque_nm(t), jig.angle_rad(t))
        assert seen == pytest.approx(record.energy_j, rel=3e-3)


def test_what_was_not_given_back_was_used_to_bend_the_tip() -> None:
    jig = pried(PLAIN, TipTruth(kind=Failure.BEND, toe_rad=0.0))
    record, tip = jig.truth[0], jig.tip
    assert tip is not None and record.set_rad is not None
    k, low = record.stiffness_nm_per_rad, record.preload_nm
    springs = (record.peak_nm**2 - low**2) / (2 * k)
    bends = np.linspace(0.0, record.set_rad, 20_001)
    used = np.trapezoid([tip.curve.bend_nm(b) for b in bends], bends)
    assert record.energy_j == pytest.approx(springs + used, rel=1e-5)


@pytest.mark.parametrize(
    ("tip", "kind", "onset", "remains"),
    [
        (TipTruth(fails_nm=4.0), Failure.SNAP, False, False),
        (TipTruth(), Failure.SNAP, True, False),
        (TipTruth(kind=Failure.BEND), Failure.BEND, True, True),
        (TipTruth(kind=Failure.SLIP, fails_nm=3.0, yield_nm=50.0, plateau_nm=60.0),
         Failure.SLIP, False, True),
        (TOUGH, Failure.SURVIVE, False, False),
    ],
)  # fmt: skip
def test_each_kind_of_failure_is_recorded_as_itself(
    tip: TipTruth, kind: Failure, onset: bool, remains: bool
) -> None:
    record = pried(JigTruth(), tip).truth[0]
    assert record.kind is kind
    assert (record.onset_nm is not None) is onset
    assert bool(record.set_rad) is remains
    assert (record.gave_way_s is not None) is (kind in (Failure.SNAP, Failure.SLIP))


def test_the_set_is_the_change_of_arm_angle_at_the_preload() -> None:
    for tip in (TipTruth(kind=Failure.BEND), TOUGH, TipTruth(kind=Failure.SLIP, fails_nm=3.0)):
        jig = Jig(JigTruth(hand=STEADY), seed=2)
        jig.seat(tip)
        before = float(jig.angle_rad(jig.preload(0.5)))
        end = jig.pry(Pry())
        jig.unload()
        t = np.arange(end, jig.free_at_s, 1e-3)
        angle = jig.angle_rad(t)
        still = np.abs(np.diff(angle)) < 1e-9
        held = np.median(angle[:-1][still & (t[:-1] < t[-1] - 1.2)][-1000:])
        assert held - before == pytest.approx(jig.truth[0].set_rad, abs=2e-5)


def test_a_hand_stops_at_the_torque_limit_of_the_cell() -> None:
    stiff = replace(TOUGH, stiffness_nm_per_rad=900.0, wood_nm_per_rad=900.0)
    record = pried(JigTruth(), stiff).truth[0]
    assert record.peak_nm == pytest.approx(0.8 * 50.0, rel=1e-3)
    assert record.kind is Failure.SURVIVE


def test_an_arm_set_free_by_a_snap_runs_on_and_the_pull_falls_within_50_ms() -> None:
    jig = pried(JigTruth(), TipTruth())
    record = jig.truth[0]
    assert record.gave_way_s is not None
    at = record.gave_way_s
    t = np.arange(at - 0.01, at + 1.0, 1e-3)
    torque, angle = jig.torque_nm(t), jig.angle_rad(t)
    assert torque[5] == pytest.approx(record.peak_nm, rel=0.05)
    assert torque[60] < 0.1 * record.peak_nm
    assert torque.min() > -0.2, "a hook cannot push"
    assert np.degrees(np.ptp(angle)) > 5
    assert angle.max() <= JigTruth().stop_rad
    assert np.abs(np.diff(angle)).max() < math.radians(1.0)


def test_the_hand_pulls_unevenly_within_its_limits_and_trembles() -> None:
    jig = Jig(JigTruth(), seed=5)
    jig.sweep(TO, math.radians(5.0))
    t = np.arange(0.5, 7.0, 1e-3)
    speed = np.degrees(np.gradient(jig.angle_rad(t), 1e-3))
    slow = np.convolve(speed, np.ones(222) / 222, "valid")  # two periods of the tremor
    assert 0.05 < np.ptp(slow) / 2 / slow.mean() < 0.17
    assert np.std(speed) > 0.3


# -- twist


def test_peaks_of_a_twist_fall_with_every_cycle_and_work_is_what_the_cell_saw() -> None:
    jig = Jig(PLAIN, seed=1)
    start = jig.set_edge(EdgeTruth())
    jig.twist(math.radians(10.0), 12, math.radians(40.0))
    (record,) = jig.twists
    assert len(record.right_nm) == len(record.left_nm) == len(record.work_j) == 12
    assert all(a > b for a, b in zip(record.right_nm, record.right_nm[1:], strict=False))
    t = np.arange(start, jig.free_at_s, 1e-3)
    seen = np.trapezoid(jig.torque_nm(t), jig.angle_rad(t))
    assert seen == pytest.approx(sum(record.work_j), rel=1e-3)


# -- time


def test_the_same_seed_gives_the_same_jig() -> None:
    one, other = (pried(JigTruth(), TipTruth()) for _ in range(2))
    t = np.arange(0.0, one.free_at_s, 0.01)
    assert (one.bridge_ratio(t) == other.bridge_ratio(t)).all()


def test_a_jig_moves_while_something_is_under_way_and_is_quiet_after() -> None:
    jig = Jig()
    assert jig.quiet_until_s == math.inf
    end = jig.hang(1.0, "right")
    jig.advance(end / 2)
    assert jig.quiet_until_s == jig.now_s
    jig.advance(end)
    assert jig.quiet_until_s == math.inf
    jig.advance(1e4)
    assert float(jig.torque_nm(1e4)) == jig.nature.hung_nm(1.0)
    assert jig.unhang() == pytest.approx(1e4 + 0.3)


@pytest.mark.parametrize("name", ["preload", "unload", "pry", "twist"])
def test_a_trial_without_a_specimen_is_a_mistake(name: str) -> None:
    arguments = {"preload": (1.0,), "unload": (), "pry": (Pry(),), "twist": (0.1, 1, 0.1)}
    with pytest.raises(RuntimeError, match=r"no (tip|edge) is"):
        getattr(Jig(), name)(*arguments[name])
