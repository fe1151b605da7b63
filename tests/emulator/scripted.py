"""A plant that does what a test writes down: edges at their times, nothing else."""

from collections import deque
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rig.board import wire

Floats = NDArray[np.float64]

COUNT_LEVELS = ((0, 0), (1, 0), (1, 1), (0, 1))  # of A and B by count & 3; A leads when rising


class ScriptedEdge(NamedTuple):
    """A pin of `wire.PINS` takes a level."""

    t_s: float
    pin: str
    level: int


class ScriptedTower:
    """Guard and e-stop closed, button up, gate free, encoder at count 0, until told otherwise.

    Attributes:
        seen: outputs reported by the board, (name, on, t_s).
    """

    def __init__(self) -> None:
        self.now_s = 0.0
        self.seen: list[tuple[str, bool, float]] = []
        self._levels = dict.fromkeys(("ENCODER_A", "ENCODER_B", "GUARD", "ESTOP", "GATE"), 0)
        self._levels["BUTTON"] = 1
        self._script: deque[ScriptedEdge] = deque()
        self._count = 0
        self._due: list[ScriptedEdge] = []

    def edge(self, t_s: float, pin: str, level: int) -> None:
        """Write an edge into the script."""
        assert pin in wire.PINS
        self._add([ScriptedEdge(t_s, pin, level)])

    def counts(self, start_s: float, period_s: float, counts: int) -> float:
        """Move by `counts` (signed), one each `period_s`; returns the time of the last edge."""
        step = 1 if counts > 0 else -1
        t, edges = start_s, []
        for i in range(abs(counts)):
            before = COUNT_LEVELS[self._count & 3]
            self._count += step
            after = COUNT_LEVELS[self._count & 3]
            pin, at = ("ENCODER_A", 0) if before[0] != after[0] else ("ENCODER_B", 1)
            t = start_s + i * period_s
            edges.append(ScriptedEdge(t, pin, after[at]))
        self._add(edges)
        return t

    @property
    def count(self) -> int:
        """Encoder count once the script has been played."""
        return self._count

    def _add(self, edges: list[ScriptedEdge]) -> None:
        self._script = deque(sorted([*self._script, *edges], key=lambda edge: edge.t_s))

    @property
    def quiet_until_s(self) -> float:
        """Time of the next edge."""
        return self._script[0].t_s if self._script else float("inf")

    def advance(self, until_s: float) -> None:
        """Let the script go on until `until_s`."""
        while self._script and self._script[0].t_s <= until_s:
            edge = self._script.popleft()
            self._levels[edge.pin] = edge.level
            self._due.append(edge)
        self.now_s = until_s

    def take_edges(self) -> list[ScriptedEdge]:
        """Edges since the last call."""
        due, self._due = self._due, []
        return due

    def levels(self) -> dict[str, int]:
        """Levels now."""
        return dict(self._levels)

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """Remember what the board did."""
        self.seen.append((name, on, t_s))


class ScriptedConverter:
    """A bridge converter with a clock of its own ; `code(n)` is the code of conversion n."""

    def __init__(self, rate_hz: float, code: Callable[[int], int], first_s: float = 0.02) -> None:
        self._period_s = 1 / rate_hz
        self._code, self._first_s = code, first_s
        self._next = 0
        self.stuck = False
        self.given: list[tuple[float, int]] = []

    @property
    def next_ready_s(self) -> float:
        """When the next conversion is ready."""
        return self._first_s + self._next * self._period_s

    def take(self, until_s: float) -> list[tuple[float, int]]:
        """Conversions ready by `until_s`, each given once."""
        fresh = []
        while self.next_ready_s <= until_s:
            fresh.append((self.next_ready_s, self._code(self._next)))
            self._next += 1
        self.given += fresh
        return fresh


class ScriptedJig:
    """An arm whose sensor shows `ratio(t_s)` of its supply; shape of `t_s`."""

    def __init__(self, ratio: Callable[[Floats], Floats]) -> None:
        self.angle_ratio = ratio

    def advance(self, until_s: float) -> None:
        """Nothing to do: the ratio is a function of time."""
