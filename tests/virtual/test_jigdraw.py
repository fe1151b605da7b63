"""Many jigs and blades drawn from stated uncertainties, and trials without bytes."""

import math
import random
import statistics
from dataclasses import replace

import numpy as np
import pytest

from rig.board.wire import TICK_HZ
from rig.virtual.arm.draw import DEMO_GROUPS, Group, JigNominal, blade_edge, blade_tip, draw_jig
from rig.virtual.arm.plant import Pry
from rig.virtual.arm.truth import CellTruth, Failure, HandTruth, JigTruth, TipTruth
from tests.virtual.jigtrace import (
    Board,
    JigSamples,
    PryProfile,
    simulate_hanging,
    simulate_pry,
    simulate_stops,
    simulate_twist,
)

STATED = JigNominal()


def test_true_jigs_scatter_as_the_bench_states() -> None:
    rng = random.Random(5)
    jigs = [draw_jig(rng) for _ in range(2000)]
    belief = STATED.belief
    pieces = [dict(jig.mass_errors)[1000] for jig in jigs]
    for values, mean, u in (
        ([jig.calibration_arm_m for jig in jigs], belief.calibration_arm_m, STATED.u_arm_m),
        ([jig.gravity for jig in jigs], belief.gravity, STATED.u_gravity),
        (pieces, 0.0, STATED.u_weight),
        ([jig.stop_error_rad for jig in jigs], 0.0, STATED.u_stop_rad),
        # evenly within a limit: standard deviation limit/sqrt(3) (JCGM 100:2008, 4.3.7)
        ([jig.sensor.scale_error for jig in jigs], 0.0, STATED.scale_limit / math.sqrt(3)),
    ):
        assert statistics.mean(values) == pytest.approx(mean, abs=4 * u / 2000**0.5)
        assert statistics.stdev(values) == pytest.approx(u, rel=0.07)
    assert max(abs(jig.cell.zero) for jig in jigs) <= 0.05 * belief.cell.full_scale
    assert max(abs(jig.cell.right / jig.cell.left - 1) for jig in jigs) <= 5.1e-4


def test_the_same_dice_draw_the_same_jig() -> None:
    assert draw_jig(random.Random(1)) == draw_jig(random.Random(1))


def test_blades_scatter_by_their_groups_cv_and_are_the_same_in_every_run() -> None:
    group = replace(DEMO_GROUPS["A"], cv=0.12)
    torques = [blade_tip(f"A{n}", group=group).fails_nm for n in range(1500)]
    cv = statistics.stdev(torques) / statistics.mean(torques)
    assert cv == pytest.approx(math.hypot(0.12, 2 * 0.01 * 0.75), rel=0.06)
    assert blade_tip("A7") == blade_tip("A7") != blade_tip("A7", seed=1)
    assert blade_edge("A7") == blade_edge("A7") != blade_edge("A8")


def test_tip_torque_goes_with_the_square_of_the_thickness_over_the_whole_range() -> None:
    thin, thick = (
        [blade_tip(f"A{n}", 0.0, group=Group(thickness_m=t)).fails_nm for n in range(200)]
        for t in (0.3e-3, 2.4e-3)
    )
    assert statistics.mean(thick) / statistics.mean(thin) == pytest.approx(64, rel=1e-6)
    assert min(thin) > 0.2 and max(thick) < 40


def test_a_deeper_seat_meets_a_thicker_and_stronger_section() -> None:
    assert blade_tip("A1", 8e-3).fails_nm > blade_tip("A1", 3e-3).fails_nm
    assert {blade_tip(f"{g}1").kind for g in "ABC"} == {Failure.SNAP, Failure.BEND}


# -- traces


