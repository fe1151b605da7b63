"""The twist jig put together: its parts on the pry jig's head and arm."""

from rig.geometry import arm
from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly, Centre, bodies

OFF = ("block", "shield", "press", "press_plate")
"""Of the pry jig's parts, those that are taken off for twisting."""


def assemble(of: Fixture, pry: Fixture, reach_deg: float, stop_deg: float) -> Assembly:
    """Both together, the arm going as far as the index pins let it.

    Args:
        of: the twist jig's parts.
        pry: the pry jig's.
        reach_deg: how far the arm goes either way.
        stop_deg: the pry jig's solid stops.
    """
    both = of.model_copy(update={"piece": pry.piece | of.piece})
    weight = {"weight_x": of.layout["weight_x"]}
    pry = pry.model_copy(update={"layout": pry.layout | weight})
    places = arm.head(pry, stop_deg) | arm.seat(pry) | arm.arm(pry)
    kept = {key: where for key, where in places.items() if key not in OFF}
    return Assembly(both, bodies(both, kept | _station(of, pry)), arm.sweep(reach_deg))


def _station(of: Fixture, pry: Fixture) -> dict[str, list[Centre]]:
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    y, x = at["land_y"], at["carrier_x"]
    cheek = -pry.layout["cheeks_apart"] / 2 - pry.piece["cheek"].size_mm[1]
    plate = -pry.layout["plates_apart"] / 2 - pry.piece["head"].size_mm[1]
    under, jaw = -at["blade_thick"] / 2, at["jaw_from"] + size["spine_low"][0] / 2
    over = under + size["heel"][2]
    heel_x = at["jaw_from"] + size["spine_low"][0] - size["heel"][0] / 2
    block = size["twist_block"]
    arm_z = -size["carrier"][2] / 2 - size["twist_arm"][2] / 2
    arm_x = x + size["carrier"][0] / 2 - size["twist_arm"][0] / 2
    bracket_z = -block[2] / 2 - size["bracket"][2] / 2
    return {
        "weight2": [(size["weight2"][0] / 2 - pry.piece["cheek"].size_mm[0] / 2, 0, 0)],
        "carrier": [(x, cheek - size["carrier"][1] / 2, 0)],
        "twist_arm": [(arm_x, y, arm_z)],
        "spine_low": [(jaw, y, under - size["spine_low"][2] / 2)],
        "heel": [(heel_x, y, under + size["heel"][2] / 2)],
        "spine_high": [(jaw, y, over + size["spine_high"][2] / 2)],
        "twist_block": [(at["face_x"] - block[0] / 2, y, 0)],
        "bracket": [(-30, plate - size["bracket"][1] / 2, bracket_z)],
        "toe": [(at["face_x"] - block[0] - size["toe"][0] / 2, y, -5)],
        "twist_shield": [(0, y - 60, 0)],
    }
