"""Bending formulae against the handbook's values (tests/published, from memory, recomputed)."""

import math

import pytest

from rig.measure.section import (
    bending_index,
    bending_moment,
    end_deflection,
    rectangle_modulus,
    rectangle_second_moment,
    torque,
    wedge_moduli,
    wedge_second_moment,
)
from tests.published import load


def test_a_cantilever_agrees_with_the_handbook() -> None:
    """Roark's Formulas for Stress and Strain, table 8.1 case 1a."""
    case = load("cantilever_bending")
    given, told = case["inputs"], case["expected"]
    force, length = given["F_N"], given["L_mm"] * 1e-3
    width, depth = given["b_mm"] * 1e-3, given["h_mm"] * 1e-3
    second = rectangle_second_moment(width, depth)
    deflection, slope = end_deflection(force, length, given["E_MPa"] * 1e6, second)
    assert second * 1e12 == pytest.approx(told["I_mm4"], abs=6e-5)
    assert rectangle_modulus(width, depth) * 1e9 == pytest.approx(told["Z_mm3"], abs=6e-5)
    assert deflection * 1e3 == pytest.approx(told["delta_mm"], abs=6e-7)
    assert slope == pytest.approx(told["slope_rad"], abs=6e-8)
    stress = bending_index(force * length, width, depth)
    assert stress / 1e6 == pytest.approx(told["sigma_MPa"], rel=1e-6)
    assert force * length * 1e3 == pytest.approx(told["M_Nmm"], rel=1e-9)


def test_section_moduli_agree_with_the_handbook() -> None:
    """Roark table A.1: rectangle, triangle, trapezoid, bent about an axis along the base."""
    case = load("section_modulus")
    base, height = case["inputs"]["b_mm"], case["inputs"]["h_mm"]
    told = case["expected"]
    assert rectangle_second_moment(base, height) == pytest.approx(told["rectangle"]["I"])
    assert rectangle_modulus(base, height) == pytest.approx(told["rectangle"]["Z_top"])
    assert wedge_second_moment(0.0, base, height) == pytest.approx(told["triangle"]["I"])
    at_edge, at_spine = wedge_moduli(0.0, base, height)
    assert at_edge == pytest.approx(told["triangle"]["Z_top"])
    assert at_spine == pytest.approx(told["triangle"]["Z_bottom"])
    assert wedge_second_moment(0.5, 4.0, 30.0) == pytest.approx(told["trapezoid"]["I"])


def test_torque_of_a_slanted_pull_agrees_with_statics() -> None:
    """T = F r sin(theta): 10 degrees off the square lose 1.5 %."""
    case = load("torque_arm_angle")
    given = case["inputs"]
    for degrees, told in zip(given["theta_deg"], case["expected"]["T_Nm"], strict=True):
        found = torque(given["F_N"], given["r_m"], math.radians(degrees))
        assert found == pytest.approx(told, abs=6e-5)


def test_the_moment_along_a_blade_turned_about_its_block_is_that_of_slope_deflection() -> None:
    # Slope-deflection equations of handbooks (from memory): a member of length l with the near end
    # built in, the far end turned by theta and shifted by d has the end moments
    # M_near = 2EI/l (theta - 3 d/l), M_far = 2EI/l (2 theta - 3 d/l); here d = theta l (which
    # turns the signs), so that the moment runs straight from 4EI theta/l to -2EI theta/l.
    length, stiffness, theta = 0.025, 3.0, 0.2
    near = -2 * stiffness / length * (theta - 3 * theta)
    far = 2 * stiffness / length * (2 * theta - 3 * theta)
    torque_nm = near
    for x in (0.0, 0.002, 0.01, 0.025):
        straight = near + (far - near) * x / length
        assert bending_moment(torque_nm, x, length) == pytest.approx(straight)
    assert bending_moment(torque_nm, length * 2 / 3, length) == pytest.approx(0.0)


def test_five_percent_of_thickness_is_ten_percent_of_moment() -> None:
    """The section modulus goes as the square of the thickness."""
    assert rectangle_modulus(1.0, 1.05) / rectangle_modulus(1.0, 1.0) == pytest.approx(1.1025)
