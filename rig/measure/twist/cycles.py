"""Cycles of an arm that is turned to and fro: turning points, borders, loops.

A cycle runs from one rise of the angle through its place of rest to the next: out to the first
side, through to the other, and back. Turning points are told by their size: a wobble smaller than
half of the amplitude is none.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rig.measure.arm.motion import SETTLING, STEADY_RAD_S, Array, Motion, accelerations
from rig.measure.arm.scatter import inflation, smooth
from rig.measure.arm.scatter import slope as slope_of

TURN_SHARE = 0.5  # of the amplitude
UPPER_SHARE = 0.8  # of the turn: the straight end of the way out
STILL_RAD = math.radians(0.1)
LEAST_OUT = 6  # samples on it
REST_SHARE = 0.05  # of the amplitude: before the arm leaves this, it rests
# What a hand's tremor at the turn adds to a largest torque, of the scatter on the way out (from
# virtual jigs; no source).
CREST_SHARE = 0.2


@dataclass(frozen=True)
class Cycle:
    """One cycle; indices are of the motion's samples.

    Attributes:
        begin, end: where the angle passes its place of rest (between `begin` and `begin` + 1).
        right_rad, left_rad: how far it was turned to either side, positive.
        right, left: largest torque to either side, positive.
        work_j: integral of torque over angle.
        taking_hold_j: what the hand's first pull on a resting arm may put wrong in `work_j`.
        seconds: how long it took, in the board's seconds.
        travel_rad: way of the arm.
    """

    begin: int
    end: int
    right_rad: float
    left_rad: float
    right: "Top"
    left: "Top"
    work_j: float
    taking_hold_j: float
    seconds: float
    travel_rad: float

    @property
    def largest_nm(self) -> float:
        """Of both sides."""
        return max(self.right.torque_nm, self.left.torque_nm)

    @property
    def mean_nm(self) -> float:
        """Of both sides."""
        return (self.right.torque_nm + self.left.torque_nm) / 2


@dataclass(frozen=True)
class Top:
    """A largest torque.

    Attributes:
        torque_nm: the value.
        u_nm: standard uncertainty from the line carried on to the turning point, and of a tremor
            there.
        scatter_nm: of single samples about that line.
        slow_share: of the samples, those so slow that the bearing's friction has no clear sign.
        acceleration_rad_s2: the largest of the samples, without sign.
    """

    torque_nm: float
    u_nm: float
    scatter_nm: float
    slow_share: float
    acceleration_rad_s2: float


def find_cycles(made: Motion, amplitude_rad: float) -> tuple[Cycle, ...]:
    """All whole cycles of a motion that starts at rest."""
    rest = resting_angle(made, amplitude_rad)
    way = made.angle_rad - rest
    turns = _turns(smooth(way), TURN_SHARE * amplitude_rad)
    sides = [1 if way[turn] > 0 else -1 for turn in turns]
    pairs = len(turns) // 2
    if pairs == 0 or any(a == b for a, b in pairwise(sides)):
        return ()
    borders = [_border(way * sides[0], 0 if n == 0 else turns[2 * n - 1], turns[2 * n])
               for n in range(pairs)]  # fmt: skip
    borders.append(_last_border(way, turns[2 * pairs - 1]))
    return tuple(_cycle(made, way, borders[n], borders[n + 1]) for n in range(pairs))


def resting_angle(made: Motion, amplitude_rad: float) -> float:
    """Mean angle before the arm is turned."""
    moved = np.abs(made.angle_rad - made.angle_rad[0]) > REST_SHARE * amplitude_rad
    still = int(np.argmax(moved)) if moved.any() else len(made.angle_rad)
    return float(np.median(made.angle_rad[: max(1, still // 2)]))


def _turns(way: Array, least: float) -> list[int]:
    """Turning points at least `least` from rest, each after a change of side."""
    turns: list[int] = []
    best, side = -1, 0
    for i, here in enumerate(way):
        if abs(here) < least:
            continue
        now = 1 if here > 0 else -1
        if now != side:
            if best >= 0:
                turns.append(best)
            best, side = i, now
        elif abs(here) > abs(way[best]):
            best = i
    return [*turns, best] if best >= 0 else turns


def _border(way: Array, after: int, before: int) -> int:
    """Last sample at or below rest before a turn to the first side (positive)."""
    below = np.flatnonzero(way[after : before + 1] <= 0)
    return after + (int(below[-1]) if below.size else 0)


def _last_border(way: Array, turn: int) -> int:
    """Where the angle comes back to rest after the last turn, or nearest to it."""
    back = way[turn:] * np.sign(way[turn])
    crossed = np.flatnonzero(back <= 0)
    at = turn + (int(crossed[0]) - 1 if crossed.size else int(np.argmin(back)))
    return min(at, len(way) - 2)


def _cycle(made: Motion, way: Array, begin: int, end: int) -> Cycle:
    own = slice(begin, end + 2)
    angle, net = way[own], made.net_nm[own]
    moved = _Moved(made, own)
    return Cycle(
        begin, end, float(angle.max()), float(-angle.min()),
        _top(angle, net, moved), _top(-angle, -net, moved),
        loop_j(way, made.net_nm, begin, end), _taking_hold_j(made, begin),
        float(made.at_s[end] - made.at_s[begin]),
        float(np.sum(np.abs(np.diff(smooth(angle))))),
    )  # fmt: skip


class _Moved:
    """How the arm moved over the samples of a cycle."""

    def __init__(self, made: Motion, own: slice) -> None:
        self._slow = np.abs(made.rate_rad_s()[own]) < 2 * STEADY_RAD_S
        self._fast = np.abs(accelerations(made.at_s, made.angle_rad)[own])

    def over(self, use: NDArray[np.intp]) -> tuple[float, float]:
        """Share of slow samples, largest acceleration."""
        return float(self._slow[use].mean()), float(self._fast[use].max())


def _top(way: Array, net: Array, moved: _Moved) -> Top:
    """Largest torque on the positive side.

    Where the arm turns back, friction of the wood lets go within a fraction of a degree, and a mean
    of four periods over that corner reads low. So the way out is carried on to the turning point as
    a straight line; unless a sample was clearly higher (something broke on the way).
    """
    turn = int(np.argmax(way))
    before = np.arange(max(0, turn - SETTLING // 2 + 1))
    out = before[way[before] >= UPPER_SHARE * way[turn]]
    out = out[out > (np.flatnonzero(way[:turn] <= 0)[-1] if (way[:turn] <= 0).any() else -1)]
    highest = float(smooth(net).max())
    if len(out) < LEAST_OUT:
        near = np.arange(max(0, turn - 3), min(len(net), turn + 4))
        scatter = float(np.std(net[near]))
        return Top(highest, scatter, scatter, *moved.over(near))
    x = way[out] - way[turn]
    slope = slope_of(x, net[out])
    level = float(net[out].mean()) - slope * float(x.mean())
    rest = net[out] - level - slope * x
    scatter = float(np.sqrt(rest @ rest / (len(out) - 2)))
    square = max(float(np.sum((x - x.mean()) ** 2)), 1e-12)
    u = scatter * float(np.sqrt(inflation(rest) * (1 / len(out) + x.mean() ** 2 / square)))
    u = math.hypot(u, CREST_SHARE * scatter)
    return Top(max(float(level), highest), u, scatter, *moved.over(out))


def _taking_hold_j(made: Motion, begin: int) -> float:
    """The torque step as the hand takes hold, times the way within the filter's window.

    The step is no torque of the edge over an angle; the converter's mean spreads it over one.
    """
    around = slice(max(0, begin - SETTLING), begin + SETTLING + 1)
    rested = slice(max(0, begin - 4 * SETTLING), max(1, begin - SETTLING))
    if np.ptp(made.angle_rad[rested]) > STILL_RAD:
        return 0.0  # it came through, no hand took hold
    step, way = np.ptp(made.net_nm[around]), np.ptp(made.angle_rad[around])
    return float(step * way)


def loop_j(way: Array, net: Array, begin: int, end: int) -> float:
    """Integral of torque over angle from one passage of rest to another.

    Both ends are put in where the angle is zero, between two samples each.
    """
    first, last = _at_rest(way, net, begin), _at_rest(way, net, end)
    angle = np.concatenate(([first[0]], way[begin + 1 : end + 1], [last[0]]))
    torque = np.concatenate(([first[1]], net[begin + 1 : end + 1], [last[1]]))
    return float(np.trapezoid(torque, angle))


def _at_rest(way: Array, net: Array, at: int) -> tuple[float, float]:
    low, high = float(way[at]), float(way[at + 1])
    part = -low / (high - low) if high != low else 0.0
    part = min(max(part, 0.0), 1.0)
    return low + part * (high - low), float(net[at] + part * (net[at + 1] - net[at]))
