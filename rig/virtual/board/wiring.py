"""What is wired to a board's pins: the tower, and perhaps the carriage of a cutting frame."""

from collections.abc import Sequence
from typing import Protocol

OPEN = {"NEAR": 1, "FAR": 1}  # no carriage: pull-ups hold these pins high


class Edge(Protocol):
    """A pin of `wire.PINS` takes a level."""

    @property
    def t_s(self) -> float: ...
    @property
    def pin(self) -> str: ...
    @property
    def level(self) -> int: ...


class Plant(Protocol):
    """A machine with pins.

    A tower has those of the drop. A carriage has NEAR and FAR, its end switches (level 0 when
    closed), and is told of DRIVE, its motor.

    The board advances it in steps of 1 ms at most while anything may happen, in one stretch up to
    `quiet_until_s` otherwise. An output is told at the end of its step with its true time, so no
    actuator may answer within 5 ms.
    """

    @property
    def quiet_until_s(self) -> float:
        """Until then no pin changes by itself."""
        ...

    def advance(self, until_s: float) -> None:
        """Let time pass until `until_s`."""
        ...

    def take_edges(self) -> Sequence[Edge]:
        """Pin changes since the last call, bounces and all, in order of time."""
        ...

    def levels(self) -> dict[str, int]:
        """Levels of its input pins now."""
        ...

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """A pin of the board's outputs changed at `t_s`."""
        ...


class Carriage(Plant, Protocol):
    """A machine whose motor gets its current through the guard's and the e-stop's contacts."""

    def loop(self, closed: bool, t_s: float) -> None:
        """All contacts are closed, or one opened."""
        ...


class Wiring:
    """Tower and carriage as one plant."""

    def __init__(self, tower: Plant, carriage: Carriage | None) -> None:
        self._tower, self._carriage = tower, carriage
        # Guard and e-stop contacts carry the motor's current as well as the solenoids'.
        self._loops = {pin: tower.levels()[pin] for pin in ("GUARD", "ESTOP")}
        if carriage is not None:
            carriage.loop(not any(self._loops.values()), 0.0)

    @property
    def quiet_until_s(self) -> float:
        """Until then no pin changes by itself."""
        quiet_s = self._tower.quiet_until_s
        return quiet_s if self._carriage is None else min(quiet_s, self._carriage.quiet_until_s)

    def advance(self, until_s: float) -> None:
        """Let time pass until `until_s`."""
        self._tower.advance(until_s)
        if self._carriage is not None:
            self._carriage.advance(until_s)

    def take_edges(self) -> list[Edge]:
        """Pin changes since the last call, in order of time."""
        edges: list[Edge] = list(self._tower.take_edges())
        if self._carriage is None:
            return edges
        for edge in edges:
            if edge.pin in self._loops:
                self._loops[edge.pin] = edge.level
                self._carriage.loop(not any(self._loops.values()), edge.t_s)
        edges += self._carriage.take_edges()
        return sorted(edges, key=lambda edge: edge.t_s) if len(edges) > 1 else edges

    def levels(self) -> dict[str, int]:
        """Levels of all input pins now."""
        return self._tower.levels() | (OPEN if self._carriage is None else self._carriage.levels())

    def set_output(self, name: str, on: bool, t_s: float) -> None:
        """The board's pin of an output changed at `t_s`."""
        if name != "DRIVE":
            self._tower.set_output(name, on, t_s)
        elif self._carriage is not None:
            self._carriage.set_output(name, on, t_s)
