"""True values of the pry and twist jig and of what is tried in it.

Angles are of the arm, zero at its zero mark; torques are about the arm's axis; both are positive
in the pry direction "right". Orders of magnitude are common practice, no source, unless stated.

Words used by all who speak of a pry trial (the measurement is written from the same ones):

- pre-load point: where the specimen's torque first equals the stated pre-load;
- angle at failure: arm angle from the pre-load point to the largest torque;
- energy to failure: integral of the specimen's torque over arm angle from the pre-load point to
  the largest torque (what arm weight and friction take is no part of it);
- stiffness: slope of the straight part, dT/dtheta;
- onset: torque where the torque-angle curve meets the straight part shifted by the offset angle;
- set: arm angle at the pre-load torque after unloading minus that at the pre-load before.
"""

import math
from dataclasses import dataclass, field
from enum import Enum

from rig.virtual.tower.parameters import STANDARD_GRAVITY

OFFSET_RAD = math.radians(0.5)  # of the onset


class Failure(Enum):
    """How a tip gives way."""

    SNAP = "snap"  # brittle: breaks at its failure torque, below or above yield
    BEND = "bend"  # ductile: rises to a plateau, stays whole, a set remains
    SLIP = "slip"  # clamp or block gives a little and holds again
    SURVIVE = "survive"  # stronger than the limit


@dataclass(frozen=True)
class CellTruth:
    """The load cell on its arm, as bridge output (V/V) against torque (N.m).

    `right` and `left` are the slopes for either sign of torque; `nonlinearity` (largest bow off
    the line through zero and capacity) and `hysteresis` (falling minus rising reading) are shares
    of the output at capacity; `creep` is the share of a held torque that is added in the end;
    `wander` is the drift of zero in shares of capacity per hour.
    """

    capacity_nm: float = 50.0
    right: float = 4.0e-5  # 2 mV/V at capacity
    left: float = 4.0e-5
    zero: float = 2.0e-5  # V/V
    nonlinearity: float = 3e-4
    hysteresis: float = 3e-4
    hysteresis_span: float = 0.2  # of capacity: how far a reversal takes to show
    creep: float = 2e-4
    creep_s: float = 100.0
    wander: float = 2e-4

    @property
    def full_scale(self) -> float:
        """Mean output at capacity, V/V."""
        return (self.right + self.left) / 2 * self.capacity_nm


@dataclass(frozen=True)
class SensorTruth:
    """Contactless rotary sensor: from `low` to `high` of its supply over `span_rad`.

    `mount_rad` is how far the arm's zero mark sits from the middle of the range, `scale_error` is
    relative, `bow` the largest deviation from a straight line as a share of the range.
    """

    span_rad: float = math.radians(120.0)
    low: float = 0.1
    high: float = 0.9
    mount_rad: float = 0.0
    scale_error: float = 0.0
    bow: float = 0.002
    bow_phase_rad: float = 0.7
    noise_lsb: float = 0.5  # of one 10-bit conversion

    @property
    def ratio_per_rad(self) -> float:
        """Nominal slope."""
        return (self.high - self.low) / self.span_rad


@dataclass(frozen=True)
class HandTruth:
    """A person's hand on the hook: it gives way like a spring and dashpot, and trembles."""

    stiffness_nm_per_rad: float = 50.0
    damping: float = 0.5  # of critical, with the arm's inertia
    tremor_rad: float = math.radians(0.01)
    tremor_hz: float = 9.0
    rate_wobble: float = 0.15
    reaction_s: float = 0.2


