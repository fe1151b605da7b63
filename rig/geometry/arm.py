"""Pry jig and twist jig put together: one head and one arm, two ways to hold a blade."""

import math
from collections.abc import Sequence

from rig.errors import RigError
from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly, Body, Centre, Pose, bodies, turned

STEP_DEG = 4.0
TOUCH_DEG = 0.1
"""Short of the stops, which the cheeks touch on purpose."""


def pry(of: Fixture, stop_deg: float) -> Assembly:
    """The pry jig, its arm going from stop to stop, so many degrees either side."""
    places = head(of, stop_deg) | seat(of) | arm(of)
    return Assembly(of, bodies(of, places), sweep(stop_deg - TOUCH_DEG))


def with_holes(of: Fixture, stops_deg: Sequence[float], stop_deg: float) -> Fixture:
    """The pry jig with the head plates' holes that its measuring figures ask for.

    Args:
        of: its parts.
        stops_deg: known stops, a hole for the index pin at each.
        stop_deg: the solid stops, either side; each bolt so far beyond that a cheek meets it.
    """
    head, pin = of.piece["head"], of.piece["cheek"].holes
    index = next(hole for hole in pin if hole.use == "index pin")
    bolt = of.piece["stop"].size_mm[0]
    at = tuple(on_circle(of, angle) for angle in sorted(stops_deg))
    stops = tuple(on_circle(of, angle) for angle in stop_angles_deg(of, stop_deg))
    more = (
        index.model_copy(update={"at_mm": at}),
        index.model_copy(update={"use": "solid stop", "dia_mm": bolt, "at_mm": stops}),
    )
    drilled = head.model_copy(update={"holes": (*head.holes, *more)})
    return of.model_copy(update={"piece": of.piece | {"head": drilled}})


def sweep(reach_deg: float) -> tuple[dict[str, Pose], ...]:
    """Poses of the arm from one side to the other."""
    steps = 2 * math.ceil(reach_deg / STEP_DEG)
    return tuple({"arm": turned(reach_deg * (2 * n / steps - 1))} for n in range(steps + 1))


def stop_angles_deg(of: Fixture, stop_deg: float) -> tuple[float, float]:
    """Where the stop bolts stand, up (negative) and down: a cheek's edge comes to lie on them."""
    high, low = edges_mm(of)
    bolt = of.piece["stop"].size_mm[0] / 2
    return (-stop_deg - beyond_deg(of, high + bolt), stop_deg + beyond_deg(of, low + bolt))


def beyond_deg(of: Fixture, off_mm: float) -> float:
    """Angle from the middle of an arm to the pin or bolt that its edge meets `off_mm` beside it.

    Raises:
        RigError: the hole circle is too small for it.
    """
    radius = of.layout["hole_radius"]
    if off_mm >= radius:
        raise RigError(
            f"a hole circle of {radius:g} mm has no room for the arm's cheeks and a stop",
            where="pry.parts.layout.hole_radius", remedy=f"make it well above {off_mm:g}",
        )  # fmt: skip
    return math.degrees(math.asin(off_mm / radius))


def edges_mm(of: Fixture) -> tuple[float, float]:
    """A cheek's upper and lower edge from the axis."""
    half, off = of.piece["cheek"].size_mm[2] / 2, _cheek_z(of)
    return half + off, half - off


def _cheek_z(of: Fixture) -> float:
    """Middle of a cheek, from its hole for the stub shaft."""
    stub = next(hole for hole in of.piece["cheek"].holes if hole.use == "stub")
    return -stub.at_mm[0][1]


def on_circle(of: Fixture, degrees: float) -> tuple[float, float]:
    """A point of the hole circle; positive goes down, as the arm counts."""
    r, a = of.layout["hole_radius"], math.radians(degrees)
    return r * math.cos(a), -r * math.sin(a)


