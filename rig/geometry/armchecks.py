"""What must hold for the arm, its head and the blade in it, besides parts that stay clear."""

from collections.abc import Iterable, Iterator

from rig.bench import Bench
from rig.geometry import loads
from rig.geometry.arm import moment_kg_mm
from rig.geometry.parts import YIELD_MPA, Fixture
from rig.geometry.placed import TOUCH_MM, Assembly
from rig.geometry.shapes import Prism, box, clearance

FACTOR = 2.0
"""Least safety factor of every part here; common practice, no source."""
G_M_S2 = 9.80665
BUILT_MM = 2.0
"""A measured length may differ from the drawing by so much."""
ROOT_MM = 10.1
"""Core of an M12 thread (ISO 261, from memory)."""


def checks(made: Assembly, bench: Bench) -> Iterator[str]:
    """Every fault of the pry jig, a line each."""
    of = made.fixture
    yield from _measured(of, bench)
    yield from balance(
        made, of.layout["weight_x"], of.layout["weight_play"], of.layout["blade_weight_nm"]
    )
    yield from _room_below(made)
    yield from _knife(made, bench)
    yield from _retract(of, bench)
    yield from across(of, 2)
    yield from _cell(of, bench)
    yield from _strength(of, bench)


def _measured(of: Fixture, bench: Bench) -> Iterator[str]:
    arm = bench.pry.arm
    for key, value in (("pull_from", arm.length_m), ("jaw_from", arm.free_m)):
        if abs(1000 * value - of.layout[key]) > BUILT_MM:
            yield (
                f"{'length_m' if key == 'pull_from' else 'free_m'} is {1000 * value:g} mm, the "
                f"parts make {of.layout[key]:g}: measure again, or write your parts' {key}"
            )


def balance(made: Assembly, middle: float, play: float, blade_nm: float) -> Iterator[str]:
    """The counterweight must take arm alone and arm with the heaviest blade."""
    weight = made.fixture.piece["weight"].one_kg
    bare = moment_kg_mm(made) / weight
    laden = bare + 1000 * blade_nm / G_M_S2 / weight
    low, high = middle - play, middle + play
    if bare < low or laden > high:
        yield (
            f"counterweight of {weight:.2f} kg must go from {bare:.0f} to {laden:.0f} mm behind "
            f"the axis to balance the arm without and with the heaviest blade; it goes from "
            f"{low:.0f} to {high:.0f}: another weight or another slot"
        )


def _room_below(made: Assembly) -> Iterator[str]:
    of = made.fixture
    floor = -of.layout["axis_high"]
    lowest = min(
        solid.span("z")[0]
        for number in range(len(made.poses))
        for n, solid in made.at(number).items()
        if made.bodies[n].piece.group == "arm"
    )
    turn = made.poses[-1]["arm"]
    tip = turn(box((of.layout["blade_long"] - 10, 0, 0), (20, 40, of.layout["handle_thick"])))
    lowest = min(lowest, tip.span("z")[0])
    if lowest < floor + 5:
        yield (
            f"the arm's end comes {-lowest:.0f} mm below the axis, the foot lies "
            f"{of.layout['axis_high']:.0f} below it: a higher upright"
        )
    groove = made.of("end").solid.span("z")[0]
    if groove - of.layout["hanger"] < floor:
        yield (
            f"the hanger needs {of.layout['hanger']:.0f} mm below the groove, "
            f"{groove - floor:.0f} are there: a higher upright"
        )


def knife(of: Fixture, depth_mm: float) -> dict[str, Prism]:
    """Every knife in the pry jig at once: the tip seated, the blade to its full length, and a
    handle anywhere behind the jaws, as a short knife has it."""
    at = of.layout
    long = at["blade_long"] - depth_mm
    blade = box(
        ((long - depth_mm) / 2, 0, 0), (long + depth_mm, at["blade_wide"], at["blade_thick"])
    )
    begin = at["jaw_from"] + of.piece["low_jaw"].size_mm[0] + 5
    grip = box(((begin + long) / 2, 0, 0), (long - begin, at["handle_wide"], at["handle_thick"]))
    return {"blade": blade, "handle": grip}


def _knife(made: Assembly, bench: Bench) -> Iterator[str]:
    of, depth = made.fixture, 1000 * bench.pry.pry.depth_m
    name = f"a knife of {of.layout['blade_long']:.0f} mm"
    yield from hits(made, knife(of, depth), name, ("block",))
    jaws = of.piece["low_jaw"].size_mm[0]
    needs = 1000 * bench.pry.arm.free_m + 0.6 * jaws + depth
    if of.layout["blade_short"] < needs:
        yield (
            f"a blank of {of.layout['blade_short']:.0f} mm does not reach from the block into "
            f"the jaws: {needs:.0f} mm are needed"
        )
    press = next(hole for hole in of.piece["high_jaw"].holes if hole.use == "press")
    between = 2 * min(abs(v) for _, v in press.at_mm) - 8
    if of.layout["blade_wide"] > between:
        wide = of.layout["blade_wide"]
        yield f"a blade {wide:.0f} mm wide does not pass between the jaws' screws"


