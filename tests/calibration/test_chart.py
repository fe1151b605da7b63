"""The chart of the check standard has the published limits, and acts only with enough history."""

import numpy as np
import pytest

from rig.calibration.chart import ENOUGH, judge, limits
from tests.published import load


def test_the_flow_rates_of_the_handbook_have_their_published_limits() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.2 (from memory, reproduced from its data)
    case = load("nist_handbook_flowrate")
    told, tolerance = case["expected"], case["tolerance"]["abs"]
    found = limits(case["inputs"]["flow_rate"])
    assert [found.low, found.centre, found.high] == pytest.approx(
        [told["lower"], told["centre"], told["upper"]], abs=tolerance
    )


def test_a_short_history_leaves_the_judgement_to_the_certificate() -> None:
    calm = [2.94] * (ENOUGH - 1)
    assert judge(2.96, calm, 2.94, 0.05, "N.m").by == "certificate"
    out = judge(3.1, calm, 2.94, 0.05, "N.m")
    assert out.by == "certificate" and out.reasons[0].name == "check_out"


def test_a_long_history_judges_by_itself_in_both_directions() -> None:
    rng = np.random.default_rng(2)
    history = (2.94 + rng.normal(0, 0.001, 30)).tolist()
    inside = judge(2.941, history, 2.94, 0.5, "N.m")
    assert inside.by == "chart" and not inside.reasons
    for value in (2.93, 2.95):
        (reason,) = judge(value, history, 2.94, 0.5, "N.m").reasons
        assert reason.figure == value and "30 earlier checks" in reason.text


def test_a_steady_process_is_stopped_about_three_times_in_a_thousand() -> None:
    # +-3 sigma of a normal distribution leave 0.27 % outside (handbook table)
    rng = np.random.default_rng(3)
    history = rng.normal(0, 1, 5000).tolist()
    outside = sum(bool(judge(v, history, 0, 1, "").reasons) for v in rng.normal(0, 1, 10_000))
    assert 10 <= outside <= 48


def test_one_value_has_no_moving_range() -> None:
    with pytest.raises(ValueError, match="moving range"):
        limits([1.0])
