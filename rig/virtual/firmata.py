"""The board's Firmata side: message parser and the free pins.

Firmata protocol document, version 2.8.0. Pins that the rig uses answer no modes and are never
touched by a Firmata message.
"""

from collections.abc import Callable, Iterator

from rig.board.wire import END, FIRMATA_VERSION, FIRMWARE_VERSION, START

INPUT, OUTPUT, ANALOG, PULLUP = 0, 1, 2, 11
ANALOG_MESSAGE, DIGITAL_MESSAGE, REPORT_ANALOG, REPORT_DIGITAL = 0xE0, 0x90, 0xC0, 0xD0
SET_PIN_MODE, SET_PIN, VERSION, RESET = 0xF4, 0xF5, 0xF9, 0xFF
ANALOG_MAPPING_QUERY, ANALOG_MAPPING_RESPONSE = 0x69, 0x6A
CAPABILITY_QUERY, CAPABILITY_RESPONSE = 0x6B, 0x6C
PIN_STATE_QUERY, PIN_STATE_RESPONSE = 0x6D, 0x6E
STRING, FIRMWARE, SAMPLING_INTERVAL = 0x71, 0x79, 0x7A
NONE = 0x7F

PIN_COUNT = 20
FIRST_ANALOG = 14
FREE_DIGITAL = (7, 12, 13, 16, 17, 18, 19)
FREE_ANALOG = (16, 17, 18, 19)
DEFAULT_INTERVAL_MS = 19
LONGEST_SYSEX = 32
FIRST_SYSTEM = 0xF0  # status bytes below carry a channel in their low four bits
_DATA = {
    ANALOG_MESSAGE: 2,
    DIGITAL_MESSAGE: 2,
    SET_PIN_MODE: 2,
    SET_PIN: 2,
    REPORT_ANALOG: 1,
    REPORT_DIGITAL: 1,
    VERSION: 0,
    RESET: 0,
}


class Parser:
    """Cuts the host's bytes into messages, as the firmware does."""

    def __init__(
        self,
        message: Callable[[int, int, bytes], None],
        sysex: Callable[[bytes], None],
        broken: Callable[[bytes], None],
    ) -> None:
        self._message, self._sysex, self._broken = message, sysex, broken
        self._status = 0
        self._in_sysex = False
        self._wanted = 0
        self._bytes = bytearray()

    def feed(self, byte: int) -> None:
        """One byte from the line."""
        if byte < 0x80:
            self._data(byte)
        elif self._in_sysex and byte == END:
            self._in_sysex = False
            whole = len(self._bytes) <= LONGEST_SYSEX
            self._give(self._sysex if whole else self._broken)
        else:
            if self._in_sysex:
                self._give(self._broken)
            self._begin(byte)

    def _give(self, taker: Callable[[bytes], None]) -> None:
        if self._bytes:
            taker(bytes(self._bytes[:LONGEST_SYSEX]))

    def _begin(self, byte: int) -> None:
        self._bytes.clear()
        self._in_sysex = byte == START
        self._status = byte
        self._wanted = _DATA.get(byte if byte >= FIRST_SYSTEM else byte & 0xF0, 0)
        if byte in (VERSION, RESET):
            self._message(byte, 0, b"")

    def _data(self, byte: int) -> None:
        if self._in_sysex:
            if len(self._bytes) <= LONGEST_SYSEX:
                self._bytes.append(byte)
        elif self._wanted:
            self._bytes.append(byte)
            if len(self._bytes) == self._wanted:
                self._wanted = 0
                system = self._status >= FIRST_SYSTEM
                status = self._status if system else self._status & 0xF0
                self._message(status, self._status & 0x0F, bytes(self._bytes))


def sysex(sysex_id: int, data: bytes = b"") -> bytes:
    """A whole sysex message."""
    return bytes([START, sysex_id]) + data + bytes([END])


def pairs(data: bytes) -> bytes:
    """Eight-bit bytes as pairs of septets."""
    return bytes(part for byte in data for part in (byte & 0x7F, byte >> 7))


def version_report() -> bytes:
    """Protocol version."""
    return bytes([VERSION, *FIRMATA_VERSION])


def firmware_report(name: str) -> bytes:
    """Firmware name and version."""
    return sysex(FIRMWARE, bytes(FIRMWARE_VERSION[:2]) + pairs(name.encode()))


def string(text: str) -> bytes:
    """A message for people."""
    return sysex(STRING, pairs(text.encode()))


def modes_of(pin: int) -> dict[int, int]:
    """Modes of a pin with their resolution in bits."""
    modes = {INPUT: 1, OUTPUT: 1, PULLUP: 1} if pin in FREE_DIGITAL else {}
    return modes | ({ANALOG: 10} if pin in FREE_ANALOG else {})