def part(samples: JigSamples, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and codes of one marked part."""
    first, last = samples.marks[name]
    own = (samples.load_ticks >= first) & (samples.load_ticks <= last)
    return samples.load_ticks[own] / TICK_HZ, samples.load_codes[own]


def test_a_trace_is_timed_by_the_boards_clock_and_the_converters_own() -> None:
    board = Board(resonator=0.004, converter_error=0.01)
    samples = simulate_pry(JigTruth(), TipTruth(), seed=1, board=board)
    gaps = np.diff(samples.load_ticks)
    assert gaps.mean() == pytest.approx(TICK_HZ * 1.004 / (80 * 1.01), rel=1e-6)
    assert set(np.diff(samples.angle_ticks)) == {16_000}
    assert list(samples.marks) == ["sweep", "rest", "preload", "pry", "unload"]
    assert list(samples.marks.values()) == sorted(samples.marks.values())


def test_the_peak_of_a_snap_reads_low_by_two_periods_of_the_rise() -> None:
    steady = replace(JigTruth(), weight_nm=0.0, friction_nm=0.0, hand=HandTruth(tremor_rad=0.0))
    tip = TipTruth(fails_nm=4.0)
    for seed in range(10):
        samples = simulate_pry(steady, tip, seed=seed)
        seconds, codes = part(samples, "pry")
        slope = steady.cell.right * 256 * 2**23
        torque = (codes - part(samples, "rest")[1].mean()) / slope
        peak = int(np.argmax(torque))
        rise = (torque[peak - 3] - torque[peak - 8]) / (seconds[peak - 3] - seconds[peak - 8])
        low = (samples.truth.peak_nm - torque[peak]) / rise
        assert 0.5 / 80 < low < 4.0 / 80


def test_hung_weights_read_their_torque_within_the_cells_errors() -> None:
    truth = draw_jig(random.Random(3))
    weights = [(0.0, "right"), (1.0, "right"), (5.0, "right"), (1.0, "right"), (0.0, "right"),
               (5.0, "left")]  # fmt: skip
    samples = simulate_hanging(truth, weights, seed=3)
    means = [part(samples, str(n))[1].mean() for n in range(len(weights))]
    per_nm = 256 * 2**23
    for n, (mass, side) in enumerate(weights):
        sign = 1 if side == "right" else -1
        slope = truth.cell.right if sign > 0 else truth.cell.left
        wanted = sign * slope * truth.hung_nm(mass) if mass else 0.0
        error = (means[n] - means[0]) / per_nm - wanted
        assert abs(error) < 7e-4 * truth.cell.full_scale


def test_the_arm_at_its_stops_tells_their_angles() -> None:
    truth = replace(JigTruth(), stop_error_rad=0.0)
    angles = [math.radians(d) for d in (-30, 0, 30)]
    samples = simulate_stops(truth, angles, seed=1)
    for n, angle in enumerate(angles):
        first, last = samples.marks[str(n)]
        own = (samples.angle_ticks > first) & (samples.angle_ticks < last - 16_000)
        ratio = (samples.angle_sums[own].mean() / 64 + 0.5) / 1024
        found = math.degrees((ratio - 0.5) / truth.sensor.ratio_per_rad)
        assert found == pytest.approx(math.degrees(angle), abs=0.24 + 0.02)  # 0.2 % of 120 degrees


def test_a_twist_trace_shows_the_true_peaks() -> None:
    truth = replace(JigTruth(), cell=CellTruth(zero=0.0))
    samples = simulate_twist(truth, blade_edge("A1"), math.radians(10), 8, math.radians(20), 2)
    codes = part(samples, "twist")[1] / (256 * 2**23 * truth.cell.right)
    assert codes.max() == pytest.approx(samples.truth.right_nm[0], rel=0.08)
    assert len(samples.truth.work_j) == 8


def test_a_pry_to_the_left_is_the_mirror_of_one_to_the_right() -> None:
    right, left = (
        simulate_pry(JigTruth(), TipTruth(), PryProfile(Pry(to_rad=sign * 0.8)), seed=1)
        for sign in (1, -1)
    )
    assert left.truth.sign == -1
    assert left.truth.peak_nm == right.truth.peak_nm
    assert part(left, "pry")[1].min() < 0 < part(right, "pry")[1].max()
