"""The real image at full load: no edge, sample or frame is lost, and times are true.

4 m/s at 0.25 mm a count are 16,000 edges a second; 16,033 do not march in step with the board's
1 kHz interrupts, so they meet them in every phase.
"""

import itertools

import pytest

from rig.board import wire
from rig.board.wire import Event, Kind, Op
from tests.emulator import figures
from tests.emulator.bench import bench, load_all
from tests.emulator.chip import CYCLES_PER_S
from tests.emulator.host import fall, release

RATE_HZ = 16_033
TICK_S = 1 / wire.TICK_HZ
BLOCK_TICKS = wire.CHANNELS[Kind.HEIGHT].period_ticks * wire.CHANNELS[Kind.HEIGHT].block


def test_sixteen_thousand_edges_a_second_lose_no_edge_and_no_frame() -> None:
    load = figures.under_load(RATE_HZ, 100_000)
    assert (load.lost_counts, load.illegal_edges, load.merged_edges) == (0, 0, 0)
    assert (load.missed_samples, load.lost_frames) == (0, 0)
    assert load.encoder_latency_cycles + load.encoder_length_cycles < CYCLES_PER_S / RATE_HZ
    assert load.longest_clock_high_cycles < 2 * CYCLES_PER_S / 1_000_000, "2 us; 50 are allowed"
    assert load.busy < 0.95


def test_half_as_many_edges_again_still_lose_none() -> None:
    load = figures.under_load(1.5 * RATE_HZ, 100_000)
    assert (load.lost_counts, load.illegal_edges, load.merged_edges) == (0, 0, 0)
    assert (load.missed_samples, load.lost_frames) == (0, 0)


def test_more_edges_than_the_board_can_take_show_as_such() -> None:
    load = figures.under_load(70_033, 100_000)
    assert load.illegal_edges or load.merged_edges
    assert load.lost_counts


@pytest.mark.parametrize("in_flight", [False, True])
def test_an_opening_guard_is_acted_on_in_every_phase_of_the_millisecond(in_flight: bool) -> None:
    delays = [figures.opening_to_pin_low("GUARD", in_flight, k * 1e-3 / 29) for k in range(29)]
    assert max(delays) <= 200e-6
    assert min(delays) > 0


def test_silence_in_flight_ends_within_a_few_milliseconds_of_the_limit() -> None:
    assert figures.silence_to_off() == pytest.approx(wire.LIMITS["BEAT_LIMIT_MS"] / 1e3, abs=3e-3)


def test_height_samples_are_a_millisecond_apart_and_show_the_count_of_their_time() -> None:
    b = bench()
    load_all(b.host)
    edge_s = 1 / RATE_HZ
    start = b.board.now_s + 0.0101
    b.tower.counts(start, edge_s, 8_000)
    flag = b.board.now_s + 0.005
    b.tower.edge(flag, "GATE", 1)
    b.host.run(0.6)
    (gate,) = [f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.GATE]
    power_up = gate.time * TICK_S - flag  # the timer starts a little after power-up
    assert abs(power_up) < 1e-3
    frames = b.host.of(Kind.HEIGHT)
    assert len(frames) > 50
    for before, after in itertools.pairwise(frames):
        assert abs((after.time - before.time) % (1 << wire.TIME_BITS) - BLOCK_TICKS) <= 60
    for frame in frames:
        for i, count in enumerate(frame.samples):
            at = frame.time * TICK_S - power_up + i * 1e-3
            due = min(8_000, max(0, int((at - start) / edge_s) + 1))
            assert abs(count - due) <= 1


@pytest.mark.parametrize("resonator_error", [0.0, 0.005, -0.005])
def test_gate_times_are_true_to_a_tick_across_overflows(resonator_error: float) -> None:
    b = bench(resonator_error=resonator_error)
    load_all(b.host)
    b.tower.counts(b.board.now_s, 1 / RATE_HZ, 20_000)
    edges = [b.board.now_s + 0.01 + k * 4.0961e-3 for k in range(200)]
    for k, t in enumerate(edges):
        b.tower.edge(t, "GATE", (k + 1) % 2)
    b.host.run(edges[-1] - b.board.now_s + 0.1)
    events = [f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.GATE]
    assert [f.values["value"] for f in events] == [(k + 1) % 2 for k in range(200)]
    scale = wire.TICK_HZ * (1 + resonator_error)
    offsets = [f.time - t * scale for f, t in zip(events, edges, strict=True)]
    assert max(offsets) - min(offsets) < 3, "a tick, an instruction, an interrupt's entry"
    assert abs(offsets[0]) < 2_000, "counted from power-up"


def test_gate_edges_that_meet_the_timer_s_overflow_are_not_65536_ticks_off() -> None:
    b = bench()
    load_all(b.host)
    flag = b.board.now_s + 0.005
    b.tower.edge(flag, "GATE", 1)
    b.host.run(0.05)
    (gate,) = (f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.GATE)
    power_up = flag - gate.time * TICK_S
    period = (1 << 16) * TICK_S
    first = power_up + (int(b.board.now_s / period) + 2) * period
    edges = [first + k * period + (k - 40) * TICK_S for k in range(80)]
    for k, t in enumerate(edges):
        b.tower.edge(t, "GATE", k % 2)
    b.host.run(edges[-1] - b.board.now_s + 0.1)
    events = [f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.GATE][1:]
    offsets = [f.time - t * wire.TICK_HZ for f, t in zip(events, edges, strict=True)]
    assert max(offsets) - min(offsets) < 3


def test_a_burst_of_commands_is_answered_whole() -> None:
    b = bench()
    load_all(b.host, interval_ms=19)
    sent = [b.host.send(Op.BEAT) for _ in range(8)]
    b.host.run(0.1)
    answered = [f.values["command_seq"] for f in b.host.of(Kind.REPLY)]
    assert answered[-8:] == sent
    assert b.host.status()["rx_dropped"] == 0
    assert b.host.gaps == 0


def test_more_commands_than_the_line_has_room_to_answer_are_counted_as_dropped() -> None:
    b = bench()
    sent = {b.host.send(Op.BEAT) for _ in range(100)}
    b.host.run(0.5)
    answered = {f.values["command_seq"] for f in b.host.of(Kind.REPLY)}
    assert answered < sent, "a reply is twice as long as its command"
    assert b.host.status()["rx_dropped"] != 0
    assert b.host.gaps == 0
    assert b.host.ask(Op.BEAT)["reason"] == 0


def test_the_idle_board_sleeps() -> None:
    b = bench()
    b.host.run(1.0)
    assert b.board.counters().slept > 0.8 * CYCLES_PER_S * b.board.now_s


def test_a_run_repeats_to_the_byte_and_the_cycle() -> None:
    def once() -> tuple[list[object], list[object]]:
        b = bench()
        release(b.host, b.tower)
        fall(b.host, b.tower)
        return list(b.host.frames), list(b.board.outputs)

    assert once() == once()
