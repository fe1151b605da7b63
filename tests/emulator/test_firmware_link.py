"""The real image on the wire: boot, Firmata, and bytes that mean nothing."""

import itertools
import json
import random
from pathlib import Path
from types import SimpleNamespace

import pytest
from pyfirmata2 import Board

from rig.board import wire
from rig.board.wire import Kind, Op, Reason, State
from tests.emulator.bench import bench, load_all
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Host

# Byte sequences composed from the tables of the Firmata protocol document, version 2.8.0.
MESSAGES = {
    name: bytes(data)
    for name, data in json.loads(
        (Path(__file__).parents[1] / "firmware" / "firmata_messages.json").read_text()
    )["messages"].items()
}
FREE_DIGITAL, FREE_ANALOG = (13,), (19,)
INPUT, OUTPUT, ANALOG, PULLUP = 0, 1, 2, 11
DDRD, PORTD, DDRB, PORTB, DDRC, PORTC = 0x2A, 0x2B, 0x24, 0x25, 0x27, 0x28


def answers(host: Host, data: bytes) -> list[bytes]:
    """Messages other than frames that the board sends within 20 ms of `data`."""
    count = len(host.messages)
    host.board.write(data)
    host.run(0.02)
    return host.messages[count:]


def string(message: bytes) -> str:
    """Text of a Firmata string message."""
    assert message[:2] == b"\xf0\x71"
    return bytes(message[2:-1:2]).decode("ascii")


def test_the_board_boots_with_version_firmware_name_and_hello() -> None:
    host = bench().host
    name = b"".join(bytes([ord(c), 0]) for c in wire.FIRMWARE_NAME)
    assert host.messages == [
        MESSAGES["version_report_2_8"],
        b"\xf0\x79" + bytes(wire.FIRMWARE_VERSION[:2]) + name + b"\xf7",
    ]
    first = host.frames[0]
    assert (first.kind, first.seq) == (Kind.HELLO, 0)
    assert first.values == {
        "wire": wire.WIRE_VERSION,
        "major": wire.FIRMWARE_VERSION[0],
        "minor": wire.FIRMWARE_VERSION[1],
        "patch": wire.FIRMWARE_VERSION[2],
        "description": wire.description(),
        "boot": first.values["boot"],
        "reset_cause": 1,
        "height_period": wire.CHANNELS[Kind.HEIGHT].period_ticks,
    }
    assert host.board.counters().illegal_baud == 0


def test_status_comes_every_hundred_milliseconds_and_tells_the_contacts() -> None:
    tower, _, host = bench()
    host.run(2.0)
    times = [frame.time for frame in host.of(Kind.STATUS)]
    period = wire.LIMITS["STATUS_PERIOD_MS"] * wire.TICK_HZ // 1000
    assert len(times) >= 19
    assert all(abs(b - a - period) < period / 50 for a, b in itertools.pairwise(times))
    assert host.status()["inputs"] == 0b0011, "guard and e-stop closed"
    for pin, level in (("GUARD", 1), ("ESTOP", 1), ("BUTTON", 0), ("GATE", 1)):
        tower.edge(host.board.now_s + 0.01, pin, level)
    host.run(0.05)
    assert host.status()["inputs"] == 0b1100, "button pressed, gate blocked"


def test_the_boot_counter_counts_every_reset() -> None:
    _, board, host = bench()
    first = host.hello()["boot"]
    board.reset()
    host.run(0.2)
    assert (host.hello()["boot"], host.hello()["reset_cause"]) == (first + 1, 2)
    board.power_off()
    host.run(0.5)
    board.power_on()
    host.run(0.2)
    assert (host.hello()["boot"], host.hello()["reset_cause"]) == (first + 2, 1)


def test_the_boot_counter_passes_from_its_largest_value_to_zero() -> None:
    _, board, host = bench()
    top = (1 << 14) - 1
    at = next(i for i in range(8) if board.chip.eeprom(i, 2) == bytes(2))
    board.chip.set_eeprom(at, top.to_bytes(2, "little"))
    board.reset()
    host.run(0.2)
    assert host.hello()["boot"] == 0


