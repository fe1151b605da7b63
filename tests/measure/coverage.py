"""Is the stated uncertainty honest? Virtual rigs with true values drawn from the stated budgets.

Each rig gets its own true mass, scale, clock, friction, spring, drag, rattle, encoder errors,
contact height and specimen; the bench knows only the beliefs and their uncertainties. The 95 %
interval of each measurand must hold the truth in 93 to 97 % of the rigs.
"""

import math
import random
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from statistics import fmean, median

import numpy as np

from rig.board.wire import TICK_HZ
from rig.calibration.timebase import TimeBase, regress
from rig.measure.budget import Input, coverage_factor
from rig.measure.drop.evaluate import DropResult, evaluate_drop
from rig.measure.drop.facts import DropFacts, DropRecord, contact_height, gate_ticks
from rig.measure.gravity import local_gravity
from rig.virtual.tower.draw import DropSamples, Nominal, draw_truth, simulate_drop
from rig.virtual.tower.parameters import (
    SpecimenTruth,
    TowerTruth,
    contact_constants,
    knife_on_rod,
)

ENERGY_J = 5.0
# As rig.measure.drop.parts allows beforehand.
FRICTION_RATIO = (0.0, 0.1)
SPRING_N_PER_M = (0.0, 2.0)
DRAG_KG_PER_M = (0.0, 0.02)
TRUE_REASONS = {"second_strike", "record_short"}  # bounces of a jammed catch outlast the record
LATENCY_TIMER_S = 0.016  # USB serial adapters hand bytes over at the ticks of such a timer


@dataclass(frozen=True)
class Rig:
    """One virtual rig: what the bench believes, what is true, and one drop."""

    stated: Nominal
    truth: TowerTruth
    specimen: SpecimenTruth
    facts: DropFacts
    record: DropRecord
    drop: DropSamples


def exchanges(
    rng: random.Random, resonator: float, span_s: float, period_s: float = 0.1
) -> tuple[list[float], list[float], list[int]]:
    """Heartbeats as host and board see them: (send s, receive s, unwrapped tick).

    The way out is short; the reply waits for the next tick of the latency timer, whose phase
    drifts against the heartbeat; one in twenty meets a busy host as well.
    """
    start, phase = rng.uniform(0, 100), rng.uniform(0, LATENCY_TIMER_S)
    offset, timer = rng.uniform(0, 1000), LATENCY_TIMER_S * (1 + rng.gauss(0, 1e-4))
    send, receive, ticks = [], [], []
    for beat in range(int(span_s / period_s)):
        sent = start + beat * period_s + rng.uniform(0, 0.001)
        handled = sent + 0.0004 + rng.expovariate(1 / 0.0003)
        ready = handled + 0.0012
        got = phase + timer * math.ceil((ready - phase) / timer) + rng.uniform(0.0001, 0.0005)
        if rng.random() < 0.05:
            got += rng.expovariate(1 / 0.05)
        send.append(sent)
        receive.append(got)
        ticks.append(int((handled + offset) * TICK_HZ * (1 + resonator)))
    return send, receive, ticks


def make_rig(seed: int, second_strike: bool) -> Rig:
    """Draw a rig and let it drop once, near ENERGY_J."""
    rng = random.Random(seed)
    mass = rng.choice([1.0, 2.0, 3.0])
    belief = TowerTruth(
        mass_kg=mass,
        spring_n_per_m=rng.uniform(*SPRING_N_PER_M),
        drag_kg_per_m=rng.uniform(*DRAG_KG_PER_M),
    )
    stated = Nominal(belief=belief, friction_limits=FRICTION_RATIO)
    truth = replace(
        draw_truth(rng, stated),
        drum_kg=max(1e-3, rng.gauss(belief.drum_kg, 0.25 * belief.drum_kg)),
        wire_n_per_m=rng.uniform(3e4, 8e4),
        wire_ns_per_m=rng.uniform(3.5, 8.0),
    )
    specimen = replace(
        knife_on_rod(height_m=rng.uniform(0.0, 0.005)),
        restitution=rng.uniform(0.25, 0.5),
        contact_s=rng.uniform(0.8e-3, 2.5e-3),
    )
    height = ENERGY_J / (mass * (9.5 + 4.0 / mass)) * rng.uniform(0.9, 1.1)
    drop = simulate_drop(truth, height, seed, specimen, catch_works=not second_strike)
    clock = regress(*exchanges(rng, truth.resonator, rng.uniform(20, 120)))
    facts = believed(stated, clock)
    return Rig(stated, truth, specimen, facts, _record(rng, drop, stated), drop)


def believed(stated: Nominal, clock: TimeBase) -> DropFacts:
    """The bench's facts under `stated`."""
    belief = stated.belief
    return DropFacts(
        mass=Input("mass", belief.mass_kg, stated.u_mass_kg, unit="kg"),
        scale=Input("scale", belief.pitch_m, belief.pitch_m * stated.u_scale, unit="m/count"),
        time_base=clock.as_input(),
        gravity=local_gravity(45.0),
        drum_mass_kg=belief.drum_kg,
        cyclic_m=stated.edge_error_limit * belief.pitch_m,
        lowest_a_m_s2=6.0,
        highest_a_m_s2=15.0,
        slip_limit_m=0.0015,
        flag=Input("flag", belief.flag_m, stated.u_flag_m, unit="m"),
        rule=2,
    )


