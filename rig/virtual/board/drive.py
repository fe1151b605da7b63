"""The drive motor's interlock: arm, permit, a hand on the button; off at the least doubt.

The firmware's machine (firmware/src/drive.hpp) once more in Python; a randomised test holds the
two equal, so a change here is a change there. Its output is on while RUNNING and never else.
"""

from collections.abc import Iterator
from typing import NamedTuple

from rig.board.wire import LIMITS, DriveState, Reason, State

ARM_LIMIT_MS = LIMITS["ARM_LIMIT_MS"]
PERMIT_LIMIT_MS = LIMITS["PERMIT_LIMIT_MS"]
BUTTON_DEBOUNCE_MS = LIMITS["BUTTON_DEBOUNCE_MS"]
STALL_MS = LIMITS["STROKE_STALL_MS"]
BLINK_MS = 500

Answer = tuple[Reason, int]


class DriveInputs(NamedTuple):
    """What the drive looks at; contacts true when closed, healthy.

    `button_ms`: pressed for so long, 0 when up. `counted`, `ends`, `faults` as `Strokes` has them.
    """

    guard: bool
    estop: bool
    near: bool
    far: bool
    beat_lost: bool
    button_ms: int
    interlock: State
    counted: int
    ends: int
    faults: int


class Drive:
    """State machine between the host's wishes and the motor.

    Attributes:
        state, reason: where it is and what brought it there.
    """

    def __init__(self) -> None:
        self.state, self.reason = DriveState.OFF, Reason.NONE
        self._nonce = self._target = self._left = self._start = 0
        self._left_ms = self._stalled_ms = self._up_ms = self._blink_ms = 0
        self._ends = self._faults = 0

    @property
    def running(self) -> bool:
        """Whether the motor is on."""
        return self.state is DriveState.RUNNING

    @property
    def lamp(self) -> bool:
        """A hand may start it, or it runs; blinks when armed."""
        blink = self.state is DriveState.ARMED and self._blink_ms < BLINK_MS // 2
        return self.state > DriveState.ARMED or blink

    def target_left(self, counted: int) -> int:
        """Strokes still to do, or that were when it went off."""
        return self._target - (counted - self._start) if self.running else self._left

    def tick(self, now: DriveInputs) -> None:
        """One millisecond; needed only while not OFF."""
        self._blink_ms = (self._blink_ms + 1) % BLINK_MS
        if self.state is DriveState.ARMED:
            self._wait(next(_failing(now, True), None), Reason.ARM_EXPIRED)
        elif self.state is DriveState.PERMITTED:
            self._tick_permitted(now)
        elif self.state is DriveState.RUNNING:
            ending = self._ending(now)
            if ending is not None:
                self.stop(ending, now.counted)

    def stop(self, reason: Reason, counted: int) -> None:
        """At once, between ticks as well. Nothing happens to a drive that is OFF."""
        self._left = self.target_left(counted)
        if self.state is not DriveState.OFF:
            self._off(reason)

    def arm(self, target: int, nonce: int, now: DriveInputs) -> Answer:
        """First step: (NONE, nonce) or (reason, mask). A running drive is not disturbed."""
        if self.running:
            return _refused(Reason.BUSY)
        reason, mask = _arm_refusal(target, now)
        if reason is not Reason.NONE:
            self.stop(reason, now.counted)
            return reason, mask
        self.state, self.reason = DriveState.ARMED, Reason.NONE
        self._nonce, self._target, self._left = nonce, target, target
        self._left_ms = ARM_LIMIT_MS
        return Reason.NONE, nonce

    def permit(self, nonce: int, now: DriveInputs) -> Answer:
        """Second step, with the nonce that arming gave."""
        if self.state is not DriveState.ARMED:
            return _refused(Reason.NOT_ARMED)
        known = nonce == self._nonce
        reason, mask = _first(_failing(now, True)) if known else _refused(Reason.WRONG_NONCE)
        if reason is not Reason.NONE:
            self._off(reason)
            return reason, mask
        self.state, self._nonce = DriveState.PERMITTED, 0
        self._left_ms = PERMIT_LIMIT_MS
        return reason, mask

    def _wait(self, against: Reason | None, expired: Reason) -> None:
        if against is not None:
            self._off(against)
            return
        self._left_ms -= 1
        if self._left_ms == 0:
            self._off(expired)

    def _tick_permitted(self, now: DriveInputs) -> None:
        against = next(_failing(now, False), None)
        if against is not None or now.button_ms < BUTTON_DEBOUNCE_MS:
            self._wait(against, Reason.PERMIT_EXPIRED)
            return
        self.state, self.reason = DriveState.RUNNING, Reason.RELEASED
        self._start, self._ends, self._faults = now.counted, now.ends, now.faults
        self._stalled_ms = self._up_ms = 0

    def _ending(self, now: DriveInputs) -> Reason | None:
        unsafe = next(_unsafe(now), None)
        if unsafe is not None:
            return unsafe
        if now.faults != self._faults:
            return Reason.SWITCH_FAULT
        if self._pressed_again(now.button_ms):
            return Reason.STOPPED
        if now.ends == self._ends:
            self._stalled_ms += 1
            return Reason.STALL if self._stalled_ms >= STALL_MS else None
        self._ends, self._stalled_ms = now.ends, 0
        return Reason.TARGET if now.counted - self._start >= self._target else None

    def _pressed_again(self, button_ms: int) -> bool:
        """The press that started it must have ended first."""
        if self._up_ms >= BUTTON_DEBOUNCE_MS:
            return button_ms >= BUTTON_DEBOUNCE_MS
        self._up_ms = 0 if button_ms else self._up_ms + 1
        return False

    def _off(self, reason: Reason) -> None:
        self.state, self.reason, self._nonce = DriveState.OFF, reason, 0


def _unsafe(now: DriveInputs) -> Iterator[Reason]:
    if not now.guard:
        yield Reason.GUARD_OPEN
    if not now.estop:
        yield Reason.ESTOP_OPEN
    if now.beat_lost:
        yield Reason.BEAT_LOST
    if now.interlock is not State.HELD:
        yield Reason.TRIPPED


def _failing(now: DriveInputs, with_button: bool) -> Iterator[Reason]:
    """Conditions of ARMED and PERMITTED that fail, most important first."""
    reasons = set(_unsafe(now))
    if not now.near:
        reasons.add(Reason.OUTSIDE_WINDOW)
    if with_button and now.button_ms > 0:
        reasons.add(Reason.BUTTON_HELD)
    if now.far:
        reasons.add(Reason.SWITCH_FAULT)
    yield from sorted(reasons)


def _arm_refusal(target: int, now: DriveInputs) -> Answer:
    if now.interlock is State.TRIPPED:
        return _refused(Reason.TRIPPED)
    if now.interlock is not State.HELD:
        return _refused(Reason.BUSY)
    if target == 0:
        return _refused(Reason.BAD_WINDOW)
    return _first(_failing(now, True))


def _refused(reason: Reason) -> Answer:
    return reason, 1 << reason


def _first(failing: Iterator[Reason]) -> Answer:
    reasons = list(failing)
    return (reasons[0] if reasons else Reason.NONE), sum(1 << reason for reason in reasons)
