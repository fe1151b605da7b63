"""The cutting frame put together: what stands where follows from its parts and layout."""

import math

from rig.bench import CuttingFrame
from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly, Centre, bodies, shifted

STEP_MM = 22.0
FACE_MM = 20.0
"""Mounting face of a bushing's housing above the rod's axis, as bought."""


def travel_mm(of: Fixture) -> float:
    """From dead centre to dead centre."""
    return 2 * of.layout["crank"]


def edge_mm(of: Fixture, frame: CuttingFrame) -> float:
    """Height of the edge where the cutting begins, at home."""
    strip = 1000 * (frame.media.thickest_m + frame.blade.clear_m)
    return of.piece["table"].size_mm[2] + strip


def dip_mm(of: Fixture, frame: CuttingFrame, strip_mm: float, edge_length_mm: float) -> float:
    """How deep below the table's top the edge comes over the strip's near end.

    The part of the edge that gets there within the stroke, by the slope; the thinner the strip the
    deeper, because the edge is hung so far above the strip.
    """
    used = min(edge_length_mm, travel_mm(of) - of.layout["strip_gap"] + 10)
    slope = math.tan(math.radians(frame.blade.slope_deg))
    return used * slope - 1000 * frame.blade.clear_m - strip_mm


def assemble(of: Fixture, frame: CuttingFrame) -> Assembly:
    """The frame, its carriage going from dead centre to dead centre."""
    way = travel_mm(of)
    steps = math.ceil(way / STEP_MM)
    poses = tuple({"carriage": shifted(dx=way * n / steps)} for n in range(steps + 1))
    return Assembly(of, bodies(of, _stands(of) | _media(of) | _carriage(of, frame)), poses)


def _stands(of: Fixture) -> dict[str, list[Centre]]:
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    half, high, middle = at["rod_apart"] / 2, at["rod_high"], 80.0
    ends = 165.0
    block = at["housing_apart"] / 2 + size["housing"][0] / 2
    rings = (-block - at["stop_spare"] - size["ring"][0] / 2,
             block + travel_mm(of) + at["stop_spare"] + size["ring"][0] / 2)  # fmt: skip
    wall = size["guard_end"][1] / 2
    long, tall = size["guard_front"][0] / 2, size["guard_front"][2] / 2 - 12
    return {
        "rod": [(middle, y, high) for y in (-half, half)],
        "base": [(middle, 0, -size["base"][2] / 2)],
        "post": [
            (middle + x, y, size["post"][2] / 2) for x in (-ends, ends) for y in (-half, half)
        ],
        "ring": [(x, y, high) for x in rings for y in (-half, half)],
        "guard_front": [(GUARD_X, -wall - size["guard_front"][1] / 2, tall)],
        "guard_back": [(GUARD_X, wall + size["guard_back"][1] / 2, tall)],
        "guard_end": [(GUARD_X + x, 0, tall) for x in (6 - long, long - 6)],
        "guard_top": [(GUARD_X, 3, tall + (size["guard_front"][2] + size["guard_top"][2]) / 2)],
        "switch": [(x, half + 40, high) for x in (-60.0, 60.0 + travel_mm(of))],
    }


GUARD_X = -5.0


def _media(of: Fixture) -> dict[str, list[Centre]]:
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    x = at["strip_from"] + size["strip"][0] / 2
    top, aside = size["table"][2], at["slot"] / 2 + size["table"][1] / 2
    foot_y = at["slot"] / 2 + 2 + size["foot"][1] / 2
    foot_z = top + size["strip"][2] + size["foot"][2] / 2
    return {
        "table": [(x, y, top / 2) for y in (-aside, aside)],
        "strip": [(x, 0, top + size["strip"][2] / 2)],
        "foot": [(x, y, foot_z) for y in (-foot_y, foot_y)],
    }


def _carriage(of: Fixture, frame: CuttingFrame) -> dict[str, list[Centre]]:
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    half, apart = at["rod_apart"] / 2, at["housing_apart"] / 2
    under = at["rod_high"] + FACE_MM
    top = under + size["plate"][2]
    jaw_low = edge_mm(of, frame) + at["jaw_over_edge"]
    jaw_y = size["carrier"][1] / 2 + size["jaw"][1] / 2
    angle_x = -50 + size["angle"][0] / 2
    shim_x = -50 - size["shim"][0] / 2
    cell_x = shim_x - size["shim"][0] / 2 - size["cell"][0] / 2
    cell_z = top + size["cell"][2] / 2
    fixed = of.piece["cell"].holes[0].at_mm
    shim_z = cell_z + (fixed[0][1] + fixed[1][1]) / 2
    return {
        "housing": [(x, y, under - size["housing"][2] / 2)
                    for x in (-apart, apart) for y in (-half, half)],
        "plate": [(0, 0, under + size["plate"][2] / 2)],
        "carrier": [(0, 0, under - size["carrier"][2] / 2)],
        "jaw": [(0, y, jaw_low + size["jaw"][2] / 2) for y in (-jaw_y, jaw_y)],
        "angle": [(angle_x, 0, top + size["angle"][2] / 2)],
        "shim": [(shim_x, 0, shim_z)],
        "cell": [(cell_x, 0, cell_z)],
        "pull": [(cell_x - size["cell"][0] / 2 - size["pull"][0] / 2, 0,
                  cell_z + size["cell"][2] / 2 - 14)],
    }  # fmt: skip
