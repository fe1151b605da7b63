"""A conversion that stands alone is left out; what an arm can do never is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.measure.arm.spikes import bridged, find_spikes

N = 400


def ramp(seed: int) -> np.ndarray:
    """A slow rise with the scatter of a quiet converter."""
    noise = np.random.default_rng(seed).normal(0, 60, N)
    return (50_000 + 400_000 * np.linspace(0, 1, N) + noise).astype(np.int64)


@given(st.integers(0, 200), st.integers(0, N - 1), st.sampled_from((-1, 1)), st.integers(13, 22))
def test_one_flipped_bit_anywhere_is_found_and_bridged(
    seed: int, at: int, sign: int, bit: int
) -> None:
    codes = ramp(seed)
    spoilt = codes.copy()
    spoilt[at] += sign * (1 << bit)
    found = find_spikes(spoilt)
    assert list(found) == [at]
    assert abs(bridged(spoilt, found)[at] - codes[at]) < 2_000


@given(st.integers(0, 200))
def test_nothing_stands_alone_in_a_quiet_rise(seed: int) -> None:
    assert len(find_spikes(ramp(seed))) == 0


@pytest.mark.parametrize("left", [(1.0, 0.66, 0.33, 0.0), (1.0, 0.88, 0.14, 0.0), (1.0, 0.0)])
def test_a_snap_through_a_converters_filter_is_no_spike(left: tuple[float, ...]) -> None:
    codes = ramp(3)
    broken = codes.copy()
    for n, share in enumerate(left):
        broken[300 + n] = 50_000 + (codes[300 + n] - 50_000) * share
    broken[300 + len(left) :] = 50_000
    assert len(find_spikes(broken)) == 0


def test_two_wrong_ones_in_a_row_are_no_lone_spike_and_full_scale_is_told_by_its_own_name() -> None:
    codes = ramp(4)
    codes[200:202] *= 2
    assert len(find_spikes(codes)) == 0
    codes = ramp(4)
    codes[200] = (1 << 23) - 1
    assert len(find_spikes(codes)) == 0


def test_codes_without_a_spike_stay_the_same_object() -> None:
    codes = ramp(5)
    assert bridged(codes, find_spikes(codes)) is codes
