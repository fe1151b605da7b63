"""The firmware's Firmata side, on pins of memory."""

import ctypes
import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.board.wire import FIRMATA_VERSION, FIRMWARE_NAME, FIRMWARE_VERSION, PINS
from tests.firmware.host import library

# Firmata protocol document, version 2.8.0
MESSAGES: dict[str, list[int]] = json.loads(
    Path(__file__).with_name("firmata_messages.json").read_text()
)["messages"]
FREE = (13, 19)
RESERVED = tuple(pin for pin in range(20) if pin not in FREE)
INPUT, OUTPUT, ANALOG, PULLUP = 0, 1, 2, 11
Log = list[tuple[str, int, int]]


class Bench:
    """Firmata of the firmware with levels set and calls read by the test."""

    def __init__(self) -> None:
        self._c = library()
        self._it = ctypes.c_void_p(self._c.firmata_new())

    def __del__(self) -> None:
        self._c.firmata_free(self._it)

    def feed(self, *data: int) -> bytes:
        """What is answered to these bytes."""
        self._c.firmata_feed(self._it, bytes(data), len(data))
        return self.sent()

    def sent(self) -> bytes:
        out = (ctypes.c_uint8 * 4096)()
        return bytes(out[: self._c.firmata_sent(out)])

    def poll(self, now_ms: int) -> bytes:
        self._c.firmata_poll(self._it, now_ms)
        return self.sent()

    def log(self) -> Log:
        """(m mode | w level | c conversion, pin, value) that the hardware was told."""
        out = (ctypes.c_uint8 * 4096)()
        length = self._c.firmata_log(out)
        return [(chr(out[i]), out[i + 1], out[i + 2]) for i in range(0, length, 3)]

    def level(self, pin: int, level: int) -> None:
        self._c.firmata_level(pin, level)

    def analog(self, pin: int, value: int) -> None:
        self._c.firmata_analog(pin, value)

    def room(self, free: int) -> None:
        self._c.firmata_room(free)

    @property
    def broken(self) -> int:
        return int(self._c.firmata_broken(self._it))

    def last_sysex(self) -> bytes:
        out = (ctypes.c_uint8 * 64)()
        return bytes(out[: self._c.firmata_last_sysex(self._it, out)])


@pytest.fixture
def bench() -> Iterator[Bench]:
    yield Bench()


def string(text: str) -> bytes:
    return bytes([0xF0, 0x71, *(b for c in text.encode() for b in (c, 0)), 0xF7])


def on_channel(channel: int, message: list[int]) -> bytes:
    """A published message of one channel, for another: its status byte's low nibble."""
    return bytes([message[0] & 0xF0 | channel, *message[1:]])


def test_version_query_gives_the_published_report(bench: Bench) -> None:
    assert FIRMATA_VERSION == (2, 8)
    assert bench.feed(*MESSAGES["version_request"]) == bytes(MESSAGES["version_report_2_8"])


def test_firmware_query_gives_name_and_version(bench: Bench) -> None:
    shape = MESSAGES["firmware_report"]  # F0 79 major minor, letters in two septets, F7
    name = [b for c in FIRMWARE_NAME.encode() for b in (c, 0)]
    expected = bytes([*shape[:2], *FIRMWARE_VERSION[:2], *name, shape[-1]])
    assert bench.feed(*MESSAGES["firmware_query"]) == expected


def test_free_pins_and_only_they_have_modes(bench: Bench) -> None:
    answer = bench.feed(*MESSAGES["capability_query"])
    assert answer[:2] == bytes(MESSAGES["capability_response"][:2])
    pins = answer[2:-1].split(b"\x7f")[:-1]
    digital = bytes(MESSAGES["capability_response"][2:8])  # input, output, pull-up, one bit each
    analog = bytes(MESSAGES["capability_response"][10:12])  # ten bits
    assert len(pins) == 20
    for pin, modes in enumerate(pins):
        expected = b"" if pin not in FREE else digital + (analog if pin >= 19 else b"")
        assert modes == expected, pin


def test_no_pin_of_the_rig_is_free() -> None:
    assert not set(FREE) & set(PINS.values())


def test_the_analog_channel_is_that_of_a5(bench: Bench) -> None:
    answer = bench.feed(*MESSAGES["analog_mapping_query"])
    assert answer == bytes([0xF0, 0x6A, *[0x7F] * 19, 5, 0xF7])


def test_published_pin_messages_reach_the_hardware(bench: Bench) -> None:
    bench.feed(0xF4, 13, OUTPUT)
    assert bench.feed(*MESSAGES["set_pin_13_high"]) == b""
    assert bench.log() == [("m", 13, OUTPUT), ("w", 13, 1)]
    assert bench.feed(*MESSAGES["pin_state_query_13"]) == bytes([0xF0, 0x6E, 13, OUTPUT, 1, 0xF7])


def test_a_port_message_writes_free_outputs_only(bench: Bench) -> None:
    bench.feed(0xF4, 13, OUTPUT)
    bench.log()
    assert bench.feed(*MESSAGES["digital_port1_0xA5"]) == b""
    assert bench.log() == [("w", 13, 1)], "bits 0, 2, 5, 7 set: pins 8, 10, 13, 15"
    bench.feed(0x92, 0x7F, 1)
    assert bench.log() == [], "19 is an input, 18 the rig's"
    bench.feed(0x91, 0x5F, 1)
    assert bench.log() == [("w", 13, 0)]


