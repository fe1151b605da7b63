"""Holes and screws: enough metal between holes, and every screw in a thread that holds it."""

import math
from collections.abc import Iterator
from itertools import combinations

from rig.geometry.loads import stress_area, stripping
from rig.geometry.parts import ACROSS, TENSILE_MPA, Hole, Joint, Piece
from rig.geometry.placed import Assembly, Body

WEB_MM = 2.0
"""Least metal between two holes, or a hole and the rim; common practice, no source."""
IN_LINE_MM = 0.2
PROOF_MPA = 640.0
"""Yield of a screw of class 8.8 (ISO 898-1); it shall stretch before the thread strips."""
SPARE = 2.0
"""A real thread has less metal than the basic one that the formula takes."""
USED = 0.5
"""Of that yield screws of these fixtures are tightened to at most; common practice, no source."""
NUT_D, NUT_SPARE_D = 0.8, 0.2
"""Height of a nut and what must stand out of it, in diameters (ISO 4032, from memory)."""


LOOSE = ("pin", "shelf")
"""Groups that stand nowhere in the assembly: pins in the hand, parts on the board's shelf."""


def missing(made: Assembly) -> Iterator[str]:
    """Parts of the list that stand nowhere, or not as often as the list says."""
    for key, piece in made.fixture.piece.items():
        placed = sum(body.key == key for body in made.bodies)
        if piece.group not in LOOSE and placed not in (0, piece.count):
            yield f"{key}: {piece.count} on the list, {placed} in the assembly"


def webs(made: Assembly) -> Iterator[str]:
    """Holes too near to one another or to the rim of their part."""
    for key, piece in made.fixture.piece.items():
        for face in {hole.face or piece.face for hole in piece.holes}:
            holes = [
                (h, at) for h in piece.holes if (h.face or piece.face) == face for at in h.at_mm
            ]
            yield from _between(key, holes)
            if not piece.outline_mm and piece.form == "box" and piece.source == "made":
                yield from _rim(key, piece, face, holes)


def _between(key: str, holes: list[tuple[Hole, tuple[float, float]]]) -> Iterator[str]:
    for (one, (x, y)), (other, (u, v)) in combinations(holes, 2):
        web = math.hypot(x - u, y - v) - (one.dia_mm + other.dia_mm) / 2
        if web < WEB_MM and not _same_screw(one, other, web):
            yield f"{key}: {web:.1f} mm of metal between {one.use} and {other.use}"


def _same_screw(one: Hole, other: Hole, web: float) -> bool:
    """Two uses of one hole stand in the same place."""
    return abs(web + (one.dia_mm + other.dia_mm) / 2) < 1e-9


def _rim(
    key: str, piece: Piece, face: str, holes: list[tuple[Hole, tuple[float, float]]]
) -> Iterator[str]:
    wide, high = (side for n, side in enumerate(piece.size_mm) if n != ACROSS[face])
    for hole, (u, v) in holes:
        rim = min(wide / 2 - abs(u), high / 2 - abs(v)) - hole.dia_mm / 2
        if rim < WEB_MM:
            yield f"{key}: {hole.use} leaves {rim:.1f} mm to the rim"


def screws(made: Assembly) -> Iterator[str]:
    """Screws whose holes are not in line, that are too long or too short, or would strip."""
    for joint in made.fixture.joint:
        try:
            yield from _screw(made, joint)
        except KeyError as error:
            yield f"{joint.screw}: no such part or hole: {error.args[0]}"


def _screw(made: Assembly, joint: Joint) -> Iterator[str]:
    name = f"{joint.screw} through {', '.join(joint.through)} into {joint.into}"
    grip = sum(_thick(made, name_of) for name_of in joint.through)
    others = [*joint.through[1:], *([] if joint.into == "nut" else [joint.into])]
    for other in others:
        if not _in_line(made, joint.through[0], other):
            yield f"{name}: the holes of {joint.through[0]} and {other} are not in line"
    for name_of in joint.through:
        if _hole(made, name_of)[1].dia_mm <= joint.dia_mm:
            yield f"{name}: the screw does not go through {name_of}"
    if joint.into == "nut":
        need = grip + (NUT_D + NUT_SPARE_D) * joint.dia_mm
        if joint.long_mm < need:
            yield f"{name}: {joint.long_mm:g} mm is too short, {need:.0f} mm hold the nut"
        return
    yield from _thread(made, joint, name, joint.long_mm - grip)


