"""The firmware once more in Python: what it does each millisecond and with each message.

Time comes in from outside as virtual seconds; the twin counts milliseconds of its own clock.
Where the firmware samples the height and ticks the interlock half a millisecond apart, the twin
does both at the same instant.
"""

import zlib
from collections.abc import Callable

from rig.board import wire
from rig.board.wire import LIMITS, Event, Input, Kind, Op, Output, Reason, State
from rig.virtual import firmata
from rig.virtual.interlock import Interlock
from rig.virtual.line import Line
from rig.virtual.logic import Contact, Nonces
from rig.virtual.reporter import BLOCK, Reporter

TICKS_PER_MS = wire.TICK_HZ // 1_000
STATUS_MS = LIMITS["STATUS_PERIOD_MS"]
WATCHDOG_RESET = 8  # MCUSR bit
_TIME = 1 << wire.TIME_BITS
_CRC = wire.CRC.septets
_COMMAND_HEAD = wire.width(wire.COMMAND_HEAD)
_CONTACTS = (("GUARD", Event.GUARD), ("ESTOP", Event.ESTOP), ("BUTTON", Event.BUTTON))
_BAD = Reason.BAD_COMMAND, 1 << Reason.BAD_COMMAND


class Twin:
    """One boot of the board, from reset to the next.

    Args:
        start_s: virtual time of the first instruction.
        rate_hz: true rate of the MCU's 2 MHz clock.
        boot: boot counter and reset cause as HELLO tells them.
        levels: of the input pins at boot, as `Tower.levels` gives them.
        count: of the encoder at boot (positions count from there).
        line: to the host.
        drive: `drive(name, on, t)` sets an output pin.
        free: levels and analog codes that the world puts on the free pins.
        identity: wire version and name it tells.
    """

    def __init__(
        self,
        start_s: float,
        rate_hz: float,
        boot: tuple[int, int],
        levels: dict[str, int],
        count: int,
        line: Line,
        drive: Callable[[str, bool, float], None],
        free: tuple[dict[int, int], dict[int, int]],
        identity: tuple[int, str] = (wire.WIRE_VERSION, wire.FIRMWARE_NAME),
    ) -> None:
        self._start_s, self._rate_hz, self._now_s = start_s, rate_hz, start_s
        self._cause = boot[1]
        self._wire, name = identity
        self._zero, self._drive = count, drive
        self._levels = dict(levels)
        self._position = 0
        self._contacts = {pin: Contact(levels[pin]) for pin, _ in _CONTACTS}
        self._outputs = {Output.LATCH: False, Output.CATCH: False, Output.LAMP: False}
        self._state = State.HELD
        self._block: list[int] | None = None
        self._block_time = 0
        self.ms = 0
        self.interlock = Interlock()
        self.reporter = Reporter(line, boot[0])
        self._pins = firmata.Pins(self._say, name, *free)
        self._parser = firmata.Parser(self._message, self._sysex, self._broken)
        self._nonces = Nonces(boot[0], 0)
        self._start()

    def _start(self) -> None:
        self._tick_interlock()
        if self._cause & WATCHDOG_RESET:
            self.interlock.trip(Reason.WATCHDOG)
        self._publish()
        self._say(firmata.version_report())
        self._pins.firmware()
        self._hello()

    # -- time

    def tick_s(self, ms: int) -> float:
        """Virtual time of the millisecond tick `ms`."""
        return self._start_s + ms * TICKS_PER_MS / self._rate_hz

    def ticks(self, t: float) -> int:
        """The MCU clock at `t`."""
        return int((t - self._start_s) * self._rate_hz + 1e-3) % _TIME

    def last_ms_before(self, t: float) -> int:
        """Number of the last millisecond tick before `t`."""
        return int((t - self._start_s) * self._rate_hz / TICKS_PER_MS - 1e-6)

    def idle_ms(self) -> int:
        """Milliseconds that may be skipped if nothing comes from outside, none when busy."""
        levels = self._levels
        if not self.interlock.settled or any(
            levels[pin] != contact.level for pin, contact in self._contacts.items()
        ):
            return 0
        until_due = STATUS_MS - self.ms % STATUS_MS
        if self._block is not None:
            until_due = min(until_due, BLOCK - len(self._block))
        if self._pins.analog_on:
            until_due = min(until_due, self._pins.due_ms - self.ms)
        return until_due - 1

    # -- the world

    def skip(self, ms: int) -> None:
        """Let milliseconds pass in which nothing changes."""
        self.interlock.idle(ms)
        if self._block is not None:
            if not self._block:
                self._block_time = (self.ms + 1) * TICKS_PER_MS
            self._block += [self._position] * ms
        self.ms += ms

    def edge(self, t: float, pin: str, level: int) -> None:
        """A pin changed: what the interrupts do."""
        self._now_s = t
        self._levels[pin] = level
        if pin == "GATE":
            self.reporter.event(Event.GATE, level, 0, self.ticks(t))
        elif pin != "BUTTON":
            if self._levels["ESTOP"]:
                self.interlock.loop_open(Reason.ESTOP_OPEN)
            if self._levels["GUARD"]:
                self.interlock.loop_open(Reason.GUARD_OPEN)
            self._publish()
        self.reporter.flush(t)

    def tick(self, count: int, noisy: bool = False) -> None:
        """The millisecond interrupts, with the encoder's count, and the main loop after them."""
        self.ms += 1
        self._now_s = now = self.tick_s(self.ms)
        position = _int16(count - self._zero)
        if noisy and position != self._position:
            self.reporter.count("illegal_edges")
        self._position = position
        self._sample(now)
        self._tick_interlock()
        self._publish()
        self._tell_contacts(self.ticks(now))
        self.reporter.flush(now)
        if self.ms % STATUS_MS == 0:
            self._status(now)
        self._pins.poll(self.ms)

    def receive(self, byte: int, t: float) -> None:
        """A byte from the host."""
        self._now_s = t
        self._parser.feed(byte)

    def pins_changed(self, t: float) -> None:
        """The world changed a free pin."""
        self._now_s = t
        self._pins.tell_digital()

    # -- what it tells

    def _say(self, message: bytes) -> None:
        self.reporter.plain(message, self._now_s)

    def _hello(self) -> None:
        now = self._now_s
        self.reporter.hello(self._wire, self._cause, self.ticks(now), now)

    def _status(self, now: float) -> None:
        levels, lock = self._levels, self.interlock
        values = {
            "inputs": (not levels["GUARD"]) << Input.GUARD
            | (not levels["ESTOP"]) << Input.ESTOP
            | (not levels["BUTTON"]) << Input.BUTTON
            | levels["GATE"] << Input.GATE,
            "state": lock.state,
            "reason": lock.reason,
            "permit_left_ms": lock.permit_left,
            "beat_age_ms": lock.beat_age,
            "height": self._position,
            "outputs": sum(on << output for output, on in self._outputs.items()),
        }
        self.reporter.status(values, self.ticks(now), now)

    def _sample(self, now: float) -> None:
        if self._block is None:
            return
        if not self._block:
            self._block_time = self.ms * TICKS_PER_MS
        self._block.append(self._position)
        if len(self._block) == BLOCK:
            self.reporter.block(self._block, self._block_time, now)
            self._block = []

    def _tell_contacts(self, now: int) -> None:
        for pin, event in _CONTACTS:
            since = self._contacts[pin].tick(self._levels[pin], now)
            if since is not None:
                self.reporter.event(event, 1 - self._levels[pin], 0, since)

    # -- interlock

    def _tick_interlock(self) -> None:
        levels = self._levels
        self.interlock.tick(
            not levels["GUARD"], not levels["ESTOP"], not levels["BUTTON"], self._position
        )

    def _publish(self) -> None:
        """Write the pins the interlock decided, then tell of every change."""
        lock, now = self.interlock, self.ticks(self._now_s)
        for output, on in zip(Output, (lock.latch, lock.catch, lock.lamp), strict=True):
            if on != self._outputs[output]:
                self._outputs[output] = on
                self._drive(output.name, on, self._now_s)
                if output is not Output.LAMP:
                    self.reporter.event(Event.OUTPUT, output, int(on), now)
        if lock.state is not self._state:
            self._state = lock.state
            self.reporter.event(Event.STATE, lock.state, lock.reason, now)

    # -- messages in

    def _message(self, status: int, channel: int, data: bytes) -> None:
        self._pins.message(status, channel, data)
        if status == firmata.RESET:
            self._block = None
            self.interlock.disarm()
            self._publish()
            self.reporter.flush(self._now_s)

    def _broken(self, data: bytes) -> None:
        if data[0] == wire.COMMAND_SYSEX:
            self.reporter.count("rx_damaged")

    def _sysex(self, data: bytes) -> None:
        if data[0] == wire.COMMAND_SYSEX:
            self._command(data[:-_CRC], data[-_CRC:])
        else:
            self._pins.sysex(data[0], data[1:])

    def _command(self, body: bytes, seal: bytes) -> None:
        if len(body) <= _COMMAND_HEAD or seal != wire.septets(zlib.crc32(body), wire.CRC):
            self.reporter.count("rx_damaged")
            return
        head = wire.unpack(wire.COMMAND_HEAD, body[1 : 1 + _COMMAND_HEAD])
        answer = self._obey(head["op"], body[1 + _COMMAND_HEAD :])
        self._publish()
        self.reporter.reply(head, answer, self.ticks(self._now_s), self._now_s)
        self.reporter.flush(self._now_s)

    def _obey(self, code: int, payload: bytes) -> tuple[Reason, int]:
        try:
            op = Op(code)
            told = wire.unpack(wire.COMMANDS[op], payload)
        except ValueError:
            return _BAD
        if op is Op.ARM:
            nonce = self._nonces.next(self.ticks(self._now_s))
            return self.interlock.arm(told["low"], told["high"], nonce)
        if op is Op.PERMIT:
            return self.interlock.permit(told["nonce"])
        if op is Op.CLEAR:
            return self.interlock.clear()
        if op is Op.STREAM:
            return self._stream(told["channel"], bool(told["on"]))
        if op is Op.BEAT:
            self.interlock.beat()
        elif op is Op.DISARM:
            self.interlock.disarm()
        else:
            self._hello()
        return Reason.NONE, 0

    def _stream(self, channel: int, on: bool) -> tuple[Reason, int]:
        if channel != Kind.HEIGHT:
            return _BAD
        if on != (self._block is not None):
            self._block = [] if on else None
        return Reason.NONE, 0


def _int16(count: int) -> int:
    return (count + 0x8000 & 0xFFFF) - 0x8000
