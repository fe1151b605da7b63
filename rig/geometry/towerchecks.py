"""What must hold for the drop tower, besides parts that stay clear of one another."""

import math
from collections.abc import Iterator

from rig.bench import Tower
from rig.geometry import loads
from rig.geometry.parts import YIELD_MPA, Fixture
from rig.geometry.placed import TOUCH_MM, Assembly
from rig.geometry.shapes import box, clearance
from rig.geometry.tower import available_m, beam_mm, top_mm

MASS_KG = 0.010
"""Ballast is filed to the design's mass; the parts must come this near to it."""
OFF_CENTRE_MM = 3.0
FACTOR = 2.0
"""Least safety factor of every part here; common practice, no source."""
HOLDS = 5.0
"""The catch holds so many times what it carries."""
WAY_MM = (15.0, 100.0)
"""A stop shorter than this hammers; a longer one is none."""
G_M_S2 = 9.80665


def checks(made: Assembly, tower: Tower) -> Iterator[str]:
    """Every fault of the tower, a line each."""
    of = made.fixture
    yield from _height(of, tower)
    yield from _mass(made, tower)
    yield from _pin(of, tower)
    yield from _catch(of, tower)
    yield from _rail(of)
    yield from _specimens(made)
    yield from _wire(of, tower)


def _height(of: Fixture, tower: Tower) -> Iterator[str]:
    free, wanted = available_m(of), tower.travel.max_drop_m
    if wanted > free:
        energy = tower.carriage.mass_kg * of.layout["a_m_s2"] * free
        yield (
            f"rods of {top_mm(of):.0f} mm leave {1000 * free:.0f} mm of drop ({energy:.1f} J), "
            f"travel.max_drop_m says {1000 * wanted:.0f}: longer rods, or write {free:.2f}"
        )


def _mass(made: Assembly, tower: Tower) -> Iterator[str]:
    mass, wanted = made.fixture.mass_kg("carriage"), tower.carriage.mass_kg
    if not tower.carriage.weighed and abs(mass - wanted) > MASS_KG:
        yield (
            f"the carriage's parts weigh {mass:.3f} kg, carriage.mass_kg says {wanted:.3f}: "
            "change the ballast, or the figure"
        )
    falling = [body for body in made.bodies if body.piece.group == "carriage"]
    aside = sum(body.piece.one_kg * body.centre[0] for body in falling) / mass
    if abs(aside) > OFF_CENTRE_MM:
        yield (
            f"the carriage's centre of mass lies {aside:.1f} mm beside the striker, more than "
            f"{OFF_CENTRE_MM:g}: it would twist on the rods; move the ballast"
        )


def pin_stress_mpa(of: Fixture, fall_mm: float) -> float:
    """Bending of the locking pin when the carriage drops onto it.

    The pads are springs, E A / t; the pin is two short cantilevers out of the rail. Energy of the
    fall gives the force (loads.caught).
    """
    pad, pin, rail = (of.piece[key] for key in ("pad", "pin", "rail"))
    arm = pin_arm_mm(of)
    stiff = 2 * loads.cantilever_stiffness(arm, loads.inertia_round(pin.size_mm[0]))
    a, b, thick = pad.size_mm
    soft = pad.count * of.layout["pad_e_mpa"] * a * b / thick
    both = 1 / (1 / stiff + 1 / soft)
    weight = of.mass_kg("carriage") * of.layout["a_m_s2"]
    force = loads.caught(weight, fall_mm, both)
    return loads.cantilever_stress(force / 2, arm, loads.modulus_round(pin.size_mm[0])) * (
        1.0 if rail.size_mm[1] > 0 else math.inf
    )


def pin_arm_mm(of: Fixture) -> float:
    """From the rail's face to the middle of the farther pad."""
    catch, high, rail = (of.piece[key].size_mm for key in ("catch", "high", "rail"))
    front = of.layout["catch_off"] - rail[1] / 2
    return front - (-20.0 + high[1] + catch[1] / 2)


def _pin(of: Fixture, tower: Tower) -> Iterator[str]:
    stress = pin_stress_mpa(of, of.layout["pin_fall"])
    limit = YIELD_MPA[of.piece["pin"].material] / FACTOR
    if stress > limit:
        yield (
            f"locking pin: {stress:.0f} MPa when the carriage drops {of.layout['pin_fall']:g} mm "
            f"onto it, more than {limit:.0f} (factor {FACTOR:g}): a thicker pin, closer to the "
            "rail, or softer pads"
        )


def catch_forces_n(of: Fixture) -> tuple[float, float]:
    """Least and largest force of the catch: 2 mu N, both faces rubbing."""
    n = of.layout["spring_n"]
    return 2 * of.layout["mu_low"] * n, 2 * of.layout["mu_high"] * n


