"""Budgets agree with the worked examples of the GUM and its first supplement."""

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rig.measure.budget import (
    Input,
    Measurand,
    Reason,
    coverage_factor,
    evaluate,
    from_dict,
    rectangular,
    to_dict,
)
from tests.measure.montecarlo import propagate
from tests.published import load


def end_gauge() -> tuple[Any, list[Input]]:
    """GUM H.1: l = l_s + d - l_s (d_alpha theta + alpha_s d_theta), in nm and K."""
    given = load("gum_h1_end_gauge")["inputs"]
    dof = given["dof"]
    inputs = [
        Input("l_s", given["l_s_nm"], given["u_nm"]["l_s"], dof["l_s"]),
        Input("d_mean", given["d_nm"], given["u_nm"]["d_mean"], dof["d_mean"]),
        Input("d_random", 0, given["u_nm"]["d_random"], dof["d_random"]),
        Input("d_systematic", 0, given["u_nm"]["d_systematic"], dof["d_systematic"]),
        rectangular("alpha", given["alpha_s"], given["alpha_s_halfwidth"], ""),
        rectangular("d_alpha", 0, given["d_alpha_halfwidth"], "", dof=dof["d_alpha"]),
        Input("theta_mean", given["theta_mean_K"], given["u_theta_mean_K"]),
        Input("cycle", 0, given["cyclic_amplitude_K"] / math.sqrt(2), shape="arcsine"),
        rectangular("d_theta", 0, given["d_theta_halfwidth_K"], "", dof=dof["d_theta"]),
    ]

    def model(x: Any) -> Any:
        theta = x["theta_mean"] + x["cycle"]
        d = x["d_mean"] + x["d_random"] + x["d_systematic"]
        return x["l_s"] + d - x["l_s"] * (x["d_alpha"] * theta + x["alpha"] * x["d_theta"])

    return model, inputs


def test_the_end_gauge_of_gum_h1_comes_out() -> None:
    # JCGM 100:2008, annex H.1
    published = load("gum_h1_end_gauge")["expected"]
    model, inputs = end_gauge()
    result = evaluate("l", "nm", model, inputs)
    parts = {row.name: row.contribution for row in result.rows}
    d = math.hypot(parts["d_mean"], parts["d_random"], parts["d_systematic"])
    assert result.value == pytest.approx(published["l_nm"], abs=0.5)
    assert d == pytest.approx(published["component_d_nm"], abs=0.06)
    assert parts["d_alpha"] == pytest.approx(published["component_d_alpha_nm"], abs=0.06)
    assert parts["d_theta"] == pytest.approx(published["component_d_theta_nm"], abs=0.06)
    assert result.u == pytest.approx(published["u_c_nm"], abs=0.6)
    assert result.dof == pytest.approx(published["dof_eff"], abs=0.1)
    assert result.k == pytest.approx(published["k95"], abs=0.005)
    assert coverage_factor(result.dof, 0.99) == pytest.approx(published["t99"], abs=0.005)
    assert coverage_factor(result.dof, 0.99) * result.u == pytest.approx(
        published["U99_nm"], abs=0.6
    )


def test_monte_carlo_finds_the_second_order_terms_of_gum_h1() -> None:
    # JCGM 100:2008, H.1.7. Normal inputs: the GUM adds variances, whatever the shape.
    model, inputs = end_gauge()
    normal = [Input(x.name, x.value, x.u) for x in inputs]
    found = propagate(model, normal, 200_000, seed=1)
    published = load("gum_h1_end_gauge")["expected"]
    assert found.u == pytest.approx(published["u_c_second_order_nm"], abs=0.6)


def thermometer() -> tuple[list[Input], dict[tuple[str, str], float], float]:
    """GUM H.3: straight line through the corrections, with the covariance of its parameters."""
    given = load("gum_h3_thermometer")["inputs"]
    t = np.array(given["reading_degC"]) - given["t0"]
    b = np.array(given["correction_degC"])
    design = np.column_stack((np.ones_like(t), t))
    hat = np.linalg.inv(design.T @ design)
    y = hat @ design.T @ b
    dof = len(t) - 2
    s2 = float(np.sum((b - design @ y) ** 2)) / dof
    u = np.sqrt(s2 * np.diag(hat))
    r = float(hat[0, 1] / math.sqrt(hat[0, 0] * hat[1, 1]))
    inputs = [
        Input("y1", float(y[0]), float(u[0]), dof),
        Input("y2", float(y[1]), float(u[1]), dof),
    ]
    return inputs, {("y1", "y2"): r}, math.sqrt(s2)


def test_the_thermometer_of_gum_h3_comes_out() -> None:
    # JCGM 100:2008, annex H.3, table H.6
    case = load("gum_h3_thermometer")
    published = case["expected"]
    inputs, correlations, s = thermometer()
    t0 = case["inputs"]["t0"]
    result = evaluate("b", "degC", lambda x: x["y1"] + x["y2"] * (30 - t0), inputs, correlations)
    assert [inputs[0].value, inputs[0].u] == pytest.approx(
        [published["y1"], published["u_y1"]], abs=5e-5
    )
    assert [inputs[1].value, inputs[1].u] == pytest.approx(
        [published["y2"], published["u_y2"]], abs=5e-6
    )
    assert correlations["y1", "y2"] == pytest.approx(published["r"], abs=5e-4)
    assert s == pytest.approx(published["s"], abs=5e-5)
    assert result.value == pytest.approx(published["b_at_30"], abs=5e-5)
    assert result.u == pytest.approx(published["u_b_at_30"], abs=5e-5)
    assert result.dof == pytest.approx(published["dof"])
    assert sum(row.share for row in result.rows) == pytest.approx(1)


