"""Figures of the real image in virtual time, for tests and benches: they repeat to the cycle."""

from dataclasses import dataclass

import numpy as np

from rig.board import wire
from rig.board.wire import Kind, Op
from tests.emulator.bench import Bench, bench, load_all
from tests.emulator.build import build_image
from tests.emulator.chip import CYCLES_PER_S, Vector
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.host import Host, fall, release, start_drive
from tests.emulator.scripted import ScriptedJig, ScriptedTower
from tests.virtual.carriage import ScriptedCarriage

TOP_COUNT = 30_000  # inside the 16 bits of the count


@dataclass(frozen=True)
class Load:
    """What an edge rate did to the board with every stream on."""

    edges: int
    lost_counts: int
    illegal_edges: int
    merged_edges: int
    missed_samples: int
    lost_frames: int
    encoder_latency_cycles: int
    encoder_length_cycles: int
    sampler_latency_cycles: int
    longest_clock_high_cycles: int
    busy: float


def wander(tower: ScriptedTower, start_s: float, rate_hz: float, edges: int) -> float:
    """Up and down between 0 and `TOP_COUNT` at `rate_hz`; returns the time of the last edge."""
    end, left, way = start_s, edges, 1
    while left:
        run = min(left, TOP_COUNT)
        end = tower.counts(end + 1 / rate_hz, 1 / rate_hz, way * run)
        left, way = left - run, -way
    return end


def under_load(rate_hz: float, edges: int) -> Load:
    """Encoder edges at `rate_hz` with all channels, ports and both analog inputs streaming."""
    b = bench(jig=True)
    b.host.beating = True
    load_all(b.host)
    b.board.chip.clear_probes()
    start, slept = b.board.now_s, b.board.counters().slept
    end = wander(b.tower, start + 0.01, rate_hz, edges)
    b.host.run(end - start + 0.05)
    slept = b.board.counters().slept - slept
    status = b.host.status()
    vectors = [b.board.probe(v) for v in (Vector.INT0, Vector.INT1)]
    return Load(
        edges=edges,
        lost_counts=abs(status["height"] - b.tower.count),
        illegal_edges=status["illegal_edges"],
        merged_edges=b.board.counters().merged_edges,
        missed_samples=status["missed_samples"],
        lost_frames=b.host.gaps,
        encoder_latency_cycles=max(p.max_latency for p in vectors),
        encoder_length_cycles=max(p.max_length for p in vectors),
        sampler_latency_cycles=b.board.probe(Vector.TIMER2_COMPA).max_latency,
        longest_clock_high_cycles=b.board.chip.converter_figures().longest_high,
        busy=1 - slept / CYCLES_PER_S / (end - start + 0.05),
    )


def _falling(in_flight: bool) -> Bench:
    b = bench(jig=True)
    load_all(b.host)
    release(b.host, b.tower)
    if in_flight:
        fall(b.host, b.tower, period_s=62.5e-6)
    return b


def _first_off(board: EmulatedBoard, name: str, since_s: float) -> float:
    return next(c.t_s for c in board.outputs if c.name == name and not c.on and c.t_s >= since_s)


def opening_to_pin_low(pin: str, in_flight: bool, phase_s: float) -> float:
    """Seconds from `pin` (GUARD or ESTOP) opening to both solenoids' pins low, edges running."""
    b = _falling(in_flight)
    opened = b.board.now_s + 0.005 + phase_s
    b.tower.counts(opened - 4e-3, 62.5e-6, -70)
    b.tower.edge(opened, pin, 1)
    b.host.run(0.02)
    names = ["CATCH"] if in_flight else ["LATCH", "CATCH"]
    return max(_first_off(b.board, name, opened) for name in names) - opened


def reversal_to_catch(phase_s: float) -> float:
    """Seconds from the first rising edge after a fall at 4 m/s to the catch's pin low."""
    b = _falling(in_flight=True)
    turned = b.board.now_s + 0.02 + phase_s
    b.tower.counts(turned, 62.5e-6, 200)
    b.host.run(0.05)
    return _first_off(b.board, "CATCH", turned) - turned


def silence_to_off() -> float:
    """Seconds from the last byte of the last beat to the catch's pin low, in flight."""
    b = _falling(in_flight=True)
    b.host.beating = False
    b.host.run(0.05)
    last: float = b.host.last_beat_s
    b.tower.counts(b.board.now_s, 500e-6, -1_500)
    b.host.run(0.7)
    return _first_off(b.board, "CATCH", last) - last


def driving(carriage: ScriptedCarriage, target: int = 1_000) -> Bench:
    """The motor runs, everything streams."""
    b = bench(jig=True, carriage=carriage)
    load_all(b.host)
    start_drive(b.host, b.tower, target)
    return b


def opening_to_drive_low(pin: str, phase_s: float) -> float:
    """Seconds from `pin` (GUARD or ESTOP) opening to the drive's pin low, in the midst of a run."""
    b = driving(ScriptedCarriage())
    b.host.run(0.3)
    opened = b.board.now_s + 0.005 + phase_s
    b.tower.edge(opened, pin, 1)
    b.host.run(0.02)
    return _first_off(b.board, "DRIVE", opened) - opened


def silence_to_drive_off() -> float:
    """Seconds from the last byte of the last beat to the drive's pin low."""
    b = driving(ScriptedCarriage())
    b.host.beating = False
    b.host.run(0.05)
    last: float = b.host.last_beat_s
    b.host.run(0.7)
    return _first_off(b.board, "DRIVE", last) - last


@dataclass(frozen=True)
class AngleNoise:
    """Of a mean of 64 conversions, in steps of one: scatter, and largest error left on average."""

    rms: float
    worst_bow: float


def angle_noise_steps(noise_steps: float = 0.5, seconds: float = 60.0) -> AngleNoise:
    """The arm creeps over six steps of the converter with a noise of `noise_steps` in each."""
    start, end = 500.0, 506.0
    jig = ScriptedJig(lambda t_s: (start + (end - start) * np.minimum(t_s / seconds, 1)) / 1024)
    board = EmulatedBoard(build_image(), ScriptedTower(), jig=jig, angle_noise_steps=noise_steps)
    host = Host(board)
    host.run(0.1)
    host.ask(Op.STREAM, channel=Kind.ANGLE, on=1)
    host.run(seconds)
    frames = host.of(Kind.ANGLE)
    sums = np.array([frame.samples for frame in frames]).ravel() / wire.ANGLE_SUM
    times = np.array([frame.time for frame in frames])[:, None] / wire.TICK_HZ
    times = (times + 8e-3 * np.arange(wire.CHANNELS[Kind.ANGLE].block)).ravel()
    truth = start + (end - start) * times / seconds - 0.5
    off = sums - truth
    off -= off.mean()
    parts = [part.mean() for part in np.array_split(off, 6 * 8)]
    return AngleNoise(float(off.std()), float(np.abs(parts).max()))
