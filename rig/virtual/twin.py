"""The firmware once more in Python: what it does each millisecond and with each message.

Time comes in from outside as virtual seconds; the twin counts milliseconds of its own clock.
"""

import zlib
from collections.abc import Callable

from rig.board import wire
from rig.board.wire import CHANNELS, LIMITS, Event, Input, Kind, Op, Output, Reason, State
from rig.virtual import firmata
from rig.virtual.interlock import Interlock
from rig.virtual.line import Line

TICKS_PER_MS = wire.TICK_HZ // 1_000
STATUS_MS = LIMITS["STATUS_PERIOD_MS"]
BLOCK = CHANNELS[Kind.HEIGHT].block
DEBOUNCE_MS = 5
WATCHDOG_RESET = 8  # MCUSR bit
_TIME = 1 << wire.TIME_BITS
_SEQ = 1 << wire.SEQ_BITS
_CRC = wire.CRC.septets
_COMMAND_HEAD = wire.width(wire.COMMAND_HEAD)
_CONTACTS = (("GUARD", Event.GUARD), ("ESTOP", Event.ESTOP), ("BUTTON", Event.BUTTON))


class Nonces:
    """Numbers the host cannot know beforehand (Marsaglia's xorshift32, triple 13, 17, 5)."""

    def __init__(self, boot: int, time: int) -> None:
        self._state = ((boot << 16 | time & 0xFFFF) & 0xFFFFFFFF) ^ 0x9E3779B9 or 1

    def next(self, time: int) -> int:
        """28 bits, never zero."""
        x = self._state ^ time or 1
        x ^= x << 13 & 0xFFFFFFFF
        x ^= x >> 17
        x ^= x << 5 & 0xFFFFFFFF
        self._state = x
        return x & 0x0FFFFFFF or 1