def test_stock_pyfirmata2_understands_the_capabilities() -> None:
    host = bench().host
    (reply,) = answers(host, MESSAGES["capability_query"])
    assert reply[:2] == b"\xf0\x6c"
    pins: list[list[int]] = [[]]
    for byte in reply[2:-1]:
        if byte == 0x7F:
            pins.append([])
        else:
            pins[-1].append(byte)
    assert len(pins) == 21, "twenty pins, each closed by 7F"
    digital = [INPUT, 1, OUTPUT, 1, PULLUP, 1]
    for number, modes in enumerate(pins[:-1]):
        if number in FREE_DIGITAL:
            assert modes == digital
        else:
            assert modes == ([*digital, ANALOG, 10] if number in FREE_ANALOG else [])
    stock = SimpleNamespace()
    Board._handle_report_capability_response(stock, *reply[2:-1])
    assert set(FREE_DIGITAL) <= set(stock._layout["digital"])
    assert len(stock._layout["analog"]) >= len(FREE_ANALOG)


def test_the_analog_mapping_names_the_free_channel() -> None:
    host = bench().host
    (reply,) = answers(host, MESSAGES["analog_mapping_query"])
    assert reply == b"\xf0\x6a" + b"\x7f" * 19 + b"\x05\xf7"


def test_version_and_firmware_queries_are_answered_as_at_boot() -> None:
    host = bench().host
    at_boot = list(host.messages)
    assert answers(host, MESSAGES["version_request"]) == at_boot[:1]
    assert answers(host, MESSAGES["firmware_query"]) == at_boot[1:]


def test_pin_13_can_be_driven_and_tells_its_state() -> None:
    _, board, host = bench()
    assert answers(host, b"\xf4\x0d\x01" + MESSAGES["set_pin_13_high"]) == []
    assert board.chip.peek(DDRB) & board.chip.peek(PORTB) & 0x20
    (state,) = answers(host, MESSAGES["pin_state_query_13"])
    assert state == b"\xf0\x6e\x0d\x01\x01\xf7"
    answers(host, b"\xf5\x0d\x00")
    assert not board.chip.peek(PORTB) & 0x20


def test_a_whole_port_message_reaches_free_pins_only() -> None:
    _, board, host = bench()
    answers(host, b"\xf4\x0d\x01")
    before = board.chip.peek(DDRB)
    answers(host, MESSAGES["digital_port1_0xA5"])
    assert board.chip.peek(PORTB) & 0x3F == 0x20, "of A5: 13 is free; 8 and 10 are the rig's"
    assert board.chip.peek(DDRB) == before
    assert board.outputs == []


@pytest.mark.parametrize("pin", sorted(wire.PINS.values()))
def test_a_reserved_pin_is_refused_by_name(pin: int) -> None:
    _, board, host = bench()
    registers = [board.chip.peek(r) for r in (DDRB, PORTB, DDRC, PORTC, DDRD, PORTD)]
    for data in (bytes([0xF4, pin, OUTPUT]), bytes([0xF4, pin, PULLUP]), bytes([0xF5, pin, 1])):
        (reply,) = answers(host, data)
        assert str(pin) in string(reply).split()
    assert [board.chip.peek(r) for r in (DDRB, PORTB, DDRC, PORTC, DDRD, PORTD)] == registers


def test_a_free_input_is_reported_when_it_changes() -> None:
    _, board, host = bench()
    board.set_pin(13, 0)
    assert answers(host, b"\xf4\x0d\x00\xd1\x01")[-1] == b"\x91\0\0"
    board.set_pin(13, 1)
    count = len(host.messages)
    host.run(0.02)
    assert host.messages[count:] == [b"\x91\x20\x00"]
    host.run(0.2)
    assert len(host.messages) == count + 1, "on change only"


