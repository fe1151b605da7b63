"""The interlock of the firmware, once more in Python.

It alone decides the outputs latch, catch and lamp. Pure logic: no bytes, no clock of its own, one
`tick` each millisecond. The firmware has the same machine in C++; a randomised test holds the two
equal, so a change here is a change there.
"""

from collections.abc import Iterator

from rig.board.wire import LIMITS, Reason, State

BEAT_LIMIT_MS = LIMITS["BEAT_LIMIT_MS"]
ARM_LIMIT_MS = LIMITS["ARM_LIMIT_MS"]
PERMIT_LIMIT_MS = LIMITS["PERMIT_LIMIT_MS"]
STEADY_MS = LIMITS["STEADY_MS"]
STEADY_COUNTS = LIMITS["STEADY_COUNTS"]
BUTTON_DEBOUNCE_MS = LIMITS["BUTTON_DEBOUNCE_MS"]
CATCH_LEAD_MS = LIMITS["CATCH_LEAD_MS"]
LATCH_LIMIT_MS = LIMITS["LATCH_LIMIT_MS"]
DROPPED_COUNTS = LIMITS["DROPPED_COUNTS"]
FLIGHT_LIMIT_MS = LIMITS["FLIGHT_LIMIT_MS"]

BEAT_AGE_MAX_MS = 9_999
BUTTON_MAX_MS = 255
ARMED_BLINK_MS = 500
TRIPPED_BLINK_MS = 100

_TRIPPING = (Reason.GUARD_OPEN, Reason.ESTOP_OPEN, Reason.BEAT_LOST)
_DISARMABLE = (State.ARMED, State.PERMITTED, State.RELEASING, State.FLIGHT)


def difference(a: int, b: int) -> int:
    """`a - b` of two int16 counts, wrapped around like the firmware's subtraction."""
    return ((a - b + 0x8000) & 0xFFFF) - 0x8000


