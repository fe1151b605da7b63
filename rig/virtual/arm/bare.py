"""The bare arm: what a hand needs to carry it along a path, and the motions every action uses."""

import copy
import math
from typing import Any, NamedTuple

import numpy as np

from rig.virtual.arm.path import STEP_S, Path, grid, hold, lead
from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.slot import SlotEdge
from rig.virtual.arm.tip import Tip
from rig.virtual.arm.trail import Trail
from rig.virtual.arm.truth import JigTruth

USUAL_RATE = math.radians(20.0)  # of motions that are not part of a trial
STICK_RAD_S = math.radians(0.5)  # slower than this the bearing's friction is not yet full
LET_GO_S = 0.3


class Mark(NamedTuple):
    """A state of an arm and what it holds, to come back to."""

    trail: Trail
    rng: Any
    held: Tip | SlotEdge | None


class Arm:
    """Arm, bearing and cell under a hand.

    Attributes:
        nature: the true values.
        trail: where the arm was and what the cell felt.
        rng: of the hand's unevenness.
        now_s: plant time; a motion begins then or when the one before has ended.
        held: what holds against the arm (None: it is bare).
    """

    def __init__(self, nature: JigTruth, seed: int) -> None:
        self.nature = nature
        self.trail = Trail(nature)
        self.rng = np.random.default_rng(seed)
        self.now_s = 0.0
        self.held: Tip | SlotEdge | None = None

    @property
    def start_s(self) -> float:
        """When the next motion will begin."""
        return max(self.now_s, self.trail.free_at_s)

    def mark(self) -> Mark:
        """How all stands now."""
        return Mark(self.trail.copy(), self.rng.bit_generator.state, copy.copy(self.held))

    def back_to(self, mark: Mark) -> None:
        """Undo all since `mark`; what is held is a copy of what was."""
        self.trail, self.held = mark.trail, mark.held
        self.rng.bit_generator.state = mark.rng

    def add(self, path: Path, torque: Floats) -> float:
        """A motion with what the cell feels in it; gives the time of its end."""
        self.trail.add(self.start_s + path.t, path.angle, torque)
        return self.trail.free_at_s

    def weight_nm(self, angle: Floats) -> Floats:
        """What the hand carries of arm and cell."""
        moment: Floats = self.nature.weight_nm * np.cos(angle + self.nature.weight_rad)
        return moment

    def carried_nm(self, path: Path) -> Floats:
        """What the arm itself needs along a path: weight, friction, inertia."""
        speed = np.gradient(path.angle, STEP_S)
        rubbing = self.nature.friction_nm * np.tanh(speed / STICK_RAD_S)
        return (
            self.weight_nm(path.angle)
            + rubbing
            + self.nature.inertia_kg_m2 * np.gradient(speed, STEP_S)
        )

    def led(self, target: float, rate: float) -> Path:
        """A hand's path from here to an angle."""
        return lead(self.trail.angle, target, rate, self.nature.hand, self.rng)

    def lead_to(self, target: float, rate: float = USUAL_RATE) -> float:
        """Lead the arm to an angle."""
        return self._along(self.led(target, rate))

    def hold(self, duration_s: float) -> float:
        """Keep the arm in hand where it is."""
        return self._along(hold(self.trail.angle, duration_s, self.nature.hand, self.rng))

    def pause(self, duration_s: float) -> float:
        """Leave all as it is."""
        self.trail.free_at_s = self.start_s + duration_s
        return self.trail.free_at_s

    def pull_to(self, torque: float) -> float:
        """Change the pull on an arm that cannot move."""
        t = grid(LET_GO_S)
        before = self.trail.torque
        taken = np.sin(math.pi / 2 * t / t[-1]) ** 2
        path = Path(t, np.full_like(t, self.trail.angle))
        return self.add(path, before + (torque - before) * taken)

    def home(self) -> None:
        """The bare arm at zero, at its rest."""
        self.held = None
        if self.trail.angle != 0.0:
            self.lead_to(0.0)

    def _along(self, path: Path) -> float:
        return self.add(path, self.carried_nm(path) + self._held_nm(path.angle))

    def _held_nm(self, angle: Floats) -> Floats:
        if self.held is None:
            return np.zeros_like(angle)
        if isinstance(self.held, SlotEdge):
            return self.held.respond(angle)
        torque = self.held.respond(angle).torque
        if len(torque) == len(angle):
            return torque
        return np.concatenate([torque, self._held_nm(angle[len(torque) :])])
