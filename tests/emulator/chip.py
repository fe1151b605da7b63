"""The emulated microcontroller: the C layer with Python's types on it. Time is cycles."""

import ctypes
import enum
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.emulator.binding import (
    KNOT,
    U8,
    U64,
    Conversion,
    ConverterFigures,
    Counters,
    Event,
    Probe,
    library,
)

CYCLES_PER_S = 16_000_000
SUPPLY_V = 5.0
HOST_BYTE_CYCLES = 640.0  # 10 bits at 250,000 baud

RESET_POWER, RESET_PIN, RESET_WATCHDOG = 1, 2, 8  # bits of MCUSR


class Vector(enum.IntEnum):
    """Interrupt vectors of the ATmega328P (data sheet, table of reset and interrupt vectors)."""

    INT0 = 1
    INT1 = 2
    PCINT1 = 4
    PCINT2 = 5
    TIMER2_COMPA = 7
    TIMER2_COMPB = 8
    TIMER1_CAPT = 10
    TIMER1_COMPA = 11
    TIMER1_OVF = 13
    USART_RX = 18
    USART_UDRE = 19
    ADC = 21


class ConverterFault(enum.IntEnum):
    """What may be wrong with the bridge converter or its two wires."""

    NONE = 0
    ABSENT = 1
    STUCK_LOW = 2
    CLOCK_HELD = 3


class Stop(enum.IntFlag):
    """Why `Chip.run` came back."""

    TIME = 1
    PIN = 2
    CRASH = 4


class PinEvent(NamedTuple):
    """A level on a pin. `port` is 0, 1, 2 for B, C, D."""

    cycle: int
    port: int
    bit: int
    level: int


_ROOM = 4096


