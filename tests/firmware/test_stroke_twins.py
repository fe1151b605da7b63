"""Strokes, their load and the drive exist twice, in C++ for the board and in Python: they agree.

Long random walks; both are told the same and must show and answer the same.
"""

import random
from collections import Counter

import pytest

from rig.board.wire import LIMITS, DriveState, Reason, State, Stroke
from rig.virtual.board.drive import Drive, DriveInputs
from rig.virtual.board.stroke_load import StrokeLoad
from rig.virtual.board.strokes import JudgedStroke, Strokes, WayOut
from tests.firmware.strokes import (
    REJECTS,
    DriveLook,
    FirmwareDrive,
    FirmwareStrokeLoad,
    FirmwareStrokes,
    StrokesLook,
)

STEPS = 80_000
TICKS = 2_000
TIME = 1 << 32
OF_THE_DRIVE = {
    *(Reason.NONE, Reason.GUARD_OPEN, Reason.ESTOP_OPEN, Reason.BEAT_LOST, Reason.BUTTON_HELD),
    *(Reason.OUTSIDE_WINDOW, Reason.BAD_WINDOW, Reason.TRIPPED, Reason.BUSY, Reason.NOT_ARMED),
    *(Reason.WRONG_NONCE, Reason.ARM_EXPIRED, Reason.PERMIT_EXPIRED, Reason.HOST_DISARM),
    *(Reason.RELEASED, Reason.STALL, Reason.TARGET, Reason.STOPPED, Reason.SWITCH_FAULT),
}


def shown(twin: Strokes) -> StrokesLook:
    return StrokesLook(
        twin.near,
        twin.far,
        twin.near_changed,
        twin.far_changed,
        twin.ends,
        twin.faults,
        twin.counted,
        tuple(twin.totals[kind] for kind in REJECTS),
        twin.way,
    )


class Carriage:
    """Levels of a carriage that is moved, shaken, and at times broken."""

    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.near, self.far = dice.random() < 0.7, dice.random() < 0.2
        self._left_ms = 0

    def step(self) -> tuple[bool, bool]:
        """One millisecond."""
        self._left_ms -= 1
        if self._left_ms <= 0:
            self._next()
        if self.dice.randrange(400) == 0:  # a spike that both see
            return self.near ^ (self.dice.random() < 0.5), self.far ^ (self.dice.random() < 0.5)
        return self.near, self.far

    def _next(self) -> None:
        dice = self.dice
        self._left_ms = dice.choice([1, 3, 7, 8, 9, 20, 60, 100, 200, 400])
        roll = dice.random()
        if self.near or self.far:
            if roll < 0.8:
                self.near = self.far = False
            elif roll < 0.84:
                self.near, self.far = not self.near, not self.far
        elif roll < 0.45:
            self.near = True
        elif roll < 0.9:
            self.far = True
        if dice.randrange(60) == 0:
            self.near = self.far = True
        if (self.near or self.far) and dice.randrange(60 if self.near ^ self.far else 2) == 0:
            self._left_ms = dice.choice([4_999, 5_001, 6_000])
        elif not self.near and not self.far and dice.randrange(150) == 0:
            self._left_ms = 17_000  # longer than the wire has room for


class StrokePair:
    """Both machines, told the same."""

    def __init__(self, carriage: Carriage, start: int) -> None:
        levels = carriage.near, carriage.far
        self.board, self.twin = FirmwareStrokes(*levels), Strokes(*levels)
        self._carriage, self.now = carriage, start
        assert self.board.look() == shown(self.twin)

    def tick(self, moving: bool) -> JudgedStroke | None:
        near, far = self._carriage.step()
        self.now = (self.now + TICKS) % TIME
        board = self.board.tick(near, far, moving, self.now)
        twin = self.twin.tick(near, far, moving, self.now)
        assert board == twin
        assert self.board.look() == shown(self.twin)
        return twin


