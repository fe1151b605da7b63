"""True values of one drop tower: what nature knows and the bench can only estimate.

Heights are metres above the top of the bare anvil, up is positive. Orders of magnitude of the
mechanics are common practice, no source, unless stated.
"""

import math
from dataclasses import dataclass, field
from enum import Enum

LEAST_RESTITUTION = 0.15
STANDARD_GRAVITY = 9.80665  # m/s^2, 3rd CGPM 1901


class Damage(Enum):
    """What a strike does to an edge, mildest first."""

    NONE = "none"
    ROLL = "roll"
    CHIP = "chip"
    CRACK = "crack"


@dataclass(frozen=True)
class Rattle:
    """Guide vibration seen by the encoder: a sine whose size grows with the carriage's speed."""

    per_speed_s: float  # amplitude in metres for each m/s of carriage speed
    frequency_hz: float
    phase_rad: float


@dataclass(frozen=True)
class Solenoid:
    """Delays from the supply at the coil to the moved part, seconds."""

    pull_in_s: float
    drop_out_s: float
    scatter_s: float


@dataclass(frozen=True)
class SpecimenTruth:
    """One edge under its rod, or the bare anvil (`bare=True`, takes no damage).

    `restitution` and `contact_s` hold at an impact speed of 1 m/s; restitution falls slowly
    with speed. `toughness_j` is the median energy at which this edge chips.
    """

    height_m: float = 0.0
    bare: bool = True
    restitution: float = 0.55
    contact_s: float = 0.8e-3
    toughness_j: float = 5.0
    scatter: float = 0.08  # of the logarithm of delivered energy
    dent_m_per_j: float = 0.0  # of the rod on the edge


def knife_on_rod(height_m: float = 0.0, toughness_j: float = 5.0) -> SpecimenTruth:
    """An edge under a soft-metal rod with this module's usual values."""
    return SpecimenTruth(
        height_m=height_m,
        bare=False,
        restitution=0.3,
        contact_s=1.5e-3,
        toughness_j=toughness_j,
        dent_m_per_j=30e-6,
    )


@dataclass(frozen=True)
class TowerTruth:
    """True values of the tower, its draw-wire encoder, light gate, solenoids and MCU clock.

    `pitch_m` is metres a count; `edge_errors` shift the four edges of a quadrature cycle, in
    counts; `gate_m` is the carriage height at which the flag's upper edge leaves the beam;
    `resonator` is the relative error of the MCU clock.
    """

    mass_kg: float = 2.0
    gravity: float = STANDARD_GRAVITY
    friction_ratio: float = 0.03  # Coulomb friction over the carriage's weight
    drag_kg_per_m: float = 0.01  # air: force over speed squared
    spring_n: float = 4.0  # draw-wire spring with the wire reeled in
    spring_n_per_m: float = 1.0
    drum_kg: float = 0.004
    wire_n_per_m: float = 5e4
    wire_ns_per_m: float = 7.0
    pitch_m: float = 0.25e-3
    phase_counts: float = 0.37
    edge_errors: tuple[float, float, float, float] = (0.0, 0.05, -0.02, 0.04)
    rattles: tuple[Rattle, ...] = (Rattle(5e-6, 130.0, 0.4), Rattle(3e-6, 270.0, 2.1))
    flag_m: float = 10.0e-3
    gate_m: float = 6.0e-3
    gate_jitter_s: float = 1.0e-6
    latch: Solenoid = field(default_factory=lambda: Solenoid(15e-3, 9e-3, 1.0e-3))
    catch: Solenoid = field(default_factory=lambda: Solenoid(12e-3, 8e-3, 0.7e-3))
    resonator: float = 0.0
    anvil: SpecimenTruth = field(default_factory=SpecimenTruth)

    @property
    def friction_n(self) -> float:
        """Coulomb friction in newtons."""
        return self.friction_ratio * self.mass_kg * self.gravity

    def hanging_drum_m(self, carriage_m: float) -> float:
        """Drum position that balances the spring with the carriage still at `carriage_m`."""
        pull = self.wire_n_per_m * carriage_m - self.spring_n
        return pull / (self.wire_n_per_m + self.spring_n_per_m)


def contact_constants(mass_kg: float, restitution: float, contact_s: float) -> tuple[float, float]:
    """Spring (N/m) and dashpot (N.s/m) that give a restitution and a contact time.

    For a mass on a one-sided spring and dashpot that part when their force is zero,
    `e = exp(-tan(phi) (pi - 2 phi))` with `tan(phi) = gamma/omega_d`, and the contact lasts
    `(pi - 2 phi)/omega_d` (Schwager and Poeschel, Granular Matter 9, 2007; from memory, and
    derived again by hand). No contact that swings (`omega_d > 0`) returns less than `exp(-2)`.

    Raises:
        ValueError: restitution outside `LEAST_RESTITUTION` to 1.
    """
    if not LEAST_RESTITUTION <= restitution < 1:
        raise ValueError(f"restitution {restitution} is not in [{LEAST_RESTITUTION}, 1)")
    low, high = 0.0, math.pi / 2
    for _ in range(60):
        phi = (low + high) / 2
        if math.exp(-math.tan(phi) * (math.pi - 2 * phi)) > restitution:
            low = phi
        else:
            high = phi
    omega = (math.pi - 2 * low) / contact_s
    gamma = omega * math.tan(low)
    return mass_kg * (omega**2 + gamma**2), 2 * mass_kg * gamma
