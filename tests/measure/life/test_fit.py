"""Fits of one group: published lives, two libraries, exact t intervals, degenerate lives."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
import surpyval
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from rig.errors import RigError
from rig.measure.life import Family, Life, Past, fit, quantile, survivor
from rig.measure.life.family import log_mass
from rig.measure.life.fit import logs
from rig.measure.life.likelihood import at_point, greatest
from rig.measure.life.lives import bounds
from rig.measure.life.profile import critical_location, critical_scatter
from tests.measure.life.studies import (
    Kind,
    ball_bearings,
    exact,
    lives,
    shock_absorbers,
    simulate,
)
from tests.published import load

FAMILIES = pytest.mark.parametrize("family", list(Family))
THEIRS = {Family.LOGNORMAL: surpyval.LogNormal, Family.WEIBULL: surpyval.Weibull}


def in_cuts(found: float, given: Sequence[Life]) -> float:
    """Log likelihood with densities by cuts instead of by ln(cuts)."""
    return found - sum(math.log(life.first_fail_cuts) for life in given if life.exact)


# -- published


def test_the_ball_bearings_of_lieblein_and_zelen_come_out() -> None:
    # Lieblein and Zelen 1956; Lawless; Meeker and Escobar (log-normal values from memory)
    expected = load("weibull_ball_bearings")["expected"]
    weibull, normal = fit(ball_bearings(), Family.WEIBULL), fit(ball_bearings())
    assert 1 / weibull.sigma == pytest.approx(expected["shape"], abs=6e-4)
    assert math.exp(weibull.mu) == pytest.approx(expected["scale"], abs=6e-3)
    value = in_cuts(weibull.log_likelihood, ball_bearings())
    assert value == pytest.approx(expected["loglik"], abs=6e-4)
    assert normal.mu == pytest.approx(expected["lognormal_mu"], abs=6e-4)
    assert normal.sigma == pytest.approx(expected["lognormal_sigma"], abs=6e-4)


def test_the_shock_absorbers_come_out_with_their_survivors() -> None:
    # O'Connor 1985; Meeker and Escobar 1998 (from memory, reproduced from the data)
    expected = load("weibull_shock_absorbers")["expected"]
    found = fit(shock_absorbers(), Family.WEIBULL)
    assert (found.blades, found.survivors) == (38, 27)
    assert 1 / found.sigma == pytest.approx(expected["shape"], abs=5e-3)
    assert math.exp(found.mu) == pytest.approx(expected["scale_km"], abs=1)
    assert found.mu == pytest.approx(expected["mu"], abs=5e-3)
    assert found.sigma == pytest.approx(expected["sigma"], abs=1e-4)


# -- reference libraries


@FAMILIES
@pytest.mark.parametrize("ends", [6.0, 0.5])
@pytest.mark.parametrize("seed", range(6))
def test_surpyval_finds_the_same_maximum(family: Family, ends: float, seed: int) -> None:
    # surpyval 0.25, interval- and right-censored lives
    kind = Kind(family, (8, 30), (0.25, 0.5), (1.1, 1.3), ends)
    group = simulate(kind, np.random.default_rng(seed)).control
    low, high = bounds(group)
    ours, theirs = fit(group, family), THEIRS[family].fit(xl=low, xr=high)
    first, second = theirs.params
    expected = (first, second) if family is Family.LOGNORMAL else (math.log(first), 1 / second)
    assert (ours.mu, ours.sigma) == pytest.approx(expected, rel=2e-4)
    assert ours.log_likelihood == pytest.approx(-theirs.neg_ll(), abs=1e-5)


@FAMILIES
def test_scipy_finds_the_same_maximum_of_all_four_kinds_of_life(family: Family) -> None:
    # scipy.stats: fit of CensoredData, by a simplex, from a start near the maximum
    group = lives(
        "a", (0, 60), (80, 100), (100, 125), (150, 190), (190, math.inf), (97, 97), (131, 131)
    )
    data = stats.CensoredData(
        uncensored=[97, 131], left=[60], right=[190], interval=[[80, 100], [100, 125], [150, 190]]
    )
    if family is Family.LOGNORMAL:
        shape, _, scale = stats.lognorm.fit(data, 0.3, floc=0, scale=110)
        expected = math.log(scale), shape
    else:
        shape, _, scale = stats.weibull_min.fit(data, 3, floc=0, scale=110)
        expected = math.log(scale), 1 / shape
    found = fit(group, family)
    assert (found.mu, found.sigma) == pytest.approx(expected, abs=2e-4)


@FAMILIES
@given(
    st.lists(st.tuples(st.integers(1, 300), st.integers(1, 200), st.booleans()), min_size=2),
    st.floats(-0.5, 0.5),
    st.floats(-2, 2),
)
def test_no_parameters_beat_the_maximum_and_no_profile_does(
    family: Family, drawn: list[tuple[int, int, bool]], by: float, z: float
) -> None:
    group = lives("a", *((low, math.inf if out else low + more) for low, more, out in drawn))
    low, high = logs(group)
    top = greatest(family, low, high, np.zeros(len(group), dtype=int))
    place = top.mu[0] if math.isfinite(top.mu[0]) else float(low.max())
    assert at_point(family, low - place - by, high - place - by, z) <= top.value + 1e-7


@FAMILIES
@pytest.mark.parametrize("seed", range(30))
def test_the_maximum_stands_where_its_slope_vanishes_to_the_last_digits(
    family: Family, seed: int
) -> None:
    kind = Kind(family, (3, 11), (0.15, 0.5), (1.02, 1.4), 0.8)
    group = simulate(kind, np.random.default_rng(seed)).control
    low, high = logs(group)
    top = greatest(family, low, high, np.zeros(len(group), dtype=int))
    if not (math.isfinite(top.mu[0]) and 0 < top.sigma < 10):
        return

    def slope(mu: float, ln_sigma: float) -> tuple[float, float]:
        sigma = math.exp(ln_sigma)
        term = log_mass(family, (low - mu) / sigma, (high - mu) / sigma)
        ends = [(term.by_low, low), (term.by_high, high)]
        z = [np.where(np.isfinite(end), (end - mu) / sigma, 0.0) for _, end in ends]
        by_mu = -sum(float(by.sum()) for by, _ in ends) / sigma
        return by_mu, -sum(float((by * x).sum()) for (by, _), x in zip(ends, z, strict=True))

    root = optimize.root(lambda x: slope(*x), [top.mu[0], math.log(top.sigma)], tol=1e-14)
    assert top.mu[0] == pytest.approx(root.x[0], abs=1e-10)
    assert math.log(top.sigma) == pytest.approx(root.x[1], abs=1e-9)


@FAMILIES
@pytest.mark.parametrize("z", [0.0, 1.3])
@pytest.mark.parametrize("held", [4.2, 4.9, 5.6])
def test_the_profile_is_the_best_over_the_scatter(family: Family, z: float, held: float) -> None:
    # Against scipy's bounded search over sigma, with scipy's distributions
    low, high = logs(lives("a", (100, 125), (150, 190), (60, 80), (150, math.inf)))
    law = stats.norm if family is Family.LOGNORMAL else stats.gumbel_l

    def against(log_sigma: float) -> float:
        sigma = math.exp(log_sigma)
        mu = held - z * sigma
        mass = law.sf((low - mu) / sigma) - law.sf((high - mu) / sigma)
        return -float(np.log(np.maximum(mass, 1e-300)).sum())

    grid = np.linspace(-6, 4, 400)
    near = grid[int(np.argmin([against(x) for x in grid]))]
    best = optimize.minimize_scalar(against, bounds=(near - 0.05, near + 0.05), method="bounded")
    assert at_point(family, low - held, high - held, z) == pytest.approx(-best.fun, abs=1e-6)


# -- intervals


@settings(max_examples=25)
@given(st.lists(st.integers(20, 500), min_size=3, max_size=12, unique=True))
def test_exact_lognormal_lives_give_student_s_interval(counts: list[int]) -> None:
    found = fit(exact("a", *counts))
    y = np.log(counts)
    half = stats.t.ppf(0.975, len(y) - 1) * y.std(ddof=1) / math.sqrt(len(y))
    expected = (math.exp(y.mean() - half), math.exp(y.mean() + half))
    assert (found.median.low, found.median.high) == pytest.approx(expected, rel=1e-6)
    assert found.geometric_mean.estimate == pytest.approx(stats.gmean(counts))
    assert found.median.determined


@pytest.mark.parametrize("blades", [3, 8, 30])
def test_the_scatter_s_interval_has_the_chi_square_s_coverage(blades: int) -> None:
    # 95 % of chi-squares with blades - 1 degrees of freedom must fall short of the critical fall
    w = stats.chi2.ppf((np.arange(200_000) + 0.5) / 200_000, blades - 1) / blades
    fall = blades * (w - 1 - np.log(w))
    held = (fall <= critical_scatter(blades, blades - 1, 0.95)).mean()
    assert held == pytest.approx(0.95, abs=1e-4)


def test_critical_values_approach_the_large_sample_s() -> None:
    assert critical_location(1e6, 1e6, 0.95) == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-3)
    assert critical_scatter(1e5, 1e5 - 1, 0.95) == pytest.approx(3.841, abs=2e-3)


def test_finer_probes_lead_to_the_exact_lives_interval() -> None:
    counts = (102.0, 117.0, 130.0, 148.0, 171.0)
    fine = fit(lives("a", *((x - 0.005, x + 0.005) for x in counts)))
    known = fit(exact("a", *counts))
    for one, other in ((fine.median, known.median), (fine.scatter, known.scatter)):
        pair = (one.estimate, one.low, one.high)
        assert pair == pytest.approx((other.estimate, other.low, other.high), rel=1e-4)


@FAMILIES
def test_quantiles_rise_and_the_half_is_the_median(family: Family) -> None:
    group = lives("a", (100, 125), (125, 150), (150, 190), (190, 230), (80, 100))
    found = [quantile(group, share, family) for share in (0.1, 0.5, 0.9)]
    for end in ("low", "estimate", "high"):
        values = [getattr(x, end) for x in found]
        assert values == sorted(values)
    assert found[1].estimate == fit(group, family).median.estimate


@FAMILIES
@settings(max_examples=15)
@given(st.floats(0.01, 100))
def test_lives_in_other_units_give_the_same_ratios(family: Family, by: float) -> None:
    given = ((100, 125), (125, 150), (150, 190), (190, math.inf), (0, 100))
    one = fit(lives("a", *given), family)
    other = fit(lives("a", *((low * by, high * by) for low, high in given)), family)
    assert other.median.low / by == pytest.approx(one.median.low, rel=1e-5)
    assert other.scatter.high == pytest.approx(one.scatter.high, rel=1e-5)


# -- what the lives do not determine


def names(group: list[Life], family: Family = Family.LOGNORMAL) -> list[str]:
    return [reason.name for reason in fit(group, family).median.reasons]


@FAMILIES
def test_all_lives_in_one_interval_tell_no_scatter_but_bound_the_median(family: Family) -> None:
    found = fit(lives("a", *[(125, 150)] * 5), family)
    assert [reason.name for reason in found.reasons] == ["scatter_not_determined"]
    assert math.isnan(found.median.estimate) and math.isnan(found.sigma)
    # All five on one side of the median: 1 in 16 at worst.
    assert (found.median.low, found.median.high) == pytest.approx((125, 150), rel=1e-6)
    assert found.scatter.low == 0 and 0 < found.scatter.high < 0.2
    assert not found.median.determined


@FAMILIES
@pytest.mark.parametrize(("below", "above"), [(1, 7), (7, 1), (1, 4), (3, 3)])
def test_lives_in_two_touching_intervals_bound_the_median(
    family: Family, below: int, above: int
) -> None:
    group = lives("a", *[(100, 125)] * below, *[(125, 150)] * above)
    assert names(group, family) == ["scatter_not_determined"]
    median = fit(group, family).median
    near = 1e-5  # the touching point itself may be just outside, the places beside it are in
    assert 80 < median.low <= 125 + near and 125 - near <= median.high < 190


@FAMILIES
def test_three_alike_do_not_bound_the_median_by_their_interval(family: Family) -> None:
    # All three on one side of the true median happens once in four.
    median = fit(lives("a", *[(125, 150)] * 3), family).median
    assert median.low < 125 and median.high > 150


@FAMILIES
def test_survivors_alone_give_a_lower_bound_only(family: Family) -> None:
    found = fit([survivor(f"K{i}", "a", 200) for i in range(6)], family)
    assert found.median.low == pytest.approx(200, rel=1e-6)
    assert math.isinf(found.median.high) and math.isnan(found.median.estimate)
    assert names([survivor("K1", "a", 200)], family) == ["none_dulled"]
    few = fit([survivor(f"K{i}", "a", 200) for i in range(3)], family).median
    assert few.low == 0


@FAMILIES
def test_failures_at_the_first_probe_alone_give_an_upper_bound_only(family: Family) -> None:
    found = fit(lives("a", *[(0, 50)] * 6), family).median
    assert [reason.name for reason in found.reasons] == ["dull_at_first_probe"]
    assert found.low == 0 and found.high == pytest.approx(50, rel=1e-6)


@FAMILIES
def test_one_blade_gives_no_interval_whatever_its_life(family: Family) -> None:
    for group in (lives("a", (100, 125)), exact("a", 120)):
        median = fit(group, family).median
        assert [reason.name for reason in median.reasons] == ["one_blade"]
        assert (median.low, median.high) == (0, math.inf) and math.isnan(median.estimate)


@FAMILIES
def test_equal_exact_lives_and_lives_bounded_on_no_blade_say_so(family: Family) -> None:
    assert names(exact("a", 100, 100), family) == ["scatter_not_determined"]
    one_sided = lives("a", (0, 50), (0, 50), (200, math.inf), (200, math.inf))
    assert names(one_sided, family) == ["scatter_not_bounded"]


def test_past_scatter_gives_one_blade_an_interval() -> None:
    # One exact life with s = 0.15 of 9 degrees of freedom: ln T +- t s
    median = fit(exact("a", 140), past=Past(0.15, 9)).median
    half = stats.t.ppf(0.975, 9) * 0.15
    expected = (140 * math.exp(-half), 140 * math.exp(half))
    assert (median.low, median.high) == pytest.approx(expected, rel=1e-6)
    assert median.determined


def test_past_scatter_is_refused_where_it_does_not_hold() -> None:
    with pytest.raises(RigError, match="log-normal"):
        fit(exact("a", 140), Family.WEIBULL, past=Past(0.15, 9))
    with pytest.raises(RigError, match="past scatter"):
        fit(exact("a", 140), past=Past(0.0, 9))


def test_a_share_outside_nought_to_one_is_refused() -> None:
    with pytest.raises(RigError, match="share"):
        quantile(exact("a", 1, 2), 10)
