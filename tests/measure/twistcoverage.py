"""Is the stated uncertainty of a twist honest? Virtual jigs, each calibrated, one trial each.

Jig, cell, hand, clocks and edge are drawn anew for each rig, as for a pry. The 95 % interval of
each measurand must hold the truth in 93 to 97 % of the rigs.
"""

import itertools
import math
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.no_load import no_load_sweep
from rig.measure.arm.sweep import Sweep
from rig.measure.budget import Input
from rig.measure.twist.evaluate import TwistResult, evaluate_twist
from rig.measure.twist.rows import TwistFacts, TwistLimits
from rig.virtual.arm.draw import blade_edge
from rig.virtual.arm.record import TwistTruth
from tests.calibration.coverage import BENCH, Lab
from tests.measure.pry.jigs import (
    CLOCK_LIMIT,
    REST_TICKS,
    angle_scale,
    cut,
    hand,
    late,
    scores,
    shares,
    sweep_record,
    torque_scale,
    zero,
)
from tests.virtual.jigtrace import Board, TwistSamples, simulate_twist

COVERED = ("peak_torque", "work_1", "work_total", "torque_ratio", "work_ratio")
GROUPS = "ABC"  # whose edges wear differently


def judge(seed: int) -> dict[str, float]:
    """One rig: 1 or 0 for each interval that holds the truth, errors, relative U."""
    samples, result = twist(seed)
    if result.reasons:
        return {f"reason {reason.name}": 1.0 for reason in result.reasons}
    return scores(true_values(samples.truth), result)


def twist(seed: int) -> tuple[TwistSamples, TwistResult]:
    """A rig drawn, calibrated and used for one trial."""
    lab = Lab(seed)
    rng, own = lab.rng, BENCH.twist.twist
    truth = replace(lab.truth, hand=hand(rng), stop_rad=math.radians(BENCH.pry.arm.stop_deg))
    torque, angles = torque_scale(lab), angle_scale(truth, rng)
    board = Board(resonator=rng.uniform(-CLOCK_LIMIT, CLOCK_LIMIT))
    edge = blade_edge(f"{rng.choice(GROUPS)}{seed}", BENCH.twist.slot.length_m, seed)
    amplitude = math.radians(own.amplitude_deg)
    rate = math.radians(rng.uniform(1.5 * own.rate_low_deg_s, 0.7 * own.rate_high_deg_s))
    samples = late(simulate_twist(truth, edge, amplitude, own.cycles, rate, seed, board), rng)
    swept = no_load_sweep(sweep_record(samples), torque, angles, 0.05)
    facts = TwistFacts(
        torque,
        angles,
        Sweep.from_dict(swept),
        math.radians(BENCH.pry.arm.u_align_deg),
        Input("time_base", 1 / (1 + board.resonator), 1e-4),
        TwistLimits(
            amplitude,
            math.radians(own.overshoot_deg),
            math.radians(own.rate_low_deg_s),
            math.radians(own.rate_high_deg_s),
            own.drift_limit_share,
        ),
    )
    return samples, evaluate_twist(_record(samples), facts, own.cycles)


def _record(samples: TwistSamples) -> ArmRecord:
    rest, last = samples.marks["rest"], int(samples.load_ticks[-1])
    return ArmRecord(
        *cut(samples, rest[0], last),
        zero=zero(samples, rest[0] + REST_TICKS // 4, rest[1]),
        zero_after=zero(samples, last - REST_TICKS // 2, last, "zero_after"),
    )


def true_values(truth: TwistTruth) -> dict[str, float]:
    """What happened, by the names of the measurands."""
    right, left, work = truth.right_nm, truth.left_nm, truth.work_j
    told = {f"work_{n}": one for n, one in enumerate(work, 1)}
    for side, peaks in (("right", right), ("left", left)):
        told |= {f"peak_{side}_{n}": one for n, one in enumerate(peaks, 1)}
    return told | {
        "peak_torque": max(*right, *left),
        "work_total": sum(work),
        "torque_ratio": (right[-1] + left[-1]) / (right[0] + left[0]),
        "work_ratio": work[-1] / work[0],
    }


def run(n_rigs: int, processes: int = 1, seed: int = 1) -> dict[str, float]:
    """Judge `n_rigs` rigs; trials with reasons against them are counted by reason."""
    seeds = list(itertools.islice(itertools.count(seed * 1_000_003), n_rigs))
    if processes == 1:
        rigs = [judge(one) for one in seeds]
    else:
        with ProcessPoolExecutor(processes) as pool:
            rigs = list(pool.map(judge, seeds, chunksize=25))
    out = shares(rigs)
    for told in rigs:
        for name in told:
            if name.startswith("reason "):
                out[name] = out.get(name, 0.0) + 1
    return out


if __name__ == "__main__":
    for name, value in run(2_000, processes=2).items():
        print(f"{name:42} {value:.5g}")
