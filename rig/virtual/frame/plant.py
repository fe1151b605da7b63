"""The cutting frame as physics: carriage, switches, motor, strip and edge; nothing of bytes.

Strokes by hand are planned and begun one after the other, so that each meets the edge as the one
before has left it. The motor turns its crank while it has power, and runs on a little without.
"""

import heapq
import math
import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from rig.virtual.frame.path import STEP_S, Floats, Way, by_hand, crank, cutting
from rig.virtual.frame.switch import FAULTS as SWITCH_FAULTS
from rig.virtual.frame.switch import Switches
from rig.virtual.frame.wear import CuttingEdge, harshness
from rig.virtual.tower.plant import Edge

KEPT_S = 3.0  # of the past, for a converter's filter
SPIN_S, COAST_S = 0.05, 0.12

FAULTS = {
    **SWITCH_FAULTS,
    "drive_stalls": "the crank is blocked: the motor hums and does not turn",
}


@dataclass(frozen=True)
class FrameTruth:
    """The frame as it truly is.

    Attributes:
        length_m: the carriage's way.
        near_m, far_m: how far from either end its switch closes.
        zone_m: places between which the edge goes through the strip.
        turn_s: of the motor's crank.
        capacity_n, sensitivity: of the load cell, the latter in V/V at capacity.
        zero: output of the unloaded cell, V/V.
    """

    length_m: float = 0.150
    near_m: float = 0.003
    far_m: float = 0.003
    zone_m: tuple[float, float] = (0.023, 0.069)
    turn_s: float = 3.0
    bounce_s: float = 5e-3
    capacity_n: float = 200.0
    sensitivity: float = 2e-3
    zero: float = 3e-5


@dataclass(frozen=True)
class Draw:
    """One motion of a hand: places in shares of the whole way, and how long it takes."""

    turns: tuple[float, ...] = (0.0, 1.0, 0.0)
    lasts_s: float = 1.6
    pause_s: float = 0.3


