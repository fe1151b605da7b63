"""The real image sums the arm's angle: values, times, the guests between, and what is lost."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from rig.board import wire
from rig.board.wire import Kind, Op
from tests.emulator.bench import Bench
from tests.emulator.build import build_image
from tests.emulator.chip import Vector
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.figures import angle_noise_steps
from tests.emulator.host import Host
from tests.emulator.scripted import Floats, ScriptedJig, ScriptedTower
from tests.emulator.test_firmware_link import MESSAGES, answers

CHANNEL = wire.CHANNELS[Kind.ANGLE]
TICK_S = 1 / wire.TICK_HZ
SUM_S = CHANNEL.period_ticks * TICK_S
CONVERSION_S = 13 * 8e-6  # 13 clocks of 125 kHz (ATmega328P data sheet)
# Samples of a sum: eight in each of eight milliseconds, each 1.5 clocks after its start.
MIDDLE_S = 1.5 * 8e-6 + np.mean([i * 1e-3 + k * CONVERSION_S for i in range(8) for k in range(8)])
STEPS = 1024


def bench(
    ratio: Callable[[Floats], Floats] | float, noise_steps: float = 0.0, on: bool = True
) -> Bench:
    """A board whose arm stands still, or moves as `ratio` of time does."""
    tower = ScriptedTower()
    jig = ScriptedJig(ratio if callable(ratio) else lambda t_s: np.full_like(t_s, ratio))
    board = EmulatedBoard(build_image(), tower, jig=jig, angle_noise_steps=noise_steps)
    host = Host(board)
    host.run(0.1)
    if on:
        host.ask(Op.STREAM, channel=Kind.ANGLE, on=1)
    return Bench(tower, board, host)


def sums(b: Bench) -> Floats:
    """Sums heard, in order."""
    return np.array([s for frame in b.host.of(Kind.ANGLE) for s in frame.samples])


def times_s(b: Bench) -> Floats:
    """Board time of each sum's first conversion."""
    starts = [frame.time * TICK_S for frame in b.host.of(Kind.ANGLE)]
    return np.array([start + i * SUM_S for start in starts for i in range(CHANNEL.block)])


@pytest.mark.parametrize("step", [0, 1, 102, 511, 512, 921, 1023])
def test_a_sum_is_of_sixty_four_conversions(step: int) -> None:
    b = bench((step + 0.5) / STEPS)
    b.host.run(0.3)
    assert set(sums(b)) == {wire.ANGLE_SUM * step}
    assert len(sums(b)) >= 30


def test_sums_are_eight_milliseconds_apart_and_blocks_forty() -> None:
    b = bench(0.5)
    b.host.run(2.0)
    times = [frame.time for frame in b.host.of(Kind.ANGLE)]
    assert len(times) >= 49
    apart = CHANNEL.block * CHANNEL.period_ticks
    assert all(abs(after - before - apart) <= 50 for before, after in itertools.pairwise(times))
    assert b.host.gaps == 0


@pytest.mark.parametrize("per_s", [0.2, -0.2])
def test_a_moving_arm_is_shown_where_it_was_in_the_middle_of_each_sum(per_s: float) -> None:
    b = bench(lambda t_s: 0.5 + per_s * (t_s - 1.0))
    b.tower.edge(0.5, "GATE", 1)
    b.host.run(1.5)
    (gate,) = [f for f in b.host.of(Kind.EVENT) if f.values["code"] == wire.Event.GATE]
    power_up = 0.5 - gate.time * TICK_S
    moment = times_s(b) + power_up + MIDDLE_S
    off = sums(b) / wire.ANGLE_SUM - (STEPS * (0.5 + per_s * (moment - 1.0)) - 0.5)
    assert np.abs(off).max() < 0.15, "steps; without noise the staircase shows"
    assert abs(off.mean()) < 0.02, "0.1 ms"


def test_a_free_analog_pin_converts_beside_the_angle_and_neither_sees_the_other() -> None:
    b = bench((200 + 0.5) / STEPS)
    b.board.set_analog(5, 2.5)
    b.board.write(bytes([0xF0, 0x7A, 3, 0, 0xF7]))
    b.board.write(bytes([0xC5, 1]))
    b.host.run(2.0)
    assert set(sums(b)) == {wire.ANGLE_SUM * 200}
    reports = b.host.messages[-1500:]
    counted = [m for m in reports if m[0] == 0xE5]
    assert {bytes(m[1:]) for m in counted} == {bytes([0, 4])}
    times = [frame.time for frame in b.host.of(Kind.ANGLE)]
    apart = CHANNEL.block * CHANNEL.period_ticks
    assert all(abs(after - before - apart) <= 200 for before, after in itertools.pairwise(times))
    assert b.board.probe(Vector.ADC).count > 2.0 * 8_300, "8 a ms for the angle, 1/3 for a guest"
    assert b.host.gaps == 0


def test_the_converter_rests_when_nobody_asks() -> None:
    b = bench(0.5, on=False)
    b.host.run(0.5)
    assert b.board.probe(Vector.ADC).count == 0
    b.board.set_analog(5, 5.0)
    b.board.write(b"\xc5\x01" + MESSAGES["sampling_interval_19ms"])
    b.host.run(1.0)
    assert 48 <= b.board.probe(Vector.ADC).count <= 55
    assert sums(b).size == 0


def test_the_stream_stops_when_asked_and_starts_with_whole_sums() -> None:
    b = bench((300 + 0.5) / STEPS)
    for pause_s in (0.0101, 0.0303, 0.0207, 0.0004):
        b.host.run(0.1003)
        b.host.ask(Op.STREAM, channel=Kind.ANGLE, on=0)
        count = len(sums(b))
        b.host.run(pause_s)
        assert len(sums(b)) - count <= CHANNEL.block
        b.host.ask(Op.STREAM, channel=Kind.ANGLE, on=1)
    b.host.run(0.1)
    assert set(sums(b)) == {wire.ANGLE_SUM * 300}
    assert b.host.gaps == 0


def test_a_system_reset_stops_load_and_angle() -> None:
    b = bench(0.5)
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    b.host.run(0.2)
    answers(b.host, MESSAGES["system_reset"])
    count = len(sums(b))
    b.host.run(1.0)
    assert len(sums(b)) == count
    assert not [f for f in b.host.of(Kind.EVENT) if f.values["code"] == wire.Event.LOAD]


def test_after_a_reset_the_angle_is_summed_as_before() -> None:
    b = bench((300 + 0.5) / STEPS)
    b.host.run(0.213)
    b.board.reset()
    b.host.run(0.2)
    count = len(sums(b))
    b.host.ask(Op.STREAM, channel=Kind.ANGLE, on=1)
    b.host.run(0.5)
    assert len(sums(b)) >= count + 60
    assert set(sums(b)) == {wire.ANGLE_SUM * 300}


def test_noise_makes_the_mean_finer_than_a_step() -> None:
    told = angle_noise_steps()
    # Noise of half a step and rounding, averaged over 64: sqrt(0.5^2 + 1/12) / 8.
    assert told.rms == pytest.approx(0.072, rel=0.1)
    assert told.worst_bow < 0.02, "what rounding leaves of its staircase"
