"""The host's clock in virtual time."""

from typing import Protocol

EPOCH_S = 1_000.0  # what the host's clock shows at plant time zero


class World(Protocol):
    """What goes on while the host sleeps."""

    now_s: float

    @property
    def rest_until_s(self) -> float:
        """Plant time before which nothing happens and nothing more comes to be read."""
        ...

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

    def doze(self, step_s: float, end_s: float, before_s: float) -> None:
        """Let all those steps towards `end_s` pass in one go in which surely nothing comes."""
        began_s = t = self._world.now_s
        rest_s = self._world.rest_until_s
        while (step := min(step_s, end_s - (EPOCH_S + t))) > 0:
            later = t + step
            if later >= rest_s or EPOCH_S + later >= before_s:
                break
            t = later
        if t > began_s:
            self._world.run(t)
