"""Frames and commands of the firmware against the wire description."""

import ctypes
import zlib
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from rig.board import wire
from rig.board.wire import Kind, Op
from tests.firmware.host import library

Septets = st.integers(0, 127)
Seq = st.integers(0, (1 << wire.SEQ_BITS) - 1)
Time = st.integers(0, (1 << wire.TIME_BITS) - 1)
Count = st.integers(-(1 << 15), (1 << 15) - 1)


def built(name: str, *arguments: object) -> bytes:
    out = (ctypes.c_uint8 * 256)()
    return bytes(out[: getattr(library(), name)(out, *arguments)])


def read(message: bytes) -> tuple[int, ...] | None:
    """op, seq, width and arguments of a sysex message without F0 and F7; None when damaged."""
    out = (ctypes.c_int32 * 5)()
    return tuple(out) if library().command_of(message, len(message), out) else None


def test_the_check_is_the_published_crc_32() -> None:
    # Check value 0xCBF43926 of "123456789": the CRC catalogue's entry CRC-32/ISO-HDLC.
    assert library().crc_of(b"123456789", 9) == 0xCBF43926


@given(st.binary(max_size=200))
def test_the_check_is_the_hosts_for_any_bytes(data: bytes) -> None:
    assert library().crc_of(data, len(data)) == zlib.crc32(data)


@given(Seq, Time, st.integers(0, (1 << 14) - 1), st.integers(0, 15))
def test_hello_reads_as_the_description_writes_it(
    seq: int, time: int, boot: int, cause: int
) -> None:
    major, minor, patch = wire.FIRMWARE_VERSION
    values = {
        "wire": wire.WIRE_VERSION,
        "major": major,
        "minor": minor,
        "patch": patch,
        "description": wire.description(),
        "boot": boot,
        "reset_cause": cause,
        "height_period": wire.CHANNELS[Kind.HEIGHT].period_ticks,
    }
    expected = wire.frame(Kind.HELLO, seq, time, wire.pack(wire.PAYLOADS[Kind.HELLO], values))
    assert built("hello_frame", seq, time, boot, cause) == expected


@given(Seq, Time, Septets, Seq, Septets, st.integers(0, (1 << 28) - 1))
def test_a_reply_reads_as_the_description_writes_it(
    seq: int, time: int, op: int, command_seq: int, reason: int, value: int
) -> None:
    values = {"op": op, "command_seq": command_seq, "reason": reason, "value": value}
    expected = wire.frame(Kind.REPLY, seq, time, wire.pack(wire.PAYLOADS[Kind.REPLY], values))
    assert built("reply_frame", seq, time, op, command_seq, reason, value) == expected


@given(Seq, Time, Septets, Septets, Septets)
def test_an_event_reads_as_the_description_writes_it(
    seq: int, time: int, code: int, value: int, extra: int
) -> None:
    values = {"code": code, "value": value, "extra": extra}
    expected = wire.frame(Kind.EVENT, seq, time, wire.pack(wire.PAYLOADS[Kind.EVENT], values))
    assert built("event_frame", seq, time, code, value, extra) == expected


@given(Seq, Time, Count, st.integers(0, 10_000), st.integers(0, 255))
def test_status_reads_as_the_description_writes_it(
    seq: int, time: int, height: int, permit_left: int, illegal: int
) -> None:
    values = dict(zip([f.name for f in wire.PAYLOADS[Kind.STATUS]], range(1, 14), strict=False))
    values |= {
        "permit_left_ms": permit_left,
        "beat_age_ms": 6,
        "height": height,
        "outputs": 7,
        "rx_dropped": 8,
        "rx_damaged": 9,
        "tx_dropped": 10,
        "illegal_edges": illegal % 128,  # counters are sent modulo 128
        "missed_samples": 12,
    }
    expected = wire.frame(Kind.STATUS, seq, time, wire.pack(wire.PAYLOADS[Kind.STATUS], values))
    assert built("status_frame", seq, time, height, permit_left, illegal) == expected


@given(Seq, Time, st.lists(Count, min_size=10, max_size=10))
def test_a_block_of_heights_reads_as_the_description_writes_it(
    seq: int, time: int, samples: list[int]
) -> None:
    prefix = {"illegal_edges": 5, "missed_samples": 6}
    expected = wire.block(Kind.HEIGHT, seq, time, prefix, samples)
    assert built("height_frame", seq, time, (ctypes.c_int16 * 10)(*samples)) == expected


@given(Seq, Time, st.integers(*wire.LOAD_LIMITS))
def test_a_conversion_as_it_came_by_two_wires_reads_as_the_description_writes_it(
    seq: int, time: int, code: int
) -> None:
    expected = wire.block(Kind.LOAD, seq, time, {"faults": 5, "discarded": 6}, [code])
    assert built("load_frame", seq, time, ctypes.c_uint32(code & 0xFFFFFF)) == expected


