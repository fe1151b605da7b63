"""The drop tower put together: what stands where follows from its parts and layout."""

from rig.geometry.parts import Fixture
from rig.geometry.placed import Assembly, Centre, bodies, shifted

STEP_MM = 50.0
FEELER_MM = 0.2
"""Air between wedge and rail, and between what slides and what stands."""


def top_mm(of: Fixture) -> float:
    """The rods' upper end: underside of the top plate."""
    return of.piece["rod"].size_mm[2]


def beam_mm(of: Fixture) -> float:
    """Underside of the lower beam with the striker resting on an edge."""
    return of.layout["contact"] + of.layout["striker_reach"]


def head_mm(of: Fixture) -> float:
    """Underside of the cross-head with the carriage hung on it at contact height."""
    return beam_mm(of) + of.piece["plate"].size_mm[2] + of.layout["hook_reach"]


def available_m(of: Fixture) -> float:
    """The highest drop that the rods leave, below the top plate, its clamps and the cross-head."""
    head, clamp = of.piece["head"].size_mm[2], of.piece["flange"].size_mm[2]
    above = max(clamp, of.layout["latch_height"] - clamp)
    return (top_mm(of) - head_mm(of) - head - above - clamp) / 1000


def assemble(of: Fixture, drop_m: float) -> Assembly:
    """The tower, its carriage going from below contact up to `drop_m` above it."""
    low, high = -of.layout["under_travel"], 1000 * drop_m
    steps = max(2, round((high - low) / STEP_MM))
    ways = [low + (high - low) * n / steps for n in range(steps + 1)]
    poses = tuple({"carriage": shifted(dz=z), "head": shifted(dz=high)} for z in ways)
    places = _pillars(of) | _seat(of) | _carriage(of) | _catch(of) | _head(of) | _guard(of)
    return Assembly(of, bodies(of, places), poses)


def _pillars(of: Fixture) -> dict[str, list[Centre]]:
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    half, top, clamp = of.layout["rod_spacing"] / 2, top_mm(of), size["flange"][2]
    foot = of.layout["contact"] + 6 + size["bridge"][2] / 2
    rail_y = of.layout["catch_off"]
    bridge_y = rail_y - (size["rail"][1] + size["bridge"][1]) / 2
    block_y = bridge_y - (size["bridge"][1] + size["block"][1]) / 2
    return {
        "rod": [(x, 0, top / 2) for x in (-half, half)],
        "base": [(0, 0, -size["base"][2] / 2)],
        "flange": [(x, 0, z) for z in (clamp / 2, top - clamp / 2) for x in (-half, half)],
        "top": [(0, 0, top + size["top"][2] / 2)],
        "rail": [(0, rail_y, foot - size["bridge"][2] / 2 + size["rail"][2] / 2)],
        "bridge": [(0, bridge_y, foot)],
        "block": [(x, block_y, foot) for x in (-half, half)],
    }


def _seat(of: Fixture) -> dict[str, list[Centre]]:
    """Anvil, clamp, and what stands beside them."""
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    anvil, contact = size["anvil"][2], of.layout["contact"]
    floor = contact - of.layout["blade_high"]
    aside = size["jaw"][0] / 2 + of.layout["blade_thick"] / 2
    return {
        "anvil": [(0, 0, anvil / 2)],
        "clamp": [(0, 0, anvil + size["clamp"][2] / 2)],
        "jaw": [(x, 0, floor + size["jaw"][2] / 2) for x in (-aside, aside)],
        "encoder": [(-118, 60, size["encoder"][2] / 2)],
        "gate": [(-124, -23, contact + of.layout["striker_reach"] + 16)],
    }


def _carriage(of: Fixture) -> dict[str, list[Centre]]:
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    half, low = of.layout["rod_spacing"] / 2, beam_mm(of)
    middle = low + size["plate"][2] / 2
    face = -20.0  # mounting face of the housings before the rods' plane, as bought
    apart = of.layout["housing_apart"] / 2
    reach = of.layout["striker_reach"]
    return {
        "plate": [(0, face - size["plate"][1] / 2, middle)],
        "housing": [(x, face + size["housing"][1] / 2, middle + z)
                    for x in (-half, half) for z in (-apart, apart)],
        "low": [(0, face + size["low"][1] / 2, low + size["low"][2] / 2)],
        "high": [(0, face + size["high"][1] / 2, middle + (size["plate"][2] - 16) / 2)],
        "striker": [(0, 0, low - size["striker"][2] / 2)],
        "soft": [(0, 0, low - reach + size["soft"][2] / 2)],
        "eye": [(0, 0, low + size["plate"][2] + size["eye"][2] / 2)],
        "flag": [(-115, face - 3, low + size["flag"][2] / 2)],
        "ballast": [(0, -8, low + size["low"][2] + size["ballast"][2] / 2)],
        "catch_coil": [(0, -8, low + 104)],
    }  # fmt: skip


def _catch(of: Fixture) -> dict[str, list[Centre]]:
    """Block, wedge and cheek about the rail, a pad under either."""
    size = {key: piece.size_mm for key, piece in of.piece.items()}
    rail_y, rail = of.layout["catch_off"], size["rail"][1] / 2
    middle = beam_mm(of) + size["plate"][2] - size["catch"][2] / 2
    high_back = -20.0 + size["high"][1]
    block_y = high_back + size["catch"][1] / 2
    cheek_y = rail_y + rail + FEELER_MM + size["cheek"][1] / 2
    pad_z = middle - size["catch"][2] / 2 - size["pad"][2] / 2
    return {
        "catch": [(0, block_y, middle)],
        "wedge": [(0, rail_y - rail - FEELER_MM - size["wedge"][1] / 2, middle)],
        "cheek": [(0, cheek_y, middle)],
        "pad": [(0, block_y, pad_z), (0, cheek_y, pad_z)],
    }


def _head(of: Fixture) -> dict[str, list[Centre]]:
    size, low = {key: piece.size_mm for key, piece in of.piece.items()}, head_mm(of)
    half, thick = of.layout["rod_spacing"] / 2, size["head"][2]
    return {
        "head": [(0, 0, low + thick / 2)],
        "head_flange": [(x, 0, low + thick + size["head_flange"][2] / 2) for x in (-half, half)],
        "hook": [(0, 0, low - size["hook"][2] / 2)],
        "latch_coil": [(0, 0, low + thick + size["latch_coil"][2] / 2)],
    }


def _guard(of: Fixture) -> dict[str, list[Centre]]:
    size, at = {key: piece.size_mm for key, piece in of.piece.items()}, of.layout
    low = size["front"][2] / 2 - 20
    high = at["guard_low_high"] + size["shaft_front"][2] / 2
    deep = (at["guard_back"] - at["guard_front"]) / 2
    side = size["shaft_front"][0] / 2 - size["shaft_side"][0] / 2
    half = size["shaft_side"][1] / 2
    return {
        "front": [(0, -at["guard_front"] - size["front"][1] / 2, low)],
        "back": [(0, at["guard_back"] + size["back"][1] / 2, low)],
        "side": [(x, deep, low) for x in
                 (-at["guard_side"] - size["side"][0] / 2, at["guard_side"] + size["side"][0] / 2)],
        "shaft_front": [(0, -half - size["shaft_front"][1] / 2, high)],
        "shaft_side": [(x, 0, high) for x in (-side, side)],
        "shaft_back": [(0, half + size["shaft_back"][1] / 2, high)],
    }  # fmt: skip
