"""What a pry trial is computed from: record, facts of bench and certificates, what was asked."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from rig.board.samples import Capture
from rig.board.wire import Event, Kind, LoadFault
from rig.measure.arm.spikes import bridged, find_spikes
from rig.measure.arm.sweep import Sweep
from rig.measure.budget import Input, Reason
from rig.measure.reading import line_reasons
from rig.measure.scales import Scale


@dataclass(frozen=True)
class Limits:
    """How a tip is pried, and what a trial may look like; as the bench states them.

    Attributes:
        preload_nm: torque of the specimen where angle and energy begin to count.
        onset_offset_rad: offset of the straight part that marks the onset of bending.
        rate_low_rad_s, rate_high_rad_s: band of the arm's mean rate.
        ramp_low_s, ramp_high_s: band of the time from pre-load to failure.
        torque_limit_nm, angle_limit_rad: where a trial ends without a failure.
        stop_rad: the solid stop.
        drift_limit_share: how far zero may move over a trial, of the peak.
        under_read_limit_share: how much a peak may rise between two samples, of itself.
    """

    preload_nm: float
    onset_offset_rad: float
    rate_low_rad_s: float
    rate_high_rad_s: float
    ramp_low_s: float
    ramp_high_s: float
    torque_limit_nm: float
    angle_limit_rad: float
    stop_rad: float
    drift_limit_share: float
    under_read_limit_share: float


class Lever(Protocol):
    """What a motion of the arm is read with."""

    @property
    def torque(self) -> Scale:
        """N.m of code less zero code."""
        ...

    @property
    def angle(self) -> Scale:
        """Rad of the sum of conversions, from the arm's zero mark."""
        ...

    @property
    def sweep(self) -> Sweep:
        """What the arm carries besides the specimen."""
        ...


@dataclass(frozen=True)
class PryFacts:
    """The jig: scales of its certificates, the arm alone, lever length, clock, limits.

    Attributes:
        torque: N.m of code less zero code.
        angle: rad of the sum of conversions, from the arm's zero mark.
        sweep: what the arm carries besides the specimen (`no_load_sweep`).
        free_m: of blade between the block's face and the clamp, m.
        u_align_rad: pull against the square to the arm, standard uncertainty.
        time_base: true seconds for one nominal second of the board.
        limits: of the bench.
        rule: by which it is judged; runs of earlier programs keep theirs. 1: a snap ends at its
            peak. 2: the largest torque is the peak wherever it was passed, and a snap may come
            after a first crack or slip.
    """

    torque: Scale
    angle: Scale
    sweep: Sweep
    free_m: Input
    u_align_rad: float
    time_base: Input
    limits: Limits
    rule: int = 1


@dataclass(frozen=True)
class Section:
    """The section expected to fail, measured before the test.

    Attributes:
        thickness_m, width_m: across and along the bending axis.
        from_axis_m: distance of the section from the arm's axis (the block's face), x_b.
    """

    thickness_m: Input
    width_m: Input
    from_axis_m: Input


@dataclass(frozen=True)
class Asked:
    """What the trial set out to do.

    Attributes:
        direction: +1 for a pry to the right, -1 to the left.
        section: None leaves bending moment and index out.
        at_rad: arm angle from the pre-load point whose torque is wanted; None leaves it out.
        ended: how the guidance ended the motion ("failed", "angle_limit", "torque_limit" ...).
    """

    direction: int = 1
    section: Section | None = None
    at_rad: float | None = None
    ended: str = ""


@dataclass(frozen=True)
class ArmRecord:
    """Load and angle of one motion of the arm, from rest to rest.

    Attributes:
        load_ticks: unwrapped MCU ticks of data-ready, int64, shape (n,).
        codes: bridge converter codes, int64, shape (n,).
        angle_ticks: unwrapped MCU ticks of each sum's first conversion, int64, shape (m,).
        sums: sums of conversions, int64, shape (m,).
        zero: code with nothing pulling, before; its u is that of the reading's mean.
        zero_after: the same after; None when it was not read.
        load_faults: what the board reported of the converter.
        discarded: conversions the board threw away.
        missed_sums: angle sums the board missed.
        guard_opened: the guard's loop opened.
        line: reasons of the line itself (lost frames, restart).
        spikes: conversions that stood alone and are bridged in `codes`, indices.
        bridge: they were looked for; records of earlier programs are taken as they came.
    """

    load_ticks: NDArray[np.int64]
    codes: NDArray[np.int64]
    angle_ticks: NDArray[np.int64]
    sums: NDArray[np.int64]
    zero: Input
    zero_after: Input | None = None
    load_faults: frozenset[LoadFault] = frozenset()
    discarded: int = 0
    missed_sums: int = 0
    guard_opened: bool = False
    line: tuple[Reason, ...] = field(default_factory=tuple)
    spikes: tuple[int, ...] = ()
    bridge: bool = False


def zero_code(reading: Mapping[str, Any], name: str = "zero") -> Input:
    """A reading at rest (`rig.measure.reading.Reading.to_dict`) as the zero code."""
    n = int(reading["n"])
    # Each code is a mean over four conversions of the filter: neighbours are not independent.
    u = float(reading["sd"] or 0.0) * np.sqrt(4 / max(n, 1))
    source = f"mean of {n} readings with nothing pulling"
    return Input(name, float(reading["mean"]), float(u), max(1.0, n / 4 - 1), source, "code")


def arm_record(
    seen: Capture, zero: Input, zero_after: Input | None = None, bridge: bool = False
) -> ArmRecord:
    """The record in a captured stretch; `bridge` leaves conversions out that stand alone."""
    codes = seen[Kind.LOAD].values
    spikes = find_spikes(codes) if bridge else np.zeros(0, dtype=np.int64)
    told = [LoadFault(e.value) for e in seen.events if e.code is Event.LOAD and e.value]
    return ArmRecord(
        load_ticks=seen[Kind.LOAD].ticks,
        codes=bridged(codes, spikes),
        angle_ticks=seen[Kind.ANGLE].ticks,
        sums=seen[Kind.ANGLE].values,
        zero=zero,
        zero_after=zero_after,
        load_faults=frozenset(told),
        discarded=seen[Kind.LOAD].turns.get("discarded", 0),
        missed_sums=seen[Kind.ANGLE].turns.get("missed_samples", 0),
        guard_opened=any(e.code is Event.GUARD and e.value == 0 for e in seen.events),
        line=line_reasons(seen),
        spikes=tuple(int(at) for at in spikes),
        bridge=bridge,
    )
