"""An edge that is cut dull: how it wears, chips, and what probes of it would show.

Dullness grows as a power of the cuts, `d = rise (cuts/100)^power` (edges lose most in the first
cuts and go on losing; common practice, no source), and with it the force to cut and to sever a
thread. A chip is sudden: one place is lost at once. All numbers are invented, for practice only.
"""

import math
import random
import zlib
from dataclasses import dataclass, field

from rig.virtual.arm.draw import Group, group_of

HUNDRED = 100.0
PLACES = 3
CHIP_SEVERING, CHIP_CUTTING = 3.0, 1.25
READING_SCATTER = 0.07  # of one severing: thread, place and pull
SHEET_CV = 0.10


@dataclass(frozen=True)
class WearTruth:
    """One blade's edge.

    Attributes:
        sharp_n: force to sever the thread when fresh.
        rise, power: of the dullness (see the module); `rise` is that after 100 cuts.
        cutting_n: force to cut the medium when fresh.
        chip_per_cut: chance of a chip in one cut.
        shaves_n, parts_n: severing force up to which a place shaves, and parts paper cleanly.
        rolls: whether a dull edge looks rolled rather than worn.
    """

    sharp_n: float = 0.60
    rise: float = 1.0
    power: float = 0.6
    cutting_n: float = 18.0
    chip_per_cut: float = 0.0
    shaves_n: float = 0.95
    parts_n: float = 1.6
    rolls: bool = False

    def life_cuts(self, limit_n: float) -> float:
        """Cuts after which an unchipped place needs `limit_n`, on a sheet as harsh as most."""
        return float(HUNDRED * ((limit_n / self.sharp_n - 1) / self.rise) ** (1 / self.power))


@dataclass
class CuttingEdge:
    """The edge as it is now.

    Attributes:
        cuts: made with it, whole or in part, each weighted by how harsh its sheet was.
        chipped: number of the place that was lost, None while whole.
        places: each marked place's own dullness over the edge's.
    """

    truth: WearTruth
    rng: random.Random
    cuts: float = 0.0
    chipped: int | None = None
    places: tuple[float, ...] = field(default=())

    def __post_init__(self) -> None:
        self.places = self.places or tuple(
            self.rng.lognormvariate(0.0, 0.05) for _ in range(PLACES)
        )

    @property
    def dullness(self) -> float:
        """0 when fresh."""
        return float(self.truth.rise * (self.cuts / HUNDRED) ** self.truth.power)

    def cut(self, harshness: float = 1.0) -> None:
        """One pass through the medium."""
        self.cuts += harshness
        if self.chipped is None and self.rng.random() < self.truth.chip_per_cut:
            self.chipped = self.rng.randrange(PLACES)

    def cutting_n(self) -> float:
        """Mean force of the next cut through a sheet as harsh as most."""
        chip = CHIP_CUTTING if self.chipped is not None else 1.0
        return self.truth.cutting_n * (1 + 0.5 * self.dullness) * chip

    def severing_n(self, place: int) -> float:
        """True force to sever the thread at a marked place (0, 1, ...)."""
        own = self.places[place % PLACES]
        chip = CHIP_SEVERING if self.chipped == place % PLACES else 1.0
        return self.truth.sharp_n * (1 + self.dullness) * own * chip

    def read_n(self, place: int) -> float:
        """One reading of it."""
        return self.severing_n(place) * self.rng.lognormvariate(0.0, READING_SCATTER)

    def shaves_until_cuts(self) -> float:
        """True life by the razor's test: cuts until all but one of the places fail."""
        lives = sorted(self.truth.life_cuts(self.truth.shaves_n / own) for own in self.places)
        return lives[-2]

    def passes(self, kind: str, place: int) -> bool:
        """Whether a place shaves ("shave") or parts paper cleanly ("paper")."""
        limit = self.truth.shaves_n if kind == "shave" else self.truth.parts_n
        return self.severing_n(place) <= limit

    def look(self) -> str:
        """What the eye finds."""
        if self.chipped is not None:
            return "chipped"
        return "rolled" if self.truth.rolls else "worn"


def blade_wear(name: str, seed: int = 0, group: Group | None = None) -> WearTruth:
    """How the blade of that name wears; the same in every run of a seed."""
    made = group or group_of(name)
    chance = random.Random(zlib.crc32(f"{name} wear".encode()) ^ seed)
    return WearTruth(
        sharp_n=0.60 * chance.lognormvariate(0.0, 0.05),
        rise=made.wear / 0.03 * chance.lognormvariate(0.0, 0.09),
        cutting_n=18.0 * chance.lognormvariate(0.0, 0.04),
        chip_per_cut=2e-4 if made.yield_share > 1 else 0.0,
        rolls=not made.snaps,
    )


def fresh_edge(name: str, seed: int = 0, truth: WearTruth | None = None) -> CuttingEdge:
    """The sharpened edge of the blade of that name."""
    chance = random.Random(zlib.crc32(f"{name} edge cut".encode()) ^ seed)
    return CuttingEdge(truth or blade_wear(name, seed), chance)


def harshness(sheet: str, seed: int = 0) -> float:
    """How much more than most sheets this one wears an edge and resists the cut."""
    chance = random.Random(zlib.crc32(f"{sheet} sheet".encode()) ^ seed)
    return math.exp(chance.gauss(-(SHEET_CV**2) / 2, SHEET_CV))