class Chip:
    """An ATmega328P running `image` from power-up at cycle 0."""

    def __init__(self, image: bytes, host_byte_cycles: float = HOST_BYTE_CYCLES) -> None:
        self._c = library()
        self._sim = self._c.sim_new(image, len(image), host_byte_cycles)
        if not self._sim:
            raise RuntimeError("libsimavr does not know the atmega328p")
        self._events = (Event * _ROOM)()
        self._bytes = (U8 * _ROOM)()
        self._cycles = (U64 * _ROOM)()

    def __del__(self) -> None:
        if getattr(self, "_sim", None):
            self._c.sim_retire(self._sim)

    @property
    def cycle(self) -> int:
        """Cycles since power-up of the process; resets do not set it back."""
        return int(self._c.sim_cycle(self._sim))

    def run(self, until: int) -> Stop:
        """Execute to cycle `until` (or a few cycles past it: to the end of an instruction)."""
        stop = Stop(self._c.sim_run(self._sim, until))
        if Stop.CRASH in stop:
            raise RuntimeError(f"the program crashed at {self._c.sim_pc(self._sim):#06x}")
        return stop

    def reset_pin(self) -> None:
        """A pulse on the reset pin: RAM and EEPROM stay."""
        self._c.sim_reset_pin(self._sim)

    def hold_reset(self, until: int) -> None:
        """Drop the pins now and start the program at cycle `until`; input meanwhile is lost."""
        self._c.sim_hold_reset(self._sim, until)

    def power_up(self, cycle: int) -> None:
        """Power came back at `cycle`: EEPROM stays, RAM holds noise, input to come is forgotten."""
        self._c.sim_power_up(self._sim, cycle)

    def drive(self, port: int, bit: int, level: int) -> None:
        """Put a level on a pin now."""
        self._c.sim_drive(self._sim, port, bit, level)

    def analog(self, channel: int, volts: float, noise_steps: float = 0.0) -> None:
        """Put a voltage on an analog input, with a noise (rms) in steps of the converter."""
        self._c.sim_analog(self._sim, channel, volts / SUPPLY_V, noise_steps)

    def analog_course(
        self, channel: int, cycles: NDArray[np.uint64], levels: NDArray[np.float64]
    ) -> None:
        """The course of an input to come, as shares of the supply; straight between the cycles."""
        knots = np.empty(len(cycles), dtype=KNOT)
        knots["cycle"], knots["level"] = cycles, levels
        self._c.sim_analog_course(self._sim, channel, knots.ctypes.data, len(knots))

    def conversions(self, ready: Iterable[tuple[int, int]]) -> None:
        """Conversions of the bridge converter to come: (cycle, code). Also fits the converter."""
        given = [Conversion(*one) for one in ready]
        array = (Conversion * len(given))(*given)
        self._c.sim_conversions(self._sim, array, len(given))

    def converter_fault(self, fault: ConverterFault) -> None:
        """Put something wrong, or right, with the bridge converter."""
        self._c.sim_converter_fault(self._sim, fault)

    def converter_figures(self) -> ConverterFigures:
        """What the bridge converter saw of its clock."""
        out = ConverterFigures()
        self._c.sim_converter_figures(self._sim, ctypes.byref(out))
        return out

    def edges(self, events: Iterable[PinEvent]) -> None:
        """Levels to come, in order of time.

        Raises:
            ValueError: out of order.
        """
        given = [Event(*event) for event in events]
        if self._c.sim_edges(self._sim, (Event * len(given))(*given), len(given)):
            raise ValueError("pin edges out of order of time")

    def stop_on(self, port: int, mask: int) -> None:
        """Let `run` come back when one of these driven pins changes."""
        self._c.sim_stop_on(self._sim, port, mask)

    def changes(self) -> list[PinEvent]:
        """Changes of what the chip drives high, since the last call."""
        events: list[PinEvent] = []
        while count := self._c.sim_changes(self._sim, self._events, _ROOM):
            events += [PinEvent(e.cycle, e.port, e.bit, e.level) for e in self._events[:count]]
        return events

    def receive(self, data: bytes) -> None:
        """Bytes that the host starts to send now, one after another."""
        self._c.sim_receive(self._sim, data, len(data))

    def sent(self) -> tuple[bytes, list[int]]:
        """Bytes that left the chip since the last call, and the cycle each was complete at."""
        data, cycles = b"", []
        while count := self._c.sim_sent(self._sim, self._bytes, self._cycles, _ROOM):
            data += bytes(self._bytes[:count])
            cycles += self._cycles[:count]
        return data, cycles

    def counters(self) -> Counters:
        """What the C layer counts."""
        out = Counters()
        self._c.sim_counters(self._sim, ctypes.byref(out))
        return out

    def probe(self, vector: int) -> Probe:
        """Figures of one interrupt since `clear_probes`."""
        out = Probe()
        self._c.sim_probe(self._sim, vector, ctypes.byref(out))
        return out

    def clear_probes(self) -> None:
        """Start the interrupt figures again."""
        self._c.sim_clear_probes(self._sim)

    def peek(self, address: int) -> int:
        """A byte of data space."""
        return int(self._c.sim_peek(self._sim, address))

    def poke(self, address: int, value: int) -> None:
        """Write a byte of data space as the program would: peripherals take notice."""
        self._c.sim_poke(self._sim, address, value)

    def eeprom(self, offset: int, size: int) -> bytes:
        """Bytes of the EEPROM."""
        out = (U8 * size)()
        self._c.sim_eeprom(self._sim, offset, out, size)
        return bytes(out)

    def set_eeprom(self, offset: int, data: bytes) -> None:
        """Write the EEPROM."""
        self._c.sim_set_eeprom(self._sim, offset, data, len(data))

    @property
    def asleep(self) -> bool:
        """Whether the program sleeps."""
        return bool(self._c.sim_asleep(self._sim))

    @property
    def program_counter(self) -> int:
        """Byte address of the next instruction."""
        return int(self._c.sim_pc(self._sim))

    def flash(self, address: int, size: int) -> bytes:
        """Bytes of program memory."""
        return bytes(self._c.sim_flash(self._sim, address + i) for i in range(size))

    def set_flash(self, address: int, data: bytes) -> None:
        """Change program memory, to provoke faults no input can."""
        for i, byte in enumerate(data):
            self._c.sim_set_flash(self._sim, address + i, byte)
