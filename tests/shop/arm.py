"""An arm in a shop: hand, arm and tip as bodies with springs between them, and a cell in the pull.

    J_h q_h'' = k_m (target - q_h) - c_m q_h' - T         hand with its muscle
    J_a q_a'' = T - tip - friction - stop + weight        arm with the clamp
    T = K (q_h - q_a) + C (q_h' - q_a')                   cell and stirrup; a wire only pulls

The tip's torque is a curve over the angle of the clamp, q_a less the flex and what slipped; it ends
in a break, or unloads along its first stiffness.
"""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Floats = NDArray[np.float64]
G = 9.80665
GRID_S = 5e-4
HAND_J, HAND_K, HAND_C, ARM_J = 0.045, 60.0, 4.0, 0.02
LINK_K, LINK_C = 2.5e4, 12.0
STOP_RAD, STOP_K, STOP_C = math.radians(52), 4000.0, 8.0
ALARM_S, BACK_S = 0.25, 2.5
"""How long a hand pulls on after the break, and how long it takes back to the start."""


@dataclass(frozen=True)
class Tip:
    """Torque of a tip over the angle of its clamp.

    Attributes:
        k_nm_rad: of the straight part.
        toe_rad: until tip and wood lie together.
        most_nm: where it would settle if nothing broke.
        knee: how sharply it turns from rising to flat.
        breaks_rad: where it snaps; inf bends.
        softens: share of torque lost from the peak to the break.
        crack_rad, crack_share: a first crack there, with that share of torque and stiffness lost.
    """

    k_nm_rad: float = 60.0
    toe_rad: float = 0.01
    most_nm: float = 8.0
    knee: float = 8.0
    breaks_rad: float = math.inf
    softens: float = 0.0
    soft_from_rad: float = math.inf
    crack_rad: float = math.inf
    crack_share: float = 0.0

    def torque(self, q: float) -> float:
        """On the way up."""
        toe = self.toe_rad
        rise = q - toe / 2 if q > toe else max(q, 0.0) ** 2 / (2 * toe)
        u = self.k_nm_rad * rise / self.most_nm
        torque = self.most_nm * u / (1 + u**self.knee) ** (1 / self.knee)
        if q > self.soft_from_rad:
            share = (q - self.soft_from_rad) / (self.breaks_rad - self.soft_from_rad)
            torque *= 1 - self.softens * min(share, 1.0) ** 1.5
        if q > self.crack_rad:
            torque *= 1 - self.crack_share
        return torque


@dataclass(frozen=True)
class Arm:
    """What is true of one arm in one pull; `tip` None sweeps it bare."""

    tip: Tip | None = field(default_factory=Tip)
    rate_rad_s: float = 0.03
    limit_rad: float = math.radians(42)
    wire: bool = False
    dry_nm: float = 0.01
    load_friction: float = 0.0
    unbalanced_nm: float = 0.005
    blade_nm: float = 0.0
    flex_rad_nm: float = 0.0
    slip_rad: float = 0.0
    slip_from_nm: float = 3.0
    slip_over_rad: float = 1e-4


@dataclass(frozen=True)
class Pulled:
    """What one pull was, on a grid of `GRID_S`: pull at the cell (N.m) and angle of the arm.

    `truth` by names of the measurands: of the tip, angle and energy to its break, or to its largest
    torque where it never broke.
    """

    times_s: Floats
    pull_nm: Floats
    angle_rad: Floats
    truth: dict[str, float]


