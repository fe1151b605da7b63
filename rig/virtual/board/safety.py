"""Brings the interlocks of drop and drive their inputs and their decisions to the outputs."""

from collections.abc import Callable

from rig.board.wire import DriveState, Event, Input, Output, Reason, State
from rig.virtual.board.drive import Drive, DriveInputs
from rig.virtual.board.interlock import Interlock
from rig.virtual.board.logic import Contact
from rig.virtual.board.reporter import Reporter
from rig.virtual.board.strokes import Strokes

_CONTACTS = (("GUARD", Event.GUARD), ("ESTOP", Event.ESTOP), ("BUTTON", Event.BUTTON))
_DRIVEN = (Output.LATCH, Output.CATCH, Output.LAMP)

Answer = tuple[Reason, int]


class Safety:
    """Both interlocks with their pins; while one is at work the other is refused.

    Args:
        levels: of the input pins at boot, as `Wiring.levels` gives them; kept up to date here.
        reporter: takes the events.
        output: `output(name, on, t)` sets an output pin.
        strokes: of the carriage that the drive moves.
    """

    def __init__(
        self,
        levels: dict[str, int],
        reporter: Reporter,
        output: Callable[[str, bool, float], None],
        strokes: Strokes,
    ) -> None:
        self.interlock, self.drive = Interlock(), Drive()
        self._levels, self._reporter, self._output = dict(levels), reporter, output
        self._strokes = strokes
        self._contacts = {pin: Contact(levels[pin]) for pin, _ in _CONTACTS}
        self._energised = dict.fromkeys(_DRIVEN, False)
        self._state = State.HELD
        self._drive_state = DriveState.OFF

    @property
    def quiet(self) -> bool:
        """Nothing changes by itself, and no contact waits to be believed."""
        settled = (self._levels[pin] == contact.level for pin, contact in self._contacts.items())
        off = self.drive.state is DriveState.OFF
        return off and self.interlock.settled and all(settled)

    def input_bits(self) -> int:
        """STATUS.inputs."""
        levels = self._levels
        return (
            (not levels["GUARD"]) << Input.GUARD
            | (not levels["ESTOP"]) << Input.ESTOP
            | (not levels["BUTTON"]) << Input.BUTTON
            | levels["GATE"] << Input.GATE
        )

    def output_bits(self) -> int:
        """STATUS.outputs."""
        return sum(on << output for output, on in self._energised.items())

    def tick(self, position: int) -> None:
        """The interlocks' millisecond."""
        levels = self._levels
        self.interlock.tick(
            not levels["GUARD"], not levels["ESTOP"], not levels["BUTTON"], position
        )
        if self.drive.state is not DriveState.OFF:
            self.drive.tick(self._drive_inputs())

    def edge(self, pin: str, level: int) -> None:
        """A pin changed; an open loop is acted on at once."""
        self._levels[pin] = level
        if pin in ("GATE", "BUTTON"):
            return
        for loop, reason in (("ESTOP", Reason.ESTOP_OPEN), ("GUARD", Reason.GUARD_OPEN)):
            if self._levels[loop]:
                self.interlock.loop_open(reason)
                self._stop(reason)

    # -- the host's wishes

    def arm(self, low: int, high: int, nonce: int) -> Answer:
        """Of the drop."""
        if self.drive.state is not DriveState.OFF:
            return Reason.BUSY, 1 << Reason.BUSY
        return self.interlock.arm(low, high, nonce)

    def disarm(self) -> None:
        """Both."""
        self.interlock.disarm()
        self.stop_drive()

    def arm_drive(self, target: int, nonce: int) -> Answer:
        """For `target` strokes."""
        return self.drive.arm(target, nonce, self._drive_inputs())

    def permit_drive(self, nonce: int) -> Answer:
        """Second step."""
        return self.drive.permit(nonce, self._drive_inputs())

    def stop_drive(self) -> None:
        """Off."""
        self._stop(Reason.HOST_DISARM)

    def _stop(self, reason: Reason) -> None:
        self.drive.stop(reason, self._strokes.counted)

    def _drive_inputs(self) -> DriveInputs:
        lock, strokes = self.interlock, self._strokes
        return DriveInputs(
            guard=not self._levels["GUARD"],
            estop=not self._levels["ESTOP"],
            near=strokes.near,
            far=strokes.far,
            beat_lost=lock.beat_lost,
            button_ms=lock.button_ms,
            interlock=lock.state,
            counted=strokes.counted,
            ends=strokes.ends,
            faults=strokes.faults,
        )

    # -- what it tells

    def tell_contacts(self, ticks: int) -> None:
        """A millisecond of debouncing for the events of the contacts."""
        for pin, event in _CONTACTS:
            since = self._contacts[pin].tick(self._levels[pin], ticks)
            if since is not None:
                self._reporter.event(event, 1 - self._levels[pin], 0, since)

    def publish(self, t: float, ticks: int) -> None:
        """Write the pins the interlocks decided, then tell of every change, states first."""
        self._publish_drive(t, ticks)
        lock = self.interlock
        lamp = lock.lamp or self.drive.lamp
        wanted = zip(_DRIVEN, (lock.latch, lock.catch, lamp), strict=True)
        changed = [(output, on) for output, on in wanted if on != self._energised[output]]
        for output, on in changed:
            self._energised[output] = on
            self._output(output.name, on, t)
        if lock.state is not self._state:
            self._state = lock.state
            self._reporter.event(Event.STATE, lock.state, lock.reason, ticks)
        for output, on in changed:
            if output is not Output.LAMP:
                self._reporter.event(Event.OUTPUT, output, int(on), ticks)

    def _publish_drive(self, t: float, ticks: int) -> None:
        before, self._drive_state = self._drive_state, self.drive.state
        if before is self._drive_state:
            return
        if DriveState.RUNNING in (before, self._drive_state):
            self._output("DRIVE", self.drive.running, t)
        self._reporter.event(Event.DRIVE, self.drive.state, self.drive.reason, ticks)
