"""A channel read at rest: mean, scatter, and what stands against it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rig.board.samples import Capture, Trace
from rig.board.wire import CHANNELS, LOAD_LIMITS, TICK_HZ, Event, Kind, LoadFault
from rig.measure.budget import Reason

KINDS = {channel.name: kind for kind, channel in CHANNELS.items()}
LEAST_SAMPLES = 5
NORMAL = 1.4826  # median absolute deviation to standard deviation
LONE_SHARE = 0.5  # of the uncertainty of a mean, that one value may move it by: ours
LEAST_FAR = 10.0  # times the scatter: none of a short reading lies so far
# Height counts of a carriage at rest flicker by one, a hand that still touches it moves more.
HEIGHT_STILL = 2


@dataclass(frozen=True)
class Reading:
    """One reading at rest, in the channel's own unit (codes, sums, counts).

    Attributes:
        channel: "load", "angle" or "height".
        mean, sd: of the samples; nan without samples.
        n: number of samples.
        span_s: from the first to the last, in the board's nominal seconds.
        drift: how far the second half's mean lies above the first's.
        reasons: what stands against it; empty when nothing does.
    """

    channel: str
    mean: float
    sd: float
    n: int
    span_s: float
    drift: float
    reasons: tuple[Reason, ...] = field(default_factory=tuple)

    def to_dict(self) -> dict[str, Any]:
        """Plain data for JSON; a figure without samples becomes null."""
        told = {
            name: None if math.isnan(figure) else figure
            for name, figure in (("mean", self.mean), ("sd", self.sd), ("drift", self.drift))
        }
        reasons = [vars(reason).copy() for reason in self.reasons]
        head = {"channel": self.channel, "n": self.n, "span_s": self.span_s}
        return {**head, **told, "reasons": reasons, "measurands": {}}


def evaluate_reading(seen: Capture, channel: str, lone: bool = False) -> Reading:
    """The reading that a recorded stretch holds.

    Args:
        seen: the decoded stretch.
        channel: "load", "angle" or "height".
        lone: name single values that shift the mean; earlier programs took them in.
    """
    trace = seen[KINDS[channel]]
    values = trace.values.astype(float)
    n = len(values)
    span_s = float(trace.ticks[-1] - trace.ticks[0]) / TICK_HZ if n else 0.0
    half = n // 2
    drift = float(values[half:].mean() - values[:half].mean()) if n > 1 else math.nan
    return Reading(
        channel,
        float(values.mean()) if n else math.nan,
        float(values.std(ddof=1)) if n > 1 else math.nan,
        n,
        span_s,
        drift,
        (
            *line_reasons(seen),
            *_channel_reasons(seen, channel, trace),
            *(_lone(channel, values) if lone else ()),
        ),
    )


def line_reasons(seen: Capture) -> tuple[Reason, ...]:
    """What the line says against a recorded stretch, whatever it measures."""
    lost = sum(gap.missing for gap in seen.gaps) + seen.damaged
    found = []
    if lost:
        text = f"{lost} frames lost or damaged on the line: check cable and shield"
        found.append(Reason("lost_frames", text, float(lost), 0.0))
    return (*found, *clock_reasons(seen))


def clock_reasons(seen: Capture) -> tuple[Reason, ...]:
    """Why a recorded stretch is not one stretch of the board's time."""
    found = []
    if seen.resets:
        found.append(Reason("restarted", "the board restarted while it was recorded"))
    if any(told.cut for told in seen.traces.values()):
        text = "the board's time ran back while it was recorded: check the board"
        found.append(Reason("time_ran_back", text))
    return tuple(found)


def load_reasons(seen: Capture) -> tuple[Reason, ...]:
    """What the bridge converter says against a recorded stretch."""
    codes = {e.value for e in seen.events if e.code is Event.LOAD}
    faults = {fault for fault in LoadFault if fault and fault in codes}
    words = {
        LoadFault.MISSING: ("load_missing", "no readings from the load cell's converter: check its "
                            "plug and supply"),
        LoadFault.STUCK: ("load_stuck", "the load cell's converter does not answer as it should: "
                          "check its data and clock wires"),
        LoadFault.LATE: ("load_late", "the board read the load cell's converter too late"),
    }  # fmt: skip
    found = [Reason(*words[fault]) for fault in sorted(faults)]
    if len(seen[Kind.LOAD].values) == 0 and LoadFault.MISSING not in faults:
        found.append(Reason(*words[LoadFault.MISSING]))
    saturated = int(np.isin(seen[Kind.LOAD].values, LOAD_LIMITS).sum())
    if saturated:
        text = "the load cell is at its limit or unplugged: its converter is saturated"
        found.append(Reason("saturated", text, float(saturated), 0.0))
    return tuple(found)


def _channel_reasons(seen: Capture, channel: str, trace: Trace) -> Sequence[Reason]:
    found = [*load_reasons(seen)] if channel == "load" else []
    if len(trace.values) < LEAST_SAMPLES and not found:
        text = f"only {len(trace.values)} samples of the {channel} channel came"
        found.append(Reason("too_few_samples", text, float(len(trace.values)), LEAST_SAMPLES))
    if channel == "height" and len(trace.values) and np.ptp(trace.values) > HEIGHT_STILL:
        text = "the carriage moved while its height was read"
        found.append(Reason("not_still", text, float(np.ptp(trace.values)), HEIGHT_STILL, "count"))
    return found


def _lone(channel: str, values: NDArray[np.float64]) -> Sequence[Reason]:
    """Values at rest that by themselves move the mean by more than its own uncertainty."""
    if channel == "height" or len(values) < LEAST_SAMPLES:
        return []
    away = np.abs(values - np.median(values))
    scatter = max(1.0, NORMAL * float(np.median(away)))
    # Half the scatter of a mean of n values, alike in fours: what one value may add to it.
    most = 2 * LONE_SHARE * scatter * math.sqrt(len(values))
    far = int((away > max(most, LEAST_FAR * scatter)).sum())
    if not far:
        return []
    text = f"{far} readings of the {channel} stood far from all others: check its wires"
    return [Reason(f"{channel}_spike", text, float(far), 0.0)]


def told(reasons: Sequence[Mapping[str, Any]]) -> str:
    """Reasons as stored, in one line."""
    return "; ".join(str(reason["text"]) for reason in reasons)
