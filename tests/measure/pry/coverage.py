"""Is the stated uncertainty of a pry honest? Virtual jigs, each calibrated, then one pry trial.

Each jig has its own true cell (slope, bow, hysteresis, creep, wandering zero), angle sensor,
lever, weights, gravity, arm weight and friction, clocks, hand and tip; the bench knows only what
its certificates (made from simulated dead weights and stops) and its no-load sweep tell. The 95 %
interval of each measurand must hold the truth in 93 to 97 % of the rigs.
"""

import itertools
import math
import random
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from statistics import fmean
from typing import Any

from rig.measure.arm.facts import ArmRecord, Asked, Limits, PryFacts
from rig.measure.arm.no_load import no_load_sweep
from rig.measure.arm.sweep import Sweep
from rig.measure.budget import Input
from rig.measure.pry.evaluate import evaluate_pry
from rig.measure.scales import Scale
from rig.virtual.arm.draw import Group, blade_tip
from rig.virtual.arm.plant import Pry
from rig.virtual.arm.truth import CellTruth, Failure, JigTruth, TipTruth
from tests.calibration.coverage import BENCH, CODES_PER_RATIO, Lab
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
from tests.virtual.jigtrace import Board, PryProfile, PrySamples, simulate_pry

COVERED = (
    "peak_torque",
    "onset_torque",
    "failure_angle",
    "energy_to_failure",
    "stiffness",
)
STRAIGHT = CellTruth(nonlinearity=0.0, hysteresis=0.0, creep=0.0, wander=0.0)
NM_PER_CODE = 1 / (STRAIGHT.right * CODES_PER_RATIO)
EXACT = Scale(
    right=(0.0, NM_PER_CODE), left=(0.0, NM_PER_CODE), u_relative=1e-9, u_absolute=1e-9,
    dof=math.inf, low=0.1, high=40.0, unit="N.m", source="exact",
)  # fmt: skip
KINDS = ("snap", "bend", "slip", "survived")


@dataclass(frozen=True)
class Rig:
    """One virtual rig and its trial."""

    truth: JigTruth
    tip: TipTruth
    samples: PrySamples
    facts: PryFacts
    record: ArmRecord
    swept: dict[str, Any]


def make_rig(
    seed: int, kind: str, board: Board | None = None, exact: bool = False, **changes: float
) -> Rig:
    """Draw a rig, calibrate it, and pry one tip until `kind` comes about.

    Args:
        seed: of everything.
        kind: one of `KINDS`.
        board: None draws the clocks.
        exact: the cell is straight, forgets nothing, and its certificate is exact: of the errors of
            torque only those of reading it 80 times a second are left.
        changes: `ramp_s`, `strength` (N.m at failure) in place of drawn ones.
    """
    lab = Lab(seed)
    rng = lab.rng
    truth = replace(lab.truth, hand=hand(rng), stop_rad=math.radians(BENCH.pry.arm.stop_deg))
    if exact:
        truth = replace(truth, cell=STRAIGHT)
    torque = EXACT if exact else torque_scale(lab)
    angles = angle_scale(truth, rng)
    tip = _tip(kind, seed, rng, changes.get("strength"))
    limits = bench_limits(torque)
    pry = _how(truth, tip, kind, limits, rng, changes.get("ramp_s"))
    own = board or Board(
        resonator=rng.uniform(-CLOCK_LIMIT, CLOCK_LIMIT), converter_error=0.0 if exact else None
    )
    profile = PryProfile(pry, limits.preload_nm, limits.angle_limit_rad)
    samples = late(simulate_pry(truth, tip, profile, seed=seed, board=own), rng)
    if pry.limit_nm is not None:
        limits = replace(limits, torque_limit_nm=pry.limit_nm)
    clock = Input("time_base", 1 / (1 + own.resonator), 1e-4)
    swept = no_load_sweep(sweep_record(samples), torque, angles, 0.05)
    facts = PryFacts(
        torque, angles, Sweep.from_dict(swept), _arm(), math.radians(BENCH.pry.arm.u_align_deg),
        clock, limits,
    )  # fmt: skip
    return Rig(truth, tip, samples, facts, _record(samples), swept)


def bench_limits(torque: Scale) -> Limits:
    """The design bench's."""
    pry, arm = BENCH.pry.pry, BENCH.pry.arm
    capacity_nm = BENCH.cell.capacity_n * arm.length_m
    return Limits(
        preload_nm=pry.preload_nm,
        onset_offset_rad=math.radians(pry.onset_offset_deg),
        rate_low_rad_s=math.radians(pry.rate_low_deg_s),
        rate_high_rad_s=math.radians(pry.rate_high_deg_s),
        ramp_low_s=pry.ramp_low_s,
        ramp_high_s=pry.ramp_high_s,
        torque_limit_nm=min(pry.capacity_share * capacity_nm, torque.high),
        angle_limit_rad=math.radians(pry.angle_limit_deg),
        stop_rad=math.radians(arm.stop_deg),
        drift_limit_share=pry.drift_limit_share,
        under_read_limit_share=pry.under_read_limit_share,
    )


def _arm() -> Input:
    arm = BENCH.pry.arm
    return Input("arm", arm.length_m, arm.u_length_m, math.inf, "stated by the bench", "m")


