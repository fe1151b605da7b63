"""Parts in their places, and whether they run into one another anywhere on their way."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from rig.geometry.parts import Fixture, Piece
from rig.geometry.shapes import Prism, box, clearance, round_y

Centre = tuple[float, float, float]
TOUCH_MM = 0.05
"""Faces that lie on one another, and what rounding makes of them."""
Pose = Callable[[Prism], Prism]


@dataclass(frozen=True)
class Body:
    """One part in its place, at the pose zero of its group."""

    key: str
    piece: Piece
    solid: Prism
    centre: Centre


@dataclass(frozen=True)
class Assembly:
    """A fixture put together; `poses` says by group where it goes, pose by pose, all together."""

    fixture: Fixture
    bodies: tuple[Body, ...]
    poses: tuple[Mapping[str, Pose], ...]

    def of(self, key: str) -> Body:
        """The first body of that name."""
        return next(body for body in self.bodies if body.key == key)

    def at(self, number: int) -> dict[int, Prism]:
        """Every body's solid at one pose, by its place in `bodies`."""
        pose = self.poses[number]
        return {n: _moved(body, pose) for n, body in enumerate(self.bodies)}


def still(prism: Prism) -> Prism:
    """A pose of what does not move."""
    return prism


def shifted(dx: float = 0.0, dz: float = 0.0) -> Pose:
    """A pose shifted in the plane of motion."""
    return lambda prism: prism.moved(dx, dz)


def turned(degrees: float) -> Pose:
    """A pose turned about the axis."""
    return lambda prism: prism.turned(degrees)


def bodies(fixture: Fixture, places: Mapping[str, list[Centre]]) -> tuple[Body, ...]:
    """Each part at its places."""
    return tuple(
        Body(key, fixture.piece[key], _solid(fixture.piece[key], centre), centre)
        for key, centres in places.items()
        for centre in centres
    )


def _solid(piece: Piece, centre: Centre) -> Prism:
    if piece.form == "round_y":
        return round_y(centre, piece.size_mm[0], piece.size_mm[1])
    if piece.outline_mm and piece.face == "xz":
        x, y, z = centre
        half = piece.size_mm[1] / 2
        return Prism(tuple((x + u, z + v) for u, v in piece.outline_mm), y - half, y + half)
    return box(centre, piece.size_mm)


def _moved(body: Body, pose: Mapping[str, Pose]) -> Prism:
    return pose.get(body.piece.group, still)(body.solid)


def collisions(made: Assembly) -> Iterator[str]:
    """Every pair of parts that stand in one another at some pose, once, at its worst."""
    pairs = [pair for pair in combinations(range(len(made.bodies)), 2) if not _meant(made, pair)]
    worst: dict[tuple[str, str], float] = {}
    for number in range(len(made.poses)):
        solids = made.at(number)
        for a, b in pairs:
            one, other = made.bodies[a], made.bodies[b]
            if number and one.piece.group == other.piece.group:
                continue
            deep = -clearance(solids[a], solids[b])
            names = (one.key, other.key)
            if deep > max(TOUCH_MM, worst.get(names, 0.0)):
                worst[names] = deep
    for names, deep in worst.items():
        told = "; ".join(made.fixture.piece[name].name for name in names)
        yield f"{' and '.join(names)} run into one another by {deep:.1f} mm ({told})"


def _meant(made: Assembly, pair: tuple[int, int]) -> bool:
    a, b = made.bodies[pair[0]], made.bodies[pair[1]]
    return b.key in a.piece.passes or a.key in b.piece.passes
