"""The fixtures close, and each fault that once stood in their drawings is found again."""

from collections.abc import Mapping
from typing import Any

import pytest

from rig import bench as benches
from rig.bench import Bench
from rig.geometry import closure, loads, towerchecks
from rig.geometry.parts import Fixture, Piece

BENCH = benches.load(None)


def changed(part: str, **told: Any) -> dict[str, Fixture]:
    """The published fixtures with other sizes: `layout` figures by name, pieces by their fields."""
    fixtures = closure.design()
    of = fixtures[part]
    layout = {key: value for key, value in told.items() if key in of.layout}
    pieces: dict[str, Piece] = {}
    for key, value in told.items():
        if key not in layout:
            raw = of.piece[key].model_dump() | value
            pieces[key] = Piece.model_validate(raw)
    new = of.model_copy(update={"layout": of.layout | layout, "piece": dict(of.piece) | pieces})
    return fixtures | {part: new}


def said(fixtures: Mapping[str, Fixture], bench: Bench = BENCH) -> str:
    return "\n".join(closure.faults(bench, fixtures))


def with_travel(drop_m: float) -> Bench:
    tower = BENCH.tower
    travel = tower.travel.model_copy(update={"max_drop_m": drop_m})
    return BENCH.model_copy(update={"tower": tower.model_copy(update={"travel": travel})})


def test_the_published_fixtures_close() -> None:
    assert closure.faults(BENCH, closure.design()) == []


def test_every_part_stands_in_its_assembly_or_is_loose_on_purpose() -> None:
    fixtures = closure.design()
    made = closure.assembled(BENCH, fixtures)
    for part, fixture in fixtures.items():
        placed = {body.key for body in made[part].bodies}
        for key, piece in fixture.piece.items():
            assert key in placed or piece.group in ("pin", "shelf"), (part, key)
        items = [piece.item for piece in fixture.piece.values()]
        assert len(set(items)) == len(items)


def rods(length_mm: float) -> dict[str, Fixture]:
    return changed("tower", rod={"size_mm": (16.0, 16.0, length_mm)})


def test_rods_too_short_for_the_drop_are_refused_with_the_height_there_is() -> None:
    told = said(rods(1200.0))
    assert "rods of 1200 mm leave 628 mm of drop" in told and "travel.max_drop_m says 900" in told
    assert "brake rail ends at 1500 mm" in told


def test_a_higher_drop_than_the_rods_allow_is_refused() -> None:
    assert "travel.max_drop_m says 1500" in said(closure.design(), with_travel(1.5))


def test_a_carriage_that_cannot_pass_beside_the_anvil_is_found() -> None:
    wide = changed("tower", anvil={"size_mm": (150.0, 150.0, 120.0)})
    assert "rod and anvil run into one another" in said(wide)


def test_a_carriage_heavier_than_it_says_is_found() -> None:
    thick = changed("tower", plate={"size_mm": (200.0, 20.0, 140.0)})
    assert "the carriage's parts weigh" in said(thick)
    aside = changed("tower", flag={"mass_kg": 0.4}, ballast={"mass_kg": 0.01})
    assert "centre of mass lies" in said(aside)


def test_a_bare_pin_far_from_its_hold_bends_in_a_short_fall() -> None:
    # 10 mm of steel, 40 to 80 mm out, 25 to 50 mm of fall of 2 kg: yields every time.
    for arm_mm in (40.0, 80.0):
        for fall_mm in (25.0, 50.0):
            stiff = loads.cantilever_stiffness(arm_mm, loads.inertia_round(10.0))
            force = loads.caught(2 * 11.3, fall_mm, stiff)
            stress = loads.cantilever_stress(force, arm_mm, loads.modulus_round(10.0))
            assert 600 < stress < 1400
    hard = changed("tower", pin={"size_mm": (10.0, 330.0, 10.0)}, pad_e_mpa=2e5)
    assert "locking pin:" in said(hard)


def test_a_catch_that_bites_the_guide_rods_is_refused() -> None:
    assert "it must never bite a rod that bushings run on" in said(changed("tower", catch_off=0.0))


