"""The real firmware on an emulated microcontroller, wired to a tower: a board in virtual time.

It answers to the same calls as `rig.virtual.standin.StandIn`: a byte stream, and a `clock` whose
`sleep` moves board and tower together. Time is exact to an instruction and repeats to the byte.
"""

from collections import deque
from pathlib import Path

import numpy as np

from rig.board import wire
from tests.emulator.binding import Counters, Probe
from tests.emulator.build import read_hex
from tests.emulator.chip import CYCLES_PER_S, HOST_BYTE_CYCLES, Chip, ConverterFault, PinEvent
from tests.emulator.world import (
    OUTPUT_AT,
    PORTS,
    Converter,
    HostClock,
    Jig,
    OutputChange,
    Plant,
    port_and_bit,
)

CHUNK_S = 1e-3  # no actuator answers within 5 ms, so a later report still precedes its effect
START_UP_S = 0.065  # reset to first instruction (ATmega328P start-up time; from memory)
READ_TIMEOUT_S = 1.0
ANGLE_INPUT = wire.PINS["ANGLE"] - 14
KNOT_S = 1e-3  # between two looks at the arm's angle; straight in between
RJMP_SELF = b"\xff\xcf"  # 0xCFFF: jump to this very instruction


class EmulatedBoard:
    """The firmware `image` (Intel hex) on `tower`, powered up now.

    Args:
        image: path of the .hex file.
        tower: the plant, which this board advances.
        jig: turns the angle sensor, and is advanced by this board (None: A2 is left to set_analog).
        converter: the bridge converter (None: there is none).
        angle_noise_steps: rms noise of one 10-bit conversion of the jig's sensor.
        resonator_error: relative; the chip runs at 16 MHz * (1 + error).

    Attributes:
        now_s: plant time, seconds.
        clock: the host's clock, `EPOCH_S` ahead of it.
        chip: the microcontroller, for probes and pokes.
        outputs: every change of latch, catch and lamp.
    """

    def __init__(
        self,
        image: Path,
        tower: Plant,
        *,
        jig: Jig | None = None,
        converter: Converter | None = None,
        angle_noise_steps: float = 0.5,
        resonator_error: float = 0.0,
    ) -> None:
        self.tower = tower
        self.jig, self.converter = jig, converter
        self.clock = HostClock(tower, self.run)
        self.now_s = tower.now_s
        self.outputs: list[OutputChange] = []
        self._cycles_per_s = CYCLES_PER_S * (1 + resonator_error)
        self._origin_s = tower.now_s
        self.chip = Chip(read_hex(image.read_text()), HOST_BYTE_CYCLES * (1 + resonator_error))
        for port in PORTS:
            mask = sum(1 << bit for at, bit in OUTPUT_AT if at == port)
            self.chip.stop_on(port, mask)
        self._fed_s = tower.now_s
        self._stuck = False
        self.chip.analog(ANGLE_INPUT, 0.0, angle_noise_steps if jig is not None else 0.0)
        if converter is not None:
            self.chip.conversions([])
        self._arrived: deque[int] = deque()
        self._powered = self._listening = True
        self._deaf_until_s = tower.now_s
        self._open, self._silent = True, False
        self._flash_kept: tuple[int, bytes, int] | None = None
        self._drive_all()

    # -- stream

    @property
    def in_waiting(self) -> int:
        """Bytes ready to read."""
        self._check_port()
        return len(self._arrived)

    def inWaiting(self) -> int:
        """The same, by pyserial's old name."""
        return self.in_waiting

    def read_available(self) -> bytes:
        """All bytes that have arrived; raises OSError when unplugged or closed."""
        self._check_port()
        data = bytes(self._arrived)
        self._arrived.clear()
        return data

    def read(self, n: int = 1) -> bytes:
        """Wait for `n` bytes, a second of virtual time at most, and take them."""
        limit = self.now_s + READ_TIMEOUT_S
        while self.in_waiting < n and self.now_s < limit:
            self.run(self.now_s + CHUNK_S)
        return bytes(self._arrived.popleft() for _ in range(min(n, len(self._arrived))))

    def write(self, data: bytes) -> int:
        """Send bytes at the line's speed; raises OSError when unplugged or closed."""
        self._check_port()
        if self.running and not self._silent:
            self.chip.receive(bytes(data))
        return len(data)

    def close(self) -> None:
        """Close the port; the board runs on."""
        self._open = False

    def reopen(self) -> None:
        """Open the port again, which resets the board as its serial adapter does."""
        self._open = True
        self._arrived.clear()
        self.reset()

    # -- world

    def run(self, until_s: float) -> None:
        """Let tower and board go on until plant time `until_s`."""
        while self.now_s < until_s:
            quiet_s = self.tower.quiet_until_s - CHUNK_S
            if quiet_s > self.now_s:
                self._run_quiet(min(until_s, quiet_s))
            else:
                self._run_chunk(min(until_s, self.now_s + CHUNK_S))

    def set_pin(self, pin: int, level: int) -> None:
        """The world puts a level on a free pin."""
        self.chip.drive(*port_and_bit(pin), level)

    def set_analog(self, channel: int, volts: float) -> None:
        """The world puts a voltage on A3..A5 (or on A2, where no jig does)."""
        self.chip.analog(channel, volts)

    @property
    def running(self) -> bool:
        """Whether the board has power and is out of reset."""
        return self._powered and self.now_s >= self._deaf_until_s

    # -- faults

    def reset(self) -> None:
        """A pulse on the reset pin; the program starts `START_UP_S` later."""
        if not self._powered:
            return
        self._restore_flash()
        self._deaf_until_s = self.now_s + START_UP_S
        self.chip.hold_reset(self._cycle(self._deaf_until_s))
        self._report_outputs()
        self._drive_all()

    def power_off(self) -> None:
        """Power goes: pins drop at once, the link falls silent."""
        if not self._powered:
            return
        self._collect()
        self.chip.reset_pin()
        self._report_outputs()
        self._powered = False

    def power_on(self) -> None:
        """Power comes back; the program starts `START_UP_S` later, the RAM full of noise."""
        if self._powered:
            return
        self._restore_flash()
        self._powered = True
        self._deaf_until_s = self.now_s + START_UP_S
        self.chip.power_up(self._cycle(self._deaf_until_s))
        self._drive_all()

    def unplug(self) -> None:
        """The cable is out: no port and no power."""
        self.power_off()
        self._open = False

    def plug(self) -> None:
        """The cable is in again; the port is a new one."""
        self._open = True
        self._arrived.clear()
        self.power_on()

    def silence(self, on: bool) -> None:
        """Nothing passes the line, either way; the board runs on."""
        self._silent = on

    def hang(self) -> None:
        """The main loop gets stuck with its interrupts alive, until some reset."""
        while not self.chip.asleep:
            self.run(self.now_s + 1e-5)
        at = self.chip.program_counter
        self._flash_kept = at, self.chip.flash(at, len(RJMP_SELF)), self.chip.counters().resets
        self.chip.set_flash(at, RJMP_SELF)

    def stall(self, seconds: float) -> None:
        """The main loop stands still for a while, its interrupts alive."""
        self.hang()
        self.run(self.now_s + seconds)
        self._restore_flash()

    # -- figures

    def counters(self) -> Counters:
        """Bytes, overruns, merged encoder edges, resets, cycles slept."""
        return self.chip.counters()

    def probe(self, vector: int) -> Probe:
        """Latency and length of one interrupt, in cycles."""
        return self.chip.probe(vector)

    def on(self, name: str) -> bool:
        """Whether an output is energised now."""
        return next((change.on for change in reversed(self.outputs) if change.name == name), False)

    # -- inside

    def _check_port(self) -> None:
        if not self._open:
            raise OSError("no such port: it is unplugged or closed")

    def _cycle(self, t_s: float) -> int:
        return round((t_s - self._origin_s) * self._cycles_per_s)

    def _time(self, cycle: int) -> float:
        return self._origin_s + cycle / self._cycles_per_s

    def _run_chunk(self, until_s: float) -> None:
        """Tower first, then the board with the pin edges that the tower made."""
        self.tower.advance(until_s)
        edges = self.tower.take_edges()
        self._feed(until_s)
        if self._powered:
            now = self.chip.cycle
            self.chip.edges(
                PinEvent(max(now, self._cycle(e.t_s)), *port_and_bit(wire.PINS[e.pin]), e.level)
                for e in edges
            )
            while self.chip.cycle < self._cycle(until_s):
                self.chip.run(self._cycle(until_s))
        self._arrive(until_s)

    def _run_quiet(self, until_s: float) -> None:
        """The board alone, until an output changes: the tower makes no edge by itself."""
        self._feed(until_s)
        if self._powered:
            self.chip.run(self._cycle(until_s))
            if self.chip.cycle < self._cycle(until_s):
                until_s = max(self.now_s, self._time(self.chip.cycle))
        self.tower.advance(until_s)
        self._arrive(until_s)

    def _feed(self, until_s: float) -> None:
        """Bring the chip what jig and converter will show it until then."""
        begin, self._fed_s = self._fed_s, max(self._fed_s, until_s)
        if self.converter is not None:
            ready = self.converter.take(until_s)
            if self.converter.stuck != self._stuck:
                self._stuck = self.converter.stuck
                fault = ConverterFault.STUCK_LOW if self._stuck else ConverterFault.NONE
                self.chip.converter_fault(fault)
            if self._powered:
                self.chip.conversions((self._cycle(t_s), code) for t_s, code in ready)
        if self.jig is not None and self._powered and until_s > begin:
            t_s = np.linspace(begin, until_s, 2 + int((until_s - begin) / KNOT_S))
            cycles = np.rint((t_s - self._origin_s) * self._cycles_per_s).astype(np.uint64)
            self.chip.analog_course(ANGLE_INPUT, cycles, self.jig.angle_ratio(t_s))

    def _arrive(self, now_s: float) -> None:
        self.now_s = now_s
        if self.jig is not None:
            self.jig.advance(now_s)
        self._collect()
        self._report_outputs()
        kept = self._flash_kept
        if kept is not None and self.chip.counters().resets > kept[2]:
            self._restore_flash()

    def _collect(self) -> None:
        if self._powered:
            data, _ = self.chip.sent()
            if self._open and not self._silent:
                self._arrived.extend(data)

    def _report_outputs(self) -> None:
        for event in self.chip.changes():
            name = OUTPUT_AT.get((event.port, event.bit))
            if name is not None:
                t_s = self._time(event.cycle)
                self.outputs.append(OutputChange(t_s, event.cycle, name, bool(event.level)))
                self.tower.set_output(name, bool(event.level), t_s)

    def _drive_all(self) -> None:
        for name, level in self.tower.levels().items():
            self.chip.drive(*port_and_bit(wire.PINS[name]), level)

    def _restore_flash(self) -> None:
        if self._flash_kept is not None:
            at, words, _ = self._flash_kept
            self.chip.set_flash(at, words)
            self._flash_kept = None