@dataclass(frozen=True)
class JigTruth:
    """True values of arm, bearing, cell, angle sensor, calibration weights and hand.

    `calibration_arm_m` is the radius at which dead weights hang; `mass_errors` are the relative
    errors of single weights by their nominal grams (0 where none is told); `weight_nm` and
    `weight_rad` are amplitude and phase of arm and cell's own moment,
    `weight_nm * cos(angle + weight_rad)`; `stop_error_rad` is the error of the known stops.
    """

    arm_m: float = 0.25
    calibration_arm_m: float = 0.25
    gravity: float = STANDARD_GRAVITY
    air_kg_m3: float = 1.2
    weights_kg_m3: float = 7850.0
    mass_errors: tuple[tuple[int, float], ...] = ()
    weight_nm: float = 0.08  # what its counterweight leaves
    weight_rad: float = 0.2
    friction_nm: float = 0.01
    inertia_kg_m2: float = 0.012
    tool_nm_per_rad: float = 400.0  # clamp and arm
    stop_rad: float = math.radians(50.0)
    stop_error_rad: float = 0.0
    limit_rad: float = math.radians(45.0)  # a person goes no further than this,
    limit_share: float = 0.8  # nor than this share of the cell's capacity
    cell: CellTruth = field(default_factory=CellTruth)
    sensor: SensorTruth = field(default_factory=SensorTruth)
    hand: HandTruth = field(default_factory=HandTruth)

    def hung_nm(self, mass_kg: float) -> float:
        """Torque of a dead weight in air, `m g L (1 - rho_air/rho_mass)`."""
        error = dict(self.mass_errors).get(round(mass_kg * 1000), 0.0)
        buoyed = 1 - self.air_kg_m3 / self.weights_kg_m3
        return mass_kg * (1 + error) * self.gravity * self.calibration_arm_m * buoyed


@dataclass(frozen=True)
class TipTruth:
    """One tip in its block of wood.

    Torque rises straight with tip, wood and tool in series (after a toe of `toe_rad` that is
    used up within a few `toe_nm`); from `yield_nm` on the tip bends for good,
    `T = yield + (plateau - yield)(1 - exp(-bend/spread_rad))`. `fails_nm` is the torque at which
    it snaps or slips. `thickness_m` and `width_m` are of the section `section_m` from the axis.
    """

    kind: Failure = Failure.SNAP
    stiffness_nm_per_rad: float = 47.0
    wood_nm_per_rad: float = 200.0
    toe_rad: float = math.radians(0.3)
    toe_nm: float = 0.05
    yield_nm: float = 5.5
    plateau_nm: float = 9.0
    spread_rad: float = math.radians(3.0)
    fails_nm: float = 7.2
    slip_rad: float = math.radians(1.5)
    left_share: float = 0.03  # of the failure torque, friction of the stump in the wood
    thickness_m: float = 1.2e-3
    width_m: float = 10e-3
    section_m: float = 2e-3

    def series_nm_per_rad(self, tool_nm_per_rad: float) -> float:
        """Stiffness of tip, wood and tool in series."""
        parts = (self.stiffness_nm_per_rad, self.wood_nm_per_rad, tool_nm_per_rad)
        return 1 / sum(1 / part for part in parts)


@dataclass(frozen=True)
class EdgeTruth:
    """An edge in the slot of a hardwood block.

    Torque is a spring that damage weakens towards `left_share`, and friction of the wood.
    `damage_per_cycle` counts at `reference_rad` and grows with the square of the amplitude.
    """

    stiffness_nm_per_rad: float = 12.0
    left_share: float = 0.5
    damage_per_cycle: float = 0.03
    reference_rad: float = math.radians(10.0)
    friction_nm: float = 0.25
    friction_span_rad: float = math.radians(1.0)
    length_m: float = 20e-3


def turned_beam_nm_per_rad(
    modulus_pa: float, width_m: float, thickness_m: float, free_m: float
) -> float:
    """Stiffness `4 E I / l` of a beam held at the axis and turned about it at its far end.

    From the handbook's cantilever with end load and end moment (deflection `F l^3/3EI + M l^2/2EI`,
    slope `F l^2/2EI + M l/EI`) with the end moving on a circle about the held end.
    """
    second_moment = width_m * thickness_m**3 / 12
    return 4 * modulus_pa * second_moment / free_m
