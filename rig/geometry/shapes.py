"""Solids that are a convex polygon in the plane of motion (x, z) times an interval in depth (y)."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain, pairwise

Point = tuple[float, float]
CORNERS = 24
"""A round seen end on becomes a polygon of so many corners, about the circle: never too small."""


SQUARE = ((1.0, 0.0), (0.0, 1.0))


@dataclass(frozen=True)
class Prism:
    """A convex polygon (corners in order, mm) from depth `y0` to `y1`."""

    points: tuple[Point, ...]
    y0: float
    y1: float

    def moved(self, dx: float = 0.0, dz: float = 0.0) -> "Prism":
        """The same, shifted in the plane of motion."""
        return Prism(tuple((x + dx, z + dz) for x, z in self.points), self.y0, self.y1)

    def turned(self, degrees: float) -> "Prism":
        """The same, turned about the origin; positive goes clockwise, as the arm counts."""
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return Prism(
            tuple((c * x + s * z, c * z - s * x) for x, z in self.points), self.y0, self.y1
        )

    def span(self, axis: str) -> tuple[float, float]:
        """Least and greatest coordinate along x, y or z."""
        if axis == "y":
            return self.y0, self.y1
        values = [point["xz".index(axis)] for point in self.points]
        return min(values), max(values)


def box(centre: tuple[float, float, float], size: tuple[float, float, float]) -> Prism:
    """A block with its sides along the axes."""
    (x, y, z), (a, b, c) = centre, (side / 2 for side in size)
    return Prism(((x - a, z - c), (x + a, z - c), (x + a, z + c), (x - a, z + c)), y - b, y + b)


def round_y(centre: tuple[float, float, float], dia: float, length: float) -> Prism:
    """A round bar along the depth."""
    (x, y, z), r = centre, dia / 2 / math.cos(math.pi / CORNERS)
    turn = [2 * math.pi * (n + 0.5) / CORNERS for n in range(CORNERS)]
    corners = tuple((x + r * math.cos(a), z + r * math.sin(a)) for a in turn)
    return Prism(corners, y - length / 2, y + length / 2)


def clearance(a: Prism, b: Prism) -> float:
    """How far two solids are apart, mm, at least; below zero by how deep they stand in each other.

    The first axis that separates them ends the search, so "at least" may be less than it is.

    By the separating axes of convex shapes (the sides' normals): two convex polygons are apart
    exactly if one of them separates.
    """
    apart = max(a.y0 - b.y1, b.y0 - a.y1)
    for nx, nz in chain(SQUARE, _normals(a), _normals(b)):
        if apart > 0:
            return apart
        of_a = [nx * x + nz * z for x, z in a.points]
        of_b = [nx * x + nz * z for x, z in b.points]
        apart = max(apart, min(of_a) - max(of_b), min(of_b) - max(of_a))
    return apart


def _normals(prism: Prism) -> Iterable[Point]:
    for (x, z), (u, w) in pairwise((*prism.points, prism.points[0])):
        long = math.hypot(u - x, w - z)
        yield round((w - z) / long, 9), round((x - u) / long, 9)
