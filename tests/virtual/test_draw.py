"""Many rigs drawn from stated uncertainties, and drops without bytes."""

import random
import statistics
from dataclasses import replace

import numpy as np
import pytest

from rig.board.wire import TICK_HZ
from rig.virtual.tower.draw import Nominal, draw_truth, simulate_drop
from rig.virtual.tower.parameters import TowerTruth, knife_on_rod

STATED = Nominal()


def test_the_true_values_scatter_as_the_bench_states() -> None:
    rng = random.Random(5)
    rigs = [draw_truth(rng) for _ in range(2000)]
    belief = STATED.belief
    for values, mean, u in (
        ([rig.mass_kg for rig in rigs], belief.mass_kg, STATED.u_mass_kg),
        ([rig.gravity for rig in rigs], belief.gravity, STATED.u_gravity),
        ([rig.pitch_m / belief.pitch_m for rig in rigs], 1.0, STATED.u_scale),
        ([rig.flag_m for rig in rigs], belief.flag_m, STATED.u_flag_m),
        ([rig.gate_m for rig in rigs], belief.gate_m, STATED.u_gate_m),
        ([rig.drum_kg for rig in rigs], belief.drum_kg, STATED.u_drum_kg),
    ):
        assert statistics.mean(values) == pytest.approx(mean, abs=4 * u / 2000**0.5)
        assert statistics.stdev(values) == pytest.approx(u, rel=0.07)
    assert max(abs(rig.resonator) for rig in rigs) <= STATED.resonator_limit
    assert max(abs(rig.resonator) for rig in rigs) > 0.9 * STATED.resonator_limit


def test_the_same_dice_draw_the_same_rig() -> None:
    assert draw_truth(random.Random(1)) == draw_truth(random.Random(1))


def test_samples_come_every_two_thousand_ticks_of_the_boards_own_clock() -> None:
    truth = replace(TowerTruth(), resonator=0.004)
    drop = simulate_drop(truth, 0.25)
    assert set(np.diff(drop.ticks)) == {2000}
    in_mcu_time = drop.truth.first.time_s * TICK_HZ * (1 + truth.resonator)
    assert drop.ticks[0] < in_mcu_time < drop.ticks[-1]


@pytest.mark.parametrize("seed", range(5))
def test_a_fit_to_the_samples_finds_the_true_speed(seed: int) -> None:
    truth = draw_truth(random.Random(seed))
    drop = simulate_drop(truth, 0.3, seed, knife_on_rod())
    seconds = np.array(drop.ticks) / (TICK_HZ * (1 + truth.resonator))
    heights = (np.array(drop.counts) - drop.contact_count) * truth.pitch_m
    end = drop.truth.first.time_s
    fit = (seconds > end - 0.1) & (seconds < end - 1e-3)
    speed = -np.polyfit(seconds[fit] - end, heights[fit], 2)[1]
    assert speed == pytest.approx(drop.truth.impact_speed, rel=4e-3)


def test_the_gate_times_give_the_true_speed() -> None:
    drop = simulate_drop(TowerTruth(), 0.3)
    (entered, on), (left, off) = drop.gate[:2]
    assert (on, off) == (1, 0)
    mean = TowerTruth().flag_m * TICK_HZ / (left - entered)
    carried = (mean**2 + 2 * 11.5 * 11e-3) ** 0.5  # from the flag's middle to contact
    assert carried == pytest.approx(drop.truth.impact_speed, rel=2e-3)


def test_the_rest_count_tells_the_dent() -> None:
    truth = TowerTruth()
    specimen = replace(knife_on_rod(), dent_m_per_j=200e-6)
    drop = simulate_drop(truth, 0.3, specimen=specimen)
    dent_m = specimen.dent_m_per_j * drop.truth.impact_energy_j
    lower = (drop.contact_count - drop.rest_count) * truth.pitch_m
    assert lower == pytest.approx(dent_m, abs=truth.pitch_m)


def test_a_catch_that_does_not_work_lets_the_record_hold_a_second_strike() -> None:
    assert simulate_drop(TowerTruth(), 0.3).truth.second is None
    jammed = simulate_drop(TowerTruth(), 0.3, specimen=knife_on_rod(), catch_works=False)
    assert jammed.truth.second is not None
    assert jammed.counts[-1] == pytest.approx(jammed.rest_count, abs=1)
