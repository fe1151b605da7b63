"""The host's clock in virtual time."""

from typing import Protocol

EPOCH_S = 1_000.0  # what the host's clock shows at plant time zero


class World(Protocol):
    """What goes on while the host sleeps."""

    now_s: float

    def run(self, until_s: float) -> None:
        """Go on until plant time `until_s`."""
        ...


class VirtualClock:
    """The host's monotonic clock in the virtual world."""

    def __init__(self, world: World) -> None:
        self._world = world

    def now(self) -> float:
        """Monotonic seconds."""
        return EPOCH_S + self._world.now_s

    def sleep(self, seconds: float) -> None:
        """Let the world go on for `seconds`."""
        self._world.run(self._world.now_s + max(0.0, seconds))