class Interlock:
    """State machine between the host's wishes and the two solenoids.

    Until the first tick it believes guard and e-stop to be open.

    Attributes:
        state, reason: where it is and what brought it there.
        latch, catch, lamp: outputs, true when energised.
        beat_age: ms since the host's last beat, at most 9,999.
        permit_left: ms left to press the button, 0 outside PERMITTED.
    """

    def __init__(self) -> None:
        self.state = State.HELD
        self.reason = Reason.NONE
        self.latch = self.catch = self.lamp = False
        self.beat_age = BEAT_AGE_MAX_MS
        self.guard = self.estop = False
        self.position = 0
        self._reference: int | None = None
        self._steady_ms = self._button_ms = self._blink_ms = 0
        self._guard_opened = False
        self._window = 0, 0
        self._nonce = 0
        self._arm_left = self._permit_left = 0
        self._start = self._elapsed = self._lowest = self._flight_ms = 0

    @property
    def permit_left(self) -> int:
        """ms left to press the release button; 0 unless PERMITTED."""
        return self._permit_left if self.state is State.PERMITTED else 0

    @property
    def button_ms(self) -> int:
        """The button is pressed for so long, 0 when up."""
        return self._button_ms

    @property
    def beat_lost(self) -> bool:
        """The host has been silent for too long."""
        return self.beat_age > BEAT_LIMIT_MS

    @property
    def settled(self) -> bool:
        """True when more ticks with the same inputs change nothing but ages and the lamp."""
        return self.state is State.TRIPPED or (self.state is State.HELD and self.estop)

    def tick(self, guard: bool, estop: bool, button: bool, position: int) -> None:
        """One millisecond with these inputs (closed, healthy, pressed, int16 counts)."""
        self._blink_ms += 1
        self.guard, self.estop, self.position = guard, estop, position
        self._age(button)
        if self.state is State.TRIPPED and not guard:
            self._guard_opened = True
        if not estop and self.state is not State.TRIPPED:
            self.trip(Reason.ESTOP_OPEN)
        if self.state is State.ARMED:
            self._tick_armed()
        elif self.state is State.PERMITTED:
            self._tick_permitted()
        elif self.state is State.RELEASING:
            self._tick_releasing()
        elif self.state is State.FLIGHT:
            self._tick_flight()
        self.lamp = self._lamp_on()

    def idle(self, ticks: int) -> None:
        """Many ticks at once with the inputs of the last one; only while `settled`."""
        if ticks <= 0:
            return
        self._blink_ms += ticks
        self.beat_age = min(self.beat_age + ticks, BEAT_AGE_MAX_MS)
        self._steady_ms = min(self._steady_ms + ticks, STEADY_MS)
        if self._button_ms:
            self._button_ms = min(self._button_ms + ticks, BUTTON_MAX_MS)
        self.lamp = self._lamp_on()

    def loop_open(self, reason: Reason) -> None:
        """The pin change of guard or e-stop (by the reason of that name), between ticks."""
        if self.state is State.TRIPPED:
            self._guard_opened |= reason is Reason.GUARD_OPEN
        elif reason is Reason.ESTOP_OPEN or self.state is not State.HELD:
            self.trip(reason)

    def arm(self, low: int, high: int, nonce: int) -> tuple[Reason, int]:
        """Ask for ARMED inside a window of counts; (NONE, nonce) or (reason, mask)."""
        reason, mask = self._arm_refusal(low, high)
        if reason is not Reason.NONE:
            if self.state in (State.ARMED, State.PERMITTED):
                self._hold(reason)
            return reason, mask
        self.state, self.reason = State.ARMED, Reason.NONE
        self._window, self._nonce = (low, high), nonce
        self._arm_left = ARM_LIMIT_MS
        return Reason.NONE, nonce

    def permit(self, nonce: int) -> tuple[Reason, int]:
        """Second step, with the nonce that ARM gave; (NONE, 0) or (reason, mask)."""
        if self.state is not State.ARMED:
            return _refused(Reason.NOT_ARMED)
        if nonce != self._nonce:
            self._hold(Reason.WRONG_NONCE)
            return _refused(Reason.WRONG_NONCE)
        first, mask = _first(self._failing(True, self._window))
        if first is not Reason.NONE:
            self._hold_or_trip(first)
            return first, mask
        self.state, self.reason = State.PERMITTED, Reason.NONE
        self._permit_left = PERMIT_LIMIT_MS
        return Reason.NONE, 0

    def beat(self) -> None:
        """The host is alive."""
        self.beat_age = 0

    def disarm(self) -> None:
        """Back to HELD from every state but TRIPPED."""
        if self.state in _DISARMABLE:
            self._hold(Reason.HOST_DISARM)

    def clear(self) -> tuple[Reason, int]:
        """Leave TRIPPED by the manual reset; (NONE, 0) or (reason, mask)."""
        if self.state is not State.TRIPPED:
            return _refused(Reason.NOT_TRIPPED)
        first, mask = _first(self._unclearable())
        if first is Reason.NONE:
            self.state, self.reason = State.HELD, Reason.NONE
        return first, mask

    def trip(self, reason: Reason) -> None:
        """Outputs off at once; only CLEAR leads out."""
        self.latch = self.catch = False
        self.state, self.reason, self._nonce = State.TRIPPED, reason, 0
        self._guard_opened = reason is Reason.GUARD_OPEN or not self.guard

    def _age(self, button: bool) -> None:
        self.beat_age = min(self.beat_age + 1, BEAT_AGE_MAX_MS)
        if self._reference is None or (
            abs(difference(self.position, self._reference)) > STEADY_COUNTS
        ):
            self._reference, self._steady_ms = self.position, 0
        else:
            self._steady_ms = min(self._steady_ms + 1, STEADY_MS)
        self._button_ms = min(self._button_ms + 1, BUTTON_MAX_MS) if button else 0

    def _tick_armed(self) -> None:
        if self._stopped(with_button=True):
            return
        self._arm_left -= 1
        if self._arm_left == 0:
            self._hold(Reason.ARM_EXPIRED)

    def _tick_permitted(self) -> None:
        if self._stopped(with_button=False):
            return
        if self._button_ms >= BUTTON_DEBOUNCE_MS:
            self.state, self.reason = State.RELEASING, Reason.RELEASED
            self.catch = True
            self._start, self._elapsed = self.position, 0
            return
        self._permit_left -= 1
        if self._permit_left == 0:
            self._hold(Reason.PERMIT_EXPIRED)

    def _tick_releasing(self) -> None:
        if self._lost():
            return
        self._elapsed += 1
        if self._elapsed == CATCH_LEAD_MS:
            self.latch = True
        dropped = difference(self._start, self.position)
        if dropped >= DROPPED_COUNTS:
            self.latch = False
            self.state, self.reason = State.FLIGHT, Reason.RELEASED
            self._lowest, self._flight_ms = self.position, 0
        elif dropped <= -DROPPED_COUNTS:
            self.trip(Reason.ENCODER_BACKWARDS)
        elif self._elapsed >= CATCH_LEAD_MS + LATCH_LIMIT_MS:
            self._hold(Reason.NO_RELEASE)

    def _tick_flight(self) -> None:
        if self._lost():
            return
        self._flight_ms += 1
        risen = difference(self.position, self._lowest)
        if risen < 0:
            self._lowest = self.position
        elif risen > 0:
            self._hold(Reason.REVERSED)
        elif self._flight_ms >= FLIGHT_LIMIT_MS:
            self._hold(Reason.FLIGHT_TIMEOUT)

    def _lost(self) -> bool:
        """Guard or host gone while the carriage may be on its way."""
        if not self.guard:
            self.trip(Reason.GUARD_OPEN)
        elif self.beat_lost:
            self.trip(Reason.BEAT_LOST)
        return self.state is State.TRIPPED

    def _stopped(self, with_button: bool) -> bool:
        first = next(self._failing(with_button, self._window), None)
        if first is None:
            return False
        self._hold_or_trip(first)
        return True

    def _hold_or_trip(self, reason: Reason) -> None:
        if reason in _TRIPPING:
            self.trip(reason)
        else:
            self._hold(reason)

    def _hold(self, reason: Reason) -> None:
        self.latch = self.catch = False
        self.state, self.reason, self._nonce = State.HELD, reason, 0

    def _failing(self, with_button: bool, window: tuple[int, int]) -> Iterator[Reason]:
        """Conditions of ARMED that fail, most important first."""
        if not self.guard:
            yield Reason.GUARD_OPEN
        if not self.estop:
            yield Reason.ESTOP_OPEN
        if self.beat_lost:
            yield Reason.BEAT_LOST
        if not window[0] <= self.position <= window[1]:
            yield Reason.OUTSIDE_WINDOW
        if self._steady_ms < STEADY_MS:
            yield Reason.NOT_STEADY
        if with_button and self._button_ms > 0:
            yield Reason.BUTTON_HELD

    def _arm_refusal(self, low: int, high: int) -> tuple[Reason, int]:
        if self.state is State.TRIPPED:
            return _refused(Reason.TRIPPED)
        if self.state in (State.RELEASING, State.FLIGHT):
            return _refused(Reason.BUSY)
        if low >= high:
            return _refused(Reason.BAD_WINDOW)
        return _first(self._failing(True, (low, high)))

    def _unclearable(self) -> Iterator[Reason]:
        if not self.guard:
            yield Reason.GUARD_OPEN
        if not self.estop:
            yield Reason.ESTOP_OPEN
        if self._button_ms > 0:
            yield Reason.BUTTON_HELD
        if not self._guard_opened:
            yield Reason.GUARD_NOT_CYCLED

    def _lamp_on(self) -> bool:
        if self.state is State.HELD:
            return False
        if self.state is State.ARMED:
            return self._blink_ms % ARMED_BLINK_MS < ARMED_BLINK_MS // 2
        if self.state is State.TRIPPED:
            return self._blink_ms % TRIPPED_BLINK_MS < TRIPPED_BLINK_MS // 2
        return True


def _refused(reason: Reason) -> tuple[Reason, int]:
    return reason, 1 << reason


def _first(failing: Iterator[Reason]) -> tuple[Reason, int]:
    """The first failing condition and the mask of all; (NONE, 0) when none fails."""
    reasons = list(failing)
    return (reasons[0] if reasons else Reason.NONE), sum(1 << reason for reason in reasons)
