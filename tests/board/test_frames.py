"""The decoder: nothing is guessed, nothing lost in silence."""

import json
import zlib
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.board import wire
from rig.board.frames import Decoder, Frame, Gap, Message
from rig.board.samples import trace
from rig.board.wire import Kind
from tests.board.streams import MS, event, height, hello, sent_samples, session, status

PUBLISHED = Path(__file__).parents[1] / "firmware" / "firmata_messages.json"
MESSAGES = json.loads(PUBLISHED.read_text())["messages"]
FIRMATA = {name: bytes(message) for name, message in MESSAGES.items()}

SESSION = session(blocks=12)
STREAM = b"".join(SESSION)
SENT = sent_samples(SESSION)


def decoded(pieces: Sequence[bytes]) -> tuple[list[Frame | Message], Decoder]:
    """All that comes out when the pieces are fed one after another."""
    decoder = Decoder()
    return [item for piece in pieces for item in decoder.feed(piece)], decoder


def outcome(pieces: Sequence[bytes]) -> tuple[object, ...]:
    """All a decoder says of these pieces, but for how it took them."""
    items, decoder = decoded(pieces)
    return items, decoder.gaps, decoder.damaged, decoder.resets, decoder.boot


def frames_of(data: bytes) -> tuple[list[Frame], Decoder]:
    items, decoder = decoded([data])
    return [item for item in items if isinstance(item, Frame)], decoder


def cut(data: bytes, places: list[int]) -> list[bytes]:
    """`data` in pieces, cut at `places`."""
    ends = sorted({min(place, len(data)) for place in places} | {0, len(data)})
    return [data[a:b] for a, b in pairwise(ends)]


def samples_of(frames: list[Frame]) -> set[tuple[int, int]]:
    """(ticks, count) of every height sample."""
    found = trace(frames, Kind.HEIGHT)
    return set(zip(found.ticks.tolist(), found.values.tolist(), strict=True))


def assert_honest(damaged: bytes) -> None:
    """No sample that was not sent; every lost one inside a gap, or before all that came."""
    frames, decoder = frames_of(damaged + status(seq=len(SESSION), time=200 * MS))
    got = samples_of(frames)
    assert got <= SENT
    for ticks, _ in SENT - got:
        inside = any(gap.touches(ticks, ticks) for gap in decoder.gaps)
        assert inside or all(ticks < received for received, _ in got)
    missing = sum(gap.missing for gap in decoder.gaps)
    first = frames[0].seq
    assert missing + len(frames) + first == len(SESSION) + 1
    assert decoder.gaps or decoder.damaged or first or len(frames) == len(SESSION) + 1


def test_the_check_is_the_published_crc_32() -> None:
    # Check value 0xCBF43926 of "123456789": the CRC catalogue's entry CRC-32/ISO-HDLC.
    seal = wire.septets(0xCBF43926, wire.CRC)
    assert wire.septets(zlib.crc32(b"123456789"), wire.CRC) == seal
    # The same sum is what the decoder asks of a frame.
    whole = hello(seq=0, time=0, boot=1)
    assert whole[-6:-1] == wire.septets(zlib.crc32(whole[1:-6]), wire.CRC)
    assert len(frames_of(whole)[0]) == 1


def test_a_whole_session_comes_out_as_it_went_in() -> None:
    frames, decoder = frames_of(STREAM)
    assert [frame.seq for frame in frames] == list(range(len(SESSION)))
    assert samples_of(frames) == SENT
    assert (decoder.gaps, decoder.damaged, decoder.resets) == ([], 0, 0)


@given(st.lists(st.integers(0, len(STREAM)), max_size=40))
def test_any_split_gives_the_same_frames(places: list[int]) -> None:
    assert outcome(cut(STREAM, places)) == outcome([STREAM])


def test_one_byte_at_a_time_gives_the_same_frames() -> None:
    assert outcome([bytes([byte]) for byte in STREAM]) == outcome([STREAM])


