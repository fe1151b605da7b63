"""The real image reads the bridge converter: codes, times, and every fault by its name.

Codes: tests/published/adc24_codes.json; pulses and times: tests/published/adc24_timing.json (both
from the converter's data sheet).
"""

from collections.abc import Callable

import numpy as np
import pytest

from rig.board import wire
from rig.board.wire import LIMITS, Event, Kind, LoadFault, Op
from tests.emulator.bench import Bench, code_of, converter, listen, load_all
from tests.emulator.bench import bench as any_bench
from tests.emulator.build import build_image
from tests.emulator.chip import CYCLES_PER_S, ConverterFault, Vector
from tests.emulator.emulator import EmulatedBoard
from tests.emulator.figures import wander
from tests.emulator.host import Frame, Host
from tests.emulator.scripted import ScriptedConverter, ScriptedTower
from tests.published import load

CODES = load("adc24_codes")
LONGEST_HIGH_US = load("adc24_timing")["expected"]["T3_high_us"]["max"]
READ_S = LIMITS["LOAD_READ_MS"] / 1e3
SILENT_S = LIMITS["LOAD_SILENT_MS"] / 1e3
TICK_S = 1 / wire.TICK_HZ


def bench(on: bool = True) -> Bench:
    """A board with a converter, its channel streaming."""
    b = any_bench(jig=True)
    if on:
        b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    return b


def faults(b: Bench) -> list[LoadFault]:
    """What the events told, in order."""
    events = (f.values for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.LOAD)
    return [LoadFault(values["value"]) for values in events]


def codes(b: Bench) -> list[int]:
    """Codes heard, in order."""
    return [code for frame in b.host.of(Kind.LOAD) for code in frame.samples]


def given_since(b: Bench, start_s: float) -> list[int]:
    """Codes the converter gave from a time on."""
    return [code for t_s, code in converter(b).given if t_s >= start_s]


def last(b: Bench) -> Frame:
    """The latest LOAD frame."""
    return b.host.of(Kind.LOAD)[-1]


def fitted(rate_hz: float, code: Callable[[int], int]) -> Bench:
    """A board whose converter makes its first conversion once its channel streams."""
    tower = ScriptedTower()
    converter = ScriptedConverter(rate_hz, code, first_s=0.25)
    host = Host(EmulatedBoard(build_image(), tower, converter=converter))
    host.run(0.2)
    host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    return Bench(tower, host.board, host)


def test_published_codes_arrive_as_put_with_their_signs_and_the_saturated_ones_as_they_are() -> (
    None
):
    published = CODES["expected"]["values"]
    assert set(wire.LOAD_LIMITS) <= set(published)
    b = fitted(80.0, lambda n: published[n % len(published)])
    listen(b, 0.5)
    assert codes(b) == given_since(b, 0.0)
    assert len(codes(b)) > 2 * len(published)
    assert faults(b) == []


@pytest.mark.parametrize("rate_hz", [9.8, 10.2, 78.4, 81.6])
def test_each_conversion_of_a_slow_or_fast_converter_comes_once(rate_hz: float) -> None:
    b = fitted(rate_hz, code_of)
    listen(b, 3.0)
    assert codes(b) == given_since(b, 0.0)
    assert len(codes(b)) >= 2.7 * rate_hz - 1
    assert b.host.gaps == 0


@pytest.mark.parametrize("resonator_error", [0.0, 0.005, -0.005])
def test_a_frame_carries_the_time_of_its_data_ready_edge(resonator_error: float) -> None:
    b = any_bench(jig=True, resonator_error=resonator_error)
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    start = b.board.now_s
    listen(b, 3.0)
    late_us = lateness_us(b, start, resonator_error)
    assert len(late_us) > 200
    assert np.ptp(late_us) < 25, "the interlock's tick in the way"
    assert np.median(late_us) - late_us.min() < 2


def lateness_us(b: Bench, start_s: float, resonator_error: float = 0.0) -> np.ndarray:
    """How long after its edge each conversion was stamped, but for a constant; microseconds."""
    given = np.array([t_s for t_s, _ in converter(b).given if t_s >= start_s])
    told = np.array([f.time for f in b.host.of(Kind.LOAD)]) * TICK_S
    return (told[-len(given) :] - given * (1 + resonator_error)) * 1e6


