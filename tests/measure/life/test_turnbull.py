"""Share still sharp without a family: published estimates, a library, optimality."""

import math

import numpy as np
import pytest
import surpyval
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import RigError
from rig.measure.life import kaplan_meier, turnbull
from rig.measure.life.lives import bounds
from tests.measure.life.studies import cosmesis, exact, lives, remission
from tests.published import load

ENDS = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 8), st.booleans()).filter(
        lambda x: x[0] + x[1] > 0 and not (x[0] == 0 and x[2])
    ),
    min_size=1,
    max_size=15,
)


@pytest.mark.parametrize("group", ["Rad", "RadChem"])
def test_the_masses_of_the_cosmesis_data_come_out(group: str) -> None:
    # Fay and Shaw, J. Stat. Softw. 36 (2010) issue 2, section 4.1; data of Finkelstein 1986
    published = load("turnbull_breast_cosmesis")["expected"][group]
    cells = turnbull(cosmesis(group)).cells
    assert [(cell.low_cuts, cell.high_cuts) for cell in cells] == [(x[0], x[1]) for x in published]
    assert [cell.mass for cell in cells] == pytest.approx([x[2] for x in published], abs=6e-5)


@given(ENDS)
def test_no_shift_of_mass_makes_any_lives_more_likely(drawn: list[tuple[int, int, bool]]) -> None:
    # The Kuhn-Tucker conditions (Gentleman and Geyer 1994), and masses that add up
    group = lives("a", *((low, math.inf if out else low + more) for low, more, out in drawn))
    found = turnbull(group)
    assert found.kuhn_tucker < 1e-8
    assert math.fsum(cell.mass for cell in found.cells) == pytest.approx(1)
    assert all(cell.mass > 0 for cell in found.cells)


@given(ENDS, st.integers(0, 2**32 - 1))
def test_no_other_masses_are_more_likely(drawn: list[tuple[int, int, bool]], seed: int) -> None:
    group = lives("a", *((low, math.inf if out else low + more) for low, more, out in drawn))
    low, high = bounds(group)
    # Mass on any points whatever: half counts stand for the gaps.
    points = np.arange(0.5, 22, 0.5)
    within = (low[:, None] < points) & (points <= high[:, None]) | (
        (low == high)[:, None] & (low[:, None] == points)
    )
    mass = np.random.default_rng(seed).dirichlet(np.full(len(points), 0.3))
    with np.errstate(divide="ignore"):
        other = float(np.log(within @ mass).sum())
    assert other <= turnbull(group).log_likelihood + 1e-9


@pytest.mark.parametrize("seed", range(5))
def test_surpyval_finds_the_same_shares(seed: int) -> None:
    # surpyval 0.25, Turnbull's estimate in the Kaplan-Meier form; two schedules that overlap
    rng = np.random.default_rng(seed)
    ends = []
    for probes in (50 * 1.25 ** np.arange(9), 43 * 1.4 ** np.arange(7)):
        at = np.searchsorted(probes, rng.weibull(2, 20) * 150)
        ends.append((np.append(0, probes)[at], np.append(probes, np.inf)[at]))
    low, high = (np.concatenate(side) for side in zip(*ends, strict=True))
    ours = turnbull(lives("a", *zip(low.tolist(), high.tolist(), strict=True)))
    theirs = surpyval.Turnbull.fit(xl=low, xr=high, turnbull_estimator="Kaplan-Meier")
    compared = 0
    for cuts, share in zip(theirs.x, theirs.R, strict=True):
        least, most = ours.sharp(float(cuts))
        if least == most:
            compared += 1
            assert share == pytest.approx(least, abs=2e-3)
    assert compared >= 6


def test_exact_and_censored_lives_give_kaplan_and_meier_s_steps() -> None:
    # Freireich et al. 1963 (textbook values from memory, confirmed): time, at risk, share
    treated, _ = remission()
    steps = kaplan_meier(treated)
    cells = turnbull(treated)
    for week, at_risk, sharp in load("logrank_remission")["expected"]["km"]:
        at = steps.cuts.index(week)
        assert steps.at_risk[at] == at_risk
        assert steps.sharp[at] == pytest.approx(sharp, abs=6e-4)
        assert steps.low[at] < steps.sharp[at] < steps.high[at]
        assert cells.sharp(week) == pytest.approx((steps.sharp[at],) * 2)


def test_inside_a_cell_the_share_is_not_known() -> None:
    found = turnbull(lives("a", (100, 125), (150, 190)))
    assert found.sharp(110) == pytest.approx((0.5, 1))
    assert found.sharp(100) == pytest.approx((1, 1))
    assert found.sharp(130) == pytest.approx((0.5, 0.5))
    assert found.sharp(190) == (0, 0)


def test_the_median_lies_in_a_cell_or_across_two_or_above_all() -> None:
    assert turnbull(lives("a", (1, 2), (2, 3), (3, 4))).median() == (2, 3)
    assert turnbull(lives("a", (1, 2), (3, 4))).median() == (1, 4)
    assert turnbull(lives("a", (1, 2), (5, math.inf), (5, math.inf))).median() == (5, math.inf)


def test_an_exact_life_is_a_point_and_an_end_belongs_to_its_interval() -> None:
    found = turnbull([*exact("e", 125), *lives("a", (100, 125), (125, 150))])
    assert [(c.low_cuts, c.high_cuts) for c in found.cells] == [(125, 125), (125, 150)]
    assert [c.mass for c in found.cells] == pytest.approx([2 / 3, 1 / 3])


def test_kaplan_and_meier_refuse_intervals() -> None:
    with pytest.raises(RigError, match="interval"):
        kaplan_meier(lives("a", (100, 125)))
