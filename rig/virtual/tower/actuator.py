"""A solenoid: it follows its supply late, and never sooner than 5 ms."""

import random
from collections.abc import Callable

from rig.virtual.tower.parameters import Solenoid

LEAST_DELAY_S = 5e-3

Schedule = Callable[[float, Callable[[], None]], None]


class Coil:
    """One solenoid; `pulled` is the state of the moved part."""

    def __init__(
        self,
        truth: Solenoid,
        rng: random.Random,
        schedule: Schedule,
        moved: Callable[[bool], None],
    ) -> None:
        self._truth, self._rng = truth, rng
        self._schedule, self._moved = schedule, moved
        self._supplied = False
        self._change = 0
        self.pulled = False

    def supply(self, on: bool, t: float) -> None:
        """Current on or off at `t`; a change not yet carried out is overtaken."""
        if on == self._supplied:
            return
        self._supplied = on
        self._change += 1
        change = self._change
        usual = self._truth.pull_in_s if on else self._truth.drop_out_s
        delay = max(LEAST_DELAY_S, self._rng.gauss(usual, self._truth.scatter_s))
        self._schedule(t + delay, lambda: self._move(change, on))

    def _move(self, change: int, on: bool) -> None:
        if change == self._change and on != self.pulled:
            self.pulled = on
            self._moved(on)
