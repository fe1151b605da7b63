"""Thousands of jigs and blades: true values drawn from stated uncertainties and usual scatter."""

import math
import random
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from rig.virtual.arm.truth import (
    CellTruth,
    EdgeTruth,
    Failure,
    JigTruth,
    SensorTruth,
    TipTruth,
    turned_beam_nm_per_rad,
)

MODULUS_PA = 205e9  # of steel (handbook)
FREE_M = 25e-3  # of blade between block and clamp
TAPER = 0.06  # thickness gained per length from the tip on


@dataclass(frozen=True)
class JigNominal:
    """What the bench believes of its jig, each with the standard uncertainty of that belief.

    `belief` holds the believed values. Drawn normal: calibration arm, gravity, weights (each
    piece on its own), stops. Drawn evenly over what makers allow (common practice, no source):
    slope, zero, nonlinearity, hysteresis, creep and wander of the cell, and the angle sensor's
    mount, scale and bow. What no bench states (arm's weight, friction) over a wide range.
    """

    belief: JigTruth = field(default_factory=JigTruth)
    u_arm_m: float = 0.1e-3
    u_gravity: float = 0.0005
    weights_g: tuple[int, ...] = (200, 500, 1000, 2000, 5000)
    u_weight: float = 2e-5  # relative, each piece
    u_stop_rad: float = math.radians(0.05)
    slope_limit: float = 0.01  # of the stated sensitivity
    sides_limit: float = 5e-4  # right against left
    zero_limit: float = 0.05  # of capacity
    cell_limit: float = 3e-4  # nonlinearity and hysteresis, of capacity
    creep_limit: float = 2e-4
    wander_limit: float = 5e-4  # of capacity an hour
    mount_limit_rad: float = math.radians(2.0)
    scale_limit: float = 0.01
    bow_limit: float = 0.002
    weight_limits_nm: tuple[float, float] = (0.005, 0.035)  # what its counterweight leaves
    friction_limits_nm: tuple[float, float] = (0.003, 0.02)


def draw_jig(rng: random.Random, nominal: JigNominal | None = None) -> JigTruth:
    """True values of one jig out of all that the bench's beliefs allow."""
    stated = nominal or JigNominal()
    belief = stated.belief
    return replace(
        belief,
        calibration_arm_m=rng.gauss(belief.calibration_arm_m, stated.u_arm_m),
        gravity=rng.gauss(belief.gravity, stated.u_gravity),
        mass_errors=tuple((g, rng.gauss(0.0, stated.u_weight)) for g in stated.weights_g),
        stop_error_rad=rng.gauss(0.0, stated.u_stop_rad),
        weight_nm=rng.uniform(*stated.weight_limits_nm),
        weight_rad=rng.uniform(-0.5, 0.5),
        friction_nm=rng.uniform(*stated.friction_limits_nm),
        cell=_draw_cell(rng, stated),
        sensor=_draw_sensor(rng, stated),
    )


def _draw_cell(rng: random.Random, stated: JigNominal) -> CellTruth:
    cell = stated.belief.cell
    slope = 1 + rng.uniform(-stated.slope_limit, stated.slope_limit)
    apart = rng.uniform(-stated.sides_limit, stated.sides_limit)

    def evenly(limit: float) -> float:
        return rng.uniform(-limit, limit)

    return replace(
        cell,
        right=cell.right * slope * (1 + apart / 2),
        left=cell.left * slope * (1 - apart / 2),
        zero=evenly(stated.zero_limit) * cell.full_scale,
        nonlinearity=evenly(stated.cell_limit),
        hysteresis=abs(evenly(stated.cell_limit)),
        creep=evenly(stated.creep_limit),
        wander=evenly(stated.wander_limit),
    )


