"""Motion of carriage, wire and drum: linear between changes of mode, stepped exactly.

State: carriage height `x` and speed `v`, drum position `y` and speed `w` (both in metres of
wire). The wire is a spring and dashpot that can only pull; the strike is a spring and dashpot
that can only push. Friction and gravity are constant over a step; air drag is taken at the
middle of it, which leaves an error of second order in a force that is itself below one percent.
"""

from collections.abc import Callable
from enum import Enum, auto
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from rig.virtual.tower.linear_steps import LEVELS, STEPS_S, Rung, ladder
from rig.virtual.tower.parameters import TowerTruth

FREE_LEVEL = 0  # 1 ms
BRISK_LEVEL = 4  # 62 us while the wire rings after a jolt
CONTACT_LEVEL = 6  # 16 us
BRISK_S = 0.02
SETTLED_M = 1e-8
SETTLED_M_PER_S = 1e-5


class Support(Enum):
    """What carries the carriage."""

    FREE = auto()
    CONTACT = auto()
    HOOK = auto()
    CATCH = auto()
    SURFACE = auto()
    HAND = auto()


class Happening(Enum):
    """Why a step ended early."""

    TOUCH = auto()
    LEAVE = auto()
    APEX = auto()


class Segment(NamedTuple):
    """One step's ends: time, carriage height and speed, drum position and speed."""

    t0: float
    t1: float
    x0: float
    v0: float
    x1: float
    v1: float
    y0: float
    w0: float
    y1: float
    w1: float

    def carriage(self, t: float) -> float:
        """Carriage height at `t` (cubic through both ends)."""
        return _hermite(t - self.t0, self.t1 - self.t0, self.x0, self.v0, self.x1, self.v1)

    def drum(self, t: float) -> float:
        """Drum position at `t` (cubic through both ends)."""
        return _hermite(t - self.t0, self.t1 - self.t0, self.y0, self.w0, self.y1, self.w1)

    def speed(self, t: float) -> float:
        """Carriage speed at `t` (straight line between both ends)."""
        return self.v0 + (self.v1 - self.v0) * (t - self.t0) / (self.t1 - self.t0)


def _hermite(s: float, h: float, p0: float, m0: float, p1: float, m1: float) -> float:
    u = s / h
    rest = p1 - p0 - m0 * h
    bend = (m1 - m0) * h
    return p0 + m0 * s + u * u * (3 * rest - bend + u * (bend - 2 * rest))


Path = Callable[[float], tuple[float, float]]
State = tuple[float, float, float, float]
_HELD = (Support.HOOK, Support.CATCH, Support.SURFACE)