def _record(rng: random.Random, drop: DropSamples, stated: Nominal) -> DropRecord:
    pitch = stated.belief.pitch_m

    def rested(count: int) -> Input:
        # The striker never comes to rest at quite the same height: that is u_contact.
        contact = contact_height([count], stated.u_contact_m, pitch)
        return replace(contact, value=contact.value + rng.gauss(0, stated.u_contact_m) / pitch)

    return DropRecord(
        ticks=np.array(drop.ticks),
        counts=np.array(drop.counts),
        contact=rested(drop.contact_count),
        contact_after=rested(drop.rest_count),
        gate_ticks=gate_ticks(drop.gate, drop.ticks[0], drop.ticks[-1]),
    )


def true_rebound_speed(rig: Rig) -> float:
    """Upward speed at the contact height, m/s.

    The record of truth holds the speed where the specimen lets go of the striker, which is
    below that height by dashpot speed / spring.
    """
    truth, strike = rig.truth, rig.drop.truth.first
    restitution = min(rig.specimen.restitution * strike.speed**-0.1, 0.95)
    spring, dashpot = contact_constants(truth.mass_kg, restitution, rig.specimen.contact_s)
    below = dashpot * strike.rebound_speed / spring
    pull = truth.gravity + (truth.friction_n + truth.spring_n) / truth.mass_kg
    return math.sqrt(strike.rebound_speed**2 - 2 * pull * below)


def true_values(rig: Rig) -> dict[str, float]:
    """What happened, by the names of the measurands."""
    happened, mass = rig.drop.truth, rig.truth.mass_kg
    rebound = true_rebound_speed(rig)
    values = {
        "impact_speed": happened.impact_speed,
        "impact_energy": happened.impact_energy_j,
        "gate_speed": happened.impact_speed,
        "rebound_speed": rebound,
        "rebound_energy": mass * rebound**2 / 2,
        "restitution": rebound / happened.impact_speed,
        "energy_not_returned": happened.impact_energy_j - mass * rebound**2 / 2,
    }
    if happened.second is not None:
        values["second_strike_energy"] = happened.second.energy_j
    return values


def judge(seed: int) -> dict[str, float]:
    """One rig: 1 or 0 for each interval that holds the truth, errors and bounds."""
    rig = make_rig(seed, second_strike=bool(seed % 2))
    result = evaluate_drop(rig.record, rig.facts)
    told: dict[str, float] = {"no_result": float("impact_energy" not in result.measurands)}
    if told["no_result"]:
        return told
    for name, value in true_values(rig).items():
        if name in result.measurands:
            made = result[name]
            told[f"hit {name}"] = float(abs(made.value - value) <= made.U)
            told[f"z {name}"] = (made.value - value) / made.u
        else:
            told[f"missed {name}"] = 1.0
    energy = result["impact_energy"]
    told["relative U"] = energy.U / energy.value
    told["reasons"] = float(bool({r.name for r in result.reasons} - TRUE_REASONS))
    return told | _fit_alone(rig, result)


def _fit_alone(rig: Rig, result: DropResult) -> dict[str, float]:
    """The speed fit with scale and clock known: its own error against its own claims."""
    metres = rig.truth.pitch_m * (1 + rig.truth.resonator)
    true = rig.drop.truth.impact_speed
    error = result.figures["impact_speed_counts_s"] * metres - true
    rows = {row.name: row for row in result["impact_speed"].rows}
    claimed = math.hypot(rows["fit"].contribution, rows["contact"].contribution)
    return {
        "error": error / true,
        "whole error": result["impact_speed"].value / true - 1,
        "bound": result.figures["fit_bound_m_s"] / true,
        "plain bound": result.figures["fit_plain_bound_m_s"] / true,
        "hit fit_alone": float(abs(error) <= coverage_factor(math.inf) * claimed),
        "z fit_alone": error / claimed,
    }


def summary(told: Iterable[dict[str, float]]) -> dict[str, float]:
    """Shares, rms errors and their ratio to the bound over many rigs."""
    rigs = list(told)

    def each(name: str) -> list[float]:
        return [t[name] for t in rigs if name in t]

    def rms(name: str) -> float:
        return math.sqrt(fmean(x * x for x in each(name)))

    names = sorted({name for t in rigs for name in t})
    out = {f"coverage {n[4:]}": fmean(each(n)) for n in names if n.startswith("hit ")}
    out |= {f"mean z {n[2:]}": fmean(each(n)) for n in names if n.startswith("z ")}
    out |= {f"rms z {n[2:]}": rms(n) for n in names if n.startswith("z ")}
    out |= {n: sum(each(n)) for n in names if n.startswith("missed ")}
    return out | {
        "rigs": len(rigs),
        "without result": sum(each("no_result")),
        "with a false reason": sum(each("reasons")),
        "rms speed error": rms("error"),
        "rms speed error with scale and clock": rms("whole error"),
        "rms error / Cramer-Rao bound": rms("error") / rms("bound"),
        "rms error / bound with known bend": rms("error") / rms("plain bound"),
        "median relative U of energy": median(each("relative U")),
        "worst relative U of energy": max(each("relative U")),
    }


def run(n_rigs: int, processes: int = 1, seed: int = 1) -> dict[str, float]:
    """Judge `n_rigs` rigs; every second one strikes twice.

    Returns:
        "coverage NAME" for each measurand, "rms speed error" (relative), its ratio to the
        Cramer-Rao bound, "median relative U of energy" at 5 J, and more.
    """
    seeds = range(seed * 1_000_003, seed * 1_000_003 + n_rigs)
    if processes == 1:
        return summary(map(judge, seeds))
    with ProcessPoolExecutor(processes) as pool:
        return summary(pool.map(judge, seeds, chunksize=50))


def show(figures: dict[str, float], write: Callable[[str], object] = print) -> None:
    """One line a figure."""
    for name, value in figures.items():
        write(f"{name:42} {value:.5g}")


if __name__ == "__main__":
    show(run(5_000, processes=2))