class CuttingFrame:
    """One frame.

    Attributes:
        nature: the true values.
        now_s: plant time, seconds.
        edge: the blade in the clamp; None: none.
        strokes: full strokes truly made, home to the end and back.
        passes: of the edge through the strip, whole strokes or not.
        plan: another object whenever what the cell will feel has changed.
    """

    def __init__(self, truth: FrameTruth | None = None, seed: int = 0) -> None:
        self.nature = truth or FrameTruth()
        self.now_s = 0.0
        self.edge: CuttingEdge | None = None
        self.strokes = self.passes = 0
        self.plan = object()
        self._harshness = 1.0
        self._seed = seed
        self._rng = random.Random(seed)
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._entries = 0
        self._switches = Switches(self.nature.bounce_s, self._rng)
        self._ways: deque[Way] = deque()
        self._plan: deque[Draw] = deque()
        self._place_m = 0.0
        self._run = 0  # entries of a way that was broken off are void
        self._busy = False
        self._out = False  # the end was reached since home was left
        self._command, self._loop, self._powered = False, True, False
        self._phase, self._began_s, self._stalled = 0.0, 0.0, False

    # -- time

    @property
    def quiet_until_s(self) -> float:
        """Until then no switch changes by itself."""
        due = self._agenda[0][0] if self._agenda else float("inf")
        return min(due, self._switches.next_s)

    def advance(self, until_s: float) -> None:
        """Let time pass until `until_s`."""
        while self._agenda and self._agenda[0][0] <= until_s:
            self.now_s = max(self.now_s, self._agenda[0][0])
            heapq.heappop(self._agenda)[2]()
        self.now_s = max(self.now_s, until_s)
        while len(self._ways) > 1 and self._ways[0].t[-1] < self.now_s - KEPT_S:
            self._ways.popleft()

    def place_m(self, t: float) -> float:
        """True place of the carriage from home, at most `KEPT_S` ago."""
        for way in reversed(self._ways):
            if way.t[0] <= t:
                return way.place(t)
        return self._place_m if not self._ways else float(self._ways[0].x[0])

    def bridge_ratio(self, t: ArrayLike) -> Floats:
        """Output of the cell over its excitation at times `t`; shape of `t`."""
        at = np.asarray(t, dtype=float)
        force = np.zeros_like(at)
        for way in self._ways:
            force += np.interp(at, way.t, way.force_n, left=0.0, right=0.0)
        ratio: Floats = self.nature.zero + force / self.nature.capacity_n * self.nature.sensitivity
        return ratio

    # -- pins

    def levels(self) -> dict[str, int]:
        """Levels of NEAR and FAR now (0: closed)."""
        return self._switches.levels()

    def take_edges(self) -> list[Edge]:
        """Changes of those pins up to now since the last call, in time order."""
        return self._switches.take(self.now_s)

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """The board's pin DRIVE changed at `t_s`."""
        if name == "DRIVE":
            self._command = on
            self._supply(t_s)

    def loop(self, closed: bool, t_s: float) -> None:
        """Guard and e-stop contacts, which carry the motor's current, closed or opened."""
        self._loop = closed
        self._supply(t_s)

    def fault(self, name: str, on: bool = True) -> None:
        """Bring about or mend one of `FAULTS`."""
        if name == "drive_stalls":
            self._stalled = on
            self._supply(self.now_s)
        else:
            self._switches.fault(name, on, self.now_s)

    # -- what hands do

    def mount(self, edge: CuttingEdge | None) -> None:
        """Another blade in the clamp, or none."""
        self.edge = edge

    def harshness_of(self, sheet: str) -> float:
        """How much more than most sheets the one of that label wears an edge."""
        return harshness(sheet, self._seed)

    def feed(self, sheet: str) -> None:
        """Another sheet of the medium."""
        self._harshness = self.harshness_of(sheet)

    def wear(self, cuts: int) -> None:
        """Cuts made earlier: the blade in the clamp shows them, no time passes."""
        for _ in range(cuts if self.edge is not None else 0):
            self._cut()

    def draw(self, *planned: Draw) -> float:
        """Plan motions of a hand, after those that are planned; gives the time it will be done."""
        self._plan.extend(planned)
        if not self._busy:
            self._next()
        rest = sum(self._lasts(each) for each in self._plan)
        return max(self.now_s, float(self._ways[-1].t[-1]) if self._busy else 0.0) + rest

    def bring_home(self) -> float:
        """A hand pushes the carriage (or turns the crank) home; gives the time it will be done."""
        self._plan.clear()
        self._phase = 0.0
        return self.draw(Draw((0.0, 0.0), 0.8))

    @staticmethod
    def _lasts(planned: Draw) -> float:
        return planned.lasts_s + planned.pause_s

    def _next(self) -> None:
        if not self._plan:
            self._busy = False
            return
        self._busy = True
        planned = self._plan.popleft()
        turns = [self._place_m, *(share * self.nature.length_m for share in planned.turns[1:])]
        t, x = by_hand(self.now_s + planned.pause_s, turns, planned.lasts_s)
        self._go(t, x)
        self._at(float(t[-1]), self._next)

    # -- motor

    def _supply(self, t_s: float) -> None:
        powered = self._command and self._loop and not self._stalled
        if powered == self._powered:
            return
        self._powered = powered
        t = max(t_s, self.now_s)
        if powered:
            self._run += 1
            self._at(t + SPIN_S, self._turn)
        else:
            self._coast(t)

    def _turn(self) -> None:
        """One turn of the crank; the next follows while there is power."""
        if not self._powered:
            return
        start, speed = self.now_s, 2 * math.pi / self.nature.turn_s
        t: Floats = start + STEP_S * np.arange(round(self.nature.turn_s / STEP_S) + 1.0)
        self._began_s = start
        self._go(t, crank(self._phase + speed * (t - start), self.nature.length_m))
        self._at(float(t[-1]), self._turned)

    def _turned(self) -> None:
        self._began_s = self.now_s
        self._turn()

    def _coast(self, t: float) -> None:
        if not self._ways or self._ways[-1].t[-1] <= t:
            return
        speed = 2 * math.pi / self.nature.turn_s
        phase = self._phase + speed * (t - self._began_s)
        self._ways[-1] = self._ways[-1].until(t)
        self._run += 1
        after: Floats = STEP_S * np.arange(round(COAST_S / STEP_S) + 1.0)
        turned = phase + speed * (after - after**2 / (2 * COAST_S))
        self._phase = float(turned[-1]) % (2 * math.pi)
        self._go(t + after, crank(turned, self.nature.length_m))

    # -- ways

    def _go(self, t: Floats, x: Floats) -> None:
        """Put a way on the agenda: its switches, its cut, its end."""
        nature, size = self.nature, 0.0
        if self.edge is not None:
            size = self.edge.cutting_n() * self._harshness * self._rng.lognormvariate(0.0, 0.04)
        way = Way(t, x, cutting(t, x, nature.zone_m, size))
        self._ways.append(way)
        self.plan = object()
        self._place_m = float(x[-1])
        for at, outward in way.crossings(nature.near_m):
            self._at(at, partial(self._near, not outward))
        for at, outward in way.crossings(nature.length_m - nature.far_m):
            self._at(at, partial(self._far, outward))
        for at, outward in way.crossings(sum(nature.zone_m) / 2):
            if outward:
                self._at(at, self._cut)
        self._switches.chatter(float(t[0]), float(t[-1]))

    def _near(self, closed: bool) -> None:
        self._switches.change("NEAR", closed, self.now_s)
        if closed:
            self.strokes += self._out
            self._out = False

    def _far(self, closed: bool) -> None:
        self._switches.change("FAR", closed, self.now_s)
        self._out = self._out or closed

    def _cut(self) -> None:
        self.passes += 1
        if self.edge is not None:
            self.edge.cut(self._harshness)

    def _at(self, t: float, action: Callable[[], None]) -> None:
        run = self._run
        self._entries += 1

        def act() -> None:
            if run == self._run:
                action()

        heapq.heappush(self._agenda, (t, self._entries, act))