class Pull:
    """The integration of one pull, from phase to phase: up, broken or unloaded, back."""

    def __init__(self, arm: Arm) -> None:
        """Everything at rest."""
        self.arm, self.phase = arm, "up"
        self.since, self.held_at, self.top = 0.0, 0.0, (0.0, 0.0)
        self.slipped = 0.0
        self.slip_at = math.inf
        if arm.tip is not None and arm.slip_rad:
            grid = np.linspace(0, 1, 20_000)
            torque = np.array([arm.tip.torque(q) for q in grid])
            self.slip_at = float(grid[np.argmax(torque >= arm.slip_from_nm)])

    def _target(self, t: float) -> float:
        if self.phase == "up":
            return self.arm.rate_rad_s * t
        wait = ALARM_S if self.phase == "broken" else 0.1
        gone = max(t - self.since - wait, 0.0)
        return self.held_at * max(1 - gone / BACK_S, 0.0)

    def clamp(self, angle: float, pull: float) -> float:
        """Angle of the tip in its clamp when the arm stands at `angle`."""
        q = angle - self.arm.flex_rad_nm * pull
        beyond = (q - self.slip_at) / self.arm.slip_over_rad
        return q - self.arm.slip_rad * min(max(beyond, 0.0), 1.0)

    def tip(self, q: float) -> float:
        """Torque of the tip now."""
        tip = self.arm.tip
        if tip is None or self.phase == "broken":
            return 0.0
        if self.phase == "up":
            return tip.torque(q)
        most, at = self.top
        return min(max(most - tip.k_nm_rad * (at - q), 0.0), most)

    def link(self, y: Floats) -> float:
        """What the cell feels."""
        pull = LINK_K * (y[0] - y[2]) + LINK_C * (y[1] - y[3])
        return max(float(pull), 0.0) if self.arm.wire else float(pull)

    def _forces(self, t: float, y: Floats) -> list[float]:
        arm, pull = self.arm, self.link(y)
        muscle = HAND_K * (self._target(t) - y[0]) - HAND_C * y[1]
        rubs = (arm.dry_nm + arm.load_friction * abs(pull)) * math.tanh(y[3] / 0.002)
        against = self.tip(self.clamp(y[2], pull)) + rubs
        if y[2] > STOP_RAD:
            against += STOP_K * (y[2] - STOP_RAD) + STOP_C * y[3]
        if arm.wire and t > self.since + ALARM_S and self.phase == "broken":  # led back by the arm
            against += 40.0 * max(y[2] - self._target(t), 0.0) + 4.0 * y[3]
        weight = (arm.blade_nm + arm.unbalanced_nm) * math.cos(y[2]) - arm.unbalanced_nm
        return [y[1], (muscle - pull) / HAND_J, y[3], (pull - against + weight) / ARM_J]

    def run(self) -> Pulled:
        """Pull, and let it back."""
        y, now, parts = np.zeros(4), 0.0, []
        while self.phase != "done":
            now, y = self._integrate(now, y, parts)
        times, rows = (np.concatenate([part[i] for part in parts], axis=-1) for i in (0, 1))
        pull = np.array([self.link(y) for y in rows.T])
        return Pulled(times, pull, rows[2], self._truth())

    def _integrate(self, now: float, y: Floats, parts: list[Any]) -> tuple[float, Floats]:
        last = now + (60.0 if self.phase == "up" else ALARM_S + BACK_S + 1.0)
        steps = np.arange(math.ceil(now / GRID_S - 1e-9), int(last / GRID_S)) * GRID_S
        done = solve_ivp(
            self._forces, (now, last), y, method="LSODA", t_eval=steps, rtol=1e-6, atol=1e-8,
            events=[self._broken, self._full] if self.phase == "up" else None,
            max_step=0.02,
        )  # fmt: skip
        parts.append((np.asarray(done.t), np.asarray(done.y).reshape(4, -1)))
        if self.phase != "up":
            self.phase = "done"
            return last, y
        broken = len(done.t_events[0]) > 0
        end = float(done.t_events[0 if broken else 1][0])
        y = np.array(done.y_events[0 if broken else 1][0])
        q = self.clamp(float(y[2]), self.link(y))
        self.top, self.held_at = (self.tip(q), q), self._target(end)
        self.since, self.phase = end, "broken" if broken else "down"
        return end, y

    def _broken(self, _: float, y: Floats) -> float:
        tip = self.arm.tip
        limit = 10.0 if tip is None else min(tip.breaks_rad, 10.0)
        return self.clamp(float(y[2]), self.link(y)) - limit

    def _full(self, _: float, y: Floats) -> float:
        return float(y[2]) - self.arm.limit_rad

    def _truth(self) -> dict[str, float]:
        """By the curve of the tip itself, up to where it came."""
        tip = self.arm.tip
        if tip is None:
            return {}
        grid = np.linspace(0, self.top[1], 40_001)
        torque = np.array([tip.torque(q) for q in grid])
        first, most = int(np.argmax(torque >= 0.05)), int(np.argmax(torque))
        end = len(grid) - 1 if self.top[1] >= tip.breaks_rad - 1e-9 else most
        span = slice(first, end + 1)
        return {
            "peak_torque": float(torque[most]),
            "break_torque": float(torque[-1]),
            "failure_angle": float(grid[end] - grid[first]),
            "energy": float(np.trapezoid(torque[span], grid[span])),
        }


Pull._broken.terminal = True
Pull._full.terminal = True


def pulled(arm: Arm) -> Pulled:
    """One pull to the break or the limit, and back."""
    return Pull(arm).run()