class Dynamics:
    """The moving parts. `step` moves them on; the tower decides what each happening means.

    `finer` halves every step that many times, for the convergence test.
    """

    def __init__(self, truth: TowerTruth, x: float, finer: int = 0) -> None:
        self.truth = truth
        self.t = 0.0
        self.x, self.v = x, 0.0
        self.y, self.w = truth.hanging_drum_m(x), 0.0
        self.support = Support.SURFACE
        self.surface = x
        self.taut = True
        self.trail: list[Segment] = []
        friction = truth.friction_n / truth.mass_kg
        self._falling_push = friction - truth.gravity
        self._rising_push = -friction - truth.gravity
        self._finer = finer
        self._brisk_until = 0.0
        self._rising = False
        self._contact = (0.0, 0.0)
        self._path: Path | None = None
        self._ladders: dict[tuple[bool, Support], list[Rung]] = {}

    @property
    def settled(self) -> bool:
        """True when nothing moves and nothing will by itself."""
        return self.support in _HELD and self.taut and self.w == 0.0

    def hold(self, support: Support, x: float | None = None) -> None:
        """Stop the carriage, here or at `x`; the drum may ring on."""
        self.support, self.v = support, 0.0
        self.x = self.x if x is None else x
        self._brisk_until = self.t + BRISK_S
        self._calm_down()

    def set_down(self, support: Support, x: float) -> None:
        """Leave the carriage at `x` by hand, the wire at peace."""
        self.support, self.taut = support, True
        self.x, self.v = x, 0.0
        self.y, self.w = self.truth.hanging_drum_m(x), 0.0

    def free(self) -> None:
        """Let go of the carriage."""
        if self.support is Support.CONTACT:
            self._brisk_until = self.t + BRISK_S
        self.support = Support.FREE

    def touch(self, spring: float, dashpot: float) -> None:
        """Begin a contact with these constants (N/m, N.s/m)."""
        self.support = Support.CONTACT
        self._contact = spring, dashpot
        for taut in (True, False):
            self._ladders.pop((taut, Support.CONTACT), None)

    def grip(self, path: Path) -> None:
        """A hand carries the carriage along `path(t) -> (height, speed)`."""
        self.support, self._path, self.taut = Support.HAND, path, True

    def step(self, limit: float) -> Happening | None:
        """One step, not beyond `limit`, ended early by the first happening inside it."""
        if self.support is Support.HAND:
            self._carried(limit)
            return None
        level = self._level(limit)
        if level >= LEVELS or self.settled:
            self.t = limit
            return None
        rungs = self._rungs()
        start = self.t, self.x, self.v, self.y, self.w
        self._rising = self.v > 0
        self._accept(level, rungs)
        happening = None
        if self._crossed():
            self.t, self.x, self.v, self.y, self.w = start
            self._descend(level, rungs)
            happening = self._turn_over()
        self._record(*start)
        self._calm_down()
        return happening

    def wire_n(self) -> float:
        """What the wire would pull with; negative when it would have to push."""
        truth = self.truth
        return truth.wire_n_per_m * (self.x - self.y) + truth.wire_ns_per_m * (self.v - self.w)

    def contact_n(self) -> float:
        """What the specimen would push with; negative when it would have to pull."""
        spring, dashpot = self._contact
        return spring * (self.surface - self.x) - dashpot * self.v

    def _level(self, limit: float) -> int:
        if self.support is Support.CONTACT:
            level = CONTACT_LEVEL
        elif self.t < self._brisk_until or not self.taut:
            level = BRISK_LEVEL
        else:
            level = FREE_LEVEL
        level += self._finer
        left = limit - self.t
        while level < LEVELS and STEPS_S[level] > left:
            level += 1
        return level

    def _rungs(self) -> list[Rung]:
        kind = Support.HOOK if self.support in _HELD else self.support
        rungs = self._ladders.get((self.taut, kind))
        if rungs is None:
            rungs = self._ladders[self.taut, kind] = ladder(self._system(kind))
        return rungs

    def _system(self, kind: Support) -> npt.NDArray[np.float64]:
        """`z' = A z` with `z = (x, v, y, w, push, 1)` in the present mode."""
        truth = self.truth
        a = np.zeros((6, 6))
        a[2, 3] = 1.0
        a[3] = [0, 0, -truth.spring_n_per_m, 0, 0, -truth.spring_n]
        pull = np.zeros(6)
        if self.taut:
            k, c = truth.wire_n_per_m, truth.wire_ns_per_m
            pull[:4] = [k, c, -k, -c]
        a[3] = (a[3] + pull) / truth.drum_kg
        if kind is Support.HOOK:
            return a
        a[0, 1] = 1.0
        a[1] = -pull / truth.mass_kg
        a[1, 4] = 1.0
        if kind is Support.CONTACT:
            spring, dashpot = (value / truth.mass_kg for value in self._contact)
            a[1] += [-spring, -dashpot, 0, 0, 0, spring * self.surface]
        return a

    def _accept(self, level: int, rungs: list[Rung]) -> None:
        (
            xx, xv, xy, xw, xp, x1, vx, vv, vy, vw, vp, v1,
            yx, yv, yy, yw, yp, y1, wx, wv, wy, ww, wp, w1,
        ) = rungs[level]  # fmt: skip
        x, v, y, w = self.x, self.v, self.y, self.w
        push = self._push(STEPS_S[level])
        self.x = x + (xx * x + xv * v + xy * y + xw * w + xp * push + x1)
        self.v = v + (vx * x + vv * v + vy * y + vw * w + vp * push + v1)
        self.y = y + (yx * x + yv * v + yy * y + yw * w + yp * push + y1)
        self.w = w + (wx * x + wv * v + wy * y + ww * w + wp * push + w1)
        self.t += STEPS_S[level]

    def _push(self, step_s: float) -> float:
        """Gravity, friction and drag as an acceleration, constant over the step."""
        truth, v = self.truth, self.v
        push = self._falling_push if v <= 0 else self._rising_push
        if self.support is Support.FREE:
            pull = self.wire_n() / truth.mass_kg if self.taut else 0.0
            v += (push - pull) * step_s / 2
        return push - truth.drag_kg_per_m * v * abs(v) / truth.mass_kg

    def _crossed(self) -> bool:
        """Did the last step run past a change of mode?"""
        if self._wire_changes():
            return True
        if self.support is Support.FREE:
            return self.v < 0 and (self._rising or self.x < self.surface)
        return self.support is Support.CONTACT and self.contact_n() < 0

    def _wire_changes(self) -> bool:
        if self.taut:
            return self.wire_n() < 0
        return self.x > self.y and self.wire_n() > 0

    def _descend(self, level: int, rungs: list[Rung]) -> None:
        """Go on to the change of mode, a nanosecond past it at most."""
        for finer in range(level + 1, LEVELS):
            kept = self.t, self.x, self.v, self.y, self.w
            self._accept(finer, rungs)
            if self._crossed():
                self.t, self.x, self.v, self.y, self.w = kept
        self._accept(LEVELS - 1, rungs)

    def _turn_over(self) -> Happening | None:
        if self._wire_changes():
            self.taut = not self.taut
        if self.support is Support.CONTACT and self.contact_n() < 0:
            return Happening.LEAVE
        if self.support is Support.FREE and self.v < 0:
            if self._rising:
                self.v = 0.0
                return Happening.APEX
            if self.x < self.surface:
                return Happening.TOUCH
        return None

    def _carried(self, limit: float) -> None:
        if self._path is None:
            raise RuntimeError("nobody holds the carriage")
        start = self.t, self.x, self.v, self.y, self.w
        self.t = min(self.t + STEPS_S[FREE_LEVEL], limit)
        self.x, self.v = self._path(self.t)
        self.y, self.w = self.truth.hanging_drum_m(self.x), self.v
        self._record(*start)

    def _record(self, t: float, x: float, v: float, y: float, w: float) -> None:
        if self.t > t:
            self.trail.append(Segment(t, self.t, x, v, self.x, self.v, y, w, self.y, self.w))

    def _calm_down(self) -> None:
        """Stop a ringing drum once what is left of it can no longer matter.

        It stays where it is, so that the encoder sees no jump.
        """
        if self.support not in _HELD or not self.taut or abs(self.w) > SETTLED_M_PER_S:
            return
        if abs(self.y - self.truth.hanging_drum_m(self.x)) < SETTLED_M:
            self.w = 0.0
