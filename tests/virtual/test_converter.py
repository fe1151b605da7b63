"""The bridge converter and the summed angle against their published codes and rates."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike

from rig.board.wire import ANGLE_SUM, CHANNELS, LOAD_LIMITS, TICK_HZ, Kind
from rig.virtual.arm.plant import Jig
from rig.virtual.arm.relaxation import Floats
from rig.virtual.arm.truth import JigTruth
from rig.virtual.board import angle_channel
from rig.virtual.board.converter import FAULTS, NOISE_V, Converter, code_of
from tests.published import load

CODES = load("adc24_codes")
FULL_MV = CODES["expected"]["full_scale_mV"]["128"]


class Held:
    """A bridge with a given course of its output."""

    plan: object = None

    def __init__(self, course: Floats | float = 0.0, from_s: float = 0.0) -> None:
        self._value, self._from = course, from_s

    def bridge_ratio(self, t: ArrayLike) -> Floats:
        return np.where(np.asarray(t) >= self._from, self._value, 0.0)


def test_codes_of_an_input_are_the_data_sheets() -> None:
    # HX711 data sheet: full scale 19.53 mV at gain 128 and 5 V, ends saturate (adc24_codes.json)
    volts = 5.0
    wanted = CODES["expected"]["values"]
    inputs = np.array(wanted) / 2**23 * FULL_MV / 1e3 / volts
    assert code_of(inputs).tolist() == wanted
    lsb = CODES["expected"]["lsb_nV_gain128"] * 1e-9 / volts
    assert code_of(np.array([lsb, -2 * lsb])).tolist() == [1, -2]
    over = np.array([1.2, -1.2]) * FULL_MV / 1e3 / volts
    assert code_of(over).tolist() == [LOAD_LIMITS[1], LOAD_LIMITS[0]]


def test_the_excitation_cancels() -> None:
    ratio = np.array([1e-3, -2e-3])
    assert (code_of(ratio, 3.3) == code_of(ratio, 5.0)).all()


@pytest.mark.parametrize("rate", load("adc24_timing")["expected"]["rates_sps"])
def test_conversions_come_at_the_nominal_rate_within_the_oscillators_error(rate: int) -> None:
    # 10 and 80 per second: adc24_timing.json
    errors = []
    for seed in range(30):
        taken = Converter(Held(), seed, float(rate)).take(20.0)
        gaps = {round(b - a, 9) for (a, _), (b, _) in pairwise(taken)}
        assert max(gaps) - min(gaps) < 1e-8, "an oscillator, not a scheduler"
        errors.append((len(taken) - 1) / (taken[-1][0] - taken[0][0]) / rate - 1)
    assert max(map(abs, errors)) < 0.02
    assert np.std(errors) > 0.005


def test_the_filter_takes_four_conversions_to_settle() -> None:
    # 400 ms at 10/s, 50 ms at 80/s (adc24_timing.json, from memory)
    for rate, settling_s in ((80.0, 0.05), (10.0, 0.4)):
        converter = Converter(Held(1e-3, from_s=2.0), 3, rate, 0.0)
        taken = converter.take(4.0)
        full = int(code_of(np.array([1e-3]))[0])
        lag = next(t for t, code in taken if code > 0.999 * full) - 2.0
        assert settling_s - 1e-9 <= lag < settling_s * 1.25 + 1e-3
        rising = [code / full for t, code in taken if 2.0 < t < 2.0 + lag]
        assert np.diff(rising) == pytest.approx(1 / 4, abs=0.03)


def test_noise_is_of_the_data_sheets_order() -> None:
    for rate, volts in NOISE_V.items():
        codes = [code for _, code in Converter(Held(), 1, rate).take(200.0)]
        lsb_v = CODES["expected"]["lsb_nV_gain128"] * 1e-9
        assert np.std(codes) * lsb_v == pytest.approx(volts, rel=0.06)


@given(st.lists(st.floats(0.0, 3.0), min_size=1, max_size=20))
def test_taking_in_pieces_gives_the_same_conversions(steps: list[float]) -> None:
    whole, parts = (Converter(Held(1e-4), 5) for _ in range(2))
    ends = np.cumsum(steps).tolist()
    taken = [one for end in ends for one in parts.take(end)]
    wanted = whole.take(ends[-1])
    assert [code for _, code in taken] == [code for _, code in wanted]
    assert [t for t, _ in taken] == pytest.approx([t for t, _ in wanted])
    assert parts.next_ready_s > ends[-1]


def test_a_converter_just_powered_settles_before_its_first_conversion() -> None:
    converter = Converter(Held(), 0, 80.0, 0.0)
    converter.start(10.0)
    assert 10.05 <= converter.next_ready_s < 10.0626


@pytest.mark.parametrize("name", ["load_missing", "load_stuck_low"])
def test_a_dead_converter_gives_nothing_until_it_is_mended(name: str) -> None:
    converter = Converter(Held())
    converter.fault(name, True, 1.0)
    assert converter.next_ready_s == math.inf
    assert converter.take(5.0) == []
    assert converter.stuck is (name == "load_stuck_low")
    converter.fault(name, False, 5.0)
    first = converter.take(6.0)[0][0]
    assert 5.0 < first < 5.07


def test_strapped_for_ten_it_converts_ten_a_second() -> None:
    converter = Converter(Held(), 0, 80.0, 0.0)
    converter.fault("load_ten_per_second", True, 0.0)
    assert len(converter.take(10.0)) in (95, 96)


def test_swapped_signal_wires_turn_the_sign() -> None:
    plain, swapped = (Converter(Held(1e-3), 2) for _ in range(2))
    swapped.fault("load_reversed", True, 0.0)
    sums = [sum(code for _, code in c.take(1.0)) for c in (plain, swapped)]
    assert sums[0] > 0 and sums[1] == pytest.approx(-sums[0], rel=1e-5)


def test_an_unplugged_cell_drifts_to_saturation() -> None:
    converter = Converter(Held(1e-3), 2)
    converter.fault("load_unplugged", True, 1.0)
    codes = [code for _, code in converter.take(4.0)]
    assert codes[20] < LOAD_LIMITS[1] / 2
    assert codes[-1] == LOAD_LIMITS[1]
    with pytest.raises(ValueError, match="no fault"):
        converter.fault("gremlin", True, 0.0)
    assert all(name.startswith("load_") for name in FAULTS)


# -- the angle


def test_eight_conversions_of_ten_bits_in_each_of_eight_milliseconds() -> None:
    # 13 cycles at 125 kHz (ATmega328P data sheet): eight take 0.832 ms, the last ends by 7.84 ms
    times = angle_channel.middle_ticks([0, 16_000])
    assert times.shape == (2, 8)
    assert (np.diff(times) == TICK_HZ / 1000).all()
    assert 8 * angle_channel.CONVERSION_TICKS < TICK_HZ / 1000
    assert times[1, 0] - times[0, 0] == CHANNELS[Kind.ANGLE].period_ticks
    rng = np.random.default_rng(0)
    top, bottom = angle_channel.sums(np.array([[1.0] * 8, [0.0] * 8]), 0.0, rng)
    assert (top, bottom) == (ANGLE_SUM * 1023, 0)


def test_the_summed_angle_resolves_a_hundredth_of_a_degree() -> None:
    # Half an LSB of noise and the step itself, over 64 conversions: sqrt(1/4 + 1/12)/8 LSB.
    per_degree = 0.8 / 120 * 1024  # LSB
    rng = np.random.default_rng(2)
    errors = []
    for degrees in np.linspace(-50, 50, 301):
        ratio = 0.5 + 0.8 * degrees / 120
        found = angle_channel.sums(np.full((20, 8), ratio), JigTruth().sensor.noise_lsb, rng)
        errors.append(((found / ANGLE_SUM + 0.5) / 1024 - ratio) / (0.8 / 120))
    assert np.std(errors) == pytest.approx(math.sqrt(1 / 3) / 8 / per_degree, rel=0.05)
    assert np.std(errors) < 0.0115
    assert abs(np.mean(errors)) < 1e-3


def test_a_still_arm_sums_to_what_its_sensor_tells() -> None:
    jig = Jig(JigTruth())
    end = jig.hold_at_stop(math.radians(20.0))
    ratio = jig.angle_ratio(end + angle_channel.middle_ticks([0]) / TICK_HZ)
    (found,) = angle_channel.sums(ratio, 0.5, np.random.default_rng(0))
    assert found == pytest.approx(float(jig.angle_ratio(end)) * 1024 * 64 - 32, abs=20)
