"""What an emulated board is wired to, and the clock of its host."""

from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from rig.board import wire
from rig.virtual.board.wiring import Plant

EPOCH_S = 1_000.0  # what the host's clock shows at plant time zero
OUTPUTS = ("LATCH", "CATCH", "LAMP", "DRIVE")
PORTS = PORT_B, PORT_C, PORT_D = 0, 1, 2


class Tower(Plant, Protocol):
    """The plant that keeps the time; `rig.virtual.tower.plant.Tower` is one."""

    now_s: float


class Jig(Protocol):
    """What turns the angle sensor; `rig.virtual.arm.plant.Jig` is one.

    It must know its course up to the next thing asked of it: times to come may be asked for.
    """

    def advance(self, until_s: float) -> None: ...
    def angle_ratio(self, t: NDArray[np.float64]) -> NDArray[np.float64]: ...


class Converter(Protocol):
    """The bridge converter's own clock and codes; `stuck` when its data line stays low for ever."""

    @property
    def next_ready_s(self) -> float: ...
    @property
    def stuck(self) -> bool: ...
    def take(self, until_s: float) -> Sequence[tuple[float, int]]: ...


class OutputChange(NamedTuple):
    """An output pin of the interlocks changed."""

    t_s: float
    cycle: int
    name: str
    on: bool


def port_and_bit(pin: int) -> tuple[int, int]:
    """Of a pin numbered as Firmata does."""
    if pin < 8:
        return PORT_D, pin
    return (PORT_B, pin - 8) if pin < 14 else (PORT_C, pin - 14)


OUTPUT_AT = {port_and_bit(wire.PINS[name]): name for name in OUTPUTS}


class HostClock:
    """The host's monotonic clock in the virtual world."""

    def __init__(self, plant: Tower, run: Callable[[float], None]) -> None:
        self._plant = plant
        self._run = run

    def now(self) -> float:
        """Monotonic seconds."""
        return EPOCH_S + self._plant.now_s

    def sleep(self, seconds: float) -> None:
        """Let the world go on for `seconds`."""
        self._run(self._plant.now_s + max(0.0, seconds))