def test_everything_at_once_loses_no_conversion_and_no_sum() -> None:
    b = bench(on=False)
    b.host.beating = True
    load_all(b.host)
    start = b.board.now_s
    end = wander(b.tower, start + 0.01, 16_033, 60_000)
    b.board.chip.clear_probes()
    listen(b, end - start)
    given = given_since(b, start)
    assert b.host.gaps == 0
    assert len(given) > 290
    assert codes(b)[-len(given) :] == given
    figures = b.board.chip.converter_figures()
    assert (figures.torn, figures.other_pulses, figures.power_downs) == (0, 0, 0)
    assert figures.longest_high < LONGEST_HIGH_US * CYCLES_PER_S // 1_000_000 // 20
    assert last(b).values == {"faults": 0, "discarded": 0}
    assert b.host.of(Kind.ANGLE)[-1].values == {"missed_samples": 0}
    late_us = lateness_us(b, start)
    assert np.ptp(late_us) < 50, "no interrupt is longer"
    assert np.percentile(late_us, 90) - late_us.min() < 10
    assert faults(b) == []


def test_a_conversion_is_kept_from_waiting_longer_than_one_encoder_interrupt_needs() -> None:
    b = bench()
    b.board.chip.clear_probes()
    b.host.run(1.0)
    assert b.board.probe(Vector.PCINT1).count >= 80
    assert b.board.probe(Vector.PCINT1).max_length < 10 * 16, "10 us"


# -- silence while nobody asks


def test_a_converter_nobody_asks_for_is_left_alone() -> None:
    b = bench(on=False)
    b.host.run(1.5)
    assert b.host.of(Kind.LOAD) == []
    assert faults(b) == []
    assert b.board.chip.converter_figures().longest_high == 0


def test_a_rig_without_a_converter_hears_nothing_of_it_before_it_asks() -> None:
    b = any_bench()
    b.host.run(1.5)
    assert faults(b) == []
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    b.host.run(SILENT_S - 0.05)
    assert faults(b) == []
    b.host.run(0.1)
    assert faults(b) == [LoadFault.MISSING]
    b.host.run(2.0)
    assert faults(b) == [LoadFault.MISSING], "told once"
    assert b.host.gaps == 0


def test_the_reading_that_waited_at_the_start_of_the_stream_is_not_passed_off_as_fresh() -> None:
    b = bench()
    asked = b.board.now_s
    listen(b, 0.5)
    heard = codes(b)
    assert heard == given_since(b, 0.0)[-len(heard) :]
    assert heard[0] in given_since(b, asked - 0.005)[:2], "not the one that waited"
    assert last(b).values["discarded"] == 0, "nothing of this stream was lost"


def test_the_stream_stops_when_asked_and_starts_again() -> None:
    b = bench()
    b.host.run(0.3)
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=0)
    b.host.run(0.05)
    count = len(codes(b))
    assert count > 20
    b.host.run(1.0)
    assert len(codes(b)) == count
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    b.host.run(1.0)
    assert len(codes(b)) >= count + 78
    assert faults(b) == []


# -- faults


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        (ConverterFault.ABSENT, LoadFault.MISSING),
        (ConverterFault.CLOCK_HELD, LoadFault.MISSING),
    ],
)
def test_a_converter_that_falls_silent_is_missing_until_it_comes_back(
    fault: ConverterFault, told: LoadFault
) -> None:
    b = bench()
    b.host.run(0.5)
    b.board.chip.converter_fault(fault)
    began = b.board.now_s
    b.host.run(1.5)
    assert faults(b) == [told]
    (event,) = (f for f in b.host.of(Kind.EVENT) if f.values["code"] == Event.LOAD)
    assert SILENT_S - 0.02 <= event.heard_s - began <= SILENT_S + 0.02
    silent = len(codes(b))
    b.board.chip.converter_fault(ConverterFault.NONE)
    mended = b.board.now_s
    listen(b, 0.5)
    assert faults(b) == [told, LoadFault.NONE]
    assert last(b).values["faults"] == 1
    fresh = codes(b)[silent:]
    assert len(fresh) > 30
    assert fresh == given_since(b, mended)[-len(fresh) :], "nothing from before, nothing unsettled"
    assert b.host.gaps == 0