def test_an_analog_input_is_reported_at_the_asked_interval() -> None:
    _, board, host = bench()
    board.set_analog(5, 5.0)
    count = len(host.messages)
    board.write(b"\xf4\x13\x02\xc5\x01" + MESSAGES["sampling_interval_19ms"])
    host.run(1.0)
    reports = host.messages[count:]
    assert set(reports[1:]) == {b"\xe5" + MESSAGES["analog_A2_value_1023"][1:]}
    assert abs(len(reports) - 1000 / 19) <= 2
    board.write(MESSAGES["sampling_interval_1000ms"])
    count = len(host.messages)
    host.run(3.0)
    assert 2 <= len(host.messages) - count <= 4


def test_the_bridge_inputs_offer_no_reports() -> None:
    host = bench().host
    (reply,) = answers(host, MESSAGES["report_analog_A1_on"])
    assert "15" in string(reply).split()


def test_a_system_reset_frees_the_pins_and_stops_the_reports() -> None:
    _, board, host = bench()
    load_all(host)
    answers(host, b"\xf4\x0d\x01\xf5\x0d\x01")
    answers(host, MESSAGES["system_reset"])
    heights, messages = len(host.of(Kind.HEIGHT)), len(host.messages)
    host.run(0.5)
    assert not board.chip.peek(DDRB) & 0x20
    assert (len(host.of(Kind.HEIGHT)), len(host.messages)) == (heights, messages)
    assert host.gaps == 0


def test_commands_the_board_does_not_know_are_refused_and_damaged_ones_counted() -> None:
    _, board, host = bench()
    reply = host.ask(Op.STREAM, channel=3, on=1)
    assert reply["reason"] == Reason.BAD_COMMAND
    good = wire.command(Op.BEAT, 5)
    board.write(good[:3] + bytes([good[3] ^ 1]) + good[4:])
    host.run(0.05)
    assert host.status()["rx_damaged"] == 1
    assert not [f for f in host.of(Kind.REPLY) if f.values["command_seq"] in (4, 5)]


def test_user_sysex_of_others_and_unknown_queries_are_left_unanswered() -> None:
    host = bench().host
    for name in ("user_sysex_0x01_payload_300", "sampling_query", "string_Hi"):
        assert answers(host, MESSAGES[name]) == []
    assert host.ask(Op.HELLO)["reason"] == Reason.NONE


def _noise(rng: random.Random, size: int) -> bytes:
    """Bytes of chance mixed with the beginnings, middles and ends of real messages."""
    out = bytearray()
    whole = [*MESSAGES.values(), *(wire.command(op, 1, **_arguments(op)) for op in Op)]
    while len(out) < size:
        roll = rng.random()
        if roll < 0.5:
            out += rng.randbytes(rng.randrange(1, 40))
        elif roll < 0.8:
            message = bytearray(rng.choice(whole))
            message[rng.randrange(len(message))] ^= 1 << rng.randrange(8)
            out += message[: rng.randrange(1, len(message) + 1)]
        else:
            out += bytes([rng.choice((0xF4, 0xF5, 0x90, 0x91)), rng.randrange(20), 1])
    return bytes(out[:size])


def _arguments(op: Op) -> dict[str, int]:
    return {field.name: 1 for field in wire.COMMANDS[op]}


def _babble(board: EmulatedBoard, data: bytes) -> None:
    """Send at the line's full speed, reading what comes back."""
    for at in range(0, len(data), 500):
        board.write(data[at : at + 500])
        board.clock.sleep(500 * 10 / wire.BAUD)
        board.read_available()


@pytest.mark.parametrize("seed", [1, 2])
def test_random_bytes_energise_nothing_and_hang_nothing(seed: int) -> None:
    tower, board, host = bench()
    _babble(board, _noise(random.Random(seed), 150_000))
    assert board.outputs == [], "latch, catch, lamp and drive stayed off"
    assert tower.seen == []
    assert board.counters().resets == 0
    board.write(b"\xf7\xff")
    board.clock.sleep(0.1)
    board.read_available()
    host = Host(board)
    host.run(0.05)
    assert host.ask(Op.HELLO)["reason"] == Reason.NONE
    assert host.status()["state"] == State.HELD
