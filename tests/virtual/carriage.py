"""A carriage that does what a test writes down, by hand or by its motor: a plant with two pins."""

import random
from collections import deque

from tests.virtual.motions import HOME, Motions, SwitchEdge

MOTOR_DELAY_S = 20e-3


class ScriptedCarriage:
    """Home until told otherwise; serves the emulated board and the stand-in.

    Args:
        seed: of bounces and durations of what the motor does.
        levels: of its pins at first.
        clean: its contacts do not bounce.

    Attributes:
        seen: outputs reported by the board, (name, on, t_s).
        completed: times at which full strokes by the motor came home.
        jammed: the motor turns and nothing moves.
    """

    def __init__(
        self, seed: int = 0, levels: dict[str, int] | None = None, clean: bool = False
    ) -> None:
        self.now_s = 0.0
        self.seen: list[tuple[str, bool, float]] = []
        self.completed: list[float] = []
        self.jammed = False
        self._levels = dict(levels or HOME)
        self._rng, self._clean = random.Random(seed), clean
        self._script: deque[SwitchEdge] = deque()
        self._due: list[SwitchEdge] = []
        self._running = False
        self._stroke: tuple[float, float] | None = None  # comes home at, the next begins at

    def play(self, edges: list[SwitchEdge]) -> None:
        """Add to the script."""
        self._script = deque(sorted([*self._script, *edges], key=lambda edge: edge.t_s))

    def set(self, pin: str, level: int, t_s: float | None = None) -> None:
        """A clean edge, now or at `t_s`."""
        self.play([SwitchEdge(self.now_s if t_s is None else t_s, pin, level)])

    @property
    def quiet_until_s(self) -> float:
        """Time of the next edge."""
        return self._script[0].t_s if self._script else float("inf")

    def advance(self, until_s: float) -> None:
        """Let the script go on, and the motor after it."""
        while self.quiet_until_s <= until_s:
            edge = self._script.popleft()
            self._levels[edge.pin] = edge.level
            self._due.append(edge)
            if not self._script:
                self._came()
        self.now_s = until_s

    def take_edges(self) -> list[SwitchEdge]:
        """Edges since the last call."""
        due, self._due = self._due, []
        return due

    def levels(self) -> dict[str, int]:
        """Levels now."""
        return dict(self._levels)

    def loop(self, closed: bool, t_s: float) -> None:
        """Nothing: with no contacts in its motor's supply, only the board can stop it."""

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """The motor starts, or stops where it is."""
        self.seen.append((name, on, t_s))
        self._running = on
        self._script.clear()
        self._stroke = None
        if on:
            self._turn(t_s + MOTOR_DELAY_S)

    def _came(self) -> None:
        if self._stroke is not None and self._running:
            home_s, next_s = self._stroke
            self.completed.append(home_s)
            self._turn(next_s)

    def _turn(self, start_s: float) -> None:
        """One stroke by the motor."""
        self._stroke = None
        if self.jammed:
            return
        motions = Motions(self._rng, start_s, self._clean)
        motions.full(longest_s=0.3)
        ((home_s, _),) = motions.told
        self._stroke = home_s, motions.t_s
        self.play(motions.take())
