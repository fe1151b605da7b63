"""The cuts at which the force passes its limit."""

import math

import numpy as np
import pytest
from scipy import stats

from rig.errors import RigError
from rig.measure.life import crossing

CUTS = (0, 25, 50, 75, 100, 125, 150)
FORCE = (2.0, 2.4, 3.1, 3.4, 4.2, 4.4, 5.1)


def test_without_error_the_straight_line_between_the_probes_is_read() -> None:
    found = crossing(CUTS, FORCE, 3.8, [1e-9] * 7)
    assert found.estimate == pytest.approx(75 + 25 * 0.4 / 0.8, abs=1e-6)
    assert found.high - found.low < 1e-6
    assert found.determined


def test_forces_that_fall_back_are_levelled_before_the_crossing_is_read() -> None:
    # 4.4 and 3.6 level to 4.0 each (isotonic regression by pooling neighbours)
    found = crossing((0, 50, 100, 150, 200), (2, 3, 4.4, 3.6, 6), 3.5, [1e-9] * 5)
    assert found.estimate == pytest.approx(75, abs=1e-6)
    again = crossing((0, 50, 100, 150, 200), (2, 3, 4.4, 3.6, 6), 5, [1e-9] * 5)
    assert again.estimate == pytest.approx(175, abs=1e-6)


def test_a_force_at_its_limit_has_not_passed_it() -> None:
    assert crossing((0, 50, 100, 150), (2, 3, 3, 5), 3, [1e-12] * 4).estimate == 100
    assert math.isnan(crossing((0, 50, 100), (2, 3, 3), 3, [1e-12] * 3).estimate)


def test_levelled_forces_lean_to_the_better_known() -> None:
    # 4.4 with u 1 and 3.6 with u 2 level to (4 * 4.4 + 3.6) / 5 = 4.24
    found = crossing((0, 50, 100, 150), (2, 4.4, 3.6, 6), 3.12, [1e-9, 1e-9, 2e-9, 1e-9])
    assert found.estimate == pytest.approx(25, abs=1e-5)


def test_where_one_line_is_crossed_the_interval_is_the_force_s_over_the_slope() -> None:
    # The crossing of a line through two points of error u, half way: u / sqrt(2) / slope
    found = crossing((0, 100), (2, 4), 3, [0.02, 0.02], draws=20_000)
    half = stats.norm.ppf(0.975) * 0.02 / math.sqrt(2) / 0.02
    assert (found.low, found.high) == pytest.approx((50 - half, 50 + half), abs=0.06)


def test_few_degrees_of_freedom_widen_it() -> None:
    known, few = (crossing(CUTS, FORCE, 3.8, [0.1] * 7, dof) for dof in (math.inf, 4))
    assert few.low < known.low < known.high < few.high


def test_a_force_that_never_passes_is_a_lower_bound() -> None:
    found = crossing(CUTS, FORCE, 9, [0.1] * 7)
    assert math.isnan(found.estimate)
    assert (found.low, found.high) == (150, math.inf)
    assert [reason.name for reason in found.reasons] == ["not_reached"]


def test_a_force_just_under_at_the_end_may_have_passed() -> None:
    found = crossing(CUTS, FORCE, 5.12, [0.1] * 7)
    assert math.isnan(found.estimate)
    assert found.low < 150 and math.isinf(found.high)


def test_a_force_just_over_at_the_end_may_not_have_passed() -> None:
    found = crossing(CUTS, FORCE, 5.08, [0.1] * 7)
    assert 125 < found.estimate < 150
    assert math.isinf(found.high)
    assert [reason.name for reason in found.reasons] == ["not_bounded"]


def test_an_edge_past_the_limit_at_once_is_an_upper_bound() -> None:
    found = crossing((10, 20, 30), (5, 6, 7), 3, [0.1] * 3)
    assert math.isnan(found.estimate)
    assert (found.low, found.high) == (0, 10)
    assert [reason.name for reason in found.reasons] == ["past_at_first_probe"]


def test_the_seed_makes_it_repeatable() -> None:
    one, two, other = (crossing(CUTS, FORCE, 3.8, [0.1] * 7, seed=s) for s in (1, 1, 2))
    assert one == two != other


@pytest.mark.parametrize("power", [0.5, 1.0, 1.5])
def test_the_interval_holds_the_truth_as_often_as_it_says(power: float) -> None:
    rng = np.random.default_rng(2)
    held, studies = 0, 200
    for _ in range(studies):
        cuts = np.append(0, 20 * 1.25 ** (np.arange(14) + rng.uniform()))
        rise = 4 * rng.uniform(0.4, 1.2)
        force = 2 + 4 * (cuts / 200) ** power + 0.2 * rng.standard_normal(15)
        found = crossing(cuts.tolist(), force.tolist(), 2 + rise, [0.2] * 15, draws=400)
        held += found.holds(200 * (rise / 4) ** (1 / power))
    # 99.9 % of runs of a coverage between 93 and 98 %
    low, high = stats.binom.ppf(0.0005, studies, 0.93), stats.binom.ppf(0.9995, studies, 0.98)
    assert low <= held <= high


@pytest.mark.parametrize(
    ("cuts", "force", "u", "dof"),
    [
        ((1,), (1,), (1,), math.inf),
        ((1, 2), (1,), (1, 1), math.inf),
        ((1, 2), (1, 2), (1,), math.inf),
        ((2, 1), (1, 2), (1, 1), math.inf),
        ((1, 1), (1, 2), (1, 1), math.inf),
        ((-1, 1), (1, 2), (1, 1), math.inf),
        ((1, 2), (1, math.nan), (1, 1), math.inf),
        ((1, 2), (1, 2), (1, 0), math.inf),
        ((1, 2), (1, 2), (1, 1), 0),
    ],
)
def test_bad_probes_are_refused(
    cuts: tuple[float, ...], force: tuple[float, ...], u: tuple[float, ...], dof: float
) -> None:
    with pytest.raises(RigError):
        crossing(cuts, force, 1.5, u, dof)
