"""What a drop is computed from: the bench's facts, what was asked, and the record."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rig.board.wire import TICK_HZ
from rig.measure.budget import Input, Reason

# A resting striker is read in whole counts: the true height is anywhere in the count.
QUANTISED_U = 1 / math.sqrt(12)


@dataclass(frozen=True)
class DropFacts:
    """The tower as the bench states it.

    Attributes:
        mass: carriage with striker and flag, kg. The drum and wire are left out on purpose: see
            `rig.measure.drop`.
        drum_mass_kg: drum and wire as felt at the wire; enters the rebound alone.
        scale: metres for one count.
        time_base: true seconds for one nominal second of the board.
        gravity: m/s2; enters the nominal energy alone.
        cyclic_m: peak of the encoder's cyclic error.
        lowest_a_m_s2, highest_a_m_s2: band of the acceleration of a tower in order.
        slip_limit_m: contact height may not move by more than this over a drop.
        flag: length of the light gate's flag, m; None without a gate.
        rule: by which a drop is judged; runs of earlier programs keep theirs. 2: a rise unlike the
            fall states no rebound, lost counts are told by the contact after, a dent from a slip
            by the person who looks, and the flag from a stray pulse by how long it takes.
    """

    mass: Input
    scale: Input
    time_base: Input
    gravity: Input
    drum_mass_kg: float
    cyclic_m: float
    lowest_a_m_s2: float
    highest_a_m_s2: float
    slip_limit_m: float
    flag: Input | None = None
    rule: int = 1

    def __post_init__(self) -> None:
        # The inputs meet in one budget, where each needs its own name.
        for name in ("mass", "scale", "time_base", "gravity", "flag"):
            given = getattr(self, name)
            if given is not None:
                object.__setattr__(self, name, replace(given, name=name))


@dataclass(frozen=True)
class Asked:
    """What the trial set out to do; None leaves a check out.

    Attributes:
        energy_j: target of the impact energy, and its tolerance (relative).
        height_m: release height above contact, and its band.
        second_strike_allowed: second strikes count into the total instead of being a fault.
        stayed: who looked found the blade where it was clamped, though contact is lower.
    """

    energy_j: float | None = None
    tolerance: float = 0.03
    height_m: float | None = None
    band_m: float = 0.0015
    second_strike_allowed: bool = False
    stayed: bool = False


@dataclass(frozen=True)
class DropRecord:
    """One drop as recorded: from the carriage hanging still to its standstill after the strike.

    It must not hold the raising or an earlier lowering. A bouncing carriage takes half a second
    to a second to stand still.

    Attributes:
        ticks: unwrapped MCU ticks of the samples, int64, shape (n,).
        counts: heights, int64, shape (n,).
        contact: striker resting on the specimen before the drop, counts (`contact_height`).
        contact_after: the same after the drop; None when it was not read.
        gate_ticks: flag entered and left the light beam, MCU ticks; None without both.
        gate_pairs: every time the beam was broken with every later time it was free again, from
            which rule 2 takes the one that the flag can have been; empty: `gate_ticks` it is.
        illegal_edges, missed_samples: how far the encoder's fault counters went.
        lost_frames: gaps and damaged frames inside the record.
        clock: why it is not one stretch of the board's time (`rig.measure.reading.clock_reasons`).
        guard_opened: the guard's loop opened between release and rest.
    """

    ticks: NDArray[np.int64]
    counts: NDArray[np.int64]
    contact: Input
    contact_after: Input | None = None
    gate_ticks: tuple[int, int] | None = None
    gate_pairs: tuple[tuple[int, int], ...] = ()
    illegal_edges: int = 0
    missed_samples: int = 0
    lost_frames: int = 0
    guard_opened: bool = False
    clock: tuple[Reason, ...] = ()

    def nominal_s(self) -> NDArray[np.float64]:
        """Sample times in the board's own seconds from the first sample."""
        return np.asarray((self.ticks - self.ticks[0]) / TICK_HZ)


def contact_height(counts: ArrayLike, u_contact_m: float, scale_m: float, name: str = "") -> Input:
    """Contact height in counts, from samples with the striker at rest on the specimen.

    Args:
        counts: samples, shape (n,).
        u_contact_m: repeatability of the resting, standard uncertainty.
        scale_m: metre a count.
        name: of the input, "contact" when left out.
    """
    value = float(np.median(np.asarray(counts)))
    u = math.hypot(QUANTISED_U, u_contact_m / scale_m)
    source = "striker at rest on the specimen: cut off to a whole count, and repeatability"
    return Input(name or "contact", value, u, math.inf, source, "count")


def gate_ticks(edges: Sequence[tuple[int, int]], after: int, before: int) -> tuple[int, int] | None:
    """The flag's first passage between two ticks, from (tick, 1 blocked or 0 clear) edges."""
    entered: int | None = None
    for tick, blocked in edges:
        if not after <= tick <= before:
            continue
        if blocked:
            entered = tick
        elif entered is not None:
            return entered, tick
    return None


MOST_EDGES = 24  # of a gate in one fall; more are a broken gate


def gate_pairs(
    edges: Sequence[tuple[int, int]], after: int, before: int
) -> tuple[tuple[int, int], ...]:
    """Each (broken, free again) that a flag's passage between two ticks could have been."""
    inside = [(tick, blocked) for tick, blocked in edges if after <= tick <= before][:MOST_EDGES]
    return tuple(
        (first, second)
        for n, (first, blocked) in enumerate(inside)
        for second, still in inside[n + 1 :]
        if blocked and not still
    )
