"""Motions of a carriage as its two end switches show them, with all that real contacts do.

Contacts bounce for 5 ms at most and may chatter while the carriage shakes at an end; spikes of up
to 5 ms come at any time (both: common practice, no source). What must not be believed is apart from
the next of its kind by more than a sample.
"""

import random
from typing import NamedTuple

from rig.board.wire import Stroke

HOME = {"NEAR": 0, "FAR": 1}  # levels with the carriage at its start
BOUNCE_S = 5e-3
LONGEST_PULSE_S = 5e-3
APART_S = 1.2e-3  # a sample and its jitter
CHATTER_S = 40e-3
SHAKEN_S = 60e-3  # a switch rests for so long at least after the carriage came


class SwitchEdge(NamedTuple):
    """A pin takes a level: 0 when its switch is closed."""

    t_s: float
    pin: str
    level: int


class Motions:
    """Adds one motion after another, each from home to home.

    Args:
        rng: of durations and contacts.
        start_s: of the first.
        clean: contacts that neither bounce nor chatter, and no spikes.

    Attributes:
        t_s: end of the last.
        told: verdicts that a board must give, in order, with the time of the deciding contact.
    """

    def __init__(self, rng: random.Random, start_s: float = 0.0, clean: bool = False) -> None:
        self._rng, self._clean = rng, clean
        self._edges: list[SwitchEdge] = []
        self.t_s = start_s
        self.told: list[tuple[float, Stroke]] = []

    def take(self) -> list[SwitchEdge]:
        """Edges since the last call, in order of time."""
        edges, self._edges = sorted(self._edges, key=lambda edge: edge.t_s), []
        return edges

    @property
    def counted(self) -> int:
        """Full strokes up to now."""
        return sum(verdict is Stroke.COUNTED for _, verdict in self.told)

    def any(self) -> None:
        """One of those that happen."""
        kinds = [self.full, self.hesitant, self.partial, self.shove, self.tremble]
        self._rng.choices(kinds, (80, 8, 6, 3, 3))[0]()

    def full(self, shortest_s: float = 0.09, longest_s: float = 0.6) -> None:
        """There and back."""
        self._out(self._between(shortest_s, longest_s))
        self._back(self._between(shortest_s, longest_s), Stroke.COUNTED)

    def hesitant(self) -> None:
        """Leaves the far end and comes to it again, once or more: still one stroke."""
        self._out(self._between(0.09, 0.5))
        for _ in range(self._rng.randint(1, 3)):
            self._move("FAR", 1)
            self._rest(0.02, 0.2)
            self._move("FAR", 0)
            self._rest(SHAKEN_S, 0.3)
        self._back(self._between(0.09, 0.5), Stroke.COUNTED)

    def partial(self) -> None:
        """Turns before the far end."""
        self._move("NEAR", 1)
        self._rest(0.02, 1.0, noisy=("NEAR", "FAR"))
        self._home(Stroke.PARTIAL)

    def shove(self) -> None:
        """Whole, but too fast for a cut: 200 ms is the least."""
        for pin, level in (("NEAR", 1), ("FAR", 0), ("FAR", 1)):
            self._move(pin, level, shaken=False)
            self._rest(0.03, 0.05)
        self._move("NEAR", 0, shaken=False)
        self.told.append((self.t_s, Stroke.TOO_FAST))
        self._rest(SHAKEN_S, 0.25)

    def tremble(self) -> None:
        """The carriage shakes at home; nobody may call it a motion."""
        self._chatter("NEAR", 0, self._between(0.02, 0.3))
        self._rest(SHAKEN_S, 0.2)

    def both_closed(self) -> None:
        """The far switch is closed by something while the carriage is home."""
        self._move("FAR", 0)
        self.told.append((self.t_s, Stroke.BOTH_CLOSED))
        self._rest(SHAKEN_S, 0.5)
        self._move("FAR", 1)
        self._rest(SHAKEN_S, 0.2)

    # -- parts

    def _out(self, lasts_s: float) -> None:
        self._move("NEAR", 1)
        self._rest(lasts_s, lasts_s, noisy=("NEAR", "FAR"))
        self._move("FAR", 0)
        self._rest(SHAKEN_S, 0.25, noisy=("NEAR",))

    def _back(self, lasts_s: float, verdict: Stroke) -> None:
        self._move("FAR", 1)
        self._rest(lasts_s, lasts_s, noisy=("NEAR", "FAR"))
        self._home(verdict)

    def _home(self, verdict: Stroke) -> None:
        self._move("NEAR", 0)
        self.told.append((self.t_s, verdict))
        self._rest(SHAKEN_S, 0.25, noisy=("FAR",))

    def _between(self, low: float, high: float) -> float:
        return self._rng.uniform(low, high)

    def _move(self, pin: str, level: int, shaken: bool = True) -> None:
        """A contact takes a level, after some bounces; `t_s` is when it has it for good."""
        if self._clean:
            self._edges.append(SwitchEdge(self.t_s, pin, level))
            return
        end = self.t_s + self._between(0.0, BOUNCE_S)
        t, now = self.t_s, level
        while t < end:
            self._edges.append(SwitchEdge(t, pin, now))
            t, now = t + self._between(0.05e-3, 1.5e-3), 1 - now
        self._edges.append(SwitchEdge(end, pin, level))
        self.t_s = end
        if shaken and level == 0 and self._rng.random() < 0.2:
            self._chatter(pin, level, self._between(0.0, CHATTER_S))

    def _chatter(self, pin: str, level: int, lasts_s: float) -> None:
        end = self.t_s + lasts_s
        while self.t_s < end:
            self._pulse(self.t_s, pin, level)
            self.t_s += LONGEST_PULSE_S + self._between(APART_S, 4e-3)

    def _pulse(self, t_s: float, pin: str, level: int) -> None:
        lasts = self._between(0.05e-3, LONGEST_PULSE_S)
        self._edges += [SwitchEdge(t_s, pin, 1 - level), SwitchEdge(t_s + lasts, pin, level)]

    def _rest(self, least_s: float, most_s: float, noisy: tuple[str, ...] = ()) -> None:
        """Nothing moves for a while; spikes on pins that are open meanwhile."""
        begin, self.t_s = self.t_s, self.t_s + self._between(least_s, most_s)
        first, last = begin + APART_S, self.t_s - LONGEST_PULSE_S - APART_S
        for pin in noisy:
            if last > first and not self._clean and self._rng.random() < 0.3:
                self._pulse(self._between(first, last), pin, 1)
