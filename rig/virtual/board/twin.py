"""The firmware once more in Python: what it does each millisecond and with each message.

Time comes in from outside as virtual seconds; the twin counts milliseconds of its own clock.
Where the firmware samples the height and ticks the interlock half a millisecond apart, the twin
does both at the same instant.
"""

from collections.abc import Callable
from typing import NamedTuple

from rig.board import wire
from rig.board.wire import LIMITS, Event, Kind, Reason
from rig.virtual.board import firmata
from rig.virtual.board.channels import (
    TICKS_PER_MS,
    AngleChannel,
    AngleSums,
    HeightChannel,
    LoadChannel,
)
from rig.virtual.board.converter import Converter
from rig.virtual.board.line import VirtualLine
from rig.virtual.board.orders import Orders
from rig.virtual.board.reporter import Reporter
from rig.virtual.board.safety import Safety
from rig.virtual.board.switches import Switches

STATUS_MS = LIMITS["STATUS_PERIOD_MS"]
WATCHDOG_RESET = 8  # MCUSR bit
_TIME = 1 << wire.TIME_BITS


class World(NamedTuple):
    """What the board is wired to.

    `output(name, on, t)` sets an output pin; `levels` and `analog` are what the world puts on the
    free pins; `converter` is the bridge converter, if there is one; `angle_sums(starts_s)` gives
    sums of conversions of the angle input that start at these plant times.
    """

    output: Callable[[str, bool, float], None]
    levels: dict[int, int]
    analog: dict[int, int]
    converter: Converter | None
    angle_sums: Callable[[list[float]], list[int]]


