"""Handbook formulae against published worked examples."""

import math
import re

import pytest

from rig.geometry import loads
from tests.published import load


def test_section_moduli_are_the_handbook_s() -> None:
    case = load("section_modulus")  # Roark's Formulas, table A.1
    b, h = case["inputs"]["b_mm"], case["inputs"]["h_mm"]
    assert loads.modulus_rectangle(b, h) == pytest.approx(case["expected"]["rectangle"]["Z_top"])


def test_a_cantilever_bends_as_the_handbook_says() -> None:
    case = load("cantilever_bending")  # Roark's Formulas, table 8.1 case 1a
    force, arm = case["inputs"]["F_N"], case["inputs"]["L_mm"]
    b, h = case["inputs"]["b_mm"], case["inputs"]["h_mm"]
    stress = loads.cantilever_stress(force, arm, loads.modulus_rectangle(b, h))
    assert stress == pytest.approx(case["expected"]["sigma_MPa"])
    inertia = loads.modulus_rectangle(b, h) * h / 2
    stiff = loads.cantilever_stiffness(arm, inertia, case["inputs"]["E_MPa"])
    assert force / stiff == pytest.approx(case["expected"]["delta_mm"], rel=1e-5)


def test_a_pin_in_double_shear_is_loaded_as_in_the_textbook() -> None:
    case = load("pin_double_shear")  # Gere, Mechanics of Materials, problem 1.6-4
    given, told = case["inputs"], case["expected"]
    force, dia, tol = 1000 * given["R_kN"], given["pin_d_mm"], case["tolerance"]["abs"]
    assert loads.double_shear(force, dia) == pytest.approx(told["shear_MPa"], abs=tol)
    each = loads.bearing(force / given["walls"], dia, given["wall_mm"])
    assert each == pytest.approx(told["bearing_MPa"], abs=tol)


def test_a_thread_strips_at_the_published_force() -> None:
    case = load("thread_engagement_m10")  # FED-STD-H28 geometry on basic dimensions
    given, told = case["inputs"], case["expected"]
    force = loads.stripping(given["D_mm"], given["engagement_mm"], given["tapped_Su_MPa"])
    assert force == pytest.approx(told["internal_load_N"], rel=case["tolerance"]["rel"])
    enough = told["required_tapped_mm"]
    assert loads.stripping(10, enough, given["tapped_Su_MPa"]) == pytest.approx(
        told["bolt_load_N"], rel=2e-3
    )


def test_stress_areas_are_those_of_the_standard() -> None:
    case = load("thread_stress_area")  # ISO 898-1
    for (_, dia, pitch), area in zip(
        case["inputs"]["thread"], case["expected"]["area_mm2"], strict=True
    ):
        assert loads.PITCH_MM[dia] == pitch
        assert loads.stress_area(dia) == pytest.approx(area, rel=case["tolerance"]["rel"])


def test_a_stop_takes_the_force_of_the_textbook() -> None:
    case = load("impact_stop_force")  # OpenStax University Physics vol. 1, section 7.3
    for given, force in zip(case["inputs"]["cases"], case["expected"]["F_N"], strict=True):
        found = loads.stopping_force(given["m_kg"], given["v_m_s"], 1000 * given["s_m"])
        assert found == pytest.approx(force, rel=case["tolerance"]["rel"])


def test_a_wedge_locks_by_the_rule_of_the_power_screw() -> None:
    case = load("power_screw_self_locking")  # Shigley, example 8-1: f = 0.08 < 0.0849 slips
    given = case["inputs"]
    lead = given["lead_mm"] / (math.pi * given["mean_d_mm"])
    degrees = math.degrees(math.atan(lead))
    assert not loads.wedge_bites(degrees, given["f_thread"], 0.0)
    assert loads.wedge_bites(degrees, 0.086, 0.0)
    assert re.search(r"0\.0849", case["notes"])


def test_a_weight_put_down_gently_presses_a_spring_with_twice_its_weight() -> None:
    # Suddenly applied load: twice the static one (Roark's Formulas, chapter on dynamic loading).
    assert loads.caught(20.0, 0.0, 500.0) == pytest.approx(40.0)
