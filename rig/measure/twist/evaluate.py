"""An edge twisted to and fro in a slot of wood: peak torque and work of each cycle, their decay.

No published standard covers this test; every result says so in its `notice`.

Torque of the edge is torque by the cell less what the bare arm takes (no-load sweep). Work of a
cycle is the area of its loop, the integral of torque over angle: what wood and edge took. The arm's
weight gives nothing to a closed loop, its friction four amplitudes' worth, which is taken off.
Decay: last cycle over first of the mean of both sides (zero and scale cancel), and the exponent b
of peak = c n^(-b) over the cycles, by a straight line through the logarithms with Student's t.
"""

from dataclasses import dataclass

from rig.measure.arm.checks import record_reasons, saturated, spike_figures, stuck_angle
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import motion, without_inertia
from rig.measure.budget import Reason
from rig.measure.result import Result
from rig.measure.twist.checks import cycle_reasons, mean_rate, motion_reasons
from rig.measure.twist.cycles import Cycle, find_cycles
from rig.measure.twist.rows import TwistFacts, measurands

NOTICE = "No published standard covers this test: compare blades on this jig and this board only."


@dataclass(frozen=True)
class TwistResult(Result):
    """What a twist gave.

    Attributes:
        measurands: by name: peak_torque (largest of all), peak_right_1 ..., peak_left_1 ...,
            work_1 ..., work_total, torque_ratio and work_ratio (last cycle over first, from two
            cycles on), decay_exponent (from three on).
        reasons: why the trial is not valid; empty when it is.
        figures: further numbers, by name, SI: cycles, right_rad_1 ..., left_rad_1 ...,
            rate_rad_s_1 ...
        notice: that there is no standard.
    """

    notice: str = NOTICE


def evaluate_twist(record: ArmRecord, facts: TwistFacts, cycles: int) -> TwistResult:
    """Everything one twist trial tells.

    The same record, facts and number always give the same result.

    Args:
        record: load and angle from rest through all cycles to rest.
        facts: jig, certificates, limits.
        cycles: how many were asked for.
    """
    reasons = record_reasons(record)
    made = motion(record, facts, 1)
    if made is None:
        text = "the record is too short"
        return TwistResult(reasons=(*reasons, Reason("record_short", text)))
    made = without_inertia(made, facts.sweep)
    reasons += (*saturated(record, made), *stuck_angle(made), *motion_reasons(made, facts))
    found = find_cycles(made, facts.limits.amplitude_rad)
    reasons += cycle_reasons(found, record, made, facts, cycles)
    if not found:
        return TwistResult(reasons=reasons)
    values = measurands(found, record, made, facts)
    return TwistResult(values, reasons, _figures(found, facts) | spike_figures(record))


def _figures(found: tuple[Cycle, ...], facts: TwistFacts) -> dict[str, float]:
    figures = {"cycles": float(len(found))}
    for n, cycle in enumerate(found, 1):
        figures[f"right_rad_{n}"] = cycle.right_rad
        figures[f"left_rad_{n}"] = cycle.left_rad
        figures[f"rate_rad_s_{n}"] = mean_rate(cycle, facts)
    figures["largest_rate_rad_s"] = max(mean_rate(cycle, facts) for cycle in found)
    return figures
