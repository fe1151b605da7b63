"""Many frames at once decode to what a plain loop over them says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.board import wire
from rig.board.frames import Decoder, Frame
from rig.board.samples import Happening, capture, happening, trace
from rig.board.wire import Event, Kind
from tests.board.streams import MS, event, height, hello, sent_samples, session, status

Count = st.integers(-(1 << 15), (1 << 15) - 1)
Blocks = st.lists(st.lists(Count, min_size=1, max_size=10), max_size=20)


def frames_of(data: bytes) -> list[Frame]:
    return [item for item in Decoder().feed(data) if isinstance(item, Frame)]


@given(Blocks)
def test_a_block_decode_equals_a_plain_loop(blocks: list[list[int]]) -> None:
    stream = [height(i, 10 * i * MS, block) for i, block in enumerate(blocks)]
    found = trace(frames_of(b"".join(stream)), Kind.HEIGHT)
    pairs = list(zip(found.ticks.tolist(), found.values.tolist(), strict=True))
    wanted = [(10 * i * MS + j * MS, v) for i, b in enumerate(blocks) for j, v in enumerate(b)]
    assert pairs == wanted
    assert set(pairs) == sent_samples(stream)
    assert found.ticks.dtype == found.values.dtype == np.int64


def test_the_ends_of_the_range_keep_their_sign() -> None:
    found = trace(frames_of(height(0, 0, [-32_768, -1, 0, 1, 32_767])), Kind.HEIGHT)
    assert found.values.tolist() == [-32_768, -1, 0, 1, 32_767]


@pytest.mark.parametrize(
    ("told", "turns"), [([5], 0), ([5, 5, 5], 0), ([0, 1, 4], 4), ([126, 127, 1], 3), ([9, 8], 127)]
)
def test_counters_count_through_their_turn(told: list[int], turns: int) -> None:
    for name in ("illegal_edges", "missed_samples"):
        stream = [height(i, 10 * i * MS, [0] * 10, **{name: n}) for i, n in enumerate(told)]
        found = trace(frames_of(b"".join(stream)), Kind.HEIGHT)
        assert found.turns[name] == turns


@pytest.mark.parametrize("raw", [b"", hello(0, 0, 1), b"\x00\xf7\xff", hello(0, 0, 1)[:9]])
def test_a_capture_without_samples_is_empty_and_whole(raw: bytes) -> None:
    seen = capture(raw)
    assert seen[Kind.HEIGHT].ticks.shape == seen[Kind.HEIGHT].values.shape == (0,)
    assert seen[Kind.HEIGHT].ticks.dtype == np.int64
    assert set(seen[Kind.HEIGHT].turns.values()) == {0}
    assert (seen.events, seen.gaps, seen.resets) == ((), (), 0)


def test_a_recorded_stretch_decodes_twice_to_the_same() -> None:
    parts = session(blocks=30)
    raw = b"".join(parts[:20] + parts[21:])
    first, second = capture(raw), capture(raw)
    assert np.array_equal(first[Kind.HEIGHT].ticks, second[Kind.HEIGHT].ticks)
    assert np.array_equal(first[Kind.HEIGHT].values, second[Kind.HEIGHT].values)
    assert first.events == second.events != ()
    assert first.gaps == second.gaps != ()
    assert (first.damaged, first.resets) == (second.damaged, second.resets)


def test_events_carry_their_own_time_and_meaning() -> None:
    raw = status(0, 100 * MS) + event(1, 95 * MS, Event.GUARD, 0)
    assert capture(raw).events == (Happening(95 * MS, Event.GUARD, 0, 0),)


def test_an_event_of_a_later_version_is_passed_over() -> None:
    (frame,) = frames_of(event(0, 0, code=99))
    assert happening(frame) is None
    assert capture(event(0, 0, code=99)).events == ()


def test_a_capture_tells_damage_and_resets() -> None:
    spoilt = bytearray(height(1, MS, [1] * 10))
    spoilt[15] ^= 1
    raw = hello(0, 0, 1) + bytes(spoilt) + status(2, 100 * MS) + status(1, 100 * MS, boot=2)
    seen = capture(raw)
    assert (seen.damaged, seen.resets) == (1, 1)
    assert [gap.missing for gap in seen.gaps] == [1, 2]


def test_samples_of_other_channels_and_kinds_are_passed_over() -> None:
    frames = frames_of(b"".join(session(blocks=6)))
    assert len(trace(frames, Kind.HEIGHT).ticks) == 6 * wire.CHANNELS[Kind.HEIGHT].block


def test_of_a_board_that_restarts_when_young_the_second_boots_samples_are_left_out() -> None:
    first = hello(0, 0, 1) + height(1, 10 * MS, [5] * 10)
    later = status(0, 200 * MS, boot=2) + height(1, 210 * MS, [900] * 10)
    seen = capture(first + later)
    assert seen.resets == 1
    assert set(seen[Kind.HEIGHT].values.tolist()) == {5}, (
        "its height began anew, though its time is later"
    )