def _draw_sensor(rng: random.Random, stated: JigNominal) -> SensorTruth:
    return replace(
        stated.belief.sensor,
        mount_rad=rng.uniform(-stated.mount_limit_rad, stated.mount_limit_rad),
        scale_error=rng.uniform(-stated.scale_limit, stated.scale_limit),
        bow=rng.uniform(-stated.bow_limit, stated.bow_limit),
        bow_phase_rad=rng.uniform(0.0, 2 * math.pi),
    )


@dataclass(frozen=True)
class Group:
    """Blades made alike, as a bend strength and its scatter from blade to blade.

    Strengths are nominal bending stresses `6 M/(b t^2)` of hard steel, 2 to 4 GPa (from memory).
    `yield_share` and `plateau_share` are of the strength: a brittle group breaks below its yield
    (`yield_share` above 1). A group without `snaps` bends to its plateau; one that `holds` neither
    snaps nor bends within a pry (no such steel is known: to practise with a tip that survives).
    """

    strength_pa: float = 3.0e9
    cv: float = 0.12
    yield_share: float = 0.8
    plateau_share: float = 1.25
    snaps: bool = True
    holds: bool = False
    thickness_m: float = 0.9e-3  # at the very tip
    width_m: float = 8e-3
    toughness_j: float = 5.0
    wear: float = 0.03


DEMO_GROUPS: Mapping[str, Group] = {
    "A": Group(),
    "B": Group(strength_pa=2.5e9, toughness_j=4.0, wear=0.04),
    "C": Group(strength_pa=2.2e9, yield_share=0.65, snaps=False, toughness_j=6.5, wear=0.02),
    "S": Group(yield_share=9.0, holds=True),
}


Made = Callable[[str], Group]
"""How the blade of a name is made."""


def group_of(name: str) -> Group:
    """The group a specimen belongs to: its name's first letter, otherwise the usual one."""
    return DEMO_GROUPS.get(name[:1].upper(), DEMO_GROUPS["A"])


def blade_tip(
    name: str, depth_m: float = 5e-3, seed: int = 0, group: Group | None = None
) -> TipTruth:
    """The tip of the blade of that name, seated so deep; the same in every run of a seed.

    Its section is taken at the face of the block, so its torque goes as width times thickness
    squared there, and scatters with the group's `cv`.
    """
    made = group or group_of(name)
    chance = random.Random(zlib.crc32(f"{name} tip".encode()) ^ seed)
    thickness_m = made.thickness_m * chance.gauss(1.0, 0.01) + TAPER * depth_m
    strength_nm = made.strength_pa * made.width_m * thickness_m**2 / 6
    sigma = math.sqrt(math.log1p(made.cv**2))
    fails_nm = strength_nm * chance.lognormvariate(-(sigma**2) / 2, sigma)
    kind = Failure.SNAP if made.snaps else Failure.BEND
    return TipTruth(
        kind=Failure.SURVIVE if made.holds else kind,
        stiffness_nm_per_rad=turned_beam_nm_per_rad(MODULUS_PA, made.width_m, thickness_m, FREE_M),
        wood_nm_per_rad=200.0 * chance.lognormvariate(0.0, 0.15),
        yield_nm=made.yield_share * fails_nm,
        plateau_nm=max(made.plateau_share, made.yield_share * 1.05) * fails_nm,
        fails_nm=fails_nm,
        thickness_m=thickness_m,
        width_m=made.width_m,
        section_m=0.0,
    )


def blade_edge(
    name: str, length_m: float = 20e-3, seed: int = 0, group: Group | None = None
) -> EdgeTruth:
    """The edge of the blade of that name for a twist trial along a length."""
    made = group or group_of(name)
    chance = random.Random(zlib.crc32(f"{name} edge".encode()) ^ seed)
    share = length_m / 20e-3
    return EdgeTruth(
        stiffness_nm_per_rad=12.0 * share * chance.lognormvariate(0.0, 0.08),
        damage_per_cycle=made.wear * chance.lognormvariate(0.0, 0.15),
        friction_nm=0.25 * share * chance.lognormvariate(0.0, 0.1),
        length_m=length_m,
    )