def _thread(made: Assembly, joint: Joint, name: str, reach: float) -> Iterator[str]:
    piece, hole = _hole(made, joint.into)
    deep = hole.deep_mm or piece.through_mm(hole.face or piece.face)
    if hole.thread != f"M{joint.dia_mm}":
        yield f"{name}: its thread is {hole.thread or 'none'}"
        return
    if reach > deep + (0 if hole.deep_mm else 3):
        yield f"{name}: the screw is {reach - deep:.0f} mm too long for its thread"
    pull = USED * PROOF_MPA * stress_area(joint.dia_mm)
    holds = stripping(joint.dia_mm, min(reach, deep), TENSILE_MPA[piece.material])
    if holds < SPARE * pull:
        yield (
            f"{name}: {min(reach, deep):.0f} mm of thread in {piece.material} strip at "
            f"{holds:.0f} N; the screw is tightened to {pull:.0f} N"
        )


def _thick(made: Assembly, name: str) -> float:
    piece, hole = _hole(made, name)
    return piece.through_mm(hole.face or piece.face)


def _hole(made: Assembly, name: str) -> tuple[Piece, Hole]:
    key, _, use = name.partition(".")
    piece = made.fixture.piece[key]
    for hole in piece.holes:
        if hole.use == use:
            return piece, hole
    raise KeyError(name)


def _in_line(made: Assembly, one: str, other: str) -> bool:
    """Every hole of the first has one of the second before or behind it."""
    return all(
        any(_apart(at, there) <= IN_LINE_MM for there in _axes(made, other))
        for at in _axes(made, one)
    ) or all(
        any(_apart(at, there) <= IN_LINE_MM for there in _axes(made, one))
        for at in _axes(made, other)
    )


Axis = tuple[str, float, float]


def _apart(one: Axis, other: Axis) -> float:
    if one[0] != other[0]:
        return math.inf
    return math.hypot(one[1] - other[1], one[2] - other[2])


def _axes(made: Assembly, name: str) -> list[Axis]:
    return [axis for _, axis in _bored(made, name)]


def _bored(made: Assembly, name: str) -> list[tuple[Body, Axis]]:
    piece, hole = _hole(made, name)
    face = hole.face or piece.face
    these = [body for body in made.bodies if body.key == name.partition(".")[0]]
    return [(body, (face, *_world(body, face, at))) for body in these for at in hole.at_mm]


def _world(body: Body, face: str, at: tuple[float, float]) -> tuple[float, float]:
    u, v = (c for n, c in enumerate(body.centre) if n != ACROSS[face])
    return u + at[0], v + at[1]


BETWEEN_MM = 8.0
"""What may lie between two parts that a screw draws together: a blade, a card."""


def off(made: Assembly, joint: Joint) -> int:
    """How many screws of a kind there are."""
    if joint.into == "nut":
        spots = [{(a, round(u, 1), round(v, 1)) for a, u, v in _axes(made, name)}
                 for name in joint.through]  # fmt: skip
        return len(set.intersection(*spots))
    return sum(
        _apart(at, there) <= IN_LINE_MM and _near(one, other, at[0])
        for one, at in _bored(made, joint.through[-1])
        for other, there in _bored(made, joint.into)
    )


def _near(one: Body, other: Body, face: str) -> bool:
    """Whether two parts lie against one another along the axis of a screw."""
    axis = "xyz"[ACROSS[face]]
    (a, b), (c, d) = one.solid.span(axis), other.solid.span(axis)
    return max(a - d, c - b) <= BETWEEN_MM