@given(
    st.lists(st.one_of(st.binary(max_size=30), st.sampled_from(SESSION)), max_size=20), st.data()
)
def test_any_split_of_noise_gives_the_same_frames_and_counts(
    parts: list[bytes], data: st.DataObject
) -> None:
    noise = b"".join(parts)
    pieces = cut(noise, data.draw(st.lists(st.integers(0, len(noise)), max_size=10)))
    assert outcome(pieces) == outcome([noise])


@pytest.mark.parametrize("length", [4_094, 4_095, 4_096, 4_097, 9_000])
def test_an_endless_sysex_is_dropped_alike_in_one_piece_or_many(length: int) -> None:
    noise = bytes([wire.START]) + bytes(length) + bytes([wire.END]) + STREAM
    assert outcome(cut(noise, list(range(0, len(noise), 100)))) == outcome([noise])
    assert samples_of(frames_of(noise)[0]) == SENT


def test_no_changed_byte_passes_and_each_loss_is_told() -> None:
    for at, byte in enumerate(STREAM):
        for changed in (byte ^ 1, byte ^ 0x80, 0xF0, 0xF7, 0x00):
            if changed != byte:
                assert_honest(STREAM[:at] + bytes([changed]) + STREAM[at + 1 :])


@given(st.integers(0, len(STREAM) - 1), st.integers(1, 255))
def test_no_byte_changed_in_any_way_passes(at: int, flip: int) -> None:
    assert_honest(STREAM[:at] + bytes([STREAM[at] ^ flip]) + STREAM[at + 1 :])


def test_no_deleted_byte_passes_and_each_loss_is_told() -> None:
    for at in range(len(STREAM)):
        assert_honest(STREAM[:at] + STREAM[at + 1 :])


@given(st.integers(0, len(STREAM)), st.integers(0, 255))
def test_no_inserted_byte_passes_and_each_loss_is_told(at: int, byte: int) -> None:
    assert_honest(STREAM[:at] + bytes([byte]) + STREAM[at:])


@given(st.integers(0, len(STREAM)), st.integers(0, len(STREAM)))
def test_no_cut_out_stretch_passes_unnoticed(a: int, b: int) -> None:
    assert_honest(STREAM[: min(a, b)] + STREAM[max(a, b) :])


def test_a_truncated_stream_gives_only_whole_frames_and_waits_for_the_rest() -> None:
    for length in range(len(STREAM)):
        items, decoder = decoded([STREAM[:length]])
        frames = [item for item in items if isinstance(item, Frame)]
        assert samples_of(frames) <= SENT
        assert decoder.feed(STREAM[length:]) == decoded([STREAM])[0][len(items) :]
        assert decoder.damaged == 0


def test_a_lost_frame_is_one_gap_that_spans_its_samples() -> None:
    lost = next(i for i, part in enumerate(SESSION) if part[2] == Kind.HEIGHT and i > 6)
    _, decoder = frames_of(b"".join(SESSION[:lost] + SESSION[lost + 1 :]))
    (gap,) = decoder.gaps
    assert gap.missing == 1
    for ticks, _ in sent_samples([SESSION[lost]]):
        assert gap.after_ticks < ticks < gap.before_ticks
    assert decoder.damaged == 0


def test_a_gap_covers_a_lost_block_older_than_the_frame_before_it() -> None:
    # STATUS at 100 ms; the block of samples 90 to 99 ms, numbered after it, is lost.
    stream = hello(0, 0, 1) + status(1, 100 * MS) + height(3, 100 * MS, [0] * 10)
    _, decoder = frames_of(stream)
    (gap,) = decoder.gaps
    assert gap.touches(90 * MS, 99 * MS)


def test_a_gap_covers_a_lost_event_later_than_the_start_of_the_block_after_it() -> None:
    # The event of 104 ms is sent before the block that begins at 100 ms and ends at 109 ms.
    stream = hello(0, 0, 1) + height(1, 90 * MS, [0] * 10) + height(3, 100 * MS, [0] * 10)
    _, decoder = frames_of(stream)
    (gap,) = decoder.gaps
    assert gap.touches(104 * MS, 104 * MS)


def test_a_gap_leaves_distant_samples_alone() -> None:
    gap = Gap(1, 1_000 * MS, 1_100 * MS)
    assert not gap.touches(0, 999 * MS)
    assert not gap.touches(1_101 * MS, 2_000 * MS)
    assert gap.touches(0, 1_000 * MS)


