"""The stand-in speaks as the firmware does, and its faults are what they say."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.board import wire
from rig.board.frames import Decoder, Frame, Message
from rig.board.link import Link, LinkLost, NoBoard, WrongFirmware
from rig.board.wire import Event, Input, Kind, Op, Output, Reason, State
from rig.virtual.arm.plant import Jig
from rig.virtual.board.faults import FAULTS
from rig.virtual.board.standin import StandIn
from rig.virtual.board.twin import Twin
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.parameters import TowerTruth
from rig.virtual.tower.plant import Tower
from tests.virtual.worlds import Rig, heard, of_kind


def board(seed: int = 0) -> StandIn:
    return StandIn(Tower(seed=seed), seed=seed)


def asked(query: bytes) -> bytes:
    """What a board that has said its greeting answers."""
    stand_in = board()
    stand_in.clock.sleep(0.02)
    stand_in.read_available()
    stand_in.write(query)
    stand_in.clock.sleep(0.02)
    return stand_in.read_available()


def test_it_greets_with_version_name_and_hello() -> None:
    stand_in = board()
    stand_in.clock.sleep(0.02)
    version, firmware, hello = Decoder().feed(stand_in.read_available())
    assert isinstance(version, Message) and version.data == bytes([2, 8])
    assert isinstance(firmware, Message) and firmware.command == 0x79
    assert isinstance(hello, Frame) and hello.kind is Kind.HELLO and hello.seq == 0
    assert hello.fields()["description"] == wire.description()


# Byte sequences composed from the tables of the Firmata protocol document, version 2.8.0.
@pytest.mark.parametrize(
    ("query", "answer"),
    [
        ([0xF9], [0xF9, 2, 8]),
        ([0xF0, 0x6D, 13, 0xF7], [0xF0, 0x6E, 13, 0, 0, 0xF7]),
        ([0xF4, 13, 1, 0xF5, 13, 1, 0xF0, 0x6D, 13, 0xF7], [0xF0, 0x6E, 13, 1, 1, 0xF7]),
        ([0xF4, 13, 11, 0xF0, 0x6D, 13, 0xF7], [0xF0, 0x6E, 13, 11, 1, 0xF7]),
        ([0xD1, 1], [0x91, 0, 0]),
        ([0xF4, 13, 11, 0xD1, 1], [0x91, 1 << 5, 0]),
        ([0xF0, 0x69, 0xF7], [0xF0, 0x6A, *[127] * 19, 5, 0xF7]),
    ],
)
def test_firmata_queries_are_answered_by_the_letter(query: list[int], answer: list[int]) -> None:
    assert asked(bytes(query)) == bytes(answer)


# As the firmware words it (firmata.hpp: refuse).
@pytest.mark.parametrize(
    ("request_", "told"),
    [
        ([0xF4, 9, 1], "pin 9 is reserved"),
        ([0xF5, 9, 1], "pin 9 is reserved"),
        ([0xF4, 16, 2], "pin 16 is reserved"),
        ([0xF4, 7, 0], "pin 7 is reserved"),
        ([0xF5, 12, 1], "pin 12 is reserved"),
        ([0xF4, 17, 2], "pin 17 is reserved"),
        ([0xC0, 1], "pin 14 is reserved"),
        ([0xC2, 0], "pin 16 is reserved"),
        ([0xF0, 0x6D, 9, 0xF7], "pin 9 is reserved"),
        ([0xF0, 0x6D, 20, 0xF7], "pin 20 does not exist"),
        ([0xF4, 127, 0], "pin 127 does not exist"),
        ([0xCF, 1], "pin 29 does not exist"),
        ([0xF4, 13, 2], "pin 13 has no such mode"),
    ],
)
def test_a_pin_that_is_not_free_is_refused_in_words(request_: list[int], told: str) -> None:
    (message,) = Decoder().feed(asked(bytes(request_)))
    assert isinstance(message, Message) and message.command == 0x71
    assert bytes(message.data[::2]).decode() == told


def test_port_writes_never_touch_the_solenoids() -> None:
    tower = Tower()
    stand_in = StandIn(tower)
    stand_in.write(bytes([0x90, 0x7F, 1, 0x91, 0x7F, 1, 0xF5, 9, 1, 0xF5, 10, 1]))
    stand_in.clock.sleep(0.5)
    assert not any(tower._commands.values())


def test_capabilities_start_with_what_the_stock_host_looks_for() -> None:
    # pyfirmata2 2.5.1 wants 0,1,1,1 first for a digital pin.
    pins = asked(bytes([0xF0, 0x6B, 0xF7]))[2:-1].split(b"\x7f")[:-1]
    assert len(pins) == 20
    assert [i for i, modes in enumerate(pins) if modes] == [13, 19]
    assert all(modes[:6] == bytes([0, 1, 1, 1, 11, 1]) for modes in pins if modes)


def test_free_pins_report_changes_and_analog_values() -> None:
    stand_in = board()
    stand_in.analog[5] = 1023
    stand_in.write(bytes([0xD1, 1, 0xC5, 1]))
    stand_in.clock.sleep(0.05)
    data = stand_in.read_available()
    assert bytes([0xE5, 0x7F, 7]) in data
    stand_in.set_pin(13, 1)
    stand_in.clock.sleep(0.01)
    assert bytes([0x91, 1 << 5, 0]) in stand_in.read_available()


def test_a_pin_that_leaves_analog_mode_is_reported_no_more() -> None:
    stand_in = board()
    stand_in.write(bytes([0xC5, 1]))
    stand_in.clock.sleep(0.1)
    assert bytes([0xE5, 0, 0]) in stand_in.read_available()
    stand_in.write(bytes([0xF4, 19, 0]))
    stand_in.clock.sleep(0.01)
    stand_in.read_available()
    stand_in.clock.sleep(0.1)
    assert 0xE5 not in stand_in.read_available()


def test_bytes_arrive_at_the_speed_of_the_line() -> None:
    stand_in = board()
    stand_in.clock.sleep(0.001)
    assert len(stand_in.read_available()) == pytest.approx(25, abs=1)  # 250,000 baud, 8N1


def test_status_comes_every_tenth_second_and_height_in_blocks_of_ten() -> None:
    stand_in = board()
    stand_in.write(wire.command(Op.STREAM, 0, channel=Kind.HEIGHT, on=1))
    frames = heard(stand_in, 2.005)
    status = of_kind(frames, Kind.STATUS)
    assert [frame.ticks for frame in status] == [200_000 * n for n in range(1, 21)]
    ticks = [frame.ticks for frame in of_kind(frames, Kind.HEIGHT)]
    assert {b - a for a, b in itertools.pairwise(ticks)} == {20_000}
    seqs = [frame.seq for frame in frames]
    assert seqs == list(range(len(seqs)))


def test_the_boards_clock_runs_fast_by_its_resonators_error() -> None:
    stand_in = StandIn(Tower(replace(TowerTruth(), resonator=0.005)))
    stand_in.clock.sleep(0.02)
    stand_in.clock.sleep(10.0)
    items = Decoder().feed(stand_in.read_available())
    last = [item for item in items if isinstance(item, Frame)][-1]
    assert last.ticks == 200_000 * 100  # 10.02 s show 100 periods of 0.0995 s and a bit
    assert last.kind is Kind.STATUS
    assert stand_in.now_s - last.ticks / (wire.TICK_HZ * 1.005) < 0.1


def test_a_whole_drop_runs_as_host_hands_and_plant_agree() -> None:
    rig = Rig()
    rig.drop(0.25)
    told = [(event.code, event.value, event.extra) for event in rig.events]
    states = [State(value) for code, value, _ in told if code is Event.STATE]
    assert states == [
        State.ARMED,
        State.PERMITTED,
        State.RELEASING,
        State.FLIGHT,
        State.HELD,
    ]
    outputs = [(value, extra) for code, value, extra in told if code is Event.OUTPUT]
    assert outputs == [
        (Output.CATCH, 1),
        (Output.LATCH, 1),
        (Output.LATCH, 0),
        (Output.CATCH, 0),
    ]
    (record,) = rig.tower.truth
    assert record.caught and record.release_height_m == pytest.approx(0.25, abs=2e-4)
    assert rig.link.status["reason"] == Reason.REVERSED
    assert not rig.link.decoder.gaps and not rig.link.decoder.damaged


def test_the_catch_is_told_to_close_within_two_milliseconds_of_the_rebound() -> None:
    rig = Rig()
    rig.drop(0.25)
    strike = rig.tower.truth[0].first
    closing = next(
        event
        for event in rig.events
        if event.code is Event.OUTPUT and (event.value, event.extra) == (Output.CATCH, 0)
    )
    lag = closing.ticks / wire.TICK_HZ - (strike.time_s + strike.contact_s)
    assert lag < 2e-3


def test_status_tells_the_inputs() -> None:
    rig = Rig()
    assert rig.link.wait_until(lambda: rig.link.input(Input.GUARD), 0.3)
    rig.link.wait(rig.hands.open_guard() - rig.board.now_s + 0.2)
    assert not rig.link.input(Input.GUARD)
    assert rig.link.input(Input.ESTOP)


def test_opening_the_guard_stops_a_release_under_way() -> None:
    rig = Rig()
    rig.prepare()
    rig.arm()
    rig.hands.press_button()
    pressed = rig.hands.free_at_s - 0.15
    rig.tower.schedule(pressed + 0.05, lambda: rig.tower.switch("GUARD", 1, pressed + 0.05))
    rig.link.wait(2.0)
    assert not rig.tower.truth
    assert rig.link.status["state"] == State.TRIPPED
    assert rig.link.status["reason"] == Reason.GUARD_OPEN


def test_a_bad_command_is_answered_and_a_damaged_one_only_counted() -> None:
    stand_in = board()
    short = wire.command(Op.ARM, 7, low=1, high=2)
    broken = bytearray(short)
    broken[6] ^= 1
    unknown = wire._sealed(wire.COMMAND_SYSEX, bytes([0x55, 9, 0]))
    stand_in.write(bytes(broken) + unknown)
    frames = heard(stand_in, 0.2)
    (reply,) = of_kind(frames, Kind.REPLY)
    assert reply.fields()["reason"] == Reason.BAD_COMMAND
    assert reply.fields()["command_seq"] == 9
    assert of_kind(frames, Kind.STATUS)[-1].fields()["rx_damaged"] == 1


def test_a_system_reset_disarms_and_stops_the_stream() -> None:
    rig = Rig()
    rig.prepare()
    rig.arm()
    rig.board.write(bytes([0xFF]))
    rig.link.wait(0.2)
    assert rig.link.status["reason"] == Reason.HOST_DISARM
    rig.board.read_available()
    assert not of_kind(heard(rig.board, 0.2), Kind.HEIGHT)


@given(
    st.integers(0, 1000),
    st.floats(0.3, 4.0),
    st.sets(st.sampled_from([Kind.HEIGHT, Kind.LOAD, Kind.ANGLE])),
)
@settings(max_examples=16)
def test_skipping_quiet_milliseconds_changes_no_byte(
    seed: int, pause: float, streamed: set[Kind]
) -> None:
    def bytes_of(skipping: bool) -> bytes:
        tower, jig = Tower(seed=seed), Jig(seed=seed)
        stand_in, hands = StandIn(tower, jig, seed=seed), Hands(tower, seed)
        if not skipping:
            stand_in._twin.idle_ms = lambda: 0  # type: ignore[union-attr, method-assign]
        for kind in sorted(streamed):
            stand_in.write(wire.command(Op.STREAM, 0, channel=kind, on=1))
        stand_in.clock.sleep(pause)
        jig.sweep(0.5)
        stand_in.clock.sleep(pause)
        stand_in.fault("load_missing")
        stand_in.clock.sleep(pause)
        stand_in.fault("load_missing", 0)
        hands.open_guard()
        hands.raise_to(0.1)
        hands.close_guard()
        stand_in.write(wire.command(Op.BEAT, 1))
        stand_in.clock.sleep(3.0)
        hands.press_estop()
        stand_in.clock.sleep(pause)
        return stand_in.read_available()

    assert bytes_of(True) == bytes_of(False)


@pytest.mark.parametrize("fault", ["lose_bytes", "damage_bytes"])
def test_a_noisy_line_never_yields_a_wrong_frame(fault: str) -> None:
    clean, noisy = board(), board()
    noisy.fault(fault, 0.01)
    for stand_in in (clean, noisy):
        stand_in.clock.sleep(20)
    first = {f for f in Decoder().feed(clean.read_available()) if isinstance(f, Frame)}
    decoder = Decoder()
    second = [f for f in decoder.feed(noisy.read_available()) if isinstance(f, Frame)]
    sent = {(f.kind, f.seq, f.payload) for f in first}
    assert all((f.kind, f.seq, f.payload) in sent for f in second)
    assert len(second) < len(first) and decoder.gaps


def test_a_frame_lost_inside_the_board_shows_as_a_gap_and_a_count() -> None:
    rig = Rig()
    rig.board.fault("skip_frames", 3)
    rig.link.wait(0.5)
    assert sum(gap.missing for gap in rig.link.decoder.gaps) == 3
    assert rig.link.status["tx_dropped"] == 3


def test_a_silent_line_trips_the_armed_board_and_tells_the_host() -> None:
    rig = Rig()
    rig.prepare()
    rig.arm()
    rig.board.fault("silent")
    with pytest.raises(LinkLost, match="nothing heard"):
        rig.link.wait(2.0)
    twin = rig.board._twin
    assert isinstance(twin, Twin)
    assert (twin.interlock.state, twin.interlock.reason) == (State.TRIPPED, Reason.BEAT_LOST)


def test_a_hung_firmware_is_reset_by_its_watchdog_and_stays_tripped() -> None:
    rig = Rig()
    boot = rig.link.boot
    rig.board.fault("hang")
    rig.link.wait(0.7)
    assert rig.link.boot == (boot or 0) + 1
    assert rig.link.status["reason"] == Reason.WATCHDOG
    assert rig.link.status["state"] == State.TRIPPED


def test_a_reset_in_flight_lets_both_solenoids_fall_and_shows_as_another_boot() -> None:
    rig = Rig()
    rig.prepare()
    rig.arm()
    rig.hands.press_button()
    assert rig.link.wait_until(lambda: any(e.value == State.FLIGHT for e in rig.events), 2.0)
    rig.board.fault("reset")
    rig.link.wait(1.0)
    assert rig.link.decoder.resets == 1
    assert not any(rig.tower._commands.values())
    assert rig.tower.truth[0].caught, "the spring closes the catch"


def test_a_pulled_cable_is_an_error_of_the_port_and_a_new_boot_when_back() -> None:
    rig = Rig()
    rig.board.fault("unplugged", at_s=rig.board.clock.now() + 0.5)
    with pytest.raises(LinkLost, match="unplugged"):
        rig.link.wait(1.0)
    rig.board.fault("unplugged", 0)
    again = Link(rig.board, clock=rig.board.clock, name="virtual")
    assert again.boot == 1
    assert again.hello is not None and again.hello.reset_cause == 1


def test_closing_and_reopening_the_port_resets_the_board() -> None:
    rig = Rig()
    rig.link.exit()
    with pytest.raises(OSError, match="closed"):
        rig.board.write(b"")
    rig.board.reopen()
    assert Link(rig.board, clock=rig.board.clock, name="virtual").boot == 1


def test_noise_on_the_encoder_shows_in_the_illegal_edges() -> None:
    rig = Rig()
    rig.board.fault("encoder_noise")
    rig.prepare(0.05)
    assert rig.link.status["illegal_edges"] > 0


@pytest.mark.parametrize("fault", ["wrong_wire_version", "wrong_firmware_name"])
def test_another_firmware_is_refused(fault: str) -> None:
    stand_in = board()
    stand_in.fault(fault)
    if fault == "wrong_firmware_name":
        stand_in.clock.sleep(0.2)
        assert wire.FIRMWARE_NAME.encode() not in stand_in.read_available()[::2]
    else:
        with pytest.raises(WrongFirmware):
            Link(stand_in, clock=stand_in.clock, name="virtual")


def test_a_board_that_says_nothing_is_no_board() -> None:
    stand_in = board()
    stand_in.fault("silent")
    with pytest.raises(NoBoard):
        Link(stand_in, clock=stand_in.clock, name="virtual")


def test_every_fault_can_be_brought_about_and_mended() -> None:
    for name in FAULTS:
        stand_in = StandIn(Tower(), Jig())
        stand_in.fault(name)
        stand_in.clock.sleep(0.5)
        stand_in.fault(name, 0)
        stand_in.clock.sleep(0.5)
        stand_in.read_available()
        assert of_kind(heard(stand_in, 0.5), Kind.STATUS), name
    with pytest.raises(ValueError, match="no fault"):
        board().fault("gremlin")