@pytest.mark.parametrize(
    ("shape", "key"), [("normal", "half_width_normal"), ("rectangular", "half_width_rectangular")]
)
def test_four_equal_inputs_give_the_interval_of_jcgm101(shape: str, key: str) -> None:
    # JCGM 101:2008, clause 9.2
    published = load("jcgm101_additive")["expected"]
    inputs = [Input(name, 0, 1, shape=shape) for name in "abcd"]
    found = propagate(lambda x: sum(x.values()), inputs, 1_000_000, seed=2)
    assert found.u == pytest.approx(published["u"], abs=0.005)
    assert (found.high - found.low) / 2 == pytest.approx(published[key], abs=0.008)
    first_order = evaluate("y", "1", lambda x: sum(x.values()), inputs)
    assert [first_order.u, first_order.U] == pytest.approx(
        [published["u"], published["half_width_normal"]], abs=0.005
    )


def test_the_mass_calibration_of_jcgm101_comes_out_both_ways() -> None:
    # JCGM 101:2008, clause 9.3, tables 5 and 6 (from memory, see the case's provenance)
    case = load("jcgm101_mass")
    first, full = case["expected"]["first_order"], case["expected"]["monte_carlo"]
    inputs = [
        Input("m", 100_000, 0.050),
        Input("dm", 1.234, 0.020),
        rectangular("rho_a", 1.20, 0.10, ""),
        rectangular("rho_W", 8000, 1000, ""),
        rectangular("rho_R", 8000, 50, ""),
    ]

    def model(x: Any) -> Any:
        buoyancy = (x["rho_a"] - 1.2) * (1 / x["rho_W"] - 1 / x["rho_R"])
        return (x["m"] + x["dm"]) * (1 + buoyancy) - 100_000

    result = evaluate("dm", "mg", model, inputs)
    assert [result.value, result.u, result.low, result.high] == pytest.approx(
        [first["y"], first["u"], first["low"], first["high"]], abs=2e-4
    )
    found = propagate(model, inputs, 1_000_000, seed=3)
    assert [found.value, found.u] == pytest.approx([full["y"], full["u"]], abs=3e-4)
    assert [found.shortest_low, found.shortest_high] == pytest.approx(
        [full["low"], full["high"]], abs=3e-3
    )


def test_monte_carlo_keeps_correlations() -> None:
    inputs = [Input("a", 0, 1), Input("b", 0, 2)]
    tied = {("a", "b"): -0.8}
    exact = evaluate("y", "1", lambda x: x["a"] + x["b"], inputs, tied).u
    found = propagate(lambda x: x["a"] + x["b"], inputs, 200_000, 4, tied).u
    assert exact == pytest.approx(math.sqrt(1 + 4 - 2 * 0.8 * 2))
    assert found == pytest.approx(exact, rel=0.01)


def test_a_few_readings_draw_from_students_t() -> None:
    # JCGM 101:2008, 6.4.9: a t distribution with n - 1 degrees of freedom
    found = propagate(lambda x: x["a"], [Input("a", 0, 1, dof=5)], 500_000, 5)
    assert found.high == pytest.approx(float(stats.t.ppf(0.975, 5)), rel=0.02)


def test_a_quadratic_model_has_the_exact_slope() -> None:
    result = evaluate(
        "E", "J", lambda x: x["m"] / 2 * x["v"] ** 2, [Input("m", 2, 0.1), Input("v", 3, 0.5)]
    )
    assert [row.sensitivity for row in result.rows] == pytest.approx([4.5, 6.0], rel=1e-12)


@given(
    st.lists(
        st.tuples(st.floats(-10, 10), st.floats(0.01, 10), st.integers(1, 50)),
        min_size=1,
        max_size=6,
    )
)
def test_dof_lie_between_the_least_and_the_sum(parts: list[tuple[float, float, int]]) -> None:
    # GUM G.4.1, note 1
    inputs = [Input(str(i), x, u, dof) for i, (x, u, dof) in enumerate(parts)]
    result = evaluate("y", "1", lambda x: sum(x.values()), inputs)
    dofs = [dof for _, _, dof in parts]
    assert min(dofs) * (1 - 1e-9) <= result.dof <= sum(dofs) * (1 + 1e-9)
    assert sum(row.share for row in result.rows) == pytest.approx(1)


def test_dof_are_cut_off_before_t_is_taken() -> None:
    assert coverage_factor(16.75) == coverage_factor(16) == pytest.approx(2.1199, abs=1e-4)
    assert coverage_factor(math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(0.3) == coverage_factor(1)


def test_names_must_differ_and_correlations_must_be_possible() -> None:
    twice = [Input("a", 0, 1), Input("a", 0, 1)]
    with pytest.raises(ValueError, match="repeat"):
        evaluate("y", "1", lambda x: x["a"], twice)
    pair = [Input("a", 0, 1), Input("b", 0, 1)]
    with pytest.raises(ValueError, match="correlation"):
        evaluate("y", "1", lambda x: x["a"], pair, {("a", "b"): 1.2})


def _some() -> Measurand:
    inputs = [Input("a", 1.1, 0.3, 4.5, "read", "m"), Input("b", 2, 0.1)]
    reason = Reason("lost_frames", "3 frames lost", 3, 0)
    return evaluate("y", "m", lambda x: x["a"] * x["b"], inputs, reasons=[reason])


def through_json(result: Measurand) -> Measurand:
    return from_dict(json.loads(json.dumps(to_dict(result), allow_nan=False)))


def test_a_measurand_survives_json_unchanged() -> None:
    assert through_json(_some()) == _some()


def test_unlimited_dof_survive_json_as_null() -> None:
    result = evaluate("y", "1", lambda x: x["a"], [Input("a", 1, 0.1)])
    assert to_dict(result)["dof"] is None
    assert math.isinf(through_json(result).dof)
