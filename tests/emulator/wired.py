"""A chip with its program, wired to the plants, and the time they share."""

from pathlib import Path

from rig.board import wire
from rig.virtual.board.wiring import Carriage, Wiring
from tests.emulator.binding import Counters, Probe
from tests.emulator.build import read_hex
from tests.emulator.chip import CYCLES_PER_S, HOST_BYTE_CYCLES, Chip, PinEvent
from tests.emulator.feed import ANGLE_INPUT, Feed
from tests.emulator.hanging import Hanging
from tests.emulator.pace import Pace
from tests.emulator.world import (
    OUTPUT_AT,
    PORTS,
    Converter,
    HostClock,
    Jig,
    OutputChange,
    Tower,
    port_and_bit,
)

CHUNK_S = 1e-3  # no actuator answers within 5 ms, so a later report still precedes its effect


class WiredChip:
    """The firmware `image` (Intel hex) on `tower`, powered up now.

    Args:
        image: path of the .hex file.
        tower: the plant, which this board advances.
        jig: turns the angle sensor, and is advanced by this board (None: A2 is left to set_analog).
        converter: the bridge converter (None: there is none).
        carriage: of a cutting frame, advanced by this board (None: there is none).
        angle_noise_steps: rms noise of one 10-bit conversion of the jig's sensor.
        resonator_error: relative; the chip runs at 16 MHz * (1 + error).

    Attributes:
        now_s: plant time, seconds.
        clock: the host's clock, `EPOCH_S` ahead of it.
        chip: the microcontroller, for probes and pokes.
        outputs: every change of latch, catch, lamp and drive.
    """

    def __init__(
        self,
        image: Path,
        tower: Tower,
        *,
        jig: Jig | None = None,
        converter: Converter | None = None,
        carriage: Carriage | None = None,
        angle_noise_steps: float = 0.5,
        resonator_error: float = 0.0,
    ) -> None:
        self.tower = tower
        self.jig, self.converter, self.carriage = jig, converter, carriage
        self._wiring = Wiring(tower, carriage)
        self.clock = HostClock(tower, self.run)
        self.now_s = tower.now_s
        self.outputs: list[OutputChange] = []
        self._pace = Pace(tower.now_s, CYCLES_PER_S * (1 + resonator_error))
        self.chip = Chip(read_hex(image.read_text()), HOST_BYTE_CYCLES * (1 + resonator_error))
        for port in PORTS:
            mask = sum(1 << bit for at, bit in OUTPUT_AT if at == port)
            self.chip.stop_on(port, mask)
        self.chip.analog(ANGLE_INPUT, 0.0, angle_noise_steps if jig is not None else 0.0)
        self._feed = Feed(self.chip, self._pace, jig, converter)
        self._hanging = Hanging(self.chip)
        self._powered = True
        self._drive_all()

    def hear(self) -> None:
        """Take what the chip has sent; without a port it is lost."""
        self.chip.sent()

    def run(self, until_s: float) -> None:
        """Let tower and board go on until plant time `until_s`."""
        while self.now_s < until_s:
            quiet_s = self._wiring.quiet_until_s - CHUNK_S
            if quiet_s > self.now_s:
                self._run_quiet(min(until_s, quiet_s))
            else:
                self._run_chunk(min(until_s, self.now_s + CHUNK_S))

    def set_pin(self, pin: int, level: int) -> None:
        """The world puts a level on a free pin."""
        self.chip.drive(*port_and_bit(pin), level)

    def set_analog(self, channel: int, volts: float) -> None:
        """The world puts a voltage on A4, A5 (or on A2, where no jig does)."""
        self.chip.analog(channel, volts)

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

    def _run_chunk(self, until_s: float) -> None:
        """The plants first, then the board with the pin edges that they made."""
        self._wiring.advance(until_s)
        edges = self._wiring.take_edges()
        self._feed.until(until_s, self._powered)
        if self._powered:
            now = self.chip.cycle
            self.chip.edges(
                PinEvent(
                    max(now, self._pace.cycle(e.t_s)), *port_and_bit(wire.PINS[e.pin]), e.level
                )
                for e in edges
            )
            while self.chip.cycle < self._pace.cycle(until_s):
                self.chip.run(self._pace.cycle(until_s))
        self._arrive(until_s)

    def _run_quiet(self, until_s: float) -> None:
        """The board alone, until an output changes: no plant makes an edge by itself."""
        self._feed.until(until_s, self._powered)
        if self._powered:
            self.chip.run(self._pace.cycle(until_s))
            if self.chip.cycle < self._pace.cycle(until_s):
                until_s = max(self.now_s, self._pace.time(self.chip.cycle))
        self._wiring.advance(until_s)
        self._arrive(until_s)

    def _arrive(self, now_s: float) -> None:
        self.now_s = now_s
        if self.jig is not None:
            self.jig.advance(now_s)
        self.hear()
        self._report_outputs()
        self._hanging.end_after_reset()

    def _report_outputs(self) -> None:
        for event in self.chip.changes():
            name = OUTPUT_AT.get((event.port, event.bit))
            if name is not None:
                t_s = self._pace.time(event.cycle)
                self.outputs.append(OutputChange(t_s, event.cycle, name, bool(event.level)))
                self._wiring.set_output(name, bool(event.level), t_s)

    def _drive_all(self) -> None:
        for name, level in self._wiring.levels().items():
            self.chip.drive(*port_and_bit(wire.PINS[name]), level)
