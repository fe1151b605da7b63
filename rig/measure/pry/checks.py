"""What makes a pry trial invalid: one named reason for each, with its figure and limit."""

import math
from collections.abc import Iterator, Mapping

import numpy as np

from rig.measure.arm.checks import drift, saturated, spikes_near, stuck_angle
from rig.measure.arm.facts import ArmRecord, Asked, PryFacts
from rig.measure.arm.motion import SETTLING, Motion
from rig.measure.arm.spikes import FAR, scatter
from rig.measure.budget import Measurand, Reason
from rig.measure.pry.trial import Pried

ABOVE_SHARE = 0.005
"""No reading of a falling torque lies above its peak by so much of it: ours."""


def motion_reasons(
    made: Motion, record: ArmRecord, facts: PryFacts, asked: Asked
) -> tuple[Reason, ...]:
    """What the motion shows before anything is made of it."""
    return (*saturated(record, made), *_reversed(made, facts), *stuck_angle(made),
            *_swept(made, facts, asked), *_start(made, facts))  # fmt: skip


def _reversed(made: Motion, facts: PryFacts) -> Iterator[Reason]:
    low, high = float(made.raw_nm.min()), float(made.raw_nm.max())
    if -low > max(high, 4 * facts.limits.preload_nm):
        text = f"the torque went to {low:.3g} N.m: wrong side, or load cell plugged in reversed"
        yield Reason("reversed", text, low, 0.0, "N.m")
    turned = made.angle_rad - made.angle_rad[0]
    if -float(turned.min()) > max(float(turned.max()), math.radians(2.0)):
        text = "the arm turned the other way: wrong side, or angle sensor reversed"
        yield Reason("reversed_angle", text, float(turned.min()), 0.0, "rad")


def _swept(made: Motion, facts: PryFacts, asked: Asked) -> Iterator[Reason]:
    ends = sorted(asked.direction * made.angle_rad[[0, int(np.argmax(made.angle_rad))]])
    if not facts.sweep.holds(float(ends[0]), float(ends[1])):
        text = "the no-load sweep did not go through the angles of this trial"
        limit = facts.sweep.high_rad if asked.direction > 0 else facts.sweep.low_rad
        yield Reason("sweep_range", text, float(made.angle_rad.max()), abs(limit), "rad")


def _start(made: Motion, facts: PryFacts) -> Iterator[Reason]:
    preload = facts.limits.preload_nm
    if float(made.net_nm.max()) < preload:
        text = f"the specimen was never loaded to the pre-load of {preload:g} N.m"
        yield Reason("no_preload", text, float(made.net_nm.max()), preload, "N.m")
    elif float(made.net_nm[0]) >= preload:
        text = "the record begins with the specimen already loaded past the pre-load"
        yield Reason("loaded_before", text, float(made.net_nm[0]), preload, "N.m")


def trial_reasons(
    found: Pried, record: ArmRecord, facts: PryFacts, made: Mapping[str, Measurand]
) -> tuple[Reason, ...]:
    """What stands against the trial and its values."""
    return (*_kinds(found), *_drift(found, record, facts), *_rates(found, facts),
            *_range(found, facts), *_stop(found, facts), *_shape(found, made),
            *_spiked(found, record))  # fmt: skip


def _spiked(found: Pried, record: ArmRecord) -> Iterator[Reason]:
    """A conversion that stood alone where the peak is read, or one above it while it fell."""
    made, loaded = found.made, found.loaded
    end_s = float(made.at_s[loaded.last]) if loaded.broke is None else loaded.broke.at_s
    yield from spikes_near(record, made, end_s, SETTLING)
    if found.fall is None or not record.bridge:
        return
    falling = made.net_nm[loaded.last + 1 : found.fall.bottom + 1]
    largest = max(loaded.peak_nm, float(loaded.net_nm.max()))
    most = largest * (1 + ABOVE_SHARE) + FAR * scatter(record.codes) * made.code_nm
    if len(falling) and float(falling.max()) > most:
        text = "a reading of the load cell stood alone while the torque fell: check its wires"
        yield Reason("load_spike", text, float(falling.max()), most, "N.m")


