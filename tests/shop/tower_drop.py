"""A drop on a tower in a shop: what is wrong with it, and what the board sends of it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from rig.bench import Bench
from rig.board.wire import Event, Kind, Output, Reason, State
from tests.shop import tower as plant
from tests.shop.sending import HZ, Sender

BEFORE_S, LEAD_S, OPENS_S = 0.6, 0.06, 0.012
"""Of the record before the carriage moves: whole, from the catch on, from the latch on."""
TURN_M = 0.2
"""Wire that one turn of the spool takes up."""


@dataclass(frozen=True)
class Reading:
    """What stands between the tower and the count: spool, contact, pulses that get lost.

    `stray_s`: before the flag comes the gate is broken once for `stray_long_s`; 0: it is not.
    """

    spool: float = 0.0
    spool_phase: float = 0.0
    contact_m: float = 0.0
    after_m: float = 0.0
    lost: int = 0
    lost_at_m: float = 0.0
    unweighed_kg: float = 0.0
    stray_s: float = 0.0
    stray_long_s: float = 0.0


@dataclass(frozen=True)
class Case:
    """A tower, and how it is read."""

    tower: plant.Tower = field(default_factory=plant.Tower)
    reading: Reading = field(default_factory=Reading)

    def having(self, **changed: Any) -> "Case":
        """The same with other figures, of the tower or of its reading."""
        own = {k: v for k, v in changed.items() if hasattr(self.tower, k)}
        rest = {k: v for k, v in changed.items() if k not in own}
        return Case(replace(self.tower, **own), replace(self.reading, **rest))


Rng = np.random.Generator
Effect = Callable[[Case, Rng, float], Case]


def _spread(rng: Rng, low: float, high: float, size: float) -> float:
    return float(rng.uniform(low, high)) * size


def _lost(case: Case, rng: Rng, size: float) -> Case:
    at_m = rng.uniform(0.955, 0.998) * case.tower.drop_m
    return case.having(lost=round(4 * size), lost_at_m=float(at_m))


EFFECTS: Mapping[str, Effect] = {
    "bench that gives": lambda c, r, s: c.having(
        bench_hz=float(r.uniform(9, 20)), bench_kg=float(r.uniform(120, 250)) / s),
    "drum felt as more": lambda c, r, s: c.having(drum_kg=0.004 + _spread(r, 0.011, 0.021, s)),
    "reel that cannot follow": lambda c, r, s: c.having(
        drum_kg=0.004 + _spread(r, 0.006, 0.012, s), spring_n=float(r.uniform(1.2, 2)),
        wire_damping=0.12),
    "friction with speed": lambda c, r, s: c.having(viscous_n_s_m=_spread(r, 0.3, 0.6, s)),
    "rub in the last 60 mm": lambda c, r, s: c.having(rub_n=_spread(r, 0.6, 1.2, s)),
    "spool off centre": lambda c, r, s: c.having(
        spool=_spread(r, 0.001, 0.003, s), spool_phase=float(r.uniform(0, 2 * math.pi))),
    "wire out of plumb": lambda c, r, s: c.having(
        hook_aside_m=_spread(r, 0.003, 0.008, s), hook_above_m=float(r.uniform(0.15, 0.25))),
    "wire that stretches": lambda c, r, s: c.having(wire_n_m=float(r.uniform(1500, 3000)) / s),
    "cable not weighed": lambda c, r, s: c.having(unweighed_kg=_spread(r, 0.004, 0.012, s)),
    "latch that drags": lambda c, r, s: c.having(latch_n=_spread(r, 2, 4, s)),
    "carriage that rocks": lambda c, r, s: c.having(rocking_m=_spread(r, 2e-5, 5e-5, s)),
    "contact misread": lambda c, r, s: c.having(
        contact_m=c.reading.contact_m + float(r.choice((-1, 1))) * _spread(r, 1e-4, 3e-4, s)),
    "counts lost": _lost,
    "a stray gate pulse": lambda c, r, s: c.having(
        stray_s=float(r.uniform(0.02, 0.3)), stray_long_s=float(r.uniform(5e-6, 1e-3)) * s),
    "rod that dents": lambda c, r, s: c.having(rod_n_m=float(r.uniform(2e6, 4e6)) / s),
}  # fmt: skip
"""What a shop does to a tower, at a size that is one at nominal; by judgement, no source."""
ALL_BUT = ("reel that cannot follow", "rod that dents")
"""Left out where all come together: the first takes every rebound away, the second every drop."""


def drawn(rng: Rng, effects: tuple[str, ...] = (), size: float = 1.0, caught: bool = True) -> Case:
    """A tower in order within its bench file's figures, with these effects on it."""
    case = Case(
        plant.Tower(
            drop_m=0.22,
            mass_kg=2.0 + float(rng.normal(0, 0.003)),
            dry_n=float(rng.uniform(0.1, 0.5)),
            spring_n=float(rng.normal(4, 0.3)),
            spring_n_m=float(rng.uniform(0.8, 1.6)),
            drum_kg=max(0.002, float(rng.normal(0.004, 0.001))),
            restitution=float(rng.uniform(0.3, 0.5)),
            caught=caught,
        ),
        Reading(contact_m=float(rng.normal(0, 1e-4)), after_m=float(rng.normal(0, 1e-4))),
    )
    for name in effects:
        case = EFFECTS[name](case, rng, size)
    return case


