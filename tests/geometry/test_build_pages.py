"""What the fixtures' pages say of loads, specimens, hours and cost follows from their parts."""

import math
import re
from pathlib import Path

import pytest

from fixtures import netlist
from rig import bench as benches
from rig.drawings import lists
from rig.geometry import armchecks, closure, towerchecks
from rig.measure.section import bending_moment
from tests.fixtures.pages import FIXTURES, FRAME, PRY, SAFETY, TOWER, TWIST, table, words
from tests.published import load

BENCH = benches.load(None)
PARTS = closure.drilled(BENCH, closure.design())
CHEEKS = "cheeks beside the index hole"
MADE = closure.assembled(BENCH, closure.design())


def figures(folder: Path) -> dict[str, str]:
    return {row[0]: row[1] for row in table(folder / "README.md", "part under load")}


def test_the_tower_s_loads_on_its_page_are_those_checked() -> None:
    of, told = PARTS["tower"], figures(TOWER)
    speed = math.sqrt(2 * of.layout["a_m_s2"] * BENCH.tower.travel.max_drop_m)
    least, most = towerchecks.catch_forces_n(of)
    way = [towerchecks.stop_mm(of, 2.0, speed, force) for force in (least, most)]
    pin = towerchecks.pin_stress_mpa(of, of.layout["pin_fall"])
    assert told["locking pin, carriage dropped 25 mm onto it"] == f"{pin:.0f} MPa, yield 900"
    assert told["catch, grip"] == f"{least:.0f} to {most:.0f} N"
    assert told["catch, way to stop the full fall"] == f"{way[0]:.0f} to {way[1]:.0f} mm"
    side = most * of.layout["catch_off"] / of.layout["housing_apart"] / 2
    assert told["one bushing when the catch grips"] == f"{side:.0f} N, rated 1180"
    assert f"stops the carriage in {way[1]:.0f} to {way[0]:.0f} mm" in words(TOWER / "README.md")
    assert f"still goes on for {way[1]:.0f} to {way[0]:.0f} mm" in words(SAFETY)


def test_the_arm_s_loads_on_its_page_are_those_checked() -> None:
    told = figures(PRY)
    stresses = armchecks.stresses_mpa(PARTS["pry"], BENCH)
    for row, key in (
        (f"{CHEEKS}, hand pulls 400 N at the stop", CHEEKS),
        ("stop bolt M12, the same", "stop bolt"),
        ("index pin 8 mm, 10 kg hung", "index pin"),
        ("screws of the jaws, the same as the cheeks", "screws of the jaws"),
    ):
        stress, limit = stresses[key]
        assert told[row] == f"{stress:.0f} MPa, yield {limit:.0f}"
    layout = PARTS["pry"].layout
    share = layout["gap"] / layout["cell_bend"]
    assert told["fingers stop the cell at"] == f"{share:.1f} of capacity"


@pytest.mark.parametrize(("folder", "part"), [(TOWER, "tower"), (PRY, "pry"), (TWIST, "twist")])
def test_the_specimens_on_a_page_are_those_that_the_checks_put_in(folder: Path, part: str) -> None:
    layout = PARTS[part].layout
    rows = {row[0]: row[1:] for row in table(folder / "README.md", "specimen")}
    overall = rows["whole knife or bare blank, overall"]
    assert overall == [f"{layout['blade_short']:g} mm", f"{layout['blade_long']:g} mm"]
    for name, low, high in (
        ("height, spine to edge", "blade_low", "blade_high"),
        ("width in the jaws", "", "blade_wide"),
    ):
        if name in rows and high in layout:
            assert rows[name][1] == f"{layout[high]:g} mm"
            assert not low or rows[name][0].startswith(f"{layout[low]:g} mm")


def test_the_frame_s_largest_edge_and_thickness_are_those_checked() -> None:
    rows = {row[0]: row[1:] for row in table(FRAME / "README.md", "specimen")}
    layout = PARTS["frame"].layout
    assert rows["bare blank, edge"][1] == f"{layout['edge_long']:g} mm"
    assert rows["whole knife, overall"][1] == f"{layout['knife_long']:g} mm"
    assert rows["thickness where it dips into the slot"][1] == f"{layout['edge_thick']:g} mm"


def test_the_full_rig_stays_within_its_budget_in_one_class_of_shop() -> None:
    electronics_eur, wiring_h = sum(netlist.read().costs_eur.values()), 6.0
    assert "Six hours with a soldering iron." in words(FIXTURES / "wiring.md")
    parts = sum(lists.parts_eur(PARTS[part], MADE[part]) for part in closure.PARTS)
    within, told = [], {}
    for shops in zip(*(PARTS[part].making for part in closure.PARTS), strict=True):
        assert len({shop.shop for shop in shops}) == 1
        eur = parts + electronics_eur + sum(shop.extra_eur for shop in shops)
        hours = wiring_h + sum(shop.hours for shop in shops)
        within.append(eur <= 1200 and hours <= 40)
        told[shops[0].shop] = (eur, hours)
    assert any(within)
    mill, drill = told["mill and lathe in the shop"], told["drill press, saw, hand tools"]
    text = words(FIXTURES.parent / "README.md")
    assert f"about {5 * round(mill[0] / 5):,.0f} EUR of parts and {mill[1]:.0f} hours" in text
    assert f"{drill[1]:.0f} with drill press, saw and hand tools" in text


def test_parts_lists_add_up() -> None:
    for part in closure.PARTS:
        page = lists.page(PARTS[part], MADE[part])
        costs = [
            float(row.rsplit("|", 2)[1]) for row in page.splitlines() if re.match(r"\| \d+ \|", row)
        ]
        assert sum(costs) == pytest.approx(sum(p.cost_eur for p in PARTS[part].piece.values()))


def test_the_moment_along_a_pried_blade_is_that_of_the_clamped_beam() -> None:
    # sympy's documented example: a beam clamped at one end, propped at the other, a load in the
    # middle and an end moment. The load's share is handbook (Roark, table 8.1 case 1c): 5/16 P at
    # the prop, 3/16 P L at the clamp; what is left is the end moment's.
    case = load("beam_clamped_end_moment")
    given, told = case["inputs"], case["expected"]
    long, end = given["length"], given["moments"][0]["value"]
    force = -given["point_loads"][0]["value"]
    prop = told["R_20"] - 5 / 16 * force
    clamp = told["M_0"] + 3 / 16 * force * long
    assert prop * long == pytest.approx(1.5 * end)
    assert bending_moment(end, long, long) == pytest.approx(-clamp)
    assert bending_moment(end, 0.0, long) == end
