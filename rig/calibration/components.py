"""What calibration readings scatter by about their curve, taken apart.

Each part is the standard deviation that one later reading has for that reason:

- interpolation: means of each known value about the curve (one value is one degree of freedom,
  however often it was read: the cell's shape repeats itself);
- hysteresis: half the distance between readings taken rising and falling, root mean square;
- repeatability: the same value read again in the same sense;
- zero return: how far from its place the zero came back, rectangular;
- change of side: how far the zero moved by the first pull to a side after the other one (the
  cell remembers): a trial may begin in either state, rectangular;
- noise: one sample of the converter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rig.calibration.curve import Array, Curve
from rig.measure.budget import Input


@dataclass(frozen=True)
class Readings:
    """Readings against known values, shapes (n,).

    Attributes:
        x, y: reading and known value.
        level: names the known value (readings of one level were of the same thing).
        rising: 1 when the value was reached from below (in size), 0 from above.
        zero_return: zero after each run less that before, in units of x.
        zero_change: zero before the first run less that before the first pull to its side, in
            units of x.
        noise: standard deviation of one sample, in units of x.
    """

    x: Array
    y: Array
    level: Array
    rising: Array
    zero_return: Array
    zero_change: Array
    noise: float


@dataclass(frozen=True)
class Part:
    """One component: standard uncertainty in the unit of y, degrees of freedom, and its source."""

    name: str
    u: float
    dof: float
    source: str

    def as_input(self, unit: str) -> Input:
        """A shift near zero, for a budget."""
        return Input(self.name, 0.0, self.u, self.dof, self.source, unit)


def taken_apart(of: Readings, curve: Curve) -> tuple[Part, ...]:
    """The parts of one set of readings about its curve."""
    left = of.y - curve.value(of.x)
    slope = _slope(of, curve)
    levels = np.unique(of.level)
    means = np.array([left[of.level == level].mean() for level in levels])
    dof = max(len(levels) - len(curve.powers), 1)
    about = math.sqrt(float(np.sum(means**2)) / dof)
    found = [
        Part("interpolation", about * math.sqrt(1 + len(curve.powers) / len(levels)), float(dof),
             f"means of {len(levels)} known values about the curve, and the curve itself"),
        Part("hysteresis", _hysteresis(of, left, levels), math.inf,
             "half the distance of readings rising and falling"),
        _repeatability(of, left),
    ]  # fmt: skip
    for name, moved, source in (
        ("zero_return", of.zero_return, "zero after each run less that before"),
        ("change_of_side", of.zero_change, "zero moved by the first pull to the other side"),
    ):
        if len(moved):
            u = math.sqrt(float(np.mean(moved**2)) / 3) * slope
            found.append(Part(name, u, math.inf, source))
    found.append(Part("noise", of.noise * slope, math.inf, "one sample of the converter"))
    return tuple(found)


def _slope(of: Readings, curve: Curve) -> float:
    ends = np.array([np.min(of.x), np.max(of.x)])
    low, high = curve.value(ends)
    return abs(float(high - low)) / max(float(ends[1] - ends[0]), 1.0)


def _hysteresis(of: Readings, left: Array, levels: Array) -> float:
    halves = []
    for level in levels:
        here = of.level == level
        up, down = left[here & (of.rising > 0)], left[here & (of.rising == 0)]
        if len(up) and len(down):
            halves.append((up.mean() - down.mean()) / 2)
    return math.sqrt(float(np.mean(np.square(halves)))) if halves else 0.0


def _repeatability(of: Readings, left: Array) -> Part:
    total, dof = 0.0, 0
    for level, rising in {*zip(of.level.tolist(), of.rising.tolist(), strict=True)}:
        same = left[(of.level == level) & (of.rising == rising)]
        total += float(np.sum((same - same.mean()) ** 2))
        dof += len(same) - 1
    u = math.sqrt(total / dof) if dof else 0.0
    return Part("repeatability", u, float(max(dof, 1)), "the same value read again, the same way")


def pooled(sides: Sequence[tuple[Part, ...]]) -> tuple[Part, ...]:
    """Parts of several sides of one instrument as one: mean square, degrees of freedom added."""
    return tuple(
        replace(
            same[0],
            u=math.sqrt(sum(p.u**2 for p in same) / len(same)),
            dof=sum(p.dof for p in same),
        )
        for same in zip(*sides, strict=True)
    )


def together(parts: Sequence[Part]) -> float:
    """Standard uncertainty of all parts."""
    return math.sqrt(sum(part.u**2 for part in parts))
