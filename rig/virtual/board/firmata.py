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
FREE_DIGITAL = (13, 19)
FREE_ANALOG = (19,)
DEFAULT_INTERVAL_MS = 19
LONGEST_SYSEX = 32
INTERVAL_SEPTETS = 2
PORTS = 3
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
    """The Firmata subset's answers and the free pins; what the world does to those is in
    `levels` and `analog`.

    `send` takes whole messages to the host.
    """

    def __init__(
        self,
        send: Callable[[bytes], None],
        name: str,
        levels: dict[int, int],
        analog: dict[int, int],
    ) -> None:
        self._send, self._name = send, name
        self._levels, self._analog = levels, analog
        self._sampled_ms = 0
        self.reset()

    @property
    def due_ms(self) -> int:
        """When the analog channels are told next."""
        return self._sampled_ms + self._interval_ms

    def reset(self) -> None:
        """Inputs all, reporting off."""
        self._modes = dict.fromkeys(FREE_DIGITAL, INPUT)
        self._states = dict.fromkeys(FREE_DIGITAL, 0)
        self._interval_ms = DEFAULT_INTERVAL_MS
        self._told: dict[int, int] = {}
        self.analog_on: set[int] = set()

    def message(self, status: int, channel: int, data: bytes) -> None:
        """Any message that is not sysex."""
        if status == VERSION:
            self._send(version_report())
        elif status == RESET:
            self.reset()
        elif status == SET_PIN_MODE:
            self._request_mode(*data)
        elif status == SET_PIN:
            self._request_level(*data)
        elif status == DIGITAL_MESSAGE:
            self._set_port(channel, data[0] | data[1] << 7)
        elif status == REPORT_DIGITAL:
            self._report_port(channel, bool(data[0]))
        elif status == REPORT_ANALOG:
            self._report_analog(channel + FIRST_ANALOG, bool(data[0]))
        self.tell_digital()

    def sysex(self, sysex_id: int, data: bytes) -> None:
        """A sysex message that is none of ours; unknown ones stay unanswered."""
        if sysex_id == FIRMWARE:
            self.firmware()
        elif sysex_id == CAPABILITY_QUERY:
            self._send(capability_report())
        elif sysex_id == ANALOG_MAPPING_QUERY:
            self._send(mapping_report())
        elif sysex_id == PIN_STATE_QUERY and data:
            self._pin_state(data[0])
        elif sysex_id == SAMPLING_INTERVAL and len(data) >= INTERVAL_SEPTETS:
            self._interval_ms = data[0] | data[1] << 7 or 1

    def firmware(self) -> None:
        """Tell name and version."""
        self._send(firmware_report(self._name))

    def tell_digital(self) -> None:
        """Report ports whose inputs have changed."""
        for port, told in self._told.items():
            if self._mask(port) != told:
                self._send_port(port)

    def poll(self, ms: int) -> None:
        """Report every analog channel that is switched on, when the interval is over."""
        if ms < self.due_ms:
            return
        self._sampled_ms = ms
        for channel in sorted(self.analog_on):
            value = self._analog.get(channel, 0)
            self._send(bytes([ANALOG_MESSAGE | channel, value & 0x7F, value >> 7]))

    def _send_port(self, port: int) -> None:
        mask = self._told[port] = self._mask(port)
        self._send(bytes([DIGITAL_MESSAGE | port, mask & 0x7F, mask >> 7]))

    def _mask(self, port: int) -> int:
        inputs = (pin for pin in _free(port) if self._modes[pin] in (INPUT, PULLUP))
        return sum(self._levels.get(pin, self._states[pin]) << (pin & 7) for pin in inputs)

    def _permitted(self, pin: int) -> bool:
        if pin in self._modes:
            return True
        why = "is reserved" if pin < PIN_COUNT else "does not exist"
        self._send(string(f"pin {pin} {why}"))
        return False

    def _pin_state(self, pin: int) -> None:
        if self._permitted(pin):
            answer = [pin, self._modes[pin], self._states[pin]]
            self._send(sysex(PIN_STATE_RESPONSE, bytes(answer)))

    def _request_mode(self, pin: int, mode: int) -> None:
        if not self._permitted(pin):
            return
        if mode not in modes_of(pin):
            self._send(string(f"pin {pin} has no such mode"))
        else:
            self._set_mode(pin, mode)

    def _set_mode(self, pin: int, mode: int) -> None:
        self._modes[pin] = mode
        self._states[pin] = int(mode == PULLUP)  # the state of an input is its pull-up
        if mode != ANALOG:
            self.analog_on.discard(pin - FIRST_ANALOG)

    def _request_level(self, pin: int, level: int) -> None:
        if self._permitted(pin):
            self._set_level(pin, level & 1)

    def _set_level(self, pin: int, level: int) -> None:
        if self._modes[pin] == OUTPUT:
            self._states[pin] = level

    def _set_port(self, port: int, mask: int) -> None:
        for pin in _free(port):
            self._set_level(pin, mask >> (pin & 7) & 1)

    def _report_port(self, port: int, on: bool) -> None:
        if port >= PORTS:
            return
        if on:
            self._send_port(port)
        else:
            self._told.pop(port, None)

    def _report_analog(self, pin: int, on: bool) -> None:
        if not self._permitted(pin):
            return
        if on:
            self._set_mode(pin, ANALOG)
            self.analog_on.add(pin - FIRST_ANALOG)
        else:
            self.analog_on.discard(pin - FIRST_ANALOG)


def _free(port: int) -> Iterator[int]:
    return (pin for pin in FREE_DIGITAL if pin >> 3 == port)
