"""Probe schedules, fixed before the first cut."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import RigError
from rig.measure.life import Schedule, geometric, planned, stepped
from rig.measure.life.schedule import expected_share, ratio_for


@given(st.integers(1, 500), st.floats(1.02, 3), st.integers(0, 5000))
def test_a_geometric_schedule_keeps_its_ratio_or_a_single_cut(
    first: int, ratio: float, more: int
) -> None:
    counts = geometric(first, ratio, first + more).counts
    assert counts[0] == first and counts[-1] == first + more
    for one, other in pairwise(counts):
        assert one < other
        assert other <= max(one + 1, one * ratio + 1e-6)


def test_a_stepped_schedule_ends_at_its_last_count() -> None:
    assert stepped(25, 110).counts == (25, 50, 75, 100, 110)
    assert stepped(25, 100).counts == (25, 50, 75, 100)


@given(st.floats(30, 5000), st.floats(0.05, 0.6))
def test_a_planned_schedule_keeps_its_share_of_the_life(pilot: float, share: float) -> None:
    schedule = planned(pilot, share)
    # Lives anywhere within half and twice the pilot's, evenly on the log scale. Rounding to
    # whole cuts only narrows intervals, but for steps of a single cut.
    lives = pilot * np.exp(np.linspace(-math.log(2), math.log(2), 4001))
    shares = [schedule.width_share(x) for x in lives]
    assert np.mean(shares) <= share * 1.25 + 2 / pilot
    ratio = ratio_for(share)
    assert max(shares) <= max(ratio - 1, 2 / pilot) + 1e-9


def test_the_expected_share_is_the_mean_over_lives_between_two_probes() -> None:
    life = np.exp((np.arange(100_000) + 0.5) / 100_000 * math.log(1.25))
    assert expected_share(1.25) == pytest.approx(np.mean(0.25 / life), rel=1e-8)
    assert expected_share(ratio_for(0.2)) == pytest.approx(0.2)


@given(st.integers(0, 120))
def test_the_next_probe_is_the_first_not_yet_done(done: int) -> None:
    schedule = Schedule((10, 20, 40, 80), "by hand")
    left = [count for count in schedule.counts if count > done]
    assert schedule.next_probe(done) == (left[0] if left else None)


@pytest.mark.parametrize(
    ("life", "interval", "probes"),
    [(5, (0, 10), 2), (10, (0, 10), 2), (11, (10, 20), 3), (80, (40, 80), 4),
     (81, (80, math.inf), 4)],
)  # fmt: skip
def test_a_life_falls_in_its_interval_and_costs_its_probes(
    life: float, interval: tuple[float, float], probes: int
) -> None:
    schedule = Schedule((10, 20, 40, 80), "by hand")
    assert schedule.interval(life) == interval
    # One probe more confirms the first fail, when there is one left.
    assert schedule.probes_for(life) == probes


def test_closer_probes_cost_more() -> None:
    wide, close = planned(140, 0.3), planned(140, 0.1)
    assert close.probes_for(140) > wide.probes_for(140)
    assert close.width_share(140) < wide.width_share(140)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: geometric(0, 1.25, 100),
        lambda: geometric(10, 1.0, 100),
        lambda: geometric(10, math.nan, 100),
        lambda: geometric(100, 1.25, 10),
        lambda: stepped(0, 100),
        lambda: stepped(1, 100_000),
        lambda: geometric(100, 1.000001, 100_000),
        lambda: planned(140, 0),
        lambda: planned(140, 1.5),
        lambda: planned(2, 0.2),
        lambda: planned(140, 0.2, 1),
        lambda: planned(math.inf, 0.2),
    ],
)
def test_impossible_schedules_are_refused(wrong: object) -> None:
    assert callable(wrong)
    with pytest.raises(RigError):
        wrong()
