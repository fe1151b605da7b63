"""Calibration curves agree with certified fits; the quadratic is taken by its rule."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.calibration.curve import choose, fit
from rig.errors import RigError
from tests.published import load


def test_the_load_cell_of_pontius_comes_out_to_the_certified_digits() -> None:
    # NIST StRD, linear regression, Pontius (load-cell calibration, quadratic)
    case = load("strd_pontius")
    inputs, told = case["inputs"], case["expected"]
    found = fit(inputs["load"], inputs["deflection"], (0, 1, 2))
    rel = case["tolerance"]["default"]["rel"]
    assert found.coefficients == pytest.approx([told["B0"], told["B1"], told["B2"]], rel=rel)
    assert found.u == pytest.approx([told["sdB0"], told["sdB1"], told["sdB2"]], rel=rel)
    assert found.s == pytest.approx(told["residual_sd"], rel=rel)
    assert found.residual_sum == pytest.approx(told["ss_residual"], rel=rel)
    assert found.dof == 37


def test_the_straight_line_of_norris_comes_out_to_the_certified_digits() -> None:
    # NIST StRD, linear regression, Norris (calibration of ozone monitors)
    case = load("strd_norris")
    told, rel = case["expected"], case["tolerance"]["rel"]
    found = fit(case["inputs"]["x"], case["inputs"]["y"], (0, 1))
    assert found.coefficients == pytest.approx([told["B0"], told["B1"]], rel=rel)
    assert found.u == pytest.approx([told["sdB0"], told["sdB1"]], rel=rel)
    assert found.s == pytest.approx(told["residual_sd"], rel=rel)


def test_the_thermometer_of_gum_h3_is_a_straight_line_with_the_published_figures() -> None:
    # JCGM 100:2008, annex H.3, table H.6
    case = load("gum_h3_thermometer")
    given_, told = case["inputs"], case["expected"]
    t = np.array(given_["reading_degC"]) - given_["t0"]
    found = fit(t, given_["correction_degC"], (0, 1))
    assert found.coefficients == pytest.approx([told["y1"], told["y2"]], abs=5e-5)
    assert found.u[0] == pytest.approx(told["u_y1"], abs=5e-5)
    assert found.s == pytest.approx(told["s"], abs=5e-5)


def test_pontius_needs_its_quadratic_and_f_is_the_square_of_its_t() -> None:
    # B2 over its certified standard deviation is Student's t of the added term; F = t^2
    case = load("strd_pontius")
    inputs, told = case["inputs"], case["expected"]
    found = choose(inputs["load"], inputs["deflection"], (0, 1), (0, 1, 2), matters=1e-4)
    assert found.curve.powers == (0, 1, 2)
    assert found.f == pytest.approx((told["B2"] / told["sdB2"]) ** 2, rel=1e-6)


def test_a_certain_bend_that_does_not_matter_stays_a_straight_line() -> None:
    case = load("strd_pontius")["inputs"]
    found = choose(case["load"], case["deflection"], (0, 1), (0, 1, 2), matters=0.1)
    assert found.p < 1e-6 and found.curve.powers == (0, 1)
    share = 100 * 0.1 / max(case["deflection"])
    assert f"straight line: a bend is below the {share:.2g} % that matters" in found.why
    assert "of the largest known value" in found.why


def test_a_bend_that_chance_explains_stays_a_straight_line() -> None:
    # NIST StRD Norris is certified as a straight line
    case = load("strd_norris")["inputs"]
    found = choose(case["x"], case["y"], (0, 1), (0, 1, 2), matters=0.0)
    assert found.p > 0.05 and found.curve.powers == (0, 1)


def test_one_line_in_twenty_is_called_bent_by_chance() -> None:
    rng = np.random.default_rng(1)
    x = np.tile(np.arange(1.0, 7.0), 2)
    bent = sum(
        choose(x, x + rng.normal(0, 0.1, 12), (1,), (1, 2), matters=0.0).curve.powers == (1, 2)
        for _ in range(2000)
    )
    assert 70 <= bent <= 131  # 100, and 3.2 standard deviations either side


def test_readings_without_any_scatter_are_a_straight_line() -> None:
    x = np.arange(1.0, 7.0)
    assert choose(x, 3 * x, (1,), (1, 2), matters=0.0).curve.powers == (1,)


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(RigError, match="too few"):
        fit([1.0, 1.0, 1.0], [1.0, 1.1, 0.9], (0, 1))


@given(st.floats(-1e3, 1e3), st.floats(0.1, 1e3), st.floats(-1e-2, 1e-2))
def test_points_on_a_quadratic_give_it_back(c: float, b: float, a: float) -> None:
    x = np.linspace(-5.0, 5.0, 9)
    found = fit(x, c + b * x + a * x**2, (0, 1, 2))
    assert found.value(x) == pytest.approx(c + b * x + a * x**2, rel=1e-9, abs=1e-9)
    assert found.polynomial == pytest.approx((c, b, a), rel=1e-6, abs=1e-8)