@pytest.mark.parametrize("pin", RESERVED)
def test_a_reserved_pin_is_refused_by_name_and_never_touched(bench: Bench, pin: int) -> None:
    for mode in (INPUT, OUTPUT, ANALOG, PULLUP, 3):
        assert bench.feed(0xF4, pin, mode) == string(f"pin {pin} is reserved")
    assert bench.feed(0xF5, pin, 1) == string(f"pin {pin} is reserved")
    assert bench.feed(0xF0, 0x6D, pin, 0xF7) == string(f"pin {pin} is reserved")
    if pin >= 14:
        assert bench.feed(0xC0 | pin - 14, 1) == string(f"pin {pin} is reserved")
    assert bench.log() == []


def test_a_mode_that_a_free_pin_lacks_is_refused(bench: Bench) -> None:
    assert bench.feed(0xF4, 13, ANALOG) == string("pin 13 has no such mode")
    assert bench.feed(*MESSAGES["set_pin_mode_14_analog"]) == string("pin 14 is reserved")
    assert bench.feed(0xF4, 120, OUTPUT) == string("pin 120 does not exist")
    assert bench.log() == []


@given(st.lists(st.integers(0, 255), max_size=120))
def test_no_bytes_whatever_reach_a_reserved_pin(data: list[int]) -> None:
    bench = Bench()
    bench.feed(*data)
    bench.poll(1)
    bench.poll(1000)
    assert {pin for _, pin, _ in bench.log()} <= set(FREE)


@given(st.lists(st.integers(0, 127), max_size=80), st.integers(0, 127))
def test_the_parser_recovers_after_any_sysex(body: list[int], sysex_id: int) -> None:
    bench = Bench()
    bench.feed(0xF0, sysex_id, *body, 0xF7)
    assert bench.feed(0xF9) == bytes(MESSAGES["version_report_2_8"])


def test_digital_inputs_are_told_at_once_and_then_on_change(bench: Bench) -> None:
    bench.level(13, 1)
    bench.level(8, 1)  # the gate's business, not Firmata's
    assert bench.feed(0xD1, 1) == bytes([0x91, 0x20, 0x00])
    assert bench.poll(1) == b""
    bench.level(13, 0)
    assert bench.poll(2) == bytes([0x91, 0x00, 0x00])
    bench.level(8, 0)
    assert bench.poll(3) == b""
    bench.feed(0xD1, 0)
    bench.level(13, 1)
    assert bench.poll(4) == b""


def test_a_port_without_a_free_pin_reads_as_low(bench: Bench) -> None:
    for pin in range(8):
        bench.level(pin, 1)
    assert bench.feed(*MESSAGES["report_digital_port0_on"]) == bytes([0x90, 0x00, 0x00])


def test_a_change_waits_for_room_and_is_not_lost(bench: Bench) -> None:
    bench.feed(0xD1, 1)
    bench.level(13, 1)
    bench.room(2)
    assert bench.poll(1) == b""
    bench.room(3)
    assert bench.poll(2) == bytes([0x91, 0x20, 0x00])


def test_analog_values_come_at_the_sampling_interval(bench: Bench) -> None:
    bench.analog(19, 1023)
    assert bench.feed(*MESSAGES["sampling_interval_19ms"]) == b""
    bench.feed(0xC5, 1)
    sent = {now: bench.poll(now) for now in range(1, 40)}
    told = {now: data for now, data in sent.items() if data}
    a5 = on_channel(5, MESSAGES["analog_A2_value_1023"])
    assert told == {20: a5, 39: a5}


def test_the_published_interval_of_a_second_is_kept(bench: Bench) -> None:
    bench.feed(*MESSAGES["sampling_interval_1000ms"])
    bench.feed(0xC5, 1)
    told = [now for now in range(1, 2100) if bench.poll(now)]
    assert told == [1001, 2001]


def test_a_pull_up_shows_in_the_pin_state(bench: Bench) -> None:
    bench.feed(0xF4, 13, PULLUP)
    assert bench.feed(0xF0, 0x6D, 13, 0xF7) == bytes([0xF0, 0x6E, 13, PULLUP, 1, 0xF7])


def test_system_reset_makes_inputs_of_all_free_pins_and_ends_reports(bench: Bench) -> None:
    bench.feed(0xF4, 13, OUTPUT, 0xD1, 1, 0xC5, 1)
    bench.log()
    assert bench.feed(*MESSAGES["system_reset"]) == b""
    assert bench.log() == [("m", pin, INPUT) for pin in FREE]
    bench.level(13, 1)
    assert b"".join(bench.poll(now) for now in range(1, 60)) == b""


def test_user_sysex_is_handed_on_whole(bench: Bench) -> None:
    message = MESSAGES["user_sysex_0x01_payload_300"]
    bench.feed(*message)
    assert bench.last_sysex() == bytes(message[1:-1])


def test_a_sysex_cut_by_another_message_is_broken_and_the_other_is_heard(bench: Bench) -> None:
    assert bench.feed(0xF0, 0x0C, 1, 2, 0xF9) == bytes(MESSAGES["version_report_2_8"])
    assert bench.broken == 1


def test_a_sysex_longer_than_any_command_is_broken(bench: Bench) -> None:
    bench.feed(0xF0, 0x0C, *[1] * 40, 0xF7)
    assert bench.broken == 1
