"""What truly happened in pry and twist trials, in the words of `rig.virtual.arm.truth`."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.tip import Marks, Tip
from rig.virtual.arm.truth import OFFSET_RAD, Failure


@dataclass
class PryTruth:
    """One pry trial; torques, angles and energy count from the pre-load point and are positive.

    `kind` is what happened, so SURVIVE when the trial ended before the tip gave way.
    `peak_nm` is the specimen's largest torque (its failure torque only after a SNAP);
    `onset_nm` is None when the curve never met the shifted line; `set_rad` is None after a snap;
    `gave_way_s` is plant time, None when it held.
    """

    kind: Failure
    sign: int
    preload_nm: float
    peak_nm: float
    angle_at_peak_rad: float
    energy_j: float
    stiffness_nm_per_rad: float
    onset_nm: float | None
    set_rad: float | None
    began_s: float = 0.0
    ended_s: float = 0.0
    gave_way_s: float | None = None


@dataclass
class TwistTruth:
    """One twist trial: for each cycle the peaks to either side and the work put in."""

    right_nm: list[float] = field(default_factory=list)
    left_nm: list[float] = field(default_factory=list)
    work_j: list[float] = field(default_factory=list)


def onset_nm(tip: Tip, bent_before_rad: float = 0.0) -> float | None:
    """Torque where the curve meets the straight part shifted by the offset, if it got there.

    The curve lies to the right of its straight part by just what has been bent for good (the toe
    is used up long before), so the two meet where that equals the offset.
    """
    bend = bent_before_rad + OFFSET_RAD
    return tip.curve.bend_nm(bend) if tip.bend_rad >= bend else None


def _kind(tip: Tip, onset: float | None) -> Failure:
    if tip.broken:
        return Failure.SNAP
    if tip.slipped:
        return Failure.SLIP
    return Failure.SURVIVE if onset is None else Failure.BEND


def pry_truth(tip: Tip, before: Marks, way: Floats, torque: Floats) -> PryTruth:
    """The record of one turn of a tip.

    `way` and `torque` run from the pre-load point or before it to where the tip broke or the turn
    ended, both positive in the direction of the pry; shape (n,).
    """
    peak = int(np.argmax(torque))
    onset = onset_nm(tip, before.bend_rad)
    return PryTruth(
        kind=_kind(tip, onset),
        sign=tip.sign,
        preload_nm=before.preload_nm,
        peak_nm=float(torque[peak]),
        angle_at_peak_rad=float(way[peak]) - before.preload_rad,
        energy_j=_energy_j(way[: peak + 1], torque[: peak + 1], before),
        stiffness_nm_per_rad=tip.curve.series,
        onset_nm=onset,
        set_rad=None if tip.broken else tip.set_rad - before.set_rad,
    )


def twist_truth(angle: Floats, torque: Floats) -> TwistTruth:
    """Peaks and work of each cycle of a path, from one rise through its beginning to the next."""
    record = TwistTruth()
    way = angle - angle[0]
    rises = np.flatnonzero((way[:-1] < 0) & (way[1:] >= 0)) + 1
    borders = [0]
    for rise in (*(int(i) for i in rises), len(way) - 1):
        # A tremor at rest is no cycle, and the last one ends where the path does.
        if way[borders[-1] : rise + 1].min() < way.min() / 2:
            borders.append(rise)
    borders[-1] = len(way) - 1
    for first, last in pairwise(borders):
        own = torque[first : last + 1]
        record.right_nm.append(float(own.max()))
        record.left_nm.append(float(-own.min()))
        record.work_j.append(float(np.trapezoid(own, angle[first : last + 1])))
    return record


def _energy_j(way: Floats, torque: Floats, before: Marks) -> float:
    """Integral from the pre-load point on, that point itself put in exactly."""
    after = int(np.searchsorted(np.maximum.accumulate(way), before.preload_rad))
    angles = np.concatenate([[before.preload_rad], way[after:]])
    torques = np.concatenate([[before.preload_nm], torque[after:]])
    return float(np.trapezoid(torques, angles))
