"""Comparison at equal geometry."""

import math

import numpy as np
import pytest

from rig.study.statistics.covariates import adjust
from rig.study.statistics.data import LINEAR, BladeFacts, Response
from rig.study.statistics.units import layout
from tests.published import load
from tests.study.blades import study

PLAIN = Response("value", "1", LINEAR, 1.0, 1.0)


def test_the_slope_of_one_group_agrees_with_the_certified_line() -> None:
    """NIST StRD Norris: slope 1.00211681802045, its standard deviation 0.000429796848199937.

    (Values of the certificate; data as in the case file.)
    """
    from scipy.special import stdtrit

    case = load("strd_norris")
    x, y = case["inputs"]["x"], case["inputs"]["y"]
    facts = [BladeFacts(f"A{i + 1}", angle_deg=value) for i, value in enumerate(x)]
    data = study({"A": y}, PLAIN, None, facts=facts)
    told = adjust(data, layout(data), [])
    assert told.slopes[0].effect == pytest.approx(1.00211681802045, rel=1e-10)
    reach = -stdtrit(len(x) - 2, 0.025) * 0.000429796848199937
    assert told.slopes[0].high - told.slopes[0].effect == pytest.approx(reach, rel=1e-8)


def _geometry(rng, n=6, thicker=1.2):  # type: ignore[no-untyped-def]
    """Torque goes as thickness squared; B is thicker and no stronger."""
    values, facts = {"A": [], "B": []}, []
    for name, factor in (("A", 1.0), ("B", thicker)):
        for i in range(n):
            t = 1e-3 * factor * math.exp(0.1 * rng.standard_normal())
            values[name].append(5 * (t / 1e-3) ** 2 * math.exp(0.03 * rng.standard_normal()))
            facts.append(BladeFacts(f"{name}{i + 1}", 15.0, t))
    return values, facts


def test_a_thicker_group_is_no_stronger_at_equal_thickness() -> None:
    values, facts = _geometry(np.random.default_rng(1), n=8)
    data = study(values, facts=facts)
    told = adjust(data, layout(data), [("B", "A")])
    only = told.comparisons[0]
    assert only.low < 1 < only.high and only.high / only.low < 1.3
    assert told.slopes[0].effect == pytest.approx(4.0, rel=0.1)  # twice as thick, four times
    assert [reason.name for reason in told.reasons] == ["covariate_constant"]


def test_few_blades_are_said_to_be_few_or_too_few() -> None:
    rng = np.random.default_rng(2)
    for n, name in ((3, "few_to_adjust"), (1, "too_few_to_adjust")):
        values, facts = _geometry(rng, n=n)
        data = study(values, facts=facts)
        told = adjust(data, layout(data), [("B", "A")])
        assert name in {reason.name for reason in told.reasons}
        assert bool(told.comparisons) == (n == 3)


def test_a_blade_without_geometry_is_named() -> None:
    values, facts = _geometry(np.random.default_rng(3))
    data = study(values, facts=facts[1:])
    told = adjust(data, layout(data), [("B", "A")])
    assert not told.comparisons
    assert all("A1" in reason.text for reason in told.reasons)


def test_geometry_that_goes_with_the_group_cannot_be_told_from_it() -> None:
    facts = [BladeFacts(f"{g}{i}", 15.0 + (g == "B")) for g in "AB" for i in (1, 2, 3)]
    data = study({"A": [1.0, 2.0, 3.0], "B": [2.0, 3.0, 4.0]}, facts=facts)
    told = adjust(data, layout(data), [("B", "A")])
    assert not told.comparisons
    assert "geometry_is_the_group" in {reason.name for reason in told.reasons}


def test_the_adjusted_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng, held = np.random.default_rng(4), 0
    for _ in range(400):
        values, facts = _geometry(rng, n=5)
        data = study(values, facts=facts)
        only = adjust(data, layout(data), [("B", "A")]).comparisons[0]
        held += only.low <= 1 <= only.high
    assert 0.925 <= held / 400 <= 0.975
