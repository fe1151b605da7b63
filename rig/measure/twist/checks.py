"""What makes a twist trial invalid: one named reason for each, with its figure and limit."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from rig.measure.arm.checks import drift, spikes_near
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import Motion
from rig.measure.budget import Reason
from rig.measure.twist.cycles import Cycle
from rig.measure.twist.rows import TwistFacts

PEAK_SHARE = 0.7  # of the largest torque: lower no peak of a cycle lies; ours
AGAINST = 0.0  # correlation of torque and angle of a spring is above it


def motion_reasons(made: Motion, facts: TwistFacts) -> Iterator[Reason]:
    """What the motion shows before any cycle is told."""
    low, high = float(made.angle_rad.min()), float(made.angle_rad.max())
    if not facts.sweep.holds(low, high):
        text = "the no-load sweep did not go through the angles of this trial, to both sides"
        beyond = high if high > facts.sweep.high_rad else low
        yield Reason("sweep_range", text, beyond, facts.sweep.high_rad, "rad")
    if np.ptp(made.angle_rad) == 0 or np.ptp(made.net_nm) == 0:
        return
    together = float(np.corrcoef(made.angle_rad, made.net_nm)[0, 1])
    if together < AGAINST:
        text = "the torque pulls against the angle: load cell or angle sensor is reversed"
        yield Reason("reversed", text, together, AGAINST)


def cycle_reasons(
    found: Sequence[Cycle], record: ArmRecord, made: Motion, facts: TwistFacts, asked: int
) -> tuple[Reason, ...]:
    """What the cycles show."""
    counted = [] if len(found) == asked else [_count(len(found), asked)]
    if not found:
        return tuple(counted)
    largest = max(c.largest_nm for c in found)
    return (
        *counted, *_turned(found, facts), *_rate(found, facts),
        *drift(record, made.code_nm, largest, facts.limits.drift_limit_share),
        *_range(largest, made, facts), *_spiked(largest, record, made),
    )  # fmt: skip


def _spiked(largest_nm: float, record: ArmRecord, made: Motion) -> Iterator[Reason]:
    """A conversion that stood alone where some cycle's peak may be read."""
    high = np.abs(made.net_nm) >= PEAK_SHARE * largest_nm
    for at_s in made.at_s[high] if record.spikes else ():
        if found := list(spikes_near(record, made, float(at_s), 2)):
            yield found[0]
            return


def mean_rate(cycle: Cycle, facts: TwistFacts) -> float:
    """Way of the arm over true time, rad/s."""
    return cycle.travel_rad / (cycle.seconds * facts.time_base.value)


def _count(found: int, asked: int) -> Reason:
    text = f"{found} whole cycles were turned, {asked} were asked for"
    return Reason("cycles", text, float(found), float(asked))


def _turned(found: Sequence[Cycle], facts: TwistFacts) -> Iterator[Reason]:
    wanted, band = facts.limits.amplitude_rad, facts.limits.overshoot_rad
    turned = [(n, side, way) for n, c in enumerate(found, 1)
              for side, way in (("right", c.right_rad), ("left", c.left_rad))]  # fmt: skip
    n, side, way = max(turned, key=lambda turn: abs(turn[2] - wanted))
    if abs(way - wanted) > band:
        text = (
            f"cycle {n} went {math.degrees(way):.1f}° to the {side},"
            f" asked for {math.degrees(wanted):.1f}°"
        )
        yield Reason("amplitude", text, abs(way - wanted), band, "rad")


def _rate(found: Sequence[Cycle], facts: TwistFacts) -> Iterator[Reason]:
    low, high = facts.limits.rate_low_rad_s, facts.limits.rate_high_rad_s
    for n, cycle in enumerate(found, 1):
        rate = mean_rate(cycle, facts)
        if not low <= rate <= high:
            text = f"cycle {n} was turned at {math.degrees(rate):.1f}°/s on average"
            yield Reason("rate_band", text, rate, low if rate < low else high, "rad/s")
            return


def _range(largest_nm: float, made: Motion, facts: TwistFacts) -> Iterator[Reason]:
    furthest = float(np.abs(made.angle_rad).max())
    for what, value, scale in (
        ("torque", largest_nm, facts.torque),
        ("angle", furthest, facts.angle),
    ):
        low = scale.low if what == "torque" else 0.0
        if not low <= value <= scale.high:
            text = (
                f"{what} {value:.3g} {scale.unit} lies outside its certificate"
                f" ({low:.3g} to {scale.high:.3g})"
            )
            limit = low if value < low else scale.high
            yield Reason("outside_certificate", text, value, limit, scale.unit)