@given(Seq, Time, st.lists(st.integers(0, wire.ANGLE_SUM * 1023), min_size=5, max_size=5))
def test_a_block_of_angles_reads_as_the_description_writes_it(
    seq: int, time: int, sums: list[int]
) -> None:
    expected = wire.block(Kind.ANGLE, seq, time, {"missed_samples": 5}, sums)
    assert built("angle_frame", seq, time, (ctypes.c_uint16 * 5)(*sums)) == expected


@given(Seq, Time, st.integers(*wire.LOAD_LIMITS), st.integers(*wire.LOAD_LIMITS), Septets)
def test_a_stroke_reads_as_the_description_writes_it(
    seq: int, time: int, mean: int, peak: int, verdict: int
) -> None:
    values = {"number": 1, "verdict": verdict, "out_ms": 16383, "back_ms": 4, "mean": mean}
    values |= {"peak": peak, "samples": 16383, "saturated": 1}
    expected = wire.frame(Kind.STROKE, seq, time, wire.pack(wire.PAYLOADS[Kind.STROKE], values))
    assert built("stroke_frame", seq, time, mean, peak, verdict) == expected


@given(Seq, Time, st.integers(0, (1 << 28) - 1), st.integers(0, (1 << 16) - 1))
def test_totals_read_as_the_description_writes_them(
    seq: int, time: int, counted: int, stuck: int
) -> None:
    values = dict(zip([f.name for f in wire.PAYLOADS[Kind.COUNTS]], range(12), strict=False))
    values |= {"counted": counted, "stuck": stuck % (1 << 14), "target_left": counted}
    expected = wire.frame(Kind.COUNTS, seq, time, wire.pack(wire.PAYLOADS[Kind.COUNTS], values))
    assert built("counts_frame", seq, time, ctypes.c_uint32(counted), stuck) == expected


def test_the_room_asked_for_a_frame_is_the_room_it_takes() -> None:
    for kind, fields in wire.PAYLOADS.items():
        payload = bytes(wire.width(fields))
        assert library().frame_width_of(len(payload)) == len(wire.frame(kind, 0, 0, payload))


def test_all_commands_read_back() -> None:
    expected = {
        Op.HELLO: ({}, (0, 0, 0)),
        Op.BEAT: ({}, (0, 0, 0)),
        Op.STREAM: ({"channel": Kind.HEIGHT, "on": 1}, (2, Kind.HEIGHT, 1)),
        Op.ARM: ({"low": -32768, "high": 32767}, (6, -32768, 32767)),
        Op.PERMIT: ({"nonce": 0x0FFFFFFF}, (4, 0x0FFFFFFF, 0)),
        Op.DISARM: ({}, (0, 0, 0)),
        Op.CLEAR: ({}, (0, 0, 0)),
        Op.STROKES: ({"min_ms": 300, "max_ms": 16383}, (4, 300, 16383)),
        Op.DRIVE_ARM: ({"target": 0x0FFFFFFF}, (4, 0x0FFFFFFF, 0)),
        Op.DRIVE_PERMIT: ({"nonce": 1 << 27}, (4, 1 << 27, 0)),
        Op.DRIVE_STOP: ({}, (0, 0, 0)),
    }
    assert set(expected) == set(Op)
    for op, (values, (width, first, second)) in expected.items():
        message = wire.command(op, 16383, **values)[1:-1]
        assert read(message) == (op, 16383, width, first, second)


@given(st.integers(0, 13), Septets)
def test_a_changed_byte_damages_a_command(at: int, byte: int) -> None:
    message = bytearray(wire.command(Op.ARM, 77, low=-5, high=1000)[1:-1])
    if message[at + 1] == byte:
        byte ^= 1
    message[at + 1] = byte
    assert read(bytes(message)) is None


def test_a_cut_command_is_damaged_at_every_length() -> None:
    message = wire.command(Op.PERMIT, 3, nonce=123456)[1:-1]
    assert read(message) is not None
    for length in range(1, len(message)):
        assert read(message[:length]) is None


def test_the_longest_answer_counts_the_capabilities_exactly() -> None:
    lib = library()
    bench = ctypes.c_void_p(lib.firmata_new())
    lib.firmata_feed(bench, bytes([0xF0, 0x6B, 0xF7]), 3)
    out = (ctypes.c_uint8 * 4096)()
    assert lib.firmata_sent(out) == lib.firmata_longest_answer()
    lib.firmata_free(bench)


def test_published_values_are_kept_with_their_source() -> None:
    text = Path(__file__).with_name("firmata_messages.json").read_text()
    assert "Firmata protocol document, version 2.8.0" in text
