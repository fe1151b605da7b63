"""What makes any record of the arm invalid, pried or twisted: one named reason for each."""

import math
from collections.abc import Iterator

import numpy as np

from rig.board.wire import ANGLE_SUM, CHANNELS, LOAD_LIMITS, TICK_HZ, Kind, LoadFault
from rig.measure.arm.facts import ArmRecord
from rig.measure.arm.motion import Motion
from rig.measure.arm.shared_rows import drift_nm
from rig.measure.arm.spikes import MOST
from rig.measure.budget import Reason

NOMINAL_LOAD_S = CHANNELS[Kind.LOAD].period_ticks / TICK_HZ
ANGLE_S = CHANNELS[Kind.ANGLE].period_ticks / TICK_HZ
LONGEST_LOAD_S = 1.5 * NOMINAL_LOAD_S
SAME_CODES = 4  # noise of 24 bits never repeats a code so often
FULL_SUM = 1023 * ANGLE_SUM
SENSOR_SHARES = (0.05, 0.95)  # the sensor's own range is 10 % to 90 % of the supply
STILL_RAD = math.radians(0.2)
FAULT_WORDS = {
    LoadFault.MISSING: ("load_missing", "the load cell's converter gave no readings for a while"),
    LoadFault.STUCK: ("load_stuck", "the load cell's converter did not answer as it should"),
    LoadFault.LATE: ("load_late", "the board read the load cell's converter too late"),
}


def record_reasons(record: ArmRecord) -> tuple[Reason, ...]:
    """What line, converter and sensor say, whatever was tried."""
    return (*record.line, *_load(record), *many_spikes(record), *_angle(record), *_guard(record))


def _guard(record: ArmRecord) -> Iterator[Reason]:
    if record.guard_opened:
        yield Reason("guard_opened", "the guard was opened during the trial")


def _load(record: ArmRecord) -> Iterator[Reason]:
    for fault in sorted(record.load_faults):
        yield Reason(*FAULT_WORDS[fault])
    if len(record.codes) == 0 and LoadFault.MISSING not in record.load_faults:
        yield Reason(*FAULT_WORDS[LoadFault.MISSING])
    if record.discarded:
        text = f"{record.discarded} readings of the load cell were thrown away by the board"
        yield Reason("load_discarded", text, float(record.discarded), 0.0)
    if len(record.codes) < 2:
        return
    steps = np.diff(record.load_ticks) / TICK_HZ
    usual, longest = float(np.median(steps)), float(steps.max())
    if usual > LONGEST_LOAD_S:
        text = (
            f"the load cell's converter makes {1 / usual:.0f} readings a second: set it to 80"
            " (its rate pin)"
        )
        yield Reason("load_interval", text, usual, LONGEST_LOAD_S, "s")
    elif longest > 1.5 * usual or float(steps.min()) < 0.5 * usual:
        text = f"readings of the load cell came {longest * 1e3:.0f} ms apart, not {usual * 1e3:.1f}"
        yield Reason("load_gap", text, longest, 1.5 * usual, "s")


def _angle(record: ArmRecord) -> Iterator[Reason]:
    sums = record.sums
    if len(sums) < 2:
        yield Reason("angle_missing", "no readings of the arm's angle came")
        return
    if record.missed_sums:
        text = f"{record.missed_sums} readings of the arm's angle were missed by the board"
        yield Reason("angle_missed", text, float(record.missed_sums), 0.0)
    longest = float(np.diff(record.angle_ticks).max()) / TICK_HZ
    if longest > 1.5 * ANGLE_S:
        text = f"readings of the arm's angle came {longest * 1e3:.0f} ms apart"
        yield Reason("angle_gap", text, longest, 1.5 * ANGLE_S, "s")
    low, high = (float(share) * FULL_SUM for share in SENSOR_SHARES)
    outside = int(((sums < low) | (sums > high)).sum())
    if outside:
        share = float(sums[(sums < low) | (sums > high)][0]) / FULL_SUM
        text = f"the angle sensor gave {share:.0%} of its supply: check its plug and mounting"
        yield Reason("angle_fault", text, share, SENSOR_SHARES[share > 0.5])


def saturated(record: ArmRecord, made: Motion) -> Iterator[Reason]:
    at_limit = int(np.isin(record.codes, LOAD_LIMITS).sum())
    same = _longest_run(record.codes)
    if not at_limit and same < SAME_CODES:
        return
    held = float(made.raw_nm.max())
    text = f"the load cell's reading stood still at {held:.3g} N.m: at least that, no more is known"
    yield Reason("saturated", text, float(max(at_limit, same)), float(SAME_CODES))


def _longest_run(codes: np.ndarray) -> int:
    """Most equal codes in a row."""
    breaks = np.flatnonzero(np.diff(codes) != 0)
    edges = np.concatenate(([-1], breaks, [len(codes) - 1]))
    return int(np.diff(edges).max())


def spikes_near(record: ArmRecord, made: Motion, at_s: float, within: int) -> Iterator[Reason]:
    """Conversions that stood alone where `at_s` counts, or too many of them.

    Args:
        record: the record.
        made: its motion.
        at_s: time of what is read off, in the motion's seconds.
        within: conversions to either side that it is read from.
    """
    told = (record.load_ticks[list(record.spikes)] - record.load_ticks[0]) / TICK_HZ
    near = int((np.abs(told - at_s) <= within * made.period_s).sum())
    if near:
        text = (
            "a reading of the load cell stood alone just where the torque is read: check its wires"
        )
        yield Reason("load_spike", text, float(near), 0.0)


def many_spikes(record: ArmRecord) -> Iterator[Reason]:
    """More conversions that stood alone than an accident makes."""
    if len(record.spikes) > MOST:
        text = f"{len(record.spikes)} readings of the load cell stood alone: check its wires"
        yield Reason("load_spike", text, float(len(record.spikes)), float(MOST))


def spike_figures(record: ArmRecord) -> dict[str, float]:
    """How many conversions were left out, when there were any."""
    return {"load_spikes": float(len(record.spikes))} if record.spikes else {}


def stuck_angle(made: Motion) -> Iterator[Reason]:
    turned, risen = float(np.ptp(made.angle_rad)), float(made.net_nm.max())
    if turned < STILL_RAD and risen > 0:
        text = f"the arm's angle stood still ({math.degrees(turned):.2f}°): check the sensor"
        yield Reason("angle_stuck", text, turned, STILL_RAD, "rad")


def drift(
    record: ArmRecord, code_nm: float, peak_nm: float, share_limit: float
) -> Iterator[Reason]:
    """Zero moved too far, or was not read."""
    moved, limit = drift_nm(record, code_nm), share_limit * peak_nm
    if record.zero_after is None:
        yield Reason("zero_not_read", "zero was not read after the trial")
    elif moved > limit:
        share = moved / peak_nm
        text = f"zero moved by {moved * 1e3:.1f} mN.m over the trial ({share:.1%} of the peak)"
        yield Reason("drift", text, moved, limit, "N.m")
