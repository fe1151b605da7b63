"""A board that is not there: the same bytes as the firmware, in virtual time.

Opening it is `StandIn(tower)`; its `clock` moves tower, jig and board together. Nothing sleeps.
"""

import heapq
import itertools
from collections.abc import Callable

from rig.board import wire
from rig.virtual.arm.plant import Jig
from rig.virtual.board import converter
from rig.virtual.board.angle_channel import AngleInput
from rig.virtual.board.converter import Converter
from rig.virtual.board.faults import FAULTS
from rig.virtual.board.hostclock import EPOCH_S, VirtualClock
from rig.virtual.board.port import Port
from rig.virtual.board.twin import Twin, World
from rig.virtual.board.wiring import Carriage, Wiring
from rig.virtual.tower import plant
from rig.virtual.tower.plant import Tower

START_UP_S = 0.065  # reset to first instruction (ATmega328P start-up time; from memory)
WATCHDOG_S = wire.LIMITS["WATCHDOG_MS"] / 1e3
OTHER_NAME = "another"
_NEVER = float("inf")
POWER_ON, EXTERNAL, WATCHDOG = 1, 2, 8  # MCUSR bits (ATmega328P data sheet; from memory)


class StandIn:
    """Byte stream of a board on `tower`.

    Args:
        tower: the plant; its encoder edges are not needed, so they are switched off.
        jig: arm, cell and angle sensor (None: nothing is wired to these pins).
        converter: of the jig's bridge (None: one of 80 a second, if there is a jig).
        carriage: of a cutting frame (None: nothing is wired to these pins).
        boot: number of its first boot.
        seed: of the noise on the line and of the angle input, and of the converter's own.

    Attributes:
        now_s: plant time, seconds.
        clock: the host's clock, `EPOCH_S` ahead of it.
        levels, analog: what the world puts on free pins (pin: level) and A2..A5 (channel: code;
            a jig's sensor goes before that of A2).
    """

    def __init__(
        self,
        tower: Tower,
        jig: Jig | None = None,
        converter: Converter | None = None,
        boot: int = 0,
        seed: int = 0,
        carriage: Carriage | None = None,
    ) -> None:
        self.tower, self.jig, self.carriage = tower, jig, carriage
        self._wiring = Wiring(tower, carriage)
        self.converter = converter
        if jig is not None and converter is None:
            self.converter = Converter(jig, seed)
        self.clock = VirtualClock(self)
        self.now_s = tower.now_s
        self.levels: dict[int, int] = {}
        self.analog: dict[int, int] = {}
        tower.encoder_edges = False
        self._boot = boot - 1
        self._port = Port(seed)
        self._angle = AngleInput(jig, self.analog, seed)
        self._twin: Twin | None = None
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._entries = itertools.count()
        self._noisy = self._calm = False
        self._running = 0
        self._wire_version, self._name = wire.WIRE_VERSION, wire.FIRMWARE_NAME
        self._start_board(POWER_ON)

    # -- stream

    @property
    def in_waiting(self) -> int:
        """Bytes ready to read."""
        self._port.check()
        return self._port.line.waiting(self.now_s)

    def inWaiting(self) -> int:
        """The same, by pyserial's old name."""
        return self.in_waiting

    def read_available(self) -> bytes:
        """All bytes that have arrived; raises OSError when unplugged or closed."""
        self._port.check()
        return self._port.line.read(self.now_s)

    def write(self, data: bytes) -> int:
        """Send bytes at the line's speed; raises OSError when unplugged or closed."""
        self._port.check()
        self._port.write(bytes(data), self.now_s)
        return len(data)

    def close(self) -> None:
        """Close the port; the board runs on."""
        self._port.is_open = False

    def reopen(self) -> None:
        """Open the port again, which resets the board as its serial adapter does."""
        self._port.is_open = True
        self._port.line.read(self.now_s)
        self._reset(EXTERNAL)

    # -- world

    @property
    def rest_until_s(self) -> float:
        """Plant time before which nothing happens and nothing more comes to be read."""
        return min(self._next_due(), self._next_beat_s(), self._port.line.next_s)

    def run(self, until_s: float) -> None:
        """Let tower, jig and board go on until plant time `until_s`."""
        while True:
            due = self._next_due()
            beat = self._next_beat_s()
            if beat <= until_s and beat <= due:
                self._tick(beat)
            elif due <= until_s:
                self._happen(due, until_s)
            else:
                break
        self._sync(until_s)

    def set_pin(self, pin: int, level: int) -> None:
        """The world puts a level on a free pin."""
        self.levels[pin] = level
        self._catch_up(self.now_s)
        if self._twin is not None:
            self._twin.pins_changed(self.now_s)

    def fault(self, name: str, value: float = 1.0, at_s: float | None = None) -> None:
        """Bring about one of `FAULTS` (value 0 mends it), now or at `clock` time `at_s`."""
        if name not in FAULTS:
            raise ValueError(f"no fault {name!r}; there are {', '.join(FAULTS)}")
        if at_s is None:
            self._catch_up(self.now_s)
            self._set_fault(name, value)
        else:
            self._at(at_s - EPOCH_S, lambda: self._set_fault(name, value))

    def _at(self, t: float, action: Callable[[], None]) -> None:
        heapq.heappush(self._agenda, (t, next(self._entries), action))

    def _next_due(self) -> float:
        """When something other than a millisecond tick comes next."""
        due = self._agenda[0][0] if self._agenda else _NEVER
        port_s = self._port.next_s
        due = port_s if port_s < due else due
        if self._twin is None:
            return due
        load_s = self._twin.next_load_s
        return load_s if load_s < due else due

    def _next_beat_s(self) -> float:
        """When the board does its next millisecond; while all rests, the next that matters."""
        twin = self._twin
        if twin is None:
            return _NEVER
        if not self._calm:
            return twin.tick_s(twin.ms + 1)
        quiet_s = self._wiring.quiet_until_s
        if twin.wake_s < quiet_s:
            return twin.wake_s
        return twin.tick_s(max(twin.last_ms_before(quiet_s), twin.ms) + 1)

    def _happen(self, due: float, until_s: float) -> None:
        self._catch_up(due)
        if self._agenda and self._agenda[0][0] <= due:
            self._sync(max(due, self.now_s))
            heapq.heappop(self._agenda)[2]()
        elif self._port.next_s <= due:
            self._receive(until_s)
        elif self._twin is not None:
            self._twin.read_load(due)

    def _receive(self, until_s: float) -> None:
        """Bytes from the host, up to the end of a message or to what comes before the next."""
        port, twin = self._port, self._twin
        limit = self._agenda[0][0] if self._agenda else _NEVER
        if twin is not None:
            limit = min(limit, twin.next_load_s, twin.tick_s(twin.ms + 1))
        while True:
            at, byte = port.pop()
            if twin is not None:
                twin.receive(byte, at)
            if byte == wire.END or port.next_s >= limit or port.next_s > until_s:
                return

    def _tick(self, at: float) -> None:
        """One millisecond of the board, after all those in which nothing happened."""
        twin = self._twin
        assert twin is not None
        if self._calm:
            twin.skip(twin.ms_at(at) - 1 - twin.ms)
            self._calm = False
        self._sync(at)
        twin.tick(self.tower.count(at), self._noisy)
        self._calm = self._wiring.quiet_until_s > at

    def _catch_up(self, t: float) -> None:
        """Count the milliseconds of rest up to `t`, before anything comes that ends it."""
        if self._calm and self._twin is not None:
            self._twin.skip(self._twin.ms_at(t) - self._twin.ms)

    def _sync(self, t: float) -> None:
        """Bring tower, jig and carriage up to `t` and their pin changes to the board."""
        wiring = self._wiring
        if self._calm and wiring.quiet_until_s <= t:
            self._catch_up(t)
            self._calm = False
        wiring.advance(t)
        if self.jig is not None:
            self.jig.advance(t)
        self.now_s = t
        edges = wiring.take_edges()
        if edges and self._twin is not None:
            self._catch_up(t)
            for edge in edges:
                self._twin.edge(edge.t_s, edge.pin, edge.level)

    # -- power, reset, faults

    def _start_board(self, cause: int) -> None:
        self._boot = (self._boot + 1) % (1 << 14)
        tower = self.tower
        self._calm = False
        self._twin = Twin(
            self.now_s,
            wire.TICK_HZ * (1 + tower.nature.resonator),
            (self._boot, cause),
            self._wiring.levels(),
            tower.count(tower.now_s),
            self._port.line,
            World(
                self._wiring.set_output,
                self.levels,
                self.analog,
                self.converter,
                self._angle.sums,
            ),
            (self._wire_version, self._name),
        )

    def _stop_board(self) -> None:
        """Reset or no power: pins are inputs, springs hold; what was under way is lost."""
        self._twin = None
        self._running += 1
        self._port.drop(self.now_s)
        for name in ("LATCH", "CATCH", "LAMP", "DRIVE"):
            self._wiring.set_output(name, False, self.now_s)

    def _reset(self, cause: int) -> None:
        self._stop_board()
        running = self._running
        self._at(
            self.now_s + START_UP_S,
            lambda: self._start_board(cause) if running == self._running else None,
        )

    def _hang(self) -> None:
        self._twin = None
        self._running += 1
        running = self._running
        self._at(
            self.now_s + WATCHDOG_S,
            lambda: self._reset(WATCHDOG) if running == self._running else None,
        )

    def _set_fault(self, name: str, value: float) -> None:
        port = self._port
        if name in plant.FAULTS:
            self.tower.fault(name, bool(value))
        elif name in converter.FAULTS:
            self._break_converter(name, bool(value))
        elif name in ("lose_bytes", "damage_bytes"):
            for noise in (port.to_host, port.to_board):
                setattr(noise, name.removesuffix("_bytes"), value)
        elif name in ("lose_next", "damage_next"):
            setattr(port.to_host, name, int(value))
        elif name == "silent":
            port.silence(bool(value), self.now_s)
        elif name == "skip_frames" and self._twin is not None:
            self._twin.reporter.skip_frames = int(value)
        elif name == "encoder_noise":
            self._noisy = bool(value)
        else:
            self._break_board(name, bool(value))

    def _break_converter(self, name: str, on: bool) -> None:
        if self.converter is None:
            raise ValueError(f"no converter to bring {name!r} about at")
        self._calm = False
        self.converter.fault(name, on, self.now_s)

    def _break_board(self, name: str, on: bool) -> None:
        if name == "hang" and on:
            self._hang()
        elif name == "reset" and on:
            self._reset(EXTERNAL)
        elif name == "wrong_wire_version":
            self._wire_version = wire.WIRE_VERSION + on
            self._reset(EXTERNAL)
        elif name == "wrong_firmware_name":
            self._name = OTHER_NAME if on else wire.FIRMWARE_NAME
            self._reset(EXTERNAL)
        elif name == "unplugged" and on != self._port.unplugged:
            self._port.unplugged = on
            if on:
                self._stop_board()
                return
            if self.converter is not None:  # it has its power from the board
                self.converter.start(self.now_s)
            self._reset(POWER_ON)