def stop_mm(of: Fixture, mass_kg: float, speed_m_s: float, force_n: float) -> float:
    """Way on which that force stops the falling carriage, m v^2 / (2 (F - W)); inf if it slips."""
    weight = mass_kg * of.layout["a_m_s2"]
    if force_n <= weight:
        return math.inf
    return 1000 * mass_kg * speed_m_s**2 / (2 * (force_n - weight))


def _catch(of: Fixture, tower: Tower) -> Iterator[str]:
    mass = tower.carriage.mass_kg
    least, most = catch_forces_n(of)
    weight = mass * of.layout["a_m_s2"]
    speed = math.sqrt(2 * of.layout["a_m_s2"] * tower.travel.max_drop_m)
    if least < HOLDS * weight:
        yield f"catch: holds {least:.0f} N at least, less than {HOLDS:g} times {weight:.0f} N"
    short, long = (stop_mm(of, mass, speed, force) for force in (most, least))
    if short < WAY_MM[0] or long > WAY_MM[1]:
        yield (
            f"catch: stops the full fall in {short:.0f} to {long:.0f} mm; wanted "
            f"{WAY_MM[0]:g} to {WAY_MM[1]:g}: another spring_n"
        )
    if not loads.wedge_bites(of.layout["ramp_deg"], of.layout["mu_low"], of.layout["mu_ramp"]):
        yield (
            f"catch: a wedge of {of.layout['ramp_deg']:g} degrees slips instead of biting at a "
            f"friction of {of.layout['mu_low']:g}: a flatter ramp"
        )
    side = most * of.layout["catch_off"] / of.layout["housing_apart"] / 2
    if side * FACTOR > of.layout["bushing_n"]:
        yield (
            f"catch: presses {side:.0f} N on a bushing rated {of.layout['bushing_n']:.0f} N, "
            f"factor below {FACTOR:g}: the rail nearer to the rods, bushings farther apart"
        )
    if of.layout["catch_off"] - of.piece["rail"].size_mm[1] / 2 <= of.piece["rod"].size_mm[0] / 2:
        yield "catch: it grips in the rods' plane; it must never bite a rod that bushings run on"


def _rail(of: Fixture) -> Iterator[str]:
    end = of.layout["contact"] + 6 + of.piece["rail"].size_mm[2]
    if abs(end - top_mm(of)) > 1:
        yield (
            f"brake rail ends at {end:.0f} mm, the top plate lies at {top_mm(of):.0f}: make it "
            f"{of.piece['rail'].size_mm[2] + top_mm(of) - end:.0f} mm long"
        )


def _specimens(made: Assembly) -> Iterator[str]:
    """Longest knife and shortest blank, at every place of a blow, clear of what stands."""
    of = made.fixture
    at = of.layout
    long, handle = at["blade_long"], at["handle_long"]
    near_tip = long - handle - at["place_from_handle"]
    for back in (at["place_from_tip"], near_tip):
        begin = -(long - handle - back)
        blade = box((0, (begin + back) / 2, at["contact"] - at["blade_high"] / 2),
                    (at["blade_thick"], back - begin, at["blade_high"]))  # fmt: skip
        grip_z = at["contact"] - at["blade_high"] + 15
        end = -at["place_from_handle"]  # a short knife's handle begins here
        grip = box(
            (0, (begin - handle + end) / 2, grip_z), (at["handle_thick"], end - begin + handle, 40)
        )
        for name, solid in (("blade", blade), ("handle", grip)):
            for body in made.bodies:
                if body.piece.group == "frame" and clearance(solid, body.solid) < -TOUCH_MM:
                    yield (
                        f"the {name} of a knife of {long:.0f} mm, struck {back:.0f} mm from its "
                        f"tip, runs into {body.key}"
                    )
    if at["blade_short"] < of.piece["jaw"].size_mm[1] + 2 * at["place_from_tip"]:
        yield f"a blank of {at['blade_short']:.0f} mm is too short for the jaws"
    held = at["blade_low"] - (at["blade_high"] - of.piece["jaw"].size_mm[2])
    if held < 0:
        yield f"a blade {at['blade_low']:.0f} mm high does not reach into the jaws"
    if of.piece["soft"].size_mm[2] > beam_mm(of) - at["contact"]:
        yield "the soft rod is thicker than the striker's reach"


def _wire(of: Fixture, tower: Tower) -> Iterator[str]:
    encoder = of.piece["encoder"].size_mm[2]
    drawn = (beam_mm(of) - encoder) / 1000 + tower.travel.max_drop_m
    if drawn > of.layout["wire_reach_m"]:
        yield (
            f"the draw-wire reaches {of.layout['wire_reach_m']:g} m; the raised carriage is "
            f"{drawn:.2f} m above the encoder: a longer one, or the encoder higher"
        )