def test_a_damaged_frame_is_counted_and_leaves_a_gap() -> None:
    spoilt = bytearray(SESSION[5])
    spoilt[8] ^= 4
    _, decoder = frames_of(b"".join([*SESSION[:5], bytes(spoilt), *SESSION[6:]]))
    assert decoder.damaged == 1
    assert [gap.missing for gap in decoder.gaps] == [1]


def test_sequence_numbers_roll_over_without_a_gap() -> None:
    last = (1 << wire.SEQ_BITS) - 1
    stream = status(last - 1, 0) + status(last, MS) + status(0, 2 * MS) + status(1, 3 * MS)
    frames, decoder = frames_of(stream)
    assert [frame.seq for frame in frames] == [last - 1, last, 0, 1]
    assert decoder.gaps == []


def test_a_gap_across_the_roll_over_is_counted_right() -> None:
    last = (1 << wire.SEQ_BITS) - 1
    _, decoder = frames_of(status(last, 0) + status(2, 100 * MS))
    assert [gap.missing for gap in decoder.gaps] == [2]


def test_time_rolls_over_without_a_step() -> None:
    turn = 1 << wire.TIME_BITS
    begin = turn - 15 * MS
    blocks = [height(i, (begin + 10 * i * MS) % turn, [i] * 10) for i in range(4)]
    frames, decoder = frames_of(b"".join(blocks))
    ticks = trace(frames, Kind.HEIGHT).ticks
    assert ticks.tolist() == [begin + i * MS for i in range(40)]
    assert decoder.gaps == []


def test_an_event_may_speak_of_the_time_before_the_frame_it_follows() -> None:
    frames, _ = frames_of(status(0, 100 * MS) + event(1, 95 * MS) + status(2, 200 * MS))
    assert [frame.ticks for frame in frames] == [100 * MS, 95 * MS, 200 * MS]


def test_an_event_told_late_by_a_flooded_board_keeps_its_time_and_costs_no_frame() -> None:
    late = [status(0, 5_000 * MS), event(1, 4_000 * MS), height(2, 5_090 * MS, [1] * 10)]
    frames, decoder = frames_of(b"".join(late))
    assert [frame.ticks for frame in frames] == [5_000 * MS, 4_000 * MS, 5_090 * MS]
    assert (decoder.damaged, decoder.gaps) == (0, [])


@given(st.integers(0, len(SESSION) - 1), st.integers(0, len(SESSION) - 1))
def test_a_repeated_frame_is_refused(again: int, later: int) -> None:
    later = max(again, later)
    stream = b"".join([*SESSION[: later + 1], SESSION[again], *SESSION[later + 1 :]])
    frames, decoder = frames_of(stream)
    assert [frame.seq for frame in frames] == list(range(len(SESSION)))
    assert decoder.damaged == 1
    assert (decoder.gaps, decoder.resets) == ([], 0)


OLD_TICKS = (0, 50 * MS, 5_000 * MS, (1 << 31) + 7, (1 << 32) - 9)


@pytest.mark.parametrize("old_seq", [0, 3, 5_000, 9_000, 16_000])
@pytest.mark.parametrize("old_ticks", OLD_TICKS)
@pytest.mark.parametrize("told", [True, False])
def test_a_reset_is_noticed_even_when_its_hello_is_lost(
    old_seq: int, old_ticks: int, told: bool
) -> None:
    before = status(old_seq, old_ticks, boot=7)
    new = [hello(0, 0, boot=8), height(1, 5 * MS, [1] * 10), status(2, 100 * MS, boot=8)]
    after = height(3, 105 * MS, [5] * 10)
    frames, decoder = frames_of(before + b"".join(new if told else new[1:]) + after)
    assert (decoder.resets, decoder.boot) == (1, 8)
    assert decoder.gaps
    assert frames[-1].ticks == 105 * MS
    assert trace(frames[-1:], Kind.HEIGHT).ticks.tolist()[0] == 105 * MS