def _tip(kind: str, seed: int, rng: random.Random, strength: float | None) -> TipTruth:
    group = Group(
        thickness_m=math.exp(rng.uniform(math.log(0.7e-3), math.log(1.6e-3))),
        yield_share=rng.uniform(0.6, 0.85) if rng.random() < 0.5 else rng.uniform(1.05, 1.4),
        plateau_share=1.6,
        snaps=kind != "bend",
    )
    if kind == "bend":
        yields = rng.uniform(0.55, 0.8)
        group = replace(group, yield_share=yields, plateau_share=yields * rng.uniform(1.15, 1.8))
    tip = replace(
        blade_tip(f"{seed}", seed=seed, group=group),
        toe_rad=math.radians(rng.uniform(0.1, 0.5)),
        spread_rad=math.radians(rng.uniform(2, 5)),
    )
    if strength is not None:
        tip = _stronger(tip, strength / tip.fails_nm)
    if kind == "slip":
        low = min(tip.yield_nm, tip.fails_nm)
        tip = replace(tip, kind=Failure.SLIP, fails_nm=rng.uniform(0.4, 0.9) * low,
                      slip_rad=math.radians(rng.uniform(1.0, 3.0)))  # fmt: skip
    return tip


def _stronger(tip: TipTruth, by: float) -> TipTruth:
    return replace(
        tip, fails_nm=tip.fails_nm * by, yield_nm=tip.yield_nm * by, plateau_nm=tip.plateau_nm * by,
        stiffness_nm_per_rad=tip.stiffness_nm_per_rad * by,
    )  # fmt: skip


def _how(
    truth: JigTruth, tip: TipTruth, kind: str, limits: Limits, rng: random.Random,
    ramp_s: float | None,
) -> Pry:  # fmt: skip
    """A pull that takes `ramp_s`, or a time within the bench's band."""
    limit_nm = None
    series = tip.series_nm_per_rad(truth.tool_nm_per_rad)
    first = min(tip.yield_nm, tip.fails_nm)
    if kind == "survived":
        limit_nm = first = rng.uniform(0.4, 0.9) * first
    ramp = ramp_s or rng.uniform(limits.ramp_low_s * 1.1, limits.ramp_high_s * 0.9)
    rate = (first / series + tip.toe_rad) / ramp
    if kind == "bend":
        rate = rng.uniform(2 * limits.rate_low_rad_s, limits.rate_high_rad_s * 0.7)
    return Pry(rate, limits.angle_limit_rad, limit_nm)


def _record(samples: PrySamples) -> ArmRecord:
    rest, end = samples.marks["rest"], samples.marks["unload"][1]
    last = int(samples.load_ticks[-1])
    return ArmRecord(
        *cut(samples, rest[0], end),
        zero=zero(samples, rest[0] + REST_TICKS // 4, rest[1]),
        zero_after=zero(samples, last - REST_TICKS // 2, last, "zero_after"),
    )


def true_values(rig: Rig) -> dict[str, float]:
    """What happened, by the names of the measurands; what did not is left out."""
    told = rig.samples.truth
    values = {
        "peak_torque": told.peak_nm,
        "failure_angle": told.angle_at_peak_rad,
        "energy_to_failure": told.energy_j,
        "stiffness": told.stiffness_nm_per_rad,
        "onset_torque": told.onset_nm,
        "set_angle": told.set_rad,
    }
    return {name: value for name, value in values.items() if value is not None}


def judge(seed: int) -> dict[str, Any]:
    """One rig: kinds, 1 or 0 for each interval that holds the truth, errors and budgets."""
    kind = KINDS[seed % 4]
    rig = make_rig(seed, kind)
    result = evaluate_pry(rig.record, rig.facts, Asked())
    told: dict[str, Any] = {
        "true kind": rig.samples.truth.kind.value.replace("survive", "survived"),
        "kind": result.kind,
        "reasons": tuple(reason.name for reason in result.reasons),
    }
    if told["true kind"] != result.kind or kind == "slip":
        return told
    return told | scores(true_values(rig), result)


def summary(found: Iterable[dict[str, Any]]) -> dict[str, float]:
    """Shares over many rigs, and the table of kinds."""
    rigs = list(found)
    out = shares(rigs)
    out["kinds right"] = fmean(t["kind"] == t["true kind"] for t in rigs)
    for true in KINDS:
        own = [t for t in rigs if t["true kind"] == true]
        for kind in sorted({t["kind"] for t in own}):
            out[f"kind {true} found {kind}"] = fmean(t["kind"] == kind for t in own)
    for t in rigs:
        for reason in t["reasons"]:
            out[f"reason {reason}"] = out.get(f"reason {reason}", 0) + 1
    return out


def run(
    n_rigs: int, processes: int = 1, seed: int = 1, kinds: Sequence[str] = KINDS
) -> dict[str, float]:
    """Judge `n_rigs` rigs, as many of each of `kinds`."""
    every = (n for n in itertools.count(seed * 1_000_003) if KINDS[n % 4] in kinds)
    seeds = list(itertools.islice(every, n_rigs))
    if processes == 1:
        return summary(map(judge, seeds))
    with ProcessPoolExecutor(processes) as pool:
        return summary(pool.map(judge, seeds, chunksize=25))


def show(figures: dict[str, float], write: Callable[[str], object] = print) -> None:
    """One line a figure."""
    for name, value in figures.items():
        write(f"{name:42} {value:.5g}")


if __name__ == "__main__":
    show(run(5_000, processes=2))
