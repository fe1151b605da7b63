"""parts.toml: what each fixture is made of, and the bench's own changes laid over it."""

import math
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from rig import tables
from rig.bench.design import FIXTURES, fixtures_folder, over
from rig.bench.part import Part

DENSITY = {"steel": 7850.0, "aluminium": 2700.0, "brass": 8500.0, "polycarbonate": 1200.0,
           "polyurethane": 1200.0, "plywood": 650.0, "hardwood": 700.0}  # fmt: skip
"""kg/m3, handbook values; wood varies by a quarter."""
YIELD_MPA = {"steel": 235.0, "hard steel": 900.0, "aluminium": 160.0}
"""S235 by EN 10025; hardened tool steel and 6082 plate from memory, on the low side."""
TENSILE_MPA = {"steel": 360.0, "hard steel": 1000.0, "aluminium": 205.0}
"""From memory, on the low side; for threads."""

ACROSS = {"yz": 0, "xz": 1, "xy": 2}
"""The axis square to a face."""

Mm = Annotated[float, Field(gt=0, le=3000)]
Spot = tuple[float, float]


class Hole(Part):
    """Holes of one kind: seen on the part's `face`, or on one of their own, from its middle."""

    use: str
    face: Literal["", "xy", "xz", "yz"] = ""
    dia_mm: float = Field(gt=0, le=100)
    tol: str = "H13"
    thread: str = Field("", pattern=r"^(M\d+)?$")
    deep_mm: float = Field(0.0, ge=0)  # 0: right through
    slot_mm: float = Field(0.0, ge=0)  # between the ends' middles, along the face's first axis
    at_mm: tuple[Spot, ...]


class Piece(Part):
    """A part of a fixture.

    Attributes:
        size_mm: along x, y and z; of a round bar the length and twice the diameter.
        group: what it moves with; "frame" stands still.
        glass: drawn as an outline, because others stand behind it.
        passes: parts that go through it or lie in it on purpose.
        face: the plane of its holes and of its sheet: "xy", "xz" or "yz".
        outline_mm: corners on `face` from the middle; empty for a rectangle or a circle.
        cost_eur: all of them, from memory, small quantities.
    """

    item: int = Field(ge=1)
    name: str
    source: Literal["made", "bought"]
    count: int = Field(1, ge=1)
    material: str
    size_mm: tuple[Mm, Mm, Mm]
    form: Literal["box", "round_x", "round_y", "round_z"] = "box"
    group: str = "frame"
    glass: bool = False
    passes: tuple[str, ...] = ()
    face: Literal["xy", "xz", "yz"] = "xy"
    outline_mm: tuple[Spot, ...] = ()
    holes: tuple[Hole, ...] = ()
    mass_kg: float | None = Field(None, gt=0)
    cost_eur: float = Field(ge=0)
    note: str = ""

    @property
    def stuff(self) -> str:
        """The material without its hardness, for the density."""
        return self.material.removeprefix("hard ")

    @property
    def one_kg(self) -> float:
        """Mass of one of them: stated where bought, else from size, material and holes."""
        if self.mass_kg is not None:
            return self.mass_kg
        return self._volume_mm3() * 1e-9 * DENSITY[self.stuff]

    @property
    def thick_mm(self) -> float:
        """Through the face."""
        return self.through_mm(self.face)

    def through_mm(self, face: str) -> float:
        """How thick it is square to a face."""
        return self.size_mm[ACROSS[face]]

    def _volume_mm3(self) -> float:
        whole = math.prod(self.size_mm) * (1.0 if self.form == "box" else math.pi / 4)
        if self.outline_mm:
            whole = abs(_area(self.outline_mm)) * self.thick_mm
        return whole - sum(self._bored_mm3(hole) for hole in self.holes)

    def _bored_mm3(self, hole: Hole) -> float:
        deep = hole.deep_mm or self.through_mm(hole.face or self.face)
        return math.pi / 4 * hole.dia_mm**2 * deep * len(hole.at_mm)


def _area(corners: tuple[Spot, ...]) -> float:
    ahead = (*corners[1:], corners[0])
    return sum(x * w - u * z for (x, z), (u, w) in zip(corners, ahead, strict=True)) / 2


class Joint(Part):
    """Screws of one kind: through holes of some parts, into threads of another or into nuts."""

    screw: str = Field(pattern=r"^M\d+x\d+$")
    through: tuple[str, ...]  # part.use, head side first
    into: str  # part.use, or "nut"

    @property
    def dia_mm(self) -> int:
        return int(self.screw[1:].partition("x")[0])

    @property
    def long_mm(self) -> float:
        return float(self.screw.partition("x")[2])


class Shop(Part):
    """What a class of workshop takes to build it: hours, and what it must buy or send out; from
    memory."""

    shop: str
    hours: float = Field(gt=0)
    extra_eur: float = Field(ge=0)


class Fixture(Part):
    """All of one fixture: its layout's own figures, its parts, its screws."""

    kind: str
    layout: dict[str, float]
    piece: dict[str, Piece]
    joint: tuple[Joint, ...]
    making: tuple[Shop, ...]

    def mass_kg(self, group: str) -> float:
        """What all parts that move together weigh."""
        return sum(p.one_kg * p.count for p in self.piece.values() if p.group == group)


def read(part: str, own: dict[str, Any] | None = None, text: str = "", name: str = "") -> Fixture:
    """The parts of "tower", "pry", "twist" or "frame", the bench's own changes laid over.

    Raises:
        FileFaults: a key that is none, a value that cannot be, with its line in the bench file.
    """
    base = tomllib.loads(file(part).read_text(encoding="utf-8"))
    own = own or {}
    faults = [*_unknown(own, base, (part, "parts"), text, name),
              *_wrong_side(own, base, (part, "parts"), text, name)]  # fmt: skip
    if faults:
        raise tables.FileFaults(faults)
    return tables.validate(Fixture, over(base, own), text, name or str(file(part)))


def file(part: str) -> Path:
    """Where a fixture's parts stand."""
    return fixtures_folder() / FIXTURES[part][0] / "parts.toml"


def _unknown(
    own: dict[str, Any], base: dict[str, Any], keys: tuple[str, ...], text: str, name: str
) -> Iterator[str]:
    for key, value in own.items():
        where = (*keys, key)
        if key not in base and key not in Piece.model_fields:
            known = ", ".join(sorted(base)[:12])
            yield f"{tables.place(where, text, name)}: unknown key; known here: {known}"
        elif isinstance(value, dict) and isinstance(base.get(key), dict):
            yield from _unknown(value, base[key], where, text, name)


def _wrong_side(
    own: dict[str, Any], base: dict[str, Any], keys: tuple[str, ...], text: str, name: str
) -> Iterator[str]:
    """A layout's figure is a length, a load, a share: never nothing, never of the other sign."""
    layout = own.get("layout")
    for key, value in layout.items() if isinstance(layout, dict) else ():
        usual = base["layout"].get(key)
        where = tables.place((*keys, "layout", key), text, name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            yield f"{where}: {value!r} is not a number; {tables.NUMBER}"
        elif usual is not None and value * usual <= 0:
            yield f"{where}: {value:g} cannot be; the design has {usual:g}"