@pytest.mark.parametrize("old_seq", [16_000, 16_380])
@pytest.mark.parametrize("old_ticks", [500_000 * MS, (1 << 31) + 7])
def test_a_frame_of_an_untold_new_boot_never_gets_the_old_boots_time(
    old_seq: int, old_ticks: int
) -> None:
    # By number alone the block would fit: few frames missing. Its time says another boot.
    stream = status(old_seq, old_ticks, boot=7) + height(20, 5 * MS, [1] * 10)
    frames, decoder = frames_of(stream)
    assert len(frames) == 1
    assert decoder.damaged == 1


def test_a_long_silence_of_the_same_boot_ends_with_its_next_status() -> None:
    second = 1_000 * MS
    stream = status(0, 0, boot=7) + status(9_000, 300 * second, boot=7)
    frames, decoder = frames_of(stream + height(9_001, 300 * second + MS, [1] * 10))
    assert [frame.ticks for frame in frames] == [0, 300 * second, 300 * second + MS]
    assert decoder.gaps[0].missing == 8_999
    assert decoder.resets == 0


def junk_without_frames() -> st.SearchStrategy[bytes]:
    """Bytes that open no message which could swallow the frame after it."""
    return st.binary(max_size=20).map(
        lambda b: bytes(x for x in b if x < 0x80 or x in (0xFF, 0xF7))
    )


@given(st.lists(junk_without_frames(), min_size=len(SESSION), max_size=len(SESSION)))
def test_junk_between_frames_costs_no_frame(junk: list[bytes]) -> None:
    stream = b"".join(part for pair in zip(junk, SESSION, strict=True) for part in pair)
    frames, decoder = frames_of(stream)
    assert samples_of(frames) == SENT
    assert decoder.gaps == []
    assert decoder.damaged == sum(byte < 0x80 for part in junk for byte in part)


FROM_A_BOARD = [
    # Firmata protocol document, version 2.8.0 (numbers as in the file named above).
    ("version_report_2_8", Message(0xF9, b"\x02\x08")),
    ("firmware_report", Message(0x79, b"\x02\x08R\x00i\x00g\x00", sysex=True)),
    ("capability_response", Message(0x6C, bytes([0, 1, 1, 1, 11, 1, 127, 127, 2, 10, 127]), True)),
    ("analog_A2_value_1023", Message(0xE0, b"\x02\x7f\x07")),
    ("analog_A0_value_16383", Message(0xE0, b"\x00\x7f\x7f")),
    ("digital_port1_0xA5", Message(0x90, b"\x01\x25\x01")),
    ("string_Hi", Message(0x71, b"H\x00i\x00", sysex=True)),
    ("extended_analog_pin20_value_1000", Message(0x6F, b"\x14\x68\x07", sysex=True)),
    ("user_sysex_0x01_payload_300", Message(0x01, b"\x2c\x02", sysex=True)),
]


@pytest.mark.parametrize(("name", "expected"), FROM_A_BOARD)
def test_a_plain_firmata_message_is_passed_on(name: str, expected: Message) -> None:
    stream = SESSION[0] + FIRMATA[name] + SESSION[1]
    items, decoder = decoded([stream])
    assert items[1] == expected
    assert len(items) == 3
    assert (decoder.damaged, decoder.gaps) == (0, [])


def test_a_frame_of_an_unknown_kind_or_wrong_length_is_refused() -> None:
    unknown = wire.frame(Kind.STATUS, 1, MS, b"\x00")
    _, decoder = frames_of(SESSION[0] + unknown)
    assert decoder.damaged == 1
    too_many = wire.block(Kind.HEIGHT, 1, MS, {"illegal_edges": 0, "missed_samples": 0}, [0] * 11)
    none = wire.block(Kind.HEIGHT, 1, MS, {"illegal_edges": 0, "missed_samples": 0}, [])
    for wrong in (too_many, none):
        frames, decoder = frames_of(SESSION[0] + wrong)
        assert (len(frames), decoder.damaged) == (1, 1)


def test_what_was_taken_and_what_waits_is_all_that_came() -> None:
    decoder, taken = Decoder(), b""
    for piece in cut(STREAM, list(range(0, len(STREAM), 7))):
        decoder.feed(piece)
        taken += decoder.taken
    assert taken == STREAM
