"""Does the rig close? Every fixture put together and looked at, every fault a line."""

import math
from collections.abc import Iterator, Mapping
from pathlib import Path

from rig.bench import Bench, own_parts
from rig.geometry import (
    arm,
    armchecks,
    frame,
    framechecks,
    joints,
    tower,
    towerchecks,
    twist,
    twistchecks,
)
from rig.geometry.parts import Fixture, read
from rig.geometry.placed import Assembly, collisions

PARTS = ("tower", "pry", "twist", "frame")


def design() -> dict[str, Fixture]:
    """The fixtures as they are published."""
    return {part: read(part) for part in PARTS}


def of_bench(path: Path) -> dict[str, Fixture]:
    """The fixtures with the bench file's own changes.

    Raises:
        FileFaults: a key that is none, a value that cannot be, each with its line.
    """
    own, text = own_parts(path)
    return {part: read(part, own[part], text, str(path)) for part in PARTS}


def drilled(bench: Bench, fixtures: Mapping[str, Fixture]) -> dict[str, Fixture]:
    """The fixtures with the holes that the bench's own figures ask for."""
    pry = bench.pry
    full = arm.with_holes(fixtures["pry"], pry.calibration.stops_deg, pry.arm.stop_deg)
    return dict(fixtures) | {"pry": full}


def assembled(bench: Bench, fixtures: Mapping[str, Fixture]) -> dict[str, Assembly]:
    """Every fixture put together as the bench states it."""
    fixtures = drilled(bench, fixtures)
    stop, pry, of = bench.pry.arm.stop_deg, fixtures["pry"], fixtures["twist"]
    reach = math.ceil(max(twistchecks.reach_deg(pry, of)))
    return {
        "tower": tower.assemble(fixtures["tower"], bench.tower.travel.max_drop_m),
        "pry": arm.pry(pry, stop),
        "twist": twist.assemble(of, pry, reach, stop),
        "frame": frame.assemble(fixtures["frame"], bench.frame),
    }


def faults(bench: Bench, fixtures: Mapping[str, Fixture]) -> list[str]:
    """What keeps the rig from being built, or from working, fixture by fixture."""
    made = assembled(bench, fixtures)
    return [
        f"{part}: {fault}"
        for part in PARTS
        for fault in (*_common(made[part]), *_own(part, made, fixtures, bench))
    ]


def _common(made: Assembly) -> Iterator[str]:
    yield from joints.missing(made)
    yield from collisions(made)
    yield from joints.webs(made)
    yield from joints.screws(made)
    yield from _guards(made)


GUARD_MM = {"polycarbonate": 5.0, "plywood": 9.0}
"""Least thickness of a guard against splinters of hard steel; common practice, no source."""


def _guards(made: Assembly) -> Iterator[str]:
    for key, piece in made.fixture.piece.items():
        least = GUARD_MM.get(piece.material)
        thin = min(piece.size_mm)
        if piece.glass and "guard" in piece.name and least is not None and thin < least:
            yield f"{key}: a guard of {thin:g} mm {piece.material}; {least:g} at least"


def _own(
    part: str, made: Mapping[str, Assembly], fixtures: Mapping[str, Fixture], bench: Bench
) -> Iterator[str]:
    if part == "tower":
        return towerchecks.checks(made[part], bench.tower)
    if part == "pry":
        return armchecks.checks(made[part], bench)
    if part == "twist":
        return twistchecks.checks(made[part], fixtures["pry"], bench)
    return framechecks.checks(made[part], bench)
