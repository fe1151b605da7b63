"""The board's clock against the host's: honest whatever the delays do."""

import random

import numpy as np
import pytest

from rig.board.wire import TICK_HZ
from rig.calibration.timebase import PRIOR_HALF_WIDTH, prior, regress, unwrap_ticks
from tests.measure.coverage import exchanges


def test_delays_of_a_usb_latency_timer_never_push_the_truth_out() -> None:
    held, widths = 0, []
    for seed in range(200):
        rng = random.Random(seed)
        resonator = rng.uniform(-0.005, 0.005)
        made = regress(*exchanges(rng, resonator, rng.uniform(20, 90)))
        assert not made.reasons
        held += abs(made.factor - 1 / (1 + resonator)) <= 1.96 * made.u
        widths.append(made.u)
    assert held >= 186  # 93 %
    assert max(widths) < 4e-4


def test_a_delay_that_drifts_through_the_session_is_no_rate_error() -> None:
    # Reply delay from 1 to 17 ms over 60 s: a regression of mid-points would be wrong by 1.3e-4
    # and sure of it to 1e-6.
    sent = np.arange(0, 60, 0.1)
    got = sent + 0.002 + np.linspace(0.001, 0.017, len(sent))
    ticks = np.round((sent + 0.001) * TICK_HZ).astype(np.int64)
    made = regress(sent, got, ticks)
    assert abs(made.factor - 1) <= 1.96 * made.u
    middle = np.polyfit(ticks / TICK_HZ, (sent + got) / 2, 1)[0]
    assert abs(middle - 1) > 1e-4


def test_a_short_or_thin_session_falls_back_on_the_resonator() -> None:
    sent = np.array([0.0, 0.1, 0.2, 0.3])
    few = regress(sent, sent + 0.01, (sent * TICK_HZ).astype(np.int64))
    sent = np.linspace(0, 1, 12)
    short = regress(sent, sent + 0.016, (sent * TICK_HZ).astype(np.int64) + 4000)
    for made in (few, short, prior()):
        assert made.factor == 1.0
        assert made.u == pytest.approx(PRIOR_HALF_WIDTH / 3**0.5)
        assert len(made.reasons) == 1
    assert "resonator" in short.as_input().source


def test_heartbeats_of_one_moment_tell_nothing() -> None:
    sent = np.zeros(6)
    made = regress(sent, sent + 0.01, np.full(6, 99))
    assert made.reasons[0].name == "time_base_short"


def test_a_wandering_clock_widens_its_own_u() -> None:
    # Warming: 200 parts in a million over 100 s, delays of a millisecond.
    sent = np.arange(0, 100, 0.1)
    ticks = np.round((sent + 0.0005 + 1e-6 * sent**2) * TICK_HZ).astype(np.int64)
    made = regress(sent, sent + 0.001, ticks)
    assert made.wander_s > 5e-4
    for rate in (1.0, 1 + 200e-6):  # at the start and at the end
        assert abs(made.factor - 1 / rate) <= 1.96 * made.u


def test_ticks_run_on_past_the_roll_over() -> None:
    true = np.arange(0, 3 * 2**32, 10**9)
    assert unwrap_ticks(true % 2**32).tolist() == true.tolist()


def test_a_reply_before_its_command_is_a_programming_error() -> None:
    with pytest.raises(ValueError, match="before its command"):
        regress([0.0, 1.0], [0.1, 0.9], [0, 1])
    with pytest.raises(ValueError, match="differ"):
        regress([0.0, 1.0], [0.1], [0, 1])
