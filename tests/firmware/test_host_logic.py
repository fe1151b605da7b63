"""Quadrature, debouncing and nonces of the firmware, as timelines."""

import ctypes
from collections.abc import Iterable

from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.host import library

CYCLE = (0b00, 0b01, 0b11, 0b10)  # bit 0 is A, bit 1 is B; A leads when rising


def decoded(levels: Iterable[int]) -> tuple[int, int]:
    """Position and illegal transitions after these levels, the first of which is the start."""
    lib = library()
    first, *rest = levels
    decoder = ctypes.c_void_p(lib.quadrature_new(first))
    for level in rest:
        lib.quadrature_edge(decoder, level)
    result = lib.quadrature_position(decoder), lib.quadrature_illegal(decoder)
    lib.quadrature_free(decoder)
    return result


def believed(timeline: str) -> list[tuple[int, int]]:
    """(ms first seen, level) of the changes believed in a timeline of `_` and `#`, one a ms."""
    levels = bytes(mark == "#" for mark in timeline)
    out = (ctypes.c_int32 * (2 * len(levels)))()
    count = library().debounce_timeline(levels, len(levels), out)
    return [(out[2 * i], out[2 * i + 1]) for i in range(count)]


def nonces(boot: int, start: int, time: int, count: int) -> list[int]:
    out = (ctypes.c_uint32 * count)()
    library().nonces(boot, start, ctypes.c_uint32(time), count, out)
    return list(out)


def test_a_leads_b_counts_up() -> None:
    assert decoded([0b00, 0b01, 0b11, 0b10, 0b00]) == (4, 0)


def test_b_leads_a_counts_down() -> None:
    assert decoded([0b00, 0b10, 0b11, 0b01, 0b00]) == (-4, 0)


def test_both_lines_at_once_is_illegal_and_counts_nothing() -> None:
    for before, after in ((0b00, 0b11), (0b11, 0b00), (0b01, 0b10), (0b10, 0b01)):
        assert decoded([before, after]) == (0, 1)


def test_counting_goes_on_right_after_an_illegal_transition() -> None:
    assert decoded([0b00, 0b11, 0b10, 0b00]) == (2, 1)


def test_an_interrupt_without_a_change_counts_nothing() -> None:
    assert decoded([0b01, 0b01, 0b01]) == (0, 0)


def test_the_position_wraps_at_16_bits() -> None:
    up = [CYCLE[i & 3] for i in range(32_769)]
    assert decoded(up) == (-32_768, 0)
    assert decoded([*up, CYCLE[(32_768 - 1) & 3]]) == (32_767, 0)


def test_illegal_transitions_are_counted_modulo_256() -> None:
    assert decoded([0b00, 0b11] * 128 + [0b00, 0b11]) == (0, 257 % 256)


@given(st.lists(st.sampled_from((-1, 1)), max_size=300), st.integers(0, 3))
def test_any_walk_of_single_steps_is_followed(steps: list[int], start: int) -> None:
    at, levels = start, [CYCLE[start]]
    for step in steps:
        at += step
        levels.append(CYCLE[at & 3])
    assert decoded(levels) == (at - start, 0)


def test_a_level_that_lasts_five_milliseconds_is_believed() -> None:
    assert believed("___#####") == [(3, 1)]


def test_a_level_that_lasts_four_milliseconds_is_not() -> None:
    assert believed("___####____####___") == []


def test_bouncing_delays_belief_to_the_last_bounce() -> None:
    assert believed("__#_#_##__########") == [(10, 1)]


def test_both_changes_of_a_press_are_told_with_the_time_they_began() -> None:
    assert believed("__##########______") == [(2, 1), (12, 0)]


def test_a_contact_closed_at_boot_is_no_change() -> None:
    assert believed("##########") == []


def test_nonces_are_28_bits_and_never_zero() -> None:
    drawn = nonces(boot=5, start=77, time=0, count=20_000)
    assert all(0 < nonce < 1 << 28 for nonce in drawn)
    assert len(set(drawn)) > 19_990, "about 0.7 repeats are expected by chance in 2**28"


def test_another_boot_or_another_moment_gives_another_nonce() -> None:
    here = nonces(boot=5, start=77, time=1000, count=1)
    assert nonces(boot=6, start=77, time=1000, count=1) != here
    assert nonces(boot=5, start=78, time=1000, count=1) != here
    assert nonces(boot=5, start=77, time=1001, count=1) != here


def test_a_state_that_would_cancel_out_still_gives_a_nonce() -> None:
    # boot and start chosen so that the seed is zero; a time equal to the state does the same
    assert nonces(boot=0x9E37, start=0x79B9, time=1, count=3)[0] != 0
    assert 0 not in nonces(boot=0, start=0, time=0x9E3779B9, count=3)