def test_a_line_stuck_low_is_stuck_and_gives_no_reading() -> None:
    b = bench()
    b.host.run(0.5)
    good = len(codes(b))
    b.board.chip.converter_fault(ConverterFault.STUCK_LOW)
    b.host.run(1.5)
    assert faults(b) == [LoadFault.STUCK]
    assert len(codes(b)) == good
    b.board.chip.converter_fault(ConverterFault.NONE)
    b.host.run(1.0)
    assert faults(b) == [LoadFault.STUCK, LoadFault.NONE]
    assert last(b).values["faults"] == 1
    assert 0 <= last(b).values["discarded"] <= 1


def test_a_line_that_sticks_while_it_is_read_costs_that_reading() -> None:
    b = bench()
    b.host.run(0.5)
    good = len(codes(b))
    ready = converter(b).next_ready_s
    b.board.run(ready + 60e-6)  # in the midst of the pulses
    b.board.chip.converter_fault(ConverterFault.STUCK_LOW)
    b.host.run(0.05)
    b.board.chip.converter_fault(ConverterFault.NONE)
    listen(b, 1.0)
    assert faults(b) == [LoadFault.STUCK, LoadFault.NONE]
    assert last(b).values["discarded"] == 1
    heard, given = codes(b)[good:], given_since(b, ready + 1e-6)
    assert heard == given[-len(heard) :]


def test_a_line_that_was_low_from_the_first_is_stuck_too() -> None:
    b = bench(on=False)
    b.board.chip.converter_fault(ConverterFault.STUCK_LOW)
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    b.host.run(SILENT_S + 0.1)
    assert faults(b) == [LoadFault.STUCK]
    assert codes(b) == []


@pytest.mark.parametrize(("after_s", "kept"), [(READ_S - 2e-3, True), (READ_S + 1.5e-3, False)])
def test_a_reading_begun_too_late_is_discarded(after_s: float, kept: bool) -> None:
    b = bench()
    b.host.run(0.5)
    count = len(codes(b))
    (ready, code) = converter(b).next_ready_s, code_of(len(converter(b).given))
    b.board.run(ready - 1e-3)
    b.board.stall(ready + after_s - b.board.now_s)
    b.host.run(0.1)
    assert (code in codes(b)[count:]) == kept
    assert faults(b) == ([] if kept else [LoadFault.LATE, LoadFault.NONE])
    assert last(b).values == {"faults": int(not kept), "discarded": int(not kept)}
    assert b.host.gaps == 0


def test_a_long_stall_costs_readings_and_what_follows_is_sound() -> None:
    b = bench()
    b.host.run(0.5)
    b.board.stall(0.1)
    resumed = b.board.now_s
    listen(b, 0.5)
    assert faults(b) == [LoadFault.LATE, LoadFault.NONE]
    fresh = given_since(b, resumed)
    assert len(fresh) > 38
    assert codes(b)[-len(fresh) :] == fresh


def test_a_fault_is_told_anew_when_the_stream_begins_anew() -> None:
    b = bench()
    b.host.run(0.2)
    b.board.chip.converter_fault(ConverterFault.ABSENT)
    b.host.run(0.6)
    for on in (0, 1):
        b.host.ask(Op.STREAM, channel=Kind.LOAD, on=on)
    b.host.run(SILENT_S + 0.1)
    assert faults(b) == [LoadFault.MISSING, LoadFault.MISSING]


# -- resets


@pytest.mark.parametrize("phase_s", [0.0, 20e-6, 60e-6, 100e-6, 5e-3])
def test_after_a_reset_at_any_moment_the_converter_is_read_as_before(phase_s: float) -> None:
    b = bench()
    b.host.run(0.3)
    b.board.run(converter(b).next_ready_s + phase_s)
    b.board.reset()
    b.host.run(0.2)
    heard = len(codes(b))
    b.host.run(0.3)
    assert len(codes(b)) == heard, "the stream is off after a reset"
    b.host.ask(Op.STREAM, channel=Kind.LOAD, on=1)
    listen(b, 0.5)
    fresh = codes(b)[heard:]
    assert len(fresh) > 30
    assert fresh == given_since(b, 0.0)[-len(fresh) :]
    assert faults(b) == []