def capability_report() -> bytes:
    """Modes of every pin."""
    out = bytearray()
    for pin in range(PIN_COUNT):
        for mode, bits in modes_of(pin).items():
            out += bytes([mode, bits])
        out.append(NONE)
    return sysex(CAPABILITY_RESPONSE, bytes(out))


def mapping_report() -> bytes:
    """Analog channel of every pin."""
    channels = (pin - FIRST_ANALOG if pin in FREE_ANALOG else NONE for pin in range(PIN_COUNT))
    return sysex(ANALOG_MAPPING_RESPONSE, bytes(channels))


class Pins:
    """State of the free pins; what the world does to them is set in `levels` and `analog`.

    `send` takes whole messages to the host.
    """

    def __init__(
        self, send: Callable[[bytes], None], levels: dict[int, int], analog: dict[int, int]
    ) -> None:
        self._send = send
        self._levels, self._analog = levels, analog
        self.reset()

    def reset(self) -> None:
        """Inputs all, reporting off."""
        self.modes = dict.fromkeys(FREE_DIGITAL, INPUT)
        self.values = dict.fromkeys(FREE_DIGITAL, 0)
        self.interval_ms = DEFAULT_INTERVAL_MS
        self.analog_on: set[int] = set()
        self._told: dict[int, int | None] = {}

    def message(self, status: int, channel: int, data: bytes) -> None:
        """A plain message that concerns pins."""
        if status == SET_PIN_MODE:
            self._set_mode(*data)
        elif status == SET_PIN:
            self._set_pin(*data)
        elif status == DIGITAL_MESSAGE:
            self._set_port(channel, data[0] | data[1] << 7)
        elif status == REPORT_DIGITAL:
            self._report_port(channel, bool(data[0]))
        elif status == REPORT_ANALOG:
            self._report_analog(channel, bool(data[0]))
        self.tell_digital()

    def state(self, pin: int) -> None:
        """Answer a pin state query."""
        if pin not in self.modes:
            self._refuse(pin)
            return
        value = self.values[pin] if self.modes[pin] == OUTPUT else int(self.modes[pin] == PULLUP)
        self._send(sysex(PIN_STATE_RESPONSE, bytes([pin, self.modes[pin], value])))

    def tell_digital(self) -> None:
        """Report ports whose inputs have changed."""
        for port, told in self._told.items():
            mask = self._mask(port)
            if mask != told:
                self._told[port] = mask
                self._send(bytes([DIGITAL_MESSAGE | port, mask & 0x7F, mask >> 7]))

    def tell_analog(self) -> None:
        """Report every analog channel that is switched on."""
        for channel in sorted(self.analog_on):
            value = self._analog.get(channel, 0)
            self._send(bytes([ANALOG_MESSAGE | channel, value & 0x7F, value >> 7]))

    def _level(self, pin: int) -> int:
        return self._levels.get(pin, int(self.modes[pin] == PULLUP))

    def _mask(self, port: int) -> int:
        inputs = (p for p in FREE_DIGITAL if p >> 3 == port and self.modes[p] in (INPUT, PULLUP))
        return sum(self._level(pin) << (pin & 7) for pin in inputs)

    def _set_mode(self, pin: int, mode: int) -> None:
        if mode not in modes_of(pin):
            self._refuse(pin)
        else:
            self.modes[pin] = mode

    def _set_pin(self, pin: int, value: int) -> None:
        if pin not in self.modes:
            self._refuse(pin)
        elif self.modes[pin] == OUTPUT:
            self.values[pin] = value & 1

    def _set_port(self, port: int, mask: int) -> None:
        for pin in self._free(port):
            if self.modes[pin] == OUTPUT:
                self.values[pin] = mask >> (pin & 7) & 1

    def _report_port(self, port: int, on: bool) -> None:
        if on and any(self._free(port)):
            self._told[port] = None
        else:
            self._told.pop(port, None)

    def _report_analog(self, channel: int, on: bool) -> None:
        if channel + FIRST_ANALOG not in FREE_ANALOG:
            self._refuse(channel + FIRST_ANALOG)
        elif on:
            self.modes[channel + FIRST_ANALOG] = ANALOG
            self.analog_on.add(channel)
        else:
            self.analog_on.discard(channel)

    @staticmethod
    def _free(port: int) -> Iterator[int]:
        return (pin for pin in FREE_DIGITAL if pin >> 3 == port)

    def _refuse(self, pin: int) -> None:
        self._send(string(f"pin {pin} is reserved"))