def test_a_catch_that_stops_too_hard_or_slips_is_refused() -> None:
    hard = said(changed("tower", spring_n=8000.0))
    assert "stops the full fall in" in hard and "on a bushing rated" in hard
    assert "holds 25 N at least" in said(changed("tower", spring_n=50.0))
    assert "slips instead of biting" in said(changed("tower", ramp_deg=14.0))
    tower = closure.design()["tower"]
    least, most = towerchecks.catch_forces_n(tower)
    way = [towerchecks.stop_mm(tower, 2.0, 4.51, force) for force in (most, least)]
    assert 25 < way[0] < way[1] < 60


def test_a_twist_jig_between_narrow_cheeks_takes_no_whole_knife() -> None:
    narrow = said(changed("twist", land_y=0.0))
    assert "runs into cheek" in narrow


def test_a_pry_arm_with_the_bar_in_the_blade_s_way_is_found() -> None:
    low = changed("pry", cheek={"size_mm": (400.0, 8.0, 20.0)}, cheeks_apart=62.0)
    assert "the handle of a knife of 350 mm runs into bar" in said(low)
    assert "holes of bar.cheek and cheek.bar are not in line" in said(low)


def test_a_block_that_does_not_slide_back_leaves_the_blade_s_weight_in() -> None:
    assert "weighed and swept with the blade in it" in said(changed("pry", retract=0.0))
    assert "free the edge" in said(changed("twist", retract=0.0))


def test_a_counterweight_too_near_to_balance_is_found() -> None:
    assert "must go from" in said(changed("pry", weight_x=92.0))


def test_a_twist_block_with_its_face_on_the_axis_is_found() -> None:
    assert "the edge would lie -3 mm off the axis" in said(changed("twist", face_x=0.0))


def test_a_shallow_slot_meets_the_edge_on_the_thinnest_strip() -> None:
    assert "the edge meets steel; a deeper slot" in said(changed("frame", slot_deep=6.0))
    assert "the slot is 2 mm wide" in said(changed("frame", slot=2.0))
    assert "edge runs into table" in said(changed("frame", slot=2.0))


def test_a_crank_of_half_the_stroke_never_closes_both_switches() -> None:
    assert "a crank of 75 mm goes 150 mm" in said(changed("frame", crank=75.0))


def test_a_bending_beam_in_line_with_the_pull_is_found() -> None:
    assert "in line with the pull" in said(changed("frame", cell={"size_mm": (130.0, 30.0, 22.0)}))
    assert "in line with the pull" in said(changed("pry", cell={"size_mm": (22.0, 30.0, 130.0)}))


def test_an_arm_that_reaches_below_the_bench_is_found() -> None:
    low = said(changed("pry", axis_high=185.0))
    assert "the arm's end comes" in low and "a higher upright" in low


def test_a_cell_without_a_stop_for_overload_is_found() -> None:
    assert "the fingers stop the cell at 7.50 times" in said(changed("pry", gap=3.0))


def test_screws_too_short_or_too_long_or_off_their_holes_are_found() -> None:
    tower = closure.design()["tower"]
    for old, new, words in (
        ("M5x35", "M5x22", "strip at"),
        ("M5x35", "M5x60", "too long for its thread"),
        ("M5x40", "M5x30", "too short"),
    ):
        joint = tuple(
            one.model_copy(update={"screw": new}) if one.screw == old else one
            for one in tower.joint
        )
        fixtures = closure.design() | {"tower": tower.model_copy(update={"joint": joint})}
        assert words in said(fixtures)
    assert "not in line" in said(changed("tower", rod_spacing=151.0))


@pytest.mark.parametrize("factor", [1.3, 3.0])
def test_a_weak_part_is_named_with_its_stress(factor: float) -> None:
    told = said(changed("pry", hand_n=400.0 * 10 * factor))
    assert "cheeks beside the index hole:" in told and "factor below 2" in told


def test_a_largest_weight_beyond_the_cell_is_refused() -> None:
    cell = BENCH.cell.model_copy(update={"capacity_n": 50.0})
    bench = BENCH.model_copy(update={"cell": cell})
    assert "the largest weight pulls 98 N" in said(closure.design(), bench)


def test_a_guard_too_thin_is_refused() -> None:
    thin = changed("tower", front={"size_mm": (462.0, 3.0, 500.0)})
    assert "front: a guard of 3 mm polycarbonate; 5 at least" in said(thin)
    wood = changed("frame", guard_back={"size_mm": (640.0, 4.0, 340.0)})
    assert "guard_back: a guard of 4 mm plywood; 9 at least" in said(wood)
