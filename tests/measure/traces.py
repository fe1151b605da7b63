"""Small simulated drops with exact truth: pieces of parabolas cut off to whole counts."""

from dataclasses import dataclass, replace

import numpy as np

from rig.board.wire import TICK_HZ
from rig.measure.budget import Input
from rig.measure.drop.facts import DropFacts, DropRecord, contact_height

SCALE_M = 0.25e-3
SAMPLE_TICKS = 2_000


@dataclass(frozen=True)
class Truth:
    """A drop of constant acceleration down and up, from rest at `height_m`."""

    height_m: float = 0.25
    a_m_s2: float = 11.5
    a_up_m_s2: float = 12.1
    restitution: float = 0.3
    caught: bool = True
    before_s: float = 0.1
    contact_s: float = 0.0015
    still_s: float = 0.25
    phase: float = 0.37
    contact_count: int = 40

    @property
    def speed(self) -> float:
        """Speed at contact, m/s."""
        return float(np.sqrt(2 * self.a_m_s2 * self.height_m))


def heights(truth: Truth) -> tuple[np.ndarray, np.ndarray, float]:
    """Sample times, heights above contact in metres, time of contact."""
    fall = np.sqrt(2 * truth.height_m / truth.a_m_s2)
    struck = truth.before_s + fall
    pieces = [
        (0.0, truth.height_m, 0.0, 0.0),
        (truth.before_s, truth.height_m, 0.0, -truth.a_m_s2),
        (struck, 0.0, 0.0, 0.0),
    ]
    start, speed = struck + truth.contact_s, truth.restitution * truth.speed
    while speed > 0.05:
        pieces.append((start, 0.0, speed, -truth.a_up_m_s2))
        top_s = start + speed / truth.a_up_m_s2
        top_m = speed**2 / (2 * truth.a_up_m_s2)
        if truth.caught:
            pieces.append((top_s, top_m, 0.0, 0.0))
            start = top_s
            break
        pieces.append((top_s, top_m, 0.0, -truth.a_m_s2))
        start = top_s + np.sqrt(2 * top_m / truth.a_m_s2)
        speed = truth.restitution * np.sqrt(2 * truth.a_m_s2 * top_m)
        pieces.append((start, 0.0, 0.0, 0.0))
        start += truth.contact_s
    time_s = np.arange(0, start + truth.still_s, SAMPLE_TICKS / TICK_HZ)
    starts = np.array([piece[0] for piece in pieces])
    at = np.array(pieces)[np.searchsorted(starts, time_s, side="right") - 1]
    tau = time_s - at[:, 0]
    return time_s, at[:, 1] + at[:, 2] * tau + at[:, 3] * tau**2 / 2, float(struck)


def record(truth: Truth | None = None, **changes: object) -> DropRecord:
    """The record of a drop; `changes` are fields of DropRecord."""
    truth = truth or Truth()
    time_s, height_m, _ = heights(truth)
    counts = np.floor(height_m / SCALE_M + truth.phase).astype(np.int64) + truth.contact_count
    made = DropRecord(
        ticks=np.round(time_s * TICK_HZ).astype(np.int64) + 12_345,
        counts=counts,
        contact=contact_height([truth.contact_count], 0.02e-3, SCALE_M),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def facts(**changes: object) -> DropFacts:
    """A bench that knows its scale and clock well; `changes` are fields of DropFacts."""
    made = DropFacts(
        mass=Input("mass", 2.0, 0.002, unit="kg"),
        scale=Input("scale", SCALE_M, 1e-8, unit="m/count"),
        time_base=Input("time_base", 1.0, 1e-6),
        gravity=Input("gravity", 9.80665, 0.0005, unit="m/s2"),
        drum_mass_kg=0.0,
        cyclic_m=0.0,
        lowest_a_m_s2=6.0,
        highest_a_m_s2=13.0,
        slip_limit_m=0.0015,
    )
    return replace(made, **changes)  # type: ignore[arg-type]
