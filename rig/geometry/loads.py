"""Loads of the fixtures' parts: handbook formulae, each with its source. N, mm, MPa = N/mm2, kg."""

import math

STEEL_MPA = 205_000.0
"""Young's modulus of steel (handbook value)."""
PITCH_MM = {3: 0.5, 4: 0.7, 5: 0.8, 6: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 16: 2.0, 20: 2.5}
"""ISO metric coarse threads, ISO 261."""
TAU_OVER_SU = 0.6
"""Shear strength over tensile strength (as in the worked example of the test)."""


def modulus_rectangle(width_mm: float, depth_mm: float) -> float:
    """Section modulus b h^2 / 6, mm3 (Roark's Formulas, table A.1)."""
    return width_mm * depth_mm**2 / 6


def modulus_round(dia_mm: float) -> float:
    """Section modulus pi d^3 / 32, mm3 (Roark's Formulas, table A.1)."""
    return math.pi * dia_mm**3 / 32


def inertia_round(dia_mm: float) -> float:
    """Second moment of area pi d^4 / 64, mm4 (Roark's Formulas, table A.1)."""
    return math.pi * dia_mm**4 / 64


def cantilever_stress(force_n: float, arm_mm: float, modulus_mm3: float) -> float:
    """Bending stress at the root, F L / Z (Roark's Formulas, table 8.1 case 1a), MPa."""
    return force_n * arm_mm / modulus_mm3


def cantilever_stiffness(arm_mm: float, inertia_mm4: float, e_mpa: float = STEEL_MPA) -> float:
    """Force for each millimetre at the end, 3 E I / L^3 (Roark's, table 8.1 case 1a), N/mm."""
    return 3 * e_mpa * inertia_mm4 / arm_mm**3


def double_shear(force_n: float, dia_mm: float) -> float:
    """Mean shear stress of a pin in two planes, 2 F / (pi d^2) (Gere, section 1.6), MPa."""
    return force_n / (2 * math.pi * dia_mm**2 / 4)


def bearing(force_n: float, dia_mm: float, thick_mm: float) -> float:
    """Bearing stress of a pin on a wall, F / (d t) (Gere, section 1.6), MPa."""
    return force_n / (dia_mm * thick_mm)


def caught(weight_n: float, fall_mm: float, stiffness_n_mm: float) -> float:
    """Largest force when a weight falls onto a spring: W + sqrt(W^2 + 2 k W h) (energy), N."""
    return weight_n + math.sqrt(weight_n**2 + 2 * stiffness_n_mm * weight_n * fall_mm)


def stopping_force(mass_kg: float, speed_m_s: float, way_mm: float) -> float:
    """Mean force that stops a mass on that way, m v^2 / (2 s) (OpenStax Physics, section 7.3), N.

    The mass's own weight comes on top when it is stopped going down.
    """
    return mass_kg * speed_m_s**2 / (2 * way_mm / 1000)


def stress_area(dia_mm: int) -> float:
    """Tensile stress area of a coarse thread, pi/4 (d - 0.9382 P)^2 (ISO 898-1), mm2."""
    return math.pi / 4 * (dia_mm - 0.9382 * PITCH_MM[dia_mm]) ** 2


def stripping(dia_mm: int, engaged_mm: float, su_mpa: float) -> float:
    """Force that strips a tapped hole, N: FED-STD-H28's shear area on basic dimensions."""
    pitch = PITCH_MM[dia_mm]
    middle = dia_mm - 0.6495 * pitch
    area = math.pi * dia_mm * engaged_mm / pitch * (pitch / 2 + 0.57735 * (dia_mm - middle))
    return TAU_OVER_SU * su_mpa * area


def wedge_bites(angle_deg: float, mu_face: float, mu_ramp: float) -> bool:
    """A wedge between bar and ramp is dragged in by itself: atan(mu_face) > angle + atan(mu_ramp).

    The rule of the self-locking screw: lead angle against friction angle (Shigley, section 8-2).
    """
    return math.atan(mu_face) > math.radians(angle_deg) + math.atan(mu_ramp)
