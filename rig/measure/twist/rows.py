"""Measurands of a twist trial, each with its budget."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

import numpy as np
from scipy.stats import linregress

from rig.measure.arm import shared_rows
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import SETTLING, U_DELAY, Motion, motion
from rig.measure.arm.scatter import LEFT_SHARE
from rig.measure.arm.sweep import Sweep
from rig.measure.budget import Input, Measurand, evaluate, rectangular
from rig.measure.scales import Scale
from rig.measure.twist.cycles import Cycle, Top, find_cycles

X = Mapping[str, Any]
LEAST_FOR_EXPONENT = 3
LEAST_RAD = 1e-3
LEAST_NM = 1e-4  # a share of less than this is a share of nothing


@dataclass(frozen=True)
class TwistLimits:
    """How an edge is twisted, and what a trial may look like; as the bench states them.

    Attributes:
        amplitude_rad: to either side of the place of rest.
        overshoot_rad: a cycle may miss its amplitude by this much.
        rate_low_rad_s, rate_high_rad_s: band of a cycle's mean rate.
        drift_limit_share: how far zero may move over a trial, of the largest torque.
    """

    amplitude_rad: float
    overshoot_rad: float
    rate_low_rad_s: float
    rate_high_rad_s: float
    drift_limit_share: float


@dataclass(frozen=True)
class TwistFacts:
    """The jig: scales of its certificates, the arm alone, clock, limits (see `PryFacts`)."""

    torque: Scale
    angle: Scale
    sweep: Sweep
    u_align_rad: float
    time_base: Input
    limits: TwistLimits


@dataclass(frozen=True)
class _Rows:
    record: ArmRecord
    made: Motion
    facts: TwistFacts
    largest_nm: float

    def torque(self, top: Top) -> list[Input]:
        """Certificate, pull, zero, arm alone."""
        facts = self.facts
        limit = facts.limits.drift_limit_share * self.largest_nm
        scale, _ = facts.torque.inputs("torque")
        return [
            scale,
            shared_rows.torque_point(facts.torque, top.torque_nm),
            shared_rows.align(facts.u_align_rad),
            shared_rows.zero(self.record, self.made.code_nm, limit),
            self.no_load(top.slow_share),
            self.inertia(top),
        ]

    def no_load(self, slow_share: float) -> Input:
        """The arm alone; where it turns back, slow, its friction may have either sign."""
        sweep = self.facts.sweep
        u = math.hypot(sweep.u_nm, slow_share * sweep.friction_nm / math.sqrt(3))
        return Input("no_load", 0.0, u, math.inf, "no-load sweep, friction as the arm turns", "N.m")

    def inertia(self, top: Top) -> Input:
        """The arm is slowed on its way to where it turns back."""
        u = self.facts.sweep.u_inertia_kg_m2 * top.acceleration_rad_s2
        return Input("inertia", 0.0, u, math.inf, "inertia of the arm, no-load sweep", "N.m")


def measurands(
    found: Sequence[Cycle], record: ArmRecord, made: Motion, facts: TwistFacts
) -> dict[str, Measurand]:
    """All values by name; see `rig.measure.twist.evaluate.TwistResult`."""
    largest = max(c.largest_nm for c in found)
    rows = _Rows(record, made, facts, largest)
    peaks = [
        (f"peak_{side}_{n}", top)
        for n, c in enumerate(found, 1)
        for side, top in (("right", c.right), ("left", c.left))
    ]
    told = {name: _peak(name, top, rows) for name, top in peaks}
    _, top = max(peaks, key=lambda peak: peak[1].torque_nm)
    told["peak_torque"] = _peak("peak_torque", top, rows)
    late = _works(record, facts, U_DELAY), _works(record, facts, -U_DELAY)
    for n, cycle in enumerate(found, 1):
        delay = _delay(cycle.work_j, [works[n - 1 : n] for works in late])
        told[f"work_{n}"] = _work(f"work_{n}", [cycle], delay, rows)
    whole = sum(c.work_j for c in found)
    told["work_total"] = _work("work_total", found, _delay(whole, late), rows)
    least = min(c.mean_nm for c in found)
    doubt = rows.no_load(1.0).u + max(_u_both(c) for c in found)
    if len(found) >= 2 and least > 4 * doubt + LEAST_NM:
        told["torque_ratio"] = _torque_ratio(found, rows)
    if len(found) >= 2 and _told_work(found, rows):
        told["work_ratio"] = _work_ratio(found, late, rows)
    if len(found) >= LEAST_FOR_EXPONENT and least > 0:
        told["decay_exponent"] = _exponent(found)
    return told


def _peak(name: str, top: Top, rows: _Rows) -> Measurand:
    source = "way out carried on to the turning point"
    return evaluate(
        name, "N.m",
        lambda x: x["torque_scale"] * x["align"] * x["record"]
        + x["torque_point"] + x["zero"] + x["no_load"] + x["inertia"],
        [Input("record", top.torque_nm, top.u_nm, 10.0, source, "N.m"), *rows.torque(top)],
    )  # fmt: skip


def _works(record: ArmRecord, facts: TwistFacts, late: float) -> list[float]:
    """Work of each cycle with the filter's delay taken longer by `late` periods."""
    made = motion(record, facts, 1, late)
    if made is None:
        return []
    return [cycle.work_j for cycle in find_cycles(made, facts.limits.amplitude_rad)]


