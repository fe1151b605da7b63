"""The drop tower as physics: it knows pins and time, nothing of bytes.

Boards advance it in chunks of at most 1 ms and may report an output's change at the end of the
chunk with its true time: no actuator answers within 5 ms, so cause still precedes effect.
"""

import heapq
import random
from collections.abc import Callable
from typing import NamedTuple

from rig.virtual.tower.actuator import Coil
from rig.virtual.tower.dynamics import Dynamics, Happening, Path, Segment, Support
from rig.virtual.tower.encoder import Encoder, phases
from rig.virtual.tower.parameters import SpecimenTruth, TowerTruth
from rig.virtual.tower.record import DropTruth, Strike
from rig.virtual.tower.specimen import Specimen

REST_SPEED = 0.03  # m/s: slower than this the carriage stays down (0.05 mm of bounce)
LONGEST_CONTACT_S = 0.01
SLIP_M = 2.0e-3
BOUNCE_S = 2e-3

FAULTS = {
    "encoder_unplugged": "the count stops",
    "encoder_backwards": "A and B swapped: the count falls when the carriage rises",
    "catch_jammed": "the rebound catch never closes",
    "specimen_slip": "the specimen slips down by 2 mm at each strike",
    "guard_bounce": "the guard's contacts open for 2 ms, once",
}


class Edge(NamedTuple):
    """A pin of `wire.PINS` takes a level."""

    t_s: float
    pin: str
    level: int