def _kinds(found: Pried) -> Iterator[Reason]:
    share = found.fall.share if found.fall is not None else None
    if found.kind == "slip":
        text = (
            f"the torque fell by {share:.0%} and rose again as stiff as before: something slipped"
        )
        yield Reason("slip", text, share, 0.05)
    elif found.kind == "unclear":
        text = f"the torque fell by {share:.0%}: no break, and not held again"
        yield Reason("unclear_failure", text, share, 0.5)
    elif found.kind == "stopped":
        text = "let back before it failed and before a limit was reached"
        yield Reason("stopped_early", text, found.loaded.peak_nm, None, "N.m")


def _drift(found: Pried, record: ArmRecord, facts: PryFacts) -> Iterator[Reason]:
    yield from drift(
        record, found.made.code_nm, found.loaded.peak_nm, facts.limits.drift_limit_share
    )


def _rates(found: Pried, facts: PryFacts) -> Iterator[Reason]:
    limits, loaded = facts.limits, found.loaded
    rise = under_read(found)
    if rise > limits.under_read_limit_share:
        text = f"pulled too fast: the torque rose by {rise:.1%} of its peak from sample to sample"
        yield Reason("rate_too_high", text, rise, limits.under_read_limit_share)
    rate = mean_rate(found, facts)
    if not limits.rate_low_rad_s <= rate <= limits.rate_high_rad_s:
        limit = limits.rate_low_rad_s if rate < limits.rate_low_rad_s else limits.rate_high_rad_s
        text = f"the arm turned at {math.degrees(rate):.1f}°/s on average"
        yield Reason("rate_band", text, rate, limit, "rad/s")
    if found.kind != "snap" or loaded.broke is None:
        return
    ramp = ramp_s(found, facts)
    if not limits.ramp_low_s <= ramp <= limits.ramp_high_s:
        limit = limits.ramp_low_s if ramp < limits.ramp_low_s else limits.ramp_high_s
        text = f"it took {ramp:.1f} s to break"
        yield Reason("ramp_time", text, ramp, limit, "s")


def under_read(found: Pried) -> float:
    """By how much the torque rose at its end from sample to sample, of the peak."""
    loaded = found.loaded
    rise = max(0.0, loaded.end.slope * loaded.end_rate) * found.made.period_s
    return rise / loaded.peak_nm if loaded.peak_nm > 0 else 0.0


def ramp_s(found: Pried, facts: PryFacts) -> float:
    """True time from the pre-load point to the end of the loading."""
    loaded, at_s = found.loaded, found.made.at_s
    end = loaded.broke.at_s if loaded.broke is not None else float(at_s[loaded.last])
    # Torque of a sample is that of about two periods before.
    start = float(at_s[loaded.first]) - (2 + found.made.late) * found.made.period_s
    return (end - start) * facts.time_base.value


def mean_rate(found: Pried, facts: PryFacts) -> float:
    """Mean rate of turn from the pre-load point to the end of the loading, rad/s."""
    return found.loaded.span_rad / max(ramp_s(found, facts), 1e-3)


def _range(found: Pried, facts: PryFacts) -> Iterator[Reason]:
    peak, furthest = found.loaded.peak_nm, float(np.abs(found.made.angle_rad).max())
    for scale, value, what in ((facts.torque, peak, "torque"), (facts.angle, furthest, "angle")):
        if value > scale.high or (what == "torque" and value < scale.low):
            limit = scale.high if value > scale.high else scale.low
            text = (
                f"{what} {value:.3g} {scale.unit} lies outside its certificate"
                f" ({scale.low:.3g} to {scale.high:.3g})"
            )
            yield Reason("outside_certificate", text, value, limit, scale.unit)


def _stop(found: Pried, facts: PryFacts) -> Iterator[Reason]:
    stop = facts.limits.stop_rad
    if found.loaded.end.angle_rad > stop - math.radians(0.5):
        text = "the arm lay against its stop: the stop took a part of the torque"
        yield Reason("at_stop", text, found.loaded.end.angle_rad, stop, "rad")


def _shape(found: Pried, made: Mapping[str, Measurand]) -> Iterator[Reason]:
    if "stiffness" not in made:
        yield Reason("no_straight_part", "too few samples in the straight part of the rise")