def hits(made: Assembly, these: dict[str, Prism], name: str, but: Iterable[str]) -> Iterator[str]:
    """Parts that a blade in the arm runs into anywhere on the way, each once."""
    found = set()
    for number, pose in enumerate(made.poses):
        moved = {key: pose["arm"](solid) for key, solid in these.items()}
        for n, solid in made.at(number).items():
            body = made.bodies[n]
            if body.key in but or body.key in found:
                continue
            for part, blade in moved.items():
                if clearance(blade, solid) < -TOUCH_MM:
                    found.add(body.key)
                    yield f"the {part} of {name} runs into {body.key}"
                    break


def _retract(of: Fixture, bench: Bench) -> Iterator[str]:
    depth = 1000 * bench.pry.pry.depth_m
    if of.layout["retract"] < depth + 5:
        yield (
            f"the block slides back {of.layout['retract']:.0f} mm, the tip is seated "
            f"{depth:.0f} deep: the arm cannot be weighed and swept with the blade in it; make it "
            f"{depth + 5:.0f}"
        )


def across(of: Fixture, pull_axis: int) -> Iterator[str]:
    """A bending-beam cell feels what is square to its length."""
    size = of.piece["cell"].size_mm
    if size.index(max(size)) == pull_axis:
        yield "the load cell lies in line with the pull; a bending beam feels what is square to it"


def _cell(of: Fixture, bench: Bench) -> Iterator[str]:
    capacity, share = bench.cell.capacity_n, bench.pry.pry.capacity_share
    stops_at = of.layout["gap"] / of.layout["cell_bend"]
    if not share * 1.05 <= stops_at <= of.layout["cell_overload"] * 0.9:
        yield (
            f"the fingers stop the cell at {stops_at:.2f} times its capacity; wanted "
            f"{share * 1.05:.2f} to {of.layout['cell_overload'] * 0.9:.2f}: another gap"
        )
    pull = max(bench.pry.calibration.masses_kg) * G_M_S2
    if pull * bench.pry.arm.calibration_m / bench.pry.arm.length_m > capacity:
        yield (
            f"the largest weight pulls {pull:.0f} N, the cell is made for {capacity:.0f}: a "
            "smaller weight or a larger cell"
        )


def stresses_mpa(of: Fixture, bench: Bench) -> dict[str, tuple[float, float]]:
    """Stress and yield of what carries a strong pull: cheeks, stop bolt, index pin, jaw screws."""
    length, r = 1000 * bench.pry.arm.length_m, of.layout["hole_radius"]
    torque = of.layout["hand_n"] * length
    thick, high = of.piece["cheek"].size_mm[1:]
    bore = next(hole.dia_mm for hole in of.piece["cheek"].holes if hole.use == "index pin")
    net = 2 * (
        loads.modulus_rectangle(thick, high) - loads.modulus_rectangle(thick, bore) * bore / high
    )
    off = (of.layout["plates_apart"] + of.piece["head"].size_mm[1]) / 2
    off -= (of.layout["cheeks_apart"] + thick) / 2
    hung = max(bench.pry.calibration.masses_kg) * G_M_S2 * 1000 * bench.pry.arm.calibration_m
    gap = (of.layout["plates_apart"] - of.layout["cheeks_apart"]) / 2 - thick
    pin = of.piece["pin"].size_mm[0]
    jaws = of.piece["low_jaw"].size_mm[0]
    squeeze = torque / (2 / 3 * jaws) / 2 / loads.stress_area(8)
    return {
        "cheeks beside the index hole": (
            of.layout["hand_n"] * (length - r) / net, YIELD_MPA[of.piece["cheek"].material]),
        "stop bolt": (
            loads.cantilever_stress(torque / r / 2, off, loads.modulus_round(ROOT_MM)),
            YIELD_MPA[of.piece["stop"].material]),
        "index pin": (
            loads.cantilever_stress(hung / r, gap + thick / 2, loads.modulus_round(pin)),
            YIELD_MPA[of.piece["pin"].material]),
        "screws of the jaws": (squeeze, 640.0),
    }  # fmt: skip


def _strength(of: Fixture, bench: Bench) -> Iterator[str]:
    for name, (stress, limit) in stresses_mpa(of, bench).items():
        if stress * FACTOR > limit:
            yield f"{name}: {stress:.0f} MPa, yield {limit:.0f}, factor below {FACTOR:g}"
