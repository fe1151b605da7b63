"""Families of p values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.study.statistics.multiple import bonferroni, hochberg, holm, step_up_level
from rig.study.statistics.verdict import CANNOT_TELL, MARGIN_LEVEL, RULED_OUT, judge
from tests.bench.stepping import step_down_limits
from tests.published import load


def test_holm_agrees_with_the_teaching_example() -> None:
    case = load("holm_four")
    adjusted = holm(case["inputs"]["p"])
    assert adjusted == pytest.approx(case["expected"]["adjusted"], abs=1e-12)
    assert list(adjusted <= case["inputs"]["alpha"]) == case["expected"]["reject"]


def test_limits_that_agree_with_stepping_down_are_the_published_ones() -> None:
    """The gMCP vignette, section 3.1 (Strassburger and Bretz 2008), as read there: why the verdict
    does not step down. What is shown ends at nought; what is not has its own limit."""
    case = load("holm_step_down_intervals")
    given, expected = case["inputs"], case["expected"]
    estimate, sd, p = (np.array(given[name]) for name in ("estimate", "sd", "p_one_sided"))
    limits = step_down_limits(
        estimate, sd / np.sqrt(given["n"]), given["df"], p, given["alpha_one_sided"]
    )
    assert limits == pytest.approx(expected["lower"], abs=6e-5)
    assert (holm(p) <= given["alpha_one_sided"]).tolist() == expected["rejected"]


@given(st.lists(st.floats(0, 1), min_size=1, max_size=6))
def test_hochberg_lies_between_the_plain_p_and_holm(p: list[float]) -> None:
    step_up = hochberg(p)
    assert (step_up >= np.array(p) - 1e-15).all() and (step_up <= holm(p) + 1e-15).all()
    assert step_up.max() == pytest.approx(max(p))  # all small alone, all small together


def test_families_are_along_the_last_axis() -> None:
    p = np.array([[0.01, 0.04, 0.03], [0.5, 0.001, 0.2]])
    for adjust in (holm, hochberg):
        assert adjust(p) == pytest.approx(np.stack([adjust(row) for row in p]))


@given(st.lists(st.floats(0, 1), min_size=1, max_size=6), st.floats(0.001, 0.2))
def test_the_level_of_a_step_up_keeps_what_its_adjusted_p_keep(
    p: list[float], level: float
) -> None:
    at = float(step_up_level(p, level))
    for one, adjusted in zip(p, hochberg(p).tolist(), strict=True):
        if abs(adjusted - level) > 1e-9:  # on the very edge rounding decides
            assert (one <= at and at > 0) == (adjusted <= level)


def test_bonferroni_is_the_first_step_of_holm() -> None:
    p = [0.04, 0.01, 0.5]
    assert bonferroni(p).tolist() == pytest.approx([0.12, 0.03, 1.0])
    assert bonferroni(p).min() == holm(p).min()


def test_what_is_ruled_out_alone_is_not_beside_comparisons_that_are_open() -> None:
    """One p of 0.017 a side: enough at 0.025 alone, too much at 0.025/3 beside two open ones."""
    freedom = (15.0, 15.0)
    alone = judge([0.0], [0.45], [30.0], [freedom], 1.0)
    beside = judge([0.0, 0.9, 0.9], [0.45] * 3, [30.0] * 3, [freedom] * 3, 1.0)
    assert MARGIN_LEVEL / 3 < alone.p_margin[0] < MARGIN_LEVEL
    assert alone.kind(0) == RULED_OUT
    assert [beside.kind(i) for i in range(3)] == [CANNOT_TELL] * 3