def head(of: Fixture, stop_deg: float) -> dict[str, list[Centre]]:
    """What stands: plates, spacers, upright, bearings, stops, sensor, shield."""
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    plate = at["plates_apart"] / 2 + size["head"][1] / 2
    outside = at["plates_apart"] / 2 + size["head"][1]
    spots = next(hole for hole in of.piece["head"].holes if hole.use == "spacer").at_mm
    upright_z = size["upright"][2] / 2 - at["axis_high"]
    return {
        "head": [(0, y, 0) for y in (-plate, plate)],
        "spacer": [(x, 0, z) for x, z in spots],
        "upright": [(0, outside + size["upright"][1] / 2, upright_z)],
        "foot": [(0, 45, -at["axis_high"] - size["foot"][2] / 2)],
        "bearing": [(0, y, 0) for y in (-plate, plate)],
        "stop": [
            (x, 0, z) for x, z in (on_circle(of, angle) for angle in stop_angles_deg(of, stop_deg))
        ],
        "sensor": [(0, outside + size["upright"][1] + size["sensor"][1] / 2, 0)],
        "shield": [(0, -outside - 24, 0)],
    }


def seat(of: Fixture) -> dict[str, list[Centre]]:
    """What holds the block of wood, and the block."""
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    x, z = -10.0, next(h for h in of.piece["head"].holes if h.use == "foot").at_mm[2][1]
    floor = -size["block"][2] / 2
    press = size["press"][2] / 2 - floor
    under = z - size["foot_bar"][2] / 2 - size["press_plate"][2] / 2
    return {
        "foot_bar": [(x, 0, -z), (x, 0, z)],
        "pedestal": [(x - 20, 0, floor - size["pedestal"][2] / 2)],
        "press_plate": [(x - 15, 0, under)],
        "press": [(x - 15 + u, 0, press) for u, _ in of.piece["press_plate"].holes[0].at_mm],
        "block": [(-size["block"][0] / 2, 0, 0)],
    }


def arm(of: Fixture) -> dict[str, list[Centre]]:
    """What turns, the arm level."""
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    inside = at["cheeks_apart"] / 2
    cheek_y, cheek_z = inside + size["cheek"][1] / 2, _cheek_z(of)
    stub_y = inside - 2 + size["stub"][1] / 2
    jaw_x, half = at["jaw_from"] + size["low_jaw"][0] / 2, at["blade_thick"] / 2
    level: dict[str, list[Centre]] = {
        "stub": [(0, y, 0) for y in (-stub_y, stub_y)],
        "cheek": [(0, y, cheek_z) for y in (-cheek_y, cheek_y)],
        "low_jaw": [(jaw_x, 0, -half - size["low_jaw"][2] / 2)],
        "high_jaw": [(jaw_x, 0, half + size["high_jaw"][2] / 2)],
        "weight": [(-at["weight_x"], 0, cheek_z)],
        "arm_shield": [(120, 0, half + size["high_jaw"][2] + size["arm_shield"][2] / 2)],
    }
    return level | _end(of, cheek_z - size["cheek"][2] / 2)


def _end(of: Fixture, under_mm: float) -> dict[str, list[Centre]]:
    """Cross bar, fingers, cell and end plate, one below the other, under the knife."""
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    length_mm = of.layout["pull_from"]
    free = of.piece["cell"].holes[1].at_mm[-1][0]  # the cell's outermost hole
    grooved = of.piece["end"].holes[0].at_mm[-1][0]
    cell_x = length_mm - 1 - free
    fixed = of.piece["cell"].holes[0].at_mm
    bar_x = cell_x + fixed[0][0] - of.piece["bar"].holes[1].at_mm[0][0]
    z = under_mm
    made: dict[str, list[Centre]] = {}
    finger_x = cell_x + fixed[0][0] - of.piece["high_finger"].holes[0].at_mm[0][0]
    shim_x = cell_x + (fixed[0][0] + fixed[1][0]) / 2
    for key, x in (("bar", bar_x), ("high_finger", finger_x), ("shim", shim_x), ("cell", cell_x),
                   ("shim", shim_x), ("low_finger", finger_x)):  # fmt: skip
        made.setdefault(key, []).append((x, 0.0, z - size[key][2] / 2))
        z -= size[key][2]
    cell_low = made["cell"][0][2] - size["cell"][2] / 2
    end_z = cell_low - size["end"][2] / 2
    made["end"] = [(cell_x + free - grooved, 0.0, end_z)]
    made["stirrup"] = [(length_mm, 0.0, end_z - size["stirrup"][2] / 2)]
    return made


def moment_kg_mm(made: Assembly | Sequence[Body]) -> float:
    """Mass times distance from the axis, of all that turns but the counterweight, level."""
    these = made.bodies if isinstance(made, Assembly) else made
    return sum(
        body.piece.one_kg * body.centre[0]
        for body in these
        if body.piece.group == "arm" and body.key != "weight"
    )
