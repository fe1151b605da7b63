"""Brings the interlock its inputs and its decisions to the outputs, and tells of both."""

from collections.abc import Callable

from rig.board.wire import Event, Input, Output, Reason, State
from rig.virtual.interlock import Interlock
from rig.virtual.logic import Contact
from rig.virtual.reporter import Reporter

_CONTACTS = (("GUARD", Event.GUARD), ("ESTOP", Event.ESTOP), ("BUTTON", Event.BUTTON))
_DRIVEN = (Output.LATCH, Output.CATCH, Output.LAMP)


class Safety:
    """The interlock with its pins.

    Args:
        levels: of the input pins at boot, as `Tower.levels` gives them; kept up to date here.
        reporter: takes the events.
        drive: `drive(name, on, t)` sets an output pin.
    """

    def __init__(
        self,
        levels: dict[str, int],
        reporter: Reporter,
        drive: Callable[[str, bool, float], None],
    ) -> None:
        self.interlock = Interlock()
        self._levels, self._reporter, self._drive = dict(levels), reporter, drive
        self._contacts = {pin: Contact(levels[pin]) for pin, _ in _CONTACTS}
        self._energised = dict.fromkeys(_DRIVEN, False)
        self._state = State.HELD

    @property
    def quiet(self) -> bool:
        """Nothing changes by itself, and no contact waits to be believed."""
        settled = (self._levels[pin] == contact.level for pin, contact in self._contacts.items())
        return self.interlock.settled and all(settled)

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
        """The interlock's millisecond."""
        levels = self._levels
        self.interlock.tick(
            not levels["GUARD"], not levels["ESTOP"], not levels["BUTTON"], position
        )

    def edge(self, pin: str, level: int) -> None:
        """A pin changed; an open loop is acted on at once."""
        self._levels[pin] = level
        if pin in ("GATE", "BUTTON"):
            return
        if self._levels["ESTOP"]:
            self.interlock.loop_open(Reason.ESTOP_OPEN)
        if self._levels["GUARD"]:
            self.interlock.loop_open(Reason.GUARD_OPEN)

    def tell_contacts(self, ticks: int) -> None:
        """A millisecond of debouncing for the events of the contacts."""
        for pin, event in _CONTACTS:
            since = self._contacts[pin].tick(self._levels[pin], ticks)
            if since is not None:
                self._reporter.event(event, 1 - self._levels[pin], 0, since)

    def publish(self, t: float, ticks: int) -> None:
        """Write the pins the interlock decided, then tell of every change, state first."""
        lock = self.interlock
        wanted = zip(_DRIVEN, (lock.latch, lock.catch, lock.lamp), strict=True)
        changed = [(output, on) for output, on in wanted if on != self._energised[output]]
        for output, on in changed:
            self._energised[output] = on
            self._drive(output.name, on, t)
        if lock.state is not self._state:
            self._state = lock.state
            self._reporter.event(Event.STATE, lock.state, lock.reason, ticks)
        for output, on in changed:
            if output is not Output.LAMP:
                self._reporter.event(Event.OUTPUT, output, int(on), ticks)