class Twin:
    """One boot of the board, from reset to the next.

    Args:
        start_s: virtual time of the first instruction.
        rate_hz: true rate of the MCU's 2 MHz clock.
        boot: boot counter and reset cause as HELLO tells them.
        levels: of the input pins at boot, as `Wiring.levels` gives them.
        count: of the encoder at boot (positions count from there).
        line: to the host.
        world: all else it is wired to.
        identity: wire version and name it tells.
    """

    def __init__(
        self,
        start_s: float,
        rate_hz: float,
        boot: tuple[int, int],
        levels: dict[str, int],
        count: int,
        line: VirtualLine,
        world: World,
        identity: tuple[int, str] = (wire.WIRE_VERSION, wire.FIRMWARE_NAME),
    ) -> None:
        self._start_s, self._rate_hz, self._now_s = start_s, rate_hz, start_s
        self._cause = boot[1]
        self._wire, name = identity
        self._zero = count
        self._position = 0
        self.ms = 0
        self._wake_s: float | None = None  # not known: something happened
        self.reporter = Reporter(line, boot[0])
        self._switches = Switches(levels, self.reporter)
        strokes = self._switches.strokes
        self._safety = Safety(levels, self.reporter, world.output, strokes)
        self.interlock, self.drive = self._safety.interlock, self._safety.drive
        self._orders = Orders(self._safety, strokes, boot[0], self._stream, self._hello)
        self._height = HeightChannel(self.reporter)
        self._load = LoadChannel(self.reporter, world.converter, self._switches.conversion)
        self._angle = AngleChannel(self.reporter, self._sums_of(world))
        self._pins = firmata.Pins(self._say, name, world.levels, world.analog)
        self._parser = firmata.Parser(self._message, self._sysex, self._broken)
        self._start()

    def _start(self) -> None:
        self._safety.tick(self._position)
        if self._cause & WATCHDOG_RESET:
            self.interlock.trip(Reason.WATCHDOG)
        self._publish()
        self._say(firmata.version_report())
        self._pins.firmware()
        self._hello()

    def _sums_of(self, world: World) -> AngleSums:
        return lambda starts: world.angle_sums(
            [self._start_s + ticks / self._rate_hz for ticks in starts]
        )

    # -- time

    def tick_s(self, ms: int) -> float:
        """Virtual time of the millisecond tick `ms`."""
        return self._start_s + ms * TICKS_PER_MS / self._rate_hz

    def ticks(self, t: float) -> int:
        """The MCU clock at `t`."""
        return int((t - self._start_s) * self._rate_hz + 1e-3) % _TIME

    def ms_at(self, t: float) -> int:
        """Number of the last millisecond tick up to `t`."""
        ms = int((t - self._start_s) * self._rate_hz / TICKS_PER_MS + 1e-6)
        return ms if self.tick_s(ms) <= t else ms - 1

    def last_ms_before(self, t: float) -> int:
        """Number of the last millisecond tick before `t`."""
        return int((t - self._start_s) * self._rate_hz / TICKS_PER_MS - 1e-6)

    def idle_ms(self) -> int:
        """Milliseconds that may be skipped if nothing comes from outside, none when busy."""
        if not (self._safety.quiet and self._switches.quiet):
            return 0
        until_due = STATUS_MS - self.ms % STATUS_MS
        until_due = min(until_due, self._height.idle_ms(), self._angle.idle_ms(self.ms))
        until_due = min(until_due, self._load.idle_ms(self.ms), self._switches.idle_ms(self.ms))
        if self._pins.analog_on:
            until_due = min(until_due, self._pins.due_ms - self.ms)
        return until_due - 1

    @property
    def wake_s(self) -> float:
        """Virtual time of the next tick in which something happens by itself."""
        if self._wake_s is None:
            self._wake_s = self.tick_s(self.ms + max(0, self.idle_ms()) + 1)
        return self._wake_s

    # -- the world

    def skip(self, ms: int) -> None:
        """Let milliseconds pass in which nothing changes."""
        if ms <= 0:
            return
        self.interlock.idle(ms)
        self._switches.strokes.idle(ms)
        self._height.skip(self.ms, ms, self._position)
        self.ms += ms

    @property
    def next_load_s(self) -> float:
        """When the next conversion of the bridge will have been read."""
        return self._load.next_s

    def read_load(self, t: float) -> None:
        """The bridge's conversion is ready."""
        self._now_s, self._wake_s = t, None
        self._load.read(self.ms, t, self.ticks)

    def edge(self, t: float, pin: str, level: int) -> None:
        """A pin changed: what the interrupts do."""
        self._now_s, self._wake_s = t, None
        if pin in ("NEAR", "FAR"):
            self._switches.edge(pin, level)
            return
        self._safety.edge(pin, level)
        if pin == "GATE":
            self.reporter.event(Event.GATE, level, 0, self.ticks(t))
        else:
            self._publish()
        self.reporter.flush(t)

    def tick(self, count: int, noisy: bool = False) -> None:
        """The millisecond interrupts, with the encoder's count, and the main loop after them."""
        self.ms += 1
        self._now_s = now = self.tick_s(self.ms)
        self._wake_s = None
        ticks = self.ticks(now)
        position = _int16(count - self._zero)
        if noisy and position != self._position:
            self.reporter.count("illegal_edges")
        self._position = position
        self._height.tick(self.ms, position, now)
        self._angle.tick(self.ms, now)
        self._switches.sample(self.drive.running, ticks)
        self._safety.tick(position)
        self._safety.publish(now, ticks)
        self._safety.tell_contacts(ticks)
        self.reporter.flush(now)
        self._load.tick(self.ms, ticks, now)
        self._switches.tell(self.ms, ticks, now, self.drive)
        if self.ms % STATUS_MS == 0:
            self._status(now)
        self._pins.poll(self.ms)

    def receive(self, byte: int, t: float) -> None:
        """A byte from the host."""
        self._now_s, self._wake_s = t, None
        self._parser.feed(byte)

    def pins_changed(self, t: float) -> None:
        """The world changed a free pin."""
        self._now_s, self._wake_s = t, None
        self._pins.tell_digital()

    # -- what it tells

    def _say(self, message: bytes) -> None:
        self.reporter.plain(message, self._now_s)

    def _hello(self) -> None:
        now = self._now_s
        self.reporter.hello(self._wire, self._cause, self.ticks(now), now)

    def _status(self, now: float) -> None:
        lock = self.interlock
        values = {
            "inputs": self._safety.input_bits(),
            "state": lock.state,
            "reason": lock.reason,
            "permit_left_ms": lock.permit_left,
            "beat_age_ms": lock.beat_age,
            "height": self._position,
            "outputs": self._safety.output_bits(),
        }
        self.reporter.status(values, self.ticks(now), now)

    def _publish(self) -> None:
        self._safety.publish(self._now_s, self.ticks(self._now_s))

    # -- messages in

    def _message(self, status: int, channel: int, data: bytes) -> None:
        self._pins.message(status, channel, data)
        if status == firmata.RESET:
            for kind in wire.CHANNELS:
                self._stream(kind, False)
            self._switches.strokes.default_band()
            self._safety.disarm()
            self._publish()
            self.reporter.flush(self._now_s)

    def _broken(self, data: bytes) -> None:
        if data[0] == wire.COMMAND_SYSEX:
            self.reporter.count("rx_damaged")

    def _sysex(self, data: bytes) -> None:
        if data[0] == wire.COMMAND_SYSEX:
            self._command(data)
        else:
            self._pins.sysex(data[0], data[1:])

    def _command(self, data: bytes) -> None:
        done = self._orders.obey(data, self.ticks(self._now_s))
        if done is None:
            self.reporter.count("rx_damaged")
            return
        self._publish()
        self.reporter.reply(*done, self.ticks(self._now_s), self._now_s)
        self.reporter.flush(self._now_s)

    def _stream(self, channel: int, on: bool) -> bool:
        if channel == Kind.HEIGHT:
            self._height.stream(on)
        elif channel == Kind.LOAD:
            self._load.stream(on, self.ms, self._now_s)
        elif channel == Kind.ANGLE:
            self._angle.stream(on, self.ms)
        else:
            return False
        return True


def _int16(count: int) -> int:
    return (count + 0x8000 & 0xFFFF) - 0x8000
