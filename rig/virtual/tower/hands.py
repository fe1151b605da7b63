"""A person at the tower: a script of motions at a person's speed.

Each call appends to the script and returns at once with the plant time at which that motion
will be done; the motions happen while the tower is advanced.
"""

import math
import random

from rig.virtual.tower.dynamics import Support
from rig.virtual.tower.parameters import SpecimenTruth
from rig.virtual.tower.plant import Tower

SPEED = 0.25  # m/s, mean of a motion
SHORTEST_S = 0.8
REACH_S = 0.3  # from deciding to touching a switch
SPECIMEN_S = 4.0
TREMOR_M, TREMOR_HZ = 0.03e-3, 9.0
SETTING_M = 0.04e-3  # scatter of a height set by hand on the cross-head
SETTING_LIMIT_M = 0.1e-3
CLEAR_M = 0.05
POINTER_M = 0.1e-3  # scatter of a pointer set on a rule's mark by eye


class Hands:
    """Moves carriage, guard, e-stop, button and specimen of `tower`."""

    def __init__(self, tower: Tower, seed: int = 0) -> None:
        self._tower = tower
        self._rng = random.Random(seed)
        self.free_at_s = 0.0
        self._above_contact_m = 0.0

    def lower_to_contact(self) -> float:
        """Lower the carriage by the catch's lever until the striker rests."""
        return self._carry(Support.SURFACE, 0.0)

    def raise_to(self, height_m: float) -> float:
        """Hang the carriage on the hook, the striker `height_m` above contact."""
        error = self._rng.gauss(0.0, SETTING_M)
        error = max(-SETTING_LIMIT_M, min(SETTING_LIMIT_M, error))
        return self._carry(Support.HOOK, height_m + error)

    def lift_off(self, height_m: float = CLEAR_M) -> float:
        """Lift the carriage clear of the specimen and leave it on the catch."""
        return self._carry(Support.CATCH, height_m)

    def to_mark(self, height_m: float) -> float:
        """Lift the carriage until its pointer is on a mark of a rule; the catch keeps it."""
        return self._carry(Support.CATCH, height_m + self._rng.gauss(0.0, POINTER_M))

    def open_guard(self) -> float:
        """Open the guard."""
        return self._switch("GUARD", 1)

    def close_guard(self) -> float:
        """Close the guard."""
        return self._switch("GUARD", 0)

    def press_estop(self) -> float:
        """Hit the e-stop; it stays down."""
        return self._switch("ESTOP", 1)

    def reset_estop(self) -> float:
        """Turn the e-stop out again."""
        return self._switch("ESTOP", 0)

    def hold_button(self, down: bool) -> float:
        """Press the release button and keep it down, or let it go."""
        return self._switch("BUTTON", int(not down))

    def hold_card(self, inside: bool) -> float:
        """A card in the light beam, or out of it."""
        at = self._start() + REACH_S
        self._tower.schedule(at, lambda: self._tower.cover_gate(inside, at))
        self.free_at_s = at
        return at

    def press_button(self, duration_s: float = 0.15) -> float:
        """Press the release button for a while."""
        self._switch("BUTTON", 0)
        up = self.free_at_s + duration_s
        self._tower.schedule(up, lambda: self._tower.switch("BUTTON", 1, up))
        self.free_at_s = up
        return up

    def load_specimen(self, truth: SpecimenTruth | None = None) -> float:
        """Put a fresh specimen (none: the bare anvil) in place, the carriage lifted clear."""
        placed = truth or self._tower.nature.anvil
        self.lift_off()
        self.free_at_s += SPECIMEN_S
        self._tower.schedule(self.free_at_s, lambda: self._tower.place(placed))
        return self.free_at_s

    def wait(self, duration_s: float) -> float:
        """Do nothing for a while."""
        self.free_at_s = self._start() + duration_s
        return self.free_at_s

    def _start(self) -> float:
        return max(self.free_at_s, self._tower.now_s)

    def _switch(self, pin: str, level: int) -> float:
        at = self._start() + REACH_S
        self._tower.schedule(at, lambda: self._tower.switch(pin, level, at))
        self.free_at_s = at
        return at

    def _carry(self, support: Support, above_contact_m: float) -> float:
        tower, start = self._tower, self._start()
        # The whole way is known when the motion starts; its duration must be known now.
        here = tower.height_m - tower.specimen.surface_m
        if self.free_at_s > tower.now_s:
            here = self._above_contact_m
        self._above_contact_m = above_contact_m
        end = start + max(SHORTEST_S, abs(here - above_contact_m) / SPEED)
        phase = self._rng.uniform(0, 2 * math.pi)

        def begin() -> None:
            target = tower.specimen.surface_m + above_contact_m
            tower.grip(_Motion(start, end, tower.height_m, target, phase))

        def finish() -> None:
            tower.put(support, tower.specimen.surface_m + above_contact_m)

        tower.schedule(start, begin)
        tower.schedule(end, finish)
        self.free_at_s = end
        return end


class _Motion:
    """Least-jerk path between two heights (Flash and Hogan 1985, from memory), with tremor."""

    def __init__(self, start: float, end: float, low: float, high: float, phase: float) -> None:
        self._start, self._duration = start, end - start
        self._from, self._way, self._phase = low, high - low, phase

    def __call__(self, t: float) -> tuple[float, float]:
        u = min(1.0, max(0.0, (t - self._start) / self._duration))
        eased = u**3 * (10 - 15 * u + 6 * u * u)
        slope = 30 * u * u * (1 - u) ** 2
        window, window_slope = 16 * u * u * (1 - u) ** 2, 32 * u * (1 - u) * (1 - 2 * u)
        turn = 2 * math.pi * TREMOR_HZ * t + self._phase
        height = self._from + self._way * eased + TREMOR_M * window * math.sin(turn)
        speed = (self._way * slope + TREMOR_M * window_slope * math.sin(turn)) / self._duration
        speed += TREMOR_M * window * 2 * math.pi * TREMOR_HZ * math.cos(turn)
        return height, speed
