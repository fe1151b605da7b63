"""What a tip went through: its fall (snap or slip), and the break in time.

**Fall.** A code is the mean of four conversion periods, so torque that is lost in an instant is
lost over four to five codes. "Half of the peak within two samples" of the torque itself is
therefore asked of the codes as half within 2 + 4 = 6. When a person lets the arm back as fast, it
turns back; when the tip gives way, the arm runs on or stands. So a fall counts only when the arm
did not turn back with it.

**Slip or snap.** After a fall of any size (5 % on) the torque may rise again at the stiffness it
had: the tip holds again; it has cracked a little, or something slipped, and its angle is no longer
the tip's alone. Without that, half of the peak lost is a snap.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from rig.measure.arm.motion import SETTLING, Array, Motion, Turning

WITHIN = 2 + SETTLING  # samples
SNAP_SHARE = 0.5  # of the peak
FALL_SHARE = 0.05
TURNED_BACK_RAD = math.radians(0.1)  # ten times the noise of a mean angle
TURNED_BACK_SHARE = 0.25  # of what would have let the torque go
ABOVE_PRELOAD = 4.0  # below so many pre-loads wood only settles
AGAIN_SHARE = 0.5  # of what was lost
SAME_STIFFNESS = (0.4, 2.5)  # rising again, over rising before
AT_STOP_RAD = math.radians(1.0)
JUMP_RAD = math.radians(0.1)
SUM_S = 8e-3


@dataclass(frozen=True)
class Fall:
    """A loss of torque in which the arm did not turn back.

    Attributes:
        top: index of the last sample before it.
        bottom: index of the lowest sample after it.
        share: of the torque at `top` that was lost.
        again: it rose again as stiff as before.
        before: the fall before this one from which it rose again; None without one.
    """

    top: int
    bottom: int
    share: float
    again: bool
    before: "Fall | None" = None

    @property
    def snap(self) -> bool:
        """It broke."""
        return self.share >= SNAP_SHARE and not self.again


def find_fall(
    made: Motion, preload_nm: float, stop_rad: float, through: bool = False
) -> Fall | None:
    """The first fall, or a snap that a partial fall began; None without one.

    Args:
        made: the motion.
        preload_nm, stop_rad: of the bench.
        through: a snap counts though the torque had fallen and risen again before it: what it was
            loaded by by then it has carried, whatever gave way a little.
    """
    first = None
    at = 0
    while (found := _next_fall(made, at, preload_nm, stop_rad)) is not None:
        first = first or found
        if found.snap and through and first.again:
            return replace(found, before=first)
        if found.snap or (first.again and not through):
            return found if found.snap and not first.again else first
        at = found.bottom
    return first


def _next_fall(made: Motion, after: int, preload_nm: float, stop_rad: float) -> Fall | None:
    net = made.net_nm
    for i in range(after, len(net) - 1):
        if net[i] < ABOVE_PRELOAD * preload_nm:
            continue
        ahead = slice(i + 1, i + 1 + WITHIN)
        low = i + 1 + int(np.argmin(net[ahead]))
        # Tremor and the arm's inertia alone can take a part of a pre-load.
        least = max(FALL_SHARE * net[i], preload_nm)
        if net[i] - net[low] < least or _let_back(made, i, low, preload_nm):
            continue
        top = _last_high(made, i, low)
        bottom = top + int(np.argmin(net[top : top + 1 + WITHIN]))
        share = float(1 - net[bottom] / net[top])
        return Fall(top, bottom, share, _rises_again(made, top, bottom, stop_rad))
    return None


def _last_high(made: Motion, first: int, low: int) -> int:
    """The last sample of a stretch that is still about as high as its highest."""
    part = made.net_nm[first : low + 1]
    return first + int(np.flatnonzero(part >= (1 - FALL_SHARE / 2) * part.max())[-1])


def _let_back(made: Motion, high: int, low: int, preload_nm: float) -> bool:
    """Did the arm turn back, so that the torque had to fall?"""
    net, angle = made.net_nm, made.angle_rad
    back = angle[high] - angle[low]
    begun = int(np.argmax(net >= preload_nm))
    compliance = abs(angle[high] - angle[begun]) / net[high]
    would = TURNED_BACK_SHARE * (net[high] - net[low]) * compliance
    return bool(back > min(TURNED_BACK_RAD, would))


def _rises_again(made: Motion, top: int, bottom: int, stop_rad: float) -> bool:
    net, angle = made.net_nm, made.angle_rad
    free = np.flatnonzero(angle[bottom:] >= stop_rad - AT_STOP_RAD)
    end = bottom + (int(free[0]) if free.size else len(net) - bottom)
    if end - bottom < WITHIN:
        return False
    best = bottom + int(np.argmax(net[bottom:end]))
    rise, turned = net[best] - net[bottom], angle[best] - angle[bottom]
    if rise < AGAIN_SHARE * (net[top] - net[bottom]) or turned <= 0:
        return False
    half = bottom + int(np.argmax(net[bottom : best + 1] >= net[bottom] + rise / 2))
    again = (net[half] - net[bottom]) / max(angle[half] - angle[bottom], 1e-9)
    before = _slope(made, top)
    return bool(before > 0 and SAME_STIFFNESS[0] <= again / before <= SAME_STIFFNESS[1])


def _slope(made: Motion, top: int) -> float:
    """Slope of the rise to a sample, over its upper half."""
    net, angle = made.net_nm[: top + 1], made.angle_rad[: top + 1]
    begun = int(np.flatnonzero(net <= net[top] / 2)[-1]) if (net <= net[top] / 2).any() else 0
    return float((net[top] - net[begun]) / max(angle[top] - angle[begun], 1e-9))


@dataclass(frozen=True)
class Break:
    """The instant a tip gave way: within `half_s` of `at_s`, evenly.

    `by` says what told it: the arm's jump, or the converter's samples alone.
    """

    at_s: float
    half_s: float
    by: str


def find_break(made: Motion, fall: Fall, softens: bool = False) -> Break:
    """When it gave way.

    Args:
        made: the motion.
        fall: found in it.
        softens: the torque may have been falling before.

    The arm, set free, jumps: with a steady acceleration at first, its mean angle over a sum grows
    with the cube of the time since; the ratio of two sums after the break tells that time whatever
    the acceleration. Without a clear jump only the sample before the fall and its successor bound
    the instant.
    """
    first = max(0, fall.top - WITHIN)
    highest = first + int(np.argmax(made.net_nm[first : fall.top + 1]))
    if softens and highest < fall.top - 1:
        highest = _last_of_trend(made.net_nm, highest, fall)
    last = float(made.at_s[highest])
    plain = Break(last + made.period_s / 2, made.period_s / 2, "samples of the load cell")
    jumped = jump_s(made.turning, last, made.period_s)
    if jumped is None or abs(jumped + SLOWED_S - plain.at_s) > 1.5 * made.period_s:
        return plain
    return Break(jumped + SLOWED_S, JUMP_HALF_S, "the arm's jump")


TREND = 8  # samples, 100 ms, that a falling torque is carried on from
LEAST_LOSS = 0.01  # of the torque: a step below its trend that is a break and no scatter


def _last_of_trend(net: Array, highest: int, fall: Fall) -> int:
    """The last sample of a torque that fell already before it broke: where its trend ends."""
    for i in range(max(highest + 1, TREND), fall.bottom + 1):
        at = np.arange(i - TREND, i)
        slope, level = np.polyfit(at - i, net[at], 1)
        rest = net[at] - level - slope * (at - i)
        least = max(LEAST_LOSS * level, 5 * float(np.std(rest)))
        if level - net[i] > least:
            return i - 1
    return fall.top


# The hand's own spring and damping slow the arm within milliseconds, which looks like more time
# since the break: by up to 4 ms (tests/measure/pry/test_break.py integrates them).
SLOWED_S, JUMP_HALF_S = 2.0e-3, 2.5e-3
CLEAR_S = 14e-3  # a jump too weak to be seen by then tells its beginning no more
_SINCE_S = np.linspace(0.5e-3, 2 * SUM_S, 200)


def jump_s(turning: Turning, last_s: float, period_s: float) -> float | None:
    """When the arm began to jump, as if nothing had slowed it; None without a clear jump.

    Args:
        turning: the arm's angle.
        last_s: data-ready of the last whole sample before the fall.
        period_s: of the converter.
    """
    before = turning.before(last_s - 3 * period_s)
    near = np.flatnonzero(
        (turning.at_s > last_s - 3 * period_s) & (turning.at_s < last_s + 4 * period_s)
    )
    off = turning.rad[near] - before.at(turning.at_s[near])
    over = np.flatnonzero(off > JUMP_RAD)
    if not over.size or over[0] + 1 >= len(near):
        return None
    first = int(over[0])
    ratio = off[first + 1] / off[first]
    since = float(np.interp(-ratio, -_ratios(_SINCE_S), _SINCE_S))
    if since > CLEAR_S:
        return None
    return float(turning.at_s[near[first]]) + SUM_S / 2 - since


def _ratios(since_s: Array) -> Array:
    """Mean of the next sum over that of this one, by the time from the break to this one's end."""
    now = since_s**3 - np.maximum(since_s - SUM_S, 0.0) ** 3
    return np.asarray(((since_s + SUM_S) ** 3 - since_s**3) / now)