class Tower:
    """Carriage, encoder, light gate, latch, catch, guard, e-stop, button and specimen.

    Args:
        truth: the true values.
        seed: of every scatter inside.
        encoder_edges: put A and B edges into the log (a sampler by `count` needs none).

    Attributes:
        now_s: plant time, seconds.
        nature: the true values.
        truth: a record of each drop, in order.
    """

    def __init__(
        self, truth: TowerTruth | None = None, seed: int = 0, encoder_edges: bool = True
    ) -> None:
        self.nature = truth or TowerTruth()
        self.now_s = 0.0
        self.truth: list[DropTruth] = []
        self.encoder_edges = encoder_edges
        self._rng = random.Random(seed)
        self.specimen = Specimen(self.nature.anvil, self._rng)
        self._dynamics = Dynamics(self.nature, self.specimen.surface_m)
        self._encoder = Encoder(self.nature, self._dynamics.y)
        self._latch = Coil(self.nature.latch, self._rng, self.schedule, self._latch_moved)
        self._catch = Coil(self.nature.catch, self._rng, self.schedule, self._catch_moved)
        self._commands = {"LATCH": False, "CATCH": False, "LAMP": False}
        self._switches = {"GUARD": 0, "ESTOP": 0, "BUTTON": 1}
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._entries = 0
        self._edges: list[Edge] = []
        self._faults: set[str] = set()
        self._drop: DropTruth | None = None
        self._touched = (0.0, 0.0)
        self._card = False  # in the light beam

    @property
    def quiet_until_s(self) -> float:
        """Until then nothing moves and no pin changes by itself (now, when something does)."""
        if not self._dynamics.settled:
            return self.now_s
        return self._agenda[0][0] if self._agenda else float("inf")

    @property
    def height_m(self) -> float:
        """True carriage height."""
        return self._dynamics.x

    @property
    def support(self) -> Support:
        """What carries the carriage."""
        return self._dynamics.support

    def advance(self, until_s: float) -> None:
        """Let time pass until `until_s`."""
        trail = self._dynamics.trail
        if trail:
            trail[:] = [segment for segment in trail if segment.t1 > self.now_s]
        while self._agenda and self._agenda[0][0] <= until_s:
            self._run(self._agenda[0][0])
            heapq.heappop(self._agenda)[2]()
        self._run(until_s)
        self.now_s = until_s

    def count(self, t_s: float) -> int:
        """Encoder count at a time in the last advanced span."""
        for segment in reversed(self._dynamics.trail):
            if segment.t0 <= t_s <= segment.t1:
                return self._encoder.count(segment, t_s)
        return self._encoder.at_rest(self._dynamics.y)

    def take_edges(self) -> list[Edge]:
        """Pin changes up to now since the last call, in time order."""
        if not self._edges:
            return []
        due = sorted(edge for edge in self._edges if edge.t_s <= self.now_s)
        self._edges = [edge for edge in self._edges if edge.t_s > self.now_s]
        return due

    def levels(self) -> dict[str, int]:
        """Levels of the input pins now."""
        a, b = phases(self.count(self.now_s))
        blocked = int(self._blocked(self._dynamics.x))
        return {
            "ENCODER_A": a,
            "ENCODER_B": b,
            "GATE": int(blocked or self._card),
            **self._switches,
        }

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """Board's pin LATCH, CATCH or LAMP changed at `t_s`."""
        self._commands[name] = on
        self._supply(t_s)

    def fault(self, name: str, on: bool = True) -> None:
        """Bring about or mend one of `FAULTS`."""
        if name not in FAULTS:
            raise ValueError(f"no fault {name!r}; there are {', '.join(FAULTS)}")
        if name == "guard_bounce":
            self._bounce_guard()
            return
        (self._faults.add if on else self._faults.discard)(name)
        if name.startswith("encoder"):
            sign = -1 if "encoder_backwards" in self._faults else 1
            if "encoder_unplugged" in self._faults:
                sign = 0
            self._encoder.rewire(sign, self._dynamics.y)

    def schedule(self, t_s: float, action: Callable[[], None]) -> None:
        """Do something at `t_s`, or at once when that has passed."""
        self._entries += 1
        heapq.heappush(self._agenda, (max(t_s, self.now_s), self._entries, action))

    def switch(self, pin: str, level: int, t_s: float) -> None:
        """A person or a fault moves GUARD, ESTOP or BUTTON; the level as the pin reads."""
        if self._switches[pin] != level:
            self._switches[pin] = level
            self._edges.append(Edge(t_s, pin, level))
            self._supply(t_s)

    def cover_gate(self, inside: bool, t_s: float) -> None:
        """A hand holds a card in the light beam, or takes it out; the carriage is elsewhere."""
        if self._card != inside:
            self._card = inside
            self._edges.append(Edge(t_s, "GATE", int(inside)))

    def grip(self, path: Path) -> None:
        """A hand takes the carriage along `path(t) -> (height, speed)`."""
        self._drop = None
        self._dynamics.grip(path)

    def put(self, support: Support, height_m: float) -> None:
        """The hand leaves the carriage on the hook, the catch or the surface."""
        self._dynamics.set_down(support, height_m)

    def place(self, truth: SpecimenTruth) -> None:
        """Put a fresh specimen (or the bare anvil) under the raised carriage."""
        self.specimen = Specimen(truth, self._rng)
        self._dynamics.surface = self.specimen.surface_m

    def _run(self, until_s: float) -> None:
        """Integrate to `until_s` or a little past it, never past the next entry."""
        dynamics = self._dynamics
        limit = self._agenda[0][0] if self._agenda else float("inf")
        while dynamics.t < until_s:
            if dynamics.settled:
                dynamics.t = until_s
                return
            steps = len(dynamics.trail)
            happening = dynamics.step(limit)
            if len(dynamics.trail) > steps:
                self._sense(dynamics.trail[-1])
            if happening is not None:
                self._meet(happening)
            elif dynamics.support is Support.CONTACT:
                self._stay_down_late()

    def _sense(self, segment: Segment) -> None:
        if self.encoder_edges:
            for t, old, new in self._encoder.edges(segment):
                a, b = phases(new)
                moved = "ENCODER_A" if a != phases(old)[0] else "ENCODER_B"
                self._edges.append(Edge(t, moved, a if moved == "ENCODER_A" else b))
        if self._blocked(segment.x0) != self._blocked(segment.x1):
            self._gate_edge(segment)

    def _blocked(self, x: float) -> bool:
        return self.nature.gate_m <= x <= self.nature.gate_m + self.nature.flag_m

    def _gate_edge(self, segment: Segment) -> None:
        low, high = segment.t0, segment.t1
        before = self._blocked(segment.x0)
        for _ in range(30):
            middle = (low + high) / 2
            if self._blocked(segment.carriage(middle)) == before:
                low = middle
            else:
                high = middle
        t = high + self._rng.gauss(0.0, self.nature.gate_jitter_s)
        self._edges.append(Edge(t, "GATE", int(not before)))

    def _meet(self, happening: Happening) -> None:
        if happening is Happening.TOUCH:
            self._touch()
        elif happening is Happening.LEAVE:
            self._leave()
        elif not self._catch_open:
            self._caught()

    def _touch(self) -> None:
        dynamics, mass = self._dynamics, self.nature.mass_kg
        speed = -dynamics.v
        if speed < REST_SPEED:
            dynamics.hold(Support.SURFACE, dynamics.surface)
            return
        if self._drop is not None:
            strike = Strike(dynamics.t, speed, mass * speed**2 / 2)
            self._drop.strikes.append(strike)
        dynamics.touch(*self.specimen.contact(mass, speed))
        self._touched = dynamics.t, speed

    def _leave(self) -> None:
        dynamics = self._dynamics
        started, speed = self._touched
        if self._drop is not None:
            strike = self._drop.strikes[-1]
            strike.rebound_speed, strike.contact_s = dynamics.v, dynamics.t - started
        self.specimen.struck(self.nature.mass_kg * speed**2 / 2)
        if "specimen_slip" in self._faults:
            self.specimen.surface_m -= SLIP_M
        dynamics.surface = self.specimen.surface_m
        dynamics.free()

    def _stay_down_late(self) -> None:
        if self._dynamics.t - self._touched[0] > LONGEST_CONTACT_S:
            self._dynamics.hold(Support.SURFACE, self._dynamics.surface)

    @property
    def _catch_open(self) -> bool:
        return self._catch.pulled or "catch_jammed" in self._faults

    def _caught(self) -> None:
        dynamics = self._dynamics
        dynamics.hold(Support.CATCH)
        if self._drop is not None:
            self._drop.caught = True
            self._drop.catch_height_m = dynamics.x - dynamics.surface

    def _latch_moved(self, open_: bool) -> None:
        dynamics = self._dynamics
        if not open_ or dynamics.support is not Support.HOOK:
            return
        self._drop = DropTruth(dynamics.t, dynamics.x - dynamics.surface)
        self.truth.append(self._drop)
        dynamics.free()
        if not self._catch_open:
            self._caught()

    def _catch_moved(self, open_: bool) -> None:
        dynamics = self._dynamics
        if open_ and dynamics.support is Support.CATCH:
            dynamics.free()
        elif not self._catch_open and dynamics.support is Support.FREE and dynamics.v <= 0:
            self._caught()

    def _supply(self, t_s: float) -> None:
        """Guard and e-stop contacts carry the solenoids' current."""
        loop = self._switches["GUARD"] == 0 and self._switches["ESTOP"] == 0
        self._latch.supply(self._commands["LATCH"] and loop, t_s)
        self._catch.supply(self._commands["CATCH"] and loop, t_s)

    def _bounce_guard(self) -> None:
        if self._switches["GUARD"]:
            return
        self.switch("GUARD", 1, self.now_s)
        end = self.now_s + BOUNCE_S
        self.schedule(end, lambda: self.switch("GUARD", 0, end))
