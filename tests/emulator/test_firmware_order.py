"""The real image on a line that is asked for more than it can carry: events first."""

from collections.abc import Callable

import pytest

from rig.board import wire
from rig.board.wire import Event, Kind, Op
from tests.emulator.bench import Bench, bench, converter, listen, load_all
from tests.emulator.host import BYTE_S, STEP_S, Host, choke, flood

EDGES = 50
RING_BYTES = 255 + 2  # of the board, and those in its transmitter
# An event waits for what is already in the ring, for one answer, and for its own 19 bytes.
LONGEST_WAIT_S = (RING_BYTES + 96 + 19) * BYTE_S + STEP_S + 3e-3


def of_versions(host: Host, seconds: float) -> None:
    """Three bytes of answer for every byte."""
    flood(host, seconds)


def of_beats(host: Host, seconds: float) -> None:
    """Whole commands without a pause between them."""
    end = host.board.now_s + seconds
    while host.board.now_s < end:
        for _ in range(4):
            host.send(Op.BEAT)
        host.run(STEP_S)


def of_queries(host: Host, seconds: float) -> None:
    """The shortest question with the longest answer: the modes of all pins."""
    end = host.board.now_s + seconds
    while host.board.now_s < end:
        host.board.write(b"\xf0\x6b\xf7" * 16)
        host.run(STEP_S)


def waits(b: Bench, begin_s: float) -> list[float]:
    """Seconds from each edge of the gate to its event's arrival at the host."""
    told = [f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.GATE]
    return [
        frame.heard_s - (begin_s + k * 17.3e-3) for k, frame in zip(range(EDGES), told, strict=True)
    ]


@pytest.mark.parametrize("flooded", [of_versions, of_beats, of_queries])
def test_an_event_goes_before_the_answers_of_a_saturated_line(
    flooded: Callable[[Host, float], None],
) -> None:
    b = bench(jig=True)
    load_all(b.host, interval_ms=19)
    flooded(b.host, 0.1)
    begin = b.board.now_s + 2e-3
    for k in range(EDGES):
        b.tower.edge(begin + k * 17.3e-3, "GATE", (k + 1) % 2)
    flooded(b.host, EDGES * 17.3e-3 + 0.05)
    assert max(waits(b, begin)) < LONGEST_WAIT_S
    assert b.host.status()["tx_dropped"] == 0
    assert b.host.gaps == 0, "samples get through as well"


def test_every_frame_that_found_no_room_uses_its_number_up() -> None:
    edges = 60
    b = bench(jig=True)
    for channel in wire.CHANNELS:
        b.host.ask(Op.STREAM, channel=channel, on=1)
    listen(b, 0.2)
    made = len(converter(b).given) - len(b.host.of(Kind.LOAD))
    for k in range(edges):
        b.tower.edge(b.board.now_s + 0.1 + k * 5e-3, "GATE", (k + 1) % 2)
    choke(b.host, 0.9)
    listen(b, 0.5)
    dropped = b.host.status()["tx_dropped"]
    assert dropped == edges - sum(f.values["code"] == Event.GATE for f in b.host.of(Kind.EVENT))
    heights, angles = missed_blocks(b, Kind.HEIGHT), missed_blocks(b, Kind.ANGLE)
    readings = len(converter(b).given) - len(b.host.of(Kind.LOAD)) - made
    assert min(dropped, heights, angles, readings) > 0
    assert b.host.gaps == dropped + heights + angles + readings


def missed_blocks(b: Bench, kind: Kind) -> int:
    """By the times of the frames; asserts that the channel's counter tells the same."""
    channel = wire.CHANNELS[kind]
    frames = b.host.of(kind)
    took = frames[-1].time - frames[0].time
    missed = round(took / channel.period_ticks / channel.block) + 1 - len(frames)
    assert frames[-1].values["missed_samples"] == missed * channel.block % 128
    return missed


def test_a_chattering_contact_does_not_silence_the_answers() -> None:
    b = bench(jig=True)
    load_all(b.host, interval_ms=19)
    for k in range(5_000):
        b.tower.edge(b.board.now_s + 0.01 + k * 100e-6, "GATE", (k + 1) % 2)
    b.host.run(0.1)
    asked = b.board.now_s
    longest = 0.0
    while b.board.now_s < asked + 0.3:
        before = b.board.now_s
        b.host.ask(Op.BEAT)
        longest = max(longest, b.board.now_s - before)
    assert longest < 0.06, "a ringful, a queueful of events, its own"
    b.host.run(0.4)
    lost = b.host.status()["tx_dropped"]
    assert lost == b.host.gaps % 128, "nothing but events found no room: they are counted as well"
    assert b.host.gaps > 500
