"""What a strike does to the edge and to the rod on it."""

import math
import random
from dataclasses import dataclass, field

from rig.virtual.tower.parameters import (
    LEAST_RESTITUTION,
    Damage,
    SpecimenTruth,
    contact_constants,
)

ROLL_SHARE, CRACK_SHARE = 0.5, 2.0  # of the chipping energy
LATER_SHARE = 0.6  # a later blow finds an edge that has already given way
DEPTH_MM = 0.10
WIDTH_PER_DEPTH = 4.0


@dataclass
class Specimen:
    """One edge under its rod (or the bare anvil) and what it has been through.

    `surface_m` is where the striker comes to rest, `depth_mm` and `width_mm` the true damage.
    """

    truth: SpecimenTruth
    rng: random.Random
    surface_m: float = field(init=False)
    delivered_j: float = field(init=False, default=0.0)
    depth_mm: float = field(init=False, default=0.0)
    width_mm: float = field(init=False, default=0.0)
    damage: Damage = field(init=False, default=Damage.NONE)

    def __post_init__(self) -> None:
        self.surface_m = self.truth.height_m
        scatter = self.truth.scatter
        self._toughness_j = self.truth.toughness_j * math.exp(self.rng.gauss(0.0, scatter))
        self._shape = math.exp(self.rng.gauss(0.0, scatter))

    def contact(self, mass_kg: float, speed: float) -> tuple[float, float]:
        """Spring and dashpot of a strike at `speed` (m/s, positive)."""
        restitution = self.truth.restitution * max(speed, 0.05) ** -0.1
        return contact_constants(
            mass_kg, min(max(restitution, LEAST_RESTITUTION), 0.95), self.truth.contact_s
        )

    def struck(self, energy_j: float) -> None:
        """Take the blow: damage grows with all energy so far, the rod is dented."""
        share = LATER_SHARE if self.delivered_j else 1.0
        self.delivered_j += share * energy_j
        self.surface_m -= self.truth.dent_m_per_j * energy_j
        if self.truth.bare:
            return
        ratio = self.delivered_j / self._toughness_j
        if ratio >= ROLL_SHARE:
            self.damage = Damage.ROLL if ratio < 1 else Damage.CHIP
            if ratio >= CRACK_SHARE:
                self.damage = Damage.CRACK
            self.depth_mm = DEPTH_MM * self._shape * (ratio / ROLL_SHARE) ** 1.2
            self.width_mm = WIDTH_PER_DEPTH * self.depth_mm
