"""Thousands of virtual rigs: true values drawn from stated uncertainties, drops without bytes."""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from rig.board.wire import LIMITS, TICK_HZ
from rig.virtual.tower.dynamics import Support
from rig.virtual.tower.parameters import Rattle, SpecimenTruth, TowerTruth
from rig.virtual.tower.plant import Edge, Tower
from rig.virtual.tower.record import DropTruth

SAMPLE_TICKS = 2_000  # 1 kHz by the MCU's own clock
BEFORE_S = 0.05  # record kept before the latch is energised
AFTER_S = 0.35  # and after the strike


@dataclass(frozen=True)
class Nominal:
    """What the bench believes, each with the standard uncertainty (or limits) of that belief.

    `belief` holds the believed values. Mass, gravity, scale, gate and drum are drawn normal about
    them; the MCU clock evenly within its maker's limits (a ceramic resonator, common practice,
    no source); what no bench states (friction, spring, phases, rattle) over a wide range.
    """

    belief: TowerTruth = field(default_factory=TowerTruth)
    u_mass_kg: float = 0.001
    u_gravity: float = 0.0005
    u_scale: float = 0.001  # relative, of metres a count
    u_flag_m: float = 0.02e-3
    u_gate_m: float = 0.2e-3
    u_drum_kg: float = 0.0002
    u_contact_m: float = 0.05e-3
    resonator_limit: float = 0.005
    friction_limits: tuple[float, float] = (0.02, 0.04)
    spring_limits_n: tuple[float, float] = (3.6, 4.4)
    edge_error_limit: float = 0.06  # counts
    rattle_limits_s: tuple[float, float] = (1e-6, 8e-6)


def draw_truth(rng: random.Random, nominal: Nominal | None = None) -> TowerTruth:
    """True values of one rig out of all that the bench's beliefs allow."""
    stated = nominal or Nominal()
    belief = stated.belief
    contact_m = belief.anvil.height_m + rng.gauss(0.0, stated.u_contact_m)

    def shift() -> float:
        return rng.uniform(-stated.edge_error_limit, stated.edge_error_limit)

    return replace(
        belief,
        mass_kg=rng.gauss(belief.mass_kg, stated.u_mass_kg),
        gravity=rng.gauss(belief.gravity, stated.u_gravity),
        pitch_m=belief.pitch_m * (1 + rng.gauss(0.0, stated.u_scale)),
        flag_m=rng.gauss(belief.flag_m, stated.u_flag_m),
        gate_m=rng.gauss(belief.gate_m, stated.u_gate_m),
        drum_kg=rng.gauss(belief.drum_kg, stated.u_drum_kg),
        resonator=rng.uniform(-stated.resonator_limit, stated.resonator_limit),
        friction_ratio=rng.uniform(*stated.friction_limits),
        spring_n=rng.uniform(*stated.spring_limits_n),
        phase_counts=rng.uniform(0.0, 4.0),
        edge_errors=(0.0, shift(), shift(), shift()),
        rattles=tuple(_rattle(rng, stated.rattle_limits_s) for _ in range(2)),
        anvil=replace(belief.anvil, height_m=contact_m),
    )


def _rattle(rng: random.Random, limits_s: tuple[float, float]) -> Rattle:
    return Rattle(rng.uniform(*limits_s), rng.uniform(100, 300), rng.uniform(0, 6.3))


@dataclass(frozen=True)
class DropSamples:
    """One drop as the board would tell it, and what truly happened.

    `ticks` and `counts` are the 1 kHz height record (MCU ticks of 0.5 us, encoder counts);
    `gate` holds (tick, blocked); `contact_count` was read with the striker resting before the
    drop, `hung_count` with the carriage on the hook, `rest_count` at contact after the drop.
    """

    ticks: list[int]
    counts: list[int]
    gate: list[tuple[int, int]]
    contact_count: int
    hung_count: int
    rest_count: int
    truth: DropTruth


def simulate_drop(
    truth: TowerTruth,
    height_m: float,
    seed: int = 0,
    specimen: SpecimenTruth | None = None,
    catch_works: bool = True,
) -> DropSamples:
    """Release from `height_m` above contact, as the interlock would do it.

    The record starts `BEFORE_S` before the latch is energised and ends `AFTER_S` after the
    first reversal. `specimen` none drops on the bare anvil.
    """
    tower = Tower(truth, seed, encoder_edges=False)
    if specimen is not None:
        tower.place(specimen)
    if not catch_works:
        tower.fault("catch_jammed")
    contact = _count_at(tower, Support.SURFACE, 0.0)
    hung = _count_at(tower, Support.HOOK, height_m)
    ticks, counts = _record(tower, LIMITS["CATCH_LEAD_MS"] / 1e3)
    gate = [_gate(truth, edge) for edge in tower.take_edges() if edge.pin == "GATE"]
    rest = _count_at(tower, Support.SURFACE, 0.0)
    return DropSamples(ticks, counts, gate, contact, hung, rest, tower.truth[-1])


def _count_at(tower: Tower, support: Support, above_contact_m: float) -> int:
    """Count with the carriage put there and the wire come to rest."""
    tower.put(support, tower.specimen.surface_m + above_contact_m)
    tower.advance(tower.now_s + 0.1)
    return tower.count(tower.now_s)


def _record(tower: Tower, lead_s: float) -> tuple[list[int], list[int]]:
    """Energise catch and latch, sample the drop, let the catch close at the reversal."""
    energise = tower.now_s + BEFORE_S
    tower.set_output("CATCH", True, energise - lead_s)
    tower.set_output("LATCH", True, energise)
    ticks: list[int] = []
    counts: list[int] = []
    lowest: int | None = None
    end = float("inf")
    for tick in _sample_ticks(tower):
        count = tower.count(tower.now_s)
        ticks.append(tick)
        counts.append(count)
        if end == float("inf"):
            lowest = count if lowest is None else min(lowest, count)
            if lowest < counts[0] - LIMITS["DROPPED_COUNTS"] and count > lowest:
                tower.set_output("CATCH", False, tower.now_s)
                tower.set_output("LATCH", False, tower.now_s)
                end = tower.now_s + AFTER_S
        if tower.now_s > min(end, energise + LIMITS["FLIGHT_LIMIT_MS"] / 1e3):
            break
    return ticks, counts


def _sample_ticks(tower: Tower) -> Iterator[int]:
    """Advance the tower from sample to sample of the MCU's clock."""
    rate = TICK_HZ * (1 + tower.nature.resonator)
    n = int(tower.now_s * rate / SAMPLE_TICKS) + 1
    while True:
        tower.advance(n * SAMPLE_TICKS / rate)
        yield n * SAMPLE_TICKS
        n += 1


def _gate(truth: TowerTruth, edge: Edge) -> tuple[int, int]:
    return int(edge.t_s * TICK_HZ * (1 + truth.resonator)), edge.level
