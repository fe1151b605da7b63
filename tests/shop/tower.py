"""A tower in a shop: carriage, reel and bench as three bodies, wire and rod between them.

Height of the carriage x, wire paid out by the drum w and sinking of the bench b are coordinates of
their own (all from their places at contact, up positive). The wire is a spring with damping that
only pulls; the rod is loaded along one stiffness and unloaded along a steeper one, so that it keeps
a dent; friction, latch, rub and catch are forces. Each phase is integrated to the event that ends
it.

    m x'' = -m g - T cos(phi) - friction + N
    d w'' = T - spring - friction of the drum
    M b'' = -k b - c b' + T cos(phi) + friction - N
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Floats = NDArray[np.float64]
G = 9.80665
END_S = 1.1
SLACK_M, GRIP_N = 0.0006, 540.0
"""Of the catch: way until the wedge bites, and what it holds with."""
STILL_M_S = 0.03


@dataclass(frozen=True)
class Tower:
    """What is true of one tower in one drop; `None` of `bench_hz`: bolted to the floor."""

    drop_m: float = 0.22
    mass_kg: float = 2.0
    dry_n: float = 0.3
    viscous_n_s_m: float = 0.0
    rub_n: float = 0.0
    rub_below_m: float = 0.06
    spring_n: float = 4.0
    spring_n_m: float = 1.2
    drum_kg: float = 0.004
    drum_dry_n: float = 0.05
    wire_n_m: float = 12_000.0
    wire_damping: float = 1.0
    hook_aside_m: float = 0.0
    hook_above_m: float = 0.2
    rod_n_m: float = 3e7
    restitution: float = 0.4
    bench_hz: float | None = None
    bench_kg: float = 45.0
    bench_damping: float = 0.08
    latch_n: float = 0.0
    latch_m: float = 0.008
    rocking_m: float = 0.0
    rocking_hz: float = 28.0
    caught: bool = True


@dataclass(frozen=True)
class Fallen:
    """What one drop was.

    Attributes:
        times_s, wire_m, carriage_m: shape (n,), from the release on; wire and carriage above
            contact.
        gate: (time, True when the flag goes into the beam), in order.
        energy_j, second_j: of the carriage against the bench at first and at second contact; second
            0 when there is none.
        rebound_j: of the carriage against the ground as it passes the height of contact upwards;
            `rebound_against_bench_j` as somebody on the bench sees it.
        reversed_s: when the carriage rises for the first time.
        dent_m: how deep the rod stays dented.
    """

    times_s: Floats
    wire_m: Floats
    carriage_m: Floats
    gate: tuple[tuple[float, bool], ...]
    energy_j: float
    rebound_j: float
    rebound_against_bench_j: float
    second_j: float
    speed_m_s: float
    reversed_s: float
    dent_m: float


def stretched(tower: Tower, x: float) -> float:
    """Wire between drum and hook beyond that at contact."""
    aside, above = tower.hook_aside_m, tower.hook_above_m
    return math.hypot(aside, above + x) - math.hypot(aside, above)


def at_rest(tower: Tower, x: float) -> float:
    """Wire that the drum has paid out when the carriage rests at `x`, lowered there."""
    pull = tower.spring_n + tower.spring_n_m * x - tower.drum_dry_n
    return stretched(tower, x) - pull / tower.wire_n_m


class Drop:
    """The integration of one drop, phase by phase."""

    def __init__(self, tower: Tower, flag_m: tuple[float, float], step_s: float) -> None:
        """`flag_m`: carriage above contact when the flag leaves and enters the beam."""
        self.tower, self.flag_m, self.step_s = tower, flag_m, step_s
        self.dent, self.bites, self.phase = 0.0, 0.0, "flight"
        self.bench_kg = 1e9 if tower.bench_hz is None else tower.bench_kg
        omega = 2 * math.pi * (tower.bench_hz or 0.0)
        self.bench_k = self.bench_kg * omega**2
        self.bench_c = 2 * tower.bench_damping * self.bench_kg * omega
        self.wire_c = 2 * tower.wire_damping * math.sqrt(tower.wire_n_m * tower.drum_kg)
        self.unload_n_m = tower.rod_n_m / tower.restitution**2
        self.gate: list[tuple[float, bool]] = []
        self.found: dict[str, float] = {}
        self.turned = False

    def _rock(self, t: float) -> float:
        rate = 2 * math.pi * self.tower.rocking_hz
        return self.tower.rocking_m * math.exp(-0.04 * rate * t) * math.cos(rate * t)

    def _forces(self, t: float, y: Floats) -> list[float]:
        x, vx, w, vw, b, vb = y
        tower = self.tower
        high, rate = x - b, vx - vb
        aside, above = tower.hook_aside_m, tower.hook_above_m + high
        length = math.hypot(aside, above)
        cosine = above / length
        stretch = length - math.hypot(aside, tower.hook_above_m) - w
        pull = 0.0
        if stretch > 0:
            pull = max(tower.wire_n_m * stretch + self.wire_c * (cosine * rate - (vw - vb)), 0.0)
        rub = tower.rub_n if high < tower.rub_below_m else 0.0
        drag = (tower.dry_n + rub) * math.tanh(rate / 0.005) + tower.viscous_n_s_m * rate
        if self.phase == "flight" and not self.turned and high > tower.drop_m - tower.latch_m:
            drag -= tower.latch_n
        if self.phase == "brake":
            drag -= GRIP_N
        rod = self._rod(-high)
        out = tower.spring_n + tower.spring_n_m * w + tower.drum_dry_n * math.tanh(vw / 0.005)
        ax = -G + (-pull * cosine - drag + rod) / tower.mass_kg
        ab = (pull * cosine + drag - rod - self.bench_k * b - self.bench_c * vb) / self.bench_kg
        if self.phase == "held":
            ax = ab
        return [vx, ax, vw, (pull - out) / tower.drum_kg + ab, vb, ab]

    def _rod(self, depth: float) -> float:
        if self.phase == "load":
            return self.tower.rod_n_m * max(depth - self.dent, 0.0)
        if self.phase == "unload":
            return self.unload_n_m * max(depth - self.dent, 0.0)
        return 0.0

    def run(self) -> Fallen:
        """Let it fall, from the hook to the end of the record."""
        tower = self.tower
        y = np.array([tower.drop_m, 0.0, at_rest(tower, tower.drop_m), 0.0, 0.0, 0.0])
        now, parts = 0.0, []
        while now < END_S - 1e-9:
            now, y = self._integrate(now, y, parts)
        times, rows = (np.concatenate([part[i] for part in parts], axis=-1) for i in (0, 1))
        rock = np.array([self._rock(t) for t in times])
        energies = {name: self.found.get(name, 0.0) for name in ("E", "R", "Rb", "S")}
        return Fallen(
            times, rows[2] - rows[4] + rock, rows[0] - rows[4], tuple(sorted(self.gate)),
            energies["E"], energies["R"], energies["Rb"], energies["S"], self.found["v"],
            self.found.get("turn", END_S), self.dent,
        )  # fmt: skip

    def _integrate(self, now: float, y: Floats, parts: list[Any]) -> tuple[float, Floats]:
        first = math.ceil(now / self.step_s - 1e-9)
        steps = np.arange(first, int(END_S / self.step_s) + 1) * self.step_s
        events = [self._end(), *(self._flag(edge) for edge in self.flag_m), _contact_height]
        quick = self.phase in ("load", "unload")
        done = solve_ivp(
            self._forces, (now, END_S), y, method="LSODA", events=events, t_eval=steps,
            rtol=1e-8, atol=1e-9, max_step=2e-5 if quick else 2e-3,
        )  # fmt: skip
        for edge, times, states in zip((0, 1), done.t_events[1:], done.y_events[1:], strict=False):
            for t, state in zip(times, states, strict=True):
                down = bool(state[1] - state[5] < 0)
                self.gate.append((float(t), down if edge == 1 else not down))
        if "turn" in self.found:
            self._risen(done.y_events[3])
        ended = len(done.t_events[0]) > 0
        end = float(done.t_events[0][0]) if ended else END_S
        times, rows = np.asarray(done.t, dtype=float), np.asarray(done.y, dtype=float)
        keep = times < end if ended else np.full(len(times), True)
        parts.append((times[keep], rows.reshape(6, -1)[:, keep]))
        if not ended:
            return END_S, y
        return end, self._turn(end, np.array(done.y_events[0][0]))

    def _risen(self, states: Floats) -> None:
        for state in states:
            m, rate = self.tower.mass_kg, state[1] - state[5]
            self.found.setdefault("R", 0.5 * m * state[1] * abs(state[1]))
            self.found.setdefault("Rb", 0.5 * m * rate**2)

    def _flag(self, edge_m: float) -> Any:
        def crossing(t: float, y: Floats) -> float:
            return float(y[0] - y[4] + 0.5 * self._rock(t) - edge_m)

        return crossing

    def _end(self) -> Any:
        def finished(_: float, y: Floats) -> float:
            high, rate = y[0] - y[4], y[1] - y[5]
            if self.phase == "flight":
                catch = self.turned and self.tower.caught
                return float(rate if catch else high + self.dent)
            ends = {
                "slack": high - self.bites, "brake": -rate, "load": -rate,
                "unload": high + self.dent, "held": 1.0,
            }  # fmt: skip
            return float(ends[self.phase])

        finished.terminal = True  # type: ignore[attr-defined]
        finished.direction = 1 if self.phase == "unload" else -1  # type: ignore[attr-defined]
        return finished

    def _turn(self, now: float, y: Floats) -> Floats:
        """Go over into the phase that follows the event."""
        m, rate = self.tower.mass_kg, float(y[1] - y[5])
        if self.phase == "flight" and self.turned and self.tower.caught:
            self.phase, self.bites = "slack", float(y[0] - y[4]) - SLACK_M
        elif self.phase == "flight":
            self._struck(m, rate)
            self.phase = "load" if abs(rate) > STILL_M_S else "held"
        elif self.phase == "load":
            depth = float(y[4] - y[0])
            self.dent += (depth - self.dent) * (1 - self.tower.rod_n_m / self.unload_n_m)
            self.phase = "unload"
            self.found.setdefault("turn", now)
        elif self.phase == "unload":
            self.phase, self.turned = "flight", True
        elif self.phase == "slack":
            self.phase = "brake"
        else:
            self.phase = "held"
        if self.phase == "held":
            y[1] = y[5]
        return y

    def _struck(self, m: float, rate: float) -> None:
        if "E" not in self.found:
            self.found |= {"E": 0.5 * m * rate**2, "v": -rate}
        elif "S" not in self.found:
            self.found["S"] = 0.5 * m * rate**2


def _contact_height(_: float, y: Floats) -> float:
    return float(y[0] - y[4])


_contact_height.direction = 1  # type: ignore[attr-defined]


def fallen(tower: Tower, flag_m: tuple[float, float], step_s: float) -> Fallen:
    """One drop of this tower, sampled every `step_s` true seconds from the release on."""
    return Drop(tower, flag_m, step_s).run()
