"""Latch, catch, gate, encoder, specimen and the person's hands."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.virtual.tower.dynamics import Support
from rig.virtual.tower.encoder import phases
from rig.virtual.tower.hands import Hands
from rig.virtual.tower.parameters import Damage, TowerTruth, knife_on_rod
from rig.virtual.tower.plant import SLIP_M, Edge, Tower
from tests.virtual.worlds import each_ms, hung, let_go

QUICKEST_S = 5e-3


def drop(tower: Tower, catch: bool = True) -> None:
    """Release and, if asked, let the catch close at the first count upward."""
    let_go(tower, 0.03)
    lowest = [tower.count(tower.now_s)]

    def look(count: int) -> None:
        if catch and count > lowest[0]:
            tower.set_output("CATCH", False, tower.now_s)
        lowest[0] = min(lowest[0], count)

    each_ms(tower, tower.now_s + 1.5, look)


@pytest.mark.parametrize("pin", ["GUARD", "ESTOP"])
def test_an_open_loop_leaves_the_solenoids_without_supply(pin: str) -> None:
    tower = hung(TowerTruth(), 0.25)
    tower.switch(pin, 1, tower.now_s)
    tower.set_output("LATCH", True, tower.now_s)
    tower.advance(tower.now_s + 1.0)
    assert tower.support is Support.HOOK
    assert not tower.truth


def test_the_guard_takes_the_supply_away_during_the_pull_in() -> None:
    tower = hung(TowerTruth(), 0.25)
    tower.set_output("LATCH", True, tower.now_s)
    tower.schedule(tower.now_s + 2e-3, lambda: tower.switch("GUARD", 1, tower.now_s + 2e-3))
    tower.advance(tower.now_s + 1.0)
    assert tower.support is Support.HOOK


@given(st.integers(0, 10_000))
@settings(max_examples=30)
def test_no_solenoid_answers_within_five_milliseconds(seed: int) -> None:
    quick = replace(TowerTruth().latch, pull_in_s=5.2e-3)
    tower = hung(replace(TowerTruth(), latch=quick), 0.1, seed)
    commanded = tower.now_s
    let_go(tower)
    assert tower.truth[0].release_s - commanded >= QUICKEST_S - 1e-9


def test_the_catch_holds_the_carriage_after_one_strike() -> None:
    tower = hung(TowerTruth(), 0.25)
    drop(tower)
    record = tower.truth[0]
    assert record.caught and record.second is None
    assert tower.support is Support.CATCH
    assert record.catch_height_m == pytest.approx(tower.height_m, abs=1e-9)


def test_a_jammed_catch_lets_a_second_strike_happen() -> None:
    tower = hung(TowerTruth(), 0.25)
    tower.fault("catch_jammed")
    drop(tower)
    record = tower.truth[0]
    assert not record.caught and record.second is not None
    assert record.second.energy_j < record.impact_energy_j * record.restitution**2
    assert tower.support is Support.SURFACE


def test_a_closed_catch_holds_the_carriage_even_when_the_latch_opens() -> None:
    tower = hung(TowerTruth(), 0.25)
    tower.set_output("CATCH", False, tower.now_s)
    tower.advance(tower.now_s + 0.1)
    let_go(tower)
    tower.advance(tower.now_s + 1.0)
    assert tower.support is Support.CATCH
    assert not tower.truth[0].strikes


def test_the_record_of_a_drop_tells_its_height_speed_and_energy() -> None:
    tower = hung(TowerTruth(), 0.25)
    drop(tower)
    record = tower.truth[0]
    assert record.release_height_m == pytest.approx(0.25, abs=1e-12)
    assert record.impact_energy_j == pytest.approx(record.impact_speed**2, rel=1e-12)  # 2 kg
    assert 0 < record.restitution < 1
    assert 0.5e-3 < record.first.contact_s < 3e-3


def test_the_flag_crosses_the_beam_at_the_carriage_speed_just_before_contact() -> None:
    tower = hung(TowerTruth(), 0.25)
    drop(tower)
    entered, left = [edge for edge in tower.take_edges() if edge.pin == "GATE"][:2]
    assert (entered.level, left.level) == (1, 0)
    truth, record = tower.nature, tower.truth[0]
    mean = truth.flag_m / (left.t_s - entered.t_s)
    carried = mean + 11.5 * (record.first.time_s - (entered.t_s + left.t_s) / 2)
    assert carried == pytest.approx(record.impact_speed, rel=1e-3)


@given(st.floats(0.05, 0.5), st.integers(0, 1000), st.booleans())
@settings(max_examples=15)
def test_the_encoder_edges_replay_to_the_count(height_m: float, seed: int, jam: bool) -> None:
    tower = Tower(TowerTruth(), seed)
    hands = Hands(tower, seed)
    if jam:
        tower.fault("catch_jammed")
    end = hands.raise_to(height_m)
    levels, count = tower.levels(), tower.count(0.0)

    def replay(edges: list[Edge]) -> None:
        nonlocal count
        for edge in edges:
            if not edge.pin.startswith("ENCODER"):
                continue
            assert levels[edge.pin] != edge.level, "a pin cannot change to what it is"
            levels[edge.pin] = edge.level
            now = levels["ENCODER_A"], levels["ENCODER_B"]
            count += 1 if now == phases(count + 1) else -1
            assert now == phases(count)

    tower.advance(end + 0.1)
    replay(tower.take_edges())
    assert count == tower.count(tower.now_s)
    tower.set_output("CATCH", True, tower.now_s)
    tower.advance(tower.now_s + 0.06)
    drop(tower)
    replay(tower.take_edges())
    assert count == tower.count(tower.now_s)
    assert tower.levels()["ENCODER_A"] == levels["ENCODER_A"]


def test_edges_do_not_change_what_happens() -> None:
    towers = [hung(TowerTruth(), 0.25, edges=edges) for edges in (True, False)]
    for tower in towers:
        drop(tower)
    assert towers[0].truth == towers[1].truth


def test_the_same_seed_gives_the_same_drop_and_another_seed_another() -> None:
    towers = [hung(TowerTruth(), 0.25, seed) for seed in (1, 1, 2)]
    for tower in towers:
        drop(tower)
    assert towers[0].truth == towers[1].truth
    assert towers[0].truth[0].release_s != towers[2].truth[0].release_s


def test_an_unplugged_encoder_stops_counting_and_goes_on_from_there() -> None:
    tower = Tower()
    hands = Hands(tower)
    tower.fault("encoder_unplugged")
    tower.advance(hands.raise_to(0.2))
    assert tower.count(tower.now_s) == 0
    tower.fault("encoder_unplugged", on=False)
    tower.advance(hands.raise_to(0.3))
    assert tower.count(tower.now_s) == pytest.approx(400, abs=2)


def test_a_backwards_encoder_counts_down_when_the_carriage_rises() -> None:
    tower = Tower()
    tower.fault("encoder_backwards")
    tower.advance(Hands(tower).raise_to(0.2))
    assert tower.count(tower.now_s) == pytest.approx(-800, abs=2)


def test_a_slipping_specimen_moves_the_contact_height() -> None:
    tower = hung(TowerTruth(), 0.25)
    tower.fault("specimen_slip")
    drop(tower)
    assert tower.specimen.surface_m == pytest.approx(-SLIP_M)


def test_a_bouncing_guard_opens_for_two_milliseconds() -> None:
    tower = Tower()
    tower.fault("guard_bounce")
    tower.advance(0.1)
    opened, closed = tower.take_edges()
    assert (opened.level, closed.level) == (1, 0)
    assert closed.t_s - opened.t_s == pytest.approx(2e-3)


def test_damage_grows_with_energy_and_with_a_second_strike() -> None:
    order = list(Damage)
    seen = []
    for height_m, jam in ((0.05, False), (0.15, False), (0.3, False), (0.6, False), (0.3, True)):
        tower = Tower(encoder_edges=False)
        tower.put(Support.CATCH, 0.1)
        tower.place(knife_on_rod(toughness_j=5.0))
        tower.put(Support.HOOK, tower.specimen.surface_m + height_m)
        tower.set_output("CATCH", True, 0.0)
        if jam:
            tower.fault("catch_jammed")
        tower.advance(0.1)
        drop(tower)
        seen.append(tower.specimen)
    single = seen[:4]
    grades = [order.index(specimen.damage) for specimen in single]
    assert grades == sorted(grades) and grades[0] == 0 and grades[-1] >= order.index(Damage.CHIP)
    assert [s.depth_mm for s in single] == sorted(s.depth_mm for s in single)
    assert seen[4].depth_mm > seen[2].depth_mm
    assert all(s.surface_m < 0 for s in seen), "the rod is dented"


def test_hands_move_at_a_persons_speed_and_hold_still() -> None:
    tower = Tower(encoder_edges=False)
    hands = Hands(tower, 3)
    end = hands.raise_to(0.4)
    assert 1.0 < end < 3.0
    heights: list[float] = []
    each_ms(tower, end, lambda _: heights.append(tower.height_m))
    fastest = max(abs(b - a) for a, b in pairwise(heights)) / 1e-3
    assert fastest < 0.6
    tower.advance(end + 0.1)
    assert tower.height_m == pytest.approx(0.4, abs=1.1e-4)
    assert tower.support is Support.HOOK
    still = tower.height_m
    tower.advance(end + 10)
    assert tower.height_m == still


def test_lowering_brings_the_striker_to_rest_on_the_specimen() -> None:
    tower = Tower(encoder_edges=False)
    hands = Hands(tower)
    hands.load_specimen(knife_on_rod(height_m=0.3e-3))
    tower.advance(hands.lower_to_contact() + 0.1)
    assert tower.support is Support.SURFACE
    assert tower.height_m == pytest.approx(0.3e-3)


def test_an_unknown_fault_is_refused() -> None:
    with pytest.raises(ValueError, match="catch_jammed"):
        Tower().fault("gremlin")