class Contact:
    """A contact whose change is told once it has lasted `DEBOUNCE_MS`."""

    def __init__(self, level: int) -> None:
        self.level = level
        self._differing_ms = 0
        self._since = 0

    def tick(self, level: int, now: int) -> int | None:
        """Time at which a change now believed began, if one has just been believed."""
        if level == self.level:
            self._differing_ms = 0
            return None
        if self._differing_ms == 0:
            self._since = now
        self._differing_ms += 1
        if self._differing_ms < DEBOUNCE_MS:
            return None
        self.level = level
        self._differing_ms = 0
        return self._since


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
        self._start_s, self._rate_hz = start_s, rate_hz
        self._boot, self._cause = boot
        self._wire, self._name = identity
        self._zero, self._line, self._drive = count, line, drive
        self.interlock = Interlock()
        self.ms = 0
        self._seq = 0
        self._now_s = start_s
        self._levels = dict(levels)
        self._position = 0
        self._contacts = {pin: Contact(levels[pin]) for pin, _ in _CONTACTS}
        self._outputs = {Output.LATCH: False, Output.CATCH: False, Output.LAMP: False}
        self._state = State.HELD
        self._block: list[int] | None = None
        self._block_time = 0
        self._report_due_ms = firmata.DEFAULT_INTERVAL_MS
        self.counters = dict.fromkeys(
            ("rx_dropped", "rx_damaged", "tx_dropped", "illegal_edges", "missed_samples"), 0
        )
        self._pins = firmata.Pins(self._say, *free)
        self._parser = firmata.Parser(self._message, self._sysex, self._broken)
        self._nonces = Nonces(self._boot, 0)
        if self._cause & WATCHDOG_RESET:
            self.interlock.trip(Reason.WATCHDOG)
        self._say(firmata.version_report())
        self._say(firmata.firmware_report(self._name))
        self._hello()
        self._settle_outputs()

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
        if not self.interlock.settled or any(
            self._levels[pin] != contact.level for pin, contact in self._contacts.items()
        ):
            return 0
        until_due = STATUS_MS - self.ms % STATUS_MS
        if self._block is not None:
            until_due = min(until_due, BLOCK - len(self._block))
        if self._pins.analog_on:
            until_due = min(until_due, self._report_due_ms - self.ms)
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
            self._event(Event.GATE, level, 0, self.ticks(t))
        elif level and pin in ("GUARD", "ESTOP"):
            reason = Reason.GUARD_OPEN if pin == "GUARD" else Reason.ESTOP_OPEN
            self.interlock.loop_open(reason)
            self._settle_outputs()

    def tick(self, count: int, noisy: bool = False) -> None:
        """The millisecond interrupt, with the encoder's count."""
        self.ms += 1
        self._now_s = self.tick_s(self.ms)
        position = _int16(count - self._zero)
        if noisy and position != self._position:
            self._count("illegal_edges")
        self._position = position
        levels = self._levels
        self.interlock.tick(
            not levels["GUARD"], not levels["ESTOP"], not levels["BUTTON"], position
        )
        self._settle_outputs()
        self._tell_contacts()
        self._sample()
        if self.ms % STATUS_MS == 0:
            self._status()
        if self.ms >= self._report_due_ms:
            self._report_due_ms = self.ms + self._pins.interval_ms
            self._pins.tell_analog()

    def receive(self, byte: int, t: float) -> None:
        """A byte from the host."""
        self._now_s = t
        self._parser.feed(byte)

    def pins_changed(self, t: float) -> None:
        """The world changed a free pin."""
        self._now_s = t
        self._pins.tell_digital()

    # -- frames out

    def _say(self, message: bytes) -> None:
        """A plain Firmata message; the firmware waits for room."""
        self._line.send(message, self._now_s)

    def _frame(self, kind: Kind, time: int, payload: bytes) -> None:
        seq, self._seq = self._seq, (self._seq + 1) % _SEQ
        data = wire.frame(kind, seq, time % _TIME, payload)
        if len(data) > self._line.room(self._now_s):
            self._count("tx_dropped")
        else:
            self._line.send(data, self._now_s)

    def _event(self, code: Event, value: int, extra: int, time: int) -> None:
        values = {"code": code, "value": value, "extra": extra}
        self._frame(Kind.EVENT, time, wire.pack(wire.PAYLOADS[Kind.EVENT], values))

    def _hello(self) -> None:
        major, minor, patch = wire.FIRMWARE_VERSION
        values = {
            "wire": self._wire,
            "major": major,
            "minor": minor,
            "patch": patch,
            "description": wire.description(),
            "boot": self._boot,
            "reset_cause": self._cause,
            "height_period": CHANNELS[Kind.HEIGHT].period_ticks,
        }
        payload = wire.pack(wire.PAYLOADS[Kind.HELLO], values)
        self._frame(Kind.HELLO, self.ticks(self._now_s), payload)

    def _status(self) -> None:
        levels, lock = self._levels, self.interlock
        values = {
            "boot": self._boot,
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
            **self.counters,
        }
        payload = wire.pack(wire.PAYLOADS[Kind.STATUS], values)
        self._frame(Kind.STATUS, self.ticks(self._now_s), payload)

    def _sample(self) -> None:
        if self._block is None:
            return
        if not self._block:
            self._block_time = self.ms * TICKS_PER_MS
        self._block.append(self._position)
        if len(self._block) < BLOCK:
            return
        channel = CHANNELS[Kind.HEIGHT]
        prefix = wire.pack(channel.prefix, self.counters)
        samples = b"".join(wire.septets(count, channel.sample) for count in self._block)
        self._block = []
        self._frame(Kind.HEIGHT, self._block_time, prefix + samples)

    def _count(self, counter: str) -> None:
        self.counters[counter] = (self.counters[counter] + 1) % 128

    # -- interlock

    def _settle_outputs(self) -> None:
        """Write the pins the interlock decided, then tell of every change."""
        lock, now = self.interlock, self.ticks(self._now_s)
        decided = {Output.LATCH: lock.latch, Output.CATCH: lock.catch, Output.LAMP: lock.lamp}
        changed = [output for output, on in decided.items() if on != self._outputs[output]]
        for output in changed:
            self._outputs[output] = decided[output]
            self._drive(output.name, decided[output], self._now_s)
        if lock.state is not self._state:
            self._state = lock.state
            self._event(Event.STATE, lock.state, lock.reason, now)
        for output in changed:
            if output is not Output.LAMP:
                self._event(Event.OUTPUT, output, int(decided[output]), now)

    def _tell_contacts(self) -> None:
        now = self.ticks(self._now_s)
        for pin, event in _CONTACTS:
            since = self._contacts[pin].tick(self._levels[pin], now)
            if since is not None:
                self._event(event, 1 - self._levels[pin], 0, since)

    # -- messages in

    def _message(self, status: int, channel: int, data: bytes) -> None:
        if status == firmata.VERSION:
            self._say(firmata.version_report())
        elif status == firmata.RESET:
            self._pins.reset()
            self._block = None
            self.interlock.disarm()
            self._settle_outputs()
        else:
            self._pins.message(status, channel, data)

    def _broken(self, data: bytes) -> None:
        if data[0] == wire.COMMAND_SYSEX:
            self._count("rx_damaged")

    def _sysex(self, data: bytes) -> None:
        sysex_id, body = data[0], data[1:]
        if sysex_id == wire.COMMAND_SYSEX:
            self._command(data)
        elif sysex_id == firmata.FIRMWARE:
            self._say(firmata.firmware_report(self._name))
        elif sysex_id == firmata.CAPABILITY_QUERY:
            self._say(firmata.capability_report())
        elif sysex_id == firmata.ANALOG_MAPPING_QUERY:
            self._say(firmata.mapping_report())
        elif sysex_id == firmata.PIN_STATE_QUERY and body:
            self._pins.state(body[0])
        elif sysex_id == firmata.SAMPLING_INTERVAL and len(body) > 1:
            self._pins.interval_ms = max(1, body[0] | body[1] << 7)
            self._report_due_ms = self.ms + self._pins.interval_ms

    def _command(self, data: bytes) -> None:
        body, seal = data[:-_CRC], data[-_CRC:]
        whole = len(body) > _COMMAND_HEAD
        if not whole or seal != wire.septets(zlib.crc32(body), wire.CRC):
            self._count("rx_damaged")
            return
        head = wire.unpack(wire.COMMAND_HEAD, body[1 : 1 + _COMMAND_HEAD])
        reason, value = self._obey(head["op"], body[1 + _COMMAND_HEAD :])
        values = {"op": head["op"], "command_seq": head["seq"], "reason": reason, "value": value}
        payload = wire.pack(wire.PAYLOADS[Kind.REPLY], values)
        self._settle_outputs()
        self._frame(Kind.REPLY, self.ticks(self._now_s), payload)

    def _obey(self, code: int, payload: bytes) -> tuple[Reason, int]:
        lock = self.interlock
        try:
            op = Op(code)
            told = wire.unpack(wire.COMMANDS[op], payload)
        except ValueError:
            return Reason.BAD_COMMAND, 1 << Reason.BAD_COMMAND
        if op is Op.ARM:
            nonce = self._nonces.next(self.ticks(self._now_s))
            return lock.arm(told["low"], told["high"], nonce)
        if op is Op.PERMIT:
            return lock.permit(told["nonce"])
        if op is Op.CLEAR:
            return lock.clear()
        if op is Op.STREAM:
            return self._stream(told["channel"], told["on"])
        if op is Op.BEAT:
            lock.beat()
        elif op is Op.DISARM:
            lock.disarm()
        elif op is Op.HELLO:
            self._hello()
        return Reason.NONE, 0

    def _stream(self, channel: int, on: int) -> tuple[Reason, int]:
        if channel != Kind.HEIGHT:
            return Reason.BAD_COMMAND, 1 << Reason.BAD_COMMAND
        self._block = [] if on else None
        return Reason.NONE, 0


def _int16(count: int) -> int:
    return (count + 0x8000 & 0xFFFF) - 0x8000