def _delay(value: float, late: Sequence[Sequence[float]]) -> float:
    """Standard uncertainty from the filter's delay: half the change from shorter to longer."""
    longer, shorter = (sum(works) if len(works) else value for works in late)
    return abs(longer - shorter) / 2


def _work(name: str, cycles: Sequence[Cycle], delay_j: float, rows: _Rows) -> Measurand:
    work, travel = sum(c.work_j for c in cycles), sum(c.travel_rad for c in cycles)
    reach = max(fmean((c.right_rad + c.left_rad) / 2 for c in cycles), LEAST_RAD)
    scale, _ = rows.facts.torque.inputs("torque")
    noise = _loop_noise(cycles[0], travel, max(c.end - c.begin for c in cycles) * len(cycles))
    alone = rows.facts.sweep.u_nm * travel
    inputs = [
        Input("record", work, noise, 50.0, "trapezoids along the loop", "J"),
        scale,
        shared_rows.align(rows.facts.u_align_rad),
        shared_rows.angle_gain(rows.facts.angle, 2 * reach),
        Input("no_load", 0.0, alone, math.inf, "friction of the arm, no-load sweep", "J"),
        Input("filter", 0.0, delay_j, math.inf, "delay of the converter's filter", "J"),
        _taking_hold(cycles[0]),
    ]
    return evaluate(
        name, "J",
        lambda x: x["torque_scale"] * x["align"] * x["angle_gain"] * x["record"]
        + x["no_load"] + x["filter"] + x["taking_hold"],
        inputs,
    )  # fmt: skip


def _loop_noise(cycle: Cycle, travel_rad: float, steps: int) -> float:
    """Each sample's scatter stands beside a step of the arm; four of them share their error.

    A tremor moves torque and angle together, to and fro on one line: half of the scatter is left.
    """
    return LEFT_SHARE * cycle.right.scatter_nm * travel_rad / math.sqrt(steps / SETTLING)


def _taking_hold(cycle: Cycle) -> Input:
    source = "the hand takes hold of the resting arm"
    return rectangular("taking_hold", 0.0, cycle.taking_hold_j, source, "J")


def _u_both(cycle: Cycle) -> float:
    """Of the mean of both sides; what is alike in all cycles is not in it."""
    return math.hypot(cycle.right.u_nm, cycle.left.u_nm) / 2


def _torque_ratio(found: Sequence[Cycle], rows: _Rows) -> Measurand:
    first, last = found[0], found[-1]
    inputs = [
        Input(name, c.mean_nm, _u_both(c), 20.0, f"mean of both sides, {where}", "N.m")
        for name, c, where in (("first", first, "first cycle"), ("last", last, "last cycle"))
    ]
    # Zero and scale cancel; what is left of the point error is that between the two torques.
    moved = shared_rows.apart(rows.facts.torque, abs(first.mean_nm - last.mean_nm))
    point = Input(
        "torque_point", 0.0, moved, rows.facts.torque.dof, rows.facts.torque.source, "N.m"
    )
    return evaluate(
        "torque_ratio",
        "1",
        lambda x: (x["last"] + x["torque_point"] + x["no_load"]) / (x["first"] + x["no_load"]),
        [*inputs, point, rows.no_load(max(first.right.slow_share, last.right.slow_share))],
    )


def _told_work(found: Sequence[Cycle], rows: _Rows) -> bool:
    """Is there more work in first and last cycle than what may be the arm's?"""
    first, last = found[0], found[-1]
    doubt = (
        rows.facts.sweep.u_nm + first.right.scatter_nm
    ) * first.travel_rad + first.taking_hold_j
    return min(first.work_j, last.work_j) > 2 * doubt + LEAST_NM * first.travel_rad


def _work_ratio(found: Sequence[Cycle], late: Sequence[Sequence[float]], rows: _Rows) -> Measurand:
    first, last = found[0], found[-1]
    noise = _loop_noise(first, first.travel_rad, first.end - first.begin)
    alone = rows.facts.sweep.u_nm * first.travel_rad
    longer, shorter = (works[-1] / works[0] if works else 0.0 for works in late)
    return evaluate(
        "work_ratio", "1",
        lambda x: (x["last"] + x["no_load"]) / (x["first"] + x["no_load"] + x["taking_hold"])
        + x["filter"],
        [
            Input("first", first.work_j, noise, 50.0, "first cycle", "J"),
            Input("last", last.work_j, noise, 50.0, "last cycle", "J"),
            Input("no_load", 0.0, alone, math.inf, "friction of the arm, no-load sweep", "J"),
            _taking_hold(first),
            Input("filter", 0.0, abs(longer - shorter) / 2, math.inf,
                  "delay of the converter's filter", "1"),
        ],
    )  # fmt: skip


def _exponent(found: Sequence[Cycle]) -> Measurand:
    """b of peak = c n^(-b)."""
    n = np.arange(1, len(found) + 1)
    line = linregress(np.log(n), np.log([cycle.mean_nm for cycle in found]))
    fit = Input("fit", -float(line.slope), float(line.stderr), len(found) - 2,
                f"line through the logarithms of {len(found)} peaks", "1")  # fmt: skip
    return evaluate("decay_exponent", "1", lambda x: x["fit"], [fit])
