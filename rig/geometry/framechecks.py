"""What must hold for the cutting frame, besides parts that stay clear of one another."""

import math
from collections.abc import Iterator

from rig.bench import Bench
from rig.geometry.armchecks import across
from rig.geometry.frame import dip_mm, edge_mm, travel_mm
from rig.geometry.parts import Fixture
from rig.geometry.placed import TOUCH_MM, Assembly, still
from rig.geometry.shapes import Prism, clearance

FIT_MM = 0.5
SIDE_MM = 0.4
"""Air either side of the blade in the slot."""


def checks(made: Assembly, bench: Bench) -> Iterator[str]:
    """Every fault of the frame, a line each."""
    of, frame = made.fixture, bench.frame
    yield from _crank(of, bench)
    yield from _slot(made, bench)
    yield from across(of, 0)
    if frame.drive.clutch_n > 0.9 * bench.cell.capacity_n:
        yield (
            f"the clutch slips at {frame.drive.clutch_n:g} N, more than nine tenths of the "
            f"cell's {bench.cell.capacity_n:g} N"
        )
    slope = math.tan(math.radians(frame.blade.slope_deg))
    least = (1000 * frame.blade.clear_m + of.layout["thin_strip"]) / slope
    if of.layout["edge_least"] < least:
        yield f"an edge of {of.layout['edge_least']:.0f} mm does not cut through: {least:.0f} do"


def _crank(of: Fixture, bench: Bench) -> Iterator[str]:
    stroke = 1000 * bench.frame.stroke.length_m
    wanted = stroke / 2 + of.layout["switch_lead"]
    if abs(of.layout["crank"] - wanted) > FIT_MM:
        yield (
            f"a crank of {of.layout['crank']:g} mm goes {travel_mm(of):g} mm; the switches stand "
            f"{stroke:g} mm apart and close {of.layout['switch_lead']:g} before its ends: it must "
            f"be {wanted:g}"
        )
    if of.layout["stop_spare"] < FIT_MM:
        yield "the carriage meets its rubber stops before the crank's dead centre"
    torque = bench.frame.drive.clutch_n * of.layout["crank"] / 1000
    if torque > of.layout["motor_nm"]:
        yield f"the clutch asks {torque:.2f} N·m of a motor of {of.layout['motor_nm']:g}"


def blade(made: Assembly, bench: Bench, edge_mm_long: float) -> Prism:
    """What dips into the table: a strip of the blade along its sloping edge, at home."""
    of = made.fixture
    slope = math.tan(math.radians(bench.frame.blade.slope_deg))
    right = of.layout["strip_from"] - of.layout["strip_gap"]
    z, left = edge_mm(of, bench.frame), right - edge_mm_long
    low, half = z - edge_mm_long * slope, of.layout["edge_thick"] / 2 + of.layout["edge_play"]
    return Prism(((left, low), (right, z), (right, z + 6), (left, low + 6)), -half, half)


def _slot(made: Assembly, bench: Bench) -> Iterator[str]:
    of = made.fixture
    dip = dip_mm(of, bench.frame, of.layout["thin_strip"], of.layout["edge_long"])
    if dip + of.layout["dip_spare"] > of.layout["slot_deep"]:
        most = of.layout["slot_deep"] - of.layout["dip_spare"]
        yield (
            f"an edge of {of.layout['edge_long']:.0f} mm dips {dip:.1f} mm below the table's top "
            f"on a strip of {of.layout['thin_strip']:g} mm; the slot leaves {most:.1f}: the edge "
            "meets steel; a deeper slot"
        )
    wide = of.layout["edge_thick"] + 2 * (of.layout["edge_play"] + SIDE_MM)
    if wide > of.layout["slot"] + TOUCH_MM:
        yield f"the slot is {of.layout['slot']:g} mm wide, the blade needs {wide:.1f} there"
    edge = blade(made, bench, of.layout["edge_long"])
    found: set[str] = set()
    for number, pose in enumerate(made.poses):
        moved = pose.get("carriage", still)(edge)
        for n, solid in made.at(number).items():
            body = made.bodies[n]
            if body.piece.group != "frame" or body.key in ("strip", *found):
                continue
            if clearance(moved, solid) < -TOUCH_MM:
                found.add(body.key)
                yield f"the edge runs into {body.key}"