def walk(seed: int) -> Counter[Stroke]:
    """Verdicts of both machines on one walk."""
    dice = random.Random(seed)
    pair = StrokePair(Carriage(dice), TIME - 30_000 * TICKS)
    seen: Counter[Stroke] = Counter()
    moving = False
    for _ in range(STEPS):
        if dice.randrange(8_000) == 0:
            moving = not moving
        if dice.randrange(2_000) == 0:
            band = dice.choice([(200, 10_000), (50, 900), (0, 16_383), (300, 300), (400, 16_383)])
            assert pair.board.set_band(*band) == pair.twin.set_band(*band)
        if dice.randrange(20_000) == 0:
            pair.board.default_band()
            pair.twin.default_band()
        judged = pair.tick(moving)
        if judged is not None:
            seen[judged.verdict] += 1
    return seen


def test_both_stroke_machines_judge_alike_on_random_walks_that_meet_every_verdict() -> None:
    met: Counter[Stroke] = sum((walk(seed) for seed in range(6)), Counter())
    assert min(met[kind] for kind in Stroke) >= 5, "walks that miss a verdict prove little"


@pytest.mark.parametrize("near", [False, True])
@pytest.mark.parametrize("count", [1, 20_000])
def test_idling_is_many_ticks_at_once(near: bool, count: int) -> None:
    one, other = (Strokes(True, False) for _ in range(2))
    courses = [True] * 20 + [False] * 30 + ([True] * 30 if near else [])
    for machine in (one, other):
        for level in courses:
            machine.tick(level, False, False, 0)
    assert one.resting(near, False) and not one.resting(not near, False)
    one.idle(count)
    for _ in range(count):
        other.tick(near, False, False, 0)
    assert vars(one).keys() == vars(other).keys()
    after = [[m.tick(not near, False, False, 7) for _ in range(20)] for m in (one, other)]
    assert after[0] == after[1]
    assert shown(one) == shown(other)


@pytest.mark.parametrize("seed", range(4))
def test_both_gather_the_same_load_on_a_random_walk(seed: int) -> None:
    dice = random.Random(seed)
    pair = StrokePair(Carriage(dice), TIME - 30_000 * TICKS)
    board, twin = FirmwareStrokeLoad(), StrokeLoad()
    codes = [0, 1, -1, 255, -256, 4_000_000, -8_388_607, 8_388_606, -8_388_608, 8_388_607]
    samples = saturated = 0
    for ms in range(STEPS):
        judged = pair.tick(moving=False)
        way = pair.twin.way
        if judged is not None:
            of_both = board.take(judged.way), twin.take(judged.way)
            assert of_both[0] == of_both[1]
            samples, saturated = samples + of_both[1].samples, saturated + of_both[1].saturated
        if ms % 12 == 0 and dice.random() < 0.9:
            noise = dice.randrange(-(1 << 23), 1 << 23)
            code = dice.choice(codes) if dice.random() < 0.1 else noise
            board.add(pair.now, code, way)
            twin.add(pair.now, code, way)
        board.settle(pair.now, way)
        twin.settle(pair.now, way)
    assert samples > 200 and saturated >= 1


def test_the_longest_way_out_neither_overflows_nor_rounds_up() -> None:
    for code in (-8_388_607, 8_388_605):
        board, twin = FirmwareStrokeLoad(), StrokeLoad()
        way = WayOut(0, 0, 1, True)
        for n in range(16_390):
            for machine in (board, twin):
                machine.add(n * 25_000, code + (n % 3 == 0), way)
        over = WayOut(0, 16_390 * 25_000, 1, False)
        found = board.take(over)
        assert found == twin.take(over)
        assert (found.samples, found.mean) == (16_383, code)


# -- the drive


