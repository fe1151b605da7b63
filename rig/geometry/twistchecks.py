"""What must hold for the twist jig, besides parts that stay clear of one another."""

from collections.abc import Iterator

from rig.bench import Bench
from rig.geometry.arm import beyond_deg, edges_mm
from rig.geometry.armchecks import balance, hits
from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly
from rig.geometry.shapes import Prism, box

SPARE_DEG = 2.0
FIT_MM = 0.2


def reach_deg(pry: Fixture, twist: Fixture) -> tuple[float, float]:
    """How far the arm goes down and up with an index pin in each of the two holes."""
    pin, hole = pry.piece["pin"].size_mm[0] / 2, twist.layout["pin_hole_deg"]
    high, low = edges_mm(pry)
    return hole - beyond_deg(pry, low + pin), hole - beyond_deg(pry, high + pin)


def checks(made: Assembly, pry: Fixture, bench: Bench) -> Iterator[str]:
    """Every fault of the twist jig, a line each."""
    of, twist = made.fixture, bench.twist
    depth = 1000 * twist.slot.depth_m
    if abs(of.layout["face_x"] - depth) > FIT_MM:
        yield (
            f"the block's face stands {of.layout['face_x']:g} mm before the axis, the slot is "
            f"{depth:g} deep: the edge would lie {of.layout['face_x'] - depth:+g} mm off the axis"
        )
    if of.layout["retract"] < depth + 4:
        yield f"the block slides back {of.layout['retract']:g} mm, {depth + 4:g} free the edge"
    wanted = twist.twist.amplitude_deg + twist.twist.overshoot_deg + SPARE_DEG
    down, up = reach_deg(pry, of)
    if min(down, up) < wanted:
        yield (
            f"index pins at {of.layout['pin_hole_deg']:g} degrees stop the arm at "
            f"{min(down, up):.1f}; {wanted:g} are needed"
        )
    yield from balance(
        made, of.layout["weight_x"], pry.layout["weight_play"], of.layout["blade_weight_nm"]
    )
    for high in (of.layout["blade_low"], of.layout["blade_high"]):
        name = f"a knife of {of.layout['blade_long']:.0f} mm, {high:.0f} high,"
        yield from hits(made, knife(of, high), name, BUT)
    if of.layout["blade_short"] < of.piece["spine_low"].size_mm[1]:
        yield f"a blank of {of.layout['blade_short']:.0f} mm is shorter than the jaws"
    if of.layout["jaw_from"] > of.layout["blade_low"] - 6:
        yield f"a blade {of.layout['blade_low']:.0f} mm high does not reach into the jaws"


BUT = ("spine_low", "spine_high", "heel", "twist_block", "twist_shield")
"""What holds the blade, and the shield with its slot for the handle."""


def knife(of: Fixture, high_mm: float) -> dict[str, Prism]:
    """The longest knife along the axis, its edge on it, the handle to the front."""
    at = of.layout
    back, front = at["land_y"] + at["tip_reach"], at["land_y"] - at["handle_from_land"]
    blade = box((high_mm / 2, (back + front) / 2, 0), (high_mm, back - front, at["blade_thick"]))
    long = at["blade_long"] - (back - front)
    grip = box((high_mm - 15, front - long / 2, 0), (40, long, at["handle_thick"]))
    return {"blade": blade, "handle": grip}