@dataclass(frozen=True)
class Fed:
    """One drop as the program gets it, and its truth.

    `truth`: values by the names of the measurands, J.
    """

    raw: bytes
    settings: dict[str, Any]
    truth: dict[str, float]
    fallen: plant.Fallen


def feed(case: Case, bench: Bench, rng: Rng) -> Fed:
    """Let it fall, and send what the board would have sent."""
    design = bench.tower
    factor = 1 + float(rng.uniform(-0.004, 0.004))
    count_m = design.wire.count_m * (1 + float(rng.normal(0, design.wire.u_count_relative)))
    flag = design.gate.flag_m + float(rng.normal(0, design.gate.u_flag_m))
    leaves = design.gate.above_contact_m + float(rng.normal(0, design.gate.u_above_contact_m))
    moved = replace(case.tower, mass_kg=case.tower.mass_kg + case.reading.unweighed_kg)
    fallen = plant.fallen(moved, (leaves, leaves + flag), 1e-3 * factor)
    turned, cycle = rng.uniform(0, 1), rng.uniform(0, 2 * math.pi)

    def counts(wire_m: plant.Floats, lost: plant.Floats | float) -> plant.Floats:
        spool = case.reading.spool * TURN_M / (2 * math.pi)
        felt = wire_m + spool * np.sin(2 * math.pi * wire_m / TURN_M + case.reading.spool_phase)
        felt += design.wire.cyclic_m * np.sin(2 * math.pi * wire_m / (4 * count_m) + cycle)
        return np.asarray(np.floor(felt / count_m + turned) + lost + 40)

    def rests(high_m: float, lost: int = 0) -> float:
        return float(counts(np.array([plant.at_rest(moved, high_m)]), lost)[0])

    lost = case.reading.lost * (np.cumsum(fallen.carriage_m < case.reading.lost_at_m) > 0)
    falling = counts(fallen.wire_m, lost)
    hanging = np.full(round(BEFORE_S * 1000), rests(moved.drop_m))
    heights = [int(v) for v in np.concatenate([hanging, falling])]
    first = int(rng.integers(5, 60)) * HZ
    sender = Sender()
    sender.status(first, first + len(heights) * HZ // 1000)
    sender.blocks(Kind.HEIGHT, first, heights)
    _events(sender, fallen, first + round(BEFORE_S * HZ), factor, case.reading)
    touch = rests(case.reading.contact_m)
    after = rests(case.reading.after_m - fallen.dent_m, case.reading.lost)
    told = {"spread_counts": 0.0, "boot": sender.boot}
    settings = {
        "tower": design.model_dump(mode="json"),
        "site": bench.site.model_dump(mode="json"),
        "contact": {"counts": touch, **told},
        "contact_after": {"counts": after, **told},
        "time_base": {
            "factor": factor * (1 + float(rng.normal(0, 2e-5))), "u": 2e-5, "source": "beats",
        },
        "rule": 2,
        "asked": {
            "stayed": True,  # whoever looks finds the blade where it was
            "energy_j": fallen.energy_j, "tolerance": 0.03, "height_m": moved.drop_m,
            "band_m": design.travel.release_band_m, "second_strike_allowed": False,
        },
    }  # fmt: skip
    truth = {
        "impact_energy": fallen.energy_j,
        "rebound_energy": fallen.rebound_j,
        "second_strike_energy": fallen.second_j,
    }
    return Fed(sender.sent(), settings, truth, fallen)


def _events(
    sender: Sender, fallen: plant.Fallen, released: int, factor: float, reading: Reading
) -> None:
    """What the interlock did, and every edge of the gate."""

    def at(seconds: float) -> int:
        return released + round(seconds / factor * HZ)

    gone = float(fallen.times_s[np.argmax(fallen.carriage_m < fallen.carriage_m[0] - 0.02)])
    turn = at(fallen.reversed_s + 0.0013)
    sender.event(at(-LEAD_S - OPENS_S), Event.STATE, State.RELEASING, Reason.NONE)
    sender.event(at(-LEAD_S - OPENS_S) + 1, Event.OUTPUT, Output.CATCH, 1)
    sender.event(at(-OPENS_S), Event.OUTPUT, Output.LATCH, 1)
    sender.event(at(gone), Event.STATE, State.FLIGHT, Reason.NONE)
    sender.event(at(gone) + 1, Event.OUTPUT, Output.LATCH, 0)
    sender.event(turn, Event.OUTPUT, Output.CATCH, 0)
    sender.event(turn + 1, Event.STATE, State.HELD, Reason.REVERSED)
    gate = list(fallen.gate)
    if reading.stray_s and gate:
        stray = min(reading.stray_s, gate[0][0] - 0.01)
        gate = [(stray, True), (stray + reading.stray_long_s, False), *gate]
    for seconds, into in gate:
        sender.event(at(seconds), Event.GATE, int(into))
