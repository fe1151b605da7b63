"""The interlock exists twice, in C++ for the board and in Python for the stand-in: they agree.

Long random walks with a lean towards what leads to a release, so that every state is visited
again and again; both machines are told the same and must show and answer the same.
"""

import random
from collections import Counter

import pytest

from rig.board.wire import Reason, State
from rig.virtual.board.interlock import Interlock
from tests.firmware.host import FirmwareInterlock, Look

STEPS = 60_000
OTHERS = {Reason.BAD_COMMAND, Reason.STALL, Reason.TARGET, Reason.STOPPED, Reason.SWITCH_FAULT}
REACHABLE = set(Reason) - OTHERS  # of the command layer, and of the drive


class Pair:
    """Both machines; every call goes to both, and any difference is an error."""

    def __init__(self) -> None:
        self.board, self.twin = FirmwareInterlock(), Interlock()
        self.seen: Counter[State] = Counter()
        self.reasons: Counter[Reason] = Counter()
        self.nonce = 0

    def call(self, name: str, *arguments: object) -> object:
        board = getattr(self.board, name)(*arguments)
        twin = getattr(self.twin, name)(*arguments)
        assert board == twin, (name, arguments, board, twin)
        look, expected = self.board.look(), self.twin_look()
        assert look == expected, (name, arguments, look, expected)
        self.seen[look.state] += 1
        self.reasons[look.reason] += 1
        if isinstance(twin, tuple):
            self.reasons[twin[0]] += 1
        return twin

    def twin_look(self) -> Look:
        t = self.twin
        return Look(t.state, t.reason, t.latch, t.catch, t.lamp, t.beat_age, t.permit_left)


class Walk:
    """A person, a host and a carriage that mostly do the right thing."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        self.pair = Pair()
        self.guard, self.estop, self.button = True, True, False
        self.position = self.dice.choice([0, 4000, -32_700, 32_700])
        self.speed = 0
        self.silent_ms = 0
        self.calm_ms = 0

    def chance(self, one_in: int) -> bool:
        return self.dice.randrange(one_in) == 0

    def step(self) -> None:
        """One millisecond."""
        if self.calm_ms:  # a host that beats and nobody who moves: what expires, expires
            self.calm_ms -= 1
            self.pair.call("beat")
        else:
            self.happen()
        self.pair.call("tick", self.guard, self.estop, self.button, self.position)

    def happen(self) -> None:
        self.hands()
        self.carriage()
        self.host()
        if self.chance(2_000):
            self.pair.call("loop_open", self.dice.choice([Reason.GUARD_OPEN, Reason.ESTOP_OPEN]))
        if self.chance(20_000):
            self.pair.call("trip", Reason.WATCHDOG)
        busy = self.pair.twin.state not in (State.HELD, State.TRIPPED)
        if busy and self.chance(2_000):
            self.calm_ms = 10_500

    def hands(self) -> None:
        state = self.pair.twin.state
        if self.chance(4_000 if self.guard else 30):
            self.guard = not self.guard
        if state is State.TRIPPED and self.guard and self.chance(200):
            self.guard = False
        if self.chance(8_000 if self.estop else 30):
            self.estop = not self.estop
        if self.button:
            self.button = not self.chance(60)
        else:
            self.button = self.chance(300 if state is State.PERMITTED else 3_000)

    def carriage(self) -> None:
        state = self.pair.twin.state
        if state is State.RELEASING and self.pair.twin.latch and self.speed == 0:
            if self.chance(100):
                self.speed = self.dice.choice([-16, -16, -16, -3, 7])
        elif state is State.FLIGHT:
            if self.chance(150):
                self.speed = self.dice.choice([0, 4, -1])
        elif self.chance(1_500):
            self.speed = self.dice.choice([-1, 0, 1, 20])
        elif self.speed and self.chance(10):
            self.speed = 0
        self.position = (self.position + self.speed + 0x8000) % 0x10000 - 0x8000

    def host(self) -> None:
        if self.silent_ms:
            self.silent_ms -= 1
        elif self.chance(40):
            self.pair.call("beat")
        elif self.chance(5_000):
            self.silent_ms = self.dice.randrange(300, 1200)
        if self.chance(150):
            self.ask()

    def ask(self) -> None:
        state = self.pair.twin.state
        if state is State.ARMED and not self.chance(8):
            wrong = self.chance(15)
            self.pair.call("permit", self.pair.nonce ^ wrong)
        elif state is State.TRIPPED and not self.chance(5):
            self.pair.call("clear")
        elif state is State.HELD or self.chance(12):
            self.arm()
        elif self.chance(20):
            self.pair.call("disarm")
        elif self.chance(20):
            self.pair.call("clear")
        elif self.chance(20):
            self.pair.call("permit", self.pair.nonce)

    def arm(self) -> None:
        reach = self.dice.choice([2, 10, 50])
        centre = self.position + (self.dice.randrange(-60, 60) if self.chance(10) else 0)
        low, high = (max(-32_768, min(32_767, edge)) for edge in (centre - reach, centre + reach))
        if self.chance(15):
            low, high = high, low
        self.pair.nonce = self.dice.randrange(1, 1 << 28)
        self.pair.call("arm", low, high, self.pair.nonce)


@pytest.mark.parametrize("seed", range(8))
def test_both_interlocks_do_the_same_on_a_random_walk(seed: int) -> None:
    walk = Walk(seed)
    for _ in range(STEPS):
        walk.step()
    assert set(walk.pair.seen) == set(State), "a walk that misses a state proves little"


def test_the_walks_together_meet_every_reason() -> None:
    met: Counter[Reason] = Counter()
    for seed in range(100, 108):
        walk = Walk(seed)
        for _ in range(STEPS):
            walk.step()
        met += walk.pair.reasons
    assert set(met) >= REACHABLE, REACHABLE - set(met)


def test_both_interlocks_agree_when_left_alone_for_a_long_time() -> None:
    pair = Pair()
    for _ in range(12_000):
        pair.call("tick", True, True, False, 0)
