"""The ratio of lives that a cuts test can see, and the one it may have missed."""

import math

import numpy as np
import pytest
from scipy import stats

from rig.errors import RigError
from rig.measure.life import Family, log_sd_of, median_ratio, smallest_ratio, still_possible
from tests.measure.life.studies import lives, probing


def test_cohen_s_numbers_of_subjects_see_his_effects() -> None:
    # Cohen 1992, A power primer, table 2: 393, 64 and 26 a group for d = 0.2, 0.5, 0.8 at
    # alpha 0.05 and power 0.80 (from memory); one subject fewer must not do
    for d, count in ((0.2, 393), (0.5, 64), (0.8, 26)):
        enough, short = (math.log(smallest_ratio(n, 1.0).ratio) for n in (count, count - 1))
        assert enough <= d * 1.002
        assert short > d * 0.998


@pytest.mark.parametrize(
    ("blades", "percents"), [(3, (36, 84, 146)), (6, (20, 43, 69)), (10, (14, 30, 48))]
)
def test_ratios_for_usual_scatters(blades: int, percents: tuple[int, ...]) -> None:
    # formula, numbers computed here: coefficients of variation of 10, 20 and 30 %
    found = [smallest_ratio(blades, log_sd_of(cv)).ratio for cv in (0.1, 0.2, 0.3)]
    assert [round(100 * (ratio - 1)) for ratio in found] == list(percents)


@pytest.mark.parametrize(("blades", "ratio"), [(1, 1.66), (3, 1.34), (6, 1.23)])
def test_treatments_dulled_together_may_still_differ(blades: int, ratio: float) -> None:
    # formula, numbers computed here: all dull between 125 and 150 cuts, past scatter 15 %, 9 dof
    assert still_possible(blades, 0.15, 9, 150 / 125) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize(("blades", "probe_ratio"), [(5, 1.1), (5, 1.3), (8, 1.25)])
def test_simulated_studies_see_the_ratio_as_often_as_said(blades: int, probe_ratio: float) -> None:
    # Against the interval of the ratio itself: power 0.80, 250 studies, what 99.9 % of runs show
    planned = smallest_ratio(blades, 0.25, probe_ratio)
    assert not planned.rough
    rng, studies, seen = np.random.default_rng(8), 250, 0
    for _ in range(studies):
        probes = probing(140.0, 0.25, probe_ratio, 8, rng)
        groups = []
        for name, median in (("a", 140 * planned.ratio), ("b", 140.0)):
            cuts = median * np.exp(0.25 * rng.standard_normal(blades))
            seen_in = [probes.interval(1000 * x) for x in cuts]
            groups.append(lives(name, *((low / 1000, high / 1000) for low, high in seen_in)))
        found = median_ratio(groups[0], groups[1], Family.LOGNORMAL)
        seen += found.low > 1 or found.high < 1
    low, high = stats.binom.ppf([0.0005, 0.9995], studies, [0.78, 0.82])
    assert low <= seen <= high


def test_the_hidden_ratio_holds_the_truth_in_simulation() -> None:
    # Scatter known from 10 earlier blades; the t interval of the difference of single blades
    rng = np.random.default_rng(5)
    past = 0.15 * np.sqrt(rng.chisquare(9, 4000) / 9)
    difference = 0.15 * math.sqrt(2) * rng.standard_normal(4000)
    limits = np.array([math.log(still_possible(1, float(s), 9)) for s in past])
    assert (np.abs(difference) <= limits).mean() == pytest.approx(0.95, abs=0.011)


def test_probes_too_far_apart_are_told_as_rough() -> None:
    assert smallest_ratio(5, 0.1, 1.5).rough
    assert not smallest_ratio(5, 0.25, 1.5).rough


def test_more_blades_less_scatter_and_closer_probes_see_more() -> None:
    base = smallest_ratio(5, 0.2, 1.3).ratio
    assert smallest_ratio(6, 0.2, 1.3).ratio < base
    assert smallest_ratio(5, 0.15, 1.3).ratio < base
    assert smallest_ratio(5, 0.2, 1.1).ratio < base
    assert smallest_ratio(5, 0.2, 1.3, groups=3).ratio < base


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: smallest_ratio(1, 0.2),
        lambda: smallest_ratio(5, 0),
        lambda: smallest_ratio(5, 0.2, 0.9),
        lambda: smallest_ratio(5, 0.2, power=0.01),
        lambda: smallest_ratio(5, 0.2, alpha=0),
        lambda: smallest_ratio(5, 0.2, groups=1),
        lambda: still_possible(1, 0.15, 0),
        lambda: still_possible(0, 0.15, 9),
        lambda: log_sd_of(0),
    ],
)
def test_a_plan_that_says_nothing_is_refused(wrong: object) -> None:
    assert callable(wrong)
    with pytest.raises(RigError):
        wrong()