class DriveWalk:
    """A person, a host and a motor that mostly do the right thing."""

    def __init__(self, seed: int) -> None:
        self.dice = random.Random(seed)
        self.board, self.twin = FirmwareDrive(), Drive()
        self.seen: Counter[DriveState] = Counter()
        self.reasons: Counter[Reason] = Counter()
        self.nonce = 0
        self.now = DriveInputs(True, True, True, False, False, 0, State.HELD, 0, 0, 0)
        self.calm_ms = 0

    def call(self, name: str, *arguments: object) -> object:
        board = getattr(self.board, name)(*arguments)
        twin = getattr(self.twin, name)(*arguments)
        assert board == twin, (name, arguments, board, twin)
        look, t = self.board.look(self.now.counted), self.twin
        left = t.target_left(self.now.counted)
        assert look == DriveLook(t.state, t.reason, t.running, t.lamp, left)
        self.seen[look.state] += 1
        self.reasons[look.reason] += 1
        if isinstance(twin, tuple):
            self.reasons[twin[0]] += 1
        return twin

    def chance(self, one_in: int) -> bool:
        return self.dice.randrange(one_in) == 0

    def step(self) -> None:
        """One millisecond."""
        self.carriage()
        if self.calm_ms:  # nobody does anything: what runs out, runs out
            self.calm_ms -= 1
        else:
            self.people()
            self.ask()
            if self.twin.state is not DriveState.OFF and self.chance(2_500):
                self.calm_ms = 10_500
        self.call("tick", self.now)

    def people(self) -> None:
        now = self.now
        pressed = now.button_ms > 0
        eager = self.twin.state is DriveState.PERMITTED
        pressed = not self.chance(80) if pressed else self.chance(200 if eager else 4_000)
        self.now = now._replace(
            button_ms=min(now.button_ms + 1, 255) if pressed else 0,
            guard=not self.chance(6_000) if now.guard else self.chance(30),
            estop=not self.chance(9_000) if now.estop else self.chance(30),
            beat_lost=self.chance(9_000) if not now.beat_lost else not self.chance(30),
            interlock=self.lock(now.interlock),
            faults=(now.faults + self.chance(9_000)) % 256,
        )
        if self.chance(9_000):
            self.call("stop", self.dice.choice([Reason.GUARD_OPEN, Reason.ESTOP_OPEN]), now.counted)

    def lock(self, state: State) -> State:
        if state is State.HELD:
            return self.dice.choice(list(State)) if self.chance(6_000) else state
        return State.HELD if self.chance(60) else state

    def carriage(self) -> None:
        now = self.now
        if self.twin.running and self.calm_ms == 0:
            if self.chance(300):
                ends = (now.ends + 1) % 256
                self.now = now._replace(
                    ends=ends, counted=now.counted + (ends % 2 == 0), near=ends % 2 == 0
                )
        elif not self.twin.running and self.calm_ms == 0:
            near = now.near if not self.chance(300) else not self.chance(12)
            far = not self.chance(30) if now.far else self.chance(6_000)
            self.now = now._replace(near=near, far=far)

    def ask(self) -> None:
        if not self.chance(150):
            return
        state = self.twin.state
        if state is DriveState.ARMED and not self.chance(8):
            self.call("permit", self.nonce ^ self.chance(15), self.now)
        elif state is DriveState.OFF or self.chance(40):
            self.nonce = self.dice.randrange(1, 1 << 28)
            target = 0 if self.chance(20) else self.dice.randrange(1, 9)
            self.call("arm", target, self.nonce, self.now)
        elif self.chance(40):
            self.call("stop", Reason.HOST_DISARM, self.now.counted)
        elif self.chance(20):
            self.call("permit", self.nonce, self.now)


def test_both_drives_do_the_same_on_random_walks_that_meet_every_state_and_reason() -> None:
    met: Counter[Reason] = Counter()
    for seed in range(8):
        walk = DriveWalk(seed)
        for _ in range(STEPS):
            walk.step()
        assert set(walk.seen) == set(DriveState), "a walk that misses a state proves little"
        met += walk.reasons
    assert set(met) == OF_THE_DRIVE, OF_THE_DRIVE ^ set(met)


def test_a_drive_left_alone_with_its_button_held_never_starts() -> None:
    walk = DriveWalk(0)
    walk.now = walk.now._replace(button_ms=255)
    for _ in range(LIMITS["PERMIT_LIMIT_MS"] + 100):
        walk.call("tick", walk.now)
    assert walk.call("arm", 5, 99, walk.now) == (Reason.BUTTON_HELD, 1 << Reason.BUTTON_HELD)
    assert set(walk.seen) == {DriveState.OFF}
