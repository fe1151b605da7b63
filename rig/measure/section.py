"""Bending of a held blade: handbook formulae for a cantilever, and the index of a section.

Cantilever with an end load and second moments of area: Roark's Formulas for Stress and Strain,
table 8.1 case 1a and table A.1 (from memory; checked in tests/measure/test_section.py).
"""

import math
from typing import Any


def bending_moment(torque_nm: Any, from_axis_m: Any, free_m: Any) -> Any:
    """Moment in the blade at a section `from_axis_m` out from the block's face, N.m.

    The arm turns about the block's face on a bearing and holds the blade `free_m` further out, so
    the blade is a beam built in at the face whose other end is led along a circle: turned by theta
    and shifted by theta l. With no load between, w(0) = w'(0) = 0, w(l) = theta l, w'(l) = theta:
    M(x) = T (1 - 1.5 x/l), where T = 4 E I theta/l is the torque about the axis (slope-deflection
    equations of handbooks, from memory; derived again).
    """
    return torque_nm * (1 - 1.5 * from_axis_m / free_m)


def bending_index(moment_nm: Any, width_m: Any, thickness_m: Any) -> Any:
    """`6 M / (b t^2)`, Pa: an index, the outer stress of a rectangle that never yields."""
    return moment_nm / rectangle_modulus(width_m, thickness_m)


def rectangle_modulus(width_m: Any, depth_m: Any) -> Any:
    """Section modulus of a rectangle bent across its depth, m^3."""
    return width_m * depth_m**2 / 6


def rectangle_second_moment(width_m: float, depth_m: float) -> float:
    """Second moment of area of a rectangle bent across its depth, m^4."""
    return width_m * depth_m**3 / 12


def torque(force_n: float, arm_m: float, angle_rad: float = math.pi / 2) -> float:
    """Torque of a force at an angle to the arm (square to it when left out), N.m."""
    return force_n * arm_m * math.sin(angle_rad)


def end_deflection(
    force_n: float, length_m: float, modulus_pa: float, second_moment_m4: float
) -> tuple[float, float]:
    """Deflection (m) and slope (rad) at the end of a cantilever that a force pulls there."""
    rigidity = modulus_pa * second_moment_m4
    return force_n * length_m**3 / (3 * rigidity), force_n * length_m**2 / (2 * rigidity)


def wedge_second_moment(edge_m: float, spine_m: float, height_m: float) -> float:
    """Second moment of a symmetric trapezoid about its own axis parallel to the edge, m^4."""
    a, b, h = edge_m, spine_m, height_m
    return h**3 * (a * a + 4 * a * b + b * b) / (36 * (a + b))


def wedge_moduli(edge_m: float, spine_m: float, height_m: float) -> tuple[float, float]:
    """Section moduli of the same at its edge and at its spine, m^3."""
    a, b, h = edge_m, spine_m, height_m
    from_spine = h * (2 * a + b) / (3 * (a + b))
    moment = wedge_second_moment(a, b, h)
    return moment / (h - from_spine), moment / from_spine
